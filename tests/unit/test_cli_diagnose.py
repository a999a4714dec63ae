"""`handsel diagnose`: one sentence first, then causes and the next check; JSON by its own schema."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from handsel.cli.diagnose import command
from handsel.data.diagnosis_tables import DiagnosisTable
from handsel.data.library_store import CACHE_VARIABLE
from handsel.data.load_faults import BUNDLED

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
