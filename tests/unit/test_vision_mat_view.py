"""The camera over a mat: found where it is, with an uncertainty that holds, or refused for its cause."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from handsel.vision.camera import Lens
from handsel.vision.edges import LINEAR
from handsel.vision.mat.corners import light_at, sampled
from handsel.vision.mat.sheet import MATS
from handsel.vision.mat.view import MatCause, MatRefused, find_markers, shadow_mm, view_of
from unit.parts_scenes import A4, Camera, drawn, over


def gray(camera: Camera, mat=A4, **more):  # type: ignore[no-untyped-def]
    return cv2.cvtColor(drawn(mat, camera, **more), cv2.COLOR_RGB2GRAY)


@pytest.mark.parametrize("tilt", [0.0, 12.0, 24.0])
def test_the_camera_is_found_where_it_is(tilt: float) -> None:
    camera = over(A4, tilt_deg=tilt, height_mm=340.0, k1=-0.03)
    view = view_of(gray(camera), lens=Lens(f35_mm=26.0))
    assert view.mat is A4
    assert view.marker_count == 12
    assert view.misfit_px < 0.25
    assert view.tilt_deg == pytest.approx(tilt, abs=0.6)
    off = np.abs(view.at_mm - np.array(camera.at_mm))
    assert off[2] < 3.0 * view.u_height_ratio * camera.at_mm[2] + 0.3
    grid = np.array([[x, y, 0.0] for x in (20, 105, 190) for y in (-20, -150, -277)], float)
    missed = np.linalg.norm(view.to_px(grid) - camera.shown(grid), axis=1)
    assert missed.max() / view.px_per_mm < 0.12  # mm on the paper


def test_without_a_focal_length_the_height_is_less_sure_and_the_paper_is_not() -> None:
    camera = over(A4, tilt_deg=10.0)
    picture = gray(camera)
    told, guessed = view_of(picture, lens=Lens(f35_mm=26.0)), view_of(picture)
    assert guessed.u_height_ratio > told.u_height_ratio
    grid = np.array([[x, y, 0.0] for x in (30, 180) for y in (-30, -267)], float)
    assert np.linalg.norm(guessed.to_px(grid) - camera.shown(grid), axis=1).max() < 0.5


@pytest.mark.parametrize("name", MATS)
def test_each_sheet_is_known_by_its_numbers(name: str) -> None:
    mat = MATS[name]
    camera = over(mat, height_mm=1.25 * mat.height_mm)
    view = view_of(gray(camera, mat=mat), lens=Lens(f35_mm=26.0))
    assert view.mat is mat


def test_a_picture_without_a_mat_is_refused() -> None:
    with pytest.raises(MatRefused, match="no mat is seen") as told:
        view_of(gray(over(A4), mat=None), where="kit.jpg")
    assert told.value.cause is MatCause.NO_MAT
    assert told.value.where == "kit.jpg"
    assert "printed mat" in told.value.do


def test_a_mat_with_some_markers_hidden_is_still_measured() -> None:
    camera = over(A4, tilt_deg=8.0)
    view = view_of(gray(camera, hidden=(14, 15, 16)), lens=Lens(f35_mm=26.0))
    assert view.marker_count == 9
    assert abs(view.at_mm[2] - camera.at_mm[2]) < 3.0 * view.u_height_ratio * camera.at_mm[2] + 0.5


@pytest.mark.parametrize("left", [(12, 13), (12, 13, 14), (12, 13, 22, 23)])
def test_a_mat_with_too_few_or_too_close_markers_is_refused(left: tuple[int, ...]) -> None:
    hidden = tuple(n for n in A4.ids if n not in left)
    with pytest.raises(MatRefused, match="markers on the mat's border") as told:
        view_of(gray(over(A4), hidden=hidden))
    assert told.value.cause is MatCause.COVERED


def test_a_mat_seen_too_obliquely_is_refused() -> None:
    with pytest.raises(MatRefused, match="too far from straight above") as told:
        view_of(gray(over(A4, tilt_deg=47.0, height_mm=300.0)), lens=Lens(f35_mm=26.0))
    assert told.value.cause is MatCause.OBLIQUE


def test_two_mats_in_one_picture_are_refused() -> None:
    one = gray(over(A4, height_mm=500.0))
    other = gray(over(MATS["letter"], height_mm=500.0), mat=MATS["letter"])
    with pytest.raises(MatRefused) as told:
        view_of(np.hstack([one, other]))
    assert told.value.cause is MatCause.TWO_MATS


def test_a_mat_that_is_not_flat_is_refused() -> None:
    camera = over(A4)
    picture = gray(camera)
    y, x = np.mgrid[0 : picture.shape[0], 0 : picture.shape[1]].astype(np.float32)
    bent = cv2.remap(picture, x + 9.0 * np.sin(y / 90.0).astype(np.float32), y, cv2.INTER_LINEAR)
    with pytest.raises(MatRefused) as told:
        view_of(bent, lens=Lens(f35_mm=26.0))
    assert told.value.cause in (MatCause.NOT_FLAT, MatCause.COVERED)


def test_corners_are_found_to_a_fifth_of_a_pixel() -> None:
    camera = over(A4, tilt_deg=15.0)
    found = find_markers(gray(camera))
    off = [
        found[n][0] - camera.shown(np.column_stack([A4.corners_mm(n) * [1, -1], np.zeros(4)])) for n in A4.ids
    ]
    assert np.sqrt(np.mean(np.square(off))) < 0.2


def test_a_point_above_the_paper_hides_paper_farther_from_the_camera() -> None:
    hidden = shadow_mm(np.array([[100.0, 0.0, 20.0], [100.0, 0.0, 0.0]]), np.array([0.0, 0.0, 420.0]))
    assert hidden[0] == pytest.approx([105.0, 0.0])
    assert hidden[1] == pytest.approx([100.0, 0.0])


def test_values_between_pixels_are_those_of_a_plane() -> None:
    y, x = np.mgrid[0:5, 0:7].astype(float)
    plane = 2 * x - 3 * y
    at = np.array([[0.25, 0.5], [3.3, 2.9], [5.5, 3.5]])
    assert sampled(plane, at) == pytest.approx(2 * at[:, 0] - 3 * at[:, 1], abs=1e-9)
    assert sampled(np.stack([plane, -plane], -1), at)[:, 1] == pytest.approx(
        3 * at[:, 1] - 2 * at[:, 0], abs=1e-9
    )


def test_light_round_some_places_is_that_of_the_whole_picture_there() -> None:
    picture = np.random.default_rng(5).integers(0, 256, (40, 60)).astype(np.uint8)
    for low, high in (((20.2, 11.3), (27.9, 19.1)), ((-3.0, -2.0), (4.5, 3.5)), ((55.1, 35.2), (63.0, 44.0))):
        at = np.random.default_rng(6).uniform(low, high, (50, 2))
        assert light_at(picture, at) == pytest.approx(sampled(LINEAR[picture], at), abs=1e-12)
