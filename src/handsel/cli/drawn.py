"""What verbs that read photos share: their arguments, and the pictures that they write."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import click

from handsel.errors import HandselError


def reads_photos(verb: Callable[..., Any]) -> Callable[..., Any]:
    """PHOTO..., --json and --overlay, as every verb takes them that reads one thing from each of several photos."""
    overlay = click.option(
        "--overlay",
        type=click.Path(file_okay=False, path_type=Path),
        metavar="DIR",
        help="Write each photo with what was seen drawn on it into DIR.",
    )
    as_json = click.option("--json", "as_json", is_flag=True, help="Print what was read as JSON.")
    photos = click.argument(
        "photos", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="PHOTO..."
    )
    return photos(as_json(overlay(verb)))


def names(photos: Sequence[Path]) -> list[str]:
    """A name for each picture that is written, numbered where two photos are called alike."""
    found: list[str] = []
    for path in photos:
        name, n = path.stem or "photo", 2
        while name in found:
            name, n = f"{path.stem}-{n}", n + 1
        found.append(name)
    return found


def written(place: Path, picture: bytes) -> Path:
    """The picture in its place, folders made as needed."""
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_bytes(picture)
    except OSError as error:
        raise HandselError(
            f"it cannot be written ({error.strerror or 'unknown reason'})",
            where=str(place),
            do="Choose another folder for the pictures.",
        ) from None
    return place
