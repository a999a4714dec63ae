"""Parts nearly as light as their paper, found by edges alone, also where one shadow joins two."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from types import SimpleNamespace

import cv2
import numpy as np
import pytest

from handsel.data.load_design import load_design
from handsel.design.model import Design
from handsel.vision.camera import Lens
from handsel.vision.mat.flat import flattened
from handsel.vision.mat.patches import Patch, patches
from handsel.vision.mat.view import view_of
from handsel.vision.parts import judging, things
from handsel.vision.parts.asks import larger_ask
from handsel.vision.parts.kinds import kinds_of, outline_seen
from handsel.vision.parts.looking import PartsSeen, State, look_at_parts
from handsel.vision.parts.search import apart
from handsel.vision.parts.seen import Ask, PartSeen
from unit.parts_scenes import A4, drawn, over

NAMES = ("tension_block", "whippletree")
OFF_WHITE, CAMERA = (205, 205, 203), over(A4, height_mm=320.0, tilt_deg=8.0)


@cache
def design() -> Design:
    whole = load_design("linden")
    return replace(whole, parts=tuple(p for p in whole.parts if p.name in NAMES))


def two_side_by_side(gap_mm: float) -> PartsSeen:
    """A block, and a part a seventh of its size so near to it that their edges grow into one outline."""
    rings = []
    for name in NAMES:
        kind = next(k for k in kinds_of(design(), 1.0, "right") if name in k.names)
        pose = next(p for p in kind.poses if p.on_flat_side)
        ring = outline_seen(
            pose, at_mm=np.array((90.0, -130.0)), turn_rad=1.5, camera_mm=np.array(CAMERA.at_mm)
        )
        rings.append(ring)
    block, small = rings
    small = small + [block[:, 0].max() + gap_mm - small[:, 0].min(), 0.0]
    picture = drawn(A4, CAMERA, [(block, OFF_WHITE), (small, OFF_WHITE)])
    return look_at_parts(
        picture,
        design=design(),
        scale_ratio=1.0,
        side="right",
        lens=Lens(f35_mm=26.0),
    )


def test_a_light_part_and_a_small_one_in_the_same_outline_are_told_as_two() -> None:
    seen = two_side_by_side(1.8)
    assert {s.names[0] for s in seen.seen if s.state is State.RIGHT} == set(NAMES), seen.sentence
    assert not seen.missing


def test_starts_at_one_place_are_looked_at_once() -> None:
    kind = kinds_of(design(), 1.0, "right")[0]
    pose, here, there = kind.poses[0], np.array((50.0, -50.0)), np.array((60.0, -50.0))
    starts = [
        (-9.0, here, 0.0),
        (-8.0, here + 0.3, 2 * np.pi - 0.01),
        (-7.0, here, 0.8),
        (-6.0, there, 0.0),
        (-5.0, there + 20.0, 0.0),
    ]
    kept = apart(starts, pose, 3)
    assert [cost for cost, _, _ in kept] == [-9.0, -7.0, -6.0]


def test_a_part_few_pixels_wide_asks_for_the_photo_itself_first() -> None:
    ask = Ask(
        what="Measure with a caliper: length. As ordered it is 15.0 mm.", dimension="length", expected_mm=15.0
    )
    assert larger_ask(ask, 60.0) == ask
    told = larger_ask(ask, 18.4)
    assert told.what.startswith("It is 18 pixels wide in this photo: send the photo itself")
    assert told.what.endswith("Or: Measure with a caliper: length. As ordered it is 15.0 mm.")
    assert (told.dimension, told.expected_mm) == ("length", 15.0)


def test_what_a_part_leaves_over_is_not_searched_for_ever(monkeypatch) -> None:
    """Each rest is as large as what it is left of, and the same part is found in it each time."""
    square = np.array(((0.0, 0.0), (20.0, 0.0), (20.0, 20.0), (0.0, 20.0)))
    fit = SimpleNamespace(matched_ratio=1.0, says=100.0, most_says=100.0, outline_mm=square)
    at = iter((square + (50.0, 0.0), *[square] * 100))
    part = SimpleNamespace(is_plain=True, fits=(fit,))
    patch = Patch(outline_mm=square, area_mm2=900.0, certain=False)
    searched: list[float] = []

    def faint(piece, *_):
        searched.append(piece.area_mm2)
        return [part]

    monkeypatch.setattr(things, "left_over", lambda *_: (patch, patch))
    monkeypatch.setattr(things, "as_several", faint)
    monkeypatch.setattr(things, "foot_of", lambda *_: next(at))
    found = things._in_the_rest(patch, [part], (), None, None, SimpleNamespace(ratio=1.0))
    assert len(found) == 1  # once at a place of its own, then at one that is taken
    assert len(searched) == 2


@pytest.mark.parametrize(("blur_mm", "count"), [(6.0, 0), (0.3, 1)])
def test_a_shadow_that_is_soft_all_round_is_no_thing(blur_mm: float, count: int) -> None:
    picture = drawn(A4, CAMERA)
    high, wide = picture.shape[:2]
    dark = np.zeros((high, wide), np.float32)
    cv2.ellipse(dark, (wide // 2, high // 2), (45, 22), 0.0, 0.0, 360.0, 0.45, -1)
    view = view_of(np.asarray(picture[..., 1]), lens=Lens(f35_mm=26.0), where="drawn")
    dark = cv2.GaussianBlur(dark, (0, 0), blur_mm * view.px_per_mm)
    shaded = np.rint(picture * (1.0 - dark[..., None])).astype(np.uint8)
    assert len(patches(flattened(shaded, view), view)) == count


def thing(state: State, *names: str) -> PartSeen:
    return PartSeen(
        state=state, names=names, title="", confidence=0.97, x_mm=0.0, y_mm=0.0, length_mm=20.0, u_length_mm=0.1,
        scale_ratio=1.0, u_scale_ratio=0.01, flat_side_down=True, reason="", ask=None, outline_px=(),
    )  # fmt: skip


def test_of_two_that_may_be_the_same_part_neither_is_called_right() -> None:
    seen = [thing(State.UNTOLD, "tension_carrier"), thing(State.EXTRA, "tension_carrier")]
    judging._doubt_extras(seen, [(3, False), (3, True)])
    assert [s.state for s in seen] == [State.UNTOLD, State.UNTOLD]
    assert seen[1].ask is not None


def test_a_thing_of_no_name_gives_its_place_up() -> None:
    for nameless in (thing(State.UNTOLD), thing(State.FOREIGN)):
        seen, chosen = [nameless, thing(State.EXTRA, "tension_carrier")], [(3, False), (3, True)]
        judging._doubt_extras(seen, chosen)
        assert seen[1].state is State.RIGHT
        assert chosen == [(None, False), (3, False)]


def test_one_too_many_stays_so_where_the_others_are_sure() -> None:
    seen = [thing(State.RIGHT, "tension_carrier"), thing(State.EXTRA, "tension_carrier")]
    judging._doubt_extras(seen, [(3, False), (3, True)])
    assert seen[1].state is State.EXTRA
