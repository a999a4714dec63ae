"""Laws of what is known and decided, whatever the numbers."""

import math
from math import inf, sqrt

import numpy as np
import pytest
import scipy.special
import scipy.stats
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from handsel.metrology.decision import (
    Action,
    Limits,
    Verdict,
    conformance_probability,
    decide,
    what_settles,
)
from handsel.metrology.distributions import (
    incomplete_beta,
    normal_cdf,
    normal_quantile,
    student_cdf,
    student_quantile,
)
from handsel.metrology.guard import Zone, acceptance_limits, three_zone
from handsel.metrology.limits import p_within
from handsel.metrology.line import fit_line
from handsel.metrology.montecarlo import Shape, monte_carlo
from handsel.metrology.propagation import (
    first_order,
    propagate,
    second_order,
    welch_satterthwaite,
)
from handsel.metrology.quantity import Quantity, expanded, from_readings
from handsel.metrology.risk import acceptance_for_consumer_risk, gamma_prior, global_risk, normal_prior

values = st.floats(-1e3, 1e3)
uncertainties = st.floats(0.01, 100)
dofs = st.one_of(st.just(inf), st.integers(1, 200).map(float))
probabilities = st.floats(0.5, 0.999)
readings = st.lists(st.floats(-90, 90), min_size=2, max_size=12)


def quantity(value, u, dof=inf, unit="deg"):
    return Quantity(value=value, u=u, dof=dof, unit=unit, origin="rest angle")


# --- distributions, held to scipy ---------------------------------------------------------------

@given(st.floats(-35, 35))
def test_normal_probability_is_scipys(z):
    assert normal_cdf(z) == pytest.approx(scipy.stats.norm.cdf(z), rel=1e-12)


@given(st.floats(1e-12, 1 - 1e-12))
def test_normal_quantile_is_scipys(p):
    assert normal_quantile(p) == pytest.approx(scipy.stats.norm.ppf(p), rel=1e-9, abs=1e-12)


@given(st.floats(0.5, 500), st.floats(0.5, 500), st.floats(0, 1))
def test_incomplete_beta_is_scipys(a, b, x):
    assert incomplete_beta(a, b, x) == pytest.approx(scipy.special.betainc(a, b, x), rel=1e-8, abs=1e-13)


@given(st.floats(-50, 50), st.one_of(st.floats(1, 300), st.floats(1e4, 1e7)))
def test_student_probability_is_scipys(t, dof):
    assert student_cdf(t, dof) == pytest.approx(scipy.stats.t.cdf(t, dof), rel=1e-7, abs=1e-12)


@given(st.floats(0.0005, 0.9995), st.floats(1, 1e6))
def test_student_quantile_is_scipys(p, dof):
    assert student_quantile(p, dof) == pytest.approx(scipy.stats.t.ppf(p, dof), rel=1e-7, abs=1e-9)


# --- readings -----------------------------------------------------------------------------------

@given(readings, st.integers(2, 6), st.floats(0, 5), st.floats(0, 2))
def test_repeating_the_same_readings_never_raises_u_nor_beats_the_common_error(once, times, common, step):
    assume(max(once) - min(once) > 1e-6)
    few = from_readings(once, unit="deg", origin="a", u_type_b=common, resolution=step)
    many = from_readings(once * times, unit="deg", origin="a", u_type_b=common, resolution=step)
    assert many.u <= few.u
    assert many.u >= common
    assert many.u >= step / sqrt(12) * (1 - 1e-12)
    assert many.dof >= few.dof


@given(readings)
def test_scatter_of_the_mean_is_numpys(once):
    assume(max(once) - min(once) > 1e-6)
    found = from_readings(once, unit="deg", origin="a")
    assert found.value == pytest.approx(np.mean(once), rel=1e-12, abs=1e-10)
    assert found.u == pytest.approx(np.std(once, ddof=1) / sqrt(len(once)), rel=1e-9)
    assert found.dof == pytest.approx(len(once) - 1)


@given(readings, st.floats(0.001, 5), st.floats(-100, 100), st.sampled_from([-2.0, 0.5, 25.4]))
def test_readings_in_another_unit_tell_the_same(once, common, shift, factor):
    plain = from_readings(once, unit="deg", origin="a", u_type_b=common)
    moved = from_readings([factor * x + shift for x in once], unit="deg", origin="a",
                          u_type_b=abs(factor) * common)
    assert moved.value == pytest.approx(factor * plain.value + shift, rel=1e-9, abs=1e-8)
    assert moved.u == pytest.approx(abs(factor) * plain.u, rel=1e-9)


@given(values, uncertainties, dofs, st.floats(0.05, 0.999))
def test_an_expanded_interval_holds_its_coverage(value, u, dof, coverage):
    q = quantity(value, u, dof)
    interval = expanded(q, coverage)
    assert interval.low < value < interval.high or 1e-9 * abs(value) > interval.U
    assume(1e-6 * abs(value) < interval.U)
    held = conformance_probability(q, Limits(low=interval.low, high=interval.high, unit="deg"))
    assert held == pytest.approx(coverage, abs=1e-8)


def test_stated_intervals_hold_the_truth_as_often_as_stated():
    # 4000 people read a true 35 deg four times each, scatter 0.8 deg, each with a common error of
    # their own. 4000 draws put the share within 0.0105 of 0.95 in 99.8 of 100 runs.
    rng = np.random.default_rng(11)
    common = rng.normal(0, 0.3, 4000)
    reads = 35 + common[:, None] + rng.normal(0, 0.8, (4000, 4))
    hits = 0
    for row in reads:
        interval = expanded(from_readings(row, unit="deg", origin="a", u_type_b=0.3))
        hits += interval.low <= 35 <= interval.high
    assert 0.9395 <= hits / 4000 <= 0.9605


# --- decisions ----------------------------------------------------------------------------------

@given(values, uncertainties, dofs, values, st.floats(0.01, 500), st.floats(0, 50), st.floats(0, 50))
def test_widening_the_limits_never_lowers_the_probability(value, u, dof, low, width, down, up):
    q = quantity(value, u, dof)
    tight = conformance_probability(q, Limits(low=low, high=low + width, unit="deg"))
    wide = conformance_probability(q, Limits(low=low - down, high=low + width + up, unit="deg"))
    open_above = conformance_probability(q, Limits(low=low - down, unit="deg"))
    assert 0 <= tight <= wide + 1e-12 <= open_above + 2e-12 <= 1 + 2e-12


@given(values, st.one_of(st.just(0.0), uncertainties), dofs, values, st.floats(0.01, 500), probabilities)
def test_left_and_right_are_judged_alike(value, u, dof, low, width, accept_p):
    here = decide(quantity(value, u, dof), Limits(low=low, high=low + width, unit="deg"), accept_p=accept_p)
    mirrored = decide(quantity(-value, u, dof), Limits(low=-low - width, high=-low, unit="deg"),
                      accept_p=accept_p)
    # low + width and -low - width are the same number with another sign, so this is exact.
    assert mirrored.p_conform == pytest.approx(here.p_conform, abs=1e-14)


@given(values, uncertainties, dofs, values)
def test_above_and_below_a_limit_make_one(value, u, dof, limit):
    q = quantity(value, u, dof)
    above = conformance_probability(q, Limits(low=limit, unit="deg"))
    below = conformance_probability(q, Limits(high=limit, unit="deg"))
    assert above + below == pytest.approx(1, abs=1e-12)


@given(values, uncertainties, values, probabilities)
def test_asking_for_more_never_turns_one_verdict_into_the_other(value, u, limit, accept_p):
    q, limits = quantity(value, u), Limits(low=limit, unit="deg")
    strict = decide(q, limits, accept_p=accept_p).verdict
    plain = decide(q, limits, accept_p=0.5).verdict
    assert plain is not Verdict.UNDECIDED
    assert strict in (plain, Verdict.UNDECIDED)


@given(values, st.floats(0, 500), values, probabilities)
def test_without_uncertainty_the_limit_alone_decides(value, width, low, accept_p):
    limits = Limits(low=low, high=low + width + 0.001, unit="deg")
    decision = decide(quantity(value, 0.0), limits, accept_p=accept_p)
    inside = limits.low <= value <= limits.high
    assert decision.verdict is (Verdict.CONFORMS if inside else Verdict.DOES_NOT_CONFORM)


@given(values, uncertainties, dofs, values)
def test_one_limit_three_zones_at_90_percent_are_the_decision_at_95(value, u, dof, limit):
    q, limits = quantity(value, u, dof), Limits(low=limit, unit="deg")
    p = conformance_probability(q, limits)
    assume(min(abs(p - 0.95), abs(p - 0.05)) > 1e-9)      # on the very edge rounding may part them
    same = {Zone.CONFORMITY: Verdict.CONFORMS, Zone.NONCONFORMITY: Verdict.DOES_NOT_CONFORM,
            Zone.UNCERTAIN: Verdict.UNDECIDED}
    assert same[three_zone(q, limits, coverage=0.90)] is decide(q, limits, accept_p=0.95).verdict


# --- what settles -------------------------------------------------------------------------------

settling = st.tuples(st.floats(-3, 3), st.floats(0.05, 0.95), st.floats(0.1, 2))


@given(settling, st.one_of(st.none(), st.floats(0.5, 8)))
@settings(max_examples=200)
def test_further_readings_are_the_fewest_that_settle_it(case, width):
    away, common_share, u_repeat = case
    q = quantity(30 + away, 1.0)
    limits = Limits(low=30, high=None if width is None else 30 + width, unit="deg")
    decision = decide(q, limits)
    assume(decision.verdict is Verdict.UNDECIDED)
    found = what_settles(decision, u_repeat=u_repeat, u_common=common_share)

    def p_after(count):
        # Written the other way round: precision of the part that repeats can average.
        own = 1 / (1 / (1 - common_share ** 2) + count / u_repeat ** 2)
        return p_within(q.value, sqrt(common_share ** 2 + own), inf, limits)

    if found.readings is None:
        assert 0.05 < p_within(q.value, common_share, inf, limits) < 0.95
        assert found.never_because
        assert found.readings_verdict is Verdict.UNDECIDED
        assert found.readings_chance == 0
        return
    assert not 0.05 + 1e-12 < p_after(found.readings) < 0.95 - 1e-12
    if found.readings > 1:
        assert 0.05 - 1e-12 < p_after(found.readings - 1) < 0.95 + 1e-12
    assert (found.readings_verdict is Verdict.CONFORMS) == (p_after(found.readings) > 0.5)
    assert 0 < found.readings_chance <= 1


@given(settling, st.floats(0.05, 3), st.booleans())
def test_steps_are_the_fewest_that_bring_it_clear(case, step, upper):
    away, _, u = case
    sign = -1 if upper else 1
    q = quantity(sign * (30 + away * u), u)
    limits = Limits(high=-30, unit="deg") if upper else Limits(low=30, unit="deg")
    decision = decide(q, limits)
    assume(decision.verdict is Verdict.UNDECIDED)
    found = what_settles(decision, u_repeat=u, u_common=u, step=-step)
    assert found.step == pytest.approx(sign * step)

    def moved(count):
        return decide(quantity(q.value + count * found.step, u), limits).verdict

    assert found.steps is not None
    assert moved(found.steps) is Verdict.CONFORMS
    assert moved(found.steps - 1) is not Verdict.CONFORMS
    assert found.action is Action.MOVE_CLEAR


@pytest.mark.parametrize(("value", "u", "u_repeat", "u_common"), [
    (30.9, 0.8, 0.7, 0.2), (31.2, 0.8, 0.3, 0.1), (30.9, 0.56, 0.1, 0.5)])
def test_chance_of_further_readings_is_what_happens(value, u, u_repeat, u_common):
    # The same task played 40 000 times: truth drawn from what is known, then new readings of it.
    found = what_settles(decide(quantity(value, u), Limits(low=30, unit="deg")), u_repeat=u_repeat,
                         u_common=u_common)
    assert found.readings is not None
    own = sqrt(u ** 2 - u_common ** 2)
    weight_old, weight_new = 1 / own ** 2, found.readings / u_repeat ** 2
    rng = np.random.default_rng(3)
    # The common error is the same in old and new readings, so it cancels out of their comparison.
    true_plus_common = rng.normal(value, own, 40_000)
    fresh = rng.normal(true_plus_common, u_repeat / sqrt(found.readings))
    mean = (weight_old * value + weight_new * fresh) / (weight_old + weight_new)
    u_then = math.hypot(u_common, 1 / sqrt(weight_old + weight_new))
    settled = np.mean(np.abs(mean - 30) >= normal_quantile(0.95) * u_then)
    # 3 standard deviations of the play, and half a place of the 400 that the forecast looks at.
    assert found.readings_chance == pytest.approx(settled, abs=0.009)


# --- propagation --------------------------------------------------------------------------------

@given(st.lists(st.tuples(values, uncertainties, st.floats(-5, 5)), min_size=1, max_size=5))
def test_a_weighted_sum_is_exact(terms):
    inputs = [quantity(v, u) for v, u, _ in terms]
    weights = np.array([w for _, _, w in terms])
    found = propagate(lambda *x: sum(w * v for w, v in zip(weights, x, strict=True)), inputs, unit="deg",
                      origin="sum")
    exact = sqrt(sum((w * u) ** 2 for _, u, w in terms))
    assert found.quantity.u == pytest.approx(exact, rel=1e-7, abs=1e-9)


@given(values, uncertainties, uncertainties, st.floats(-1, 1))
def test_a_difference_of_correlated_inputs(value, ua, ub, r):
    found = propagate(lambda a, b: a - b, [quantity(value, ua), quantity(1.0, ub)], unit="deg", origin="d",
                      correlation=[[1, r], [r, 1]])
    exact = sqrt(max(ua ** 2 + ub ** 2 - 2 * r * ua * ub, 0))
    assert found.quantity.u == pytest.approx(exact, rel=1e-6, abs=1e-7 * (ua + ub))


@given(st.lists(st.tuples(st.floats(0.1, 10), st.floats(1, 100)), min_size=1, max_size=6))
def test_effective_degrees_of_freedom_lie_between_the_least_and_the_sum(parts):
    found = welch_satterthwaite([p for p, _ in parts], [d for _, d in parts])
    assert min(d for _, d in parts) - 1e-9 <= found <= sum(d for _, d in parts) * (1 + 1e-9)


@given(st.floats(-20, 20), st.floats(0.01, 5), st.floats(-20, 20), st.floats(0.01, 5))
def test_second_order_is_exact_for_a_product(x, ux, y, uy):
    found = second_order(lambda a, b: a * b, [quantity(x, ux), quantity(y, uy)], unit="deg", origin="p")
    exact = sqrt((x * uy) ** 2 + (y * ux) ** 2 + (ux * uy) ** 2)
    assert found.u == pytest.approx(exact, rel=1e-6)


@given(st.floats(-5, 5), st.floats(0.05, 2))
def test_second_order_of_a_square_is_its_known_variance(x, u):
    # Var(X^2) = 4 x^2 u^2 + 2 u^4 for a normal X: the formula has nothing beyond these terms.
    found = second_order(lambda a: a * a, [quantity(x, u)], unit="deg", origin="square")
    assert found.u == pytest.approx(sqrt(4 * x ** 2 * u ** 2 + 2 * u ** 4), rel=1e-7)


def test_second_order_of_a_cube_keeps_the_third_derivative():
    # f f' f''' terms: 5.1.2 note gives (3 x^2 u)^2 + (6 x)^2 u^4 / 2 + 3 x^2 * 6 * u^4.
    x, u = 2.0, 0.1
    found = second_order(lambda a: a ** 3, [quantity(x, u)], unit="deg", origin="cube")
    exact = (3 * x * x * u) ** 2 + 0.5 * (6 * x) ** 2 * u ** 4 + 18 * x * x * u ** 4
    assert found.u == pytest.approx(sqrt(exact), rel=1e-7)


def test_second_order_keeps_the_mixed_third_derivative():
    # f = a b^2: f_a f_abb and f_b f_baa and the mixed square, against the exact variance less u^6.
    a, ua, b, ub = 3.0, 0.2, 2.0, 0.1
    found = second_order(lambda p, q: p * q ** 2, [quantity(a, ua), quantity(b, ub)], unit="deg", origin="m")
    mean_square = (a * a + ua * ua) * (b ** 4 + 6 * b * b * ub ** 2 + 3 * ub ** 4)
    exact = mean_square - (a * (b * b + ub * ub)) ** 2 - 3 * ua ** 2 * ub ** 4
    assert found.u == pytest.approx(sqrt(exact), rel=1e-7)


def test_drawing_agrees_with_the_formula_where_the_model_is_straight():
    inputs = [quantity(3, 0.4), quantity(-2, 0.3)]
    r = [[1, 0.6], [0.6, 1]]
    formula = propagate(lambda a, b: 2 * a + b, inputs, unit="deg", origin="s", correlation=r).quantity
    drawn = monte_carlo(lambda a, b: 2 * a + b, inputs, unit="deg", origin="s", seed=1, correlation=r)
    assert drawn.quantity.value == pytest.approx(formula.value, abs=0.02)
    assert drawn.quantity.u == pytest.approx(formula.u, rel=0.01)
    assert drawn.high - drawn.low == pytest.approx(2 * 1.96 * formula.u, rel=0.02)


@pytest.mark.parametrize(("shape", "high_975"), [
    (Shape.NORMAL, 1.960), (Shape.RECTANGULAR, 0.95 * sqrt(3)),
    (Shape.ARCSINE, sqrt(2) * math.sin(0.475 * math.pi)),
    (Shape.TRIANGULAR, sqrt(6) * (1 - sqrt(0.05)))])
def test_each_shape_has_the_stated_u_and_its_own_reach(shape, high_975):
    drawn = monte_carlo(lambda a: a, [quantity(5, 2)], unit="deg", origin="s", seed=2, draws=200_000,
                        shapes=[shape])
    assert drawn.quantity.u == pytest.approx(2, rel=0.01)
    assert drawn.high == pytest.approx(5 + 2 * high_975, abs=0.04)


def test_a_student_input_is_wider_than_its_u():
    drawn = monte_carlo(lambda a: a, [quantity(0, 1, 8)], unit="deg", origin="s", seed=4, draws=400_000,
                        shapes=[Shape.STUDENT])
    assert drawn.quantity.u == pytest.approx(sqrt(8 / 6), rel=0.01)
    assert drawn.high == pytest.approx(scipy.stats.t.ppf(0.975, 8), abs=0.03)


def test_the_same_seed_draws_the_same():
    def once(seed):
        return monte_carlo(np.sin, [quantity(1, 0.5)], unit="-", origin="s", seed=seed, draws=1000).quantity
    assert once(7) == once(7)
    assert once(7) != once(8)


def test_several_outputs_keep_their_correlation():
    found = first_order(lambda a, b: (a + b, a - b), [1, 2], [[4, 0], [0, 1]])
    np.testing.assert_allclose(found.covariance, [[5, 3], [3, 5]], rtol=1e-9)
    assert found.correlation[0, 1] == pytest.approx(0.6)


# --- line ---------------------------------------------------------------------------------------

points = st.lists(st.tuples(st.integers(-20, 20), st.floats(-50, 50)), min_size=4, max_size=12,
                  unique_by=lambda p: p[0])


@given(points, st.floats(-30, 30))
def test_a_line_is_numpys_and_does_not_depend_on_where_it_starts(pairs, x0):
    x, y = np.array(pairs, dtype=float).T
    fit = fit_line(x, y, unit="mm", origin="line")
    (slope, intercept), covariance = np.polyfit(x, y, 1, cov=True)
    assert fit.slope == pytest.approx(slope, abs=1e-9)
    assert fit.intercept == pytest.approx(intercept, abs=1e-8)
    assert fit.u_slope ** 2 == pytest.approx(covariance[0, 0], rel=1e-6, abs=1e-12)
    assert fit.u_intercept ** 2 == pytest.approx(covariance[1, 1], rel=1e-6, abs=1e-12)
    assert fit.covariance == pytest.approx(covariance[0, 1], rel=1e-6, abs=1e-10)
    moved = fit_line(x, y, unit="mm", origin="line", x0=x0)
    assert moved.at(7).value == pytest.approx(fit.at(7).value, abs=1e-8)
    assert moved.at(7).u == pytest.approx(fit.at(7).u, rel=1e-6, abs=1e-7)


# --- risks --------------------------------------------------------------------------------------

@given(st.floats(-1, 1), st.floats(0.1, 2), st.one_of(st.just(0.0), st.floats(0.001, 2)), st.floats(0, 0.9))
@settings(max_examples=60, deadline=None)
def test_risks_add_up_and_guarding_trades_one_for_the_other(mean, sd, u, guard):
    prior, limits = normal_prior(mean, sd, unit="mm"), Limits(low=-1, high=1, unit="mm")
    plain = global_risk(prior, u, limits)
    guarded = global_risk(prior, u, limits, acceptance_limits(limits, guard))
    for risk in (plain, guarded):
        accepted = 1 - risk.p_nonconforming - risk.producer + risk.consumer
        assert risk.p_accepted == pytest.approx(accepted, abs=1e-9)
        assert min(risk.consumer, risk.producer, risk.p_accepted) >= -1e-12
    assert guarded.consumer <= plain.consumer + 1e-12
    assert guarded.producer >= plain.producer - 1e-12
    exact = scipy.stats.norm.cdf(-1, mean, sd) + scipy.stats.norm.sf(1, mean, sd)
    assert plain.p_nonconforming == pytest.approx(exact, abs=1e-10)
    if u == 0:
        assert (plain.consumer, plain.producer) == pytest.approx((0, 0), abs=1e-15)
    else:
        shown = scipy.stats.norm(mean, math.hypot(sd, u))
        assert plain.p_accepted == pytest.approx(shown.cdf(1) - shown.cdf(-1), abs=1e-9)


@pytest.mark.parametrize("shape", [1.0, 1.5, 4.0, 60.0])
def test_gamma_prior_is_scipys(shape):
    risk = global_risk(gamma_prior(shape, 2.0, unit="um"), 0.1, Limits(high=2.5, unit="um"))
    assert risk.p_nonconforming == pytest.approx(scipy.stats.gamma.sf(2.5, shape, scale=0.5), abs=1e-7)


def test_risks_agree_with_playing_the_process():
    rng = np.random.default_rng(9)
    true = rng.normal(0.2, 0.6, 400_000)
    shown = true + rng.normal(0, 0.25, true.size)
    good, accepted = np.abs(true) <= 1, np.abs(shown) <= 0.9
    limits = Limits(low=-1, high=1, unit="mm")
    risk = global_risk(normal_prior(0.2, 0.6, unit="mm"), 0.25, limits, Limits(low=-0.9, high=0.9, unit="mm"))
    assert risk.consumer == pytest.approx(np.mean(accepted & ~good), abs=0.001)
    assert risk.producer == pytest.approx(np.mean(~accepted & good), abs=0.0015)


@given(st.floats(0.0005, 0.02), st.floats(0.05, 0.5))
@settings(max_examples=15, deadline=None)
def test_acceptance_limits_reach_the_risk_asked_for(risk, u):
    prior, limits = normal_prior(0, 0.7, unit="mm"), Limits(low=-1, high=1, unit="mm")
    acceptance = acceptance_for_consumer_risk(prior, u, limits, risk)
    assert global_risk(prior, u, limits, acceptance).consumer == pytest.approx(risk, rel=1e-6)
    assert acceptance.low == pytest.approx(-acceptance.high)
