"""A design kept as text is the same design, and its fingerprint changes with its meaning only."""

import copy
import json
import tomllib
from dataclasses import replace
from pathlib import Path

import pytest

from handsel.data.design_text import design_from_text, design_sha256, design_text
from handsel.data.load_design import bundled_designs, design_from_data, load_design
from handsel.design.model import HardwareItem, Part, ReferenceDimension, TagPad
from handsel.errors import BadFile

SAVED = Path(__file__).parents[1] / "golden" / "design_1_three_digits.toml"
GOOD = tomllib.loads(SAVED.read_text(encoding="utf-8"))
DESIGN = design_from_data(GOOD, "good.toml")


@pytest.mark.parametrize("name", bundled_designs())
def test_bundled_designs_come_back_unchanged(name: str) -> None:
    design = load_design(name)
    assert design_from_text(design_text(design), where="record") == design


def test_every_table_comes_back_unchanged() -> None:
    part = Part(
        name="shell", title="Schale, groß", count=1, body="palm", material="PLA", printed=True, shape="palm",
        at_mm=(0.1, 0.2, 1 / 3), measures=(("a_mm", 1.0), ("b_deg", 2.0)),
    )  # fmt: skip
    full = replace(
        DESIGN,
        parts=(part,),
        hardware=(HardwareItem(name="screw", title="screw", count=2, standard="", mass_g=0.7),),
        reference_dimensions=(
            ReferenceDimension(
                name="w", title="w", part="shell", nominal_mm=9.0, tolerance_mm=0.5, scales=True
            ),
        ),
        tag_pads=(TagPad(body="palm", centre_mm=(1.0, 2.0, 3.0), normal=(0.0, 0.6, 0.8), turn_deg=-2.0),),
    )
    assert design_from_text(design_text(full), where="record") == full


def test_order_comments_and_spelling_of_numbers_leave_no_trace(tmp_path: Path) -> None:
    shuffled = copy.deepcopy(GOOD)
    shuffled = {key: shuffled[key] for key in reversed(shuffled)}
    for table in shuffled["body"]:
        table["com_mm"] = [int(v) if v == int(v) else v for v in table["com_mm"]]
    assert design_sha256(design_from_data(shuffled, "a.toml")) == design_sha256(DESIGN)
    path = tmp_path / "b.toml"
    path.write_text(
        SAVED.read_text(encoding="utf-8").replace("\n[[", "\r\n# a remark\r\n[["), encoding="utf-8"
    )
    assert design_sha256(load_design(path)) == design_sha256(DESIGN)


def test_any_change_of_meaning_changes_the_fingerprint() -> None:
    changed = copy.deepcopy(GOOD)
    changed["hinge"][2]["friction_nmm"] += 1e-9
    assert design_sha256(design_from_data(changed, "a.toml")) != design_sha256(DESIGN)
    assert design_sha256(replace(DESIGN, title="another")) != design_sha256(DESIGN)
    assert len(design_sha256(DESIGN)) == 64


def test_the_text_is_one_plain_line_of_json() -> None:
    text = design_text(replace(DESIGN, title="groß"))
    assert text.isascii()
    assert "\n" not in text
    assert json.loads(text)["title"] == "groß"
    assert list(json.loads(text)) == sorted(json.loads(text))


@pytest.mark.parametrize(
    "text", ["", "{", "[]", "3", "[" * 100_000, '{"format": "handsel-design/1"}', "9" * 5000]
)
def test_a_damaged_record_is_refused(text: str) -> None:
    with pytest.raises(BadFile) as caught:
        design_from_text(text, where="hand 17, design")
    assert caught.value.where.startswith("hand 17, design")
    assert caught.value.do


def test_a_record_cut_short_says_so() -> None:
    with pytest.raises(BadFile, match="not readable.*cut short"):
        design_from_text(design_text(DESIGN)[:-5], where="hand 17, design")
