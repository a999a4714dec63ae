"""Starts the process that opens a stranger's file: nothing is given to it, and it may die without harm."""

from __future__ import annotations

import json
import logging
import os
import subprocess
import sys
from contextlib import suppress
from pathlib import Path
from typing import Any

import handsel

WALL_S = 60.0
# One thread is enough for one picture, and every more takes address space from the bound on it.
_ONE_THREAD = dict.fromkeys(("OPENCV_FOR_THREADS_NUM", "OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"), "1")
log = logging.getLogger("handsel.photos")


# Processes that have their libraries read and wait for a picture: one for each module that asked for one. A person
# stands there with the hand while it is read, and half of that time would be the start of the process.
_waiting: dict[str, subprocess.Popen[str]] = {}


def told_apart(module: str, *words: str | Path, wall_s: float | None = None) -> dict[str, Any]:
    """What a module (of this folder, or named in full) tells when run with these words; its death is a refusal."""
    wall_s = WALL_S if wall_s is None else wall_s
    name = module if "." in module else f"handsel.bench.photos.{module}"
    given = [str(word) for word in words]
    spare = _waiting.pop(name, None)
    if spare is not None and spare.poll() is None:
        process, said = spare, json.dumps(given) + "\n"
    else:
        if spare is not None:
            _end(spare)
        process, said = _started(name, given), ""
    try:
        out, err = process.communicate(said, timeout=wall_s)
    except subprocess.TimeoutExpired:
        _end(process)
        return {
            "refused": f"it took longer than {wall_s:.0f} seconds to open",
            "do": "Take it again at a smaller size.",
        }
    except BrokenPipeError:  # the one that waited died just now
        _end(process)
        return told_apart(module, *words, wall_s=wall_s)
    finally:
        if spare is not None:
            stand_by(name)
    if process.returncode != 0:
        log.warning("a photo stopped its decoder (%d): %s", process.returncode, err[-500:])
        return {"refused": "the picture in it cannot be opened safely", "do": "Take the photo again."}
    found: dict[str, Any] = json.loads(out)
    return found


def stand_by(module: str) -> None:
    """Have a process of this module wait for its picture. It ends when this one does, since its input closes."""
    if module not in _waiting:
        with suppress(OSError):  # no memory for it: the next picture starts its own
            _waiting[module] = _started(module, ["--wait"])


def send_home() -> None:
    """End the processes that wait."""
    while _waiting:
        _end(_waiting.popitem()[1])


def _started(module: str, words: list[str]) -> subprocess.Popen[str]:
    # Nothing of this process's surroundings but where the program and the system's libraries are.
    kept = {k: v for k, v in os.environ.items() if k in ("PATH", "SYSTEMROOT", "TEMP", "TMPDIR", "LANG")}
    kept["PYTHONPATH"] = str(Path(handsel.__file__).parents[1])
    return subprocess.Popen(
        [sys.executable, "-m", module, *words],
        env=kept | _ONE_THREAD,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        encoding="utf-8",
        errors="replace",
    )


def _end(process: subprocess.Popen[str]) -> None:
    process.kill()
    process.communicate()
