"""From a record to the decision, by way of the core."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from bench.hall import Hall, good_entries
from handsel.bench.hands.chain import New, append
from handsel.bench.hands.models import Entry, Standing
from handsel.bench.looking.answering import ask, known


def test_a_hand_in_good_order_passes_every_hold_point_and_is_ready_to_release(
    hall: Hall, no_workers: Callable[[], None]
) -> None:
    hand = hall.hand()
    passed = []
    while hand.standing != Standing.TO_RELEASE:
        here = hand.hold_point
        hall.answer_all(hand, here)
        ask(hand, hall.inspector)
        no_workers()
        hand.refresh_from_db()
        passed.append(here)
        assert len(passed) <= 5, hand.sentence
    assert passed == ["parts", "dry-fit", "strung", "finished", "fitting"]


def test_a_shallow_rest_angle_makes_rework_with_the_exact_fix(
    hall: Hall, no_workers: Callable[[], None]
) -> None:
    hand = hall.hand(at="strung")
    hall.answer_all(hand, "strung", worked_rest_angle=27.0, lowered_rest_angle=27.5)
    job = ask(hand, hall.inspector)
    assert job is not None
    no_workers()
    hand.refresh_from_db()
    assert hand.standing == Standing.TO_PUT_RIGHT
    assert "turn" in hand.sentence or "cut" in hand.sentence
    assert hand.was_refused


def test_asked_twice_it_is_decided_once(hall: Hall, no_workers: Callable[[], None]) -> None:
    hand = hall.hand()
    hall.answer_all(hand, "parts")
    ask(hand, hall.inspector)
    count = Entry.objects.filter(hand=hand, kind="decided").count()
    assert count == 1
    hand = hall.hand(at="strung")
    hall.answer_all(hand, "strung")
    before = Entry.objects.filter(hand=hand, kind="decided").count()
    ask(hand, hall.inspector)
    ask(hand, hall.inspector)
    no_workers()
    assert Entry.objects.filter(hand=hand, kind="decided").count() == before + 1


def test_a_record_that_grew_while_it_was_worked_out_is_not_decided_by_the_old_answer(
    hall: Hall, no_workers: Callable[[], None]
) -> None:
    hand = hall.hand(at="strung")
    hall.answer_all(hand, "strung")
    before = Entry.objects.filter(hand=hand, kind="decided").count()
    ask(hand, hall.inspector)
    append(hand, [New(kind="noted", what={"text": "wait"})], person=hall.builder)
    no_workers()
    assert Entry.objects.filter(hand=hand, kind="decided").count() == before


def test_a_correction_by_the_same_person_counts_instead_of_the_first(hall: Hall) -> None:
    hand = hall.hand()
    first = next(n for n in good_entries(hand, "parts", kit_complete="no") if n.what["of"] == "kit-complete")
    seq = append(hand, [first], person=hall.inspector)[0].entry.seq
    assert known(hand).inspection().item("kit-complete").status == "does not conform"
    append(
        hand,
        [New(kind="observed", what=first.what | {"answer": "yes", "corrects": seq})],
        person=hall.inspector,
    )
    assert known(hand).inspection().item("kit-complete").status == "conforms"


def test_what_another_person_saw_stays_beside_it(hall: Hall) -> None:
    hand = hall.hand()
    saw = {"of": "kit-complete", "place": ""}
    append(hand, [New(kind="observed", what=saw | {"answer": "no"})], person=hall.inspector)
    append(hand, [New(kind="observed", what=saw | {"answer": "yes"})], person=hall.lead)
    item = known(hand).inspection().item("kit-complete")
    assert item.status == "does not conform"
    assert "differ" in item.reason


@pytest.mark.parametrize("rework", ["restring-all"])
def test_rework_undoes_what_was_seen_before_it(hall: Hall, rework: str) -> None:
    hand = hall.hand(at="strung")
    hall.answer_all(hand, "strung")
    assert known(hand).inspection().item("worked-rest-angle").status == "conforms"
    append(
        hand, [New(kind="did", what={"what": rework, "is_rework": True, "at": "strung"})], person=hall.builder
    )
    assert known(hand).inspection().item("worked-rest-angle").status == "not seen"


def test_numbers_that_two_people_read_are_taken_as_repeated_readings(hall: Hall) -> None:
    hand = hall.hand(at="strung")
    hall.answer_all(hand, "strung")
    read = {"of": "worked-rest-angle", "place": "", "value": 35.0, "unit": "deg"}
    append(hand, [New(kind="observed", what=read)], person=hall.lead)
    seen = [o for o in known(hand).case.observations if o.of == "worked-rest-angle"]
    assert [o.readings for o in seen] == [(36.0, 35.0)]
    assert known(hand).inspection().item("worked-rest-angle").status == "conforms"


def test_of_numbers_read_by_different_methods_the_surest_counts(hall: Hall) -> None:
    hand = hall.hand(at="strung")
    hall.answer_all(hand, "strung")
    read = {"of": "whippletree-level", "place": "", "value": 2.0, "unit": "deg", "method": "look"}
    append(hand, [New(kind="observed", what=read)], person=hall.lead)
    seen = [o for o in known(hand).case.observations if o.of == "whippletree-level"]
    assert [(o.value, o.method) for o in seen] == [(0.0, "")]


def test_a_refusal_by_the_substitute_check_outweighs_a_number(hall: Hall) -> None:
    hand = hall.hand()
    hall.answer_all(hand, "parts")
    said = {"of": "part-mass", "place": "", "answer": "no", "method": "substitute"}
    append(hand, [New(kind="observed", what=said)], person=hall.lead)
    assert known(hand).inspection().item("part-mass").status == "does not conform"
