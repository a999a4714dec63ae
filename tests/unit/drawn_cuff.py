"""A drawn cuff: a U of one colour on a ground of another, as a camera right before it sees it."""

from __future__ import annotations

import cv2
import numpy as np

PX_PER_MM = 6.0
SIZE = (960, 720)
TEAL, SAND = (30, 140, 145), (215, 195, 165)


def outline_mm(*, lean_deg=0.0, longer_mm=0.0, width_mm=76.0, height_mm=32.0):
    """Outer outline, left tip first, y up; the left flank leans out by lean_deg and is longer by longer_mm."""
    half, r = width_mm / 2, 10.0
    bend = np.radians(np.linspace(0, 90, 30))
    right = np.column_stack([half - r + r * np.sin(bend), r - r * np.cos(bend)])
    right = np.vstack([[[0.0, 0.0]], right, [[half, height_mm]]])
    left = right * [-1.0, 1.0]
    pivot = np.array([-half, r])
    c, s = np.cos(np.radians(lean_deg)), np.sin(np.radians(lean_deg))
    flank = np.array([[0.0, height_mm - r + longer_mm]]) @ np.array([[c, s], [-s, c]]) + pivot
    left[-1] = flank
    return np.vstack([left[::-1], right[1:]])


def drawn(*, colour=TEAL, ground=SAND, turn_deg=4.0, noise=2.0, at=(0.5, 0.45), scale=PX_PER_MM, **shape):
    """The photo: RGB pixels. The wall of the cuff is 3 mm, and its inside shows 8 mm deep all round."""
    outer = outline_mm(**shape)
    way = np.gradient(outer, axis=0)
    way /= np.linalg.norm(way, axis=1, keepdims=True)
    inward = np.column_stack([-way[:, 1], way[:, 0]])
    edge, deep = outer + 3.0 * inward, outer + 8.0 * inward
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))

    def px(mm):
        flat = (mm - [0.0, 16.0]) @ np.array([[c, s], [-s, c]]) * [scale, -scale]
        return np.round((flat + np.array(SIZE) * at) * 4 * 256).astype(np.int32)

    fine = np.empty((SIZE[1] * 4, SIZE[0] * 4, 3), np.uint8)
    fine[:] = ground
    dark = tuple(int(v * 0.7) for v in colour)
    cv2.fillPoly(fine, [px(np.vstack([outer, deep[::-1]]))], dark, shift=8)
    cv2.fillPoly(fine, [px(np.vstack([outer, edge[::-1]]))], colour, shift=8)
    small = cv2.GaussianBlur(cv2.resize(fine, SIZE, interpolation=cv2.INTER_AREA), (0, 0), 0.8)
    rough = np.random.default_rng(3).normal(0.0, noise, small.shape)
    return np.clip(small + rough, 0, 255).astype(np.uint8)
