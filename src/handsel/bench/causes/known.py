"""The catalogue of causes that a protocol goes with, and where the simulated hands of a hand are kept.

Simulated hands are read from the disk once and kept in this process, by their key. A look at the files tells
whether there is more of them by now; a file that is damaged or gone counts as not there.
"""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass
from functools import lru_cache
from hashlib import sha256
from threading import Lock

from handsel.bench.hands.casebook import design_kept, protocol_kept
from handsel.bench.hands.models import Hand
from handsel.data.design_text import design_text
from handsel.data.library_store import LibraryPlace, library_place, load_library
from handsel.data.load_design import design_path, load_design
from handsel.data.load_faults import load_faults
from handsel.data.toml_file import read_toml_file
from handsel.diagnosis.catalogue import Catalogue, Observable
from handsel.diagnosis.library import ROUNDS, Library
from handsel.errors import HandselError
from handsel.inspection.protocol import Protocol

CATALOGUE = "wrist-hand-1"
MOST_HELD = 3  # libraries in memory: scales of one day are few, and each takes some tens of megabytes


@lru_cache(maxsize=16)
def _catalogue(fingerprint: str) -> Catalogue | None:
    try:
        return load_faults(CATALOGUE, protocol_kept(fingerprint))
    except HandselError:  # a protocol of one's own, that the catalogue was not written for
        return None


def catalogue_for(protocol: Protocol) -> Catalogue | None:
    """The causes looked for in hands of this protocol; None where the catalogue does not fit it."""
    return _catalogue(protocol.sha256)


def look_title(look: Observable) -> str:
    """What is looked at, short, with a capital letter."""
    title = look.title.partition(";")[0].partition(", worked,")[0]
    return f"{title[:1].upper()}{title[1:]}"


@lru_cache(maxsize=16)
def _design_fingerprint(kept: str) -> str:
    """The fingerprint that libraries of a design go by: of its file where it came with the program.

    So a library that the command line made serves the bench too.
    """
    name = design_kept(kept).name
    try:
        text = design_text(load_design(name))
        if sha256(text.encode("ascii")).hexdigest() == kept:
            return read_toml_file(design_path(name)).sha256
    except HandselError:  # a design of one's own
        pass
    return kept


@lru_cache(maxsize=64)
def _place(protocol: str, design: str, scale_ratio: float) -> LibraryPlace | None:
    catalogue = _catalogue(protocol)
    if catalogue is None:
        return None
    return library_place(catalogue, design_kept(design), _design_fingerprint(design), scale_ratio)


def place_for(hand: Hand) -> LibraryPlace | None:
    """Where the simulated hands of this one are kept; None where no catalogue fits its protocol."""
    return _place(hand.protocol_id, hand.design_id, hand.scale_ratio)


def forget() -> None:
    """Start afresh, as after a new start of the program."""
    for cache in (_catalogue, _design_fingerprint, _place):
        cache.cache_clear()
    with _guard:
        _held.clear()


Stamp = tuple[tuple[int, int], ...]  # of each round's file: when written, how long


@dataclass(frozen=True, slots=True, kw_only=True)
class _Held:
    stamp: Stamp
    library: Library | None


_held: OrderedDict[str, _Held] = OrderedDict()
_guard = Lock()
_reading = Lock()  # one at a time reads from the disk; the others take what it found


def held_library(at: LibraryPlace) -> Library | None:
    """The library as far as it is there, from memory where it has not grown; None when there is nothing yet."""
    stamp = _stamp(at)
    found = _from_memory(at.key, stamp)
    if found is None:
        with _reading:
            found = _from_memory(at.key, stamp)
            if found is None:
                found = _Held(stamp=stamp, library=load_library(at) if stamp else None)
                with _guard:
                    _held[at.key] = found
                    while len(_held) > MOST_HELD:
                        _held.popitem(last=False)
    return found.library


def _from_memory(key: str, stamp: Stamp) -> _Held | None:
    with _guard:
        found = _held.get(key)
        if found is not None:
            _held.move_to_end(key)
        # What was read stays good when its files are cleared away: they are only a cache.
        if found is not None and (found.stamp == stamp or (not stamp and found.library is not None)):
            return found
    return None


def _stamp(at: LibraryPlace) -> Stamp:
    found = []
    for number in range(ROUNDS):
        try:
            seen = at.file(number).stat()
        except OSError:
            continue
        found.append((seen.st_mtime_ns, seen.st_size))
    return tuple(found)
