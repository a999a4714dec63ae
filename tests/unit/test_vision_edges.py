"""Edges of drawn cards, whose places are known exactly."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from handsel.vision.cards import CUFF, PALM, pattern
from handsel.vision.edges import LINEAR, apply_homography, homography_from_corners, middle_of, read_edges

SUPER = 5  # the drawing is made this much finer, then averaged


def drawn(
    card,
    corners_px,
    *,
    blur_px=0.7,
    noise=0.004,
    size=(130, 120),
    seed=0,
    shake=None,
    shadow=None,
    cover=None,
):
    """A card in linear light, blurred, with noise, turned into file values; and its true homography."""
    h = homography_from_corners(np.asarray(corners_px, float))
    y, x = np.mgrid[0 : size[1] * SUPER, 0 : size[0] * SUPER]
    at = np.column_stack([(x.ravel() + 0.5) / SUPER - 0.5, (y.ravel() + 0.5) / SUPER - 0.5])
    cells = apply_homography(np.linalg.inv(h), at)
    light = np.full(len(at), 0.25, np.float32)
    light[(np.abs(cells) < 4.5).all(1)] = 0.8
    inside = (np.abs(cells) < 4.0).all(1)
    row, col = (np.floor(cells[inside, 1]) + 4).astype(int), (np.floor(cells[inside, 0]) + 4).astype(int)
    light[inside] = np.where(pattern(card)[row, col] > 0.5, 0.8, 0.04)
    fine = light.reshape(y.shape)
    if cover is not None:
        fine[cover[1] * SUPER : cover[3] * SUPER, cover[0] * SUPER : cover[2] * SUPER] = 0.3
    if shake is not None:
        kernel = np.zeros((SUPER * 9, SUPER * 9), np.float32)
        middle = SUPER * 9 // 2
        cv2.line(
            kernel,
            tuple((middle - np.array(shake) * SUPER / 2).astype(int).tolist()),
            tuple((middle + np.array(shake) * SUPER / 2).astype(int).tolist()),
            1.0,
        )
        fine = cv2.filter2D(fine, -1, kernel / kernel.sum())
    fine = cv2.GaussianBlur(fine, (0, 0), blur_px * SUPER)
    picture = fine.reshape(size[1], SUPER, size[0], SUPER).mean((1, 3))
    if shadow is not None:
        picture[:, :shadow] *= 0.3
    picture = picture + np.random.default_rng(seed).normal(0, noise, picture.shape)
    return np.searchsorted(LINEAR, np.clip(picture, 0, 0.999)).astype(np.uint8), h


SQUARE = ((35.3, 25.1), (95.7, 33.9), (91.2, 97.4), (29.8, 86.6))


def misses(edges, h):
    """Distance of each measured edge from its true line [px], toward white."""
    truth = apply_homography(h, edges.card_mm * [1, -1] / (16 / 6))
    return ((edges.at_px - truth) * edges.normal).sum(1)


@pytest.mark.parametrize("card", [PALM, CUFF])
@pytest.mark.parametrize("blur_px", [0.5, 1.0, 2.0])
def test_edges_are_found_to_a_few_hundredths_of_a_pixel(card, blur_px):
    gray, h = drawn(card, SQUARE, blur_px=blur_px)
    start = np.array(SQUARE) + [[1, -1], [-1, 1], [1, 1], [0, -1]]
    edges = read_edges(gray, card, start)
    assert edges is not None
    miss = misses(edges, h)
    assert len(miss) == 44
    assert np.sqrt(np.mean(miss**2)) < 0.05
    assert abs(miss.mean()) < 0.02
    assert np.sqrt(np.mean((miss / np.hypot(edges.u_noise_px, edges.u_grid_px)) ** 2)) < 1.4
    assert edges.blur_px == pytest.approx(np.hypot(blur_px, 0.4), rel=0.25)
    assert edges.lost_ratio == 0.0


def test_file_values_are_taken_back_to_light():
    # The same edges read without that lie several hundredths of a pixel toward black.
    gray, h = drawn(PALM, SQUARE, blur_px=1.0, noise=0.0)
    linear = misses(read_edges(gray, PALM, np.array(SQUARE)), h)
    pretended = np.round(LINEAR[gray] * 255).astype(np.uint8)  # linear values passed off as file values
    wrong = misses(read_edges(pretended, PALM, np.array(SQUARE)), h)
    assert abs(linear.mean()) < 0.02
    assert abs(wrong.mean()) > 0.1


def test_shake_widens_one_direction_and_moves_nothing():
    gray, h = drawn(CUFF, SQUARE, shake=(5.0, 0.0))
    edges = read_edges(gray, CUFF, np.array(SQUARE))
    assert np.sqrt(np.mean(misses(edges, h) ** 2)) < 0.08
    assert 1.2 < edges.blur_px < 2.2


def test_a_shadow_edge_over_the_card_spoils_few_edges():
    gray, h = drawn(PALM, SQUARE, shadow=63)
    edges = read_edges(gray, PALM, np.array(SQUARE))
    miss = np.abs(misses(edges, h))
    assert np.median(miss) < 0.05
    assert (miss < 0.15).mean() > 0.8


def test_a_covered_part_is_reported_as_lost():
    gray, h = drawn(PALM, SQUARE, cover=(25, 20, 105, 53))
    edges = read_edges(gray, PALM, np.array(SQUARE))
    assert edges is None or edges.lost_ratio > 0.25


def test_read_as_the_other_card_many_edges_are_lost():
    # The border is the same on both; the finder has read the code before this.
    gray, _ = drawn(CUFF, SQUARE)
    edges = read_edges(gray, PALM, np.array(SQUARE))
    assert edges is None or edges.lost_ratio > 0.2


@pytest.mark.parametrize(
    "corners",
    [
        ((10, 10), (20, 20), (30, 30), (40, 40)),
        ((-500, -500), (-400, -500), (-400, -400), (-500, -400)),
        ((1, 1), (2, 1), (2, 2), (1, 2)),
        ((-1e6, 0), (1e6, 0), (1e6, 1e6), (-1e6, 1e6)),
    ],
)
def test_corners_that_are_none_give_nothing(corners):
    gray, _ = drawn(PALM, SQUARE)
    assert read_edges(gray, PALM, np.array(corners, float)) is None


def test_a_card_at_the_rim_of_the_picture_gives_what_is_there_or_nothing():
    gray, _ = drawn(PALM, SQUARE)
    edges = read_edges(np.ascontiguousarray(gray[:, 45:]), PALM, np.array(SQUARE) - [45, 0])
    assert edges is None or edges.lost_ratio > 0.1


def test_a_homography_takes_the_square_to_its_corners():
    h = homography_from_corners(np.array(SQUARE))
    square = np.array([[-3.0, -3.0], [3.0, -3.0], [3.0, 3.0], [-3.0, 3.0]])
    np.testing.assert_allclose(apply_homography(h, square), SQUARE, atol=1e-9)


@pytest.mark.parametrize("values", [[3.0], [2.0, 1.0], [5.0, -1.0, 2.0], [4.0, 1.0, 3.0, 2.0]])
def test_the_middle_of_a_few_numbers(values):
    assert middle_of(np.array(values)) == np.median(values)


def test_a_rim_across_an_edge_silences_that_edge_and_hides_none():
    gray, h = drawn(PALM, SQUARE)
    whole = read_edges(gray, PALM, np.array(SQUARE) + 0.4)
    low, high = apply_homography(h, np.array([[-1.3, -3.6], [-0.7, -2.4]]))
    cv2.line(gray, tuple(low.astype(int).tolist()), tuple(high.astype(int).tolist()), 160, 2)
    found = read_edges(gray, PALM, np.array(SQUARE) + 0.4)
    silent = {tuple(p) for p in whole.card_mm.round(2)} - {tuple(p) for p in found.card_mm.round(2)}
    crossed_mm = np.array([-2.67, 8.0])  # between two pieces of the upper rim
    assert 1 <= len(silent) <= 4
    assert all(np.linalg.norm(np.array(p) - crossed_mm) < 4.0 for p in silent)
    assert found.lost_ratio == whole.lost_ratio
    assert np.abs(misses(found, h)).max() < 0.15
