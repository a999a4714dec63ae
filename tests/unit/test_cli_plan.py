"""`handsel plan` at the terminal: text, JSON, exit status, errors."""

import json
import os
import subprocess
import sys
from pathlib import Path

import jsonschema
import pytest
from click.testing import CliRunner

from handsel.cli import BAD_INPUT, handsel
from handsel.data.load_confirmed import confirmed_text
from handsel.data.schemas import schema
from handsel.errors import HandselError
from handsel.rework.learning import Confirmed

EXAMPLE = Path(__file__).parents[2] / "examples" / "days" / "ten-hands.toml"


def run(*arguments):
    return CliRunner().invoke(handsel, ["plan", *map(str, arguments)])


def test_the_example_is_planned_in_words():
    done = run(EXAMPLE, "--no-more")
    assert done.exit_code == 1  # some hands are left out
    text = " ".join(done.output.split())
    assert text.startswith("Work on 7 of 10 hands")
    assert "Its recipient is waiting here" in text
    assert "Builder 2 has it in work already, 20 minutes more" in text
    assert "there is none on hand" in text
    assert "hurry is no reason to skip a caution" in text


def test_the_json_fits_its_schema_and_says_the_same():
    done = run(EXAMPLE, "--json")
    told = json.loads(done.output)
    jsonschema.validate(told, schema("day-plan"))
    assert len(told["chosen"]) + len(told["left_out"]) == 10
    assert told["value"] <= told["bound"]
    assert told["gap_ratio"] == pytest.approx(max(0.0, 1.0 - told["value"] / told["bound"]))
    assert {m["kind"] for m in told["one_more"]} == {"person", "spare"}
    stints = [s for p in told["people"] for s in p["stints"]]
    assert all(0 <= s["start_min"] < s["end_min"] <= told["closing_min"] for s in stints)


def test_what_the_solver_prints_by_itself_does_not_reach_the_json():
    """It prints past Python, to the process's own output; the same is done here in its place."""
    probe = (
        "import os, sys\n"
        "from handsel.rework.day import plan as day_plan\n"
        "real = day_plan.plan_day\n"
        "def loud(*a, **k):\n"
        "    os.write(1, b'solver: hello\\n')\n"
        "    return real(*a, **k)\n"
        "day_plan.plan_day = loud\n"
        f"sys.argv = ['handsel', 'plan', {str(EXAMPLE)!r}, '--json', '--no-more']\n"
        "from handsel.cli import main\n"
        "main()\n"
    )
    env = os.environ | {"PYTHONPATH": str(EXAMPLE.parents[2] / "src")}
    done = subprocess.run(
        [sys.executable, "-c", probe], capture_output=True, text=True, env=env, timeout=120, check=False
    )
    assert done.returncode == 1, done.stderr
    assert json.loads(done.stdout)["chosen"]


def test_when_all_hands_go_out_the_status_is_good(tmp_path):
    path = tmp_path / "day.toml"
    path.write_text(
        'format = "handsel-day/1"\nclosing_min = 60\n'
        'person = [{ id = "inspector 1", skills = ["inspector"] }]\n'
        '[[hand]]\ncode = "R-1"\nserial = "H-1"\n'
        'way = [{ title = "Look at it again", minutes = 0, recheck_minutes = 5, p_success = 0.95 }]\n',
        encoding="utf-8",
    )
    done = run(path, "--no-more")
    assert done.exit_code == 0
    assert "look at it again" in done.output


@pytest.mark.slow
def test_one_hand_is_planned_from_its_case(tmp_path):
    """A jammed whippletree; and the same with priors learned from thirty of its kind."""
    case = EXAMPLE.parents[1] / "07-jammed-whippletree.toml"
    whole = json.loads(run(case, "--json", "--quick").stdout)
    jsonschema.validate(whole, schema("hand-plan"))
    told = whole["plan"]
    assert 5.0 < told["expected_minutes"] <= told["no_check_minutes"]
    assert told["first"]["kind"] in ("check", "rework")
    entries = [
        Confirmed(
            number=k,
            code="R-001",
            serial=f"H-{k}",
            on="2026-11-20",
            by="inspector 1",
            fault="whippletree-jammed",
            place="",
            rework="free-whippletree",
            symptom="whippletree-rocks-strung",
        )
        for k in range(1, 31)
    ]
    confirmed = tmp_path / "confirmed.toml"
    confirmed.write_text(confirmed_text(entries, catalogue="wrist-hand-1", catalogue_version="1.0.0"))
    learned = json.loads(run(case, "--json", "--quick", "--confirmed", confirmed).stdout)["plan"]
    assert learned["expected_minutes"] != told["expected_minutes"]
    words = run(case, "--quick", "--confirmed", confirmed)
    assert words.exit_code == 1
    assert "minutes to a good hand are expected" in " ".join(words.output.split())


def test_a_file_that_cannot_be_used_is_said_without_a_trace(tmp_path):
    path = tmp_path / "day.toml"
    path.write_text('format = "handsel-day/1"\nclosing_min = "soon"\n', encoding="utf-8")
    done = run(path)
    assert isinstance(done.exception, HandselError)  # main() prints it and leaves with BAD_INPUT
    assert "closing_min" in str(done.exception)
    assert BAD_INPUT == 2
