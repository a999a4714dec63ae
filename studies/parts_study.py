"""How well a kit's parts are told from photos whose truth is known.

    python studies/parts_study.py --keep out/part-renders          make copies of the small photos
    python studies/parts_study.py --keep out/part-renders-phone    and of the photos themselves
    python studies/parts_study.py                                  judge those, and write docs/studies/parts.md

The photos come from part_renders.py, with --phone those of eight million pixels. What is judged are copies: those that
the tests read too in tests/data/vision/parts, the others, which would be too much for a repository, in
out/part-copies. Results per photo are kept in out/parts-study.jsonl, so it may be stopped at any time; --again forgets
them. What is written by hand on the page is in parts_page.toml.
"""

from __future__ import annotations

import argparse
import io
import json
import os
import time
import tomllib
from pathlib import Path

import numpy as np
from parts_report import FIRST_FRESH, OF_PHONE, SMALL_PX, WITH_BAR, report

ROOT = Path(__file__).parents[1]
KEPT = ROOT / "tests" / "data" / "vision" / "parts"
BESIDE = ROOT / "out" / "part-copies"
SMALL_BYTES, PHONE_BYTES = 200_000, 400_000


def keep(source: Path) -> None:
    """Copies small enough for their kind: photos themselves, and small ones as a message carries them.

    Of a photo of a fresh layout there is no small render: it is shrunk as a messenger would. What is newer replaces
    what was kept.
    """
    BESIDE.mkdir(parents=True, exist_ok=True)
    truths: dict[str, dict] = {}
    for truth in truths_of(source).values():
        wanted = [(truth, 1.0)]
        if truth["long_px"] > SMALL_PX:
            wanted = [(truth | {"name": truth["name"] + OF_PHONE}, 1.0)]
            if truth["seed"] >= FIRST_FRESH:
                wanted.append((truth | {"long_px": SMALL_PX}, SMALL_PX / truth["long_px"]))
        for copy, ratio in wanted:
            name = copy["name"]
            truths[name] = copy | {"file": f"{name}.jpg"}
            folder = KEPT if (KEPT / f"{name}.jpg").exists() else BESIDE
            place, made = folder / f"{name}.jpg", source / truth["file"]
            if made.exists() and not (place.exists() and place.stat().st_mtime > made.stat().st_mtime):
                place.write_bytes(
                    copied(made, ratio, PHONE_BYTES if name.endswith(OF_PHONE) else SMALL_BYTES)
                )
    known_truths = truths_of(BESIDE) | truths_of(KEPT) | truths
    for folder in (KEPT, BESIDE):
        known = [known_truths[p.stem] for p in sorted(folder.glob("*.jpg"))]
        (folder / "truth.jsonl").write_text("".join(json.dumps(t) + "\n" for t in known), encoding="utf-8")


def copied(made: Path, ratio: float, most_bytes: int) -> bytes:
    """A photo's copy, made smaller by a ratio, and compressed until it is small enough."""
    from PIL import Image

    picture = Image.open(made)
    exif = picture.getexif()
    if ratio != 1.0:
        size = round(picture.width * ratio), round(picture.height * ratio)
        picture = picture.resize(size, Image.Resampling.BOX, reducing_gap=3.0)
    for quality in range(84, 40, -4):
        out = io.BytesIO()
        picture.save(out, "JPEG", quality=quality, exif=exif, optimize=True)
        if out.tell() <= most_bytes:
            break
    return out.getvalue()


def truths_of(folder: Path) -> dict[str, dict]:
    """What is true of a folder's photos, by their names."""
    place = folder / "truth.jsonl"
    lines = place.read_text(encoding="utf-8").splitlines() if place.exists() else []
    return {t["name"]: {"long_px": SMALL_PX} | t for t in map(json.loads, lines)}


def judge(truth: dict, bar_mm: float | None = None) -> dict:
    """What is said of one photo, against what is true; with a caliper's reading of a bar, or without."""
    from handsel.data.load_design import load_design
    from handsel.data.photo_file import colour_from_bytes, photo_from_bytes, read_bytes
    from handsel.vision.camera import Lens
    from handsel.vision.mat.view import MatRefused
    from handsel.vision.parts.looking import look_at_parts

    place = KEPT / truth["file"]
    data = read_bytes(place if place.exists() else BESIDE / truth["file"])
    photo = photo_from_bytes(data, name=truth["name"])
    lens = Lens(f35_mm=photo.f35_mm, whole_picture=photo.whole_picture)
    began = time.process_time()
    told = {
        "name": truth["name"] + (WITH_BAR if bar_mm else ""),
        "colour": truth["colour"],
        "light": truth["light"],
        "scale": truth["scale"],
        "tilt": truth["tilt_deg"],
        "print": truth["print_ratio"],
        "count": len(truth["things"]),
    }
    try:
        seen = look_at_parts(
            np.asarray(colour_from_bytes(data, name=truth["name"])),
            design=load_design("linden"),
            scale_ratio=truth["scale"],
            side=truth["side"],
            lens=lens,
            bar_reading_mm=bar_mm,
            expected=set(truth["parts"]),
            where=truth["name"],
        )
    except MatRefused as refusal:
        return told | {"refused": refusal.cause.value}
    things, rows = list(truth["things"]), []
    for s in seen.seen:
        true = min(things, key=lambda t: np.hypot(t["x_mm"] - s.x_mm, t["y_mm"] - s.y_mm), default=None)
        if true is None or np.hypot(true["x_mm"] - s.x_mm, true["y_mm"] - s.y_mm) > 25.0:
            rows.append(
                {
                    "true": "nothing",
                    "state": "nothing",
                    "said": s.state.value,
                    "named": bool(s.names),
                    "p": s.confidence,
                }
            )
            continue
        things.remove(true)
        rows.append(
            {
                "true": true["part"],
                "state": true["state"],
                "said": s.state.value,
                "named": true["part"] in s.names,
                "p": s.confidence,
                "ratio": true["ratio"],
                "scale": s.scale_ratio,
                "u": s.u_scale_ratio,
                "names": list(s.names),
                "flat": true["flat"],
            }
        )
    return told | {
        "rows": rows,
        "unseen": [t["part"] for t in things],
        "unseen_flat": [t["flat"] for t in things],
        "sentence": seen.sentence,
        "missing": {m.title: m.count for m in seen.missing},
        "missing_names": {"/".join(m.names): m.count for m in seen.missing},
        "print_ratio": seen.print_ratio,
        "u_print": seen.u_print_ratio,
        "print_told": list(seen.print_told_by),
        "print_wrong": seen.print_is_wrong,
        "seconds": time.process_time() - began,
        "extra": list(truth["extra"]),
        "lost": list(truth["missing"]),
    }


def remembered(result: dict, memory: Path) -> dict:
    """A result, written down at once."""
    memory.parent.mkdir(exist_ok=True)
    with memory.open("a", encoding="utf-8") as file:
        file.write(json.dumps(result) + "\n")
    print(result["name"], result.get("sentence") or result.get("refused"), flush=True)
    return result


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    ask.add_argument("--keep", type=Path, default=None)
    ask.add_argument("--again", action="store_true")
    ask.add_argument("--only", nargs="*", default=None)
    ask.add_argument("--report", type=Path, default=ROOT / "docs" / "studies" / "parts.md")
    told = ask.parse_args()
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    import cv2

    cv2.setNumThreads(1)
    if told.keep is not None:
        keep(told.keep)
        return
    memory = ROOT / "out" / "parts-study.jsonl"
    if told.again:
        memory.unlink(missing_ok=True)
    known = {}
    if memory.exists():
        known = {r["name"]: r for r in map(json.loads, memory.read_text(encoding="utf-8").splitlines())}
    truths = list((truths_of(BESIDE) | truths_of(KEPT)).values())
    # Kits of one scale together: their solids are made once.
    for truth in sorted(truths, key=lambda t: (t["scale"], t["side"], t["name"])):
        name = truth["name"]
        if told.only and not any(name.startswith(n) for n in told.only):
            continue
        if name not in known:
            known[name] = remembered(judge(truth), memory)
        # Where nothing tells the print's size a bar's length is asked for: here it is given.
        if known[name].get("print_told") == [] and name + WITH_BAR not in known:
            known[name + WITH_BAR] = remembered(judge(truth, 100.0 * truth["print_ratio"]), memory)
    judged = []
    for truth in truths:
        for name in (truth["name"], truth["name"] + WITH_BAR):
            if name in known:
                judged.append(known[name] | {"seed": truth["seed"]})
    with (Path(__file__).parent / "parts_page.toml").open("rb") as file:
        texts = tomllib.load(file)
    page = report(judged, texts.__getitem__)
    told.report.write_text(page, encoding="utf-8")


if __name__ == "__main__":
    main()
