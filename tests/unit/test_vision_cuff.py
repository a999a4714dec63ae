"""The symmetry of a cuff from photos: drawn ones with exact truth, and renders with known truth."""

from __future__ import annotations

import io
import json
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from handsel.data.load_protocol import load_protocol
from handsel.errors import OutOfRange
from handsel.metrology.decision import Limits, Verdict
from handsel.vision.camera import Lens, focal_px
from handsel.vision.cuff.curves import even
from handsel.vision.cuff.measuring import judge_cuff, look_at_cuff
from handsel.vision.cuff.mirror import mirrored
from handsel.vision.cuff.refused import CuffCause, CuffRefused
from handsel.vision.cuff.scale import U_WIDTH_MM, find_scale
from handsel.vision.mat.sheet import MATS, marker_cells
from unit.drawn_cuff import SAND, TEAL, drawn, outline_mm

RENDERS = Path(__file__).parents[1] / "data" / "vision" / "cuffs"
SHOTS = [json.loads(line) for line in (RENDERS / "truth.jsonl").read_text(encoding="utf-8").splitlines()]


@pytest.mark.parametrize(
    "shape", [{}, {"lean_deg": 7.0}, {"longer_mm": 5.0}, {"lean_deg": -6.0, "longer_mm": 2.0}], ids=str
)
def test_a_drawn_cuff_is_as_lopsided_as_it_was_drawn(shape):
    truth = mirrored(even(outline_mm(**shape), 400)).largest
    seen = look_at_cuff(drawn(**shape), width_mm=float(np.ptp(outline_mm(**shape)[:, 0])))
    assert abs(seen.asymmetry_mm - truth) < max(2.5 * seen.u_asymmetry_mm, 0.3)
    assert seen.u_asymmetry_mm < 1.0
    assert seen.low_mm <= seen.asymmetry_mm <= seen.high_mm
    assert np.isclose(sum(u**2 for u in seen.contributions.values()), seen.u_asymmetry_mm**2)
    assert abs(seen.off_axis_ratio) < 0.15


@pytest.fixture(scope="module")
def even_cuff():
    """What is seen of a cuff that is its own mirror image."""
    return look_at_cuff(drawn(), width_mm=76.0)


def test_it_says_in_words_which_flank_differs_and_how(even_cuff):
    seen = look_at_cuff(drawn(lean_deg=8.0, longer_mm=5.0), width_mm=80.0)
    assert "left flank leans" in seen.words
    assert "left flank reaches" in seen.words
    assert seen.left.lean_deg - seen.right.lean_deg == pytest.approx(8.0, abs=1.5)
    assert even_cuff.words == ""


def test_upside_down_it_is_the_same_cuff():
    up = look_at_cuff(drawn(lean_deg=7.0), width_mm=78.0)
    down = look_at_cuff(np.ascontiguousarray(drawn(lean_deg=7.0)[::-1]), width_mm=78.0)
    assert down.asymmetry_mm == pytest.approx(up.asymmetry_mm, abs=0.4)


def test_the_scale_is_the_width_that_was_given():
    pixels = drawn(lean_deg=7.0)
    one = look_at_cuff(pixels, width_mm=60.0)
    two = look_at_cuff(pixels, width_mm=120.0, u_width_mm=12.0)
    assert two.width_mm == pytest.approx(120.0)
    assert two.asymmetry_mm == pytest.approx(2.0 * one.asymmetry_mm, rel=0.2)
    assert (
        two.contributions["scale"] > 16.0 * one.contributions["scale"]
    )  # twice as large, ten times as unsure


def test_the_protocol_holds_a_limit_for_what_a_photo_measures(even_cuff):
    limits = load_protocol("wrist-hand-1").characteristic("cuff-symmetric").photo_limits
    assert limits == Limits(high=3.0, unit="mm")
    good = judge_cuff(even_cuff, limits)
    bad = judge_cuff(look_at_cuff(drawn(lean_deg=28.0), width_mm=88.0), limits)
    assert (good.verdict, bad.verdict) == (Verdict.CONFORMS, Verdict.DOES_NOT_CONFORM)


def test_where_one_tip_alone_makes_the_difference_it_says_to_look_at_the_picture(even_cuff):
    seen = look_at_cuff(drawn(longer_mm=9.0), width_mm=76.0)
    assert seen.asymmetry_mm == pytest.approx(mirrored(even(outline_mm(longer_mm=9.0), 400)).largest, abs=1.2)
    assert seen.contributions["tips"] > 0.0
    assert any("one flank's end" in note for note in seen.notes)
    assert not even_cuff.notes[1:]


def blank():
    return np.full((600, 800, 3), 200, np.uint8)


def ball():
    return cv2.circle(blank(), (400, 300), 150, (200, 30, 30), -1)


@pytest.mark.parametrize(
    ("pixels", "cause"),
    [
        (blank, CuffCause.NO_CUFF),
        (ball, CuffCause.NO_CUFF),
        (lambda: drawn(scale=1.2), CuffCause.SMALL),
        (lambda: drawn(at=(0.2, 0.45)), CuffCause.CUT_OFF),
        (lambda: cv2.GaussianBlur(drawn(), (0, 0), 14.0), CuffCause.BLURRED),
    ],
    ids=["nothing", "a ball", "small", "cut off", "blurred"],
)
def test_what_shows_no_cuff_is_refused_with_its_cause(pixels, cause):
    with pytest.raises(CuffRefused) as refused:
        look_at_cuff(pixels(), width_mm=76.0, where="front.jpg")
    assert refused.value.cause is cause
    assert str(refused.value).startswith("front.jpg: ")
    assert refused.value.do


def on_the_mat(*, height_mm=450.0, length_mm=92.0):
    """A cuff that stands on end on the A4 mat, seen from straight above by a phone's main lens."""
    mat, size = MATS["a4"], (1080, 1440)
    f_px = focal_px(26.0, *size)
    pixels = np.full((size[1], size[0], 3), 120, np.uint8)
    sheet = f_px / height_mm
    corner = np.array(size) / 2 - sheet * np.array([mat.width_mm, mat.height_mm]) / 2
    low, high = np.round(corner).astype(int), np.round(np.array(size) - corner).astype(int)
    pixels[low[1] : high[1], low[0] : high[0]] = 240
    for marker in mat.markers:
        cells = np.kron(marker_cells(marker.id), np.ones((32, 32))).astype(np.float32)
        to = (mat.corners_mm(marker.id) * sheet + corner - 0.5).astype(np.float32)
        n = cells.shape[0]
        turn = cv2.getPerspectiveTransform(np.array([[0, 0], [n, 0], [n, n], [0, n]], np.float32) - 0.5, to)
        flat = cv2.warpPerspective(cells, turn, size, flags=cv2.INTER_AREA, borderValue=-1.0)
        pixels[flat >= 0] = np.round(25 + 215 * flat[flat >= 0])[:, None]
    outer = outline_mm()
    way = np.gradient(outer, axis=0)
    way /= np.linalg.norm(way, axis=1, keepdims=True)
    deep = outer + 8.0 * np.column_stack([-way[:, 1], way[:, 0]])
    at = (np.vstack([outer, deep[::-1]]) - [0.0, 16.0]) * [1.0, -1.0] * f_px / (height_mm - length_mm)
    spots = np.round((at + np.array(size) / 2) * 256).astype(np.int32)
    cv2.fillPoly(pixels, [spots], TEAL, cv2.LINE_AA, 8)
    rough = cv2.GaussianBlur(pixels, (0, 0), 0.8) + np.random.default_rng(4).normal(0, 2, pixels.shape)
    return np.clip(rough, 0, 255).astype(np.uint8)


def test_standing_on_the_mat_the_cuff_is_nearer_than_the_sheet():
    pixels = on_the_mat()
    seen = look_at_cuff(pixels, lens=Lens(f35_mm=26.0), length_mm=92.0)
    assert seen.scale_from == "mat"
    assert abs(seen.width_mm - 76.0) < 2.0 * seen.u_width_mm
    assert seen.u_width_mm < 3.0
    assert seen.asymmetry_mm < 2.5 * seen.u_asymmetry_mm
    unsaid = find_scale(pixels, Lens(f35_mm=26.0), None, U_WIDTH_MM, None, "x")
    assert (
        unsaid.u_ratio * seen.width_mm > 1.5 * seen.u_width_mm
    )  # nobody said how high its end stands over the sheet


def test_without_width_card_or_mat_there_are_no_millimetres():
    with pytest.raises(CuffRefused) as refused:
        look_at_cuff(drawn())
    assert refused.value.cause is CuffCause.NO_SCALE
    assert "outer width" in refused.value.do
    assert "--" not in refused.value.do  # the same words are read on a phone


def test_lengths_that_are_none_are_refused():
    for wrong in ({"width_mm": -1.0}, {"width_mm": float("nan")}, {"width_mm": 76.0, "length_mm": 0.0}):
        with pytest.raises(OutOfRange):
            look_at_cuff(drawn(), **wrong)


def test_a_cuff_of_its_grounds_colour_is_refused_and_not_guessed():
    with pytest.raises(CuffRefused) as refused:
        look_at_cuff(drawn(colour=SAND, ground=SAND), width_mm=76.0)
    assert refused.value.cause in (CuffCause.NO_CUFF, CuffCause.FAINT)


@pytest.mark.parametrize("shot", SHOTS, ids=lambda s: s["file"])
def test_renders_with_known_truth(shot):
    with Image.open(io.BytesIO((RENDERS / shot["file"]).read_bytes())) as picture:
        pixels = np.asarray(picture.convert("RGB"))
    lens = Lens(f35_mm=shot["exif_f35_mm"])
    seen = look_at_cuff(pixels, lens=lens, width_mm=shot["width_mm"])
    assert abs(seen.asymmetry_mm - shot["asymmetry_mm"]) < 3.0 * seen.u_asymmetry_mm
    if shot["has_card"]:
        by_card = look_at_cuff(pixels, lens=lens)
        assert by_card.scale_from == "card"
        assert abs(by_card.width_mm - shot["true_width_mm"]) < 3.0 * by_card.u_width_mm


def test_colours_are_those_of_the_drawing():
    assert tuple(drawn(noise=0.0)[5, 5]) == SAND
    assert (drawn(noise=0.0) == TEAL).all(-1).any()
