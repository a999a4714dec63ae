"""`handsel print`: what it writes, where, and what it refuses."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest
from click.testing import CliRunner

from handsel.cli import handsel
from handsel.errors import BadFile
from unit.pdf_paths import page_sizes_mm


def run(*arguments):
    return CliRunner().invoke(handsel, ["print", *map(str, arguments)])


@pytest.mark.parametrize(
    ("what", "paper", "name", "size_mm"),
    [
        ("cards", "a4", "handsel-cards-a4.pdf", (210.0, 297.0)),
        ("cards", "letter", "handsel-cards-letter.pdf", (215.9, 279.4)),
        ("mat", "a4", "handsel-mat-a4.pdf", (210.0, 297.0)),
        ("mat", "letter", "handsel-mat-letter.pdf", (215.9, 279.4)),
        ("mat", "a3", "handsel-mat-a3.pdf", (297.0, 420.0)),
    ],
)
def test_a_sheet_is_written_here_under_its_own_name(tmp_path, monkeypatch, what, paper, name, size_mm):
    monkeypatch.chdir(tmp_path)
    result = run(what, "--paper", paper)
    assert result.exit_code == 0
    assert result.stdout.startswith(name)
    assert "Print at 100 %" in result.stdout
    assert "99.5 to 100.5 mm" in result.stdout
    assert page_sizes_mm((tmp_path / name).read_bytes())[0] == pytest.approx(size_mm, abs=0.02)


def test_without_a_paper_it_is_a4_and_a_second_time_it_is_the_same(tmp_path):
    out = tmp_path / "mat.pdf"
    assert run("mat", "--out", out).exit_code == 0
    first = out.read_bytes()
    assert page_sizes_mm(first)[0] == pytest.approx((210.0, 297.0), abs=0.02)
    assert run("mat", "--out", out).exit_code == 0
    assert out.read_bytes() == first


@pytest.mark.parametrize("fmt", ["3mf", "stl"])
def test_the_carrier_is_written_for_a_slicer(tmp_path, monkeypatch, fmt):
    monkeypatch.chdir(tmp_path)
    result = run("carrier", "--format", fmt)
    assert result.exit_code == 0
    written = (tmp_path / f"handsel-card-carrier.{fmt}").read_bytes()
    assert written.startswith(b"PK" if fmt == "3mf" else b"binary STL")
    assert "without support" in result.stdout


@pytest.mark.parametrize("what", ["cards", "mat"])
def test_a_paper_that_there_is_not_is_named(what):
    result = run(what, "--paper", "a5")
    assert result.exit_code == 2
    assert "a5" in result.output
    assert "letter" in result.output


def test_a_file_of_another_kind_is_left_alone(tmp_path):
    notes = tmp_path / "notes.txt"
    notes.write_text("what the lead said")
    result = run("cards", "--out", notes)
    assert isinstance(result.exception, BadFile)
    assert "another kind" in str(result.exception)
    assert notes.read_text() == "what the lead said"


@pytest.mark.parametrize("where", ["no/such/folder/mat.pdf", "."])
def test_a_place_that_cannot_be_written_is_named(tmp_path, monkeypatch, where):
    monkeypatch.chdir(tmp_path)
    result = run("mat", "--out", where)
    assert isinstance(result.exception, BadFile)
    assert "it cannot be written" in str(result.exception)
    assert "--out" in str(result.exception)
    assert list(tmp_path.iterdir()) == []


def test_a_refusal_ends_with_status_two_and_no_trace(tmp_path):
    ended = subprocess.run(
        [sys.executable, "-m", "handsel.cli", "print", "mat", "--out", str(tmp_path)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert ended.returncode == 2
    assert "Traceback" not in ended.stderr
    assert str(tmp_path) in ended.stderr


def test_help_names_all_three_and_imports_no_typesetter():
    code = (
        "import sys, json; from click.testing import CliRunner; from handsel.cli import handsel;"
        "said = CliRunner().invoke(handsel, ['print', '--help']).output;"
        "print(json.dumps([said, sorted(m for m in ('typst', 'cv2', 'manifold3d') if m in sys.modules)]))"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    said, heavy = json.loads(out)
    assert all(word in said for word in ("cards", "mat", "carrier", "100 %"))
    assert heavy == []
