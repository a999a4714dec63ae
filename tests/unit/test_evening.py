"""Fingers that move apart for no cause: when that is thought of, what evening the elastics brings and takes."""

from dataclasses import replace

import numpy as np
import pytest

from handsel.data.load_design import load_design
from handsel.diagnosis.hands import columns_of
from handsel.diagnosis.likelihood import Rows, Seen, items_of
from handsel.diagnosis.posterior import Posterior
from handsel.mechanics.draws import Draws
from handsel.rework.hand.belief import believe
from handsel.rework.hand.evening import UNEVEN, evened, with_uneven
from handsel.rework.hand.plan import plan_hand
from handsel.rework.hand.steps import Bench, setting_minutes

FINGERS = ("index", "middle", "ring", "little")
HANDS = 30  # of each state


@pytest.fixture(scope="module")
def sound_or_tight(catalogue):
    """A posterior torn between a sound hand and a tight hinge of the ring finger, which comes late by it."""
    columns = columns_of(catalogue)
    tight = next(f.index for f in catalogue.faults if f.id == "hinge-tight@ring.knuckle")
    seen = np.zeros((len(columns), 2 * HANDS), dtype=np.float32)
    seen[columns.index("apart_deg@ring"), HANDS:] = 24.0
    by_fault = np.zeros(len(catalogue.faults))
    by_fault[tight] = 0.5
    return Posterior(
        rows=Rows(
            columns=columns,
            seen=seen,
            blur=np.zeros((len(columns), 2), dtype=np.float32),
            strata=np.array([[-1, -1], [tight, -1]], dtype=np.int16),
            stratum=np.repeat(np.arange(2, dtype=np.int32), HANDS),
            scale_miss=0.0,
        ),
        severity=np.zeros((2 * HANDS, 2), dtype=np.float32),
        weight=np.full(2 * HANDS, 0.5 / HANDS),
        by_set=np.array([0.5, 0.5]),
        by_fault=by_fault,
        effective_hands=2.0 * HANDS,
        refined=False,
    )


def together(catalogue, **apart):
    """What was said of the fingers: yes, but for those named."""
    told = [Seen(of="fingers-move-together", place=f, answer=apart.get(f, "yes")) for f in FINGERS]
    return items_of(catalogue, told)


def test_nobody_thinks_of_it_before_somebody_saw_fingers_apart(catalogue, actions, sound_or_tight):
    assert with_uneven(sound_or_tight, catalogue, actions.evening, ()) is None
    assert with_uneven(sound_or_tight, catalogue, actions.evening, together(catalogue)) is None


def test_seen_apart_the_hand_is_sound_but_for_its_elastics_or_has_the_cause(
    catalogue, actions, sound_or_tight
):
    p = with_uneven(sound_or_tight, catalogue, actions.evening, together(catalogue, ring="no"))
    assert p.by_set.sum() == pytest.approx(1.0)
    assert p.weight.sum() == pytest.approx(1.0)
    assert len(p.by_set) == len(sound_or_tight.by_set) + 1
    assert p.by_set[0] == pytest.approx(p.by_set[1])  # both lose alike
    assert p.by_set[2] > 0.25 * p.by_set[0]  # more than the share of such hands says by itself
    mine = p.rows.stratum == 2
    assert p.weight[mine].sum() == pytest.approx(p.by_set[2])
    columns = p.rows.columns
    behind = np.stack([p.rows.seen[columns.index(f"apart_deg@{f}")] for f in FINGERS])
    # The finger that was said to be behind is the one that is behind, in most of what these hands weigh.
    last = behind[:, mine].argmax(0) == FINGERS.index("ring")
    assert p.weight[mine][last].sum() > 0.6 * p.by_set[2]
    assert np.all(behind[:, mine].max(0) >= 18.0)


def test_two_who_saw_it_make_it_more_probable(catalogue, actions, sound_or_tight):
    once = with_uneven(sound_or_tight, catalogue, actions.evening, together(catalogue, ring="no"))
    told = [Seen(of="fingers-move-together", place="ring", answer="no", by=f"builder {k}") for k in (1, 2)]
    twice = with_uneven(sound_or_tight, catalogue, actions.evening, items_of(catalogue, told))
    assert twice.by_set[2] > 1.2 * once.by_set[2]


def test_where_nothing_else_explains_it_the_elastics_are_evened(catalogue, actions, protocol, sound_or_tight):
    sound = replace(
        sound_or_tight,
        weight=np.repeat([1.0 / HANDS, 0.0], HANDS),
        by_set=np.array([1.0, 0.0]),
        by_fault=np.zeros(len(catalogue.faults)),
    )
    told = [Seen(of="fingers-move-together", place="ring", answer="no", by=f"builder {k}") for k in (1, 2)]
    plan = plan_hand(
        sound,
        catalogue,
        actions,
        protocol,
        hold_point="strung",
        seen=items_of(catalogue, told),
        done={(o.id, place) for o in catalogue.observables for place in o.places},
        looked_again=True,
    )
    step = plan.first
    assert step.title == actions.evening.title
    assert [(r.rework, r.place) for r in step.reworks] == [("adjust-elastic", f) for f in FINGERS]
    assert UNEVEN in step.cures
    assert step.sets  # another pull moves the angle at which fingers start
    assert not step.way.cuts
    assert step.p_conforms == pytest.approx(actions.evening.chance, abs=0.02)


def test_a_step_of_all_fingers_is_no_more_of_the_step_of_one(catalogue, actions, protocol, sound_or_tight):
    belief = believe(
        sound_or_tight,
        catalogue,
        actions,
        protocol,
        hold_point="strung",
        lengths=None,
        none_fits=False,
        seen=together(catalogue, ring="no"),
    )
    assert frozenset({UNEVEN}) in belief.states
    evening = [k for k, s in enumerate(belief.steps) if UNEVEN in s.cures and len(s.cures) == 1]
    assert len(evening) == 1
    easing = next(k for k, s in enumerate(belief.steps) if s.cures == ("hinge-tight@ring.knuckle",))
    assert not belief.problem.excludes[easing, evening[0]]


def test_setting_a_hand_has_minutes_for_the_elastics_of_those_that_need_it(actions, protocol):
    bench = Bench(actions=actions, protocol=protocol, hold_point="strung", evening_places=FINGERS)
    own = 4 * protocol.rework("adjust-elastic").minutes
    assert setting_minutes(bench) == pytest.approx(
        actions.setting.minutes + actions.evening.apart_share * own
    )
    assert setting_minutes(bench, evens=True) == actions.setting.minutes


def test_the_shares_of_the_file_are_those_of_the_model(catalogue, actions):
    """Few hands here; many in the study. No closer than chance lets it be."""
    e, hands = actions.evening, 80
    design, spread = load_design("linden"), catalogue.spread
    found, careless = (
        evened(design, spread, limit_deg=18.0, pull_sd_ratio=sd, hands=hands, draws=Draws(9))
        for sd in (e.pull_sd_ratio, 0.3)
    )
    assert found.hands == hands
    u_share = (e.apart_share * (1.0 - e.apart_share) / hands) ** 0.5
    assert found.apart / hands == pytest.approx(e.apart_share, abs=3.0 * u_share)
    assert found.chance == pytest.approx(e.chance, abs=3.0 * found.u_chance)
    assert 0.0 < found.u_chance < 0.1
    assert found.apart_deg == pytest.approx(e.apart_deg, abs=3.0)
    # Elastics drawn carelessly keep fewer fingers together.
    assert careless.apart == found.apart
    assert careless.chance < found.chance - 0.1
