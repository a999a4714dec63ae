"""Laws of standing over an outline."""

from math import cos, hypot, radians, sin

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from handsel.design.support import hull, inside_mm

COORDINATE = st.floats(-100.0, 100.0).map(lambda v: round(v, 3))
POINT = st.tuples(COORDINATE, COORDINATE)
SQUARE = ((0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0))


def area(corners: tuple[tuple[float, float], ...]) -> float:
    pairs = zip(corners, corners[1:] + corners[:1], strict=True)
    return sum(a[0] * b[1] - b[0] * a[1] for a, b in pairs) / 2.0


@pytest.mark.parametrize(
    ("point", "distance"),
    [
        ((5.0, 5.0), 5.0),
        ((2.0, 5.0), 2.0),
        ((0.0, 5.0), 0.0),
        ((-3.0, 5.0), -3.0),
        ((13.0, 14.0), -5.0),  # past a corner: 3, 4, 5
    ],
)
def test_distances_from_a_square(point: tuple[float, float], distance: float) -> None:
    assert inside_mm(point, SQUARE) == pytest.approx(distance, abs=1e-12)
    assert inside_mm(point, SQUARE[::-1]) == pytest.approx(distance, abs=1e-12)


def test_a_hollow_in_the_outline_carries_too() -> None:
    """An L lets nothing rigid tip into its hollow: only the line across it counts."""
    ell = ((0.0, 0.0), (10.0, 0.0), (10.0, 2.0), (2.0, 2.0), (2.0, 10.0), (0.0, 10.0))
    assert inside_mm((5.0, 5.0), ell) == pytest.approx(2.0 / 2.0**0.5)
    assert inside_mm((7.0, 7.0), ell) == pytest.approx(-2.0 / 2.0**0.5)


@given(st.lists(POINT, min_size=3, max_size=12))
def test_the_hull_holds_every_point(points: list[tuple[float, float]]) -> None:
    corners = hull(points)
    assume(len(corners) >= 3)
    assume(area(corners) > 1.0)
    assert set(corners) <= set(points)
    for p in points:
        assert inside_mm(p, points) >= -1e-9


@given(POINT, st.lists(POINT, min_size=3, max_size=8), st.floats(-180.0, 180.0), POINT)
def test_moving_and_turning_both_changes_nothing(
    p: tuple[float, float], outline: list[tuple[float, float]], turn_deg: float, by: tuple[float, float]
) -> None:
    corners = hull(outline)
    assume(len(corners) >= 3)
    assume(area(corners) > 1.0)
    c, s = cos(radians(turn_deg)), sin(radians(turn_deg))

    def moved(q: tuple[float, float]) -> tuple[float, float]:
        return (c * q[0] - s * q[1] + by[0], s * q[0] + c * q[1] + by[1])

    assert inside_mm(moved(p), [moved(q) for q in outline]) == pytest.approx(inside_mm(p, outline), abs=1e-6)


@given(POINT, POINT)
def test_a_step_changes_the_distance_by_no_more_than_its_length(
    p: tuple[float, float], step: tuple[float, float]
) -> None:
    q = (p[0] + step[0], p[1] + step[1])
    assert abs(inside_mm(q, SQUARE) - inside_mm(p, SQUARE)) <= hypot(*step) + 1e-9
