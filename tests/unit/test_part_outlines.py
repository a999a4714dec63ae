"""Cached outlines and masses: they are those of the meshes, and a broken file is refused."""

from __future__ import annotations

import json

import numpy as np
import pytest

from handsel.data.load_design import BUNDLED, load_design
from handsel.data.part_outlines import load_outlines, outlines_text
from handsel.design.outlines import lying_solid, outline_placed, part_outline
from handsel.design.placing import placed
from handsel.design.weights import PLA_G_PER_CM3
from handsel.errors import BadFile

LINDEN = load_design("linden")
CACHED = {o.name: o for o in load_outlines("linden")}
FINGERS = ("index", "middle", "ring", "little")


def part(name, design=LINDEN):
    return next(p for p in design.parts if p.name == name)


def area(ring):
    x, y = np.array(ring).T
    return (x * np.roll(y, -1) - y * np.roll(x, -1)).sum() / 2


def span(ring):
    return np.ptp(np.array(ring), axis=0)


def test_every_printed_part_has_its_outline_in_the_designs_order():
    assert list(CACHED) == [p.name for p in LINDEN.parts if p.printed]


def test_the_file_belongs_to_this_version_of_the_design():
    head = json.loads((BUNDLED / "linden-outlines.json").read_text(encoding="utf-8"))
    assert (head["design"], head["version"]) == (LINDEN.name, LINDEN.version)
    assert head["density_g_per_cm3"] == PLA_G_PER_CM3


def test_cached_outlines_are_those_of_the_meshes():
    for name, cached in CACHED.items():
        fresh = part_outline(LINDEN, part(name))
        assert fresh.mass_g == pytest.approx(cached.mass_g, rel=1e-3), name
        assert fresh.com_mm == pytest.approx(cached.com_mm, abs=0.01), name
        assert area(fresh.outline_mm) == pytest.approx(area(cached.outline_mm), rel=1e-3), name
        assert span(fresh.outline_mm) == pytest.approx(span(cached.outline_mm), abs=0.06), name
        assert len(fresh.holes_mm) == len(cached.holes_mm), name


def test_points_are_rounded_and_go_round_the_right_way():
    for outline in CACHED.values():
        points = np.array(outline.outline_mm)
        assert np.abs(points / 0.05 - np.round(points / 0.05)).max() < 1e-6
        assert area(outline.outline_mm) > 0
        assert all(area(hole) < 0 for hole in outline.holes_mm)


def test_outline_less_holes_is_the_shadow_of_the_part():
    for name in ("cuff", "thumb_tip", "palm"):
        outline = CACHED[name]
        shown = area(outline.outline_mm) + sum(area(h) for h in outline.holes_mm)
        points = np.asarray(lying_solid(LINDEN, part(name)).bounding_box())
        assert span(outline.outline_mm) == pytest.approx(points[3:5] - points[:2], abs=0.1)
        if name == "cuff":  # a flat plate: its shadow is its volume over its thickness
            assert shown == pytest.approx(outline.volume_mm3 / 3.0, rel=2e-3)


def test_cuff_shows_slots_and_pin_holes():
    assert len(CACHED["cuff"].holes_mm) == 2 + 4 + 8 + 1  # pins, strap slots, openings, slide


def test_thumb_outlines_are_wider_than_any_fingers():
    for kind in ("proximal", "tip"):
        widest = max(span(CACHED[f"{f}_{kind}"].outline_mm)[1] for f in FINGERS)
        assert span(CACHED[f"thumb_{kind}"].outline_mm)[1] > 1.15 * widest


@pytest.mark.parametrize(("scale_ratio", "side"), [(0.8, "left"), (1.2, "right")])
def test_a_placed_outline_is_near_the_outline_of_the_placed_part(scale_ratio, side):
    design = placed(LINDEN, scale_ratio=scale_ratio, side=side)
    for name in ("thumb_proximal", "cuff", "palm", "index_tip"):
        told = outline_placed(CACHED[name], scale_ratio=scale_ratio, side=side)
        made = part_outline(design, part(name, design))
        assert area(told.outline_mm) > 0
        a, b = np.array(told.outline_mm), np.array(made.outline_mm)
        assert a.min(0) == pytest.approx(b.min(0), abs=0.6), name
        assert a.max(0) == pytest.approx(b.max(0), abs=0.6), name
        assert told.com_mm == pytest.approx(made.com_mm, abs=0.8), name
        assert told.mass_g == pytest.approx(made.mass_g, rel=0.1), name


def test_text_and_file_agree(tmp_path):
    path = tmp_path / "copy.json"
    path.write_text(outlines_text(LINDEN, list(CACHED.values()), PLA_G_PER_CM3), encoding="utf-8")
    assert {o.name: o for o in load_outlines(path)} == CACHED


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("{", "not a JSON file"),
        ("[1, 2]", "holds no table"),
        ("[" * 100_000, "not a JSON file"),
        ('{"format": "handsel-outlines/9"}', "handsel-outlines"),
    ],
)
def test_broken_files_are_refused(tmp_path, text, words):
    path = tmp_path / "broken.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(BadFile, match=words):
        load_outlines(path)


def test_binary_noise_and_a_missing_file_are_refused(tmp_path):
    path = tmp_path / "noise.json"
    path.write_bytes(bytes(range(256)))
    with pytest.raises(BadFile, match="not a JSON file"):
        load_outlines(path)
    with pytest.raises(BadFile, match="cannot be read"):
        load_outlines(tmp_path / "nowhere.json")


def test_a_mass_below_zero_is_named(tmp_path):
    data = json.loads((BUNDLED / "linden-outlines.json").read_text(encoding="utf-8"))
    data["part"][3]["mass_g"] = -1.0
    path = tmp_path / "light.json"
    path.write_text(json.dumps(data), encoding="utf-8")
    with pytest.raises(BadFile, match="middle_proximal.*mass_g"):
        load_outlines(path)
