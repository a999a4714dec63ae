"""Starts the process that opens a stranger's file: nothing is given to it, and it may die without harm."""

from __future__ import annotations

import json
import logging
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import handsel

WALL_S = 60.0
# One thread is enough for one picture, and every more takes address space from the bound on it.
_ONE_THREAD = dict.fromkeys(("OPENCV_FOR_THREADS_NUM", "OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"), "1")
log = logging.getLogger("handsel.photos")


def told_apart(module: str, *words: str | Path, wall_s: float = WALL_S) -> dict[str, Any]:
    """What a module (of this folder, or named in full) tells when run with these words; its death is a refusal."""
    # Nothing of this process's surroundings but where the program and the system's libraries are.
    kept = {k: v for k, v in os.environ.items() if k in ("PATH", "SYSTEMROOT", "TEMP", "TMPDIR", "LANG")}
    kept["PYTHONPATH"] = str(Path(handsel.__file__).parents[1])
    try:
        done = subprocess.run(
            [
                sys.executable,
                "-m",
                module if "." in module else f"handsel.bench.photos.{module}",
                *map(str, words),
            ],
            env=kept | _ONE_THREAD,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            timeout=wall_s,
            check=False,
        )
    except subprocess.TimeoutExpired:
        return {
            "refused": f"it took longer than {wall_s:.0f} seconds to open",
            "do": "Take it again at a smaller size.",
        }
    if done.returncode != 0:
        log.warning("a photo stopped its decoder (%d): %s", done.returncode, done.stderr[-500:])
        return {"refused": "the picture in it cannot be opened safely", "do": "Take the photo again."}
    found: dict[str, Any] = json.loads(done.stdout)
    return found
