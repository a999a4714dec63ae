"""The edge of a cuff between the pixels, and where a flank ends: drawn shapes with exact truth."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from handsel.vision.cuff.edge import find_tip, refined_edge, without_shadow

GROUND, PLASTIC, SHADOW = (200, 195, 190), (30, 60, 170), (60, 58, 57)
FINE = 8


def drawn(shapes, *, noise=2.0, size=(400, 300)):
    """Polygons in pixels, one after the other, each in its colour."""
    fine = np.empty((size[1] * FINE, size[0] * FINE, 3), np.uint8)
    fine[:] = GROUND
    for points, colour in shapes:
        at = np.round((np.asarray(points) + 0.5) * FINE * 16 - 8).astype(np.int32)
        cv2.fillPoly(fine, [at], colour, shift=4)
    small = cv2.GaussianBlur(cv2.resize(fine, size, interpolation=cv2.INTER_AREA), (0, 0), 0.9)
    rough = small + np.random.default_rng(2).normal(0.0, noise, small.shape)
    return np.clip(rough, 0, 255).astype(np.uint8)


def strip(turn_deg):
    """A strip 14 px wide that ends in the picture, its left edge the outer one: the edge's foot, its end, the end's
    other corner, and the polygon."""
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    turn = np.array([[c, s], [-s, c]])
    corners = np.array([[0.0, 160.0], [0.0, 0.0], [14.0, 0.0], [14.0, 160.0]]) @ turn + [180.3, 90.6]
    return corners[0], corners[1], corners[2], corners


def between(a, b, n):
    return a + np.linspace(0.0, 1.0, n)[:, None] * (b - a)


@pytest.mark.parametrize("turn_deg", [-12.0, 0.0, 9.0])
def test_a_tip_is_found_where_it_was_drawn(turn_deg):
    foot, tip, other, polygon = strip(turn_deg)
    pixels = drawn([(polygon, PLASTIC)])
    flank = refined_edge(pixels, between(foot, tip, 30)[6:] + [0.7, 0.4], 3.0, steps=80).points
    found = find_tip(pixels, flank, between(tip, other, 12) + [0.5, 0.9], rim_px=14.0, reach_px=3.0)
    assert found is not None
    corner, u_px = found
    assert np.linalg.norm(corner - tip) < max(3.0 * u_px, 0.3)
    assert u_px < 1.0


def test_where_nothing_goes_on_there_is_no_tip():
    foot, tip, other, polygon = strip(0.0)
    pixels = drawn([(polygon, PLASTIC)])
    flank = refined_edge(pixels, between(foot, tip, 30)[6:], 3.0, steps=80).points
    onward = between(tip, tip + (tip - foot) * 0.1, 12)  # straight on: that is no corner
    assert find_tip(pixels, flank, onward, rim_px=14.0, reach_px=3.0) is None


def test_a_dark_wedge_beside_a_coloured_edge_is_shadow():
    edge = np.column_stack([np.linspace(60.0, 340.0, 60), np.full(60, 150.0)])
    cuff = [[40, 60], [360, 60], [360, 150], [40, 150]]
    wedge = [[150, 150], [230, 150], [230, 156], [150, 156]]
    pixels = drawn([(wedge, SHADOW), (cuff, PLASTIC)])
    taken = edge.copy()
    taken[(edge[:, 0] > 150) & (edge[:, 0] < 230), 1] = 156.0
    # Which side is outward is told from a way that bends round the cuff.
    taken = np.vstack([[[60.0, 90.0]], taken, [[340.0, 90.0]]])
    near, wide = refined_edge(pixels, taken, 2.0), refined_edge(pixels, taken, 6.0)
    better = without_shadow(pixels, near, wide, taken)
    assert better is not None
    middle = better[(better[:, 0] > 165) & (better[:, 0] < 215)]
    assert np.abs(middle[:, 1] - 150.0).max() < 2.0
    plain = drawn([(cuff, PLASTIC)])
    straight = np.vstack([[[60.0, 90.0]], edge, [[340.0, 90.0]]])
    near, wide = refined_edge(plain, straight, 2.0), refined_edge(plain, straight, 6.0)
    assert without_shadow(plain, near, wide, straight) is None
