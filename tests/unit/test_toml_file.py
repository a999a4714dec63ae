"""Reading a TOML file from outside: what gets in, what does not, and in which words."""

import re
import time
from hashlib import sha256
from pathlib import Path
from typing import Annotated

import pytest
from pydantic import Field

from handsel.data.checked import checked
from handsel.data.fields import Line, Name, Number, Table
from handsel.data.places import near, shown
from handsel.data.toml_file import read_toml, read_toml_file
from handsel.errors import BadFile


def refused(path: Path | str) -> BadFile:
    with pytest.raises(BadFile) as caught:
        read_toml(path)
    assert str(caught.value).isprintable()
    assert caught.value.do
    return caught.value


def written(tmp_path: Path, content: str | bytes) -> Path:
    path = tmp_path / "some.toml"
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return path


def test_a_good_file_is_read_as_it_is(tmp_path: Path) -> None:
    assert read_toml(written(tmp_path, 'a = 1.5\n[b]\nc = ["x", "y"]\n')) == {
        "a": 1.5,
        "b": {"c": ["x", "y"]},
    }


def test_a_byte_order_mark_and_line_ends_of_another_system_change_nothing(tmp_path: Path) -> None:
    unix = read_toml_file(written(tmp_path, "a = 1\nb = 2\n"))
    windows = read_toml_file(written(tmp_path, b"\xef\xbb\xbfa = 1\r\nb = 2\r\n"))
    assert unix.data == windows.data == {"a": 1, "b": 2}
    assert unix.sha256 == windows.sha256 == sha256(b"a = 1\nb = 2\n").hexdigest()


SLIPS = {
    "decimal comma": ("angle_deg = 28,5\n", "28,5", "with a point, 28.5, not with a comma"),
    "curly quotes": ("name = \u201cR-014\u201d\n", "line 1", "straight quotes"),
    "no quotes": ("name = R-014\n", "name = R-014", 'in quotes, as in "R-014"'),
    "key twice": ("a = 1\na = 2\n", "line 2", "stands twice"),
    "unclosed list": ("a = [1, 2\nb = 3\n", "not valid TOML", "brackets in pairs"),
}


@pytest.mark.parametrize("case", SLIPS)
def test_a_slip_of_the_pen_gets_its_own_remedy(case: str, tmp_path: Path) -> None:
    content, what, do = SLIPS[case]
    error = refused(written(tmp_path, content))
    assert what in error.what, error
    assert do in error.do, error


NOT_TEXT = {
    "picture": (b"\x89PNG\r\n\x1a\n\x00\x00\x00", "not UTF-8 text (byte 0x89 in line 1)"),
    "later line": (b"a = 1\nb = '\xff'\n", "byte 0xff in line 2"),
    "UTF-16": ("a = 1".encode("utf-16"), "UTF-16"),
    "null": (b"a = 1\0", "not a text file"),
}


@pytest.mark.parametrize("case", NOT_TEXT)
def test_what_is_not_text_is_refused(case: str, tmp_path: Path) -> None:
    content, what = NOT_TEXT[case]
    assert what in refused(written(tmp_path, content)).what


TRAPS = {
    "lists": "a = " + "[" * 900_000,
    "tables": "a = " + "{b = " * 300_000,
    "dotted": ".".join("a" * 900_000) + " = 1",
    "dotted, quoted": ".".join(['"a,b"'] * 300_000) + " = 1",
    "dotted, escaped": ".".join([r'"a\"b"'] * 200_000) + " = 1",
    "dotted table": "[" + ".".join("a" * 900_000) + "]",
    "closed lists": "a = " + "[" * 30 + "]" * 30,
}


@pytest.mark.parametrize("case", TRAPS)
def test_nesting_is_refused_before_it_costs_time(case: str, tmp_path: Path) -> None:
    path = written(tmp_path, TRAPS[case])
    started = time.process_time()
    assert "nested more than 24 deep" in refused(path).what
    assert time.process_time() - started < 5.0  # unguarded, the dotted ones take hours


def test_a_number_of_very_many_digits_is_refused(tmp_path: Path) -> None:
    assert "too long to read" in refused(written(tmp_path, "a = " + "9" * 10_000)).what


def test_size_is_told_before_the_file_is_read(tmp_path: Path) -> None:
    path = tmp_path / "big.toml"
    with path.open("wb") as file:
        file.truncate(3_000_000)
    assert "larger than 2 MB" in refused(path).what
    with pytest.raises(BadFile, match=r"larger than 0\.001 MB"):
        read_toml(written(tmp_path, "#" * 2000), max_bytes=1000)
    assert read_toml(written(tmp_path, "#" * 1000), max_bytes=1000) == {}


def test_what_is_no_file_is_named(tmp_path: Path) -> None:
    assert "folder" in refused(tmp_path).what
    assert "no such file" in refused(tmp_path / "none.toml").what
    assert "cannot be used" in refused("a\0b.toml").what
    assert "cannot be read" in refused(tmp_path / ("x" * 400)).what
    assert r"\x1b[2J" in refused("\x1b[2J.toml").where


# --- findings of the models


class Nail(Table):
    name: Name = Field(description="What it is called.")
    length_mm: Annotated[Number, Field(gt=0, le=100)] = Field(description="Length [mm].")


class Box(Table):
    title: Line = Field(description="Label.")
    nail: Annotated[tuple[Nail, ...], Field(max_length=2)] = Field(description="Nails.")


NAIL = {"name": "long", "length_mm": 80.0}
FINDINGS = {
    "missing": ({"nail": []}, "box.toml", 'the key "title" is missing', "Add it. Meaning: Label."),
    "unknown": ({"titel": "a", "nail": []}, "box.toml", '"titel" is not known here', 'Did you mean "title"?'),
    "bound": (
        {"title": "a", "nail": [NAIL, NAIL | {"length_mm": 101}]},
        'box.toml, nail 2 "long", length_mm',
        "it is 101; expected at most 100",
        "Length [mm]",
    ),
    "quoted": (
        {"title": "a", "nail": [NAIL | {"length_mm": "80"}]},
        'box.toml, nail 1 "long", length_mm',
        'it is "80"; expected a number',
        "without quotes",
    ),
    "text": ({"title": 3, "nail": []}, "box.toml, title", "it is 3; expected text in quotes", "Label"),
    "pattern": (
        {"title": "a", "nail": [NAIL | {"name": "Long one"}]},
        'box.toml, nail 1 "Long one", name',
        'it is "Long one"; expected small letters',
        "called",
    ),
    "too many": (
        {"title": "a", "nail": [NAIL] * 9},
        "box.toml, nail",
        "9 entries; expected at most 2",
        "Nails",
    ),
    "no table": ({"title": "a", "nail": [4]}, "box.toml, nail 1", "it is 4; expected a table", "Nails"),
}


@pytest.mark.parametrize("case", FINDINGS)
def test_a_finding_names_place_fault_and_remedy(case: str) -> None:
    data, where, what, do = FINDINGS[case]
    with pytest.raises(BadFile) as caught:
        checked(Box, data, "box.toml")
    error = caught.value
    assert error.where == where
    assert what in error.what
    assert do in error.do


def test_what_fits_comes_back_as_the_model() -> None:
    assert checked(Box, {"title": "a", "nail": [NAIL]}, "box.toml").nail[0].length_mm == 80.0


def test_a_near_miss_is_suggested_and_else_the_names_are_listed() -> None:
    assert near("plam", ["palm", "cuff"]) == 'Did you mean "palm"?'
    assert near("zzz", ["palm", "cuff"]) == 'Known here: "cuff", "palm".'
    assert near("zzz", []) == "There are none yet."
    assert near("zzz", [f"n{i}" for i in range(99)]).endswith(", ....")


def test_values_are_shown_short_and_harmless() -> None:
    assert shown("\x1b[31m") == r'"\x1b[31m"'
    assert len(shown("a" * 9999)) < 100
    assert re.fullmatch("a whole number of very many digits", shown(10**5000))
    assert (shown(True), shown([1, 2]), shown({}), shown(1.5)) == ("true", "a list of 2", "a table", "1.5")
