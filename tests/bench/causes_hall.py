"""A strung hand whose finger loop is too long, and a small library of simulated hands to tell it by."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from bench.hall import Hall
from handsel.bench.causes import diagnosing, known
from handsel.bench.hands.casebook import told_of
from handsel.bench.hands.chain import New, append
from handsel.bench.hands.models import Hand
from handsel.data.library_store import CACHE_VARIABLE, build_library
from handsel.diagnosis import library

# Few of each sort: enough for a page, made in seconds. The key of a library says how many there are.
SMALL = {"FAULTLESS": 24, "SINGLE": 4, "PAIR": 1, "CORDS": 1}


def small_library(monkeypatch: pytest.MonkeyPatch, folder: Path | None = None) -> None:
    """Let libraries be small, and kept in this folder, or in the one that all tests of a run share."""
    for name, count in SMALL.items():
        monkeypatch.setattr(library, name, count)
    if folder is not None:
        monkeypatch.setenv(CACHE_VARIABLE, str(folder))
    known.forget()
    diagnosing.forget()


def make_rounds(hand: Hand, *rounds: int) -> None:
    """Make some rounds of the hand's library, as the worker does."""
    at = known.place_for(hand)
    assert at is not None
    build_library(at, rounds=rounds)


def shallow(hall: Hall, **different: Any) -> Hand:
    """Strung, looked at and refused: it rests too flat and the bar tilts."""
    hand = hall.hand(at="strung")
    found = {"worked_rest_angle": 32.5, "lowered_rest_angle": 33.0, "whippletree_level": -3.0} | different
    hall.answer_all(hand, "strung", **found)
    append(hand, [New(kind="decided", what=refused(hand))], person=hall.inspector)
    hand.refresh_from_db()
    return hand


def refused(hand: Hand) -> dict[str, Any]:
    """A decision that the hand has to be put right."""
    return {
        "hold_point": hand.hold_point,
        "whole": "rework",
        "sentence": "It rests too flat.",
        "blocked_by": "not so: rest angle",
        "open": [],
        "fix": {"sentence": "", "steps": [], "cautions": []},
        "next_hold_point": "",
        "next_is_fitting": False,
        "protocol": hand.protocol_id,
        "design": hand.design_id,
        "program": "test",
        "case_key": f"{len(told_of(hand)):064d}",
    }
