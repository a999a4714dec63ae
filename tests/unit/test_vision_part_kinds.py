"""Kinds of parts: alike ones together, sides told from the solid, outlines as a near camera sees them."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from handsel.data.load_design import load_design
from handsel.design.model import Design
from handsel.design.placing import placed
from handsel.design.shapes import part_solid
from handsel.vision.parts.kinds import Kind, even_points, handedness, kinds_of, outline_seen
from handsel.vision.parts.silhouette import ring_area_mm2

NAMES = ("index_proximal", "middle_proximal", "index_tip", "middle_tip", "thumb_tip", "tension_block")


@cache
def design() -> Design:
    """The bundled design with only some of its parts, for speed."""
    whole = load_design("linden")
    return replace(whole, parts=tuple(p for p in whole.parts if p.name in NAMES))


@cache
def kinds(scale: float = 1.0, side: str = "right") -> dict[str, Kind]:
    return {k.names[0]: k for k in kinds_of(design(), scale, side)}


def test_parts_of_one_shape_are_one_kind_with_all_their_copies() -> None:
    found = kinds()
    assert found["index_proximal"].names == ("index_proximal", "middle_proximal")
    assert found["index_proximal"].count == 2
    assert "middle_proximal" not in found
    assert "middle_tip" in found


def test_only_parts_that_differ_from_their_mirror_image_have_a_side() -> None:
    found = kinds()
    assert found["tension_block"].has_side
    assert not any(found[n].has_side for n in ("index_proximal", "index_tip", "thumb_tip"))
    assert {p.mirrored for p in found["tension_block"].poses} == {False, True}
    assert {p.mirrored for p in found["index_tip"].poses} == {False}


def test_handedness_is_the_same_whichever_way_a_body_is_turned() -> None:
    hand = placed(design(), scale_ratio=1.0, side="right")
    block = next(p for p in hand.parts if p.name == "tension_block")
    solid = part_solid(hand, block)
    turned = solid.rotate((20.0, 50.0, -70.0)).translate((30.0, -4.0, 9.0))
    assert handedness(turned) == pytest.approx(handedness(solid), rel=0.02)
    assert handedness(solid.mirror((1.0, 0.0, 0.0))) == pytest.approx(handedness(solid), rel=0.02)
    both = solid + solid.mirror((0.0, 1.0, 0.0))
    assert handedness(both) < 0.1 * handedness(solid)


@pytest.mark.parametrize("scale", [0.75, 1.0, 1.25])
def test_a_part_lies_on_the_face_opposite_its_flat_side_though_two_pieces_of_it_nearly_agree(scale: float) -> None:
    """The carrier's crossbar stands a little before its stem: between the hull's two faces there is no rest."""
    whole = load_design("linden")
    only = replace(whole, parts=tuple(p for p in whole.parts if p.name == "tension_carrier"))
    (carrier,) = kinds_of(only, scale, "right")
    flat = next(p for p in carrier.poses if p.on_flat_side)
    other = [p for p in carrier.poses if not p.on_flat_side and abs(p.height_mm - flat.height_mm) < 0.3]
    assert len(other) == 1


def test_a_block_may_lie_on_its_slanted_face() -> None:
    heights = {round(p.height_mm, 1) for p in kinds()["tension_block"].poses}
    assert 36.3 in heights


def test_every_kind_lies_on_its_flat_side_among_others() -> None:
    for kind in kinds().values():
        assert sum(p.on_flat_side for p in kind.poses if not p.mirrored) >= 1, kind.name
        assert len([p for p in kind.poses if not p.mirrored]) >= 2, kind.name


@pytest.mark.parametrize("name", ["index_tip", "tension_block"])
def test_from_far_away_the_outline_is_the_drawing_from_above(name: str) -> None:
    pose = kinds()[name].poses[0]
    seen = outline_seen(pose, at_mm=np.zeros(2), turn_rad=0.0, camera_mm=np.array([0.0, 0.0, 1e7]))
    assert ring_area_mm2(seen) == pytest.approx(ring_area_mm2(pose.outline_mm), rel=1e-3)


def test_from_near_by_the_outline_is_larger_and_leans_away() -> None:
    pose = kinds()["index_tip"].poses[0]
    camera = np.array([-150.0, 0.0, 300.0])
    seen = outline_seen(pose, at_mm=np.zeros(2), turn_rad=0.0, camera_mm=camera)
    assert ring_area_mm2(seen) > 1.05 * ring_area_mm2(pose.outline_mm)
    assert (
        seen[:, 0].max() - pose.outline_mm[:, 0].max() > 2.0 > pose.outline_mm[:, 0].min() - seen[:, 0].min()
    )


def test_an_outline_grows_with_the_size_of_its_part() -> None:
    pose = kinds()["thumb_tip"].poses[0]
    camera = np.array([0.0, 0.0, 1e7])
    one, more = (
        outline_seen(pose, at_mm=np.array([5.0, 7.0]), turn_rad=0.4, camera_mm=camera, scale=s)
        for s in (1.0, 1.2)
    )
    assert ring_area_mm2(more) == pytest.approx(1.44 * ring_area_mm2(one), rel=1e-3)


def test_a_left_part_is_the_mirror_image_of_the_right_one() -> None:
    right, left = kinds()["tension_block"], kinds(1.0, "left")["tension_block"]
    mine = next(p for p in right.poses if p.on_flat_side and p.mirrored)
    other = next(p for p in left.poses if p.on_flat_side and not p.mirrored)
    ways = np.linspace(0, 2 * np.pi, 180, endpoint=False)
    rim = np.vstack([np.cos(ways), np.sin(ways)])
    wide_mine, wide_other = (np.ptp(p.outline_mm @ rim, axis=0) for p in (mine, other))
    best = min(float(np.abs(wide_mine - np.roll(wide_other, k)).max()) for k in range(180))
    assert best < 0.3


def test_points_along_a_line_are_evenly_apart() -> None:
    square = np.array([[0, 0], [4, 0], [4, 2], [0, 2.0]])
    points = even_points(square, 24)
    gaps = np.abs(np.diff(points, axis=0)).sum(1)
    assert gaps == pytest.approx(0.5)
