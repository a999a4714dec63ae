"""The ceiling of the diagnosis study: its hands and answers are the generator's; it learns what there is to learn."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np
import pytest
from faulty_builds import Fault, with_faults
from faulty_hand import as_line, make, sound_hand
from faulty_motion import work
from faulty_readings import Volunteer, failures

sys.path.insert(0, str(Path(__file__).parents[2] / "studies"))

import generator_hands as drawing
from diagnosis_ceiling import Learnt, Network, Questions, learnt_before, log_score, wanted
from diagnosis_scores import FAULTLESS
from generator_answers import Crowd
from swift_hands import swift_looks

from handsel.data.load_design import load_design

LINDEN = load_design("linden")
SOME = (Fault("hinge-tight", "ring.tip"), Fault("cord-through-gap", "index"))
VOLUNTEERS, CROWD = 300, 6000
# Half a step of the grid of shapes, and a coarser step of cord: tables with long parts reach further.
WITHIN = {"worked_rest_deg": 0.5, "lowered_rest_deg": 0.3, "tilt_deg": 1.0, "slack_mm": 0.5}


@pytest.fixture(scope="module")
def worked():
    """A hand with two faults, as both engines have it, and its table."""
    rng = np.random.default_rng(5)
    recipe = with_faults(LINDEN, SOME, rng, harder=0.3)
    truth = work(recipe)
    line = {
        k: np.asarray(v).tolist() for k, v in ((n, getattr(truth, n)) for n in truth.__dataclass_fields__)
    }
    table = drawing._of_referee(LINDEN, [line]) | {
        k: np.array([v], dtype=float)
        for k, v in drawing._of_recipe(LINDEN, recipe, Volunteer(recipe, truth, truth, rng)).items()
    }
    table["finger_slack"] = table["slack"][:, :-1]
    return recipe, truth, table


def test_a_crowd_says_what_as_many_volunteers_would(worked):
    recipe, truth, table = worked
    sound = sound_hand(LINDEN)
    records = [Volunteer(recipe, truth, sound, np.random.default_rng(k)).record() for k in range(VOLUNTEERS)]
    crowd = Crowd(
        LINDEN, {k: np.repeat(v, CROWD, 0) for k, v in table.items()}, np.random.default_rng(1)
    ).answers()
    assert [(s.of, s.place) for s in records[0]] == [*crowd.numbers, *crowd.words]
    for k, first in enumerate(records[0]):
        key, said = (first.of, first.place), [r[k] for r in records]
        if first.value is not None:
            values, ours = np.array([s.value for s in said]), crowd.numbers[key]
            assert np.median(values) == pytest.approx(np.median(ours), abs=0.35 * ours.std() + 0.1), key
        else:
            known, index = crowd.words[key]
            for word in known:
                share = float(np.mean([s.answer == word for s in said]))
                expected = float(np.mean(index == known.index(word)))
                sd = np.sqrt(max(expected * (1 - expected), 0.01) / VOLUNTEERS)
                assert abs(share - expected) < 4.5 * sd, (key, word)
        given = float(np.mean([s.given for s in said]))
        assert given == pytest.approx(float(crowd.given[first.of].mean()), abs=0.1)


def test_what_fails_the_protocol_is_what_the_generator_says(worked):
    recipe, truth, table = worked
    sound = sound_hand(LINDEN)
    assert bool(drawing.fails(table, sound)[0]) == bool(failures(recipe, truth, sound))
    good = {k: v.copy() for k, v in table.items()}
    for name, fine in (("in_gap", 0), ("hinge", 1), ("bend", 0), ("lag", 0), ("left", 0), ("pull_log2", 0), ("tilt", 0),
                       ("lead", 0), ("gap", 0), ("finger_slack", 0), ("worked", 36)):  # fmt: skip
        good[name][:] = fine
    assert not drawing.fails(good, sound)[0]
    good["askew"][:] = 9.0
    assert drawing.fails(good, sound)[0]


@pytest.mark.parametrize("fault", [SOME[1], Fault("cuff-uneven"), Fault("tips-swapped", "index-middle")])
def test_a_shape_from_the_grid_moves_as_its_own_tables_have_it(fault):
    recipe = with_faults(LINDEN, (fault,), np.random.default_rng(8))
    ours, own = drawing.worked(LINDEN, [recipe]), swift_looks(LINDEN, [recipe])
    for name, apart in WITHIN.items():
        assert np.abs(getattr(ours, name) - getattr(own, name)).max() < apart, name


def test_drawn_hands_fail_something_when_they_have_a_fault_and_nothing_when_not():
    lines = [json.loads(json.dumps(as_line(make(LINDEN, 11, k)))) for k in (3,)]
    mismatch = drawing.Mismatch(LINDEN, lines)
    drawn = drawing.drawn_hands(LINDEN, mismatch, 77, range(40))
    assert len(drawn.faults) >= 36
    failing = drawing.fails(drawn.table, sound_hand(LINDEN))
    assert failing.tolist() == [bool(f) for f in drawn.faults]
    assert 0 < sum(failing) < len(failing)


def test_the_network_learns_the_probability_that_there_is(tmp_path):
    """Two causes and none, told by one number: the odds are known."""
    rng = np.random.default_rng(2)
    causes = ("a", "b", FAULTLESS)
    which = rng.integers(0, 3, 20000)
    x = (which[:, None] * 1.5 + rng.standard_normal((20000, 1))).astype(np.float32)
    faults = [(causes[k],) if k < 2 else () for k in which]
    y = wanted(causes, faults)
    network = Network.fresh(1, 3, rng, layers=(24, 24))
    for k in range(1500):
        some = rng.integers(0, len(x), 256)
        network.learn(x[some], y[some], 1e-2 / (1.0 + 0.01 * k))
    at = np.array([[-0.5], [0.75], [1.5], [3.0]], dtype=np.float32)
    odds = np.exp(-0.5 * (at - 1.5 * np.arange(3)) ** 2)
    exact = odds / odds.sum(1, keepdims=True)
    assert network.there(at) == pytest.approx(exact, abs=0.07)
    odds = np.exp(-0.5 * (x - 1.5 * np.arange(3)) ** 2)
    true = (odds / odds.sum(1, keepdims=True))[np.arange(len(x)), which]
    best = -np.log(true[which < 2]).mean()
    assert log_score(network.there(x), faults, causes) == pytest.approx(best, abs=0.03)
    kept = Learnt(
        network=network,
        questions=Questions(numbers=(), words=()),
        causes=causes,
        hands=9,
        course=((1, 0.5, 0.6),),
    )
    kept.keep(tmp_path / "learnt.npz")
    again = learnt_before(tmp_path / "learnt.npz")
    assert (again.causes, again.course, again.hands) == (kept.causes, kept.course, 9)
    assert np.array_equal(again.network.there(at), network.there(at))
