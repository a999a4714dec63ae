"""The referee itself, against closed forms: before it may judge the engine it has to be right.

Nothing in this file uses the engine.
"""

from __future__ import annotations

from dataclasses import replace
from math import acos, cos, hypot, pi, radians, sin, sqrt

import numpy as np
import pytest
from referee import Hand, Pose, Tuning, moment_arms, path_lengths
from referee_friction import RubbingHand
from referee_motion import Drive, closing_path, rest_lowered, rest_worked, straight
from referee_sample import cuff_weight_nmm

from handsel.data.load_design import load_design
from handsel.design.model import Design, RoutePoint, Wrap
from handsel.design.placing import placed
from handsel.mechanics.build import Build, nominal_build

LINDEN = load_design("linden")
MU = 0.2


def frictionless(design: Design = LINDEN, **changes: object) -> Build:
    return replace(nominal_build(design, 1, frictionless=True), **changes)  # type: ignore[arg-type]


def random_pose(random: np.random.Generator, digits: int) -> Pose:
    return Pose(
        theta_rad=random.uniform(-1.1, 1.3),
        psi_rad=random.uniform(-0.4, 0.4),
        phi_rad=random.uniform(0.0, 1.4, (digits, 2)),
    )


# --- lengths


def test_a_line_over_a_pin_is_two_tangents_and_an_arc():
    # Pin of radius 10 mm, ends 30 mm to either side in its plane: 2 sqrt(900 - 100) + 10 * 2 asin(1/3).
    knuckle = LINDEN.hinge("index_knuckle")
    x, y, z = knuckle.origin_mm
    elastic = LINDEN.elastics[0]
    over = replace(
        elastic,
        wraps=(Wrap(hinge=knuckle.name, radius_mm=10.0, side="back"),),
        points=(
            RoutePoint(body=knuckle.parent, at_mm=(x - 30, y, z)),
            RoutePoint(body=knuckle.child, at_mm=(x + 30, y, z)),
        ),
    )
    hand = Hand(replace(LINDEN, elastics=(over, *LINDEN.elastics[1:])), frictionless())
    _, elastics = path_lengths(hand, straight(hand, 0.0))
    assert elastics[0] == pytest.approx(63.36528068, abs=1e-7)
    # bent, the arc grows by radius times angle, on the back and nowhere else
    bent = straight(hand, 0.0)
    bent.phi_rad[0, 0] = 0.5
    _, elastics = path_lengths(hand, bent)
    assert elastics[0] == pytest.approx(63.36528068 + 10 * 0.5, abs=1e-7)


@pytest.mark.parametrize("theta_deg", [-20.0, 0.0, 36.0, 70.0])
def test_a_cord_past_the_wrist_follows_the_law_of_cosines(theta_deg):
    hand = Hand(replace(LINDEN, wrist_barrel_radius_mm=0.0), frictionless())
    thumb = [c.name for c in LINDEN.cords].index("thumb_cord")
    moving, fixed = (p.at_mm for p in LINDEN.cords[thumb].legs[0].points[:2])
    assert moving[1] == fixed[1], "this closed form is for a cord in one plane"
    a, b = hypot(moving[0], moving[2]), hypot(fixed[0], fixed[2])
    between = np.arctan2(moving[2], moving[0]) - np.arctan2(fixed[2], fixed[0])

    def chord(
        theta_rad: float,
    ) -> float:  # raising the cuff brings its point nearer to the guide, over the back
        return sqrt(a * a + b * b - 2 * a * b * cos(between - theta_rad))

    lengths = [path_lengths(hand, straight(hand, t))[0][thumb] for t in (0.0, theta_deg)]
    assert lengths[1] - lengths[0] == pytest.approx(chord(radians(theta_deg)) - chord(0.0), abs=1e-9)


@pytest.mark.parametrize("side", ["right", "left"])
def test_moment_arms_are_the_slopes_of_the_lengths(side):
    design = placed(LINDEN, scale_ratio=0.9, side=side)
    hand, random = Hand(design, frictionless(design)), np.random.default_rng(3)
    step = 1e-5
    for _ in range(6):
        pose = random_pose(random, len(design.digits))
        arms = moment_arms(hand, pose)
        x = np.concatenate([[pose.theta_rad, pose.psi_rad], pose.phi_rad.ravel()])
        for column in range(len(x)):
            ends = []
            for sign in (1.0, -1.0):
                moved = x.copy()
                moved[column] += sign * step
                at = Pose(theta_rad=moved[0], psi_rad=moved[1], phi_rad=moved[2:].reshape(-1, 2))
                ends.append(path_lengths(hand, at))
            for k in (0, 1):
                assert arms[k][:, column] == pytest.approx((ends[0][k] - ends[1][k]) / (2 * step), abs=2e-6)


def test_signs_are_those_of_the_design():
    hand = Hand(LINDEN, frictionless())
    cords, elastics = moment_arms(hand, straight(hand, 10.0))
    assert np.all(cords[:, 0] < 0), "raising the cuff gives cord back"
    own = elastics[np.arange(5)[:, None], 2 + np.arange(10).reshape(5, 2)]
    assert np.all(own > 0), "flexion stretches the elastic on the back"
    bar = cords[:2, 1]
    assert bar[0] == pytest.approx(-bar[1], rel=1e-6)
    assert bar[0] < 0, "the thumb-side end further forward gives the thumb-side loop cord back"


# --- stiffness, weight


def test_an_elastic_pulls_by_its_strain():
    design = placed(LINDEN, scale_ratio=1.2, side="right")
    hand = Hand(design, frictionless(design, elastic_stiffness_ratio=np.full((1, 5), 1.1)))
    _, lengths = path_lengths(hand, straight(hand, 0.0))
    pull = hand.elastic_k * (lengths * 1e-3 - hand.elastic_free_m)
    wanted = [1.1 * e.axial_stiffness_n * e.pretension_ratio for e in design.elastics]
    assert pull == pytest.approx(wanted, rel=1e-9)


def test_a_cord_is_as_long_as_its_path_at_the_target_plus_its_excess():
    excess = np.array([[1.5, -2.0, 0.25]])
    hand = Hand(LINDEN, frictionless(excess_mm=excess, tension_slide_mm=np.array([3.0])))
    level = Hand(LINDEN, frictionless())
    paths, _ = path_lengths(level, straight(level, LINDEN.target_rest_angle_deg))
    assert hand.cord_length_m * 1e3 == pytest.approx(paths + excess[0], abs=1e-9)
    pulled, _ = path_lengths(hand, straight(hand, LINDEN.target_rest_angle_deg))
    assert np.all(pulled[:2] > paths[:2] + 2.0), "pulling the block in lengthens the way"
    assert pulled[2] == pytest.approx(paths[2], abs=1e-9), "but not the thumb's"


def test_the_model_weighs_what_the_design_weighs():
    hand = Hand(LINDEN, frictionless(cuff_mass_ratio=np.array([1.5])))
    moving = [b for b in LINDEN.bodies if b.name != "palm"]
    grams = sum((b.printed_mass_g + b.hardware_mass_g) * (1.5 if b.name == "cuff" else 1.0) for b in moving)
    assert hand.model.body_mass.sum() * 1e3 == pytest.approx(grams, rel=1e-9)


@pytest.mark.parametrize("approach", [rest_lowered, rest_worked])
def test_at_rest_the_cords_carry_the_cuff_like_a_lever(approach):
    hand = Hand(LINDEN, frictionless(excess_mm=np.array([[2.0, -1.0, 0.5]])))
    rest = approach(hand)
    assert rest.settled
    cords, _ = moment_arms(hand, rest.pose)
    lifting = -cords[:, 0] @ rest.tension_n
    assert lifting == pytest.approx(cuff_weight_nmm(LINDEN, radians(rest.angle_deg)), rel=1e-4)


def test_rest_is_a_stationary_point_of_the_energy():
    # Weak elastics: digits leave their stops under the cuff's weight, so every spring takes part.
    weak = frictionless(elastic_pretension_ratio=np.full((1, 5), 0.03), excess_mm=np.array([[1.0, 2.0, 0.0]]))
    hand = Hand(LINDEN, weak)
    rest = rest_worked(hand, drive=Drive(still_rad_s=1e-5, still_deg=1e-5))
    assert rest.digits_deg.max() > 3.0, "this hand should hang in its elastics"
    assert rest.imbalance_deg < 1e-3
    hand.data.qpos[hand.wrist] += radians(0.2)  # and the check sees a wrist that is not at rest
    assert hand.imbalance_deg() > 0.1


@pytest.mark.parametrize("timestep_s", [0.001, 0.004])
def test_stops_and_cords_give_by_their_stiffness_whatever_the_time_step(timestep_s):
    tuning = Tuning(timestep_s=timestep_s, limit_time_s=2 * timestep_s)
    hand = Hand(LINDEN, frictionless(), tuning=tuning)
    rest = rest_lowered(hand, drive=Drive(still_rad_s=1e-6, still_deg=1e-6))
    assert rest.imbalance_deg < 1e-4


def test_a_left_hand_rests_as_a_right_one():
    build = frictionless(excess_mm=np.array([[3.0, 0.0, 1.0]]))
    rests = [
        rest_worked(Hand(placed(LINDEN, scale_ratio=1.1, side=side), build)) for side in ("right", "left")
    ]
    assert rests[0].angle_deg == pytest.approx(rests[1].angle_deg, abs=1e-4)
    assert rests[0].tilt_deg == pytest.approx(rests[1].tilt_deg, abs=1e-3)


def test_a_held_cylinder_stops_the_fingers():
    gauge = LINDEN.gauges[-1]
    free, full = Hand(LINDEN, frictionless()), Hand(LINDEN, frictionless(), gauge=gauge)
    last = []
    for hand in (free, full):
        hand.set_pose(straight(hand, 30.0))
        path = closing_path(hand, start_deg=30.0, to_deg=-20.0, step_deg=10.0)
        last.append(path.digits_deg[path.closing][-1])
        touched = [names for state in path.contacts for names in state if "gauge" in names]
        assert bool(touched) == (hand is full)
    assert last[1][:4].sum() < last[0][:4].sum() - 40.0


# --- friction


def test_a_cuff_held_by_its_pin_stays_for_twenty_seconds():
    theta_deg = 55.0
    weight = cuff_weight_nmm(LINDEN, radians(theta_deg))
    hand = Hand(LINDEN, frictionless(wrist_friction_nmm=np.array([1.4 * weight])), friction=True)
    hand.set_pose(straight(hand, theta_deg))
    hand.advance(round(20.0 / hand.tuning.timestep_s))
    assert hand.theta_deg == pytest.approx(theta_deg, abs=0.05)
    slippery = Hand(LINDEN, frictionless(wrist_friction_nmm=np.array([0.6 * weight])), friction=True)
    slippery.set_pose(straight(slippery, theta_deg))
    slippery.advance(round(1.0 / slippery.tuning.timestep_s))
    assert slippery.theta_deg < theta_deg - 5.0, "less friction than weight: it must fall"


@pytest.fixture(scope="module")
def sliding():
    """Name, turning [rad] and tensions [N] at every station of a slowly closing hand, cord friction alone."""
    hand = RubbingHand(LINDEN, frictionless(friction_mu=np.array([MU])))
    hand.set_pose(straight(hand, 40.0))
    closing_path(hand, start_deg=34.0, to_deg=14.0, step_deg=20.0)
    hand.grip(34.0)
    hand.advance(600, wrist_deg_s=-10.0)  # and down again, read while it moves
    return [
        (s.name, turn, hand.tension_n[s.upstream], hand.tension_n[s.downstream])
        for s, turn in zip(hand.stations, hand.turning_rad(), strict=True)
    ]


def test_sliding_cords_follow_the_capstan_law(sliding):
    # Euler-Eytelwein: T_pull / T_hold = exp(mu beta) where the cord slides, less where it sticks. The limits
    # follow the tensions a few steps late, which is worth up to 4 % of mu beta, 1 % of a tension.
    for name, turn, before, after in sliding:
        taken = np.log(before / after)
        assert abs(taken) <= 1.05 * MU * turn, name
        if name.endswith("palm"):  # the knuckles are moving, so each leg slides through the palm
            assert taken == pytest.approx(MU * turn, rel=0.05), name


def test_friction_takes_tension_on_the_way_to_the_tip(sliding):
    through_palm = [(before, after) for name, _, before, after in sliding if name.endswith("palm")]
    assert len(through_palm) == 5
    assert all(0 < after < 0.95 * before for before, after in through_palm)


@pytest.mark.parametrize("theta_deg", [60.0, 0.0, -55.0])
def test_turning_counts_arcs_and_bends(theta_deg):
    rubbing = RubbingHand(LINDEN, frictionless())
    # Seen along the wrist, x ahead and z up: from the thumb pin over the barrel to the guide, into the palm.
    rubbing.set_pose(straight(rubbing, theta_deg))
    pin, guide, exit_hole, entry = (rubbing.data.site(f"thumb_cord_thumb_{k}").xpos * 1e3 for k in range(4))
    radius = LINDEN.wrist_barrel_radius_mm
    reach = [hypot(p[0], p[2]) for p in (pin, guide)]
    gap = (np.arctan2(pin[2], pin[0]) - np.arctan2(guide[2], guide[0])) % (2 * pi)
    arc = gap - acos(radius / reach[0]) - acos(radius / reach[1])
    assert (arc > 0) == (theta_deg < 0), "the cord bears on the barrel in flexion only"
    arriving = guide - pin
    if arc > 0:
        touch = np.arctan2(guide[2], guide[0]) + acos(radius / reach[1])
        arriving = guide - np.array([radius * cos(touch), guide[1], radius * sin(touch)])
    turn = max(arc, 0.0) + _angle(arriving, exit_hole - guide) + _angle(exit_hole - guide, entry - exit_hole)
    station = next(i for i, s in enumerate(rubbing.stations) if s.name == "thumb, palm")
    assert rubbing.turning_rad()[station] == pytest.approx(turn, abs=1e-9)


def _angle(u, v):
    return float(np.arctan2(np.linalg.norm(np.cross(u, v)), u @ v))
