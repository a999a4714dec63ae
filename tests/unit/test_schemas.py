"""The published schemas: true to the loader, and every key explained with its unit."""

import copy
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from handsel.data.load_design import BUNDLED, bundled_designs
from handsel.data.schemas import FORMATS, schema
from handsel.errors import HandselError

SAVED = Path(__file__).parents[1] / "golden" / "design_1_three_digits.toml"
GOOD = tomllib.loads(SAVED.read_text(encoding="utf-8"))
UNITS = {
    "mm": "[mm]",
    "deg": "[deg]",
    "g": "[g]",
    "n": "[N]",
    "nmm": "[N mm]",
    "mu": "[-]",
    "turn": "[mm/turn]",
}


def properties(made: dict[str, Any]) -> Iterator[tuple[str, str, dict[str, Any]]]:
    for table, body in {"": made, **made.get("$defs", {})}.items():
        yield from ((table, key, says) for key, says in body.get("properties", {}).items())


@pytest.mark.parametrize("name", FORMATS)
def test_a_schema_is_a_valid_schema(name: str) -> None:
    jsonschema.Draft202012Validator.check_schema(schema(name))


def test_every_key_of_a_design_is_explained() -> None:
    made = schema("design")
    assert made["additionalProperties"] is False
    bare = [f"{table}.{key}" for table, key, says in properties(made) if not says.get("description")]
    assert bare == []


def test_every_measure_of_a_design_states_its_unit() -> None:
    seen = 0
    for table, key, says in properties(schema("design")):
        unit = UNITS.get(key.rsplit("_", 1)[-1])
        if unit and key != "support_mm":
            seen += 1
            assert unit in says["description"], f"{table}.{key}"
        if key.endswith(("_ratio", "_count")):
            assert "[" in says["description"], f"{table}.{key}"
    assert seen > 35


@pytest.mark.parametrize(
    "path", [SAVED, *(BUNDLED / f"{n}.toml" for n in bundled_designs())], ids=lambda p: p.stem
)
def test_good_designs_fit_the_schema(path: Path) -> None:
    jsonschema.validate(tomllib.loads(path.read_text(encoding="utf-8")), schema("design"))


@pytest.mark.parametrize(
    ("key", "value"),
    [("length_unit", "inch"), ("format", "handsel-design/9"), ("name", "A"), ("hinge", 3), ("extra", 1)],
)
def test_the_schema_refuses_what_the_loader_refuses(key: str, value: object) -> None:
    data = copy.deepcopy(GOOD)
    data[key] = value
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(data, schema("design"))


def test_an_unknown_schema_gets_a_suggestion() -> None:
    with pytest.raises(HandselError, match='no schema called "desing".*Did you mean "design"'):
        schema("desing")
