"""What is known of the causes of one hand's trouble: worked out in this process, remembered for its state."""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass
from threading import Lock

from handsel.bench.causes.known import catalogue_for, held_library, place_for
from handsel.bench.causes.learning import catalogue_learned
from handsel.bench.hands.casebook import Told, case_of
from handsel.bench.hands.models import Hand
from handsel.diagnosis.catalogue import Catalogue
from handsel.diagnosis.from_case import seen_in_case
from handsel.diagnosis.library import ROUNDS, Library
from handsel.diagnosis.likelihood import BadAnswer, Seen, items_of
from handsel.diagnosis.posterior import diagnose
from handsel.diagnosis.result import Diagnosis
from handsel.inspection.protocol import Protocol
from handsel.rework.hand.plain import is_strung

MOST_REMEMBERED = 400


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """A diagnosis and what it rests on."""

    catalogue: Catalogue
    diagnosis: Diagnosis
    seen: tuple[Seen, ...]
    dropped: tuple[str, ...]  # answers on record that the catalogue does not take, in words


@dataclass(frozen=True, slots=True, kw_only=True)
class Progress:
    """How much of the simulated hands is there."""

    there: int
    total: int = ROUNDS


_remembered: OrderedDict[tuple[object, ...], Found] = OrderedDict()
_guard = Lock()


def can_be_diagnosed(protocol: Protocol, hold_point: str) -> bool:
    """Whether the cords are in: before that there is nothing that a diagnosis could go by."""
    return catalogue_for(protocol) is not None and is_strung(protocol, hold_point)


def progress(hand: Hand) -> Progress | None:
    """Rounds that are there; None where no catalogue fits."""
    at = place_for(hand)
    if at is None:
        return None
    library = held_library(at)
    return Progress(there=0 if library is None else library.rounds)


def seen_of(
    hand: Hand, told: tuple[Told, ...], protocol: Protocol, catalogue: Catalogue
) -> tuple[tuple[Seen, ...], tuple[str, ...]]:
    """Everything said of a hand that the catalogue takes, and what it does not take of it."""
    seen = seen_in_case(case_of(hand, told, with_causes=True), protocol, catalogue)
    kept, dropped = [], []
    for s in seen:
        try:
            items_of(catalogue, [s])
        except BadAnswer as error:
            dropped.append(f"{error.where}: {error.what}")
        else:
            kept.append(s)
    return tuple(kept), tuple(dropped)


def find(hand: Hand, told: tuple[Told, ...], protocol: Protocol) -> Found | None:
    """The diagnosis as things stand; None while there is no simulated hand to go by."""
    at = place_for(hand)
    if at is None:
        return None
    library = held_library(at)
    if library is None:
        return None
    catalogue, version = catalogue_learned(at.catalogue)
    seen, dropped = seen_of(hand, told, protocol, catalogue)
    key = (at.key, library.rounds, version, hand.scale_ratio, seen)
    with _guard:
        found = _remembered.get(key)
        if found is not None:
            _remembered.move_to_end(key)
            return found
    found = _worked_out(library, catalogue, hand.scale_ratio, seen, dropped)
    with _guard:
        _remembered[key] = found
        while len(_remembered) > MOST_REMEMBERED:
            _remembered.popitem(last=False)
    return found


def _worked_out(
    library: Library,
    catalogue: Catalogue,
    scale_ratio: float,
    seen: tuple[Seen, ...],
    dropped: tuple[str, ...],
) -> Found:
    return Found(
        catalogue=catalogue,
        diagnosis=diagnose(library, catalogue, seen, scale_ratio=scale_ratio),
        seen=seen,
        dropped=dropped,
    )


def forget() -> None:
    """Start afresh, as after a new start of the program."""
    with _guard:
        _remembered.clear()
