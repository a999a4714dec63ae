"""How linden's parts go together: cords run free in their holes, and no part is in another's way."""

from __future__ import annotations

from functools import cache
from itertools import combinations

import numpy as np
import pytest

from handsel.data.load_design import load_design
from handsel.design import fits
from handsel.design.part_frames import part_matrix, seats, turned
from handsel.design.placing import placed
from handsel.design.shapes import part_mesh_placed, part_solid
from handsel.design.solids import moved

LINDEN = load_design("linden")
FINGERS = ("index", "middle", "ring", "little")
SCALES = (0.7, 1.0, 1.3)
OVERLAP_MM3 = 0.1  # what rounding of facets may leave where two parts pass each other


@cache
def hand(scale_ratio=1.0, side="right"):
    return placed(LINDEN, scale_ratio=scale_ratio, side=side)


def part(name, design=LINDEN):
    return next(p for p in design.parts if p.name == name)


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
