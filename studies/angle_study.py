"""How well the angle is read from photos whose truth is known: coverage, sharpness, refusals, baselines.

    python studies/angle_study.py [--kinds clean field ...] [--draws 24] [--afresh]

The renders come from angle_renders.py. Also compared: the normal approximation with draws from the posterior, and
two naive readings. Each photo's result is kept in results.jsonl beside the renders as soon as it is there, so that a
study can be made in pieces and goes on where it was stopped; --afresh forgets them, as it must when the method has
changed.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections import Counter
from collections.abc import Iterator
from math import hypot, log, sqrt
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from handsel.vision.camera import Lens

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT / "tests"))  # for independent/angle_draws.py
CARD_TURN_SD_DEG = {"clean": 0.0, "field": 0.7}
EXPECTED = {"missing": "card missing", "covered": "card covered", "above": "hand seen from above"}
FRESH_FIELD_SEED = 20_204  # field photos from here on were not looked at until the method stood


KINDS = ("clean", "field", *EXPECTED)


def shots(folder: Path) -> Iterator[dict]:
    for kind in KINDS:
        lines = folder / kind / "truth.jsonl"
        if not lines.exists():
            continue
        seen = {}
        for line in lines.read_text(encoding="utf-8").splitlines():
            shot = json.loads(line)
            if (folder / kind / shot["file"]).exists():
                seen[shot["file"]] = shot
        yield from seen.values()


def naive_deg(found: list, size: tuple[int, int], f35: float) -> tuple[float, float]:
    """Angle between the cards' rows in the picture; and from two separate poses with a 26 mm lens."""
    import cv2

    from handsel.vision.camera import focal_px
    from handsel.vision.cards import CUFF, PALM

    corners = {f.card: f.corners_px for f in found}
    rows = {c: p[1] + p[2] - p[0] - p[3] for c, p in corners.items()}
    lean = {c: np.degrees(np.arctan2(r[1], r[0])) for c, r in rows.items()}
    sign = 1.0 if corners[PALM].mean(0)[0] > corners[CUFF].mean(0)[0] else -1.0
    flat = sign * ((lean[CUFF] - lean[PALM] + 180) % 360 - 180)
    square = np.array([[-8, 8, 0], [8, 8, 0], [8, -8, 0], [-8, -8, 0]], float)
    f = focal_px(f35, *size)
    matrix = np.array([[f, 0, (size[0] - 1) / 2], [0, f, (size[1] - 1) / 2], [0, 0, 1.0]])
    poses = {}
    for card, points in corners.items():
        _, r, _ = cv2.solvePnP(square, points, matrix, None, flags=cv2.SOLVEPNP_IPPE_SQUARE)
        poses[card] = cv2.Rodrigues(r)[0]
    between = poses[PALM].T @ poses[CUFF]
    return float(flat), float(
        -sign * np.degrees(np.arctan2(between[1, 0] - between[0, 1], between[0, 0] + between[1, 1]))
    )


def judge(shot: dict, folder: Path, sampled: bool) -> dict:
    from handsel.data.photo_file import read_photo
    from handsel.vision.camera import Lens
    from handsel.vision.finding import find_cards
    from handsel.vision.rest_angle.reading import measure_rest_angle
    from handsel.vision.rest_angle.refused import PhotoRefused

    photo = read_photo(folder / shot["kind"] / shot["file"])
    lens = Lens(f35_mm=photo.f35_mm, whole_picture=photo.whole_picture)
    told = {k: shot[k] for k in ("file", "kind", "troubles", "seed")} | {"exif": photo.f35_mm is not None}
    try:
        r = measure_rest_angle(
            photo.gray, lens=lens, card_turn_sd_deg=CARD_TURN_SD_DEG.get(shot["kind"], 0.7)
        )
    except PhotoRefused as refusal:
        return told | {"refused": refusal.cause.value}
    sign = -1.0 if shot["fingers"] == "right" else 1.0
    told |= {
        "card_effect": sign * (shot["card_turn_deg"][1] - shot["card_turn_deg"][0]),
        "error": r.rest_angle_deg - shot["rest_angle_deg"],
        "u": r.u_rest_angle_deg,
        "low": r.low_deg,
        "high": r.high_deg,
        "truth": shot["rest_angle_deg"],
        "misfit": r.misfit,
        "slant": r.obliquity_deg,
        "f35": r.f35_mm,
        "side": r.side_px,
        "fingers": r.fingers_point == shot["fingers"],
        "contributions": dict(r.contributions),
    }
    size = (photo.width_px, photo.height_px)
    found = {f.card: f for f in find_cards(photo.gray)}
    flat, apart = naive_deg(list(found.values()), size, 26.0 if photo.f35_mm is None else photo.f35_mm)
    told |= {"flat_error": flat - shot["rest_angle_deg"], "apart_error": apart - shot["rest_angle_deg"]}
    if photo.f35_mm is not None:
        blind = measure_rest_angle(photo.gray, lens=Lens(), card_turn_sd_deg=CARD_TURN_SD_DEG[shot["kind"]])
        told["withheld"] = {
            "error": blind.rest_angle_deg - shot["rest_angle_deg"],
            "u": blind.u_rest_angle_deg,
            "low": blind.low_deg,
            "high": blind.high_deg,
            "truth": shot["rest_angle_deg"],
        }
    if sampled:
        told |= drawn(photo.gray, lens)
    return told


def drawn(gray: np.ndarray, lens: Lens) -> dict:
    """How far draws from the posterior are from its normal approximation."""
    from handsel.vision.rest_angle.reading import posterior_of
    from independent.angle_draws import sample

    posterior = posterior_of(gray, lens=lens)
    found = sample(posterior, count=12_000)
    u = hypot(*posterior.u_by_source_deg.values())
    return {
        "drawn_shift": (found.rest_angle_deg - posterior.rest_angle_deg) / u,
        "drawn_ratio": found.u_rest_angle_deg / u,
        "drawn_count": found.effective_count,
    }


def interval_score(rows: list[dict]) -> float:
    """Mean width plus 40 times what the interval falls short of the truth by (95 %: 2 / 0.05)."""
    short = [max(r["low"] - r["truth"], 0.0) + max(r["truth"] - r["high"], 0.0) for r in rows]
    return float(np.mean([r["high"] - r["low"] + 40.0 * s for r, s in zip(rows, short, strict=True)]))


def line(name: str, rows: list[dict]) -> str:
    read = [r for r in rows if "error" in r]
    if not read:
        return f"| {name} | {len(rows)} | {len(rows)} | | | | | | |"
    error = np.array([r["error"] for r in read])
    inside = np.mean([r["low"] <= r["truth"] <= r["high"] for r in read])
    z = error / np.array([r["u"] for r in read])
    return (
        f"| {name} | {len(rows)} | {len(rows) - len(read)} | {error.mean():+.3f} | "
        f"{np.percentile(np.abs(error), 95):.2f} | {np.median([r['u'] for r in read]):.2f} | {100 * inside:.1f} % | "
        f"{sqrt(float(np.mean(z**2))):.2f} | {interval_score(read):.2f} |"
    )


def report(rows: list[dict]) -> str:
    out = [HEAD]
    out.append(
        "| photos | number | refused | mean error | 95 % of errors within | median u | 95 % intervals that hold "
        "the truth | rms of error / u | interval score |\n|---|---|---|---|---|---|---|---|---|"
    )
    for kind in ("clean", "field"):
        mine = [r for r in rows if r["kind"] == kind]
        if not mine:
            continue
        out.append(line(f"**{kind}**", mine))
        for name, has in (("with focal length", True), ("without", False)):
            out.append(line(f"{kind}, {name}", [r for r in mine if r["exif"] is has]))
        blind = [r["withheld"] for r in mine if "withheld" in r]
        out.append(line(f"{kind}, focal length withheld", blind))
    fresh = [r for r in rows if r["kind"] == "field" and r["seed"] >= FRESH_FIELD_SEED]
    if fresh:
        out.append(line("field, kept back", fresh))
    for trouble in sorted({t for r in rows for t in r["troubles"]}):
        out.append(line(f"field, {trouble}", [r for r in rows if trouble in r["troubles"]]))
    out.append(NOTES)
    for kind in ("clean", "field"):
        refused = Counter(r["refused"] for r in rows if r["kind"] == kind and "refused" in r)
        if refused:
            out.append(f"Refused among {kind}: " + ", ".join(f"{n} {c}" for c, n in refused.items()) + ".\n")
    out.append(ALONE)
    read = [r for r in rows if "error" in r]
    for kind in ("clean", "field"):
        out.append(alone(kind, [r for r in read if r["kind"] == kind]))
    out.append(alone("field, kept back", [r for r in read if r in fresh]))
    for trouble in sorted({t for r in rows for t in r["troubles"]}):
        out.append(alone(f"field, {trouble}", [r for r in read if trouble in r["troubles"]]))
    turns = np.array([r["card_effect"] for r in read if r["kind"] == "field"])
    out.append(
        TURNS.format(
            sd=float(np.sqrt(np.mean(turns**2))),
            stated=sqrt(2.0) * CARD_TURN_SD_DEG["field"],
            share=100.0 * float(np.mean(np.abs(turns) < 1.96 * sqrt(2.0) * CARD_TURN_SD_DEG["field"])),
        )
    )
    out.append("\n" + NAIVE)
    out.append("| reading | clean: 95 % within | worst | field: 95 % within | worst |\n|---|---|---|---|---|")
    for name, key in (
        ("rows of the cards compared in the picture", "flat_error"),
        ("two separate poses, corners as detected, 26 mm where the file is silent", "apart_error"),
        ("this one", "error"),
    ):
        cells = []
        for kind in ("clean", "field"):
            e = np.abs([r[key] for r in rows if r["kind"] == kind and key in r])
            cells += [f"{np.percentile(e, 95):.2f}", f"{e.max():.2f}"] if e.size else ["", ""]
        out.append(f"| {name} | " + " | ".join(cells) + " |")
    out.append(SOURCES)
    out.append(
        "| kind | " + " | ".join(names := list(next(r for r in rows if "u" in r)["contributions"])) + " |"
    )
    out.append("|---" * (len(names) + 1) + "|")
    for kind in ("clean", "field"):
        mine = [r["contributions"] for r in rows if r["kind"] == kind and "u" in r]
        if mine:
            out.append(
                f"| {kind} | " + " | ".join(f"{np.median([m[n] for m in mine]):.2f}" for n in names) + " |"
            )
    sampled = [r for r in rows if r.get("drawn_count", 0) > 40]
    if sampled:
        out.append(
            DRAWN.format(
                n=len(sampled),
                shift=np.median([abs(r["drawn_shift"]) for r in sampled]),
                ratio=float(np.exp(np.median([log(r["drawn_ratio"]) for r in sampled]))),
            )
        )
    out.append(REFUSALS)
    out.append(
        "| what was wrong | photos | refused for it | refused for another cause | read all the same |\n|---|---|---|---|---|"
    )
    for kind, cause in EXPECTED.items():
        mine = [r for r in rows if r["kind"] == kind]
        right = sum(r.get("refused") == cause for r in mine)
        other = Counter(r["refused"] for r in mine if "refused" in r and r["refused"] != cause)
        words = ", ".join(f"{n} {c}" for c, n in other.items()) or "none"
        out.append(f"| {kind} | {len(mine)} | {right} | {words} | {sum('error' in r for r in mine)} |")
    out.append(LIMITS)
    return "\n".join(out) + "\n"


HEAD = """# Reading the rest angle from photos: how well it is known

Written by `studies/angle_study.py` from photos made by `studies/angle_renders.py`: an independent renderer, a hand
of boxes, every truth known. Cards are tilted by up to 4 degrees and set out by up to 8 mm; lenses are of 24 to 28
and of about 50 mm, with distortion and an optical centre that is off; one photo in five does not say its focal
length; a phone's sharpening is in half of them; some are stored turned.

*Clean* photos have good light and cards on their lines. *Field* photos have one or two of these: dim light, a shadow
edge over a card, glare, shake of 3 to 6 pixels, small cards (32 to 40 pixels), clutter; and cards turned in their plane
by 0.7 degrees (sd), which no photo can show. In some photos a card dips into its face with a corner, which hides
part of its white and at times of its black.

An interval score is the mean width of the 95 % intervals plus 40 times what they fall short by; less is better.
"""
NOTES = """
Errors, u and scores in degrees. Photos with two troubles count in both lines. *Focal length withheld* are the photos
whose file states it, read once more as if it did not. *Kept back* are photos that were
not looked at until the method stood.
"""
TURNS = """
The turns that were drawn for these field photos have a spread of {sd:.2f} degrees where {stated:.2f} is stated, and
{share:.1f} % of them lie within their 95 %: so much of what the first table's lines are off by is the draw, and no
reading could have known it.
"""
NAIVE = "## Naive readings of the same photos\n"
ALONE = """
## The measurement alone

With the turn of each card known and taken out, what is left is the error of the measurement itself.

| photos | number | mean error | 95 % of errors within | median u | 95 % intervals that hold the truth | rms of error / u |
|---|---|---|---|---|---|---|"""
SOURCES = "\n## Where the uncertainty comes from\n\nMedian standard uncertainty by source, in degrees.\n"
DRAWN = """
## The normal approximation against draws

For {n} photos the posterior was also drawn from by importance sampling. The mean moved by {shift:.2f} u (median of
its size) and the spread was {ratio:.2f} of the approximation's (median). Draws with an effective count of 40 or less
were left out.
"""
REFUSALS = "\n## Photos that show no angle\n"
LIMITS = """
A photo from above in which both cards are edge on shows nothing of them but a white line; that neither is seen is all
it says, and the advice names both: cards on the side that faces the camera, and a view from that side.

## What this does not show

Renders are not photos. The printed cards here are flat and exact, the camera has one radial term, and its figure in
the file is true to half a millimetre. On a real hand the cards' own turn is the greatest part, and it is an input, not
a finding. The limits at which a photo is refused (card side, blur, slant, misfit) were chosen on such renders, and so
were the size of the pixel-grid term and the block over which a file's rounding is shared.
"""


def alone(name: str, rows: list[dict]) -> str:
    """A line of the table without the cards' turn."""
    if not rows:
        return f"| {name} | 0 | | | | | |"
    left = np.array([r["error"] - r["card_effect"] for r in rows])
    u = np.array([sqrt(sum(v**2 for k, v in r["contributions"].items() if k != "card turn")) for r in rows])
    return (
        f"| {name} | {len(rows)} | {left.mean():+.3f} | {np.percentile(np.abs(left), 95):.2f} | {np.median(u):.2f} | "
        f"{100 * np.mean(np.abs(left) < 1.96 * u):.1f} % | {sqrt(float(np.mean((left / u) ** 2))):.2f} |"
    )


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    ask.add_argument("--renders", type=Path, default=ROOT / "out" / "angle-renders")
    ask.add_argument("--report", type=Path, default=ROOT / "docs" / "studies" / "angle.md")
    ask.add_argument("--kinds", nargs="+", choices=KINDS, default=KINDS, help="look at these now")
    ask.add_argument(
        "--draws", type=int, default=24, help="photos of each kind whose posterior is drawn from"
    )
    ask.add_argument("--afresh", action="store_true", help="forget the results that are kept")
    told = ask.parse_args()
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    import cv2

    cv2.setNumThreads(1)
    kept = told.renders / "results.jsonl"
    if told.afresh:
        kept.unlink(missing_ok=True)
    lines = kept.read_text(encoding="utf-8").splitlines() if kept.exists() else []
    done = {row["file"]: row for row in map(json.loads, lines)}
    count: Counter[str] = Counter()
    rows = []
    for shot in shots(told.renders):
        count[shot["kind"]] += 1
        sampled = shot["kind"] in CARD_TURN_SD_DEG and count[shot["kind"]] <= told.draws
        row = done.get(shot["file"])
        if shot["kind"] in told.kinds and (row is None or sampled and "drawn_count" not in row):
            row = judge(shot, told.renders, sampled=sampled)
            with kept.open("a", encoding="utf-8") as file:
                file.write(json.dumps(row) + "\n")
        if row is None:
            continue
        rows.append(row)
    told.report.write_text(report(rows), encoding="utf-8")
    print(report(rows))


if __name__ == "__main__":
    main()
