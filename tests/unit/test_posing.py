"""Places and lines in a pose, against figures that anyone can work out with a pencil."""

from dataclasses import replace
from math import cos, hypot, pi, radians, sqrt
from pathlib import Path

import pytest

from handsel.data.load_design import load_design
from handsel.design.model import RoutePoint, Vec3, Wrap
from handsel.design.posing import chain, posed_mm, taut_line

HAND = load_design(Path(__file__).parents[1] / "golden" / "design_1_three_digits.toml")
KNUCKLE = (75.0, 27.0, 0.0)  # of the index, its axis along +y


def line(*places: tuple[str, Vec3]) -> tuple[RoutePoint, ...]:
    return tuple(RoutePoint(body=body, at_mm=at) for body, at in places)


def wrap(side: str, radius_mm: float = 6.0) -> tuple[Wrap, ...]:
    return (Wrap(hinge="index_knuckle", radius_mm=radius_mm, side=side),)


def over_the_knuckle(z: float, rise: float = 0.0) -> tuple[RoutePoint, ...]:
    """Ten millimetres either side of the knuckle, level, z above its axis."""
    return line(("palm", (65.0, 27.0, z)), ("index_proximal", (85.0, 27.0 + rise, z)))


def bent(deg: float) -> dict[str, float]:
    return {"index_knuckle": deg}


def test_a_quarter_turn_at_the_knuckle_points_the_finger_down() -> None:
    tip = posed_mm(HAND, "index_tip", (140.0, 27.0, 0.0), bent(90.0))
    assert tip == pytest.approx((75.0, 27.0, -65.0))


def test_the_second_hinge_turns_first_and_the_knuckle_carries_it() -> None:
    turn = {"index_knuckle": 90.0, "index_middle_joint": 90.0}
    # 32 mm to the middle joint now hang down; 33 mm more run back toward the wrist
    assert posed_mm(HAND, "index_tip", (140.0, 27.0, 0.0), turn) == pytest.approx((42.0, 27.0, -32.0))


def test_what_a_slide_carries_rides_on_the_cuff() -> None:
    assert [h.name for h in chain(HAND, "thumb_pin")] == ["wrist"]
    assert [h.name for h in chain(HAND, "whippletree")] == ["whippletree", "wrist"]
    assert [h.name for h in chain(HAND, "palm")] == []
    pin = posed_mm(HAND, "thumb_pin", (-35.0, 24.0, 0.0), {"wrist": 90.0})
    assert pin == pytest.approx((0.0, 24.0, 35.0))


@pytest.mark.parametrize("deg", [0.0, 1.0, 45.0, 90.0])
def test_over_the_back_a_line_lengthens_by_the_arc(deg: float) -> None:
    """Both free pieces stay 10 mm; the arc is radius times angle."""
    way = taut_line(HAND, over_the_knuckle(6.0), wrap("back"), bent(deg))
    assert way.length_mm == pytest.approx(20.0 + 6.0 * radians(deg), abs=1e-9)
    assert way.turning_deg == pytest.approx(deg, abs=1e-6)


@pytest.mark.parametrize("deg", [30.0, 90.0])
def test_on_the_palm_side_it_clears_the_cylinder_as_the_finger_bends(deg: float) -> None:
    """A straight chord: law of cosines on two sides of sqrt(10^2 + 6^2)."""
    far = hypot(10.0, 6.0)
    straight = 2.0 * sqrt(1.0 - (6.0 / far) ** 2) * far
    assert straight == pytest.approx(20.0)
    way = taut_line(HAND, over_the_knuckle(-6.0), wrap("palm"), bent(deg))
    gap = pi - 2.0 * radians(90.0 - 59.03624346792648) - radians(deg)  # atan(10 / 6) is 59.036... deg
    assert way.length_mm == pytest.approx(far * sqrt(2.0 - 2.0 * cos(gap)), abs=1e-9)
    assert way.turning_deg == 0.0  # two places, straight between them


def test_on_the_palm_side_it_bears_when_the_finger_bends_back() -> None:
    way = taut_line(HAND, over_the_knuckle(-6.0), wrap("palm"), bent(-40.0))
    assert way.length_mm == pytest.approx(20.0 + 6.0 * radians(40.0), abs=1e-9)


def test_a_slanting_line_is_straight_when_the_cylinder_is_unrolled() -> None:
    way = taut_line(HAND, over_the_knuckle(6.0, rise=8.0), wrap("back"), bent(60.0))
    flat = 20.0 + 6.0 * radians(60.0)
    assert way.length_mm == pytest.approx(hypot(flat, 8.0), abs=1e-9)
    assert way.turning_deg == pytest.approx(60.0 * flat / hypot(flat, 8.0), abs=1e-6)


def test_it_leaves_the_cylinder_along_a_tangent() -> None:
    way = taut_line(HAND, over_the_knuckle(8.0), wrap("back"), bent(70.0))
    _, onto, off, _ = way.corners_mm
    for corner in (onto, off):
        assert hypot(corner[0] - KNUCKLE[0], corner[2]) == pytest.approx(6.0)
    run = (onto[0] - 65.0, onto[2] - 8.0)
    assert run[0] * (onto[0] - KNUCKLE[0]) + run[1] * onto[2] == pytest.approx(0.0, abs=1e-9)


def test_bends_at_places_add_up() -> None:
    """Down a step of 45 deg and level again: twice 45 deg."""
    way = taut_line(
        HAND,
        line(
            *[
                ("palm", at)
                for at in [(0.0, 0.0, 10.0), (10.0, 0.0, 10.0), (20.0, 0.0, 0.0), (30.0, 0.0, 0.0)]
            ]
        ),
    )
    assert way.turning_deg == pytest.approx(90.0)
    assert way.length_mm == pytest.approx(20.0 + 10.0 * sqrt(2.0))


def test_a_cord_bears_on_the_wrist_barrel_when_the_cuff_drops() -> None:
    """Barrel 7 mm; pivot and guide level with its top: free pieces 35 and 25 mm, then the arc."""
    cord = line(("whippletree", (-35.0, 0.0, 7.0)), ("palm", (25.0, 0.0, 7.0)))
    for drop in (0.0, 20.0, 75.0):
        length = taut_line(HAND, cord, (), {"wrist": -drop}).length_mm
        assert length == pytest.approx(60.0 + 7.0 * radians(drop), abs=1e-9)
    raised = taut_line(HAND, cord, (), {"wrist": 30.0}).length_mm
    far_a, far_b = hypot(35.0, 7.0), hypot(25.0, 7.0)
    gap = pi - radians(11.309932474020213) - radians(15.642246457208728) - radians(30.0)
    assert raised == pytest.approx(sqrt(far_a**2 + far_b**2 - 2.0 * far_a * far_b * cos(gap)), abs=1e-9)


def test_without_a_barrel_the_cord_takes_the_chord() -> None:
    bare = replace(HAND, wrist_barrel_radius_mm=0.0)
    cord = line(("whippletree", (-30.0, 0.0, 0.0)), ("palm", (30.0, 0.0, 0.0)))
    length = taut_line(bare, cord, (), {"wrist": -60.0}).length_mm
    assert length == pytest.approx(60.0 * cos(radians(30.0)))
