"""Pale lines along a bend: drawn ones, and renders in which it is known what is whitened."""

from __future__ import annotations

import io
import json
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from handsel.errors import OutOfRange
from handsel.vision.bend.pale_surface import part_and_colour, take_apart
from handsel.vision.bend.whitening import BendCause, BendRefused, Looks, look_at_bend
from unit.drawn_bend import BLACK, ORANGE, SIZE, TEAL, WHITE, along_and_across, drawn

RENDERS = Path(__file__).parents[1] / "data" / "vision" / "bends"
SHOTS = [json.loads(line) for line in (RENDERS / "truth.jsonl").read_text(encoding="utf-8").splitlines()]


@pytest.mark.parametrize(
    ("colour", "turn_deg"), [(ORANGE, 0.0), (TEAL, 20.0), (ORANGE, 75.0), (TEAL, 130.0)], ids=str
)
def test_a_whitened_line_is_marked_where_it_is(colour, turn_deg):
    seen = look_at_bend(drawn(colour, turn_deg=turn_deg, covered=0.3))
    assert seen.can_tell
    assert len(seen.candidates) == 1
    one = seen.candidates[0]
    assert one.looks is Looks.WHITENING
    along, across = along_and_across(turn_deg)
    spots = np.round(one.line_px).astype(int)
    assert np.abs(across[spots[:, 1], spots[:, 0]]).max() < 8.0
    assert 300.0 < one.length_px < 520.0
    assert 5.0 < one.width_px < 30.0
    assert one.delta_e > 5.0
    assert one.lighter > 1.0
    assert one.less_saturated > 0.05
    assert "pale line" in seen.words


def test_a_sound_bend_has_nothing_marked_and_says_to_look_all_the_same():
    for colour in (ORANGE, TEAL, BLACK):
        seen = look_at_bend(drawn(colour))
        assert seen.can_tell
        assert seen.candidates == ()
        assert "Look for yourself" in seen.words


def test_a_reflection_adds_white_and_leaves_the_colour_below():
    shine = look_at_bend(drawn(added=0.12)).candidates
    assert [c.looks for c in shine] == [Looks.REFLECTION]
    assert abs(shine[0].covers) < 0.05 < look_at_bend(drawn(covered=0.3)).candidates[0].covers


def test_a_strong_reflection_stays_one_though_a_little_of_the_colour_is_gone_below_it():
    shine = look_at_bend(drawn(TEAL, added=0.2, dimmed=0.08)).candidates
    assert [c.looks for c in shine] == [Looks.REFLECTION]
    assert shine[0].covers > 0.05  # as much as faint whitening covers, which adds far less white
    faint = look_at_bend(drawn(TEAL, covered=0.1)).candidates
    assert [c.looks for c in faint] == [Looks.WHITENING]
    assert faint[0].covers < 2.0 * shine[0].covers


def test_a_thin_line_may_be_a_scratch():
    assert [c.looks for c in look_at_bend(drawn(covered=0.5, width_px=3.5)).candidates] == [Looks.SCRATCH]


def test_a_pale_strip_at_the_pictures_edge_has_one_side_and_is_not_marked():
    pixels = drawn(turn_deg=0.0, covered=0.4)
    middle = SIZE[1] // 2
    assert len(look_at_bend(pixels).candidates) == 1
    assert look_at_bend(np.ascontiguousarray(pixels[middle - 3 :])).candidates == ()


def test_on_black_the_two_look_alike_and_it_says_so():
    seen = look_at_bend(drawn(BLACK, covered=0.25))
    assert [c.looks for c in seen.candidates] == [Looks.UNSURE]
    assert any("reflection looks like whitening" in note for note in seen.notes)


def test_of_a_light_plastic_it_says_that_it_cannot_tell():
    for pixels in (drawn(WHITE), drawn(WHITE, covered=0.5)):
        seen = look_at_bend(pixels)
        assert not seen.can_tell
        assert seen.candidates == ()
        assert "light" in seen.why_not
        assert seen.words.startswith("The photo cannot tell")


def test_a_line_across_the_bend_is_no_candidate_when_the_bend_is_drawn():
    pixels = drawn(turn_deg=90.0, covered=0.3)
    level, upright = ((100.0, 300.0), (700.0, 300.0)), ((400.0, 50.0), (400.0, 550.0))
    across = look_at_bend(pixels, bend_line_px=level)
    assert across.candidates == ()
    assert any("scratches" in note for note in across.notes)
    beside = look_at_bend(pixels, bend_line_px=upright)
    assert len(beside.candidates) == 1
    assert beside.candidates[0].to_bend_deg < 5.0
    assert beside.bend_given


def test_shading_alone_is_not_pale():
    light, part, colour, ratio = part_and_colour(drawn(ORANGE, noise=0.0))
    surface = take_apart(light, part, colour, ratio)
    assert surface.parted
    assert part.mean() > 0.9
    assert float(np.quantile(surface.pale, 0.99)) < 2.5
    whitened = part_and_colour(drawn(ORANGE, noise=0.0, covered=0.4))
    assert float(take_apart(*whitened).pale.max()) > 10.0


def test_a_larger_copy_gives_the_same_line_in_its_own_pixels():
    pixels = drawn(covered=0.3)
    double = cv2.resize(pixels, (2 * SIZE[0], 2 * SIZE[1]), interpolation=cv2.INTER_CUBIC)
    one, two = look_at_bend(pixels).candidates, look_at_bend(double).candidates
    assert len(one) == len(two) == 1
    assert two[0].length_px == pytest.approx(2 * one[0].length_px, rel=0.1)
    assert np.abs(two[0].line_px.mean(0) - 2 * one[0].line_px.mean(0)).max() < 12.0


def clutter():
    rng = np.random.default_rng(1)
    return cv2.resize(
        rng.integers(0, 255, (12, 16, 3)).astype(np.uint8), (800, 600), interpolation=cv2.INTER_NEAREST
    )


def blurred():
    pixels = drawn()
    pixels[:, :200] = 20  # the part's edge, which tells
    return cv2.GaussianBlur(pixels, (0, 0), 14.0)


@pytest.mark.parametrize(
    ("pixels", "cause"),
    [
        (clutter, BendCause.NO_PART),
        (lambda: drawn()[:200], BendCause.SMALL),
        (lambda: drawn() // 40, BendCause.DARK),
        (lambda: np.full((600, 800, 3), 255, np.uint8), BendCause.GLARE),
        (blurred, BendCause.BLURRED),
    ],
    ids=["clutter", "small", "dark", "washed out", "blurred"],
)
def test_what_cannot_be_looked_at_is_refused_with_its_cause(pixels, cause):
    with pytest.raises(BendRefused) as refused:
        look_at_bend(pixels(), where="bend.jpg")
    assert refused.value.cause is cause
    assert str(refused.value).startswith("bend.jpg: ")
    assert refused.value.do


def test_a_bend_line_that_is_none_is_refused():
    for line in (((1.0, 1.0), (2.0, 2.0)), ((float("nan"), 0.0), (5.0, 90.0))):
        with pytest.raises(OutOfRange):
            look_at_bend(drawn(), bend_line_px=line)


@pytest.mark.parametrize("shot", SHOTS, ids=lambda s: s["file"])
def test_renders_in_which_it_is_known_what_is_whitened(shot):
    with Image.open(io.BytesIO((RENDERS / shot["file"]).read_bytes())) as picture:
        seen = look_at_bend(np.asarray(picture.convert("RGB")))
    assert seen.can_tell == (shot["colour"] != "white")
    if not seen.can_tell:
        return
    for line in shot["lines_px"]:
        near = [
            np.linalg.norm(np.array(line)[:, None] - c.line_px[None], axis=-1).min(1) < 25.0
            for c in seen.candidates
        ]
        assert max((n.mean() for n in near), default=0.0) > 0.5, "a whitened line was not marked"
    if not shot["whitened"]:
        assert seen.candidates == ()
