"""`handsel cuff PHOTO ...`: how symmetric formed cuffs are, from photos that look into them."""

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
    from handsel.metrology.decision import Decision
    from handsel.metrology.limits import Limits
    from handsel.vision.cuff.measuring import CuffSeen

SYMMETRIC, NOT_SO, BAD_INPUT = 0, 1, 2
CHARACTERISTIC = "cuff-symmetric"


@dataclass(frozen=True, slots=True, kw_only=True)
class Read:
    """One photo: what it shows of the cuff, or why nothing."""

    path: Path
    seen: CuffSeen | None
    decision: Decision | None = None
    error: HandselError | None = None
    overlay: Path | None = None


@click.command(name="cuff")
@reads_photos
@click.option(
    "--width-mm",
    type=click.FloatRange(15.0, 300.0),
    metavar="X",
    help="Outer width at the end that faces the camera, by caliper; then neither card nor mat is needed.",
)
@click.option(
    "--length-mm",
    type=click.FloatRange(15.0, 400.0),
    metavar="X",
    help="Length along the arm; of use when the cuff stands on the printed mat.",
)
@click.option(
    "--protocol",
    default="wrist-hand-1",
    show_default=True,
    metavar="NAME|FILE",
    help="Whose limit it is held against.",
)
def command(
    photos: tuple[Path, ...],
    as_json: bool,
    overlay: Path | None,
    width_mm: float | None,
    length_mm: float | None,
    protocol: str,
) -> None:
    """Measure how far formed cuffs are from being their own mirror image.

    Lay the cuff on its back on a plain sheet of another colour, or stand it on end, and look straight into it from an
    arm's length, zoomed in, so that both flanks show their inner faces alike. The scale comes from --width-mm, from a
    printed card held beside the end that faces the camera, or from the printed mat on which it stands.

    Exit status: 0, every cuff is within the limit; 1, a cuff is not, or not surely, or a photo does not show it; 2, a
    file could not be used.
    """

    try:
        limits, accept_p = _limit(protocol)
    except HandselError as error:
        click.echo(str(error), err=True)
        sys.exit(BAD_INPUT)
    read = [_read(path, width_mm, length_mm, limits, accept_p) for path in photos]
    if overlay is not None:
        read = [_drawn(r, name, overlay, limits) for r, name in zip(read, names(photos), strict=True)]
    if as_json:
        _print_json(read, limits)
    else:
        _print(read, limits)
    if any(isinstance(r.error, BadFile) for r in read):
        sys.exit(BAD_INPUT)
    sys.exit(SYMMETRIC if all(_good(r, limits) for r in read) else NOT_SO)


def _good(read: Read, limits: Limits | None) -> bool:
    from handsel.metrology.decision import Verdict

    if read.error is not None or read.seen is None:
        return False
    return limits is None or (read.decision is not None and read.decision.verdict is Verdict.CONFORMS)


def _limit(protocol: str) -> tuple[Limits | None, float]:
    """The protocol's limit for what a photo measures, and the probability it asks for."""
    from handsel.data.load_protocol import load_protocol

    loaded = load_protocol(protocol)
    found = next((c for c in loaded.characteristics if c.id == CHARACTERISTIC), None)
    if found is None:
        return None, 0.90
    return found.photo_limits, loaded.accept(found.severity)


def _read(
    path: Path, width_mm: float | None, length_mm: float | None, limits: Limits | None, accept_p: float
) -> Read:
    import numpy as np

    from handsel.data.photo_file import colour_from_bytes, photo_from_bytes, read_bytes
    from handsel.vision.camera import Lens
    from handsel.vision.cuff.measuring import judge_cuff, look_at_cuff

    try:
        data = read_bytes(path)
        photo = photo_from_bytes(data, name=path.name)
        pixels = np.asarray(colour_from_bytes(data, name=path.name), dtype=np.uint8)
        lens = Lens(f35_mm=photo.f35_mm, whole_picture=photo.whole_picture)
        seen = look_at_cuff(pixels, lens=lens, width_mm=width_mm, length_mm=length_mm, where=path.name)
    except HandselError as error:
        return Read(path=path, seen=None, error=error)
    decision = None if limits is None else judge_cuff(seen, limits, accept_p=accept_p)
    return Read(path=path, seen=seen, decision=decision)


def _drawn(read: Read, name: str, folder: Path, limits: Limits | None) -> Read:
    if read.seen is None:
        return read
    from handsel.data.photo_file import colour_from_bytes, read_bytes
    from handsel.documents.cuff_overlay import cuff_overlay

    picture = colour_from_bytes(read_bytes(read.path), name=read.path.name)
    place = written(
        folder / f"{name}.cuff.jpg", cuff_overlay(picture, read.seen, limits=limits, decision=read.decision)
    )
    return Read(path=read.path, seen=read.seen, decision=read.decision, overlay=place)


def _print_json(read: Sequence[Read], limits: Limits | None) -> None:
    import json

    click.echo(json.dumps([_entry(r, limits) for r in read], indent=2, ensure_ascii=False))


def _entry(read: Read, limits: Limits | None) -> dict[str, Any]:
    """One photo in the JSON; every key is always there."""
    s, d = read.seen, read.decision
    return {
        "file": str(read.path),
        "asymmetry_mm": s and round(s.asymmetry_mm, 2),
        "u_asymmetry_mm": s and round(s.u_asymmetry_mm, 2),
        "interval_95_mm": s and [round(s.low_mm, 2), round(s.high_mm, 2)],
        "limit_max_mm": None if limits is None else limits.high,
        "verdict": None if d is None else str(d.verdict),
        "p_conform": None if d is None else round(d.p_conform, 4),
        "refused": s is None,
        "reason": None if read.error is None else str(read.error),
        "cause": None if read.error is None else _cause(read.error),
        "contributions": {} if s is None else {k: round(v, 3) for k, v in s.contributions.items()},
        "width_mm": s and round(s.width_mm, 1),
        "u_width_mm": s and round(s.u_width_mm, 2),
        "scale_from": s and s.scale_from,
        "left": s and {"height_mm": round(s.left.height_mm, 1), "lean_deg": round(s.left.lean_deg, 1)},
        "right": s and {"height_mm": round(s.right.height_mm, 1), "lean_deg": round(s.right.lean_deg, 1)},
        "words": s and s.words,
        "notes": [] if s is None else list(s.notes),
        "overlay": None if read.overlay is None else str(read.overlay),
    }


def _cause(error: HandselError) -> str:
    from handsel.vision.cuff.refused import CuffRefused

    return error.cause.value if isinstance(error, CuffRefused) else "not a usable photo"


def _print(read: Sequence[Read], limits: Limits | None) -> None:
    from handsel.cli.terminal import console

    out = console()
    for one in read:
        s = one.seen
        if s is None:
            out.print(str(one.error), style="bold")
            continue
        out.print(
            f"{one.path.name}: {s.asymmetry_mm:.1f} mm from its mirror image, with 95 % between {s.low_mm:.1f} and "
            f"{s.high_mm:.1f} mm (u = {s.u_asymmetry_mm:.2f} mm)",
            style="bold",
        )
        if one.decision is not None:
            out.print(f"  limit {limits}: {one.decision.verdict}")
        if s.words:
            out.print(f"  in the picture {s.words}")
        out.print(f"  {s.width_mm:.1f} mm wide; scale from the {s.scale_from}")
        parts = sorted(s.contributions.items(), key=lambda item: -item[1])
        out.print("  u from " + ", ".join(f"{name} {u:.2f} mm" for name, u in parts if u >= 0.005))
        for note in s.notes:
            out.print(f"  note: {note}")
        if one.overlay is not None:
            out.print(f"  drawn: {one.overlay}")
