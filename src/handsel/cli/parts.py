"""`handsel parts PHOTO`: a kit's parts on the printed mat held against what was ordered."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from handsel.errors import BadFile, HandselError

if TYPE_CHECKING:
    from handsel.vision.parts.looking import PartMissing, PartSeen, PartsSeen

AS_ORDERED, NOT_AS_ORDERED, BAD_INPUT = 0, 1, 2


@click.command(name="parts")
@click.argument("photo", type=click.Path(path_type=Path), metavar="PHOTO")
@click.option(
    "--design", "design_name", default="linden", show_default=True, help="Design: its name, or a file."
)
@click.option(
    "--scale", "scale_ratio", type=float, required=True, metavar="S", help="As ordered; 115 % is 1.15."
)
@click.option("--side", type=click.Choice(["left", "right"]), required=True, help="As ordered.")
@click.option(
    "--only",
    "only",
    multiple=True,
    metavar="PART",
    help="Expect only this part here (again for more; a * stands for anything: '*_tip'). Else the whole kit.",
)
@click.option(
    "--bar-mm",
    "bar_reading_mm",
    type=float,
    metavar="X",
    help="What a caliper finds at a black bar of the mat, drawn 100 mm long.",
)
@click.option(
    "--paper",
    type=click.Choice(["a4", "letter", "a3"]),
    help="Which mat it is; refused when the photo shows another.",
)
@click.option("--json", "as_json", is_flag=True, help="Print what was seen as JSON.")
@click.option(
    "--overlay",
    type=click.Path(file_okay=False, path_type=Path),
    metavar="DIR",
    help="Write the photo with what was seen drawn on it into DIR.",
)
def command(
    photo: Path,
    design_name: str,
    scale_ratio: float,
    side: str,
    only: tuple[str, ...],
    bar_reading_mm: float | None,
    paper: str | None,
    as_json: bool,
    overlay: Path | None,
) -> None:
    """Look at a kit's parts on the inspection mat, photographed from above.

    Every thing on the mat is named: as ordered, for the other hand, of another scale, one too many, not of the kit,
    or not to be told, with what would settle it. What is not there is listed.

    Exit status: 0, all expected parts are there and as ordered; 1, something is not, or cannot be told; 2, the photo
    or another input could not be used.
    """
    try:
        result, place = _looked(photo, design_name, scale_ratio, side, only, bar_reading_mm, paper, overlay)
    except HandselError as error:
        _refused(photo, error, as_json)
        sys.exit(BAD_INPUT if isinstance(error, BadFile | ValueError) else NOT_AS_ORDERED)
    if as_json:
        import json

        click.echo(json.dumps(entry(photo, result, place), indent=2, ensure_ascii=False))
    else:
        _print(photo, result, place)
    sys.exit(AS_ORDERED if result.is_right else NOT_AS_ORDERED)


def _looked(
    photo: Path,
    design_name: str,
    scale_ratio: float,
    side: str,
    only: Sequence[str],
    bar_reading_mm: float | None,
    paper: str | None,
    overlay: Path | None,
) -> tuple[PartsSeen, Path | None]:
    from handsel.data.load_design import load_design
    from handsel.data.photo_file import colour_from_bytes, photo_from_bytes, read_bytes
    from handsel.vision.camera import Lens
    from handsel.vision.mat.sheet import MATS
    from handsel.vision.mat.view import MatCause, MatRefused
    from handsel.vision.parts.looking import look_at_parts

    data = read_bytes(photo)
    told = photo_from_bytes(data, name=photo.name)
    picture = colour_from_bytes(data, name=photo.name)
    import numpy as np

    design = load_design(design_name)
    result = look_at_parts(
        np.asarray(picture),
        design=design,
        scale_ratio=scale_ratio,
        side=side,
        lens=Lens(f35_mm=told.f35_mm, whole_picture=told.whole_picture),
        bar_reading_mm=bar_reading_mm,
        expected=_named(only, [p.name for p in design.parts if p.printed]) if only else None,
        where=photo.name,
    )
    if paper is not None and result.mat != MATS[paper].title:
        raise MatRefused(
            MatCause.UNKNOWN_SHEET,
            f"it shows the {result.mat} mat, not the {MATS[paper].title} mat",
            where=photo.name,
            do="Name the mat that was used, or leave --paper out.",
        )
    if overlay is None:
        return result, None
    from handsel.documents.parts_overlay import parts_overlay

    place = overlay / f"{photo.stem or 'photo'}.parts.jpg"
    try:
        overlay.mkdir(parents=True, exist_ok=True)
        place.write_bytes(parts_overlay(picture, result))
    except OSError as error:
        raise BadFile(
            f"it cannot be written ({error.strerror or 'unknown reason'})",
            where=str(place),
            do="Choose another folder for the pictures.",
        ) from None
    return result, place


def _named(only: Sequence[str], names: Sequence[str]) -> set[str]:
    """The parts that the patterns mean; a pattern that means none is kept, and refused with the list of names."""
    from fnmatch import fnmatchcase

    found: set[str] = set()
    for pattern in only:
        found |= {n for n in names if fnmatchcase(n, pattern)} or {pattern}
    return found


def _refused(photo: Path, error: HandselError, as_json: bool) -> None:
    from handsel.vision.mat.view import MatRefused

    if not as_json:
        click.echo(str(error), err=True)
        return
    import json

    cause = error.cause.value if isinstance(error, MatRefused) else "not usable input"
    click.echo(
        json.dumps(
            {"file": str(photo), "refused": True, "cause": cause, "reason": str(error)},
            indent=2,
            ensure_ascii=False,
        )
    )


def entry(photo: Path, result: PartsSeen, overlay: Path | None) -> dict[str, Any]:
    """What was seen, as plain data; every key is always there."""
    return {
        "file": str(photo),
        "refused": False,
        "design": result.design,
        "scale_ratio": result.scale_ratio,
        "side": result.side,
        "mat": result.mat,
        "as_ordered": result.is_right,
        "sentence": result.sentence,
        "expected_count": result.expected_count,
        "parts": [_part(n, s) for n, s in enumerate(result.seen, 1)],
        "missing": [_missing(m) for m in result.missing],
        "print_ratio": round(result.print_ratio, 4),
        "u_print_ratio": round(result.u_print_ratio, 4),
        "print_told_by": list(result.print_told_by),
        "print_is_wrong": result.print_is_wrong,
        "tilt_deg": round(result.tilt_deg, 1),
        "px_per_mm": round(result.px_per_mm, 2),
        "markers_seen": result.marker_count,
        "notes": list(result.notes),
        "overlay": None if overlay is None else str(overlay),
    }


def _part(number: int, s: PartSeen) -> dict[str, Any]:
    return {
        "number": number,
        "state": s.state.value,
        "names": list(s.names),
        "title": s.title,
        "confidence": round(s.confidence, 3),
        "x_mm": round(s.x_mm, 1),
        "y_mm": round(s.y_mm, 1),
        "length_mm": round(s.length_mm, 2),
        "u_length_mm": round(s.u_length_mm, 2),
        "scale_ratio": s.scale_ratio and round(s.scale_ratio, 4),
        "u_scale_ratio": s.u_scale_ratio and round(s.u_scale_ratio, 4),
        "flat_side_down": s.flat_side_down,
        "reason": s.reason,
        "ask": s.ask
        and {
            "what": s.ask.what,
            "dimension": s.ask.dimension,
            "expected_mm": s.ask.expected_mm,
            "otherwise_mm": s.ask.otherwise_mm,
        },
    }


def _missing(m: PartMissing) -> dict[str, Any]:
    return {"names": list(m.names), "title": m.title, "count": m.count, "may_be_there": m.may_be_there}


def _print(photo: Path, result: PartsSeen, overlay: Path | None) -> None:
    from handsel.cli.terminal import console
    from handsel.vision.parts.looking import State

    out = console()
    out.print(f"{photo.name}: {result.sentence}", style="bold")
    for number, s in enumerate(result.seen, 1):
        words = f"  {number:>2}  {s.state.value}: {s.title}"
        if s.state is State.RIGHT:
            words += f" ({100 * s.confidence:.1f} %)"
        out.print(words)
        if s.reason:
            out.print(f"      {s.reason}")
        if s.ask is not None:
            out.print(f"      {s.ask.what}")
    for m in result.missing:
        many = f" ({m.count})" if m.count > 1 else ""
        out.print(
            f"   -  not seen: {m.title}{many}"
            + ("; it may be among what cannot be told" if m.may_be_there else "")
        )
    for note in result.notes:
        out.print(f"  note: {note}")
    if overlay is not None:
        out.print(f"  drawn: {overlay}")
