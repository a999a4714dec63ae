"""What the rest angle is read as from photos that a program has stretched in one direction.

    python studies/stretched_study.py [--first 60] [--count 60]

Photos that angle_renders.py made, fitted into frames that are a little wider or taller, as some programs do with a
picture that is sent or put into an album. What the camera wrote beside it is kept or lost.
"""

from __future__ import annotations

import argparse
import io
import json
import os
from math import sqrt
from pathlib import Path
from statistics import median

ROOT = Path(__file__).parents[1]
WAYS = {"as it was taken": (1.0, 1.0), "2 % wider": (1.02, 1.0), "4 % wider": (1.04, 1.0),
        "4 % taller": (1.0, 1.04), "8 % wider": (1.08, 1.0)}  # fmt: skip
NOTES = {"kept": True, "lost": False}  # what the camera wrote beside the picture

HEAD = """# Photos stretched in one direction

Written by `studies/stretched_study.py` from {count} of the clean photos of `angle_study.py`, cards on printed pads, so
without the cards' own turn. The method was made while other photos of that kind were looked at, stretched in the same
ways; these were not.

| photo | its notes | read | refused | rms of error | median u | 95 % intervals that hold it | told as stretched |
|---|---|---|---|---|---|---|---|
"""
FOOT = """
Errors and u in degrees. Two cards in nearly one plane look alike, stretched or leaning; only the perspective tells them
apart, and where it does not, a small stretch goes unnoticed. With loose cards their own turn (u of 1 degree) is larger
than all of this.
"""


def stretched(data: bytes, ratio: tuple[float, float], keeps: bool) -> bytes:
    """The file as a program would write it."""
    from PIL import Image, ImageOps

    with Image.open(io.BytesIO(data)) as stored:
        picture = stored if keeps else ImageOps.exif_transpose(stored)
        size = (round(picture.width * ratio[0]), round(picture.height * ratio[1]))
        out = io.BytesIO()
        notes = {"exif": picture.getexif()} if keeps else {}
        picture.resize(size, Image.Resampling.BICUBIC).save(out, "JPEG", quality=92, **notes)
    return out.getvalue()


def read(data: bytes, truth_deg: float) -> dict:
    """What is read of it, against the truth."""
    from handsel.data.photo_file import photo_from_bytes
    from handsel.vision.camera import Lens
    from handsel.vision.rest_angle.reading import measure_rest_angle
    from handsel.vision.rest_angle.refused import PhotoRefused

    photo = photo_from_bytes(data, name="photo.jpg")
    lens = Lens(f35_mm=photo.f35_mm, whole_picture=photo.whole_picture, zoom_ratio=photo.zoom_ratio)
    try:
        found = measure_rest_angle(photo.gray, lens=lens, card_turn_sd_deg=0.0)
    except PhotoRefused:
        return {"refused": True}
    return {
        "refused": False,
        "error": found.rest_angle_deg - truth_deg,
        "u": found.u_rest_angle_deg,
        "held": found.low_deg <= truth_deg <= found.high_deg,
        "told": any("stretched" in note for note in found.notes),
    }


def line(way: str, notes: str, rows: list[dict]) -> str:
    """One line of the table."""
    ok = [r for r in rows if not r["refused"]]
    rms = sqrt(sum(r["error"] ** 2 for r in ok) / len(ok))
    held, told = (100.0 * sum(r[k] for r in ok) / len(ok) for k in ("held", "told"))
    return (
        f"| {way} | {notes} | {len(ok)} | {len(rows) - len(ok)} | {rms:.2f} | {median(r['u'] for r in ok):.2f} | "
        f"{held:.0f} % | {told:.0f} % |\n"
    )


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    ask.add_argument("--renders", type=Path, default=ROOT / "out" / "angle-renders" / "clean")
    ask.add_argument("--report", type=Path, default=ROOT / "docs" / "studies" / "angle-stretched.md")
    ask.add_argument("--first", type=int, default=60, help="photos before this one are left out")
    ask.add_argument("--count", type=int, default=60)
    told = ask.parse_args()
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    import cv2

    cv2.setNumThreads(1)
    lines = (told.renders / "truth.jsonl").read_text(encoding="utf-8").splitlines()
    shots = list({shot["file"]: shot for shot in map(json.loads, lines)}.values())
    shots = shots[told.first : told.first + told.count]
    rows: dict[tuple[str, str], list[dict]] = {(way, notes): [] for way in WAYS for notes in NOTES}
    for shot in shots:
        data = (told.renders / shot["file"]).read_bytes()
        for (way, notes), mine in rows.items():
            mine.append(read(stretched(data, WAYS[way], NOTES[notes]), shot["rest_angle_deg"]))
    table = "".join(line(way, notes, mine) for (way, notes), mine in rows.items())
    told.report.write_text(HEAD.format(count=len(shots)) + table + FOOT, encoding="utf-8")
    print(table)


if __name__ == "__main__":
    main()
