"""linden's parts as solids: closed, left and right, with the cord's way through them."""

from __future__ import annotations

import io
from dataclasses import replace

import numpy as np
import pytest
import trimesh

from handsel.data.load_design import load_design
from handsel.data.part_export import export_parts
from handsel.data.part_outlines import load_outlines
from handsel.design.placing import placed
from handsel.design.shapes import part_mesh, part_mesh_placed

LINDEN = load_design("linden")
PRINTED = [p for p in LINDEN.parts if p.printed]
QUICK = [p for p in PRINTED if p.name != "palm"]  # the palm alone takes longer than all others


def by_name(design, name):
    return next(p for p in design.parts if p.name == name)


def width(name):
    return part_mesh(LINDEN, by_name(LINDEN, name)).extents[1]


def winding(mesh, points):
    """1 inside the solid, 0 outside: solid angles of the triangles (van Oosterom and Strackee 1983)."""
    a, b, c = (mesh.triangles[None, :, k] - points[:, None] for k in range(3))
    la, lb, lc = (np.linalg.norm(v, axis=-1) for v in (a, b, c))
    top = (a * np.cross(b, c)).sum(-1)
    under = la * lb * lc + (a * b).sum(-1) * lc + (b * c).sum(-1) * la + (c * a).sum(-1) * lb
    return np.arctan2(top, under).sum(-1) / (2.0 * np.pi)


def across(digit):
    hinge = next(d.proximal_hinge for d in LINDEN.digits if d.name == digit)
    return np.array(LINDEN.hinge(hinge).axis)


@pytest.mark.parametrize("part", PRINTED, ids=lambda p: p.name)
def test_every_part_is_one_closed_solid(part):
    mesh = part_mesh(LINDEN, part)
    assert mesh.is_watertight
    assert mesh.is_volume
    assert mesh.volume > 50.0
    assert mesh.body_count == 1


def test_every_body_of_the_design_has_a_printed_part():
    assert {b.name for b in LINDEN.bodies} <= {p.body for p in PRINTED}


def test_thumb_parts_are_wider_than_any_fingers():
    fingers = ("index", "middle", "ring", "little")
    for segment in ("proximal", "tip"):
        widest = max(width(f"{finger}_{segment}") for finger in fingers)
        assert width(f"thumb_{segment}") > widest + 2.0


def test_tips_are_short_on_index_and_little_and_long_on_middle_and_ring():
    long = {
        f: part_mesh(LINDEN, by_name(LINDEN, f"{f}_tip")).extents[0]
        for f in ("index", "middle", "ring", "little")
    }
    assert max(long["index"], long["little"]) + 4.0 < min(long["middle"], long["ring"])


@pytest.mark.parametrize("name", ["thumb_proximal", "tension_block", "cuff"])
def test_a_left_part_is_the_mirror_of_the_right_one(name):
    left = placed(LINDEN, scale_ratio=1.0, side="left")
    right_mesh = part_mesh_placed(LINDEN, by_name(LINDEN, name))
    left_mesh = part_mesh_placed(left, by_name(left, name))
    assert left_mesh.is_volume
    assert left_mesh.volume == pytest.approx(right_mesh.volume, rel=1e-4)
    low, high = right_mesh.bounds
    mirrored = np.array([[low[0], -high[1], low[2]], [high[0], -low[1], high[2]]])
    assert left_mesh.bounds == pytest.approx(mirrored, abs=0.02)


@pytest.mark.parametrize("part", QUICK, ids=lambda p: p.name)
def test_parts_grow_with_the_scale(part):
    large = placed(LINDEN, scale_ratio=1.3, side="right")
    ratio = part_mesh(large, by_name(large, part.name)).volume / part_mesh(LINDEN, part).volume
    assert 1.0 <= ratio < 1.3**3 * 1.25  # holes for hardware do not grow, so walls gain a little


@pytest.mark.parametrize("digit", ["index", "ring", "thumb"])
def test_the_cord_has_a_way_through_the_digit(digit):
    leg = next(leg for cord in LINDEN.cords for leg in cord.legs if leg.digit == digit)
    inside = [np.array(p.at_mm) for p in leg.points if p.body == f"{digit}_proximal"]
    mesh = part_mesh_placed(LINDEN, by_name(LINDEN, f"{digit}_proximal"))
    along = np.linspace(inside[0], inside[-1], 9)
    assert (winding(mesh, along) < 0.5).all()  # the cord runs in the open
    beside = along + 2.6 * across(digit)
    assert (winding(mesh, beside) > 0.5).any()  # and there is plastic beside it


def test_masses_of_the_design_are_those_of_its_parts():
    for digit in LINDEN.digits:
        for hinge in (digit.proximal_hinge, digit.tip_hinge):
            body = LINDEN.body(LINDEN.hinge(hinge).child)
            volume_mm3 = sum(part_mesh(LINDEN, p).volume * p.count for p in PRINTED if p.body == body.name)
            assert body.printed_mass_g == pytest.approx(volume_mm3 * 1.24e-3, rel=0.12)  # PLA, 1.24 g/cm3


@pytest.mark.parametrize("fmt", ["stl", "3mf"])
def test_files_read_back_as_the_same_solid(fmt, tmp_path):
    few = replace(LINDEN, parts=tuple(p for p in LINDEN.parts if p.name in {"thumb_tip", "whippletree"}))
    files = export_parts(few, tmp_path, fmt)
    assert len(files) == 2
    for path in files:
        name = next(p.name for p in few.parts if p.name in path.name)
        again = trimesh.load(io.BytesIO(path.read_bytes()), file_type=fmt, force="mesh", process=False)
        mesh = part_mesh(LINDEN, by_name(LINDEN, name))
        assert fmt == "stl" or again.is_watertight  # STL knows no shared corners
        assert again.volume == pytest.approx(mesh.volume, rel=1e-3)
        assert sorted(again.extents) == pytest.approx(sorted(mesh.extents), abs=0.01)


def test_outlines_are_there_for_every_part_and_keep_its_size():
    outlines = {o.name: o for o in load_outlines("linden")}
    assert {p.name for p in PRINTED} <= set(outlines)
