"""`handsel diagnose`: one sentence first, then causes and the next check; JSON by its own schema."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from handsel.cli.diagnose import command
from handsel.cli.diagnosis_shown import as_written
from handsel.data.diagnosis_tables import DiagnosisTable
from handsel.data.library_store import CACHE_VARIABLE
from handsel.data.load_faults import BUNDLED
from handsel.diagnosis.result import NextCheck

EXAMPLES = Path(__file__).parents[2] / "examples"


@pytest.fixture(scope="module")
def small(tmp_path_factory) -> Path:
    """A catalogue with two kinds only, so that its hands are made in a second."""
    text = (BUNDLED / "wrist-hand-1.toml").read_text(encoding="utf-8")
    head, *faults = text.split("[[fault]]\n")
    last, rest = faults[-1].split("# Faults that come together", 1)
    kept = [f for f in [*faults[:-1], last] if f.startswith(('id = "loop-long"', 'id = "wrist-tight"'))]
    looks = rest[rest.index("# --- What can be looked at") :]
    path = tmp_path_factory.mktemp("faults") / "small.toml"
    path.write_text(head + "".join("[[fault]]\n" + f for f in kept) + looks, encoding="utf-8")
    return path


@pytest.fixture
def run(small, tmp_path_factory, monkeypatch):
    monkeypatch.setenv(CACHE_VARIABLE, str(tmp_path_factory.getbasetemp() / "handsel-cache"))

    def call(*arguments: str):
        return CliRunner().invoke(command, [*arguments, "--quick", "--faults", str(small)])

    return call


def test_the_sentence_comes_first_and_names_the_loop(run):
    done = run(str(EXAMPLES / "12-one-loop-long.toml"))
    assert done.exit_code == 1, done.output
    first = done.stdout.strip().splitlines()[0]
    assert "loop of index and middle is too long" in first
    assert "It advises" in done.stdout


def test_a_good_hand_is_told_so(run):
    done = run(str(EXAMPLES / "01-good-hand.toml"))
    assert done.exit_code == 0, done.output
    assert "othing is wrong" in done.stdout.splitlines()[0]


def test_json_is_what_its_schema_says(run):
    done = run(str(EXAMPLES / "12-one-loop-long.toml"), "--json")
    told = DiagnosisTable.model_validate(json.loads(done.stdout))
    assert told.causes[0].fault == "loop-long@index-middle"
    assert told.causes[0].where == ("cord index-middle",)
    assert sum(s.probability for s in told.sets) <= 1.0 + 1e-9


def test_a_case_that_is_not_there_and_an_answer_that_does_not_fit_are_refused(run, tmp_path):
    assert "no such file" in str(run(str(tmp_path / "none.toml")).exception)
    text = (EXAMPLES / "12-one-loop-long.toml").read_text(encoding="utf-8")
    path = tmp_path / "odd.toml"
    path.write_text(text.replace("observation = [", 'observation = [\n{ of = "smooth-travel", answer = "purple" },', 1))
    assert "purple" in str(run(str(path)).exception)


def test_every_look_that_is_asked_for_can_be_written_down_as_it_says(run, tmp_path):
    """Each line goes into the case with an answer put in, and the case is read with one answer more."""
    source = (EXAMPLES / "11-missing-answers.toml").read_text(encoding="utf-8")
    before = run(str(EXAMPLES / "11-missing-answers.toml"), "--all").stdout
    lines = re.findall(r"\{ of = .*?\}", " ".join(before.split()))
    assert len(lines) >= 3
    told = DiagnosisTable.model_validate(json.loads(run(str(EXAMPLES / "11-missing-answers.toml"), "--json").stdout))
    for check, line in zip(told.next_checks[:5], lines[:5], strict=True):
        answer = line.replace("…", check.answers[0] if check.answers else "3.0")
        case = tmp_path / "case.toml"
        case.write_text(source.replace("observation = [", f"observation = [\n  {answer},", 1), encoding="utf-8")
        done = run(str(case))
        assert done.exit_code in (0, 1), done.output
        count = int(re.search(r"From (\d+) answers", before)[1])
        assert f"From {count + 1} answers" in done.stdout


def test_a_joint_is_written_as_a_case_can_name_it():
    look = NextCheck(
        of="springs-back", place="ring.tip", title="", question="", answers=("stays", "slow", "returns"), unit="",
        minutes=0.1, bits=0.2, bits_per_minute=2.0,
    )  # fmt: skip
    assert as_written(look) == '{ of = "springs-back", digit = "ring-tip", answer = "…" }'


def test_a_hand_that_is_not_strung_is_not_held_against_strung_ones_unless_asked(run):
    told = run(str(EXAMPLES / "08-swapped-proximals.toml"))
    assert told.exit_code == 1
    assert told.stdout.startswith("This hand is not strung yet")
    assert "%" not in told.stdout
    assert "Look next" in run(str(EXAMPLES / "08-swapped-proximals.toml"), "--all").stdout
