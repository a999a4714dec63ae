"""Laws of the day's plan, for any small day: it can be done, nothing simpler beats it, more help never hurts."""

from itertools import permutations, product

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from handsel.rework.day.calendar import Wish, broken_rules, placed_in_order, value_of
from handsel.rework.day.model import Day, InWork, OpenHand, Person, Way
from handsel.rework.day.more import with_helper, with_spares
from handsel.rework.day.plan import by_worth, first_come_first_served, plan_day

SKILLS = ("builder", "experienced builder")
SPARES = ("cord", "elastic")
FEW = settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.too_slow])


@st.composite
def ways(draw, k):
    minutes = draw(st.sampled_from([0, 3, 5, 8, 12, 25, 40]))
    return Way(
        id=f"way-{k}",
        title=f"Do {k}",
        minutes=minutes,
        skill=draw(st.sampled_from(SKILLS)) if minutes else "",
        recheck_minutes=draw(st.sampled_from([0, 2, 5, 9, 16])),
        wait_minutes=draw(st.sampled_from([0, 0, 6])) if minutes else 0,
        p_success=draw(st.sampled_from([0.0, 0.5, 0.8, 0.95])),
        spares=draw(st.dictionaries(st.sampled_from(SPARES), st.integers(0, 2), max_size=2)),
    )


@st.composite
def days(draw, most=7):
    skills = st.sets(st.sampled_from([*SKILLS, "inspector"]), min_size=1)
    people = tuple(
        Person(
            id=f"person {k}",
            skills=frozenset(draw(skills)),
            from_min=draw(st.sampled_from([0, 0, 10])),
            until_min=draw(st.sampled_from([1000, 40])),
        )
        for k in range(draw(st.integers(1, 4)))
    )
    free = [p.id for p in people]
    hands = []
    for k in range(draw(st.integers(0, most))):
        own = tuple(draw(ways(i)) for i in range(draw(st.integers(1, 2))))
        work = None
        if free and draw(st.integers(0, 4)) == 0:
            work = InWork(
                way=own[0].id,
                by=free.pop(),
                minutes_left=draw(st.sampled_from([1, 7, 30])),
                looking=draw(st.booleans()),
            )
        hands.append(
            OpenHand(
                code=f"R-{k:03d}",
                serial=f"H-{k:03d}",
                ways=own,
                severity=draw(st.sampled_from(["critical", "major", "minor"])),
                waiting=draw(st.sampled_from(["here", "appointed", "no"])),
                in_work=work,
            )
        )
    return Day(
        closing_min=draw(st.sampled_from([0, 15, 30, 60])),
        hands=tuple(hands),
        people=people,
        spares=draw(st.dictionaries(st.sampled_from(SPARES), st.integers(0, 4), max_size=2)),
        other_eyes=draw(st.booleans()),
    )


@FEW
@given(days())
def test_a_plan_never_asks_for_more_people_spares_or_minutes_than_there_are(day):
    plan = plan_day(day)
    assert broken_rules(day, plan.chosen) == ()
    planned = [c.hand.serial for c in plan.chosen] + [x.hand.serial for x in plan.left_out]
    assert sorted(planned) == sorted(h.serial for h in day.hands)
    assert all(c.reason for c in plan.chosen)
    assert all(x.reason for x in plan.left_out)


@FEW
@given(days())
def test_a_plan_is_never_worse_than_simple_rules_nor_better_than_its_bound(day):
    plan = plan_day(day)
    for simple in (first_come_first_served, by_worth):
        chosen = simple(day)
        assert broken_rules(day, chosen) == ()
        assert plan.value >= value_of(day, chosen) - 1e-9
    assert plan.value <= plan.bound + 1e-9


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(days(most=4))
def test_no_order_of_work_beats_the_bound(day):
    """All orders and ways of a few hands: the bound holds for each, and the plan reaches the best of them."""
    plan, best = plan_day(day), 0.0
    for order in permutations(day.hands):
        for chosen in product(*(h.ways for h in order)):
            wishes = [[Wish(hand=h, way=w)] for h, w in zip(order, chosen, strict=True)]
            best = max(best, value_of(day, placed_in_order(day, wishes)))
    assert plan.bound >= best - 1e-6
    assert plan.value >= best * (1.0 - 0.002) - 1e-9


@FEW
@given(days(), st.sampled_from([*SKILLS, "inspector"]))
def test_one_more_helper_or_more_spares_never_hurt(day, skill):
    plan = plan_day(day)
    for more in (with_helper(day, skill), with_spares(day, "cord", 10)):
        again = plan_day(more, plan)
        assert again.value >= plan.value - 1e-9
        assert again.bound >= plan.value - 1e-9
        assert broken_rules(more, again.chosen) == ()


@FEW
@given(days())
def test_what_is_in_work_is_never_taken_away(day):
    plan = plan_day(day)
    for c in plan.chosen:
        if c.hand.in_work is not None:
            kept = c.recheck if c.hand.in_work.looking else c.rework
            assert kept is not None
            assert (kept.person, kept.start_min) == (c.hand.in_work.by, 0.0)


@FEW
@given(days())
def test_the_same_day_gets_the_same_plan(day):
    assert plan_day(day) == plan_day(day)
