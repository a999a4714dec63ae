"""`handsel bend PHOTO ...`: pale lines in close photos of bends, for a person to confirm or dismiss."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from handsel.cli.drawn import names, reads_photos, written
from handsel.errors import BadFile, HandselError

if TYPE_CHECKING:
    from handsel.vision.bend.whitening import BendSeen, Candidate

NOTHING_MARKED, TO_LOOK_AT, BAD_INPUT = 0, 1, 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Read:
    """One photo: what it shows of the bend, or why nothing."""

    path: Path
    seen: BendSeen | None
    error: HandselError | None = None
    overlay: Path | None = None


@click.command(name="bend")
@reads_photos
def command(photos: tuple[Path, ...], as_json: bool, overlay: Path | None) -> None:
    """Mark what may be stress whitening in close photos of a bend or of the sliding joint.

    Go near until the bend fills the picture, with a lamp held low to one side. What is marked is a question: wipe the
    place and turn the part. A reflection moves, whitening stays. On white and other light plastics a photo cannot tell.

    Exit status: 0, nothing is marked; 1, a line is marked, or a photo cannot tell; 2, a file could not be used.
    """
    read = [_read(path) for path in photos]
    if overlay is not None:
        read = [_drawn(r, name, overlay) for r, name in zip(read, names(photos), strict=True)]
    if as_json:
        _print_json(read)
    else:
        _print(read)
    if any(isinstance(r.error, BadFile) for r in read):
        sys.exit(BAD_INPUT)
    sure = all(r.seen is not None and r.seen.can_tell and not r.seen.candidates for r in read)
    sys.exit(NOTHING_MARKED if sure else TO_LOOK_AT)


def _read(path: Path) -> Read:
    import numpy as np

    from handsel.data.photo_file import colour_from_bytes, read_bytes
    from handsel.vision.bend.whitening import look_at_bend

    try:
        pixels = np.asarray(colour_from_bytes(read_bytes(path), name=path.name), dtype=np.uint8)
        return Read(path=path, seen=look_at_bend(pixels, where=path.name))
    except HandselError as error:
        return Read(path=path, seen=None, error=error)


def _drawn(read: Read, name: str, folder: Path) -> Read:
    if read.seen is None:
        return read
    from handsel.data.photo_file import colour_from_bytes, read_bytes
    from handsel.documents.bend_overlay import bend_overlay

    picture = colour_from_bytes(read_bytes(read.path), name=read.path.name)
    place = written(folder / f"{name}.bend.jpg", bend_overlay(picture, read.seen))
    return Read(path=read.path, seen=read.seen, overlay=place)


def _print_json(read: Sequence[Read]) -> None:
    import json

    click.echo(json.dumps([_entry(r) for r in read], indent=2, ensure_ascii=False))


def _entry(read: Read) -> dict[str, Any]:
    """One photo in the JSON; every key is always there."""
    s = read.seen
    return {
        "file": str(read.path),
        "can_tell": s and s.can_tell,
        "why_not": s and (s.why_not or None),
        "candidates": [] if s is None else [_marked(c) for c in s.candidates],
        "own_lab": s and [round(v, 1) for v in s.own_lab],
        "bend_deg": None if s is None or s.bend_deg is None else round(s.bend_deg, 1),
        "refused": s is None,
        "reason": None if read.error is None else str(read.error),
        "cause": None if read.error is None else _cause(read.error),
        "words": s and s.words,
        "notes": [] if s is None else list(s.notes),
        "overlay": None if read.overlay is None else str(read.overlay),
    }


def _marked(c: Candidate) -> dict[str, Any]:
    return {
        "looks": c.looks.value,
        "delta_e_2000": round(c.delta_e, 1),
        "lighter": round(c.lighter, 1),
        "less_saturated": round(c.less_saturated, 3),
        "covers": round(c.covers, 3),
        "to_bend_deg": None if c.to_bend_deg is None else round(c.to_bend_deg, 1),
        "length_px": round(c.length_px),
        "width_px": round(c.width_px, 1),
        "line_px": [[round(float(x), 1), round(float(y), 1)] for x, y in c.line_px],
    }


def _cause(error: HandselError) -> str:
    from handsel.vision.bend.whitening import BendRefused

    return error.cause.value if isinstance(error, BendRefused) else "not a usable photo"


def _print(read: Sequence[Read]) -> None:
    from handsel.cli.terminal import console

    out = console()
    for one in read:
        s = one.seen
        if s is None:
            out.print(str(one.error), style="bold")
            continue
        out.print(f"{one.path.name}: {s.words}", style="bold")
        for k, c in enumerate(s.candidates, start=1):
            along = "" if c.to_bend_deg is None else f", {c.to_bend_deg:.0f}° from the bend"
            out.print(
                f"  {k}: {c.looks.value}; colour difference {c.delta_e:.1f} (CIEDE2000), "
                f"{c.length_px:.0f} by {c.width_px:.0f} pixels{along}"
            )
        for note in s.notes:
            out.print(f"  note: {note}")
        if one.overlay is not None:
            out.print(f"  drawn: {one.overlay}")
