"""The ruler's checks: right on a sound design, red when it is spoilt in the way each is there for."""

from dataclasses import replace
from math import cos, radians, sin
from pathlib import Path

import numpy as np
import pytest

from handsel.data.load_design import load_design
from handsel.design.check import CheckLine, arm_mm, centre_of_mass_mm, check_design
from handsel.design.model import Design, ReferenceDimension
from handsel.design.placing import placed

HAND = load_design(Path(__file__).parents[1] / "golden" / "design_1_three_digits.toml")


def one(design: Design, *words: str) -> CheckLine:
    found = [line for line in check_design(design) if all(w in f"{line.topic}: {line.what}" for w in words)]
    assert len(found) == 1, [line.what for line in found]
    return found[0]


def turned_round(name: str) -> Design:
    """A hinge with its axis the other way; without cylinders, which loading holds against the axis."""
    hinges = tuple(replace(h, axis=(0.0, -1.0, 0.0)) if h.name == name else h for h in HAND.hinges)
    elastics = tuple(replace(e, wraps=()) for e in HAND.elastics)
    return replace(HAND, hinges=hinges, elastics=elastics, wrist_barrel_radius_mm=0.0)


def test_clearance_is_from_the_lowest_pad_to_the_table() -> None:
    line = one(HAND, "inspection pose", "hand straight: lowest point")
    # base plane 12 mm below the wrist hinge, stand 120 mm; thumb pad centre at -45.892, radius 6
    assert line.value == pytest.approx(120.0 + 12.0 - 45.892 - 6.0)
    assert (line.ok, line.unit) == (True, "mm")
    assert "thumb tip pad" in line.what


def test_a_low_stand_lets_the_thumb_touch_the_table() -> None:
    low = replace(HAND, pose=replace(HAND.pose, stand_height_mm=35.0))
    line = one(low, "inspection pose", "hand straight: lowest point")
    assert line.ok is False
    assert line.value == pytest.approx(35.0 + 12.0 - 51.892)


def test_closing_reaches_lower_than_lying_straight() -> None:
    """The long middle tip at a right angle hangs from the knuckle: 63 mm to its pad, 6 mm of pad."""
    line = one(HAND, "while closing: lowest point")
    assert "middle tip pad" in line.what
    assert line.value == pytest.approx(132.0 - 63.0 - 6.0, abs=0.1)


def test_a_stand_under_the_thumb_is_seen() -> None:
    x, y = 71.0, 67.0
    wide = replace(
        HAND.pose, support_mm=((2.0, -26.0), (x + 20.0, -26.0), (x + 20.0, y + 20.0), (2.0, y + 20.0))
    )
    assert one(HAND, "hand straight: nearest to the stand").ok is True
    assert one(replace(HAND, pose=wide), "hand straight: nearest to the stand").ok is False


def test_centre_of_mass_is_the_mean_weighed_by_mass() -> None:
    pair = {"palm": ((30.0, 0.0, 0.0), 100.0), "cuff": ((-60.0, 0.0, 0.0), 50.0)}
    bodies = []
    for b in HAND.bodies:
        com, mass = pair.get(b.name, (b.com_mm, 0.0))
        bodies.append(replace(b, com_mm=com, printed_mass_g=0.0, hardware_mass_g=mass))
    two = replace(HAND, bodies=tuple(bodies))
    assert centre_of_mass_mm(two) == pytest.approx((0.0, 0.0, 0.0))
    raised = centre_of_mass_mm(two, {"wrist": 60.0})
    assert raised == pytest.approx(
        ((3000.0 - 3000.0 * cos(radians(60.0))) / 150.0, 0.0, 20.0 * sin(radians(60.0)))
    )
    assert one(two, "mass of the whole hand").value == pytest.approx(150.0)


def test_a_heavy_cuff_tips_the_hand() -> None:
    heavy = tuple(replace(b, hardware_mass_g=900.0) if b.name == "cuff" else b for b in HAND.bodies)
    assert one(HAND, "balance", "rest angle").ok is True
    line = one(replace(HAND, bodies=heavy), "balance", "rest angle")
    assert line.ok is False
    assert line.value < 0.0
    at_rest = centre_of_mass_mm(replace(HAND, bodies=heavy), {"wrist": HAND.target_rest_angle_deg})
    assert line.value == pytest.approx(at_rest[0] - 2.0)  # the stand's rear edge is at x = 2


def test_arms_are_those_of_the_drawing() -> None:
    """At the wrist, guide and pivot are level, 22 mm up; over the back the arm is the cylinder's radius."""
    leg = HAND.cord_of("index").legs[0]
    assert arm_mm(HAND, leg, "wrist") == pytest.approx(-22.0, abs=0.02)
    assert arm_mm(HAND, HAND.elastics[0], "index_knuckle") == pytest.approx(6.0, abs=0.002)
    assert arm_mm(HAND, HAND.elastics[0], "index_middle_joint") == pytest.approx(5.0, abs=0.002)
    assert arm_mm(HAND, leg, "middle_knuckle") == 0.0


def test_a_hinge_the_wrong_way_round_is_seen() -> None:
    assert one(HAND, "index cord closes index_knuckle").ok is True
    turned = turned_round("index_knuckle")
    for words in ("index cord closes index_knuckle", "index elastic opens index_knuckle"):
        line = one(turned, words)
        assert line.ok is False
        assert line.value < -4.0


def test_a_wrist_the_wrong_way_round_is_seen() -> None:
    line = one(turned_round("wrist"), "bending the wrist pulls the thumb cord")
    assert line.ok is False


def test_loops_on_one_end_of_the_whippletree_are_seen() -> None:
    linden = load_design("linden")
    assert one(linden, "against one another").ok is True
    a, b, thumb = linden.cords
    legs = tuple(replace(leg, points=(a.legs[0].points[0], *leg.points[1:])) for leg in b.legs)
    spoilt = replace(linden, cords=(a, replace(b, legs=legs), thumb))
    assert one(spoilt, "against one another").ok is False


def test_pads_that_overlap_are_seen() -> None:
    fat = tuple(replace(p, radius_mm=9.5) for p in HAND.pads)
    assert one(HAND, "nearest pads of two digits").value == pytest.approx(6.0)
    line = one(replace(HAND, pads=fat), "nearest pads of two digits")
    assert line.ok is False
    assert line.value == pytest.approx(18.0 - 19.0)


def test_a_thumb_that_cannot_reach_is_seen() -> None:
    stuck = replace(
        HAND,
        hinges=tuple(replace(h, max_deg=1.0) if h.child.startswith("thumb_") else h for h in HAND.hinges),
    )
    assert one(HAND, "within all stops: thumb pad").ok is True
    line = one(stuck, "within all stops: thumb pad")
    assert line.ok is False
    assert line.value < 0.0


def test_lengths_and_bends_are_stated_for_every_line() -> None:
    lines = [line for line in check_design(HAND) if line.topic == "lines"]
    assert len(lines) == 2 * (3 + 3)
    assert {line.ok for line in lines} == {None}
    leg = HAND.cord_of("index").legs[0]
    steps = zip(leg.points, leg.points[1:], strict=False)
    by_hand = sum(float(np.linalg.norm(np.subtract(q.at_mm, p.at_mm))) for p, q in steps)
    assert one(HAND, "index cord, hand straight: length").value == pytest.approx(by_hand)


@pytest.mark.parametrize(("nominal_mm", "told"), [(70.0, True), (10.0, True), (9.9, False)])
def test_a_dimension_must_tell_one_scale_from_the_next(nominal_mm: float, told: bool) -> None:
    """Five per cent of 10 mm is the tolerance of 0.5 mm."""
    dimension = ReferenceDimension(
        name="w", title="palm width", part="palm", nominal_mm=nominal_mm, tolerance_mm=0.5, scales=True
    )
    with_it = replace(HAND, reference_dimensions=(dimension,))
    assert one(with_it, "caliper: palm width").ok is told
    assert one(with_it, "dimensions that show the printed scale").ok is True
    assert one(HAND, "dimensions that show the printed scale").ok is False


@pytest.mark.parametrize("side", ["right", "left"])
@pytest.mark.parametrize("end", ["scale_min_ratio", "scale_max_ratio"])
def test_linden_is_clear_and_stands_at_every_size_and_side(side: str, end: str) -> None:
    linden = load_design("linden")
    hand = placed(linden, scale_ratio=getattr(linden, end), side=side)
    failed = [line for line in check_design(hand) if line.ok is False and line.topic != "caliper"]
    assert failed == []
