"""Laws of scaling and mirroring a design."""

from collections.abc import Iterator
from dataclasses import asdict
from math import dist, inf, nan
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsel.data.load_design import load_design
from handsel.design.model import Design, Part, ReferenceDimension, TagPad
from handsel.design.placing import placed
from handsel.design.posing import posed_mm, taut_line
from handsel.errors import OutOfRange

LINDEN = load_design("linden")
SCALES = st.floats(LINDEN.scale_min_ratio, LINDEN.scale_max_ratio)
SIDES = st.sampled_from(["right", "left"])
ANGLES = st.lists(st.floats(-60.0, 60.0), min_size=len(LINDEN.hinges), max_size=len(LINDEN.hinges))
MIRROR = np.diag([1.0, -1.0, 1.0])


def points(design: Design) -> Iterator[tuple[str, tuple[float, float, float]]]:
    """Every place of the design with the body that it is fixed to."""
    yield from ((b.name, b.com_mm) for b in design.bodies)
    yield from ((h.child, h.origin_mm) for h in design.hinges)
    for line in lines(design):
        yield from ((p.body, p.at_mm) for p in line.points)
    for pad in design.pads:
        d = next(d for d in design.digits if d.name == pad.digit)
        hinge = d.tip_hinge if pad.segment == "tip" else d.proximal_hinge
        yield design.hinge(hinge).child, pad.centre_mm
    yield from (("palm", g.against_mm) for g in design.gauges)


def lines(design: Design) -> list[Any]:
    return [leg for c in design.cords for leg in c.legs] + list(design.elastics)


def turns(design: Design, angles: list[float]) -> dict[str, float]:
    return {h.name: a for h, a in zip(design.hinges, angles, strict=True)}


def test_scale_one_right_is_the_design_itself() -> None:
    assert placed(LINDEN, scale_ratio=1.0, side="right") == LINDEN


def test_mirrored_twice_is_the_design_itself() -> None:
    left = placed(LINDEN, scale_ratio=1.0, side="left")
    assert left != LINDEN
    assert placed(left, scale_ratio=1.0, side="left") == LINDEN


@given(scale=SCALES)
def test_scale_and_mirror_may_be_done_in_either_order(scale: float) -> None:
    at_once = placed(LINDEN, scale_ratio=scale, side="left")
    mirrored_first = placed(placed(LINDEN, scale_ratio=1.0, side="left"), scale_ratio=scale, side="right")
    assert at_once == mirrored_first


@given(scale=SCALES, side=SIDES)
def test_every_distance_grows_by_the_scale(scale: float, side: str) -> None:
    before = [p for _, p in points(LINDEN)]
    after = [p for _, p in points(placed(LINDEN, scale_ratio=scale, side=side))]
    for k in range(1, len(before)):
        expected = scale * dist(before[0], before[k])
        assert dist(after[0], after[k]) == pytest.approx(expected, rel=1e-12)


@settings(max_examples=20)
@given(scale=SCALES, side=SIDES, angles=ANGLES)
def test_a_pose_scales_and_mirrors_as_the_hand_does(scale: float, side: str, angles: list[float]) -> None:
    """Positive turns mean the same on both sides: extension, flexion, thumb-side end forward."""
    hand = placed(LINDEN, scale_ratio=scale, side=side)
    turn = turns(LINDEN, angles)
    onto = MIRROR if side == "left" else np.eye(3)
    for (body, at), (_, placed_at) in zip(points(LINDEN), points(hand), strict=True):
        expected = scale * onto @ posed_mm(LINDEN, body, at, turn)
        assert posed_mm(hand, body, placed_at, turn) == pytest.approx(expected, abs=1e-9)


@settings(max_examples=20)
@given(scale=SCALES, side=SIDES, angles=ANGLES)
def test_every_line_scales_and_bends_alike(scale: float, side: str, angles: list[float]) -> None:
    hand = placed(LINDEN, scale_ratio=scale, side=side)
    turn = turns(LINDEN, angles)
    for line, placed_line in zip(lines(LINDEN), lines(hand), strict=True):
        one = taut_line(LINDEN, line.points, line.wraps, turn)
        other = taut_line(hand, placed_line.points, placed_line.wraps, turn)
        assert other.length_mm == pytest.approx(scale * one.length_mm, rel=1e-9)
        assert other.turning_deg == pytest.approx(one.turning_deg, abs=1e-6)


def handedness(design: Design) -> float:
    """Sign of fingers x thumb . back: a right hand's and a left hand's differ."""
    thumb, index, little = (
        design.hinge(next(d.proximal_hinge for d in design.digits if d.name == name)).origin_mm
        for name in ("thumb", "index", "little")
    )
    across = np.subtract(index, little)
    ahead = np.subtract(index, thumb) * (1.0, 0.0, 0.0)
    return float(np.cross(ahead, across)[2])


@given(scale=SCALES)
def test_a_left_hand_is_not_a_right_one(scale: float) -> None:
    assert handedness(placed(LINDEN, scale_ratio=scale, side="right")) > 0.0
    assert handedness(placed(LINDEN, scale_ratio=scale, side="left")) < 0.0


@given(scale=SCALES, side=SIDES)
def test_directions_stay_one_long(scale: float, side: str) -> None:
    hand = placed(LINDEN, scale_ratio=scale, side=side)
    found = [h.axis for h in hand.hinges] + [s.direction for s in hand.slides]
    for v in found + [g.normal for g in hand.gauges]:
        assert np.linalg.norm(v) == pytest.approx(1.0, abs=1e-12)


def test_the_thumb_side_end_of_the_whippletree_moves_forward_on_both_sides() -> None:
    for side, sign in (("right", 1.0), ("left", -1.0)):
        hand = placed(LINDEN, scale_ratio=1.0, side=side)
        x, y, z = hand.hinge("whippletree").origin_mm
        end = posed_mm(hand, "whippletree", (x, y + sign * 14.0, z), {"whippletree": 10.0})
        assert end[0] - x == pytest.approx(14.0 * np.sin(np.radians(10.0)))


def test_the_cuff_rises_and_fingers_bend_down_on_both_sides() -> None:
    for side in ("right", "left"):
        hand = placed(LINDEN, scale_ratio=1.0, side=side)
        assert posed_mm(hand, "cuff", (-60.0, 0.0, 0.0), {"wrist": 30.0})[2] == pytest.approx(30.0)
        pad = next(p for p in hand.pads if (p.digit, p.segment) == ("middle", "tip"))
        straight = posed_mm(hand, "middle_tip", pad.centre_mm)
        assert posed_mm(hand, "middle_tip", pad.centre_mm, {"middle_knuckle": 30.0})[2] < straight[2] - 5.0


KIT = {
    "parts": (
        Part(
            name="shell", title="palm", count=1, body="palm", material="PLA", printed=True, shape="palm",
            at_mm=(1.0, 2.0, 3.0),
            measures=(
                ("length_mm", 60.0), ("skin_mm2", 9.0), ("core_mm3", 8.0), ("taper_deg", 5.0),
                ("ribs_count", 3.0),
            ),
        ),
        Part(
            name="pin", title="pin", count=2, body="palm", material="steel", printed=False, shape="rod",
            at_mm=(1.0, 2.0, 3.0), measures=(("length_mm", 60.0),),
        ),
    ),
    "reference_dimensions": (
        ReferenceDimension(name="a", title="a", part="shell", nominal_mm=60.0, tolerance_mm=0.5, scales=True),
        ReferenceDimension(name="b", title="b", part="pin", nominal_mm=60.0, tolerance_mm=0.5, scales=False),
    ),
    "tag_pads": (TagPad(body="palm", centre_mm=(30.0, -20.0, 5.0), normal=(0.0, -1.0, 0.0), turn_deg=3.0),),
}  # fmt: skip


def test_what_is_printed_grows_and_hardware_does_not() -> None:
    """Each field by hand, at a scale of two, so that no rule is asserted by itself."""
    fields = {f: getattr(LINDEN, f) for f in LINDEN.__dataclass_fields__} | KIT
    design = Design(**fields | {"scale_max_ratio": 2.0})
    hand = placed(design, scale_ratio=2.0, side="right")
    for one, two in zip(design.bodies, hand.bodies, strict=True):
        assert two.printed_mass_g == 8.0 * one.printed_mass_g
        assert two.hardware_mass_g == one.hardware_mass_g
    assert hand.pads[0].radius_mm == 2.0 * design.pads[0].radius_mm
    assert hand.elastics[0].wraps[0].radius_mm == 2.0 * design.elastics[0].wraps[0].radius_mm
    lengths = ("palm_plane_z_mm", "palm_front_x_mm", "wrist_barrel_radius_mm")
    assert [getattr(hand, f) for f in lengths] == [2.0 * getattr(design, f) for f in lengths]
    assert hand.pose.base_z_mm == 2.0 * design.pose.base_z_mm
    assert hand.pose.support_mm[0] == tuple(2.0 * v for v in design.pose.support_mm[0])
    assert hand.gauges[0].against_mm == tuple(2.0 * v for v in design.gauges[0].against_mm)
    assert dict(hand.parts[0].measures) == {
        "length_mm": 120.0, "skin_mm2": 36.0, "core_mm3": 64.0, "taper_deg": 5.0, "ribs_count": 3.0,
    }  # fmt: skip
    assert hand.parts[1].measures == design.parts[1].measures
    assert hand.parts[1].at_mm == (2.0, 4.0, 6.0)
    assert [r.nominal_mm for r in hand.reference_dimensions] == [120.0, 60.0]
    assert [r.tolerance_mm for r in hand.reference_dimensions] == [0.5, 0.5]

    same = {
        "slides": ("min_mm", "max_mm", "pitch_mm_per_turn", "screw_count", "screw_spacing_mm", "direction"),
        "hinges": ("min_deg", "max_deg", "friction_nmm", "u_friction_nmm", "axis"),
        "cords": ("axial_stiffness_n", "friction_mu", "knot_seating_mm", "tail_mm", "cut_tolerance_mm"),
        "elastics": ("axial_stiffness_n", "pretension_ratio", "loss_ratio", "u_pretension_ratio"),
        "gauges": ("diameter_mm",),
    }
    for table, keys in same.items():
        for one, two in zip(getattr(design, table), getattr(hand, table), strict=True):
            assert {k: getattr(two, k) for k in keys} == {k: getattr(one, k) for k in keys}
    assert hand.pose.stand_height_mm == design.pose.stand_height_mm
    assert (hand.hardware, hand.target_rest_angle_deg) == (design.hardware, design.target_rest_angle_deg)


def test_a_tag_seat_is_mirrored_but_keeps_its_turn() -> None:
    design = Design(**{f: getattr(LINDEN, f) for f in LINDEN.__dataclass_fields__} | KIT)
    (tag,) = placed(design, scale_ratio=1.0, side="left").tag_pads
    assert (tag.centre_mm, tag.normal, tag.turn_deg) == ((30.0, 20.0, 5.0), (0.0, 1.0, 0.0), 3.0)


@given(scale=SCALES)
def test_no_negative_zero_gets_into_a_record(scale: float) -> None:
    text = repr(asdict(placed(LINDEN, scale_ratio=scale, side="left")))
    assert "-0.0," not in text
    assert "-0.0)" not in text


@pytest.mark.parametrize("scale", [0.0, -1.0, nan, inf, 115.0, LINDEN.scale_max_ratio + 0.01])
def test_a_scale_it_is_not_made_for_is_refused(scale: float) -> None:
    with pytest.raises(OutOfRange, match=r"made for 0\.\d+ to 1\.\d+.*115 % is 1\.15"):
        placed(LINDEN, scale_ratio=scale, side="right")


@pytest.mark.parametrize("side", ["Left", "", "both"])
def test_a_side_that_is_none_is_refused(side: str) -> None:
    with pytest.raises(OutOfRange, match='a hand is "right" or "left"'):
        placed(LINDEN, scale_ratio=1.0, side=side)
