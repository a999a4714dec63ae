"""What the renderers of the studies share: one thread, one photo for each seed, nothing made twice."""

from __future__ import annotations

import argparse
import json
import os
import time
from collections.abc import Callable, Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any


def renderer() -> Any:
    """Mitsuba on one thread; OpenCV and the linear algebra too."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    import cv2
    import drjit as dr
    import mitsuba as mi

    cv2.setNumThreads(1)
    mi.set_variant("llvm_ad_rgb")
    dr.set_thread_count(1)
    return mi


def photograph(
    about: str,
    out: Path,
    first_seed: Mapping[str, int],
    shoot: Callable[[Any, str, int], tuple[Any, bytes]],
    said: Callable[[Any], tuple[object, ...]],
    *,
    kind: str | None = None,
    count: int,
) -> None:
    """Read --kind, --count and --out from the command line and make what is not there yet.

    `shoot` makes one photo of a kind from a seed and returns its truth and the JPEG; `said` is what of the truth
    is printed beside it. `kind` and `count` stand where the command line says nothing.
    """
    ask = argparse.ArgumentParser(description=about.splitlines()[0])
    ask.add_argument("--kind", choices=list(first_seed), default=kind, required=kind is None)
    ask.add_argument("--count", type=int, default=count)
    ask.add_argument("--out", type=Path, default=out)
    told = ask.parse_args()
    mi = renderer()
    folder = told.out / told.kind
    folder.mkdir(parents=True, exist_ok=True)
    for seed in range(first_seed[told.kind], first_seed[told.kind] + told.count):
        place = folder / f"{told.kind}-{seed}.jpg"
        if place.exists():
            continue
        began = time.process_time()
        shot, jpeg = shoot(mi, told.kind, seed)
        with (folder / "truth.jsonl").open("a", encoding="utf-8") as truth:
            truth.write(json.dumps(asdict(shot)) + "\n")
        place.write_bytes(jpeg)
        print(place.name, *said(shot), f"{time.process_time() - began:.1f} s", flush=True)
