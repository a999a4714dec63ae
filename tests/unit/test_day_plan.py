"""The plan for the day: what it chooses, that it can be done, and what it says of each hand."""

from dataclasses import replace

import pytest

from handsel.errors import OutOfRange
from handsel.rework.day.calendar import broken_rules, value_of
from handsel.rework.day.model import Day, InWork, OpenHand, Person, Stint, Way
from handsel.rework.day.more import what_more_brings, with_helper, with_spares
from handsel.rework.day.plan import by_worth, first_come_first_served, plan_day

CORD = "cord for one loop"
BUILDER, EXPERT, EYES = "builder", "experienced builder", "inspector"


def way(minutes=10.0, *, look=5.0, p=0.9, skill=BUILDER, id="w", wait=0.0, **spares):
    used = {CORD: spares["cords"]} if "cords" in spares else {}
    return Way(
        id=id,
        title=f"Do {id}",
        minutes=minutes,
        skill=skill if minutes else "",
        recheck_minutes=look,
        p_success=p,
        wait_minutes=wait,
        spares=used,
    )


def hand(k, *ways, **more):
    return OpenHand(code=f"R-{k:03d}", serial=f"H-{k:04d}", ways=ways or (way(),), **more)


def person(id, *skills, **more):
    return Person(id=id, skills=frozenset(skills), **more)


def day(hands, *, closing=60.0, people=None, spares=None, **more):
    people = people or (person("builder 1", BUILDER), person("inspector 1", EYES))
    return Day(closing_min=closing, hands=tuple(hands), people=tuple(people), spares=spares or {}, **more)


def serials(plan):
    return {c.hand.serial for c in plan.chosen}


def test_with_time_for_all_every_hand_goes_out():
    plan = plan_day(day([hand(k) for k in range(4)]))
    assert len(plan.chosen) == 4
    assert plan.left_out == ()
    assert plan.expected_releases == pytest.approx(3.6)
    assert plan.gap_ratio == pytest.approx(0.0, abs=1e-6)
    assert plan.sentence.startswith("Work on all hands: about 3.6")


def test_a_waiting_recipient_goes_before_an_easier_hand():
    """One slot only, and the hand of the person in the hall takes it, though the other is surer."""
    plain, waiting = hand(1, way(p=0.99)), hand(2, way(p=0.7), waiting="here")
    plan = plan_day(day([plain, waiting], closing=16.0))
    assert serials(plan) == {"H-0002"}
    assert "waiting here" in plan.chosen[0].reason
    assert plan.left_out[0].cause == "others first"
    assert "R-002 (H-0002)" in plan.left_out[0].reason


def test_many_small_ones_beat_the_big_one_that_came_first():
    big = hand(0, way(50.0))
    small = [hand(k, way(10.0)) for k in range(1, 6)]
    it = day([big, *small], closing=60.0)
    plan = plan_day(it)
    assert serials(plan) == {s.serial for s in small}
    assert value_of(it, plan.chosen) > value_of(it, first_come_first_served(it))


def test_the_quick_way_is_taken_when_the_sure_one_costs_another_hand():
    both = (way(40.0, p=0.95, id="sure"), way(10.0, p=0.8, id="quick"))
    crowded = plan_day(day([hand(1, *both), hand(2, *both)], closing=58.0))
    assert sorted(c.way.id for c in crowded.chosen) == ["quick", "sure"]
    alone = plan_day(day([hand(1, *both)], closing=58.0))
    assert [c.way.id for c in alone.chosen] == ["sure"]
    assert "would hold less often" in alone.chosen[0].reason


def test_nobody_looks_at_their_own_rework():
    one = person("inspector 1", BUILDER, EYES)
    alone = plan_day(day([hand(1)], people=[one]))
    assert alone.chosen == ()
    assert alone.left_out[0].cause == "inspector"
    assert "Nobody but whoever would do the rework" in alone.left_out[0].reason
    allowed = plan_day(day([hand(1)], people=[one], other_eyes=False))
    assert serials(allowed) == {"H-0001"}


def test_the_look_waits_until_the_glue_has_set():
    plan = plan_day(day([hand(1, way(10.0, wait=15.0))]))
    chosen = plan.chosen[0]
    assert chosen.rework == Stint(
        person="builder 1", serial="H-0001", kind="rework", start_min=0.0, end_min=10.0
    )
    assert chosen.recheck is not None
    assert chosen.recheck.start_min == 25.0


@pytest.mark.parametrize(
    ("one", "closing", "people", "cause", "says"),
    [
        (hand(1, way(skill=EXPERT)), 60.0, None, "skill", "an experienced builder"),
        (hand(1, way(cords=2)), 60.0, None, "spares", "needs 2 of “cord for one loop”, and there is none"),
        (hand(1, way(50.0, look=20.0)), 60.0, None, "time", "70 minutes from start to finish"),
        (hand(1), 60.0, [person("builder 1", BUILDER)], "inspector", "no inspector"),
    ],
)
def test_what_rules_a_hand_out_is_said(one, closing, people, cause, says):
    plan = plan_day(day([one], closing=closing, people=people))
    assert plan.chosen == ()
    assert plan.left_out[0].cause == cause
    assert says in plan.left_out[0].reason
    assert plan.sentence.startswith("None of the 1 hand")


def test_few_spares_go_where_they_bring_most():
    hands = [hand(1, way(cords=1, p=0.6)), hand(2, way(cords=1, p=0.9)), hand(3, way(cords=1, p=0.8))]
    plan = plan_day(day(hands, spares={CORD: 2}))
    assert serials(plan) == {"H-0002", "H-0003"}
    assert "The 2 of “cord for one loop” go to hands that bring more" in plan.left_out[0].reason
    assert [s.what for s in plan.scarce] == [CORD]


def test_what_is_in_work_stays_where_it_is():
    """The hand in work is worth least, and builder 1 keeps it all the same."""
    poor = hand(1, way(30.0, p=0.3), in_work=InWork(way="w", by="builder 1", minutes_left=20.0))
    good = [hand(k, way(20.0, p=0.99), waiting="here") for k in (2, 3)]
    plan = plan_day(day([*good, poor], closing=50.0))
    kept = next(c for c in plan.chosen if c.hand is poor)
    assert kept.rework is not None
    assert (kept.rework.person, kept.rework.start_min, kept.rework.end_min) == ("builder 1", 0.0, 20.0)
    assert "has it in work already, 20 minutes more" in kept.reason


def test_a_hand_being_looked_at_is_finished_by_the_same_inspector():
    seen = hand(1, way(30.0), in_work=InWork(way="w", by="inspector 1", minutes_left=3.0, looking=True))
    plan = plan_day(day([seen], closing=5.0))
    assert plan.chosen[0].rework is None
    assert plan.chosen[0].recheck is not None
    assert plan.chosen[0].recheck.end_min == 3.0


def test_work_that_cannot_be_finished_is_put_aside_and_frees_its_person():
    stuck = hand(1, way(90.0), in_work=InWork(way="w", by="builder 1", minutes_left=80.0))
    plan = plan_day(day([stuck, hand(2)], closing=20.0))
    assert serials(plan) == {"H-0002"}
    assert "Put it aside" in plan.left_out[0].reason


def test_planning_again_keeps_to_what_was_told():
    """Two builders alike: after one hand is gone, nobody is sent to another hand without need."""
    people = [person("builder 1", BUILDER), person("builder 2", BUILDER), person("inspector 1", EYES)]
    first = day([hand(k, way(8.0 + k)) for k in range(6)], people=people)
    told = plan_day(first)
    later = replace(first, hands=first.hands[1:])
    again = plan_day(later, told)
    before = {c.hand.serial: c.rework.person for c in told.chosen if c.rework is not None}
    after = {c.hand.serial: c.rework.person for c in again.chosen if c.rework is not None}
    assert set(after) == {h.serial for h in later.hands}
    assert all(before[s] == by for s, by in after.items())


def test_one_more_helper_and_ten_more_cords_are_weighed():
    hands = [hand(k, way(20.0, cords=1)) for k in range(8)]
    it = day(hands, spares={CORD: 2}, closing=65.0)
    plan = plan_day(it)
    more = {m.what: m for m in what_more_brings(it, plan)}
    cords = more[f"10 more of “{CORD}”"]
    assert cords.more_releases == pytest.approx(0.9)  # the one builder has time for a third
    assert "would bring about 0.9 more (such as R-00" in cords.sentence
    assert more["one more builder"].more_value == 0.0
    both = with_spares(it, CORD, 10)
    helped = {m.what: m for m in what_more_brings(both, plan_day(both))}
    assert helped["one more builder"].more_releases == pytest.approx(1.8)
    assert with_helper(it, BUILDER).people[-1].skills == frozenset((BUILDER,))


def test_people_come_and_go():
    late = [person("builder 1", BUILDER, from_min=30.0), person("inspector 1", EYES, until_min=50.0)]
    plan = plan_day(day([hand(k, way(8.0, look=4.0)) for k in range(3)], people=late))
    assert [s.start_min for s in plan.work_of("builder 1")] == [30.0, 38.0][: len(plan.chosen)]
    assert len(plan.chosen) == 1 + 1  # the third would be looked at after the inspector has gone
    assert broken_rules(day([], people=late), plan.chosen) == ()


def test_an_empty_day_is_said():
    assert plan_day(day([])).sentence == "No hand is open."


def test_a_greedy_rule_can_be_beaten():
    """The densest hand first blocks two that together bring more."""
    hands = [hand(1, way(31.0, p=1.0), waiting="appointed"), *(hand(k, way(25.0, p=1.0)) for k in (2, 3))]
    hands = [replace(h, ways=(replace(h.ways[0], recheck_minutes=0.0),)) for h in hands]
    hands[1], hands[2] = (replace(h, waiting="appointed") for h in hands[1:])
    hands.append(replace(hand(4, way(19.0, p=1.0, look=0.0)), waiting="appointed"))
    it = day(hands, closing=50.0, spares={})
    assert value_of(it, plan_day(it).chosen) >= value_of(it, by_worth(it))
    assert plan_day(it).value == pytest.approx(4.0)


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: day([hand(1), hand(1)]), "the same hand stands twice"),
        (lambda: day([hand(1)], people=[person("a", BUILDER)] * 2), "the same person stands twice"),
        (lambda: day([], closing=-1.0), "closing is in -1 minutes"),
        (lambda: day([], closing=float("nan")), "closing is in nan minutes"),
        (lambda: day([hand(1, severity="awful")]), "severity is 'awful'"),
        (lambda: day([hand(1, waiting="soon")]), "waiting is 'soon'"),
        (lambda: day([hand(1, way(), way())]), "stands twice"),
        (lambda: day([OpenHand(code="R-1", serial="H-1", ways=())]), "no way to be put right"),
        (
            lambda: day([hand(1, in_work=InWork(way="w", by="builder 9", minutes_left=1.0))]),
            "is not among the people",
        ),
        (
            lambda: day([hand(1, in_work=InWork(way="x", by="builder 1", minutes_left=1.0))]),
            "the way 'x', which it does not have",
        ),
        (lambda: way(-1.0), "minutes is -1"),
        (lambda: way(p=1.2), "p_success is 1.2"),
        (lambda: way(cords=-1), "fewer than none"),
    ],
)
def test_what_cannot_be_is_refused(make, says):
    with pytest.raises(OutOfRange, match=says):
        make()


def test_the_rules_see_each_kind_of_breach():
    """So that a plan without breaches says something: every rule has been seen to speak."""
    it = day([hand(1, way(10.0, cords=1)), hand(2)], spares={CORD: 1}, closing=40.0)
    good = plan_day(it).chosen
    assert broken_rules(it, good) == ()
    first = good[0]
    assert first.rework is not None
    assert first.recheck is not None

    def said(chosen, on=it):
        return "; ".join(broken_rules(on, chosen))

    early = replace(first, recheck=replace(first.recheck, start_min=1.0, end_min=6.0))
    assert "is looked at before it is done" in said([early])
    own = replace(first, recheck=replace(first.recheck, person="builder 1"))
    assert "their own rework" in said([own])
    assert "has not the skill" in said([own])
    assert "is worked on twice" in said([first, first])
    assert "at once" in said([first, first])
    assert "after closing" in said([first], replace(it, closing_min=12.0))
    assert "are on hand" in said([c for c in good if c.way.spares], replace(it, spares={}))
    assert "nobody works on" in said([replace(first, rework=None)])
    assert "nobody looks at" in said([replace(first, recheck=None)])
    short = replace(first, rework=replace(first.rework, end_min=5.0))
    assert "less time than it needs" in said([short])
    assert "is not there" in said([replace(first, rework=replace(first.rework, person="builder 7"))])
    busy = replace(first.hand, in_work=InWork(way="w", by="builder 9", minutes_left=3.0))
    assert "taken out of the hands" in said([replace(first, hand=busy)])
    late = replace(it, people=(replace(it.people[0], from_min=5.0), it.people[1]))
    assert "not there yet" in said([first], late)
