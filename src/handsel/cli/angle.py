"""`handsel angle PHOTO ...`: the rest angle of hands from photos with both cards."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from handsel.cli.drawn import names, reads_photos, written
from handsel.errors import BadFile, HandselError

if TYPE_CHECKING:
    from handsel.vision.rest_angle.fusing import FusedAngle
    from handsel.vision.rest_angle.reading import RestAngle

MEASURED, REFUSED, BAD_INPUT = 0, 1, 2
HANDS = ("left", "right")
SIDES = {"thumb": "thumb side", "little": "little finger's side"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Read:
    """One photo: its reading, or why there is none."""

    path: Path
    reading: RestAngle | None
    error: HandselError | None
    picture: str = ""  # fingerprint of what is to be seen in it, whatever its file says beside that
    overlay: Path | None = None


@click.command(name="angle")
@reads_photos
@click.option(
    "--card-turn-sd-deg",
    type=click.FloatRange(0.0, 20.0),
    default=0.7,
    show_default=True,
    metavar="X",
    help="How far a card is turned in its plane, standard deviation per card; 0 for printed pads.",
)
@click.option(
    "--same-hand", is_flag=True, help="The photos show one hand, not moved: make one reading of them."
)
@click.option(
    "--placed-afresh",
    is_flag=True,
    help="With --same-hand: the cards were taken off and put on again before each photo.",
)
@click.option(
    "--hand",
    "hand_side",
    type=click.Choice(HANDS),
    help="Which hand it is; then the side that faces the camera is told.",
)
def command(
    photos: tuple[Path, ...],
    as_json: bool,
    overlay: Path | None,
    card_turn_sd_deg: float,
    same_hand: bool,
    placed_afresh: bool,
    hand_side: str | None,
) -> None:
    """Read the rest angle from photos of hands with both cards.

    The hand is photographed from the side that carries the cards: number 10 on the palm, number 11 on the
    cuff, top edges toward the back of the hand.

    Exit status: 0, every photo was read; 1, a photo does not show the angle; 2, a file could not be used.
    """
    if placed_afresh and not same_hand:
        raise click.UsageError("--placed-afresh goes with --same-hand.")
    read = [_read(path, card_turn_sd_deg) for path in photos]
    if overlay is not None:
        read = [_drawn(r, name, overlay) for r, name in zip(read, names(photos), strict=True)]
    counted, repeated = _each_once(read)
    fused: FusedAngle | None = None
    disagree: HandselError | None = None
    if same_hand and counted:
        from handsel.vision.rest_angle.fusing import fuse

        try:
            fused = fuse([r.reading for r in counted if r.reading is not None], placed_afresh=placed_afresh)
            fused = replace(fused, notes=(*fused.notes, *repeated))
        except HandselError as error:
            disagree = error
    if as_json:
        _print_json(read, fused, disagree, counted if same_hand else None, hand_side)
    else:
        _print(read, fused, disagree, hand_side)
    if any(isinstance(r.error, BadFile) for r in read):
        sys.exit(BAD_INPUT)
    sys.exit(REFUSED if disagree is not None or any(r.error for r in read) else MEASURED)


def _read(path: Path, card_turn_sd_deg: float) -> Read:
    from handsel.data.photo_file import read_photo
    from handsel.vision.camera import Lens
    from handsel.vision.rest_angle.reading import measure_rest_angle

    try:
        photo = read_photo(path)
        lens = Lens(f35_mm=photo.f35_mm, whole_picture=photo.whole_picture, zoom_ratio=photo.zoom_ratio)
        found = measure_rest_angle(photo.gray, lens=lens, card_turn_sd_deg=card_turn_sd_deg, where=path.name)
    except HandselError as error:
        return Read(path=path, reading=None, error=error)
    picture = sha256(repr(photo.gray.shape).encode() + photo.gray.tobytes()).hexdigest()
    return Read(path=path, reading=found, error=None, picture=picture)


def _each_once(read: Sequence[Read]) -> tuple[list[Read], list[str]]:
    """The photos that count as readings, and what to say of those that are one of them once more.

    No two photos have the same pixels; a copy tells nothing new, and must not make the angle look surer.
    """
    first: dict[str, Read] = {}
    repeated = []
    for one in (r for r in read if r.reading is not None):
        known = first.setdefault(one.picture, one)
        if known is not one:
            repeated.append(f"{one.path.name} is the same photo as {known.path.name}; it is counted once")
    return list(first.values()), repeated


def _drawn(read: Read, name: str, folder: Path) -> Read:
    if read.reading is None:
        return read
    from handsel.data.photo_file import colour_from_bytes, read_bytes
    from handsel.documents.angle_overlay import angle_overlay

    picture = colour_from_bytes(read_bytes(read.path), name=read.path.name)
    place = written(folder / f"{name}.angle.jpg", angle_overlay(picture, read.reading))
    return replace(read, overlay=place)


def _print_json(
    read: Sequence[Read],
    fused: FusedAngle | None,
    disagree: HandselError | None,
    together: Sequence[Read] | None,
    hand_side: str | None,
) -> None:
    import json

    entries = [_entry(r, hand_side) for r in read]
    if together is not None:
        entries.append(_fused_entry([str(r.path) for r in together], fused, disagree))
    click.echo(json.dumps(entries, indent=2, ensure_ascii=False))


def _entry(read: Read, hand_side: str | None) -> dict[str, Any]:
    """One photo in the JSON; every key is always there."""
    r = read.reading
    return {
        "file": str(read.path),
        "rest_angle_deg": r and round(r.rest_angle_deg, 3),
        "u_rest_angle_deg": r and round(r.u_rest_angle_deg, 3),
        "interval_95_deg": r and [round(r.low_deg, 3), round(r.high_deg, 3)],
        "refused": r is None,
        "reason": None if read.error is None else str(read.error),
        "cause": None if read.error is None else _cause(read.error),
        "contributions": {} if r is None else {k: round(v, 4) for k, v in r.contributions.items()},
        "fingers_point": r and r.fingers_point,
        "view_side": r and r.view_side(hand_side),
        "view_side_of": r and {hand: r.view_side(hand) for hand in HANDS},
        "obliquity_deg": r and round(r.obliquity_deg, 1),
        "f35_mm": r and round(r.f35_mm, 1),
        "side_px": r and round(r.side_px, 1),
        "misfit": r and round(r.misfit, 2),
        "notes": [] if r is None else list(r.notes),
        "overlay": None if read.overlay is None else str(read.overlay),
    }


def _cause(error: HandselError) -> str:
    from handsel.vision.rest_angle.refused import PhotoRefused

    return error.cause.value if isinstance(error, PhotoRefused) else "not a usable photo"


def _fused_entry(files: list[str], fused: FusedAngle | None, disagree: HandselError | None) -> dict[str, Any]:
    """The one reading of all photos, last in the JSON."""
    return {
        "file": None,
        "same_hand": files,
        "rest_angle_deg": fused and round(fused.rest_angle_deg, 3),
        "u_rest_angle_deg": fused and round(fused.u_rest_angle_deg, 3),
        "interval_95_deg": fused and [round(fused.low_deg, 3), round(fused.high_deg, 3)],
        "refused": fused is None,
        "reason": str(disagree) if disagree else None if fused else "no photo could be read",
        "cause": _cause(disagree) if disagree else None if fused else "no reading",
        "contributions": {} if fused is None else {k: round(v, 4) for k, v in fused.contributions.items()},
        "notes": [] if fused is None else list(fused.notes),
    }


def _print(
    read: Sequence[Read], fused: FusedAngle | None, disagree: HandselError | None, hand_side: str | None
) -> None:
    from handsel.cli.terminal import console

    out = console()
    for one in read:
        if one.reading is None:
            out.print(str(one.error), style="bold")
            continue
        r = one.reading
        out.print(f"{one.path.name}: {_said(r)}", style="bold")
        out.print(
            f"  fingers to the {r.fingers_point}, {_side(r, hand_side)}"
            f"; {r.obliquity_deg:.0f}° from square on; smaller card {r.side_px:.0f} px"
        )
        out.print(f"  {_account(r.contributions)}")
        for note in r.notes:
            out.print(f"  note: {note}")
        if one.overlay is not None:
            out.print(f"  drawn: {one.overlay}")
    if fused is not None:
        count = "1 photo" if fused.photo_count == 1 else f"{fused.photo_count} photos"
        out.print(f"{count} of one hand: {_said(fused)}", style="bold")
        out.print(f"  {_account(fused.contributions)}")
        for note in fused.notes:
            out.print(f"  note: {note}")
    if disagree is not None:
        out.print(str(disagree), style="bold")


def _side(found: RestAngle, hand_side: str | None) -> str:
    """The side that is seen; both that it can be while nobody says which hand it is."""
    if (side := found.view_side(hand_side)) is not None:
        return SIDES[side]
    return " or ".join(f"{SIDES[str(found.view_side(hand))]} of a {hand} hand" for hand in HANDS)


def _said(found: RestAngle | FusedAngle) -> str:
    return (
        f"{found.rest_angle_deg:.1f}°, with 95 % between {found.low_deg:.1f}° and {found.high_deg:.1f}° "
        f"(u = {found.u_rest_angle_deg:.2f}°)".replace("-", "−")
    )


def _account(contributions: Any) -> str:
    parts = sorted(contributions.items(), key=lambda item: -item[1])
    return "u from " + ", ".join(f"{name} {u:.2f}°" for name, u in parts if u >= 0.005)
