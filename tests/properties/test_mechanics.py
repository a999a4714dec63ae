"""Laws of the engine: exact derivatives, energy, mirror, and friction that only ever resists."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsel.data.load_design import load_design
from handsel.design.placing import placed
from handsel.mechanics.build import nominal_build
from handsel.mechanics.closing import closing_path, opening_path
from handsel.mechanics.contact import Gauges
from handsel.mechanics.energy import Sliders, evaluate
from handsel.mechanics.equilibrium import solve_systems
from handsel.mechanics.friction import fresh_sliders
from handsel.mechanics.model import compile_model
from handsel.mechanics.rest import rest_lowered, rest_worked, taut_angles

LINDEN = load_design("linden")
GAUGE = Gauges(centre_mm=np.array([40.0, 0.0, -24.0]), axis=np.array([0.0, 1.0, 0.0]), radius_mm=25.0)


def random_hands(seed, n=4):
    rng = np.random.default_rng(seed)
    build = replace(nominal_build(LINDEN, n), excess_mm=rng.uniform(-8, 3, (n, 3)))
    q = np.concatenate(
        [rng.uniform(-1.2, 0.9, (n, 1)), rng.uniform(-0.3, 0.3, (n, 1)), rng.uniform(-0.05, 1.3, (n, 10))], 1
    )
    return compile_model(LINDEN, build), q, rng


@given(st.integers(0, 10_000), st.sampled_from([(False, None), (True, None), (True, GAUGE)]))
@settings(max_examples=15, deadline=None)
def test_gradient_and_hessian_are_the_derivatives_of_the_energy(seed, kind):
    m, q, _ = random_hands(seed)
    contact, gauge = kind
    f = evaluate(m, q, None, contact=contact, gauge=gauge)
    step = 1e-6
    for i in range(q.shape[1]):
        d = np.zeros(q.shape[1])
        d[i] = step
        up, down = (evaluate(m, q + s * d, None, contact=contact, gauge=gauge) for s in (1, -1))
        assert (
            np.abs((up.energy - down.energy) / (2 * step) - f.gradient[:, i]).max()
            < 1e-6 * np.abs(f.gradient).max()
        )
        assert (
            np.abs((up.gradient - down.gradient) / (2 * step) - f.hessian[:, i]).max()
            < 2e-5 * np.abs(f.hessian).max()
        )


@given(st.integers(0, 10_000))
@settings(max_examples=10, deadline=None)
def test_friction_forces_are_the_derivatives_of_friction_work(seed):
    m, q, rng = random_hands(seed)
    n, d = len(m), 5
    f = evaluate(m, q, None)
    s = Sliders(
        at_q=q - np.array([0.0002, -0.01] + [0.0003] * 10),
        at_leg=f.slide_at[0] + rng.uniform(0.003, 0.012, (n, d, 2)),
        at_eyelet=f.slide_at[1] - 0.05,
        at_elastic=f.slide_at[2] + 0.1,
        cap_leg=rng.uniform(0, 2, (n, d, 2)),
        cap_eyelet=rng.uniform(0, 2, (n, 2)),
        cap_elastic=rng.uniform(0, 1, (n, d)),
    )
    f = evaluate(m, q, s)
    step = 1e-7
    for i in range(q.shape[1]):
        e = np.zeros(q.shape[1])
        e[i] = step
        up, down = evaluate(m, q + e, s), evaluate(m, q - e, s)
        assert (
            np.abs((up.energy - down.energy) / (2 * step) - f.gradient[:, i]).max()
            < 1e-5 * np.abs(f.gradient).max()
        )
        assert (
            np.abs((up.gradient - down.gradient) / (2 * step) - f.hessian[:, i]).max()
            < 1e-5 * np.abs(f.hessian).max()
        )


@given(st.floats(0.7, 1.3), st.lists(st.floats(-5, 8), min_size=3, max_size=3))
@settings(max_examples=10, deadline=None)
def test_a_left_hand_rests_as_the_right_one(scale, excess):
    angles = []
    for side in ("left", "right"):
        design = placed(LINDEN, scale_ratio=scale, side=side)
        m = compile_model(design, replace(nominal_build(design), excess_mm=np.array([excess])))
        r = rest_lowered(m)
        assert r.converged.all()
        angles.append((r.rest_angle_deg[0], r.tilt_deg[0]))
    assert angles[0] == pytest.approx(angles[1], abs=2e-3)


@given(st.floats(-4, 6), st.floats(0.2, 3))
@settings(max_examples=10, deadline=None)
def test_a_longer_cord_never_raises_the_rest(excess, more):
    build = nominal_build(LINDEN, 2)
    rows = np.array([[excess] * 3, [excess + more] * 3])
    r = rest_lowered(compile_model(LINDEN, replace(build, excess_mm=rows)))
    assert r.rest_angle_deg[1] < r.rest_angle_deg[0]


def test_more_wrist_friction_holds_the_cuff_where_it_was_let_go():
    build = replace(nominal_build(LINDEN, 2), wrist_friction_nmm=np.array([5.0, 120.0]))
    r = rest_lowered(compile_model(LINDEN, build))
    assert list(r.held) == [False, True]
    assert r.rest_angle_deg[1] > 55 > r.rest_angle_deg[0]


def test_the_worked_angle_survives_a_snug_wrist_pin():
    build = replace(nominal_build(LINDEN, 2), wrist_friction_nmm=np.array([5.0, 43.0]))
    r = rest_worked(compile_model(LINDEN, build))
    assert r.converged.all()
    assert abs(r.rest_angle_deg[1] - r.rest_angle_deg[0]) < 0.5


def test_friction_takes_work_over_a_closing_and_an_opening():
    m = compile_model(LINDEN, nominal_build(LINDEN))
    there = closing_path(m, to_deg=0.0, step_deg=2.0)
    back = opening_path(m, there, to_deg=30.0, step_deg=2.0)
    inside = there.wrist_deg[0] <= 30.0
    spent = -np.trapezoid(there.torque_nmm[0, inside], np.radians(there.wrist_deg[0, inside]))
    returned = np.trapezoid(back.torque_nmm[0], np.radians(back.wrist_deg[0]))
    assert spent < 0 or returned < 0  # the wrist pushes against a pull both ways
    assert abs(spent) > 1.2 * abs(returned)


def test_the_sliders_obey_the_capstan_law():
    m = compile_model(LINDEN, nominal_build(LINDEN))
    path = closing_path(m, to_deg=5.0, step_deg=2.0)
    from handsel.mechanics.friction import turning_angles

    bend = turning_angles(m, path.last_q)[0]
    wrist, knuckle, tip = path.leg_tension_n[0, -1].T
    assert wrist / knuckle == pytest.approx(np.exp(m.friction_mu[0] * bend[:, 0]), rel=0.03)
    assert (knuckle / tip <= np.exp(m.friction_mu[0] * bend[:, 1]) * 1.03).all()


def test_all_cords_come_taut_together_on_a_hand_strung_as_drawn():
    theta, psi = taut_angles(compile_model(LINDEN, nominal_build(LINDEN)))
    assert np.degrees(theta) == pytest.approx(36.0, abs=1e-6)
    assert psi == pytest.approx(0.0, abs=1e-9)


def test_fresh_sliders_pull_on_nothing():
    m = compile_model(LINDEN, nominal_build(LINDEN))
    q = np.zeros((1, 12))
    q[:, 0] = 1.0
    s = fresh_sliders(m, q)
    assert evaluate(m, q, s).gradient == pytest.approx(evaluate(m, q, None).gradient)


@pytest.mark.parametrize("n", [1, 3, 400])
def test_solving_leaves_the_systems_as_they_were(n):
    random = np.random.default_rng(n)
    h = random.normal(size=(n, 12, 12))
    h = h + h.transpose(0, 2, 1)  # indefinite
    if n > 1:
        h[n // 2] = np.eye(12) * 2.0
    right = random.normal(size=(n, 12))
    before = h.copy(), right.copy()
    x, good = solve_systems(h, right)
    assert (h == before[0]).all()
    assert (right == before[1]).all()
    assert (good == (np.linalg.eigvalsh(h)[:, 0] > 0)).all()
    assert (h[good] @ x[good][..., None])[..., 0] == pytest.approx(right[good])


@given(st.integers(0, 10_000))
@settings(max_examples=8, deadline=None)
def test_every_rest_is_a_minimum_and_found(seed):
    rng = np.random.default_rng(seed)
    n = 20
    plain = nominal_build(LINDEN, n, frictionless=True)
    build = replace(
        plain,
        excess_mm=rng.uniform(-6, 8, (n, 3)),
        elastic_pretension_ratio=plain.elastic_pretension_ratio * rng.uniform(0.3, 1.3, (n, 5)),
        cuff_mass_ratio=rng.uniform(0.5, 2.0, n),
    )
    m = compile_model(LINDEN, build)
    for rest in (rest_lowered(m, friction=False), rest_worked(m, friction=False)):
        assert rest.converged.all()
        assert (np.linalg.eigvalsh(evaluate(m, rest.q, None).hessian)[:, 0] > 0.0).all()
