"""The whole answer for hands of every kind: what is said first, what it rests on, what is looked at again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import cache

import pytest

from handsel.data.load_design import load_design
from handsel.design.placing import placed
from handsel.inspection.case import Case, Observation
from handsel.mechanics.build import nominal_build
from handsel.mechanics.closing import MEET_MM, closed_angle, closing_path
from handsel.mechanics.model import compile_model
from handsel.rework.assessment import FINDING, assess, wanted_from
from handsel.rework.result import Assessment, FixKind
from handsel.rework.words import answer
from inspecting import bundled, hand, sound_case

FINGERS = ("index", "middle", "ring", "little")


def of(case: Case) -> Assessment:
    return assess(
        case,
        bundled(),
        load_design("linden"),
        design_sha256="d" * 64,
        protocol_sha256="p" * 64,
        program_version="0.1",
    )


def changed(
    numbers: Mapping[str, float],
    answers: Mapping[str, str] | None = None,
    *,
    without: tuple[str, ...] = (),
    case: Case | None = None,
) -> Case:
    """A sound case with some numbers and answers changed and others not given."""
    answers = answers or {}
    made: list[Observation] = []
    for o in (case or sound_case()).observations:
        if o.of in without:
            continue
        if o.of in numbers:
            o = replace(o, value=numbers[o.of], readings=())
        elif o.of in answers:
            o = replace(o, answer=answers[o.of])
        made.append(o)
    return replace(case or sound_case(), observations=tuple(made))


ANGLES = ("worked-rest-angle", "lowered-rest-angle")


def at(angle: float, **more: float) -> dict[str, float]:
    return dict.fromkeys(ANGLES, angle) | {k.replace("_", "-"): v for k, v in more.items()}


@cache
def sound() -> Assessment:
    return of(sound_case())


def test_a_sound_hand_needs_nothing() -> None:
    a = sound()
    assert a.conforms
    assert a.fix.kind is FixKind.NOTHING
    assert a.sentence == f"Good. {a.inspection.sentence}"
    assert a.recheck == ()
    assert a.lengths is not None
    assert all(c.excess_mm.low < 0.5 < c.excess_mm.high + 1.0 for c in a.lengths.cords)
    assert a.inspection.item(FINDING).status == "conforms"
    assert a.now is not None
    assert a.now.worked_rest_angle_deg.low < 36.0 < a.now.worked_rest_angle_deg.high
    assert a.now.closed_wrist_deg is not None
    assert a.angle_limit_deg == (30.0, 45.0)
    assert a.target_deg == 36.0
    assert a.drawn_after is None


def test_poses_lead_from_rest_to_closed() -> None:
    poses = sound().closing
    assert len(poses) == 6
    wrists = [p.wrist_deg for p in poses]
    assert wrists == sorted(wrists, reverse=True)
    assert poses[0].label == "at rest"
    assert poses[-1].label == "closed"
    assert sum(map(sum, poses[-1].phi_deg)) > sum(map(sum, poses[0].phi_deg)) + 100.0
    assert all(len(p.phi_deg) == 5 and len(p.taut) == 3 for p in poses)


def test_the_closed_angle_agrees_with_small_steps_and_contact() -> None:
    design = placed(load_design("linden"), scale_ratio=1.0, side="left")
    model = compile_model(design, nominal_build(design, 1))
    closed = closed_angle(closing_path(model, to_deg=0.0, step_deg=2.0), MEET_MM)[0]
    said = sound().now.closed_wrist_deg  # type: ignore[union-attr]
    assert said is not None
    assert said.low < closed < said.high
    assert said.value == pytest.approx(closed, abs=1.5)


def test_a_little_shallow_is_adjusted_and_both_slides_are_named() -> None:
    a = of(changed(at(28.5)))
    assert not a.conforms
    assert a.fix.kind is FixKind.ADJUST
    assert a.fix.move is not None
    assert a.fix.move.screw_turns == 4.0
    assert a.fix.move.thumb_pin_mm > 0.0
    assert a.sentence.startswith("Not yet. Turn both tension screws in by 4 turns")
    assert "thumb tension pin" in a.sentence
    assert "read the angle again" in a.sentence
    assert a.fix.after is not None
    assert a.fix.after.worked_rest_angle_deg.low > 30.0
    assert a.fix.after.screw_turns_left == pytest.approx(a.now.screw_turns_left - 4.0, abs=0.1)  # type: ignore[union-attr]
    again = {r.id for r in a.recheck}
    assert {
        "worked-rest-angle",
        "thumb-starts-with-fingers",
        "whippletree-flush",
        "thumb-pin-in-line",
    } <= again
    assert a.drawn_after is not None
    assert a.drawn_after.wrist_deg > a.drawn_now.wrist_deg + 2.0  # type: ignore[union-attr]


def test_far_too_shallow_is_restrung_with_lengths_to_cut() -> None:
    a = of(changed(at(22.0)))
    assert a.fix.kind is FixKind.RESTRING
    assert len(a.fix.new_cords) >= 2
    for new in a.fix.new_cords:
        assert new.cut_length_mm == pytest.approx(new.finished_length_mm - new.seating_mm + 100.0)
        assert f"{new.cut_length_mm:.0f} mm" in a.sentence
    assert any("blade" in c for c in a.cautions)
    assert any("Cyanoacrylate" in c for c in a.cautions)  # what follows has its cautions too
    assert a.fix.after is not None
    assert a.fix.after.worked_rest_angle_deg.value == pytest.approx(36.0, abs=0.7)
    assert {"six-knots", "knots-tied-tight"} <= {r.id for r in a.recheck}


def test_one_cord_replaced_leaves_the_knots_of_the_others() -> None:
    a = of(changed(at(32.0, whippletree_level=-8.6, thumb_starts_with_fingers=3.0, lowered_rest_angle=35.0)))
    assert a.fix.kind is FixKind.RESTRING
    assert [n.cord for n in a.fix.new_cords] == ["loop_a"]
    knots = {r.place for r in a.recheck if r.id == "knots-sealed"}
    assert knots == {"index", "middle"}


def test_screws_pulled_in_are_not_taken_for_good() -> None:
    turns = {f"tension-screw-{side}-side": 10.0 for side in ("thumb", "little")}
    a = of(changed({**at(36.0), "whippletree-flush": 5.0, "thumb-pin-in-line": 2.5, **turns}))
    assert not a.conforms
    assert a.fix.kind is FixKind.RESTRING
    assert a.fix.move is not None
    assert a.fix.move.screw_turns <= -9.5


def test_a_good_lowered_angle_does_not_pass_a_hand_that_cannot_close() -> None:
    """Loops 8 mm long, thumb cord 2 mm short: 39 degrees when lowered."""
    numbers = {"worked-rest-angle": 28.5, "lowered-rest-angle": 39.3, "thumb-starts-with-fingers": 10.5}
    a = of(changed(numbers, {"thumb-meets-finger": "neither"}))
    assert not a.conforms
    assert a.inspection.item(FINDING).status == "does not conform"
    assert a.inspection.item(FINDING).severity == "major"
    assert a.now is not None
    assert a.now.closed_wrist_deg is None  # as it is, the thumb gets past before the fingers come
    assert a.fix.kind is FixKind.ADJUST
    assert a.fix.move is not None
    assert a.fix.move.thumb_pin_mm < -2.0
    assert a.fix.after is not None
    assert a.fix.after.closed_wrist_deg is not None
    # lowered alone, it would have been let through by its number
    alone = of(changed(numbers, without=("worked-rest-angle",)))
    assert not alone.conforms
    assert alone.inspection.item(FINDING).status != "conforms"


@pytest.mark.parametrize(
    ("characteristic", "rework"),
    [
        ("whippletree-rocks-strung", "free-whippletree"),
        ("cuff-no-cracks", "replace-cuff"),
        ("thumb-proximal-on-thumb", "swap-parts"),
    ],
)
def test_parts_come_before_numbers(characteristic: str, rework: str) -> None:
    a = of(changed(at(25.0), {characteristic: "no"}))
    assert a.fix.kind is FixKind.PART_FIRST
    assert a.fix.move is None
    assert a.fix.rework_ids[0] == rework
    assert "turns" not in a.sentence
    assert a.recheck


def test_without_any_angle_the_angle_is_asked_for() -> None:
    a = of(changed({}, without=ANGLES))
    assert a.lengths is None
    assert a.now is None
    assert a.closing == ()
    assert a.fix.kind is FixKind.READ_FIRST
    assert not a.conforms
    assert FINDING not in {i.id for i in a.inspection.items}


def test_an_early_stage_has_no_lengths_to_speak_of() -> None:
    a = of(sound_case("dry-fit"))
    assert a.conforms
    assert a.lengths is None
    assert a.fix.kind is FixKind.NOTHING


def test_a_slack_thumb_cord_is_read_before_anything_is_cut() -> None:
    a = of(
        changed(
            at(30.2), {"thumb-cord-press": "slack"}, without=("thumb-starts-with-fingers", "thumb-tip-bend")
        )
    )
    assert a.fix.kind is FixKind.READ_FIRST
    assert a.lengths is not None
    assert a.lengths.settling_reading == "thumb-starts-with-fingers"
    assert "slack" in a.sentence


def test_readings_that_contradict_each_other_are_read_again() -> None:
    a = of(changed({"worked-rest-angle": 36.0, "lowered-rest-angle": 15.0}))
    assert a.fix.kind is FixKind.READ_FIRST
    assert a.lengths is not None
    assert not a.lengths.agrees
    assert "contradict" in a.sentence
    assert any("does not fit" in note for note in a.notes)


def test_unread_slides_are_said_to_be_taken_as_forward() -> None:
    a = of(
        changed({}, without=("whippletree-flush", "tension-screw-thumb-side", "tension-screw-little-side"))
    )
    assert any("screws were not read" in note for note in a.notes)


def test_lengths_right_and_yet_it_does_not_close_points_elsewhere() -> None:
    a = of(changed({}, {"grips-25-mm": "no"}))
    assert a.fix.kind is FixKind.READ_FIRST
    assert "read right" in a.sentence
    assert a.fix.move is None


def test_a_recipients_own_target_widens_the_limits_toward_it() -> None:
    case = replace(sound_case(), hand=hand(target_rest_angle_deg=44.0))
    wanted = wanted_from(case, bundled())
    assert (wanted.target_deg, wanted.least_deg, wanted.most_deg) == (44.0, 30.0, 48.0)
    usual = wanted_from(sound_case(), bundled())
    assert (usual.target_deg, usual.least_deg, usual.most_deg) == (36.0, 30.0, 45.0)


def test_a_left_hand_is_judged_as_a_right_one() -> None:
    left, right = (of(replace(changed(at(28.5)), hand=hand(side=side))) for side in ("left", "right"))
    assert left.fix.move == right.fix.move
    assert left.sentence == right.sentence


def test_the_same_hand_gets_the_same_answer_twice() -> None:
    case = changed(at(31.0))
    assert of(case) == of(case)


def test_nobody_reads_an_order_as_a_pass():
    """A bare order gets the decision in front; a sentence that has it already does not."""
    order = "Turn both screws in by 3 turns."
    assert answer("not decided yet", order) == f"Not decided yet. {order}"
    assert answer("rework", "Not yet: turn both screws in.") == "Not yet: turn both screws in."
    assert answer("release", "It may go on.") == "Good. It may go on."
