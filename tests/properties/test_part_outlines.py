"""Laws that hold for any outline, camera and size: what a camera sees of heights, and how sizes are decided."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from handsel.vision.mat.view import shadow_mm
from handsel.vision.parts.judging import _between
from handsel.vision.parts.kinds import even_points
from handsel.vision.parts.silhouette import ring_area_mm2
from handsel.vision.parts.steps import inside

spots = st.floats(-200.0, 200.0)
heights = st.floats(0.0, 90.0)


@given(x=spots, y=spots, z=heights, cx=spots, cy=spots, cz=st.floats(150.0, 900.0))
def test_camera_point_and_shadow_are_on_one_line(
    x: float, y: float, z: float, cx: float, cy: float, cz: float
) -> None:
    camera, point = np.array([cx, cy, cz]), np.array([x, y, z])
    foot = np.r_[shadow_mm(point[None], camera)[0], 0.0]
    along, to_foot = point - camera, foot - camera
    assert (
        np.linalg.norm(np.cross(along, to_foot))
        < 1e-6 * np.linalg.norm(along) * np.linalg.norm(to_foot) + 1e-6
    )
    assert np.linalg.norm(foot[:2] - camera[:2]) >= np.linalg.norm(point[:2] - camera[:2]) - 1e-9


@given(st.lists(st.tuples(spots, spots), min_size=3, max_size=12, unique=True), st.integers(8, 200))
def test_even_points_lie_on_their_line_and_turn_with_it(
    corners: list[tuple[float, float]], count: int
) -> None:
    ring = np.array(corners)
    points = even_points(ring, count)
    a, b = ring, np.roll(ring, -1, 0)
    d = b - a
    t = np.clip(((points[:, None] - a) * d).sum(2) / np.maximum((d**2).sum(1), 1e-12), 0.0, 1.0)
    off = np.linalg.norm(points[:, None] - a - t[..., None] * d, axis=2).min(1)
    assert points.shape == (count, 2)
    assert off.max() < 1e-6
    assert abs(ring_area_mm2(ring) + ring_area_mm2(ring[::-1])) < 1e-6


@given(st.floats(0.5, 50.0), st.floats(0.5, 50.0), spots, spots, st.floats(0.0, 6.28))
def test_inside_of_a_box_is_inside_however_it_is_turned(
    w: float, h: float, x: float, y: float, turn: float
) -> None:
    c, s = np.cos(turn), np.sin(turn)
    spin = np.array([[c, s], [-s, c]])
    ring = np.array([[-w, -h], [w, -h], [w, h], [-w, h]]) @ spin + [x, y]
    test = np.array([[0.0, 0.0], [0.9 * w, 0.9 * h], [1.1 * w, 0.0], [0.0, -1.1 * h]]) @ spin + [x, y]
    assert inside(test, ring).tolist() == [True, True, False, False]


@settings(max_examples=60)
@given(value=st.floats(0.5, 1.5), u=st.floats(0.001, 0.2), limit=st.floats(0.005, 0.1))
def test_a_size_is_as_surely_within_its_limits_mirrored_about_one(
    value: float, u: float, limit: float
) -> None:
    p = _between(value, u, 1 - limit, 1 + limit)
    assert 0.0 <= p <= 1.0
    assert abs(p - _between(2.0 - value, u, 1 - limit, 1 + limit)) < 1e-9
    assert p <= _between(value, u, 1 - 2 * limit, 1 + 2 * limit) + 1e-12
