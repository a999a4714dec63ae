"""Laws of the search for the cheapest way: against all orders, all policies, and itself at another depth."""

from functools import cache
from itertools import permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsel.rework.hand.troubleshoot import Problem, Solver, fixed_order_value

FEW = settings(max_examples=12, deadline=None)


def problem(weight, minutes, chance, *, gentle=None, checks=(), last=200.0):
    """One act for each of n single faults, with the chance that it cures; checks as (minutes, (answers, n))."""
    n = len(weight)
    stays = np.stack([np.eye(n) for _ in range(n)])
    for k in range(n):
        stays[k, k, k] = 1.0 - chance[k]
    return Problem(
        weight=np.array(weight, float),
        act_minutes=np.array(minutes, float),
        stays=stays,
        gentle=np.ones(n, bool) if gentle is None else np.array(gentle),
        check_minutes=np.array([c[0] for c in checks], float),
        answers=tuple(np.array(c[1], float) for c in checks),
        last_minutes=last,
    )


@st.composite
def problems(draw, *, checks=True, most=4):
    weight = np.array(draw(st.lists(st.floats(0.05, 1.0), min_size=2, max_size=most)))
    n = len(weight)
    numbers = st.lists(st.floats(1.0, 40.0), min_size=n, max_size=n)
    chance = draw(st.lists(st.floats(0.3, 1.0), min_size=n, max_size=n))
    made = []
    for _ in range(draw(st.integers(0, 2)) if checks else 0):
        bad = np.array(draw(st.lists(st.floats(0.02, 0.98), min_size=n, max_size=n)))
        made.append((draw(st.floats(0.1, 10.0)), [bad, 1.0 - bad]))
    return problem(weight / weight.sum(), draw(numbers), chance, checks=made)


@FEW
@given(problems(checks=False), st.data())
def test_many_beliefs_at_once_are_worth_what_each_is_alone(p, data):
    """They are worked out in one go; what one of them does must not touch the others."""
    solver, n = Solver(p), len(p.weight)
    rows = st.lists(st.floats(0.0, 1.0), min_size=n, max_size=n)
    beliefs = np.array(data.draw(st.lists(rows, min_size=1, max_size=5)))
    left = np.array(data.draw(st.lists(st.lists(st.booleans(), min_size=n, max_size=n), min_size=len(beliefs),
                                       max_size=len(beliefs))))  # fmt: skip
    alone = [solver.simple_value(b, open_) for b, open_ in zip(beliefs, left, strict=True)]
    assert solver.simple_values(beliefs, left) == pytest.approx(np.array(alone))


def best_of_all(p):
    """The value of the best policy that keeps the rule about cuts and the last resort, by trying everything."""
    n, k = len(p.act_minutes), len(p.check_minutes)
    rule = Solver(p)

    @cache
    def value(belief, left, checks):
        b = np.array(belief)
        if b.sum() <= 1e-12:
            return 0.0
        allowed = rule.admissible(b, np.array([a in left for a in range(n)]))
        options = [p.last_minutes * b.sum()] if allowed[-1] or not allowed.any() else []
        for a in left:
            if not allowed[a]:
                continue
            rest = tuple(b @ p.stays[a])
            options.append(p.act_minutes[a] * b.sum() + value(rest, left - {a}, checks))
        for c in checks:
            parts = sum(value(tuple(b * o), left, checks - {c}) for o in p.answers[c])
            options.append(p.check_minutes[c] * b.sum() + parts)
        return min(options)

    return value(tuple(p.weight), frozenset(range(n)), frozenset(range(k)))


def found(p, depth):
    s = Solver(p)
    return s.choose(p.weight, s.all_acts, s.all_checks, depth).value


@FEW
@given(problems(checks=False))
def test_without_checks_least_minutes_for_the_chance_first_is_the_best_order(p):
    """The known result for single faults: order by minutes over chance of success."""
    s = Solver(p)
    best = min(fixed_order_value(s, p.weight, order) for order in permutations(range(len(p.act_minutes))))
    assert s.simple_value(p.weight, s.all_acts) <= best + 1e-9


@FEW
@given(problems(most=3))  # all policies of four acts and two checks take minutes
def test_looking_far_enough_ahead_finds_the_best_policy_there_is(p):
    steps = len(p.act_minutes) + len(p.check_minutes)
    assert found(p, steps) == pytest.approx(best_of_all(p), rel=1e-9)


@FEW
@given(problems())
def test_each_step_further_ahead_only_betters_it_and_never_beats_the_best(p):
    s = Solver(p)
    values = [s.simple_value(p.weight, s.all_acts), *(found(p, d) for d in (1, 2, 3))]
    assert all(b <= a + 1e-9 for a, b in zip(values, values[1:], strict=False))
    assert values[-1] >= best_of_all(p) - 1e-9


def test_a_cheap_look_that_tells_two_causes_apart_comes_first():
    told = np.array([[0.98, 0.02], [0.02, 0.98]])
    p = problem([0.5, 0.5], [30.0, 30.0], [0.95, 0.95], checks=[(0.5, told)])
    s = Solver(p)
    assert s.choose(p.weight, s.all_acts, s.all_checks, 2).kind == "check"
    dear = problem([0.5, 0.5], [30.0, 30.0], [0.95, 0.95], checks=[(60.0, told)])
    t = Solver(dear)
    assert t.choose(dear.weight, t.all_acts, t.all_checks, 2).kind == "act"


def test_nothing_is_cut_for_what_something_gentle_cures():
    """The cut is quicker and surer; the gentle act comes first all the same."""
    stays = np.zeros((2, 1, 1))
    stays[0, 0, 0], stays[1, 0, 0] = 0.01, 0.2
    p = Problem(
        weight=np.ones(1),
        act_minutes=np.array([2.0, 20.0]),
        stays=stays,
        gentle=np.array([False, True]),
        check_minutes=np.zeros(0),
        answers=(),
        last_minutes=100.0,
    )
    s = Solver(p)
    first = s.choose(p.weight, s.all_acts, s.all_checks, 2)
    assert (first.kind, first.index) == ("act", 1)
    tried = np.array([True, False])
    second = s.choose(p.weight @ stays[1], tried, s.all_checks, 2)
    assert (second.kind, second.index) == ("act", 0)
