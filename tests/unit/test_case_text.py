"""A case written as a file reads back to the same inspection."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from handsel.data.case_text import case_text
from handsel.data.load_case import load_case
from handsel.data.load_protocol import load_protocol
from handsel.inspection.case import Case, Concession, GroupAcceptance, HandRecord, Observation
from handsel.inspection.deciding import inspect

EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("*.toml"))
PROTOCOL = load_protocol()


def again(case: Case, folder: Path) -> Case:
    file = folder / "case.toml"
    file.write_text(case_text(case, PROTOCOL), encoding="utf-8")
    return load_case(file)


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda p: p.stem)
def test_every_example_reads_back_to_the_same_case_and_inspection(path: Path, tmp_path: Path) -> None:
    case = load_case(path)
    found = again(case, tmp_path)
    assert replace(found, name=case.name) == case
    # Quantities are told apart by identity, so what they say is compared.
    same = replace(found, name=case.name)
    assert repr(inspect(same, PROTOCOL)) == repr(inspect(case, PROTOCOL))


def test_a_group_looked_at_in_part_stays_a_part(tmp_path: Path) -> None:
    group = next(c for c in PROTOCOL.characteristics if c.per == "digit" and c.held)
    case = Case(
        name="x",
        hand=HandRecord(
            code="R-014",
            serial="H-0001",
            design="linden",
            scale_ratio=1.1,
            side="left",
            hold_point=group.hold_point,
        ),
        by="inspector 2",
        on=date(2026, 11, 21),
        accepted=(
            GroupAcceptance(
                group=group.held, by="inspector 3", only=((group.id, "index"), (group.id, "thumb"))
            ),
        ),
        concessions=(Concession(of=group.id, by="lead", reason="seen before", place="ring"),),
    )
    assert replace(again(case, tmp_path), name="x") == case


@pytest.mark.parametrize(
    ("note", "kept"),
    [
        ('quotes " and \\ back', 'quotes " and \\ back'),
        ("two\nlines\tand a tab", "two lines and a tab"),
        ("accents é ü, 手", "accents é ü, 手"),
        ("x" * 2000, "x" * 600),
        ("\x7f\x00", "-"),
        ("''' and \"\"\"", "''' and \"\"\""),
        ("half a \ud83d sign", "half a   sign"),
    ],
)
def test_any_note_can_be_written(note: str, kept: str, tmp_path: Path) -> None:
    case = load_case(EXAMPLES[0])
    noted = replace(case, observations=(replace(case.observations[0], note=note), *case.observations[1:]))
    found = again(noted, tmp_path)
    assert found.observations[0] == replace(case.observations[0], note=kept)


def test_readings_keep_every_digit(tmp_path: Path) -> None:
    case = load_case(EXAMPLES[0])
    number = next(o for o in case.observations if o.unit)
    values = (0.1 + 0.2, 1e-7, 123456.789012345, -0.0)
    many = replace(number, value=None, readings=values, u=1 / 3)
    assert isinstance(many, Observation)
    found = again(replace(case, observations=(many,)), tmp_path)
    assert found.observations == (many,)
