"""The plan of one hand as the worker makes it: by what each person saw, with a way for the day."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.causes_hall import make_rounds, shallow, small_library
from bench.hall import Hall
from handsel.bench.hands.chain import New, append
from handsel.bench.hands.models import Hand
from handsel.bench.planning.one_hand import planned_hand

LOOK = {"of": "starts", "place": "index", "answer": "late", "from": "causes"}


@pytest.fixture
def hand(hall: Hall, monkeypatch: pytest.MonkeyPatch) -> Hand:
    """A refused hand."""
    small_library(monkeypatch)
    return shallow(hall)


def test_without_simulated_hands_there_is_no_plan_yet(
    hand: Hand, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    small_library(monkeypatch, tmp_path)
    assert planned_hand(hand.pk) == {"sentence": ""}


def test_a_refused_hand_has_a_plan_and_a_way_for_the_day(hand: Hand) -> None:
    make_rounds(hand, 0)
    plan = planned_hand(hand.pk)
    assert "minutes to a good hand are expected" in plan["sentence"]
    assert plan["way"]["minutes"] + plan["way"]["recheck_minutes"] > 0
    assert 0 < plan["way"]["p_success"] <= 1


def test_an_answer_that_the_catalogue_does_not_take_is_left_out_of_the_plan(hand: Hand, hall: Hall) -> None:
    make_rounds(hand, 0)
    append(hand, [New(kind="observed", what=LOOK)], person=hall.inspector)
    told = planned_hand(hand.pk)
    append(hand, [New(kind="observed", what=LOOK | {"place": "thumb"})], person=hall.inspector)
    assert planned_hand(hand.pk) == told
