"""The diagnosis study from end to end on a handful of MuJoCo hands and a small library; the figures are the study's."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np
import pytest
from faulty_builds import Fault
from faulty_hand import as_line, make

sys.path.insert(0, str(Path(__file__).parents[2] / "studies"))

import diagnosis_study as study
from diagnosis_hands import answers
from diagnosis_scores import FAULTLESS
from diagnosis_tool import Tool
from faulty_hands import done

from handsel.data.load_design import load_design
from handsel.data.load_faults import load_faults
from handsel.data.load_protocol import load_protocol
from handsel.design.placing import placed
from handsel.diagnosis.hands import NONE, draw, make_bench
from handsel.diagnosis.library import library_of
from handsel.mechanics.draws import Draws

LINDEN = load_design("linden")
SEED = 98
CLEAR = (
    Fault("loop-long", "ring-little"),
    Fault("elastic-missing", "middle"),
    Fault("wrist-tight"),
    Fault("slide-pulled-in"),
)
HANDS_EACH = 40


@pytest.fixture(scope="module")
def hands():
    made = [make(LINDEN, SEED, k, (fault,), harder=0.6) for k, fault in enumerate(CLEAR)]
    made.append(make(LINDEN, SEED, len(CLEAR), ()))
    return [json.loads(json.dumps(as_line(m))) for m in made]


@pytest.fixture(scope="module")
def tool():
    """A library of a few causes only, made in seconds."""
    catalogue = load_faults("wrist-hand-1", load_protocol())
    bench = make_bench(catalogue, placed(LINDEN, scale_ratio=1.0, side="right"), 1.0)
    known = [
        catalogue.fault(str(f))
        for f in (*CLEAR, Fault("loop-short", "ring-little"), Fault("thumb-cord-long"))
    ]
    strata = [(NONE, NONE), *((f.index, NONE) for f in known if f is not None)]
    faults = np.repeat(np.array(strata, dtype=np.int16), HANDS_EACH, axis=0)
    return Tool(library=library_of(catalogue, [draw(bench, faults, Draws(7))], 1.0))


def test_a_clear_fault_of_an_independent_hand_is_named(hands, tool):
    ranks = {}
    for hand in hands[: len(CLEAR)]:
        (true,) = study.as_case(hand, {}).true
        ranks[true] = study.as_case(hand, tool.ask(answers(hand, all_of_them=True)).said).rank(true)
    assert max(ranks.values()) <= 3, ranks
    assert sum(r == 1 for r in ranks.values()) >= 3, ranks


def test_an_independent_faultless_hand_is_called_faultless(hands, tool):
    said = tool.ask(answers(hands[-1], all_of_them=True)).said
    assert max(said, key=lambda f: said[f]) == FAULTLESS


def test_what_was_said_is_kept_and_not_asked_for_again(hands, tool, tmp_path):
    rows = [row for _, row in study.ask_all(tool, hands, {}, tmp_path)]
    assert len(rows) == len(hands)
    path = next(tmp_path.glob("verdicts-*.jsonl"))
    with path.open("a", encoding="utf-8") as out:
        out.write('{"hand": "98/99", "sa')  # cut short
    have = study.kept(path)
    assert set(have) == {f"{SEED}/{k}" for k in range(len(hands))}
    assert list(study.ask_all(tool, hands, have, tmp_path)) == []


def test_a_half_written_hand_is_made_anew(hands, tmp_path):
    path = tmp_path / "hands-98.jsonl"
    path.write_text(json.dumps(hands[0]) + "\n" + json.dumps(hands[1])[:200], encoding="utf-8")
    assert done(path) == {0}
    assert path.read_text(encoding="utf-8").count("\n") == 1


def test_minutes_are_counted_for_both_orders_of_the_same_hands(hands, tool, tmp_path):
    some = study.spread_over_kinds(hands, 2)
    searched = study.search_all(tool, some, tmp_path)
    assert set(searched) == {"tool", "fixed"}
    for searches in searched.values():
        assert len(searches) == 2
        assert all(s.minutes > 0.0 for s in searches.values())
    again = study.search_all(tool, some, tmp_path)
    assert again == searched


def test_weights_give_every_group_its_prior_mass(hands):
    masses = {
        FAULTLESS: 0.4,
        "loop-long": 0.1,
        "elastic-missing": 0.1,
        "wrist-tight": 0.2,
        "slide-pulled-in": 0.2,
    }
    weights = study.as_frequent_as(hands, masses)
    assert np.mean(weights) == pytest.approx(1.0)
    assert weights[-1] == pytest.approx(4 * weights[0])


def test_a_search_reasons_as_the_diagnosis_does(hands, tool):
    """Answer by answer, then another hand."""
    for hand in hands[:2]:
        said = answers(hand, all_of_them=True)
        for count in (0, 3, 4, len(said)):
            quick, full = tool.quick(said[:count], check=True), tool.ask(said[:count], check=True)
            assert quick.said == pytest.approx(full.said, abs=1e-6)
            assert quick.next_check == full.next_check


def test_the_page_says_who_had_seen_which_hands(hands):
    (line,) = study.seen_before([*hands, hands[0] | {"seed": study.UNSEEN[0]}])
    assert line.startswith(f"{len(hands)} of the hands are of seeds")
    assert f" 1 are of seed {study.UNSEEN[0]}" in line


def test_two_opinions_together_are_surest_where_they_agree():
    both = study.together({"a": 0.9, "b": 0.1}, {"a": 0.4})
    assert both["a"] == pytest.approx(0.6)
    assert both["b"] < 0.01
