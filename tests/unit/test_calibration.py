"""Teaching a design: known arms are found again, doubt is stated as it is, gaps are said."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import least_squares

from handsel.data.load_design import load_design
from handsel.errors import HandselError
from handsel.mechanics.arms import ARMS, FINGERS, KNUCKLE, THUMB, TIP, WRIST, Arm, arm_mm, arms_of, with_arms
from handsel.mechanics.build import nominal_build
from handsel.mechanics.calibration import ARM_SD_RATIO, EXCESS_SD_MM, calibrate, proposals
from handsel.mechanics.closing import closing_path
from handsel.mechanics.model import compile_model
from handsel.mechanics.rest import rest_lowered
from handsel.mechanics.teaching import (
    ARM,
    CORD_LENGTH,
    DIGIT_ANGLE,
    LOWERED,
    TILT,
    TeachingReading,
    check_readings,
    predict,
)
from handsel.metrology.quantity import Quantity

LINDEN = load_design("linden")
CENTRE = np.array([1.0] * 6 + [0.0] * 3)
WIDTH = np.array([ARM_SD_RATIO] * 6 + [EXCESS_SD_MM] * 3)
TRUE = np.array([1.12, 0.93, 1.08, 0.9, 1.1, 0.95, 1.5, 0.5, -1.0])

KNUCKLES_LEAD = np.array([1.12, 1.06, 0.96, 0.9, 1.1, 0.95, 1.5, 0.5, -1.0])  # as linden's do


def read(of, value, u, **place):
    unit = "mm" if of in (CORD_LENGTH, ARM) else "deg"
    return TeachingReading(of=of, value=Quantity(value=value, u=u, unit=unit, origin="test"), **place)


def at_rest(*stands):
    """Places of rest readings: fingers carry with the thumb pin forward, the thumb with it pulled in."""
    return [
        read(of, 0.0, u, tension_slide_mm=d, thumb_pin_mm=t)
        for d, t in stands
        for of, u in ((LOWERED, 0.3), (TILT, 0.8))
    ]


CALIPER = [read(ARM, 0.0, 0.3, arm=a) for a in ARMS if a.joint != WRIST]
RESTS = at_rest((0.0, -4.0), (4.0, -4.0), (8.0, -4.0), (0.0, 3.0), (0.0, 6.0)) + CALIPER


def taken(places, true, rng=None):
    """The places' readings as a hand with these arms and excesses gives them, blurred when rng is given."""
    exact = predict(LINDEN, places, true[None, :6], true[None, 6:])[0]
    u = np.array([r.value.u for r in places])
    blur = u * rng.standard_normal(len(places)) if rng is not None else np.zeros(len(places))
    return [
        replace(r, value=replace(r.value, value=float(v))) for r, v in zip(places, exact + blur, strict=True)
    ]


def test_stretched_arms_are_what_a_caliper_finds():
    assert arms_of(LINDEN) == ARMS
    ratios = {a: 1.0 + 0.05 * (i + 1) for i, a in enumerate(ARMS)}
    other = with_arms(LINDEN, ratios)
    for arm, ratio in ratios.items():
        assert arm_mm(other, arm) == pytest.approx(ratio * arm_mm(LINDEN, arm), rel=1e-4)
    assert arm_mm(LINDEN, Arm(joint=WRIST, group=FINGERS)) == pytest.approx(
        22.0
    )  # pivot and guides of linden
    assert with_arms(LINDEN, {}) == LINDEN


@pytest.mark.parametrize("ratio", [1.0, 1.2])
def test_a_stretched_wrist_arm_turns_the_wrist_as_a_triangle_does(ratio):
    # Bar and guide seen from the side: the cord's length between them says where it comes taut.
    design = with_arms(LINDEN, {Arm(joint=WRIST, group=FINGERS): ratio})
    build = nominal_build(design)
    build.tension_slide_mm[:], build.excess_mm[:, 2] = 6.0, 10.0
    rest = rest_lowered(compile_model(design, build)).rest_angle_deg[0]

    def length(theta, d):
        back, height = -35.0 - d, 22.0 * ratio  # a raised cuff turns from -x toward +z
        c, s = np.cos(theta), np.sin(theta)
        x, z = c * back + s * height, -s * back + c * height
        return np.sqrt((25.0 - x) ** 2 + (height - z) ** 2 + 1.5**2)

    low, high = np.radians([30.0, 70.0])
    for _ in range(50):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if length(middle, 6.0) > length(np.radians(36.0), 0.0) else (low, middle)
    assert rest == pytest.approx(np.degrees(low), abs=0.15)


def test_a_trial_hand_reads_as_the_engine_says():
    design = with_arms(LINDEN, dict(zip(ARMS, TRUE[:6], strict=True)))
    build = nominal_build(design)
    build.excess_mm[:] = TRUE[6:]
    build.tension_slide_mm[:], build.thumb_pin_mm[:] = 4.0, -4.0
    m = compile_model(design, build)
    rest, path = rest_lowered(m), closing_path(m, to_deg=10.0, step_deg=4.0, contact=False)
    place = {"tension_slide_mm": 4.0, "thumb_pin_mm": -4.0}
    got = predict(
        LINDEN,
        [
            read(LOWERED, 0.0, 1.0, **place),
            read(TILT, 0.0, 1.0, **place),
            read(DIGIT_ANGLE, 0.0, 1.0, digit="ring", joint=KNUCKLE, wrist_deg=10.0, **place),
            read(CORD_LENGTH, 0.0, 1.0, cord="thumb_cord"),
            read(ARM, 0.0, 1.0, arm=ARMS[2]),
        ],
        TRUE[None, :6],
        TRUE[None, 6:],
    )[0]
    length = LINDEN.cords[2].axial_stiffness_n / m.cord_stiffness[0, 2]
    np.testing.assert_allclose(
        got,
        [
            rest.rest_angle_deg[0],
            rest.tilt_deg[0],
            path.phi_deg[0, -1, 2, 0],
            length,
            1.08 * arm_mm(LINDEN, ARMS[2]),
        ],
        rtol=1e-6,
        atol=1e-6,
    )


def test_finds_known_arms_from_exact_readings():
    found = calibrate(LINDEN, taken(RESTS, TRUE))
    assert found.settled
    assert (np.abs(found.values - TRUE) < 2.0 * found.u).all()
    assert found.undetermined == ()
    assert found.estimate("wrist arm of the fingers").value == pytest.approx(1.12, abs=0.03)
    assert found.estimate("excess of thumb_cord").unit == "mm"
    assert arm_mm(found.design, ARMS[0]) == pytest.approx(22.0 * found.values[0], rel=1e-6)


def test_stated_doubt_covers_the_truth_about_as_often_as_it_should():
    # Hands are drawn from what is known beforehand, so 95 % of two-sigma intervals hold, kinks apart.
    inside, chi2, dof = [], 0.0, 0
    for seed in range(40):
        rng = np.random.default_rng(seed)
        true = CENTRE + WIDTH * np.clip(rng.standard_normal(9), -2.0, 2.0) * np.array([1.0] * 6 + [0.4] * 3)
        found = calibrate(LINDEN, taken(RESTS, true, rng))
        inside.append(np.abs(found.values - true) < 1.96 * found.u)
        chi2, dof = chi2 + found.chi2, dof + found.dof
    assert 0.91 <= np.mean(inside) <= 0.99
    assert 0.6 < chi2 / dof < 1.2


def test_digit_angles_tell_the_digits_arms():
    true = KNUCKLES_LEAD
    places = RESTS[:-4] + [
        read(DIGIT_ANGLE, 0.0, 1.0, digit=digit, joint=joint, wrist_deg=wrist)
        for digit in ("index", "thumb")
        for joint, wrist in ((KNUCKLE, 26.0), (KNUCKLE, 20.0))
    ]
    found = calibrate(LINDEN, taken(places, true))
    assert found.chi2_per_dof < 1.0
    assert (np.abs(found.values - true) < 2.0 * found.u).all()
    assert found.estimate("knuckle arm of the fingers").u < 0.5 * ARM_SD_RATIO
    # The tips have not moved yet, so nothing is known of their arms.
    said = {name for gap in found.undetermined for name in gap.parameters}
    assert said >= {"tip arm of the fingers", "tip arm of the thumb"}
    assert "knuckle arm of the fingers" not in said


def test_agrees_with_another_solver():
    readings = taken(RESTS, TRUE, np.random.default_rng(7))
    y, u = (np.array([getattr(r.value, name) for r in readings]) for name in ("value", "u"))

    def residuals(x):
        f = predict(LINDEN, readings, x[None, :6], x[None, 6:])[0]
        return np.concatenate([(f - y) / u, (x - CENTRE) / WIDTH])

    other = least_squares(residuals, CENTRE, x_scale=WIDTH, diff_step=0.01, method="trf", ftol=1e-7)
    found = calibrate(LINDEN, readings)
    assert found.chi2 == pytest.approx(2.0 * other.cost, abs=0.02)
    assert (np.abs(found.values - other.x) < 0.1 * found.u).all()
    np.testing.assert_allclose(found.u, np.sqrt(np.diag(np.linalg.inv(other.jac.T @ other.jac))), rtol=0.1)


def test_one_slide_position_does_not_tell_the_wrist_arms():
    found = calibrate(LINDEN, taken(at_rest((0.0, -4.0)) + CALIPER, KNUCKLES_LEAD))
    said = {name for gap in found.undetermined for name in gap.parameters}
    assert "wrist arm of the fingers" in said
    assert "wrist arm of the thumb" in said
    assert "tip arm of the fingers" not in said  # the caliper told
    gap = next(g for g in found.undetermined if "wrist arm of the fingers" in g.parameters)
    assert gap.width_ratio > 0.7
    assert gap.settle is not None
    # The reading that it asks for does tell.
    more = taken([*at_rest((0.0, -4.0)), *CALIPER, gap.settle], KNUCKLES_LEAD)
    again = calibrate(LINDEN, more)
    i = found.names.index("wrist arm of the fingers")
    assert again.u[i] < 0.75 * found.u[i]


def test_all_that_it_proposes_can_be_read():
    places = proposals(LINDEN)
    check_readings(LINDEN, places)
    assert {r.of for r in places} == {LOWERED, TILT, DIGIT_ANGLE, CORD_LENGTH, ARM}
    assert len({r.describe() for r in places}) == len(places)


def test_a_hand_of_another_kind_shows_in_chi2():
    readings = taken(RESTS, TRUE)
    odd = replace(readings[2], value=replace(readings[2].value, value=readings[2].value.value + 9.0))
    assert calibrate(LINDEN, [*readings[:2], odd, *readings[3:]]).chi2_per_dof > 3.0
    assert calibrate(LINDEN, readings).chi2_per_dof < 1.0


@pytest.mark.parametrize(
    ("readings", "says"),
    [
        ([], "no readings"),
        ([read("angle", 36.0, 0.5)], "not a reading"),
        (
            [replace(read(LOWERED, 36.0, 0.5), value=Quantity(value=36.0, u=0.5, unit="mm", origin="x"))],
            "unit",
        ),
        ([read(LOWERED, 36.0, 0.0)], "without doubt"),
        ([read(LOWERED, 36.0, 0.5, tension_slide_mm=20.0)], "tension slide"),
        ([read(LOWERED, 36.0, 0.5, thumb_pin_mm=float("nan"))], "thumb_pin slide"),
        ([read(DIGIT_ANGLE, 36.0, 0.5, digit="toe", joint=KNUCKLE, wrist_deg=0.0)], "toe"),
        ([read(DIGIT_ANGLE, 36.0, 0.5, digit="ring", joint=KNUCKLE)], "wrist_deg"),
        ([read(DIGIT_ANGLE, 36.0, 0.5, digit="ring", joint=TIP, wrist_deg=60.0)], "wrist_deg"),
        ([read(CORD_LENGTH, 36.0, 0.5, cord="loop_z")], "loop_z"),
        ([read(ARM, 36.0, 0.5)], "no arm"),
        ([read(ARM, 36.0, 0.5, arm=Arm(joint="elbow", group=THUMB))], "no arm"),
    ],
)
def test_refuses_what_cannot_be(readings, says):
    with pytest.raises(HandselError, match=says) as caught:
        calibrate(LINDEN, readings)
    assert caught.value.do


@pytest.mark.parametrize("ratio", [0.0, -1.0, float("nan")])
def test_refuses_an_arm_of_no_length(ratio):
    with pytest.raises(HandselError, match="ratio"):
        with_arms(LINDEN, {ARMS[0]: ratio})


def test_refuses_an_unknown_name():
    with pytest.raises(HandselError, match="not known"):
        calibrate(LINDEN, taken(RESTS, TRUE)).estimate("elbow")
