"""Parts that cover each other in the picture, and tall ones whose picture reaches over the border line."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import numpy.typing as npt
import pytest

from handsel.data.load_design import load_design
from handsel.design.model import Design
from handsel.vision.camera import Lens
from handsel.vision.mat.patches import Patch
from handsel.vision.parts.joined import put_together, widened
from handsel.vision.parts.kinds import kinds_of, outline_seen
from handsel.vision.parts.looking import PartsSeen, State, look_at_parts
from handsel.vision.parts.silhouette import ring_area_mm2
from unit.parts_scenes import A4, drawn, over

SCALE = 0.75
BLUE = (30, 70, 165)
CAMERA = over(A4, height_mm=320.0, tilt_deg=8.0)


@cache
def design() -> Design:
    """A palm and a fingertip: what is tall, and what it hides."""
    whole = load_design("linden")
    return replace(whole, parts=tuple(p for p in whole.parts if p.name in ("palm", "index_tip")))


def outline(name: str, place: tuple[float, float], turn: float) -> npt.NDArray[np.float64]:
    kind = next(k for k in kinds_of(design(), SCALE, "right") if name in k.names)
    pose = next(p for p in kind.poses if p.on_flat_side and not p.mirrored)
    return outline_seen(pose, at_mm=np.array(place), turn_rad=turn, camera_mm=np.array(CAMERA.at_mm))


def looked(*things: npt.NDArray[np.float64]) -> PartsSeen:
    picture = drawn(A4, CAMERA, [(ring, BLUE) for ring in things])
    return look_at_parts(picture, design=design(), scale_ratio=SCALE, side="right", lens=Lens(f35_mm=26.0))


def test_a_tip_half_behind_the_palms_picture_is_told_from_it() -> None:
    seen = looked(outline("palm", (85.0, -120.0), 0.5), outline("index_tip", (75.0, -78.0), 1.4))
    assert seen.is_right, [(s.names, s.state, s.reason) for s in seen.seen]
    places = {s.names[0]: (s.x_mm, -s.y_mm) for s in seen.seen}
    assert np.allclose(places["palm"], (85.0, -120.0), atol=0.5)
    assert np.allclose(places["index_tip"], (75.0, -78.0), atol=0.5)


def test_a_part_that_the_palm_hides_nearly_all_of_is_not_called_right() -> None:
    seen = looked(outline("palm", (85.0, -120.0), 0.5), outline("index_tip", (77.0, -90.0), 1.4))
    assert [s.names[0] for s in seen.seen if s.state is State.RIGHT] in ([], ["palm"])
    assert any(m.names == ("index_tip",) for m in seen.missing) or seen.count(State.UNTOLD) > 0
    assert any("hidden" in note for note in seen.notes)


def test_a_palm_whose_picture_reaches_over_markers_is_told() -> None:
    seen = looked(outline("palm", (72.0, -54.0), 0.1))
    (palm,) = seen.seen
    assert palm.state is State.RIGHT, palm.reason
    assert min(y for _, y in palm.outline_px) < CAMERA.shown(np.array([[72.0, -27.0, 0.0]]))[0, 1]


def test_pieces_near_each_other_are_put_together_and_those_apart_are_not() -> None:
    square = np.array(((0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0)))

    def piece(x: float, *, with_shadow: float = 0.0) -> Patch:
        plain = Patch(outline_mm=square + [x, 0.0], area_mm2=100.0, certain=True)
        if not with_shadow:
            return plain
        wide = square * [1.0, 1.0 + with_shadow / 10.0] + [x, 0.0]
        return replace(
            plain, instead=Patch(outline_mm=wide, area_mm2=100.0 + 10.0 * with_shadow, certain=False)
        )

    assert put_together([piece(0.0), piece(15.0)]) == []
    ((heap, whole),) = put_together([piece(0.0), piece(50.0), piece(13.0), piece(26.0, with_shadow=5.0)])
    assert heap == (0, 2, 3)
    assert not whole.certain
    assert whole.area_mm2 == pytest.approx(ring_area_mm2(whole.outline_mm))
    assert whole.outline_mm.min(0) == pytest.approx((0.0, 0.0))
    assert whole.outline_mm.max(0) == pytest.approx((36.0, 15.0))


def test_a_hole_within_a_thing_is_near_it() -> None:
    square = np.array(((0.0, 0.0), (30.0, 0.0), (30.0, 30.0), (0.0, 30.0)))
    outer = Patch(outline_mm=square, area_mm2=900.0, certain=True)
    hole = Patch(outline_mm=square / 10.0 + 13.0, area_mm2=9.0, certain=True)
    ((heap, whole),) = put_together([outer, hole])
    assert heap == (0, 1)
    assert whole.area_mm2 == pytest.approx(900.0)


def test_a_strip_is_widened_to_all_round_it() -> None:
    strip = np.array(((0.0, 0.0), (25.0, 0.0), (25.0, 3.0), (0.0, 3.0)))
    wide = widened(Patch(outline_mm=strip, area_mm2=75.0, certain=False))
    assert wide.is_rest
    assert not wide.certain
    assert wide.outline_mm.min(0) == pytest.approx((-30.0, -30.0), abs=0.5)
    assert wide.outline_mm.max(0) == pytest.approx((55.0, 33.0), abs=0.5)
    assert wide.area_mm2 == pytest.approx(ring_area_mm2(wide.outline_mm))
