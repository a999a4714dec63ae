"""Laws of inspection, whatever was seen."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsel.inspection.answers import Look, p_good
from handsel.inspection.case import Concession, Done, GroupAcceptance, Observation
from handsel.inspection.deciding import inspect
from handsel.inspection.protocol import CANNOT_TELL
from handsel.inspection.rules import NumberRule
from handsel.inspection.undo import ReworkDone, reinspection_set
from inspecting import bad_answer, bundled, sound_case

P = bundled()
STAGE = "strung"
DUE = [c for c in P.characteristics if P.stage(c.hold_point) <= P.stage(STAGE)]
SPOTS = [(c, place) for c in DUE for place in P.places(c.per)]
REWORKS = [ReworkDone(rework=r.id, place=p) for r in P.reworks for p in {"", *P.places(r.per)}]
ROLES = ("", "inspector 3", "lead")

some_observations = st.lists(
    st.tuples(st.sampled_from(SPOTS), st.integers(0, 2), st.sampled_from(ROLES)), max_size=12
)


def observation(spot, kind, by):
    """One observation: as it should be, not as it should be, or can't tell."""
    c, place = spot
    if kind == 2:
        return Observation(of=c.id, place=place, answer=CANNOT_TELL, by=by)
    bad = bad_answer(c, place) if kind == 1 else None
    if bad is not None:
        return replace(bad, by=by)
    if isinstance(c.rule, NumberRule):
        middle = {
            "worked-rest-angle": 36.0,
            "lowered-rest-angle": 36.0,
            "scale-as-ordered": 100.0,
            "part-mass": 100.0,
        }.get(c.id, 0.0)
        return Observation(of=c.id, place=place, value=middle, unit=c.rule.unit, by=by)
    return Observation(of=c.id, place=place, answer=c.rule.accepted[0], by=by)


def a_case(drawn, stage=STAGE):
    """A sound hand with some spots overwritten; a number is given only once."""
    made: list[Observation] = []
    numbers = set()
    for spot, kind, by in drawn:
        o = observation(spot, kind, by)
        if o.value is not None:
            if o.of in numbers:
                continue
            numbers.add(o.of)
        made.append(o)
    replaced = {o.of for o in made if o.value is not None}
    base = sound_case(stage)
    return replace(base, observations=(*(o for o in base.observations if o.of not in replaced), *made))


@given(some_observations, st.sampled_from(SPOTS))
@settings(max_examples=60)
def test_an_added_nonconformity_never_releases_a_hand(drawn, spot):
    c, place = spot
    bad = bad_answer(c, place)
    case = a_case(drawn)
    if bad is None or (bad.value is not None and any(o.of == c.id for o in case.observations)):
        return
    before = inspect(case, P)
    after = inspect(replace(case, observations=(*case.observations, bad)), P)
    assert not (before.whole in ("rework", "scrap part", "not decided yet") and after.whole == "release")
    if before.whole == "release":
        assert after.whole != "release" or c.severity == "minor"


@given(some_observations, st.randoms(use_true_random=False))
@settings(max_examples=60)
def test_the_order_of_observations_does_not_matter(drawn, random):
    case = a_case(drawn)
    mixed = list(case.observations)
    random.shuffle(mixed)
    first, second = inspect(case, P), inspect(replace(case, observations=tuple(mixed)), P)
    assert replace(first, case=case) == replace(second, case=case)


@given(some_observations)
@settings(max_examples=60)
def test_a_hand_is_released_only_when_nothing_grave_is_open(drawn):
    found = inspect(a_case(drawn), P)
    grave = [i for i in found.items if i.severity != "minor" and i.status not in ("conforms", "recorded")]
    assert (found.whole == "release") == (not grave)
    assert sorted(i.key for i in found.open_items) == sorted(i.key for i in found.work_order)
    assert {i.key for i in found.open_items} == {i.key for i in found.items if i.is_open}


@given(st.lists(st.sampled_from(REWORKS), max_size=3), st.sampled_from(REWORKS))
@settings(max_examples=80)
def test_more_rework_never_means_less_to_look_at(some, more):
    before = {(r.characteristic.id, r.place) for r in reinspection_set(some, P)}
    after = {(r.characteristic.id, r.place) for r in reinspection_set([*some, more], P)}
    assert before <= after


@given(st.sampled_from([r for r in REWORKS if r.place]))
@settings(max_examples=80)
def test_rework_everywhere_covers_rework_at_one_place(done):
    here = {(r.characteristic.id, r.place) for r in reinspection_set([done], P)}
    everywhere = {(r.characteristic.id, r.place) for r in reinspection_set([done.rework], P)}
    assert here <= everywhere


@given(st.sampled_from(REWORKS), st.sampled_from(["strung", "finished", "fitting"]))
@settings(max_examples=60)
def test_after_rework_what_it_undid_is_open_until_seen_again(done, stage):
    case = replace(sound_case(stage), done=(Done(what=done.rework, place=done.place),))
    found = inspect(case, P)
    undone = {(r.characteristic.id, r.place) for r in reinspection_set([done], P)}
    for item in found.items:
        if item.key in undone:
            assert item.status == "not seen", item.key
        elif item.id != "worked-rest-angle":  # its conditions may have been undone
            assert item.status in ("conforms", "recorded"), item.key


@given(some_observations, st.sampled_from(SPOTS), st.sampled_from(["lead", "inspector 1"]))
@settings(max_examples=60)
def test_no_concession_releases_a_critical_item(drawn, spot, by):
    c, place = spot
    case = replace(a_case(drawn), concessions=(Concession(of=c.id, place=place, by=by, reason="late"),))
    found = inspect(case, P)
    assert all(not i.conceded_by for i in found.items if i.severity == "critical")
    assert (not found.refused_concessions) == (c.severity != "critical" and by == "lead")


@given(
    st.lists(st.sampled_from([g.id for h in P.hold_points for g in h.groups] + [h.id for h in P.hold_points]))
)
@settings(max_examples=40)
def test_groups_alone_release_no_hand(groups):
    case = replace(
        sound_case(STAGE), observations=(), accepted=tuple(GroupAcceptance(group=g) for g in groups)
    )
    assert inspect(case, P).whole == "not decided yet"


rates = st.floats(0.0, 0.45)
looks = st.lists(st.builds(Look, good=st.booleans(), miss_rate=rates, false_alarm_rate=rates), max_size=6)


@given(st.floats(0.01, 0.9), looks, rates, rates)
def test_a_good_look_never_lowers_the_probability_and_a_bad_one_never_raises_it(prior, seen, miss, alarm):
    now = p_good(prior, seen)
    better = p_good(prior, [*seen, Look(good=True, miss_rate=miss, false_alarm_rate=alarm)])
    worse = p_good(prior, [*seen, Look(good=False, miss_rate=miss, false_alarm_rate=alarm)])
    assert worse <= now + 1e-12
    assert better >= now - 1e-12
    assert worse >= 0.0
    assert better <= 1.0


@given(st.floats(0.01, 0.9), looks)
def test_looks_may_come_in_any_order(prior, seen):
    assert p_good(prior, seen) == pytest.approx(p_good(prior, list(reversed(seen))), rel=1e-12)
