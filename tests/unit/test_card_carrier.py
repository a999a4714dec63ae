"""The bracket for the cuff's card: one closed body whose seat holds a card square to the cuff's back."""

from __future__ import annotations

from io import BytesIO

import numpy as np
import pytest
import trimesh

from handsel.data import carrier_file as carrier_module
from handsel.data.carrier_file import carrier_file
from handsel.data.load_design import load_design
from handsel.design import fits
from handsel.design.card_carrier import (
    BELOW_MM,
    DEEP_MM,
    FILLET_MM,
    LENGTH_MM,
    PLATE_MM,
    SEAT_DEEP_MM,
    WALL_MM,
    card_carrier,
)
from handsel.design.shapes import surface
from handsel.design.sizes import Sizes
from handsel.errors import HandselError, OutOfRange
from handsel.vision.cards import CARD_MM


@pytest.fixture(scope="module")
def solid():
    return card_carrier()


def _section(solid, at, normal):
    """Rings of a cut across x, y or z at a place."""
    order = {"x": (1, 2, 0), "y": (2, 0, 1), "z": (0, 1, 2)}[normal]
    turn = np.zeros((3, 4))
    for row, axis in enumerate(order):
        turn[row, axis] = 1.0
    return [np.asarray(r) for r in solid.transform(turn).slice(at).to_polygons()]


def test_it_is_one_closed_body_on_the_bed(solid):
    assert len(solid.decompose()) == 1
    x0, y0, z0, x1, y1, z1 = solid.bounding_box()
    assert (x0, x1) == pytest.approx((-LENGTH_MM / 2, LENGTH_MM / 2))
    assert (y0, y1) == pytest.approx((-DEEP_MM, 0.0))
    assert z0 == pytest.approx(0.0)
    assert 25 < z1 < 35
    points, triangles = surface(solid)
    edges = np.sort(triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    assert (np.unique(edges, axis=0, return_counts=True)[1] == 2).all()
    assert 3000 < solid.volume() < 9000


def test_the_seat_fits_a_card_and_its_edges_run_along_the_cuffs_back(solid):
    # just under the outer face the cut shows the wall with the seat as a hole or a bay
    rings = _section(solid, -SEAT_DEEP_MM / 2, "y")
    hole = min(rings, key=lambda r: np.ptp(r[:, 0]) * np.ptp(r[:, 1]))
    sizes = np.ptp(hole, axis=0)
    assert sizes == pytest.approx([CARD_MM + 0.3] * 2, abs=0.01)
    z, x = (hole.min(0) + hole.max(0)) / 2
    assert x == pytest.approx(0.0, abs=1e-6)
    assert z == pytest.approx(PLATE_MM + BELOW_MM, abs=1e-6)
    inside = np.abs(hole - (hole.min(0) + hole.max(0)) / 2)
    assert inside.max(1) == pytest.approx((CARD_MM + 0.3) / 2, abs=1e-5)  # a square, its sides along x and z


def test_it_is_alike_toward_both_ends(solid):
    other = solid.mirror((1.0, 0.0, 0.0))
    assert (solid - other).volume() == pytest.approx(0.0, abs=1e-6)


def test_the_plate_rests_flat_on_the_back_of_every_cuff_size():
    design = load_design("linden")
    cuff = Sizes(next(p for p in design.parts if p.shape == "cuff"))
    for scale in (design.scale_min_ratio, 1.0, design.scale_max_ratio):
        outer_mm = scale * (cuff["bend_radius_mm"] + cuff["thickness_mm"] / 2)
        assert outer_mm > FILLET_MM  # the corner clears the bend
        on_flat_mm = DEEP_MM - WALL_MM - outer_mm
        assert on_flat_mm > 20.0
        assert on_flat_mm < 2 * scale * cuff["bend_from_mm"]  # and ends on the back


def test_the_card_and_the_seats_of_a_hand_are_of_one_size():
    assert fits.TAG_CARD_MM == CARD_MM


@pytest.mark.parametrize("fmt", ["stl", "3mf"])
def test_a_file_reads_back_as_the_same_closed_body(solid, fmt):
    back = trimesh.load(BytesIO(carrier_file(fmt)), file_type=fmt)
    if fmt == "3mf":
        assert back.units in ("mm", "millimeter")
        (back,) = back.geometry.values()
    assert back.is_volume
    assert back.volume == pytest.approx(solid.volume(), rel=1e-4)
    assert carrier_file(fmt) == carrier_file(fmt)


def test_another_format_is_refused():
    with pytest.raises(OutOfRange, match="stl"):
        carrier_file("obj")


def test_where_solids_cannot_be_made_it_says_what_to_install(monkeypatch):
    monkeypatch.setattr(carrier_module, "find_spec", lambda name: None)
    with pytest.raises(HandselError, match=r"handsel\[meshes\]"):
        carrier_file("3mf")
