"""A worker: takes jobs of its kinds from the queue, one at a time, until the server that started it is gone.

    python -m handsel.bench.worker answer

Started by `handsel serve` with a pipe as its standard input; the pipe closes when the server ends, however
it ends, and then so does the worker. It runs at a lower priority, so that pages stay quick.
"""

from __future__ import annotations

import contextlib
import logging
import os
import sys
import threading
from importlib import import_module
from pathlib import Path
from typing import Any

import django

from handsel.errors import HandselError

# kind of job -> where its handler is; a handler takes the payload and returns the result
HANDLERS = {
    "answer": "handsel.bench.looking.answering",
    "photo": "handsel.bench.photos.decoding",
    "measure": "handsel.bench.measuring.working",
    "library": "handsel.bench.causes.building",
    "learn": "handsel.bench.causes.proving",
    "plan": "handsel.bench.planning.working",
    "measure-slow": "handsel.bench.measuring.working",
}
TRIAL = "handsel.bench.ready.warming"  # any worker's trial piece, for the checklist before the hall opens
IDLE_S = 0.15
log = logging.getLogger("handsel.worker")


def main(kinds: tuple[str, ...]) -> None:
    """Work until standard input closes."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "handsel.bench.settings")
    step_back()
    django.setup()
    stop = threading.Event()
    threading.Thread(target=_until_closed, args=(stop,), daemon=True).start()
    for kind in kinds:
        stand_by = getattr(import_module(HANDLERS[kind]), "stand_by", None)
        if stand_by is not None:
            stand_by(kind)
    run(kinds, stop)


def step_back() -> None:
    """Give the server the right of way."""
    if hasattr(os, "nice"):
        os.nice(5)
    # On Linux a worker, being kept apart from the terminal, may be in a group that the kernel gives a share of its
    # own: there a process steps back behind other groups only by its group's number.
    with contextlib.suppress(OSError):
        Path("/proc/self/autogroup").write_text("5", encoding="ascii")


def _until_closed(stop: threading.Event) -> None:
    while sys.stdin.buffer.read(1):
        pass
    stop.set()
    # In the middle of a long sum there is nobody left to give the answer to.
    threading.Timer(5.0, lambda: os._exit(0)).start()


def run(kinds: tuple[str, ...], stop: threading.Event, *, until_idle: bool = False) -> None:
    """Take jobs until told to stop (or, for tests and commands, until the queue is empty)."""
    from django.db import OperationalError

    from handsel.bench.jobs import services

    services.requeue_abandoned(kinds)
    services.forget_old()
    for kind in kinds:
        # A handler may have something to put right first; a full or locked disk does not keep it from working.
        begin = getattr(import_module(HANDLERS[kind]), "begin", None)
        if begin is not None:
            try:
                begin()
            except (OperationalError, HandselError, OSError) as error:
                log.error("at the start of %s: %s", kind, error)
    while not stop.is_set():
        try:
            job = services.take(kinds)
            if job is None:
                if until_idle:
                    return
                stop.wait(IDLE_S)
                continue
            _do(job)
        except (
            OperationalError
        ) as error:  # locked or full: the job stays queued, or is requeued at the next start
            log.error("queue: %s", error)
            stop.wait(1.0)


def _do(job: Any) -> None:
    from handsel.bench.jobs import services

    try:
        result = import_module(TRIAL if "warm" in job.payload else HANDLERS[job.kind]).run(job.payload)
    except HandselError as error:
        services.finish(job, error={"what": error.what, "where": error.where, "do": error.do})
    except (ArithmeticError, LookupError, TypeError, ValueError, OSError, MemoryError) as error:
        log.exception("job %s", job)
        services.finish(
            job,
            error={
                "what": f"this could not be worked out ({type(error).__name__})",
                "where": job.kind,
                "do": "Go on without it, and report it.",
            },
        )
    else:
        services.finish(job, result=result)


if __name__ == "__main__":
    main(tuple(sys.argv[1:]) or tuple(HANDLERS))
