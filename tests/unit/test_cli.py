"""The command: what it prints, writes and returns, for good files, bad files and old terminals."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import jsonschema
import pytest
from click.testing import CliRunner, Result
from rich.console import Console

from handsel.cli import COMMANDS, handsel
from handsel.cli.answer import show_answer
from handsel.cli.assess import _names
from handsel.cli.terminal import signs
from handsel.data.schemas import FORMATS, schema
from unit.handmade import made

ROOT = Path(__file__).parents[2]
GOOD = ROOT / "examples" / "01-good-hand.toml"
SHALLOW = ROOT / "examples" / "03-a-little-shallow.toml"


def run(*words: str | Path) -> Result:
    return CliRunner().invoke(handsel, [str(w) for w in words])


# ---- assess ------------------------------------------------------------------------------------------


def test_the_sentence_comes_first_and_the_files_are_written(tmp_path):
    told = run("assess", GOOD, "--out", tmp_path / "new" / "folder")
    assert told.exit_code == 0, told.output
    assert told.stdout.startswith("Good. ")
    made_files = {p.name for p in (tmp_path / "new" / "folder").iterdir()}
    assert made_files == {"01-good-hand.svg", "01-good-hand.pdf", "01-good-hand.json"}
    full = json.loads((tmp_path / "new" / "folder" / "01-good-hand.json").read_text(encoding="utf-8"))
    jsonschema.validate(full, schema("assessment"))


def test_json_holds_to_the_published_schema_for_many_and_for_broken_files(tmp_path):
    bad = tmp_path / "bad.toml"
    bad.write_text("this is no case", encoding="utf-8")
    told = run("assess", GOOD, bad, SHALLOW, "--json")
    assert told.exit_code == 2
    full = json.loads(told.stdout)
    jsonschema.validate(full, schema("assessment"), cls=jsonschema.Draft202012Validator)
    assert [a["conforms"] for a in full["assessments"]] == [True, False]
    assert [Path(u["file"]).name for u in full["unusable"]] == ["bad.toml"]
    fix = full["assessments"][1]["fix"]
    assert fix["move"]["screw_turns"] > 0
    assert full["assessments"][1]["record"]["program_version"]


def test_the_schema_refuses_what_is_not_an_assessment():
    for wrong in (
        {},
        {"format": "handsel-assessment/1", "assessments": [{}]},
        {"format": "x", "assessments": []},
    ):
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(wrong, schema("assessment"))


BAD = {
    "no-toml": (b"this is no case", "line"),
    "binary": (b"\x00\xff\xfe", "binary"),
    "empty": (b"", "format"),
    "no-hand": (b'format = "handsel-case/1"\n', "hand"),
    "design": (GOOD.read_bytes().replace(b'"linden"', b'"lindne"'), "linden"),
    "check": (GOOD.read_bytes().replace(b'"worked-rest-angle"', b'"worked-rest-angel"'), "worked-rest-angle"),
    "scale": (GOOD.read_bytes().replace(b"scale_ratio = 1.1", b"scale_ratio = 2.9"), "2.9"),
    "angle": (GOOD.read_bytes().replace(b"36.1, 35.8", b"361, 35.8"), "361"),
}


def test_bad_files_are_explained_and_the_others_still_assessed(tmp_path):
    for name, (content, _) in BAD.items():
        (tmp_path / f"{name}.toml").write_bytes(content)
    told = run("assess", *(tmp_path / f"{name}.toml" for name in BAD), GOOD)
    assert told.exit_code == 2
    assert "Traceback" not in told.output
    assert "Good. " in told.stdout
    assert told.stdout.rstrip().endswith(f"{len(BAD)} could not be used.")
    pieces = told.stderr.split("Could not be used: ")[1:]
    assert len(pieces) == len(BAD)
    for (name, (_, words)), piece in zip(BAD.items(), pieces, strict=True):
        assert f"{name}.toml" in "".join(piece.split()), name
        assert words in piece, name
        assert all(f"{head}:" in piece for head in ("what", "where", "do")), name


def test_a_file_that_is_not_there(tmp_path):
    told = run("assess", tmp_path / "nowhere.toml")
    assert told.exit_code == 2
    assert "nowhere.toml" in "".join(told.stderr.split())
    assert "do:" in told.stderr


def test_a_folder_that_cannot_be_written_is_explained(tmp_path):
    (tmp_path / "taken").write_text("a file", encoding="utf-8")
    told = run("assess", GOOD, "--out", tmp_path / "taken" / "below")
    assert told.exit_code == 2
    assert "could not be written" in " ".join(told.stderr.split())


def test_no_case_at_all_is_bad_input():
    assert run("assess").exit_code == 2


def test_files_of_cases_called_alike_do_not_overwrite_one_another():
    names = _names([Path("a/x.toml"), Path("b/x.toml"), Path("x.toml"), Path("y.toml")])
    assert names == ["x", "x-2", "x-3", "y"]


def test_many_hands_end_with_a_count():
    told = run("assess", GOOD, SHALLOW)
    assert told.exit_code == 1
    assert told.stdout.rstrip().endswith("2 hands: 1 good, 1 to be put right, 0 not decided yet.")


# ---- how it is shown -----------------------------------------------------------------------------------


def shown(width: int = 80, *, colour: bool = False, **changes: object) -> str:
    _, a = made(**changes)
    out = Console(
        width=width,
        record=True,
        markup=False,
        highlight=False,
        file=open(os.devnull, "w"),  # noqa: SIM115
        force_terminal=colour,
        color_system="standard" if colour else None,
    )
    show_answer(out, Path("made.toml"), a, brief=False, show_all=False)
    out.file.close()
    return out.export_text(styles=colour)


def test_words_carry_the_meaning_without_colour():
    plain = shown()
    assert "\x1b" not in plain
    for words in (
        "Not yet: the cords are too long",
        "Not decided yet",
        "Do this",
        "Cut 512 mm for each.",
        "Then look at these again",
        "Take care",
        "± holds the true value in 95 of 100",
        "licensed",
    ):
        assert words in " ".join(plain.split()), words
    assert "\x1b[" in shown(colour=True)


@pytest.mark.parametrize("width", [40, 80, 96])
def test_no_line_is_wider_than_the_terminal(width):
    assert max(map(len, shown(width).splitlines())) <= width


def test_words_from_outside_are_neither_markup_nor_orders_to_the_terminal():
    text = shown(sentence="[bold red]x[/] \x1b[2J :smile:", notes=("[link=http://x]y[/link]\x07",))
    assert "[bold red]x[/]" in text
    assert "[link=http://x]y[/link]" in text
    assert "\x1b" not in text
    assert "\x07" not in text
    assert ":smile:" in text


def test_an_old_code_page_gets_letters_it_has():
    class Old:
        encoding = "cp437"

    assert all(mark.isascii() for mark in signs(Old()).values())  # type: ignore[arg-type]


def test_one_real_process_in_a_pipe_on_an_old_code_page(tmp_path):
    env = os.environ | {"PYTHONPATH": str(ROOT / "src"), "PYTHONIOENCODING": "ascii", "NO_COLOR": "1"}
    done = subprocess.run(
        [sys.executable, "-m", "handsel.cli", "assess", str(GOOD)],
        cwd=tmp_path,
        env=env,
        capture_output=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith(b"Good. ")
    assert b"\x1b" not in done.stdout
    assert max(map(len, done.stdout.splitlines())) <= 80


# ---- the other verbs ---------------------------------------------------------------------------------------


def test_help_names_every_verb():
    told = run("--help")
    assert told.exit_code == 0
    assert all(verb in told.stdout for verb in COMMANDS)
    for verb in COMMANDS:
        assert run(verb, "--help").exit_code == 0


@pytest.mark.parametrize("name", sorted(FORMATS))
def test_schemas_are_printed_and_are_schemas(name):
    told = run("schema", name)
    assert told.exit_code == 0
    jsonschema.Draft202012Validator.check_schema(json.loads(told.stdout))


def test_examples_hold_to_the_case_schema_where_toml_has_no_dates():
    import tomllib

    case = tomllib.loads(GOOD.read_text(encoding="utf-8"))
    case["inspected"]["on"] = case["inspected"]["on"].isoformat()
    jsonschema.validate(case, schema("case"))


def test_design_show_and_check():
    told = run("design", "show", "linden")
    assert told.exit_code == 0
    assert all(word in told.stdout for word in ("index", "thumb", "36°", "0.5 mm a turn"))
    told = run("design", "check", "linden")
    assert told.exit_code in (0, 1)
    assert ("all" in told.stdout.splitlines()[0]) == (told.exit_code == 0)
    assert max(map(len, told.stdout.splitlines())) <= 80


def test_a_design_that_fails_a_check_says_so(tmp_path):
    from handsel.data.load_design import BUNDLED

    text = (BUNDLED / "linden.toml").read_text(encoding="utf-8")
    low = tmp_path / "low.toml"
    low.write_text(text.replace("stand_height_mm = 120.0", "stand_height_mm = 20.0"), encoding="utf-8")
    told = run("design", "check", low)
    assert told.exit_code == 1
    assert "do not hold" in told.stdout.splitlines()[0]
    assert "above the table" in told.stdout


def test_protocol_show():
    told = run("protocol", "show")
    assert told.exit_code == 0
    plain = " ".join(told.stdout.split())
    assert "worked-rest-angle, good: at least 30°; major; photo, 2 min" in plain
    one = run("protocol", "show", "--hold-point", "strung").stdout
    assert "worked-rest-angle" in one
    assert "kit-complete" not in one


@pytest.mark.parametrize(
    "words",
    [
        ("design", "show", "lindne"),
        ("design", "check", "no/such.toml"),
        ("protocol", "show", "other"),
        ("schema", "nothing"),
        ("protocol", "show", "--hold-point", "strnug"),
    ],
)
def test_wrong_names_are_answered_in_words(words, tmp_path):
    env = os.environ | {"PYTHONPATH": str(ROOT / "src")}
    done = subprocess.run(
        [sys.executable, "-m", "handsel.cli", *words],
        cwd=tmp_path,
        env=env,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 2
    assert done.stdout == ""
    assert "Traceback" not in done.stderr
    assert done.stderr.strip()


# ---- design write-parts ------------------------------------------------------------------------------


def test_parts_are_written_for_a_side_and_a_scale(tmp_path):
    told = run("design", "write-parts", "linden", tmp_path / "parts", "--side", "left", "--scale", "0.9")
    assert told.exit_code == 0, told.output
    files = sorted(p.name for p in (tmp_path / "parts").iterdir())
    assert "linden-left-90-palm.3mf" in files
    assert all(name in told.stdout for name in files)
    assert told.stdout.startswith(f"{len(files)} files")


@pytest.mark.parametrize("scale", ["9", "nan", "-1"])
def test_parts_at_an_impossible_scale_are_refused(tmp_path, scale):
    told = subprocess.run(
        [sys.executable, "-m", "handsel.cli", "design", "write-parts", "linden", tmp_path, "--scale", scale],
        env=os.environ | {"PYTHONPATH": str(ROOT / "src")},
        capture_output=True,
        text=True,
        check=False,
    )
    assert told.returncode == 2
    assert "Traceback" not in told.stderr
    assert "0.7 to 1.3" in told.stderr
    assert list(tmp_path.iterdir()) == []
