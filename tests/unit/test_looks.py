"""Looks that a plan may ask for: nobody is sent to what was settled, second looks and numbers tell what they can."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from handsel.diagnosis.hands import columns_of
from handsel.diagnosis.likelihood import Rows, Seen, items_of
from handsel.diagnosis.posterior import Posterior
from handsel.inspection.case import Case, HandRecord, Observation
from handsel.rework.hand.actions import OpenLooks
from handsel.rework.hand.eyes import looked_twice, unseen, worth_looking
from handsel.rework.hand.looks import information, looks_for

HANDS = 40  # of each state


def case_with(*observations, accepted=()):
    hand = HandRecord(
        code="R-014", serial="H-1", design="linden", scale_ratio=1.0, side="right", hold_point="strung"
    )
    return Case(
        name="two people",
        hand=hand,
        by="inspector 2",
        on=date(2026, 11, 21),
        observations=observations,
        accepted=accepted,
    )


def through_hole(answer, by=""):
    return Observation(of="cord-through-hole", place="ring", answer=answer, by=by)


def test_nobody_is_sent_to_look_a_third_time():
    assert looked_twice(case_with(through_hole("no"))) == frozenset()
    twice = case_with(through_hole("no"), through_hole("yes", "builder 3"))
    assert looked_twice(twice) == {("cord-through-hole", "ring")}
    read = Observation(of="whippletree-level", readings=(1.0, 2.0), unit="deg")
    assert looked_twice(case_with(read)) == {("whippletree-level", "")}
    assert looked_twice(case_with(through_hole("can't tell"))) == {("cord-through-hole", "ring")}


def test_what_nobody_has_looked_at_is_all_but_what_was_seen_or_shown_or_given_up(protocol, catalogue):
    every = {(o.id, place) for o in catalogue.observables for place in o.places}
    shown = {("elastics-there", f) for f in ("index", "middle", "ring", "little", "thumb")}
    seen = [
        Seen(of="cord-through-hole", place="ring", answer="no"),
        Seen(of="worked-rest-angle", value=35.0),
        *(Seen(of=of, place=place, answer="yes", in_group=True) for of, place in shown),
    ]
    left = unseen(catalogue, items_of(catalogue, seen), {("starts", "index")})
    asked = {a.key for look in left for a in look.asked}
    assert asked == every - shown - {("cord-through-hole", "ring"), ("worked-rest-angle", ""), ("starts", "index")}
    assert not any(a.again for look in left for a in look.asked)


def two_states(catalogue, one, other, column, values):
    """A posterior that is torn between two faults, of hands that differ in one quantity."""
    columns = columns_of(catalogue)
    index = {f.id: f.index for f in catalogue.faults}
    strata = np.array([[index[one], -1], [index[other], -1]], dtype=np.int16)
    stratum = np.repeat(np.arange(2, dtype=np.int32), HANDS)
    seen = np.zeros((len(columns), 2 * HANDS), dtype=np.float32)
    seen[columns.index(column)] = np.repeat(np.array(values, dtype=np.float32), HANDS)
    rows = Rows(
        columns=columns,
        seen=seen,
        blur=np.zeros((len(columns), 2), dtype=np.float32),
        strata=strata,
        stratum=stratum,
        scale_miss=0.0,
    )
    by_fault = np.zeros(len(index))
    by_fault[[index[one], index[other]]] = 0.5
    return Posterior(
        rows=rows,
        severity=np.zeros((2 * HANDS, 2), dtype=np.float32),
        weight=np.full(2 * HANDS, 0.5 / HANDS),
        by_set=np.array([0.5, 0.5]),
        by_fault=by_fault,
        effective_hands=2.0 * HANDS,
        refined=False,
    )


def single(looks):
    return {look.asked[0].key: look for look in looks if len(look.asked) == 1}


def test_a_number_is_asked_for_and_parted_where_the_causes_differ(catalogue):
    p = two_states(
        catalogue, "part-scale@ring", "loop-long@ring-little", "part_size_percent@ring", (108.0, 100.0)
    )
    look = single(looks_for(p, catalogue, [0, 1], np.array([0.5, 0.5]), ()))[("part-size", "ring")]
    assert not look.asked[0].again
    assert look.chance.sum(0) == pytest.approx([1.0, 1.0])
    likely = look.chance.argmax(0)
    assert likely[0] > likely[1]  # the answer expected of the large part lies above that of the sound one
    assert look.asked[0].answers[likely[1]].startswith("below")
    assert look.asked[0].answers[likely[0]].endswith("percent or more")


def test_what_was_seen_may_be_looked_at_again_by_somebody_else_but_not_a_third_time(catalogue):
    p = two_states(catalogue, "cord-through-gap@ring", "loop-long@ring-little", "tilt_deg", (0.0, 0.0))
    seen = items_of(catalogue, [Seen(of="cord-through-hole", place="ring", answer="yes")])
    weight = np.array([0.5, 0.5])
    key = ("cord-through-hole", "ring")
    look = single(looks_for(p, catalogue, [0, 1], weight, seen))[key]
    assert look.asked[0].again
    assert look.chance[1, 0] > 5.0 * look.chance[1, 1]  # "no" speaks for the gap
    # What one did not see there mostly is not to be seen: the second one says less than the first would have said.
    first = single(looks_for(p, catalogue, [0, 1], weight, ()))[key]
    assert look.chance[1, 0] < first.chance[1, 0]
    assert key not in single(looks_for(p, catalogue, [0, 1], weight, seen, {key}))


def test_a_first_answer_makes_the_like_more_probable_the_second_time(catalogue):
    """Of hands whose hinges are tight, some spring back slowly: who heard "slow" expects it again."""
    p = two_states(
        catalogue, "hinge-tight@ring.tip", "loop-long@ring-little", "return_surplus_ratio@ring.tip", (0.0, 1.0)
    )
    mixed = p.rows.seen.copy()
    mixed[p.rows.columns.index("return_surplus_ratio@ring.tip"), : HANDS // 2] = 1.0
    p = replace(p, rows=replace(p.rows, seen=mixed, kept={}))
    weight, key = np.array([0.5, 0.5]), ("springs-back", "ring.tip")
    fresh = single(looks_for(p, catalogue, [0, 1], weight, ()))[key]
    seen = items_of(catalogue, [Seen(of=key[0], place=key[1], answer="stays")])
    again = single(looks_for(p, catalogue, [0, 1], weight, seen))[key]
    stays = fresh.asked[0].answers.index("stays")
    assert again.chance[stays, 0] > fresh.chance[stays, 0] + 0.2


def test_a_few_looks_in_one_go_tell_at_least_what_one_of_them_does(catalogue):
    p = two_states(catalogue, "tips-swapped@index-middle", "loop-long@index-middle", "tilt_deg", (0.0, 0.0))
    weight = np.array([0.5, 0.5])
    looks = looks_for(p, catalogue, [0, 1], weight, ())
    rounds = [look for look in looks if len(look.asked) > 1]
    assert rounds
    for look in rounds:
        assert look.chance.sum(0) == pytest.approx([1.0, 1.0])
        assert look.minutes == pytest.approx(sum(single(looks)[a.key].minutes for a in look.asked))
        best = max(information(single(looks)[a.key].chance, weight) for a in look.asked)
        assert information(look.chance, weight) >= best - 1e-9
        assert all(look.excludes(single(looks)[a.key]) for a in look.asked)


def test_information_is_none_where_the_states_answer_alike_and_a_bit_where_they_never_do():
    assert information(np.array([[0.3, 0.3], [0.7, 0.7]]), np.array([0.5, 0.5])) == pytest.approx(0.0, abs=1e-12)
    assert information(np.eye(2), np.array([1.0, 1.0])) == pytest.approx(1.0)


def test_of_what_nobody_looked_at_comes_what_is_due_and_what_tells_something_for_its_minutes(protocol, catalogue):
    """Two causes that differ in how the ring finger starts: that is asked for, and how the index starts is not."""
    columns = columns_of(catalogue)
    p = two_states(
        catalogue, "hinge-tight@ring.knuckle", "loop-long@index-middle", "start_lead_deg@ring", (-12.0, 0.0)
    )
    assert "start_lead_deg@index" in columns
    gaps = unseen(catalogue, (), frozenset())
    rule = OpenLooks(always=("tip-size",), at_once=3, least_bits_per_minute=0.02)
    keys = [look.asked[0].key for look in worth_looking(gaps, p, catalogue, protocol, rule)]
    own = {o.id for o in catalogue.observables if protocol.characteristic(o.id) is None}
    chosen = [key for key in keys if key[0] in own - {"tip-size"}]
    assert ("starts", "ring") in chosen
    assert ("starts", "index") not in chosen
    assert 1 <= len(chosen) <= 3
    due = {(o.id, place) for o in catalogue.observables for place in o.places if o.id not in own or o.id == "tip-size"}
    assert due <= set(keys)
    order = [look.asked[0].key for look in gaps]
    assert keys == sorted(keys, key=order.index)
    strict = OpenLooks(always=(), at_once=3, least_bits_per_minute=10.0)
    assert {look.asked[0].key[0] for look in worth_looking(gaps, p, catalogue, protocol, strict)}.isdisjoint(own)
