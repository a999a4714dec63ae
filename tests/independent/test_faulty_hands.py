"""The generator of independent faulty hands: it covers the catalogue, keeps its own laws, and holds still."""

from __future__ import annotations

import json
import tomllib
from dataclasses import replace
from pathlib import Path

import faulty_motion as motion
import faulty_shapes as shapes
import numpy as np
import pytest
from faulty_builds import KINDS, Fault, all_faults, go_together, places, with_faults
from faulty_hand import as_line, make, sound_hand
from faulty_ranges import draw, ranges
from faulty_readings import Volunteer, failures
from referee import Tuning
from referee_friction import RubbingHand

import handsel.data
from handsel.data.load_design import load_design

LINDEN = load_design("linden")
CATALOGUE = tomllib.loads(
    (Path(handsel.data.__file__).parent / "faults" / "wrist-hand-1.toml").read_text(encoding="utf-8")
)
HELD_DEG = 0.05
STEPS_20_S = round(20.0 / Tuning().timestep_s)


def a_hand(*faults: Fault, seed: int = 5, harder: float = 0.5):
    return with_faults(LINDEN, faults, np.random.default_rng(seed), harder=harder)


# --- the catalogue is covered


def test_every_kind_and_place_of_the_catalogue_can_be_made():
    asked = {(f["id"], place) for f in CATALOGUE["fault"] for place in f.get("places", [""])}
    made = {(f.kind, f.place) for f in all_faults(LINDEN)}
    assert made <= asked
    # Known since the ranges were written; nothing is drawn of them, or every hand would be another one.
    assert {kind for kind, _ in asked - made} == {"all-cords-long", "all-cords-short"}
    assert set(KINDS) == set(ranges()["kind"])


def test_every_question_of_the_catalogue_gets_an_answer_in_its_own_words():
    sound = sound_hand(LINDEN)
    said = Volunteer(motion.as_designed(LINDEN), sound, sound, np.random.default_rng(1)).record()
    answered = {(s.of, s.place): s for s in said}
    for question in CATALOGUE["observable"]:
        for place in question.get("places", [""]):
            s = answered[question["id"], place]
            if question["kind"] == "number":
                assert s.unit == question["unit"]
                assert s.value is not None
            else:
                words = question.get("answers") or question["answers_at"][place]
                assert s.answer in words


def test_seeds_for_development_and_for_the_study_are_apart():
    seeds = ranges()["seeds"]
    assert not set(seeds["development"]) & set(seeds["study"])


# --- what holds, holds still


@pytest.mark.parametrize("held_by", ["its own pin", "its cords"])
def test_a_held_cuff_stays_where_it_is_for_twenty_seconds(held_by):
    recipe = motion.as_designed(LINDEN)
    if held_by == "its own pin":
        recipe.build.wrist_friction_nmm[0] = 70.0  # the cuff's weight makes some 55
        hand = motion.FaultyHand(recipe)
        hand.start(45.0)
        hand.grip(45.0)
        hand.advance(50)
        hand.let_go()
    else:
        recipe.build.excess_mm[0] = [4.0, 4.0, -1.0]  # the thumb stays bent by friction alone
        hand = motion.FaultyHand(recipe)
        motion._lowered(hand)
        motion._close(hand)
        motion._open(hand)
        motion._worked(hand)
    before, bent = hand.theta_deg, hand.digits_deg
    hand.advance(STEPS_20_S)
    assert hand.theta_deg == pytest.approx(before, abs=HELD_DEG)
    assert hand.digits_deg == pytest.approx(bent, abs=HELD_DEG)


def test_the_quicker_friction_is_that_of_the_referee():
    recipe = a_hand(Fault("loop-long", "index-middle"))
    hand = motion.FaultyHand(recipe)
    hand.start(20.0)
    hand.grip(20.0)
    hand.advance(100)
    assert hand.turning_rad() == pytest.approx(RubbingHand.turning_rad(hand), abs=1e-9)
    assert hand.friction_forces_n() == pytest.approx(RubbingHand.friction_forces_n(hand), abs=1e-12)


# --- shapes


def lines(design):
    found = [p.at_mm for c in design.cords for leg in c.legs for p in leg.points]
    return np.array(found + [h.origin_mm for h in design.hinges] + [p.centre_mm for p in design.pads])


def test_what_is_swapped_twice_is_as_before():
    once = shapes.tips_swapped(LINDEN, "index", "ring")
    twice = shapes.tips_swapped(once, "index", "ring")
    assert lines(twice) == pytest.approx(lines(LINDEN), abs=1e-9)
    assert np.abs(lines(once) - lines(LINDEN)).max() > 5.0
    parts = shapes.proximals_exchanged(LINDEN, "middle")
    back = shapes.proximals_exchanged(parts, "middle")
    assert lines(back) == pytest.approx(lines(LINDEN), abs=1e-9)


def test_a_part_of_the_right_size_and_a_block_set_straight_change_nothing():
    assert lines(shapes.part_sized(LINDEN, "thumb", "proximal", 1.0)) == pytest.approx(
        lines(LINDEN), abs=1e-9
    )
    assert lines(shapes.block_askew(LINDEN, 0.0, 0.0)) == pytest.approx(lines(LINDEN), abs=1e-9)


def test_a_cord_in_the_gap_lies_nearer_to_its_hinge_and_only_that_cord():
    changed = shapes.cord_through_gap(LINDEN, "ring", 0.6)
    moved = np.abs(lines(changed) - lines(LINDEN)).sum(1) > 1e-9
    assert moved.sum() == 1


# --- builds


def test_a_cord_tied_to_fit_has_the_path_length_of_the_wrong_part():
    change = lambda d: shapes.part_sized(d, "index", "proximal", 1.1)  # noqa: E731
    fit, board = motion.as_designed(LINDEN), motion.as_designed(LINDEN)
    fit.reshape(change, tied_to_fit=True)
    board.reshape(change, tied_to_fit=False)
    loop = 0
    fitted, short = motion.FaultyHand(fit), motion.FaultyHand(board)
    sound = motion.FaultyHand(motion.as_designed(LINDEN))
    assert short.cord_length_m[loop] == pytest.approx(sound.cord_length_m[loop], abs=1e-9)
    assert fitted.cord_length_m[loop] - sound.cord_length_m[loop] == pytest.approx(3.2e-3, abs=3e-4)


def test_two_faults_of_one_hand_do_not_set_the_same_thing():
    faults = list(all_faults(LINDEN))
    assert not any(go_together(LINDEN, f, f) for f in faults)
    assert not go_together(LINDEN, Fault("loop-long", "index-middle"), Fault("knot-slipped", "index"))
    assert go_together(LINDEN, Fault("loop-long", "index-middle"), Fault("loop-long", "ring-little"))
    assert not go_together(LINDEN, Fault("slide-canted"), Fault("screw-spins", "thumb-side"))


def test_every_fault_changes_the_hand_it_is_put_into():
    plain = a_hand()
    for kind, where in places(LINDEN).items():
        hand = a_hand(Fault(kind, where[0]))
        same = all(
            np.array_equal(getattr(plain.build, name), getattr(hand.build, name))
            for name in ("excess_mm", "tension_slide_mm", "thumb_pin_mm", "wrist_friction_nmm")
        )
        also = all(
            np.array_equal(getattr(plain.build, name), getattr(hand.build, name))
            for name in ("elastic_stiffness_ratio", "elastic_pretension_ratio", "hinge_friction_nmm")
        )
        kept = same and also and plain.leg_mu_ratio == hand.leg_mu_ratio
        assert not (kept and hand.design == plain.design), kind


def test_severities_stay_in_their_written_ranges():
    rng = np.random.default_rng(3)
    for harder in (0.0, 0.5):
        for how in ({"even": [2.0, 6.0]}, {"even": [-9.0, -3.0]}, {"log": [0.5, 8.0]}):
            ((low, high),) = how.values()
            drawn = [draw(how, rng, harder=harder) for _ in range(200)]
            assert min(drawn) >= low
            assert max(drawn) <= high
    harder_only = [abs(draw({"even": [-9.0, -3.0]}, rng, harder=0.5)) for _ in range(200)]
    assert min(harder_only) >= 6.0


# --- whole hands


def test_a_long_loop_tilts_the_bar_and_a_missing_elastic_leaves_its_digit_bent():
    loop = motion.work(a_hand(Fault("loop-long", "index-middle")))
    assert loop.tilt_deg < -5.0  # the other end is drawn forward
    gone = motion.work(a_hand(Fault("elastic-missing", "ring")))
    ring = [d.name for d in LINDEN.digits].index("ring")
    assert gone.left_bent_deg[ring] > 20.0
    assert gone.stays_deg[ring].min() > 20.0


def test_a_hand_is_the_same_from_the_same_seed_and_its_line_is_plain_json():
    fault = (Fault("thumb-cord-short"),)
    one, again = make(LINDEN, 99, 4, fault), make(LINDEN, 99, 4, fault)
    text = json.dumps(as_line(one), allow_nan=False)
    assert text == json.dumps(as_line(again), allow_nan=False)
    assert one.fails


def test_a_faultless_hand_fails_nothing_and_the_drawn_hand_least_of_all():
    made = make(LINDEN, 99, 5, ())
    assert made.fails == ()
    sound = sound_hand(LINDEN)
    assert failures(motion.as_designed(LINDEN), sound, sound) == []
    tight = motion.as_designed(LINDEN)
    tight.build.wrist_friction_nmm[0] = 60.0
    assert "cuff-drops-freely" in failures(tight, sound, sound)


def test_a_volunteer_without_errors_reads_the_truth():
    sound = sound_hand(LINDEN)
    exact = Volunteer(
        motion.as_designed(LINDEN), replace(sound, worked_deg=33.0), sound, np.random.default_rng(2)
    )
    exact.bias = dict.fromkeys(exact.bias, 0.0)
    exact.read = {
        k: v | {"sd": 0.0} if isinstance(v, dict) and "sd" in v else v for k, v in exact.read.items()
    }
    exact.read["gross_error_rate"] = 0.0
    exact.slip_rate = 0.0
    exact.judge = exact.judge | {"imagine_rate": 0.0, "overlook_rate": 0.0}
    said = {(s.of, s.place): s for s in exact.record()}
    assert said["worked-rest-angle", ""].value == 33.0
    assert said["thumb-meets-finger", ""].answer == "both"
    bad = {"no", "slack", "stays", "slow", "sticky", "jammed", "late", "early", "short", "hardly"}
    assert {s.of for s in said.values() if s.answer in bad} == {"tip-looks"}
