"""Meshes of linden's parts: closed, of the right size, open for the cords, out of each other's way."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from functools import cache
from itertools import combinations

import numpy as np
import pytest

from handsel.data.load_design import load_design
from handsel.design import fits
from handsel.design.outlines import lying_solid
from handsel.design.part_frames import part_matrix, seats, turned
from handsel.design.placing import placed
from handsel.design.shapes import part_mesh, part_mesh_placed, part_solid, placed_pieces, surface
from handsel.design.solids import moved
from handsel.design.weights import body_weights, part_weight
from handsel.errors import OutOfRange

LINDEN = load_design("linden")
NAMES = [p.name for p in LINDEN.parts]
FINGERS = ("index", "middle", "ring", "little")
SCALES = (0.7, 1.0, 1.3)
OVERLAP_MM3 = 0.1  # what rounding of facets may leave where two parts pass each other


@cache
def hand(scale_ratio=1.0, side="right"):
    return placed(LINDEN, scale_ratio=scale_ratio, side=side)


def part(name, design=LINDEN):
    return next(p for p in design.parts if p.name == name)


def size(name, scale_ratio=1.0):
    return part_mesh(hand(scale_ratio), part(name, hand(scale_ratio))).extents


def measures(name):
    return dict(part(name).measures)


def winding(points, mesh):
    """How often a mesh goes round each point, by solid angles: 1 inside, 0 outside."""
    a, b, c = (mesh.triangles[None, :, k] - points[:, None] for k in range(3))
    la, lb, lc = (np.linalg.norm(v, axis=2) for v in (a, b, c))
    above = np.einsum("ijk,ijk->ij", a, np.cross(b, c))
    below = (
        la * lb * lc
        + np.einsum("ijk,ijk->ij", a, b) * lc
        + np.einsum("ijk,ijk->ij", b, c) * la
        + np.einsum("ijk,ijk->ij", c, a) * lb
    )
    return np.round(np.arctan2(above, below).sum(1) / (2 * np.pi)).astype(int)


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


# ---- cords ------------------------------------------------------------------------------------


def placed_all(design):
    return {p.name: part_mesh_placed(design, p) for p in design.parts}


@pytest.fixture(scope="module")
def straight():
    return placed_all(LINDEN)


def legs(design=LINDEN):
    return [leg for cord in design.cords for leg in cord.legs]


def along(a, b, step_mm=0.8):
    count = max(int(np.linalg.norm(np.subtract(b, a)) / step_mm), 3)
    return np.linspace(a, b, count)


@pytest.mark.parametrize("digit", [*FINGERS, "thumb"])
def test_a_cord_meets_no_part_along_its_whole_route(straight, digit):
    leg = next(leg for leg in legs() if leg.digit == digit)
    route = [p.at_mm for p in leg.points]
    spots = np.vstack([along(a, b) for a, b in zip(route[:-1], route[1:], strict=True)])
    for name in (
        "palm",
        f"{digit}_proximal",
        f"{digit}_tip",
        "tension_block",
        "whippletree",
        "thumb_tension_pin",
        "tension_carrier",
    ):
        assert (winding(spots, straight[name]) == 0).all(), name


@pytest.mark.parametrize("digit", [*FINGERS, "thumb"])
def test_a_cord_leaves_the_palm_by_a_hole_behind_the_knuckle(straight, digit):
    """Just behind its exit the cord has the palm's material all round it: it is a hole, not the gap."""
    leg = next(leg for leg in legs() if leg.digit == digit)
    guide, leave = (np.array(p.at_mm) for p in leg.points if p.body == "palm")
    way = (leave - guide) / np.linalg.norm(leave - guide)
    side = np.cross(way, [0.0, 1.0, 0.0] if digit != "thumb" else [1.0, 0.0, 0.0])
    side /= np.linalg.norm(side)
    across = np.cross(way, side)
    knuckle = np.array(LINDEN.hinge(f"{digit}_knuckle").origin_mm)
    assert np.linalg.norm(leave - knuckle) > 5.0
    turns = np.linspace(0, 2 * np.pi, 9)[:-1]
    ring = [leave - 3.0 * way + 1.5 * (np.cos(t) * side + np.sin(t) * across) for t in turns]
    assert winding(np.array(ring), straight["palm"]).tolist() == [1] * 8
    assert winding(np.array([leave - 3.0 * way]), straight["palm"]).tolist() == [0]


@pytest.mark.parametrize("digit", [*FINGERS, "thumb"])
def test_a_bent_cord_runs_free_between_the_parts(straight, digit):
    """From exit to entry, with the joint bent anywhere in its travel, it crosses neither part."""
    leg = next(leg for leg in legs() if leg.digit == digit)
    for hinge_name in (f"{digit}_knuckle", f"{digit}_middle_joint"):
        hinge = LINDEN.hinge(hinge_name)
        leave = np.array([p.at_mm for p in leg.points if p.body == hinge.parent][-1])
        enter = np.array([p.at_mm for p in leg.points if p.body == hinge.child][0])
        for angle in np.linspace(hinge.min_deg, hinge.max_deg, 6):
            spots = along(leave, turned(enter, hinge, float(angle))[0], 0.5)
            assert (winding(spots, straight[hinge.parent]) == 0).all(), (hinge_name, angle)
            seen = turned(spots, hinge, -float(angle))
            assert (winding(seen, straight[hinge.child]) == 0).all(), (hinge_name, angle)


def test_an_elastic_bears_on_the_tongue_that_its_wrap_says(straight):
    """Over the knuckle, the material ends an elastic's half thickness below the wrap's radius."""
    for elastic in LINDEN.elastics:
        for wrap in elastic.wraps:
            hinge = LINDEN.hinge(wrap.hinge)
            matrix = part_matrix(LINDEN, part(hinge.child))
            back = matrix[:3, 2]
            bearing = wrap.radius_mm - fits.ELASTIC_MM / 2
            spots = np.array([np.array(hinge.origin_mm) + (bearing + d) * back for d in (-0.15, 0.1)])
            assert winding(spots, straight[hinge.child]).tolist() == [1, 0], wrap.hinge


# ---- together ---------------------------------------------------------------------------------


def solids(design):
    found = {}
    for one in design.parts:
        solid = part_solid(design, one, formed=True)
        for k, seat in enumerate(seats(design, one)):
            found[f"{one.name} {k + 1}"] = (seat.body, moved(solid, seat.matrix))
    return found


def overlap(a, b):
    return (a ^ b).volume()


def turn_matrix(hinge, angle_deg):
    ends = turned(np.vstack([np.zeros(3), np.eye(3)]), hinge, angle_deg)
    matrix = np.eye(4)
    matrix[:3, :3] = (ends[1:] - ends[0]).T
    matrix[:3, 3] = ends[0]
    return matrix


@pytest.mark.parametrize("scale_ratio", SCALES)
def test_no_part_is_inside_another(scale_ratio):
    every = solids(hand(scale_ratio))
    for (a, (_, one)), (b, (_, two)) in combinations(every.items(), 2):
        assert overlap(one, two) < OVERLAP_MM3, (a, b)


@pytest.mark.parametrize("scale_ratio", SCALES)
def test_digits_bend_through_their_whole_travel(scale_ratio):
    design = hand(scale_ratio)
    every = solids(design)
    for digit in design.digits:
        for name in (digit.proximal_hinge, digit.tip_hinge):
            hinge = design.hinge(name)
            child, parent = every[f"{hinge.child} 1"][1], every[f"{hinge.parent} 1"][1]
            for angle in np.linspace(hinge.min_deg, hinge.max_deg, 6):
                bent = moved(child, turn_matrix(hinge, float(angle)))
                assert overlap(bent, parent) < OVERLAP_MM3, (name, angle)


def test_a_digit_cannot_bend_backward():
    """Five degrees beyond straight, the shoulder of the outer part runs into the fork."""
    every = solids(LINDEN)
    for digit in LINDEN.digits:
        for name in (digit.proximal_hinge, digit.tip_hinge):
            hinge = LINDEN.hinge(name)
            child, parent = every[f"{hinge.child} 1"][1], every[f"{hinge.parent} 1"][1]
            assert overlap(moved(child, turn_matrix(hinge, -5.0)), parent) > 0.3, name


@pytest.mark.parametrize("scale_ratio", SCALES)
def test_the_cuff_turns_free_of_the_palm(scale_ratio):
    design = hand(scale_ratio)
    every, wrist = solids(design), design.hinge("wrist")
    on_cuff = [s for body, s in every.values() if body in ("cuff", "whippletree", "thumb_pin")]
    rest = [s for body, s in every.values() if body not in ("cuff", "whippletree", "thumb_pin")]
    for angle in (wrist.min_deg, -40.0, 36.0, 60.0, wrist.max_deg):
        turn = turn_matrix(wrist, angle)
        worst = max(overlap(moved(a, turn), b) for a in on_cuff for b in rest)
        assert worst < OVERLAP_MM3, angle


@pytest.mark.parametrize("scale_ratio", SCALES)
def test_bar_carrier_and_thumb_pin_move_free_in_the_block(scale_ratio):
    design = hand(scale_ratio)
    every, hinge = solids(design), design.hinge("whippletree")
    block, bar, carrier = (every[f"{n} 1"][1] for n in ("tension_block", "whippletree", "tension_carrier"))
    tension, pin = design.slide("tension"), design.slide("thumb_pin")

    def pulled(solid, slide, travel_mm):
        return solid.translate(tuple(travel_mm * np.array(slide.direction)))

    for travel in (tension.min_mm, tension.max_mm):
        held = pulled(carrier, tension, travel)
        assert overlap(held, block) < OVERLAP_MM3
        for tilt in (hinge.min_deg, 0.0, hinge.max_deg):
            rocked = pulled(moved(bar, turn_matrix(hinge, tilt)), tension, travel)
            assert overlap(rocked, block) < OVERLAP_MM3, (travel, tilt)
            assert overlap(rocked, held) < OVERLAP_MM3, (travel, tilt)
    for travel in (pin.min_mm, 0.0, pin.max_mm):
        assert overlap(pulled(every["thumb_tension_pin 1"][1], pin, travel), block) < OVERLAP_MM3


def test_at_rest_bar_and_thumb_pin_are_in_line_with_the_blocks_front(straight):
    front = straight["tension_block"].bounds[1][0]
    assert straight["whippletree"].bounds[1][0] == pytest.approx(front, abs=0.05)
    assert straight["thumb_tension_pin"].bounds[1][0] == pytest.approx(front, abs=0.05)


def test_tag_cards_have_flat_seats_facing_the_little_fingers_side(straight):
    half = fits.TAG_CARD_MM / 2
    for pad, name in zip(LINDEN.tag_pads, ("palm", "tension_block"), strict=True):
        assert pad.normal == (0.0, -1.0, 0.0)
        assert pad.turn_deg == 0.0
        corners = [(x, z) for x in (-half, 0.0, half) for z in (-half, 0.0, half)]
        inside = np.array([np.add(pad.centre_mm, (x, 0.1, z)) for x, z in corners])
        outside = np.array([np.add(pad.centre_mm, (x, -0.1, z)) for x, z in corners])
        assert winding(inside, straight[name]).tolist() == [1] * 9, name
        for mesh in straight.values():
            assert (winding(outside, mesh) == 0).all()


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
