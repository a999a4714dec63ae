"""A photo of parts on the mat: what is right is called right, and nothing else is."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import numpy.typing as npt
import pytest

from handsel.data.load_design import load_design
from handsel.design.model import Design
from handsel.errors import OutOfRange
from handsel.vision.camera import Lens
from handsel.vision.mat.flat import flattened
from handsel.vision.mat.patches import patches
from handsel.vision.mat.view import view_of
from handsel.vision.parts.kinds import kinds_of, outline_seen
from handsel.vision.parts.looking import PartsSeen, State, look_at_parts
from handsel.vision.parts.print_size import print_scale
from unit.parts_scenes import A4, Camera, drawn, over

NAMES = ("index_tip", "middle_tip", "index_proximal", "thumb_proximal", "thumb_tip", "tension_block")
BLUE, GREY = (30, 70, 165), (96, 96, 98)
PLACES = ((55.0, -60.0), (120.0, -70.0), (60.0, -130.0), (130.0, -140.0), (60.0, -210.0), (140.0, -215.0))


@cache
def design() -> Design:
    """The bundled design with only some of its parts, for speed."""
    whole = load_design("linden")
    return replace(whole, parts=tuple(p for p in whole.parts if p.name in NAMES))


def outline(
    name: str,
    place: tuple[float, float],
    camera: Camera,
    *,
    turn: float = 0.7,
    scale: float = 1.0,
    mirrored: bool = False,
) -> npt.NDArray[np.float64]:
    """A part on its flat side as the camera sees it."""
    kind = next(k for k in kinds_of(design(), 1.0, "right") if name in k.names)
    pose = next(p for p in kind.poses if p.on_flat_side and p.mirrored == mirrored)
    return outline_seen(
        pose, at_mm=np.array(place), turn_rad=turn, camera_mm=np.array(camera.at_mm), scale=scale
    )


CAMERA = over(A4, height_mm=320.0, tilt_deg=8.0)


def looked(things: list, *, expected: set[str] | None = None, camera: Camera = CAMERA, **more) -> PartsSeen:  # type: ignore[no-untyped-def, type-arg]
    picture = drawn(A4, camera, things, **{k: more.pop(k) for k in ("print_ratio", "table") if k in more})
    return look_at_parts(
        picture,
        design=design(),
        scale_ratio=1.0,
        side="right",
        lens=Lens(f35_mm=26.0),
        expected=expected,
        **more,
    )


def the_kit(**scales: float) -> list:  # type: ignore[type-arg]
    return [
        (outline(n, at, CAMERA, turn=0.9 * k, scale=scales.get(n, 1.0)), BLUE)
        for k, (n, at) in enumerate(zip(NAMES, PLACES, strict=True))
    ]


@cache
def whole_kit() -> PartsSeen:
    return looked(the_kit())


def test_a_whole_kit_is_all_right() -> None:
    seen = whole_kit()
    assert seen.is_right, seen.sentence
    assert seen.sentence == "All 6 parts are there, each as ordered."
    assert {s.names[0] for s in seen.seen} == set(NAMES)
    assert all(0.9 < s.confidence <= 0.995 for s in seen.seen)
    assert seen.print_ratio == pytest.approx(1.0, abs=0.004)


def test_sizes_come_with_an_uncertainty_that_holds_them() -> None:
    for s in whole_kit().seen:
        assert s.scale_ratio is not None
        assert s.u_scale_ratio is not None
        assert abs(s.scale_ratio - 1.0) < 2.5 * s.u_scale_ratio
        assert s.u_scale_ratio < 0.012


def test_places_and_outlines_are_where_the_parts_are() -> None:
    seen = whole_kit()
    by_name = {s.names[0]: s for s in seen.seen}
    for name, (x, y) in zip(NAMES, PLACES, strict=True):
        s = by_name[name]
        assert np.hypot(s.x_mm - x, s.y_mm + y) < 12.0  # a tall part is seen away from its foot
        px = CAMERA.shown(np.array([[x, y, 8.0]]))[0]
        middle = np.mean(np.array(s.outline_px), axis=0)
        assert np.hypot(*(middle - px)) < 12.0 * seen.px_per_mm


def test_what_is_not_there_is_missing() -> None:
    seen = looked(the_kit()[1:])
    assert [m.names for m in seen.missing] == [("index_tip",)]
    assert not seen.is_right
    assert "1 not seen" in seen.sentence


def test_a_second_one_is_one_too_many() -> None:
    things = [*the_kit()[:3], (outline("middle_tip", PLACES[4], CAMERA, turn=2.0), BLUE)]
    seen = looked(things, expected=set(NAMES[:3]))
    assert seen.count(State.EXTRA) == 1
    assert not seen.missing
    assert next(s for s in seen.seen if s.state is State.EXTRA).names == ("middle_tip",)


def test_a_finger_part_in_the_thumbs_place_is_said_in_one_sentence() -> None:
    things = [*the_kit()[:3], (outline("index_proximal", PLACES[4], CAMERA, turn=2.0), BLUE)]
    seen = looked(things, expected=set(NAMES[:4]))
    assert [m.names for m in seen.missing] == [("thumb_proximal",)]
    assert "where thumb" in seen.sentence
    assert "index finger" in seen.sentence


@pytest.mark.parametrize("ratio", [0.93, 1.08])
def test_a_part_of_another_size_is_measured_and_not_right(ratio: float) -> None:
    seen = looked(
        [(outline("thumb_proximal", PLACES[2], CAMERA, scale=ratio), BLUE)], expected={"thumb_proximal"}
    )
    (only,) = seen.seen
    assert only.state is State.OTHER_SCALE
    assert only.scale_ratio == pytest.approx(ratio, abs=0.012)
    assert "times the ordered size" in only.reason


def test_a_part_of_the_other_hand_is_told() -> None:
    seen = looked(
        [(outline("tension_block", PLACES[2], CAMERA, mirrored=True), BLUE)], expected={"tension_block"}
    )
    assert [s.state for s in seen.seen] == [State.MIRRORED]
    right = looked([(outline("tension_block", PLACES[2], CAMERA), BLUE)], expected={"tension_block"})
    assert right.is_right


@pytest.mark.parametrize(
    "ring",
    [
        np.array([[50, -100], [92, -100], [92, -118], [50, -118.0]]),
        np.array([[70 + 14 * np.cos(t), -110 + 14 * np.sin(t)] for t in np.linspace(0, 6.2, 60)]),
        np.array([[50, -100], [90, -100], [90, -110], [62, -110], [62, -140], [50, -140.0]]),
    ],
    ids=["bar", "disc", "angle"],
)
def test_a_thing_that_is_no_part_is_never_called_right(ring: npt.NDArray[np.float64]) -> None:
    seen = looked([(ring[::-1], BLUE)])
    assert seen.count(State.RIGHT) == 0
    assert seen.seen[0].state in (State.FOREIGN, State.UNTOLD, State.OTHER_SCALE)


def test_two_parts_that_touch_are_not_called_right() -> None:
    one, other = (outline("index_tip", (90.0 + d, -150.0), CAMERA, turn=0.2) for d in (0.0, 13.0))
    seen = looked([(one, BLUE), (other, BLUE)])
    assert seen.count(State.RIGHT) == 0
    assert any(s.ask is not None and "apart" in s.ask.what for s in seen.seen)


def test_a_wrongly_scaled_print_is_noticed_at_the_papers_edges_and_corrected() -> None:
    seen = looked(the_kit()[:3], print_ratio=0.96, expected=set(NAMES[:3]))
    assert seen.print_is_wrong
    assert seen.print_ratio == pytest.approx(0.96, abs=0.004)
    assert "paper's edges" in seen.print_told_by
    assert any(f"printed at {100 * seen.print_ratio:.1f} % of its size" in n for n in seen.notes)
    assert seen.is_right, [(s.names, s.state, s.scale_ratio) for s in seen.seen]


def test_the_papers_edges_are_told_from_the_joints_of_tiles_that_run_along_them() -> None:
    """Half of each edge lies on tiles as light as the paper; the joints beyond it are the stronger lines."""
    camera = over(A4, height_mm=330.0)
    things = the_kit()[:3]
    tables = ((60, 60, 58), (205, 205, 203))
    dark, light = (drawn(A4, camera, things, print_ratio=0.96, table=t) for t in tables)
    high, wide = dark.shape[:2]
    corner = camera.shown(np.array([[0.0, 0.0, 0.0]]))[0]
    tile = 44
    x, y = (((np.arange(n) - c + 0.3 * tile) // tile) % 2 for n, c in ((wide, corner[0]), (high, corner[1])))
    tiled = np.where(((x[None] + y[:, None]) % 2 == 0)[..., None], dark, light)
    view = view_of(np.asarray(tiled[..., 1]), lens=Lens(f35_mm=26.0), where="drawn")
    flat = flattened(tiled, view)
    found, _ = print_scale(np.asarray(tiled[..., 1]), view, flat, patches(flat, view))
    assert found.told_by == ("paper's edges",)
    assert found.ratio == pytest.approx(0.96, abs=0.004)


def test_where_nothing_tells_the_prints_size_no_part_is_called_right() -> None:
    white_table = (232, 232, 230)
    seen = looked(the_kit()[:3], table=white_table, expected=set(NAMES[:3]))
    assert seen.print_told_by == ()
    assert seen.count(State.RIGHT) == 0
    assert any("Nothing in the photo tells" in n for n in seen.notes)
    told = looked(the_kit()[:3], table=white_table, expected=set(NAMES[:3]), bar_reading_mm=100.0)
    assert told.is_right
    assert told.print_told_by == ("caliper",)


def test_a_part_across_the_line_is_not_called_right() -> None:
    seen = looked([(outline("index_tip", (28.0, -150.0), CAMERA, turn=0.1), BLUE)], expected={"index_tip"})
    assert seen.count(State.RIGHT) == 0


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"expected": {"elbow"}}, 'no printed part "elbow"'),
        ({"scale_ratio": 2.0}, "made for 0.7 to 1.3"),
        ({"side": "middle"}, 'a hand is "right" or "left"'),
        ({"bar_reading_mm": 10.0}, "bar_reading_mm"),
    ],
)
def test_an_impossible_order_is_refused_with_its_reason(wrong: dict[str, object], words: str) -> None:
    order: dict[str, object] = {"scale_ratio": 1.0, "side": "right"} | wrong
    with pytest.raises(OutOfRange) as told:
        look_at_parts(drawn(A4, CAMERA), design=design(), **order)  # type: ignore[arg-type]
    assert words in str(told.value)


def test_an_empty_mat_has_nothing_and_all_is_missing() -> None:
    seen = looked([])
    assert seen.seen == ()
    assert sum(m.count for m in seen.missing) == 6


def test_a_thing_that_is_no_part_neither_fills_a_place_nor_makes_a_right_part_one_too_many() -> None:
    bar = np.array([[110.0, -200], [152, -200], [152, -218], [110, -218]])[::-1]
    seen = looked([*the_kit()[:2], (bar, BLUE)], expected=set(NAMES[:3]))
    assert seen.count(State.RIGHT) == 2
    assert seen.count(State.EXTRA) == 0
    assert [m.names for m in seen.missing] == [("index_proximal",)]
