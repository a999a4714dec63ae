"""How linden looks from its sides: the cached outlines belong to the design as it is."""

from __future__ import annotations

import json

import numpy as np
import pytest

from handsel.data import part_sides
from handsel.data.load_design import load_design
from handsel.data.part_outlines import load_outlines
from handsel.data.part_sides import load_sides
from handsel.errors import BadFile


def test_it_is_drawn_from_this_version_at_its_rest_angle() -> None:
    design, sides = load_design("linden"), load_sides("linden")
    assert (sides.design, sides.version) == (design.name, design.version)
    assert sides.wrist_deg == design.target_rest_angle_deg
    wanted = sorted(p.name for p in design.parts if p.printed for _ in range(p.count))
    assert sorted(p.part for p in sides.piece) == wanted


def test_the_palm_is_as_long_and_as_high_as_when_it_lies_on_its_side() -> None:
    lying = np.array(next(o for o in load_outlines("linden") if o.name == "palm").outline_mm)
    piece = next(p for p in load_sides("linden").piece if p.part == "palm")
    seen = np.vstack([np.array(r) for r in piece.rings_mm])
    assert np.ptp(seen[:, 0]) == pytest.approx(np.ptp(lying[:, 0]), abs=0.3)
    assert np.ptp(seen[:, 1]) == pytest.approx(np.ptp(lying[:, 1]), abs=0.3)


def test_the_cuff_is_raised_by_the_rest_angle() -> None:
    """Its strap slots and openings lie in rows along it: the middles of the holes run at that angle."""
    sides = load_sides("linden")
    cuff = next(p for p in sides.piece if p.part == "cuff")
    holes = [np.array(r) for r in cuff.rings_mm if _area_mm2(r) < 0]
    openings = sorted(holes, key=lambda h: abs(_area_mm2(h)))[-4:]
    middles = np.array([(h.min(0) + h.max(0)) / 2 for h in openings])
    slope = np.polyfit(middles[:, 0], middles[:, 1], 1)[0]
    assert np.degrees(np.arctan(-slope)) == pytest.approx(sides.wrist_deg, abs=1.0)


def _area_mm2(ring: object) -> float:
    x, y = np.array(ring).T
    return float((x * np.roll(y, -1) - y * np.roll(x, -1)).sum()) / 2.0


@pytest.mark.parametrize("text", ["no json", "[]", json.dumps({"format": "handsel-sides/1"}), "\ufffd", ""])
def test_a_spoiled_file_is_named(text: str, tmp_path, monkeypatch) -> None:
    (tmp_path / "linden-sides.json").write_text(text, encoding="utf-8")
    monkeypatch.setattr(part_sides, "BUNDLED", tmp_path)
    with pytest.raises(BadFile, match=r"linden-sides\.json"):
        load_sides("linden")


def test_a_design_without_the_file_is_named() -> None:
    with pytest.raises(BadFile, match="maple-sides"):
        load_sides("maple")
