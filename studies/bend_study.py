"""What is marked in close photos of bends: every render of bend_renders.py held against what is whitened in it.

    python studies/bend_study.py [--out docs/studies/bends.md]

Reads out/bend-renders, writes out/bend-renders/seen.jsonl as it goes (what is there is not looked at again; --afresh
does) and the page.
"""

from __future__ import annotations

import argparse
import json
from collections import Counter
from pathlib import Path

import numpy as np
from cuff_study import interval
from PIL import Image

from handsel.vision.bend.whitening import BendRefused, look_at_bend

ROOT = Path(__file__).parents[1]
RENDERS = ROOT / "out" / "bend-renders"
KINDS = {
    "bends": "Photos that it was developed on",
    "fresh": "Photos that were fresh once and have been seen",
    "last": "Fresh photos, on which nothing was chosen",
}
OTHERWISE = ("may be a reflection", "may be a scratch")  # marked, and named as something harmless
NEAR_PX, SHARE = 22.0, 0.4  # a line is found when so much of it has a candidate so near


def look(shot: dict, given: bool) -> dict:
    with Image.open(RENDERS / shot["kind"] / shot["file"]) as picture:
        pixels = np.asarray(picture.convert("RGB"))
    found = {"file": shot["file"], "given": given}
    line = tuple((float(x), float(y)) for x, y in shot["bend_px"]) if given else None
    try:
        seen = look_at_bend(pixels, bend_line_px=line)
    except BendRefused as refused:
        return found | {"refused": refused.cause.value}
    hit, true_marks = [], set()
    for trace in shot["lines_px"]:
        best = 0.0
        for k, c in enumerate(seen.candidates):
            apart = np.linalg.norm(np.array(trace)[:, None] - c.line_px[None], axis=-1)
            share = float((apart.min(1) < NEAR_PX).mean())
            if float((apart.min(0) < NEAR_PX).mean()) > 0.5:
                true_marks.add(k)
            best = max(best, share)
        hit.append(best >= SHARE)
    return found | {
        "can_tell": seen.can_tell,
        "hit": hit,
        "marked": [c.looks.value for c in seen.candidates],
        "true": [k in true_marks for k in range(len(seen.candidates))],
        "delta_e": [c.delta_e for c in seen.candidates],
    }


def page(pairs: list[tuple[dict, dict]]) -> str:
    alone = [(s, r) for s, r in pairs if not r["given"] and "refused" not in r]
    drawn = [(s, r) for s, r in pairs if r["given"] and "refused" not in r]
    told = [(s, r) for s, r in alone if r["can_tell"]]
    rows = []
    for name, test in (
        ("**all**", lambda s, w: True),
        ("strong: 30 % of the colour covered and more", lambda s, w: w >= 0.3),
        ("middling: 15 to 30 %", lambda s, w: 0.15 <= w < 0.3),
        ("faint: below 15 %", lambda s, w: w < 0.15),
        ("coloured plastics", lambda s, w: s["colour"] not in ("black", "grey")),
        ("black and grey", lambda s, w: s["colour"] in ("black", "grey")),
    ):
        cells = []
        for part in (told, [(s, r) for s, r in drawn if r["can_tell"]]):
            hits = [h for s, r in part for w, h in zip(s["strengths"], r["hit"], strict=True) if test(s, w)]
            cells.append(interval(sum(hits), len(hits)))
        rows.append(f"| {name} | {cells[0]} | {cells[1]} |")
    false = []
    for name, test in (
        ("**all sound bends**", lambda s: True),
        ("sound, coloured plastics", lambda s: s["colour"] not in ("black", "grey")),
        ("sound, black and grey", lambda s: s["colour"] in ("black", "grey")),
        ("sound, scratches", lambda s: "scratches" in s["confusers"]),
        ("sound, slot of the joint", lambda s: "slot" in s["confusers"]),
        ("sound, shadow edge", lambda s: "shadow" in s["confusers"]),
        ("sound, raster of the print", lambda s: s["raster"]),
        ("sound, glossy (roughness below 0.2)", lambda s: s["gloss_alpha"] < 0.2),
    ):
        cells = []
        for part in (told, [(s, r) for s, r in drawn if r["can_tell"]]):
            sound = [r for s, r in part if not s["whitened"] and test(s)]
            cells.append(interval(sum(bool(r["marked"]) for r in sound), len(sound)))
            if part is told:
                alarms = sum(any(looks not in OTHERWISE for looks in r["marked"]) for r in sound)
                cells.append(interval(alarms, len(sound)))
        false.append(f"| {name} | {' | '.join(cells)} |")
    marks = [(looks, true) for _, r in told for looks, true in zip(r["marked"], r["true"], strict=True)]
    kinds = [
        f"| {looks} | {interval(sum(t for k, t in marks if k == looks), sum(k == looks for k, _ in marks))} |"
        for looks in ("like whitening", "whitening or a reflection", *OTHERWISE)
    ]
    white = [r["can_tell"] for s, r in alone if s["colour"] == "white"]
    other = [r["can_tell"] for s, r in alone if s["colour"] != "white"]
    causes = Counter(r["refused"] for _, r in pairs if not r["given"] and "refused" in r)
    return SECTION.format(
        photos=len(alone) + sum(causes.values()),
        lines="\n".join(rows),
        false="\n".join(false),
        kinds="\n".join(kinds),
        white=interval(sum(not w for w in white), len(white)),
        other=interval(sum(not w for w in other), len(other)),
        refused=", ".join(f"{n} as *{c}*" for c, n in causes.items()) or "none",
    )


SECTION = """{photos} photos; refused: {refused}.

### Whitened lines that were marked

| lines | bend's direction from the photo | bend drawn |
|---|---|---|
{lines}

### Sound bends in which something was marked all the same

| photos without whitening | bend's direction from the photo | as more than reflection or scratch | bend drawn |
|---|---|---|---|
{false}

### How what was marked is named

| a mark named | is a whitened line in |
|---|---|
{kinds}

### Light plastics

It said that it cannot tell in {white} of the photos of white plastic, and in {other} of the others.
"""

PAGE = """# Pale lines along a bend: what is found, and what is marked for nothing

Written by `studies/bend_study.py` from photos made by `studies/bend_renders.py`: an independent renderer, a glossy
plate bent round 6 to 14 mm in ten colours, and in half of the photos one or two whitened lines along the bend, 0.5 to
2.2 mm wide, in which white covers 6 to 55 % of the plastic's colour in patches. All of them hold what may be taken for
it: the lamp's reflection along the bend, the raster of the print, scratches, dust, the joint's slot, a shadow's edge,
in any mixture.

A line counts as found when a candidate runs within 22 pixels (about 1.3 mm) of 40 % of it. *Bend drawn* means that a
person has drawn the bend's direction; then lines across it are not marked.

On the photos that have been seen, 7 of 19 sound bends were marked when they were fresh, 4 of them as more than a
reflection or a scratch. Two rules were made of that and of the photos before: white that lies in the plastic covers
its colour in proportion to what it adds, and a line below a third of a millimetre is named a scratch however it runs.

{sections}
## What this means

A mark is a question: wipe the place, turn the part, look again. No mark is no answer: faint lines are missed, and the
check by eye, with a lamp held low, stays the check. The numbers are of renders with one model of whitening, white mixed
into the colour; real whitening may be duller, wider, or inside the wall. Each interval says how few photos it rests on.
{judged}
"""


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    ask.add_argument("--afresh", action="store_true")
    ask.add_argument("--out", type=Path, default=ROOT / "docs" / "studies" / "bends.md")
    told = ask.parse_args()
    import cv2

    cv2.setNumThreads(1)
    kept = RENDERS / "seen.jsonl"
    if told.afresh:
        kept.unlink(missing_ok=True)
    known = {}
    if kept.exists():
        known = {
            (r["file"], r["given"]): r for r in map(json.loads, kept.read_text(encoding="utf-8").splitlines())
        }
    sections = {}
    for kind, name in KINDS.items():
        place = RENDERS / kind / "truth.jsonl"
        if not place.exists():
            continue
        pairs = []
        for shot in map(json.loads, place.read_text(encoding="utf-8").splitlines()):
            if not (RENDERS / kind / shot["file"]).exists():
                continue
            for given in (False, True):
                key = (shot["file"], given)
                if key not in known:
                    known[key] = look(shot, given)
                    with kept.open("a", encoding="utf-8") as file:
                        file.write(json.dumps(known[key]) + "\n")
                pairs.append((shot, known[key]))
        if pairs:
            sections[kind] = f"## {name}\n\n{page(pairs)}"
    text = PAGE.format(
        sections="\n".join(sections.values()),
        judged=""
        if "last" in sections
        else "**No fresh photo has been looked at: the limits were chosen on these very photos, and nothing here "
        "judges them.**",
    )
    told.out.write_text(text.rstrip() + "\n", encoding="utf-8")
    print(told.out)


if __name__ == "__main__":
    main()
