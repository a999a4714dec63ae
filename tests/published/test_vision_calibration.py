"""How a flat thing leans, from real photos whose poses were solved by others."""

from __future__ import annotations

import cv2
import numpy as np

from handsel.vision.rest_angle.leaning import leans
from published.test_vision_camera import STORED_CENTRE, STORED_DISTORTION, STORED_F, STORED_TILTS, boards

# What is stored was solved for all photos at once; ours takes one photo and the scale at the board's middle alone.
SINGLE_VIEW_DEG = 1.5


def test_the_lean_that_one_homography_holds():
    # Zhang 2000's relations on a made-up view: f = 800 px and a plane that leans by 35.53 degrees.
    h = np.array(
        [[328.485347078, 80.0, 360.0], [32.860252738, 406.410161514, 220.0], [-0.148099066, 0.25, 1.0]]
    )
    turns, _, _ = leans(h * [1.0, -1.0, 1.0], 800.0, np.array([320.0, 240.0]))  # ours has y up
    tilts = np.degrees(np.arccos(np.abs(turns[:, 2, 2])))
    assert np.abs(tilts - 35.5313).min() < 0.001


def test_the_lean_of_each_board_is_the_stored_one():
    photos, board = boards("left")
    matrix = np.array([[STORED_F, 0, STORED_CENTRE[0]], [0, STORED_F, STORED_CENTRE[1]], [0, 0, 1.0]])
    assert len(photos) == len(STORED_TILTS) == 13
    misses = []
    for points, stored in zip(photos.values(), STORED_TILTS, strict=True):
        flat = cv2.undistortPoints(points[:, None], matrix, STORED_DISTORTION, P=matrix)[:, 0]
        up = (board - board.mean(0)) * [1.0, -1.0]  # ours has y up
        h, _ = cv2.findHomography(up, flat)
        turns, _, distance = leans(h, STORED_F, np.array(STORED_CENTRE))
        tilts = np.degrees(np.arccos(np.abs(turns[:, 2, 2])))
        misses.append(float(np.abs(tilts - stored).min()))
        assert 200.0 < distance < 700.0  # the stored shifts lie between 0.3 and 0.6 m
    assert max(misses) < SINGLE_VIEW_DEG
    assert np.median(misses) < 0.5
