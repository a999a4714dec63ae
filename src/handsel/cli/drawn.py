"""Pictures that a verb writes: what they are called, and what happens when they cannot be written."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from handsel.errors import HandselError


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
