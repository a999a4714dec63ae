"""The worker processes beside the server: started with it, started again when one dies, ended with it."""

from __future__ import annotations

import logging
import os
import subprocess
import sys
import threading
import time
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

log = logging.getLogger("handsel")

# A photo is measured by the process that develops it afterwards: so its pixels are still there as they were sent.
# Counting a kit takes as long as a dozen angles, so nobody who reads one waits behind it.
# What takes minutes and nobody stands waiting for has a process of its own, behind all others.
KINDS = ("answer", "photo measure", "measure-slow", "library learn plan")
FIRST_WAIT_S, LONGEST_WAIT_S = 1.0, 60.0
SETTLED_S = 60.0  # one that ran this long was well; its next fall waits no longer than the first
LOOK_S = 0.5
GOODBYE_S = 8.0  # a worker ends by itself within five seconds of its pipe closing


@dataclass(kw_only=True)
class Worker:
    """One process and what happened to it."""

    kind: str  # of its jobs; several with a space between
    process: subprocess.Popen[bytes] | None = None
    started_at: float = 0.0
    wait_s: float = FIRST_WAIT_S
    next_start_at: float = 0.0


@dataclass(kw_only=True)
class Crew:
    """All workers of a server."""

    environment: Mapping[str, str]
    kinds: tuple[str, ...] = KINDS
    workers: list[Worker] = field(default_factory=list)
    _ending: threading.Event = field(default_factory=threading.Event)
    _watch: threading.Thread | None = None

    def start(self) -> None:
        """Start one worker of each kind and watch over them."""
        self.workers = [Worker(kind=kind) for kind in self.kinds]
        for worker in self.workers:
            self._start(worker)
        self._watch = threading.Thread(target=self._keep_up, name="workers", daemon=True)
        self._watch.start()

    def stop(self) -> None:
        """End all: close the pipes, wait, and only then insist."""
        self._ending.set()
        if self._watch is not None:
            self._watch.join()
        alive = [w.process for w in self.workers if w.process is not None]
        for process in alive:
            if process.stdin is not None:
                process.stdin.close()
        until = time.monotonic() + GOODBYE_S
        for process in alive:
            try:
                process.wait(timeout=max(0.1, until - time.monotonic()))
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()

    def _keep_up(self) -> None:
        while not self._ending.wait(LOOK_S):
            for worker in self.workers:
                self._look_after(worker, time.monotonic())

    def _look_after(self, worker: Worker, now: float) -> None:
        if worker.process is not None and worker.process.poll() is None:
            return
        if worker.process is not None:
            lived_s = now - worker.started_at
            worker.wait_s = FIRST_WAIT_S if lived_s > SETTLED_S else worker.wait_s
            log.error(
                "the %s worker ended (status %s) and is started again in %.0f s",
                worker.kind, worker.process.returncode, worker.wait_s,
            )  # fmt: skip
            if worker.process.stdin is not None:
                worker.process.stdin.close()
            worker.process, worker.next_start_at = None, now + worker.wait_s
            worker.wait_s = min(2 * worker.wait_s, LONGEST_WAIT_S)
        elif now >= worker.next_start_at:
            self._start(worker)

    def _start(self, worker: Worker) -> None:
        # Kept apart from the terminal, so that Ctrl-C ends the server and the server ends its workers.
        apart: dict[str, Any] = (
            {"creationflags": getattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0)}
            if os.name == "nt"
            else {"start_new_session": True}
        )
        worker.started_at = time.monotonic()
        try:
            worker.process = subprocess.Popen(
                [sys.executable, "-m", "handsel.bench.worker", *worker.kind.split()],
                stdin=subprocess.PIPE,
                env=dict(self.environment),
                **apart,
            )
        except OSError as error:  # no memory, too many processes: again later
            log.error("the %s worker could not be started: %s", worker.kind, error)
            worker.next_start_at = worker.started_at + worker.wait_s
            worker.wait_s = min(2 * worker.wait_s, LONGEST_WAIT_S)
