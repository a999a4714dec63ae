"""Part files for a slicer: what is written is what another reader finds."""

from __future__ import annotations

from io import BytesIO
from zipfile import ZipFile

import numpy as np
import pytest
import trimesh

from handsel.data.load_design import load_design
from handsel.data.part_export import export_parts
from handsel.data.part_files import part_file
from handsel.design.outlines import lying_solid
from handsel.design.placing import placed
from handsel.design.shapes import part_mesh
from handsel.errors import BadFile, OutOfRange

LINDEN = load_design("linden")
SOME = ("thumb_tip", "whippletree", "finger_hinge_pin", "cuff")


def part(name, design=LINDEN):
    return next(p for p in design.parts if p.name == name)


@pytest.mark.parametrize("name", SOME)
def test_stl_reads_back_as_the_same_closed_body(name):
    data = part_file(LINDEN, part(name), "stl")
    back = trimesh.load(BytesIO(data), file_type="stl")
    assert back.is_volume
    assert back.volume == pytest.approx(part_mesh(LINDEN, part(name)).volume, rel=1e-4)
    assert back.bounds[0][2] == pytest.approx(0.0, abs=1e-4)
    box = np.reshape(lying_solid(LINDEN, part(name)).bounding_box(), (2, 3))
    assert back.bounds == pytest.approx(box, abs=1e-3)


@pytest.mark.parametrize("name", SOME)
def test_3mf_reads_back_in_millimetres(name):
    data = part_file(LINDEN, part(name), "3mf")
    scene = trimesh.load(BytesIO(data), file_type="3mf")
    assert scene.units in ("mm", "millimeter")
    (back,) = scene.geometry.values()
    assert back.is_volume
    assert back.volume == pytest.approx(part_mesh(LINDEN, part(name)).volume, rel=1e-5)


def test_the_same_part_gives_the_same_bytes():
    for fmt in ("stl", "3mf"):
        first = part_file(LINDEN, part("index_tip"), fmt)
        again = part_file(load_design("linden"), part("index_tip"), fmt)
        assert first == again


def test_a_3mf_is_a_package_with_its_three_files():
    with ZipFile(BytesIO(part_file(LINDEN, part("index_tip"), "3mf"))) as package:
        assert package.namelist() == ["[Content_Types].xml", "_rels/.rels", "3D/3dmodel.model"]
        assert b'unit="millimeter"' in package.read("3D/3dmodel.model")


def test_a_left_hand_at_85_percent_is_exported_scaled_and_mirrored(tmp_path):
    paths = export_parts(LINDEN, tmp_path / "new" / "folder", "stl", scale_ratio=0.85, side="left")
    assert [p.name for p in paths[:2]] == ["linden-left-85-palm.stl", "linden-left-85-index_proximal.stl"]
    assert len(paths) == sum(p.printed for p in LINDEN.parts)
    assert any(p.name == "linden-left-85-finger_hinge_pin-8x.stl" for p in paths)
    left, right = (placed(LINDEN, scale_ratio=0.85, side=s) for s in ("left", "right"))
    block = trimesh.load(tmp_path / "new" / "folder" / "linden-left-85-tension_block.stl")
    assert block.is_volume
    # the block lies on its lower face: its own y is the table's y
    assert block.center_mass[1] == pytest.approx(
        part_mesh(left, part("tension_block", left)).center_mass[1], abs=1e-3
    )
    assert block.center_mass[1] == pytest.approx(
        -part_mesh(right, part("tension_block", right)).center_mass[1], abs=1e-3
    )
    assert abs(block.center_mass[1]) > 0.3


def test_an_unknown_format_is_refused():
    with pytest.raises(OutOfRange, match='"obj".*"stl" or "3mf"'):
        part_file(LINDEN, part("palm"), "obj")


def test_an_impossible_scale_is_refused_before_anything_is_written(tmp_path):
    with pytest.raises(OutOfRange, match="scale_ratio is 2"):
        export_parts(LINDEN, tmp_path / "never", "stl", scale_ratio=2.0)
    assert not (tmp_path / "never").exists()


def test_a_folder_that_is_a_file_is_refused(tmp_path):
    (tmp_path / "taken").write_text("a file")
    with pytest.raises(BadFile, match="cannot be written"):
        export_parts(LINDEN, tmp_path / "taken", "stl")
