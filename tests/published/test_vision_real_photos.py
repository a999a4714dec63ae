"""Real photos and their stored calibration, as Debian's package opencv-doc carries them.

The tests fetch nothing; `make test` installs the package where it may. Without it (Debian, Ubuntu: sudo apt install
opencv-doc) these are left out: the corners that were found in these photos lie in tests/data/vision/outside, and
test_vision_camera.py holds the calibration to them everywhere.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import cv2
import numpy as np
import pytest

from handsel.data.photo_file import read_photo
from handsel.errors import Unsolved
from handsel.vision.camera import focal_from_homography
from handsel.vision.finding import find_cards
from handsel.vision.rest_angle.leaning import leans
from handsel.vision.rest_angle.reading import measure_rest_angle
from handsel.vision.rest_angle.refused import Cause, PhotoRefused
from published.test_vision_camera import (
    STORED_CENTRE,
    STORED_DISTORTION,
    STORED_F,
    STORED_TILTS,
    boards,
)

PACKAGE = Path("/usr/share/doc/opencv-doc")
PHOTOS = PACKAGE / "examples" / "data"
BOARD = np.array([(25.0 * col, 25.0 * row, 0.0) for row in range(6) for col in range(9)], np.float32)

pytestmark = pytest.mark.skipif(not PHOTOS.is_dir(), reason="the package opencv-doc is not installed")


@cache
def corners(side: str) -> dict[str, np.ndarray]:
    """The 54 inner corners in each photo of one camera, found as the stored calibration found them."""
    found = {}
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 30, 0.001)
    for path in sorted(PHOTOS.glob(f"{side}[0-9][0-9].jpg")):
        gray = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
        seen, at = cv2.findChessboardCorners(gray, (9, 6))
        assert seen, path.name
        found[path.stem] = cv2.cornerSubPix(gray, at, (11, 11), (-1, -1), stop).reshape(-1, 1, 2)
    assert len(found) == 13, f"{side}: {sorted(found)}"
    return found


def calibrated(side: str, flags: int = 0) -> tuple[float, np.ndarray, np.ndarray, list[np.ndarray]]:
    seen = list(corners(side).values())
    rms, matrix, distortion, turns, _ = cv2.calibrateCamera(
        [BOARD] * 13, seen, (640, 480), np.eye(3), None, flags=flags
    )
    return rms, matrix, distortion.ravel(), turns


@pytest.mark.parametrize(
    ("side", "f_px", "centre", "rms_px", "k1"),
    [
        ("left", (536.07, 536.02), (342.37, 235.54), 0.4087, -0.265),
        ("right", (542.36, 541.62), (328.32, 246.95), 0.4586, None),
    ],
)
def test_the_calibration_of_each_camera(side, f_px, centre, rms_px, k1):
    # Values seen computed from these photos with another release of the same program.
    rms, matrix, distortion, _ = calibrated(side)
    assert rms == pytest.approx(rms_px, abs=0.02)
    assert (matrix[0, 0], matrix[1, 1]) == pytest.approx(f_px, abs=1.0)
    assert tuple(matrix[:2, 2]) == pytest.approx(centre, abs=1.5)
    assert k1 is None or distortion[0] == pytest.approx(k1, abs=0.01)


def test_the_stored_answer_with_one_focal_length():
    stored = cv2.FileStorage(str(PHOTOS / "left_intrinsics.yml"), cv2.FILE_STORAGE_READ)
    kept = stored.getNode("camera_matrix").mat()
    assert (kept[0, 0], kept[1, 1]) == (STORED_F, STORED_F)
    assert tuple(kept[:2, 2]) == STORED_CENTRE
    assert stored.getNode("distortion_coefficients").mat().ravel() == pytest.approx(STORED_DISTORTION)
    assert stored.getNode("avg_reprojection_error").real() == pytest.approx(0.39259, abs=1e-5)
    rms, matrix, distortion, _ = calibrated("left", cv2.CALIB_FIX_ASPECT_RATIO)
    assert matrix[0, 0] == matrix[1, 1]
    assert matrix[0, 0] == pytest.approx(STORED_F, abs=1.0)
    assert tuple(matrix[:2, 2]) == pytest.approx(STORED_CENTRE, abs=1.0)
    assert distortion[0] == pytest.approx(STORED_DISTORTION[0], abs=0.005)
    assert rms == pytest.approx(0.3926, abs=0.02)


def test_the_stored_tilts_and_ours():
    stored = cv2.FileStorage(str(PHOTOS / "left_intrinsics.yml"), cv2.FILE_STORAGE_READ)
    poses = stored.getNode("extrinsic_parameters").mat()
    tilts = [np.degrees(np.arccos(abs(cv2.Rodrigues(p[:3])[0][2, 2]))) for p in poses]
    assert tilts == pytest.approx(STORED_TILTS, abs=0.005)  # the printed rounding
    _, _, _, turns = calibrated("left")
    again = [np.degrees(np.arccos(abs(cv2.Rodrigues(t)[0][2, 2]))) for t in turns]
    assert again == pytest.approx(tilts, abs=0.5)
    matrix = np.array([[STORED_F, 0, STORED_CENTRE[0]], [0, STORED_F, STORED_CENTRE[1]], [0, 0, 1.0]])
    misses = []
    for seen, tilt in zip(corners("left").values(), tilts, strict=True):
        flat = cv2.undistortPoints(seen, matrix, STORED_DISTORTION, P=matrix)[:, 0]
        up = (BOARD[:, :2] - BOARD[:, :2].mean(0)) * [1.0, -1.0]  # ours has y up
        ours, _, _ = leans(cv2.findHomography(up, flat)[0], STORED_F, np.array(STORED_CENTRE))
        misses.append(np.abs(np.degrees(np.arccos(np.abs(ours[:, 2, 2]))) - tilt).min())
    assert np.median(misses) < 0.5
    assert max(misses) < 1.5


def test_single_views_ask_for_focal_lengths_far_apart():
    # Computed from these photos, distortion taken out and the optical centre taken as the middle: 440 to 798 px for
    # a true 536, and some none.
    matrix = np.array([[STORED_F, 0, STORED_CENTRE[0]], [0, STORED_F, STORED_CENTRE[1]], [0, 0, 1.0]])
    found, silent = [], 0
    for seen in corners("left").values():
        flat = cv2.undistortPoints(seen, matrix, STORED_DISTORTION, P=matrix)[:, 0]
        try:
            found += focal_from_homography(cv2.findHomography(BOARD[:, :2], flat)[0], (320.0, 240.0))
        except Unsolved:
            silent += 1
    assert silent == 2
    assert (min(found), max(found)) == pytest.approx((440.0, 798.0), abs=2.0)
    assert 0.8 * STORED_F < np.median(found) < 1.2 * STORED_F


@pytest.mark.parametrize("side", ["left", "right"])
def test_the_corners_kept_as_a_table_are_those_of_the_photos(side):
    kept, _ = boards(side)
    for name, points in corners(side).items():
        assert np.abs(points[:, 0] - kept[name]).max() < 0.05, name


def test_six_markers_in_the_whole_real_photo_and_none_of_ours():
    (path,) = PACKAGE.rglob("singlemarkersoriginal.jpg")
    photo = read_photo(path)
    assert (photo.width_px, photo.height_px) == (640, 480)
    other = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_6X6_250))
    found, numbers, _ = other.detectMarkers(np.array(photo.gray))
    assert sorted(np.ravel(numbers)) == [23, 40, 62, 98, 124, 203]
    forty = found[list(np.ravel(numbers)).index(40)][0]
    assert np.abs(forty - [[359, 310], [404, 310], [410, 350], [362, 350]]).max() < 2.0
    assert find_cards(photo.gray) == []
    with pytest.raises(PhotoRefused) as refused:
        measure_rest_angle(photo.gray)
    assert refused.value.cause is Cause.MISSING
