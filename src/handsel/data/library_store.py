"""Where simulated hands are kept: the user's cache folder. Everything in it can be deleted at any time.

One folder for each library, named by what its hands depend on, with one file for each round. A round is
written beside its place and renamed, so a file is either whole or not there; building goes on where it
stopped, and two processes may build at once. Nothing is pickled.
"""

from __future__ import annotations

import os
import sys
import zipfile
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO
from uuid import uuid4

import numpy as np

from handsel.design.model import Design
from handsel.design.placing import RIGHT, placed
from handsel.diagnosis.catalogue import Catalogue
from handsel.diagnosis.hands import Bench, Drawn, columns_of, make_bench
from handsel.diagnosis.library import (
    ROUNDS,
    Library,
    library_key,
    library_of,
    make_round,
    scale_on_grid,
    strata_of,
)
from handsel.errors import BadFile

Progress = Callable[[int, int], None]  # rounds there, rounds in all
CACHE_VARIABLE = "HANDSEL_CACHE"


@dataclass(frozen=True, slots=True, kw_only=True)
class LibraryPlace:
    """Which library a hand needs, and where it is kept. `design` is the design at scale 1, right."""

    catalogue: Catalogue
    design: Design
    scale_ratio: float  # on the grid
    key: str
    folder: Path

    def file(self, number: int) -> Path:
        """The file of a round."""
        return self.folder / f"round-{number:02d}.npz"

    def bench(self) -> Bench:
        """What new hands of it are drawn with."""
        at_size = placed(self.design, scale_ratio=self.scale_ratio, side=RIGHT)
        return make_bench(self.catalogue, at_size, self.scale_ratio)


def cache_folder() -> Path:
    """The user's folder for what can be made again, by the custom of the system; `HANDSEL_CACHE` overrides it.

    Parameters: none.
    Returns: Path, which need not exist.
    Raises: nothing of its own.
    Valid for: Linux, macOS, Windows.
    Source: XDG Base Directory Specification; on the others their own custom, from memory.
    Checked by: unit/test_library_store.py
    """
    if given := os.environ.get(CACHE_VARIABLE):
        return Path(given)
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local") / "handsel" / "cache"
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Caches" / "handsel"
    given = os.environ.get("XDG_CACHE_HOME", "")
    base = Path(given) if given and Path(given).is_absolute() else Path.home() / ".cache"
    return base / "handsel"


def library_place(
    catalogue: Catalogue, design: Design, design_sha256: str, scale_ratio: float, *, cache: Path | None = None
) -> LibraryPlace:
    """Which library a hand needs: that of the nearest scale on the grid.

    Parameters: catalogue; design, at scale 1, right; design_sha256, of its file; scale_ratio of the hand [-];
        cache, None for the user's cache folder.
    Returns: LibraryPlace.
    Raises: nothing of its own.
    Valid for: left hands too, which move as right ones do.
    Source: own.    Checked by: unit/test_library_store.py
    """
    on_grid = scale_on_grid(design, scale_ratio)
    key = library_key(catalogue, design_sha256, on_grid)
    folder = (cache or cache_folder()) / "libraries" / f"{design.name}-{round(1000 * on_grid)}-{key[:20]}"
    return LibraryPlace(catalogue=catalogue, design=design, scale_ratio=on_grid, key=key, folder=folder)


def load_library(at: LibraryPlace) -> Library | None:
    """The library as far as it is there, None when there is nothing of it.

    Parameters: at.
    Returns: Library, of all whole rounds; a file that is damaged counts as not there.
    Raises: nothing of its own.
    Valid for: any state of the folder.    Source: own.    Checked by: unit/test_library_store.py
    """
    rounds = [r for number in range(ROUNDS) if (r := _read(at, number)) is not None]
    return library_of(at.catalogue, rounds, at.scale_ratio) if rounds else None


def rounds_there(at: LibraryPlace) -> int:
    """How many rounds have a file, whole or not; quick."""
    return sum(at.file(number).is_file() for number in range(ROUNDS))


def build_library(
    at: LibraryPlace,
    *,
    rounds: Sequence[int] = tuple(range(ROUNDS)),
    progress: Progress | None = None,
    stop: Callable[[], bool] | None = None,
) -> Library:
    """The library, with the rounds that are missing made and kept.

    Parameters: at; rounds, which ones are wanted; progress, told after each; stop, asked before each one
        that has to be made: True leaves the rest for another time.
    Returns: Library of what is there.
    Raises: BadFile when the folder cannot be written to and nothing could be made.
    Valid for: one process or several at once.
    Source: own.    Checked by: unit/test_library_store.py
    """
    bench: Bench | None = None
    made: list[Drawn] = []
    for done, number in enumerate(rounds):
        kept = _read(at, number)
        if kept is None:
            if stop is not None and stop() and made:
                continue
            bench = bench or at.bench()
            kept = make_round(bench, number)
            _write(at, number, kept)
        made.append(kept)
        if progress is not None:
            progress(done + 1, len(rounds))
    return library_of(at.catalogue, made, at.scale_ratio)


def _read(at: LibraryPlace, number: int) -> Drawn | None:
    """A round, or None when its file is not there or not what it should be."""
    try:
        with at.file(number).open("rb") as raw, np.load(_zipped(raw), allow_pickle=False) as file:
            key = str(file["key"])
            faults, severity, seen = file["faults"], file["severity"], file["seen"]
    except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile, NotImplementedError):
        return None
    n = len(faults) if faults.ndim == 2 else -1
    whole = (
        key == f"{at.key} {number}"
        and faults.dtype == np.int16
        and severity.dtype == np.float32
        and seen.dtype == np.float32
        and faults.shape == severity.shape == (n, 2)
        and seen.shape == (len(columns_of(at.catalogue)), n)
        and n >= len(strata_of(at.catalogue))
        and bool(np.isfinite(seen).all())
        and bool((faults < len(at.catalogue.faults)).all())
    )
    return Drawn(faults=faults, severity=severity, seen=seen) if whole else None


def _zipped(raw: BinaryIO) -> BinaryIO:
    """The file, when it begins as an archive does: numpy would take other things too."""
    if raw.read(2) != b"PK":
        raise ValueError("no archive")
    raw.seek(0)
    return raw


def _write(at: LibraryPlace, number: int, made: Drawn) -> None:
    beside = at.folder / f".{uuid4().hex}.part"
    try:
        at.folder.mkdir(parents=True, exist_ok=True)
        with beside.open("wb") as file:
            np.savez(
                file,
                allow_pickle=False,
                key=np.array(f"{at.key} {number}"),
                faults=made.faults,
                severity=made.severity,
                seen=made.seen,
            )
        beside.replace(at.file(number))
    except OSError as error:
        with suppress(OSError):
            beside.unlink(missing_ok=True)
        raise BadFile(
            f"simulated hands could not be kept: {error.strerror or error}",
            where=str(at.folder),
            do=f"Make room there, or name another folder in {CACHE_VARIABLE}.",
        ) from error


def lower_priority() -> None:
    """Let everything else on this computer go first, for the rest of this process."""
    if hasattr(os, "nice"):
        os.nice(10)
