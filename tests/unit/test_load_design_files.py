"""Design files as they lie on a disk: found by name or path; what is no such file is refused unread or in words."""

import re
from pathlib import Path

import pytest

from handsel.data.load_design import BUNDLED, bundled_designs, load_design
from handsel.errors import BadFile

SAVED = Path(__file__).parents[1] / "golden" / "design_1_three_digits.toml"


def test_bundled_designs_load_by_name_and_by_path() -> None:
    assert "linden" in bundled_designs()
    for name in bundled_designs():
        assert load_design(name) == load_design(BUNDLED / f"{name}.toml")
        assert load_design(name).name == name


def test_a_misspelt_bundled_name_gets_a_suggestion() -> None:
    with pytest.raises(BadFile, match='Did you mean "linden"') as caught:
        load_design("lindn")
    assert 'no bundled design called "lindn"' in caught.value.what


HOSTILE = {
    "binary": (bytes(range(256)) * 50, "not UTF-8 text"),
    "nesting": (b"a = " + b"[" * 400_000, "nested more than"),
    "nested tables": (b"a = " + b"{b=" * 200_000, "nested more than"),
    "dotted nesting": (b".".join([b"a"] * 200_000) + b" = 1", "nested more than"),
    "long number": (b"a = " + b"9" * 100_000, "too long to read"),
    "null character": (b'format = "handsel-design/1"\0', "not a text file"),
    "unclosed": (b'format = "handsel-design/1', "not valid TOML"),
    "empty": (b"", '"format" is missing'),
    "two of one key": (b'name = "a"\nname = "b"\n', "not valid TOML"),
}


@pytest.mark.parametrize("case", HOSTILE)
def test_hostile_bytes_are_refused(case: str, tmp_path: Path) -> None:
    content, what = HOSTILE[case]
    path = tmp_path / "hostile.toml"
    path.write_bytes(content)
    with pytest.raises(BadFile, match=re.escape(what)) as caught:
        load_design(path)
    assert caught.value.where.startswith(str(path))


def test_a_file_of_200_megabytes_is_refused_without_being_read(tmp_path: Path) -> None:
    path = tmp_path / "huge.toml"
    with path.open("wb") as file:
        file.truncate(200_000_000)  # sparse: takes no room, reads as null characters
    with pytest.raises(BadFile, match="larger than 2 MB") as caught:
        load_design(path)
    assert str(path) in caught.value.where


def test_a_change_in_a_real_file_is_found_in_that_file(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    text = SAVED.read_text(encoding="utf-8")
    path.write_text(text.replace('body = "index_tip"', 'body = "index_top"'), encoding="utf-8")
    with pytest.raises(BadFile, match="index_top") as caught:
        load_design(str(path))
    assert caught.value.where == f'{path}, cord 1 "loop_a", leg 1 "index", points 6, body'
    assert 'Did you mean "index_tip"?' in caught.value.do


def test_folders_and_missing_files_are_named(tmp_path: Path) -> None:
    with pytest.raises(BadFile, match="folder"):
        load_design(tmp_path)
    with pytest.raises(BadFile, match="no such file"):
        load_design(tmp_path / "nothing.toml")
