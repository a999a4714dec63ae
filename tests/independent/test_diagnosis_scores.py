"""The scores of the diagnosis study themselves: known answers, before they judge anything."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[2] / "studies"))

import diagnosis_minutes as minutes
from diagnosis_leaflet import SymptomTable, prior_of
from diagnosis_report import Judged, report
from diagnosis_scores import (
    FAULTLESS,
    Case,
    calibration,
    called_faultless,
    first_where_so_many_are_sound,
    in_top,
    listed,
    log_score,
    macro,
    named_first,
    share,
    stated,
)
from diagnosis_study import as_case, spread_over_kinds, tables


def case(true: str, **said: float) -> Case:
    return Case(true=(true,) if true else (), said=said, kind_of_case=true.split("_")[0])


def test_rank_counts_ties_against_a_cause_and_what_is_not_said_comes_last():
    c = case("a", a=0.3, b=0.3, c=0.4)
    assert c.rank("a") == 3
    assert c.rank("c") == 1
    assert c.rank("d") == 4


def test_macro_gives_every_kind_the_same_say():
    cases = [case("a", a=1.0)] * 90 + [case("b", a=1.0, b=0.0)] * 10
    found = macro(cases, in_top(1))
    assert found.value == pytest.approx(0.5)
    assert 0.4 < found.lower < 0.5
    assert share([True] * 90 + [False] * 10).value == pytest.approx(0.9)


def test_wilsons_lower_bound_agrees_with_statsmodels():
    from statsmodels.stats.proportion import proportion_confint

    low, _ = proportion_confint(43, 50, alpha=0.10, method="wilson")
    assert share([True] * 43 + [False] * 7).lower == pytest.approx(low, abs=2e-4)


def said_and_seen(rng: np.random.Generator, sharper: float, n: int = 3000):
    """Stated probabilities whose logits are so many times too large."""
    logit = 2.0 * rng.standard_normal(n)
    y = (rng.random(n) < 1 / (1 + np.exp(-logit))).astype(float)
    p = 1 / (1 + np.exp(-sharper * logit))
    return [(p[k : k + 3], y[k : k + 3]) for k in range(0, n, 3)]


@pytest.mark.parametrize("sharper", [1.0, 2.0, 0.5])
def test_calibration_finds_how_much_too_sharp_the_stated_ones_are(sharper):
    found = calibration(said_and_seen(np.random.default_rng(4), sharper))
    assert found.slope[1] < 1 / sharper < found.slope[2]
    assert found.slope[2] - found.slope[1] < 0.4 / sharper


def test_in_the_large_finds_a_shift():
    rng = np.random.default_rng(5)
    logit = rng.standard_normal(3000)
    y = (rng.random(3000) < 1 / (1 + np.exp(-logit))).astype(float)
    p = 1 / (1 + np.exp(-(logit - 0.7)))
    found = calibration([(p[k : k + 2], y[k : k + 2]) for k in range(0, 3000, 2)])
    assert found.in_the_large[1] < 0.7 < found.in_the_large[2]


def test_log_score_of_certainty_is_nothing_and_of_a_half_is_ln_2():
    assert log_score([case("a", a=1.0)]) == pytest.approx(0.0)
    assert log_score([case("a", a=0.5, b=0.5)]) == pytest.approx(np.log(2))


def test_faultless_is_a_cause_like_any_other():
    p, y = stated(Case(true=(), said={FAULTLESS: 0.7, "a": 0.3}))
    assert dict(zip(p, y, strict=True)) == {0.7: 1.0, 0.3: 0.0}
    assert called_faultless(Case(true=(), said={FAULTLESS: 0.7, "a": 0.3}))


def test_what_counts_as_first_is_what_the_sentence_begins_with():
    split = case("a", a=0.2, b=0.15, faultless=0.4)
    assert called_faultless(split)
    assert not named_first(split)
    assert listed(1)(split), "in the list of causes it is the first"
    assert split.rank("a") == 2
    open_still = case("a", a=0.15, b=0.1, faultless=0.2)
    assert not called_faultless(open_still), "less than a quarter is not spoken of"
    assert named_first(open_still)
    assert not named_first(case("a", a=0.3, b=0.3, faultless=0.1)), "ties count against it"


def test_both_faults_count_when_both_are_high_enough_in_the_list_of_causes():
    two = Case(true=("a", "b"), said={FAULTLESS: 0.5, "a": 0.4, "c": 0.3, "d": 0.2, "b": 0.1})
    assert listed(4)(two)
    assert not in_top(4)(two)
    assert not listed(3)(two)


def test_the_bar_is_set_where_so_many_faultless_hands_are_called_so():
    sound = [Case(true=(), said={FAULTLESS: 1.0, "a": times}) for times in (0.1, 0.2, 0.5, 2.0)]
    faulty = [case("a", a=times, faultless=1.0) for times in (0.3, 0.6, 1.9, 2.1)]
    named = [first_where_so_many_are_sound([*sound, *faulty], s).value for s in (0.5, 0.75, 1.0)]
    assert named == pytest.approx([1.0, 0.75, 0.25])


# --- hands made of paper: five answers, three causes


def paper_hand(rng: np.random.Generator, number: int):
    kind = ("loop-long", "wrist-tight", "")[number % 3]
    place = "index-middle" if kind == "loop-long" else ""
    tilt = (-8.0 if kind == "loop-long" else 0.0) + rng.standard_normal()
    drops = "no" if kind == "wrist-tight" else "yes"
    return {
        "seed": 1,
        "number": number,
        "tries": 1,
        "faults": [{"kind": kind, "place": place}] if kind else [],
        "observations": [
            {
                "of": "whippletree-level",
                "value": round(tilt, 1),
                "unit": "deg",
                "method": "photo",
                "given": True,
            },
            {"of": "cuff-drops-freely", "answer": drops, "given": True},
        ],
    }


@pytest.fixture(scope="module")
def paper():
    rng = np.random.default_rng(6)
    return [paper_hand(rng, k) for k in range(60)]


def test_the_leaflet_knows_a_symptom_when_it_sees_one(paper):
    catalogue, protocol = tables()
    leaflet = SymptomTable(catalogue, protocol)
    tight = next(h for h in paper if h["faults"] and h["faults"][0]["kind"] == "wrist-tight")
    said = leaflet.said(tight)
    assert sum(said.values()) == pytest.approx(1.0)
    assert max(said, key=lambda f: said[f]) == "wrist-tight"
    assert sum(prior_of(catalogue).values()) == pytest.approx(1.0)


def test_minutes_of_a_wrong_stop_are_those_of_the_whole_order(paper):
    catalogue, protocol = tables()
    clock = minutes.times(catalogue, protocol)
    tight = next(h for h in paper if h["faults"] and h["faults"][0]["kind"] == "wrist-tight")

    def ask(said):
        drops = any(o["of"] == "cuff-drops-freely" for o in said)
        return ({"wrist-tight": 0.95} if drops else {"wrist-tight": 0.1}), ("cuff-drops-freely", "")

    def rash(said):
        return {"loop-long@index-middle": 0.95}, None

    def helpless(said):
        return {"wrist-tight": 0.1}, None

    named = minutes.by_next_check(tight, ask, clock)
    assert (named.ended, named.minutes) == ("named", clock.per_place["cuff-drops-freely"])
    assert minutes.by_next_check(tight, rash, clock).minutes == clock.whole
    assert minutes.by_next_check(tight, helpless, clock).ended == "open"
    assert minutes.by_fixed_order(tight, rash, clock).ended == "wrong"
    fixed = minutes.by_fixed_order(tight, ask, clock)
    assert fixed.ended == "named"
    assert named.minutes < fixed.minutes < clock.whole
    assert [h["faults"][0]["kind"] for h in spread_over_kinds(paper, 4)] == ["loop-long", "wrist-tight"] * 2


def test_the_report_says_what_was_met_and_what_was_not(paper):
    perfect = [as_case(h, {(as_case(h, {}).true or (FAULTLESS,))[0]: 1.0}) for h in paper]
    never = [as_case(h, {"screw-spins@thumb-side": 1.0}) for h in paper]
    search = minutes.Search(minutes=1.0, looked_minutes=1.0, checks=1, ended="named")
    slow = minutes.Search(minutes=2.0, looked_minutes=2.0, checks=2, ended="named")
    catalogue, _ = tables()
    told = {}
    for name, tool in (("perfect", perfect), ("never", never)):
        judged = Judged(
            tool=tool,
            even=tool,
            ceilings={"perfect": perfect},
            leaflet=never,
            prior=prior_of(catalogue),
            none_fits=[False] * len(paper),
            query_ms=[10.0] * len(paper),
            searches={"tool": [search] * 5, "fixed": [slow] * 5},
            search_kinds=["1/1"] * 5,
            unseen=[k % 2 == 0 for k in range(len(paper))],
            learnt="learnt from paper",
            draws=5,
        )
        told[name] = report(judged, "written here", ["paper"])
    assert "| true cause first, mean over kinds | 100.0%" in told["perfect"]
    assert "50% (95 % interval 50% to 50%) |  | 25 % | met" in told["perfect"]
    assert "| what | 60 hands | of these 30 unseen | wanted | all |" in told["perfect"]
    assert told["never"].count("**not met**") >= 3
