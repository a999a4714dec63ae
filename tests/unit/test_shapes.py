"""Meshes of linden's parts: closed, of the right size and mass, mirrored for the other side."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from handsel.data.load_design import load_design
from handsel.design import fits
from handsel.design.outlines import lying_solid
from handsel.design.placing import placed
from handsel.design.shapes import mirrored, part_mesh, part_mesh_placed, part_solid, placed_pieces, surface
from handsel.design.weights import body_weights, part_weight
from handsel.errors import OutOfRange

LINDEN = load_design("linden")
NAMES = [p.name for p in LINDEN.parts]
FINGERS = ("index", "middle", "ring", "little")
SCALES = (0.7, 1.0, 1.3)


@cache
def hand(scale_ratio=1.0, side="right"):
    return placed(LINDEN, scale_ratio=scale_ratio, side=side)


def part(name, design=LINDEN):
    return next(p for p in design.parts if p.name == name)


def size(name, scale_ratio=1.0):
    return part_mesh(hand(scale_ratio), part(name, hand(scale_ratio))).extents


def measures(name):
    return dict(part(name).measures)


# ---- closed bodies ----------------------------------------------------------------------------


@pytest.mark.parametrize("side", ["right", "left"])
@pytest.mark.parametrize("scale_ratio", SCALES)
def test_every_part_is_one_closed_body(scale_ratio, side):
    design = hand(scale_ratio, side)
    for one in design.parts:
        mesh = part_mesh(design, one)
        assert mesh.is_watertight, one.name
        assert mesh.is_winding_consistent, one.name
        assert mesh.is_volume, one.name
        assert mesh.volume > 50.0, one.name  # signed: positive when the triangles face outward
        assert mesh.body_count == 1, one.name


def test_every_part_rests_on_a_flat_face():
    for one in LINDEN.parts:
        points, triangles = surface(lying_solid(LINDEN, one))
        corners = points[triangles]
        assert points[:, 2].min() == pytest.approx(0.0, abs=1e-9)
        on_bed = corners[:, :, 2].max(1) < 0.02
        area = (
            np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1) / 2
        )
        shadow = np.ptp(points[:, 0]) * np.ptp(points[:, 1])
        assert area[on_bed].sum() > 0.15 * shadow, one.name


# ---- sizes ------------------------------------------------------------------------------------


@pytest.mark.parametrize("scale_ratio", SCALES)
@pytest.mark.parametrize("digit", [*FINGERS, "thumb"])
def test_digit_parts_have_the_width_and_length_of_their_measures(digit, scale_ratio):
    design = hand(scale_ratio)
    for name in (f"{digit}_proximal", f"{digit}_tip"):
        mesh, m = part_mesh(design, part(name, design)), dict(part(name, design).measures)
        assert mesh.extents[1] == pytest.approx(m["width_mm"], abs=0.02)
        reach = m["length_mm"] + (m["lug_radius_mm"] if name.endswith("proximal") else 0.0)
        assert mesh.bounds[1][0] == pytest.approx(reach, abs=0.05)
        assert -mesh.bounds[0][2] >= m["pad_depth_mm"] - 0.5


@pytest.mark.parametrize("scale_ratio", SCALES)
def test_thumb_parts_are_clearly_wider_than_any_fingers(scale_ratio):
    for kind in ("proximal", "tip"):
        thumb = size(f"thumb_{kind}", scale_ratio)[1]
        widest = max(size(f"{finger}_{kind}", scale_ratio)[1] for finger in FINGERS)
        assert thumb > 1.15 * widest


def test_index_and_little_tips_are_short_middle_and_ring_tips_long():
    length = {finger: size(f"{finger}_tip")[0] for finger in FINGERS}
    assert length["index"] == pytest.approx(length["little"], abs=0.01)
    assert length["middle"] == pytest.approx(length["ring"], abs=0.01)
    assert length["middle"] > length["index"] + 4.0


def test_block_bar_and_carrier_keep_the_travel_of_the_screws_at_every_scale():
    for scale_ratio in SCALES:
        block = size("tension_block", scale_ratio)[0]
        others = block - LINDEN.slide("tension").max_mm
        assert others > 0.0
    grown = size("tension_block", 1.3)[0] - size("tension_block", 0.7)[0]
    assert grown < 0.6 * size("tension_block")[0]  # evenly scaled it would be exactly 0.6 of it


@pytest.mark.parametrize("scale_ratio", SCALES)
def test_pin_and_screw_holes_do_not_grow_with_the_hand(scale_ratio):
    design = hand(scale_ratio)
    tip = part("index_tip", design)
    across = dict(tip.measures)["tongue_width_mm"] / 4
    radii = _free_radii(part_solid(design, tip), (0.0, across, 0.0), axis=1)
    assert radii == pytest.approx(fits.PIN_HOLE_MM / 2, abs=0.03)
    block, pivot = part("tension_block", design), design.hinge("whippletree").origin_mm
    rear = part_solid(design, block).bounding_box()[0] + 2.0
    up = pivot[2] + dict(block.measures)["screw_up_mm"] - block.at_mm[2]
    for side in (-0.5, 0.5):
        at = (rear, side * design.slide("tension").screw_spacing_mm, up)
        radii = _free_radii(part_solid(design, block), at, axis=0)
        assert radii == pytest.approx(fits.SCREW_CLEARANCE_MM / 2, abs=0.03)


def _free_radii(solid, at, axis):
    """Distances from a point to the nearest wall, in twelve directions square to an axis."""
    other = [k for k in range(3) if k != axis]
    found = []
    for turn in np.linspace(0, 2 * np.pi, 13)[:-1]:
        end = np.array(at, float)
        end[other] += 30.0 * np.array([np.cos(turn), np.sin(turn)])
        hits = solid.ray_cast(tuple(map(float, at)), tuple(end))
        assert hits, "a hole has a wall all round"
        found.append(30.0 * min(h.distance for h in hits))
    return np.array(found)


def test_both_ends_of_a_proximal_part_are_bored_for_their_pins():
    one = part("ring_proximal")
    m = measures("ring_proximal")
    cheek = (m["tongue_width_mm"] / 2 + fits.SIDE_GAP_MM + m["width_mm"] / 2 - fits.PIN_RECESS_DEPTH_MM) / 2
    for at in ((0.0, m["tongue_width_mm"] / 4, 0.0), (m["length_mm"], cheek, 0.0)):
        assert _free_radii(part_solid(LINDEN, one), at, 1) == pytest.approx(fits.PIN_HOLE_MM / 2, abs=0.03)


@pytest.mark.parametrize("scale_ratio", SCALES)
def test_a_caliper_finds_the_reference_dimensions(scale_ratio):
    design = hand(scale_ratio)
    for check in design.reference_dimensions:
        found = _calipered(check.name, design, part(check.part, design), check.nominal_mm)
        assert found == pytest.approx(check.nominal_mm, abs=check.tolerance_mm / 4), check.name


def _calipered(name, design, one, nominal_mm):
    solid, mesh, m = part_solid(design, one), part_mesh(design, one), dict(one.measures)
    if name.endswith("tip_length"):
        shoulder = _first_hit(solid, (-40.0, 0.45 * m["width_mm"], 0.0), (40.0, 0.45 * m["width_mm"], 0.0))
        return mesh.bounds[1][0] - shoulder[0]
    if name == "palm_width":
        # on the flat of the cheek, between the pin's hole and the rounded edge
        below = -(fits.WRIST_PIN_HOLE_MM / 2 + m["wrist_boss_mm"] - m["edge_mm"]) / 2
        low, high = (_first_hit(solid, (0.0, s * 90.0, below), (0.0, 0.0, below)) for s in (-1, 1))
        return high[1] - low[1]
    if name in ("cuff_hole_spacing", "finger_pin_hole") or name.endswith("hole_spacing"):
        spots, axis = {
            "cuff_hole_spacing": ([(0.0, s * nominal_mm / 2, 0.0) for s in (-1, 1)], 2),
            "finger_pin_hole": ([(0.0, 1.2, 0.0)], 1),
        }.get(name, ([(0.0, 1.2, 0.0), (nominal_mm, 0.36 * m.get("width_mm", 0.0), 0.0)], 1))
        holes = [_free_radii(solid, spot, axis) for spot in spots]
        if name == "finger_pin_hole":
            return 2 * holes[0].mean()
        assert all(np.ptp(hole) < 0.06 for hole in holes), name  # a hole is round about each spot
        return np.abs(np.subtract(*spots))[1 if axis == 2 else 0]
    if name == "finger_hinge_pin_diameter":
        low, high = (_first_hit(solid, (s * 9.0, 0.0, 0.05), (0.0, 0.0, 0.05)) for s in (-1, 1))
        return high[0] - low[0]
    return mesh.extents[2 if name.endswith("thickness") else 1]


def _first_hit(solid, start, end):
    hits = solid.ray_cast(tuple(map(float, start)), tuple(map(float, end)))
    nearest = min(h.distance for h in hits)
    return np.array(start) + nearest * np.subtract(end, start)


def test_walls_are_three_lines_thick_where_it_counts():
    for digit in (*FINGERS, "thumb"):
        m = measures(f"{digit}_proximal")
        cheek = (m["width_mm"] - m["tongue_width_mm"]) / 2 - fits.SIDE_GAP_MM - fits.PIN_RECESS_DEPTH_MM
        assert cheek >= fits.MIN_WALL_MM
        solid = part_solid(LINDEN, part(f"{digit}_proximal"))
        # from inside the tongue's hole outward: first the wall begins, then it ends
        for turn in np.radians([90.0, 135.0, 180.0, 225.0, 270.0]):
            end = 30.0 * np.array([np.cos(turn), 0.0, np.sin(turn)]) + [0.0, 1.7, 0.0]
            hits = sorted(h.distance * 30.0 for h in solid.ray_cast((0.0, 1.7, 0.0), tuple(end)))
            assert hits[1] - hits[0] >= fits.MIN_WALL_MM - 0.02
    cuff = measures("cuff")["thickness_mm"]
    assert size("cuff")[2] == pytest.approx(cuff, abs=1e-6)
    assert measures("palm")["wall_mm"] >= fits.MIN_WALL_MM


# ---- sides ------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", NAMES)
def test_a_left_part_is_the_mirror_image_of_the_right_one(name):
    right, left = hand(1.15), hand(1.15, "left")
    a, b = part_mesh(right, part(name, right)), part_mesh(left, part(name, left))
    flipped = a.vertices * [1.0, -1.0, 1.0]
    assert np.abs(np.sort(flipped, axis=0) - np.sort(b.vertices, axis=0)).max() < 1e-6
    assert b.volume == pytest.approx(a.volume, rel=1e-9)
    assert b.center_mass == pytest.approx(a.center_mass * [1.0, -1.0, 1.0], abs=1e-6)


@pytest.mark.parametrize("scale_ratio", SCALES)
def test_a_hand_mirrored_twice_is_the_same_hand(scale_ratio):
    """So that what was made for one side is not made again for the other."""
    assert mirrored(hand(scale_ratio, "left")) == hand(scale_ratio)
    assert mirrored(hand(scale_ratio)) == hand(scale_ratio, "left")


def test_the_palm_is_no_mirror_image_of_itself():
    mesh = part_mesh(LINDEN, part("palm"))
    assert mesh.center_mass[1] > 2.0  # toward the thumb of a right hand
    assert part_mesh(hand(1.0, "left"), part("palm", hand(1.0, "left"))).center_mass[1] < -2.0


def test_a_left_hand_stands_mirrored_as_a_whole():
    right, left = hand(0.9), hand(0.9, "left")
    for name in ("palm", "thumb_tip", "index_proximal", "cuff", "tension_block", "wrist_pin"):
        a = part_mesh_placed(right, part(name, right))
        b = part_mesh_placed(left, part(name, left))
        assert b.bounds[:, ::2] == pytest.approx(a.bounds[:, ::2], abs=1e-4)
        assert b.bounds[:, 1] == pytest.approx(-a.bounds[::-1, 1], abs=1e-4)


# ---- masses -----------------------------------------------------------------------------------


def test_bodies_weigh_what_their_meshes_weigh():
    for name, weight in body_weights(LINDEN).items():
        body = LINDEN.body(name)
        assert body.printed_mass_g == pytest.approx(weight.mass_g, rel=0.005), name
        assert body.com_mm == pytest.approx(weight.com_mm, abs=0.05), name
    assert set(body_weights(LINDEN)) == {b.name for b in LINDEN.bodies}


def test_mass_and_centre_agree_with_another_integral():
    """trimesh integrates the same meshes on its own."""
    for name in ("palm", "thumb_proximal", "tension_block"):
        mesh, weight = part_mesh(LINDEN, part(name)), part_weight(LINDEN, part(name))
        assert weight.volume_mm3 == pytest.approx(mesh.volume, rel=1e-9)
        assert weight.com_mm == pytest.approx(mesh.center_mass, abs=1e-6)
        assert weight.mass_g == pytest.approx(1.24 * mesh.volume / 1000.0)


@pytest.mark.parametrize("scale_ratio", [0.7, 1.3])
def test_cubing_the_scale_foretells_masses_within_a_tenth(scale_ratio):
    """Holes and gaps keep their size, so small hands come out a little lighter than the cube says."""
    design = hand(scale_ratio)
    for name, weight in body_weights(design).items():
        if name not in ("whippletree", "thumb_pin"):  # a gram each, and mostly holes
            assert weight.mass_g == pytest.approx(design.body(name).printed_mass_g, rel=0.1), name


def test_bending_the_cuff_keeps_its_volume():
    flat = part_solid(LINDEN, part("cuff")).volume()
    assert part_solid(LINDEN, part("cuff"), formed=True).volume() == pytest.approx(flat, rel=0.01)


# ---- what is refused --------------------------------------------------------------------------


def changed(name, **values):
    kept = {k: v for k, v in measures(name).items() if values.get(k, 0.0) is not None}
    one = replace(
        part(name), measures=tuple((kept | {k: v for k, v in values.items() if v is not None}).items())
    )
    return replace(LINDEN, parts=tuple(one if p.name == name else p for p in LINDEN.parts)), one


def test_a_missing_measure_is_named():
    with pytest.raises(OutOfRange, match="index_tip.*nose_mm"):
        part_mesh(*changed("index_tip", nose_mm=None))


def test_a_measure_below_zero_is_named():
    with pytest.raises(OutOfRange, match="cuff.*thickness_mm is -3"):
        part_mesh(*changed("cuff", thickness_mm=-3.0))


def test_measures_that_give_pieces_are_refused():
    with pytest.raises(OutOfRange, match="do not give one solid body"):
        part_mesh(*changed("palm", finger_tongue_mm=30.0))


def test_an_unknown_shape_is_refused_with_those_there_are():
    with pytest.raises(OutOfRange, match='no shape "teapot".*whippletree'):
        part_mesh(LINDEN, replace(part("palm"), shape="teapot"))


def test_a_wrong_count_of_pins_is_refused():
    with pytest.raises(OutOfRange, match="count is 7.*8 places"):
        placed_pieces(LINDEN, replace(part("finger_hinge_pin"), count=7))


def test_pins_move_with_the_inner_part_of_their_hinge():
    bodies = [body for body, _ in placed_pieces(LINDEN, part("finger_hinge_pin"))]
    assert sorted(bodies) == sorted(["palm"] * 4 + [f"{finger}_proximal" for finger in FINGERS])


def test_nothing_heavy_is_loaded_before_a_part_is_made():
    code = (
        "import sys, handsel.design.shapes, handsel.design.outlines, handsel.data.part_export, "
        "handsel.data.part_outlines; "
        "print([m for m in ('manifold3d', 'trimesh', 'scipy') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
