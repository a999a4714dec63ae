"""`handsel parts`: what it prints, how it ends, and what it says of photos that cannot be used."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner
from PIL import Image

from handsel.cli.parts import command
from unit.parts_scenes import A4, drawn, over

ORDER = ["--scale", "1.0", "--side", "right"]


def run(*words: str):  # type: ignore[no-untyped-def]
    return CliRunner().invoke(command, list(words))


@pytest.fixture
def plain(tmp_path: Path) -> Path:
    """A table without a mat."""
    place = tmp_path / "table.jpg"
    Image.fromarray(drawn(None, over(A4))).save(place, quality=92)
    return place


@pytest.fixture
def no_parts_made(monkeypatch: pytest.MonkeyPatch) -> None:
    """The kit's solids take seconds to make, and a photo without a mat needs none."""
    monkeypatch.setattr("handsel.vision.parts.looking.kinds_of", lambda *_: ())


@pytest.mark.usefixtures("no_parts_made")
def test_a_photo_without_a_mat_is_refused_in_words(plain: Path) -> None:
    result = run(str(plain), *ORDER)
    assert result.exit_code == 1
    assert "table.jpg: no mat is seen in it. Lay the parts on the printed mat" in result.stderr


@pytest.mark.usefixtures("no_parts_made")
def test_a_refusal_has_its_cause_in_the_json(plain: Path) -> None:
    result = run(str(plain), *ORDER, "--json")
    said = json.loads(result.stdout)
    assert result.exit_code == 1
    assert said["refused"] is True
    assert said["cause"] == "no mat"


@pytest.mark.parametrize(
    ("name", "data", "words"),
    [
        ("gone.jpg", None, "there is no such file"),
        ("note.jpg", b"not a photo at all", "this is not a photo"),
        ("empty.jpg", b"", "the file is empty"),
        ("cut.jpg", b"\xff\xd8\xff\xe0" + bytes(40), "damaged or cut short"),
    ],
)
def test_a_file_that_is_no_photo_is_bad_input(
    tmp_path: Path, name: str, data: bytes | None, words: str
) -> None:
    if data is not None:
        (tmp_path / name).write_bytes(data)
    result = run(str(tmp_path / name), *ORDER)
    assert result.exit_code == 2
    assert words in result.stderr
    assert "Traceback" not in result.output


@pytest.mark.parametrize(
    ("extra", "words"),
    [
        (["--design", "willow-that-is-not"], "willow-that-is-not"),
        (["--only", "elbow_*"], 'no printed part "elbow_*"'),
    ],
)
def test_an_impossible_order_is_bad_input(plain: Path, extra: list[str], words: str) -> None:
    result = run(str(plain), *ORDER, *extra)
    assert result.exit_code == 2
    assert words in result.stderr


def test_a_scale_the_design_is_not_made_for_is_bad_input(plain: Path) -> None:
    result = run(str(plain), "--scale", "3", "--side", "left")
    assert result.exit_code == 2
    assert "made for 0.7 to 1.3" in result.stderr


def test_scale_and_side_must_be_given(plain: Path) -> None:
    assert run(str(plain)).exit_code == 2
    assert run(str(plain), "--scale", "1").exit_code == 2
