"""The swift engine against the full one: how far apart the two may be, on hands with and without faults."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from handsel.data.load_design import load_design
from handsel.design.placing import placed
from handsel.mechanics.build import nominal_build
from handsel.mechanics.closing import closing_path, start_angles
from handsel.mechanics.digit_curves import Digits, closing_curve, digit_tables, opening_curve
from handsel.mechanics.loop_curves import LoopCurve
from handsel.mechanics.model import compile_model
from handsel.mechanics.rest import rest_lowered, rest_worked
from handsel.mechanics.swift_cords import as_drawn
from handsel.mechanics.swift_hand import looks
from handsel.mechanics.swift_watching import NEVER_DEG, as_seen_starting

HANDS = 24


@pytest.fixture(scope="module")
def both():
    """Looks of the swift engine, and rests and starts of the full one, of the same hands."""
    design = placed(load_design("linden"), scale_ratio=1.0, side="right")
    rng = np.random.default_rng(8)
    plain = nominal_build(design, HANDS)
    hinges = plain.hinge_friction_nmm + (rng.random((HANDS, 5, 2)) < 0.04) * rng.uniform(
        15, 50, (HANDS, 5, 2)
    )
    mu = np.clip(rng.normal(0.2, 0.04, (HANDS, 1)) + np.zeros((HANDS, 5)), 0.05, None)
    build = replace(
        plain,
        excess_mm=rng.normal(0.0, 3.0, (HANDS, 3)),
        hinge_friction_nmm=hinges,
        friction_mu=mu + (rng.random((HANDS, 5)) < 0.05) * 0.5,
        wrist_friction_nmm=rng.uniform(2.0, 15.0, HANDS),
        tension_slide_mm=np.where(rng.random(HANDS) < 0.2, rng.uniform(0.0, 6.0, HANDS), 0.0),
        bar_locked=rng.random(HANDS) < 0.1,
    )
    seen = looks(
        design,
        digit_tables((design,)),
        as_drawn(design, build),
    )
    model = compile_model(design, build)
    starts = start_angles(closing_path(model, to_deg=-20.0, step_deg=4.0))
    return seen, rest_lowered(model), rest_worked(model), starts


def opens(seen) -> np.ndarray:
    """Hands all of whose digits open again: the engine's rests know nothing of closings before."""
    whole = seen.left_bent_deg.max(-1) < 5.0
    assert whole.mean() > 0.4
    return whole


def test_a_digit_that_stays_bent_is_as_bent_when_the_hand_rests(both):
    seen, lowered, _, _ = both
    stuck = (seen.left_bent_deg > 40.0) & (seen.bend_deg > 30.0)
    stuck[:, 4] = False
    assert stuck.any()
    for hand, digit in zip(*np.nonzero(stuck), strict=True):
        assert seen.bend_deg[hand, digit] <= seen.left_bent_deg[hand, digit] + 15.0


def test_lowered_rest_angles_are_those_of_the_engine(both):
    seen, lowered, _, _ = both
    away = np.abs(seen.lowered_rest_deg - lowered.rest_angle_deg)
    assert away[opens(seen)].max() < 0.1


def test_worked_rest_angles_and_tilts_are_those_of_the_engine_but_where_two_rests_are_near(both):
    seen, _, worked, _ = both
    angle = np.abs(seen.worked_rest_deg - worked.rest_angle_deg)[opens(seen)]
    tilt = np.abs(seen.tilt_deg - worked.tilt_deg)[opens(seen)]
    assert np.median(angle) < 0.1
    assert np.quantile(angle, 0.8) < 0.6
    assert np.median(tilt) < 0.6
    assert np.quantile(tilt, 0.8) < 1.5


def test_digits_start_where_they_start_in_the_engine(both):
    seen, _, _, starts = both
    lead = starts[:, 4] - np.nanmax(starts[:, :4], axis=1)
    known = ~np.isnan(lead)
    assert np.quantile(np.abs(seen.thumb_lead_deg - lead)[known], 0.8) < 1.5


def sound_digits(design) -> Digits:
    """The five digits of one hand as designed."""
    b = nominal_build(design, 1)
    return Digits(
        tables=digit_tables((design,)),
        variant=np.zeros((1, 5), dtype=np.intp),
        friction_mu=np.full((1, 5), 0.2),
        hinge_friction_nmm=b.hinge_friction_nmm,
        elastic_stiffness_ratio=b.elastic_stiffness_ratio,
        elastic_pretension_ratio=b.elastic_pretension_ratio,
        elastic_loss_ratio=b.elastic_loss_ratio,
    )


def test_letting_a_cord_back_asks_for_less_pull_than_drawing_it():
    design = placed(load_design("linden"), scale_ratio=1.0, side="right")
    g = sound_digits(design)
    closing = closing_curve(g)
    at = 20
    travel = np.full((1, 5), at * g.tables.travel_mm)
    opening = opening_curve(g, closing.phi_rad[:, :, at], travel)
    assert (opening.pull_n[:, :, 0] < closing.pull_n[:, :, at]).all()
    assert np.allclose(opening.phi_rad[:, :, -1], g.tables.low_rad, atol=0.02)  # sound digits open again
    # The capstan law: the two differ at least by the channel's friction, both ways.
    assert (closing.pull_n[:, :, at] / opening.pull_n[:, :, 0] > np.exp(2 * 0.2 * 0.3)).all()


def test_a_channels_friction_builds_up_over_the_first_bit_of_cord():
    design = placed(load_design("linden"), scale_ratio=1.0, side="right")
    g = sound_digits(design)
    at_once, slowly = closing_curve(g).pull_n, closing_curve(g, presliding_mm=np.array([0.5])).pull_n
    smooth = closing_curve(replace(g, friction_mu=np.zeros((1, 5)))).pull_n
    assert np.allclose(slowly[:, :, 0], smooth[:, :, 0])  # nothing rubs yet
    assert np.allclose(slowly[:, :, 20], at_once[:, :, 20], rtol=0.01)  # and then as ever


def test_starts_nearer_than_the_drag_are_seen_as_one_and_others_by_so_much_nearer():
    starts = np.array([[36.0, 34.0, 20.0, NEVER_DEG, 41.0]])
    seen = as_seen_starting(starts, np.array([4.0]), [0, 1, 2, 3])
    middle = np.median(starts[0, :4])
    assert seen[0, 3] == NEVER_DEG  # what never starts still does not
    assert seen[0, 4] == 41.0  # the thumb has its own cord
    assert seen[0, 2] == pytest.approx(20.0 + 4.0)
    assert seen[0, 0] == pytest.approx(max(36.0 - 4.0, middle))
    assert np.array_equal(as_seen_starting(starts, np.zeros(1), [0, 1, 2, 3]), starts)


def test_a_cord_gives_as_much_as_its_pull_stretches_it():
    travel = np.arange(57) * 1.0
    pull = 3.0 + 0.4 * travel
    curve = LoopCurve(
        pull_n=pull[None],
        travel_mm=travel[None, :, None],
        step_mm=1.0,
        give_mm_per_n=np.array([0.05]),
        from_mm=np.array([np.inf]),
    )
    for asked in (0.1, 0.2, 5.0, 20.3):
        n, moved = (float(x[0]) for x in curve.at(np.array([asked])))
        assert moved + 0.05 * n == pytest.approx(asked, abs=2e-3)
        assert n == pytest.approx(3.0 + 0.4 * moved if moved > 0.0 else asked / 0.05, abs=2e-2)
