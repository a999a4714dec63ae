"""From where a photo looks into a cuff: a prism put before a pinhole, with exact truth."""

from __future__ import annotations

import numpy as np
import pytest

from handsel.vision.camera import Lens, focal_px
from handsel.vision.cuff.curves import even
from handsel.vision.cuff.mirror import mirrored
from handsel.vision.cuff.outline import CuffOutline
from handsel.vision.cuff.view import find_foot, level, look_from
from unit.drawn_cuff import outline_mm

SIZE = (1600, 1200)
F_PX = focal_px(26.0, *SIZE)
LONG_MM, RIM_MM, FAR_MM = 96.0, 3.0, 300.0


def turned(yaw_deg, pitch_deg):
    y, p = np.radians([yaw_deg, pitch_deg])
    about_y = np.array([[np.cos(y), 0, np.sin(y)], [0, 1, 0], [-np.sin(y), 0, np.cos(y)]])
    about_x = np.array([[1, 0, 0], [0, np.cos(p), -np.sin(p)], [0, np.sin(p), np.cos(p)]])
    return about_x @ about_y


def photographed(*, yaw_deg, pitch_deg, taper_mm=0.0, **shape):
    """Outer outline, inner far outline and foot in the picture of a camera that looks at the near end's middle."""
    outer = even(outline_mm(**shape), 400) - [0.0, 16.0]
    way = np.gradient(outer, axis=0)
    way /= np.linalg.norm(way, axis=1, keepdims=True)
    inner = outer + RIM_MM * np.column_stack([-way[:, 1], way[:, 0]])
    inner = inner - np.sign(inner) * [taper_mm, 0.0]
    turn = turned(yaw_deg, pitch_deg)

    def px(flat, deep):
        seen = np.column_stack([flat * [1.0, -1.0], np.full(len(flat), deep)]) @ turn.T + [0.0, 0.0, FAR_MM]
        return F_PX * seen[:, :2] / seen[:, 2:] + (np.array(SIZE) - 1.0) / 2.0

    along = turn @ [0.0, 0.0, 1.0]
    foot = F_PX * along[:2] / along[2] + (np.array(SIZE) - 1.0) / 2.0
    return px(outer, 0.0), px(inner, LONG_MM)[::-1], foot


@pytest.mark.parametrize("view", [(0.0, 0.0), (4.0, 3.0), (-3.0, -2.0)], ids=str)
@pytest.mark.parametrize("taper_mm", [0.0, 1.5])
def test_the_foot_is_where_lines_along_the_cuff_meet(view, taper_mm):
    outside, inside, truth = photographed(yaw_deg=view[0], pitch_deg=view[1], taper_mm=taper_mm)
    depth = LONG_MM / (FAR_MM + LONG_MM)
    foot = find_foot(
        outside,
        inside,
        rim=RIM_MM * F_PX / FAR_MM,
        depth_ratio=0.85 * depth,
        u_depth_ratio=0.2 * depth,
    )
    off = foot.at_px - truth
    spread = foot.u_px.T @ foot.u_px
    assert off @ np.linalg.solve(spread, off) < 6.0  # 95 % of a normal distribution in the plane
    assert np.sqrt(np.trace(spread)) < 0.4 * np.ptp(outside[:, 0])


def test_from_straight_ahead_a_slanted_cuff_is_symmetric_again():
    outside, _, foot = photographed(yaw_deg=5.0, pitch_deg=9.0)
    slanted = mirrored(even(outside, 200)).largest
    ahead = mirrored(even(level(foot, f_px=F_PX, size_px=SIZE).ahead(outside), 200)).largest
    assert slanted > 2.0
    assert ahead < 0.05


def test_back_from_straight_ahead_is_where_it_was():
    points = np.random.default_rng(1).uniform(100, 1000, (20, 2))
    one = level(np.array([900.0, 420.0]), f_px=F_PX, size_px=SIZE)
    np.testing.assert_allclose(one.back(one.ahead(points)), points, rtol=1e-9)
    straight = level((np.array(SIZE) - 1.0) / 2.0, f_px=F_PX, size_px=SIZE)
    np.testing.assert_allclose(straight.ahead(points), points, rtol=1e-12)


def test_without_a_focal_length_it_is_less_sure_how_far_to_turn():
    outside, inside, _ = photographed(yaw_deg=4.0, pitch_deg=6.0)
    outline = CuffOutline(
        outside_px=outside,
        inside_px=inside,
        u_edge_px=0.2,
        u_place_px=np.zeros(len(outside)),
        u_tips_px=(0.3, 0.3),
        blur_px=1.0,
        lost_ratio=0.0,
        coloured=True,
    )
    width = float(np.ptp(outside[:, 0]))

    def spread(lens):
        view = look_from(outline, width, width_mm=76.0, length_mm=LONG_MM, lens=lens, size_px=SIZE)
        one, other = view.others[-1]
        return np.abs(one.ahead(outside) - other.ahead(outside)).max(), view.off_axis_ratio

    told, off = spread(Lens(f35_mm=26.0))
    untold, _ = spread(Lens())
    assert untold > 5.0 * told
    assert off == pytest.approx(-FAR_MM * np.tan(np.radians(-4.0)) / 38.0, abs=0.15)
