"""Reworks of independent faulty hands: what was put right is gone, what was not stays, errors are people's."""

from dataclasses import replace

import numpy as np
import pytest
from faulty_builds import Fault
from faulty_hand import sound_hand
from faulty_motion import work
from faulty_readings import failures
from faulty_rework import Broken, Change, _recipe, evened, rebuilt, reworked, seen_by_another

from handsel.data.load_design import load_design
from handsel.inspection.undo import ReworkDone
from handsel.rework.moves import nominal_length_mm

LINDEN = load_design("linden")
SEED, NUMBER = 11, 4


def hand_with(*faults):
    """A hand with these faults; not worked, so that only what is asked for costs time."""
    recipe = _recipe(LINDEN, SEED, NUMBER, faults, 0.5, Change())
    return Broken(
        seed=SEED,
        number=NUMBER,
        harder=0.5,
        faults=faults,
        change=Change(),
        recipe=recipe,
        truth=sound_hand(LINDEN),
        fails=(),
        said=(),
    )


def after(hand, rework, *, cures=(), place="", turns=0.0, pin_mm=0.0, finished_mm=None, seed=1):
    return reworked(
        hand,
        LINDEN,
        reworks=[ReworkDone(rework=rework, place=place)],
        cures=cures,
        turns=turns,
        pin_mm=pin_mm,
        finished_mm=finished_mm or {},
        rng=np.random.default_rng(seed),
    )


@pytest.fixture(scope="module")
def tight():
    return hand_with(Fault("hinge-tight", "ring.knuckle"), Fault("elastic-missing", "index"))


def test_one_fault_goes_and_everything_else_of_the_hand_stays(tight):
    eased = after(tight, "ease-hinge", cures=["hinge-tight@ring.knuckle"], place="ring")
    assert eased.faults == (Fault("elastic-missing", "index"),)
    before, now = tight.recipe.build, eased.recipe.build
    assert before.hinge_friction_nmm[0, 2, 0] > 5.0 * now.hinge_friction_nmm[0, 2, 0]
    assert np.array_equal(before.excess_mm, now.excess_mm)
    assert np.array_equal(before.elastic_stiffness_ratio, now.elastic_stiffness_ratio)
    assert "hinges-free" not in eased.fails
    assert "elastics" in eased.fails


def test_the_wrong_rework_cures_nothing(tight):
    wrong = after(tight, "ease-wrist", cures=["wrist-tight"])
    assert wrong.faults == tight.faults
    assert {"hinges-free", "elastics"} <= set(wrong.fails)


def test_a_new_cord_takes_the_old_one_s_length_with_it_within_people_s_errors():
    long = hand_with(Fault("loop-long", "index-middle"))
    cord = next(k for k, c in enumerate(LINDEN.cords) if c.legs[0].digit == "index")
    assert long.recipe.build.excess_mm[0, cord] > 2.0
    wanted = nominal_length_mm(LINDEN, cord)
    found = [after(long, "restring-loop", finished_mm={cord: wanted}, seed=s) for s in range(3)]
    assert all(not h.faults for h in found)
    left = [float(h.recipe.build.excess_mm[0, cord]) for h in found]
    assert max(abs(x) for x in left) < 2.5
    assert len(set(left)) == 3


def test_screws_turned_and_a_pin_moved_stand_where_people_put_them():
    plain = hand_with(Fault("loop-long", "index-middle"))
    moved = after(plain, "turn-screws-in", turns=2.0, pin_mm=1.5)
    slide = float(moved.recipe.build.tension_slide_mm[0] - plain.recipe.build.tension_slide_mm[0])
    assert slide == pytest.approx(1.0, abs=0.2)  # two turns of half a millimetre
    assert float(moved.recipe.build.thumb_pin_mm[0] - plain.recipe.build.thumb_pin_mm[0]) == pytest.approx(
        1.5, abs=1.0
    )
    assert moved.faults == plain.faults  # the loop is as long as it was


def test_a_hand_put_right_conforms_in_the_simulation():
    """The hand of the first test with both faults put right is the plain one, and that conforms."""
    plain = _recipe(LINDEN, SEED, NUMBER, (), 0.0, Change())
    good = failures(plain, work(plain), sound_hand(LINDEN))
    both = hand_with(Fault("hinge-tight", "ring.knuckle"), Fault("elastic-missing", "index"))
    now = after(both, "ease-hinge", cures=["hinge-tight@ring.knuckle", "elastic-missing@index"])
    assert list(now.fails) == good
    assert now.faults == ()


def test_taken_apart_and_built_again_the_hand_has_no_fault_and_cords_within_people_s_errors(tight):
    plain = _recipe(LINDEN, SEED, NUMBER, (), 0.0, Change())
    again = rebuilt(tight, LINDEN, np.random.default_rng(3))
    assert again.faults == ()
    assert np.array_equal(again.recipe.build.hinge_friction_nmm, plain.build.hinge_friction_nmm)
    assert "elastics" not in again.fails
    excess = again.recipe.build.excess_mm[0]
    assert np.all(np.abs(excess) < 3.0)
    assert not np.any(excess == plain.build.excess_mm[0])


def test_fingers_that_move_apart_by_uneven_elastics_keep_together_once_these_are_evened():
    """Elastics of the ordinary spread: no rule is broken by their pulls, but the ring and little finger come late."""
    pretension = dict(
        enumerate(LINDEN.elastics[k].pretension_ratio * r for k, r in enumerate((0.82, 0.9, 1.25, 1.15)))
    )
    plain = replace(hand_with(), change=Change(pretension=pretension))
    uneven = after(plain, "ease-wrist")
    assert uneven.fails == ("fingers-move-together",)
    even = evened(uneven, LINDEN, np.random.default_rng(2))
    assert even.fails == ()
    assert np.nanmax(even.truth.lag_deg) < 0.5 * np.nanmax(uneven.truth.lag_deg)
    now, before = even.recipe.build, uneven.recipe.build
    assert np.array_equal(now.elastic_stiffness_ratio, before.elastic_stiffness_ratio)
    pull = (now.elastic_stiffness_ratio * now.elastic_pretension_ratio)[0, :4]
    assert 0.0 < np.log(pull).std() < 0.15  # people's errors
    # The thumb's elastic is left alone, and one with a fault of its own too.
    assert now.elastic_pretension_ratio[0, 4] == before.elastic_pretension_ratio[0, 4]
    missing = hand_with(Fault("elastic-missing", "index"))
    drawn = evened(missing, LINDEN, np.random.default_rng(2)).recipe.build
    assert drawn.elastic_pretension_ratio[0, 0] == missing.recipe.build.elastic_pretension_ratio[0, 0]


def test_somebody_else_is_asked_the_same_and_errs_in_other_places(tight):
    """Both see that the elastic is missing; their readings are their own."""
    one, other = (seen_by_another(tight, LINDEN, np.random.default_rng(s)) for s in (1, 2))
    assert [(s.of, s.place) for s in one] == [(s.of, s.place) for s in other]
    angles = [next(s.value for s in said if s.of == "worked-rest-angle") for said in (one, other)]
    assert angles[0] != angles[1]
    for said in (one, other):
        there = next(s for s in said if (s.of, s.place) == ("elastics-there", "index"))
        assert there.answer == "no"
