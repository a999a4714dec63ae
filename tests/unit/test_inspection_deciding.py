"""The decision for one hand: what releases it, what stops it, and what it says."""

from __future__ import annotations

from dataclasses import replace

import pytest

from handsel.data.load_case import load_case
from handsel.errors import OutOfRange
from handsel.inspection.case import Finding
from handsel.inspection.deciding import due, inspect
from handsel.metrology.decision import Verdict
from inspecting import CASES, answer, bad_answer, bundled, hand, number, sound_case, with_, without

STAGES = ("parts", "dry-fit", "strung", "finished", "fitting")


@pytest.mark.parametrize("stage", STAGES)
def test_a_sound_hand_is_released_at_every_hold_point(stage):
    found = inspect(sound_case(stage), bundled())
    assert found.whole == "release"
    assert found.open_items == ()
    assert found.next_check is None
    following = {
        "parts": "“Dry fit”",
        "dry-fit": "“Strung”",
        "strung": "“Finished”",
        "finished": "“Fitting”",
        "fitting": "the recipient",
    }
    assert found.released_to == following[stage]


def test_a_case_typed_by_a_person_is_released():
    found = inspect(load_case(CASES / "good_hand.toml"), bundled())
    assert (found.whole, found.open_items) == ("release", ())
    assert found.readings["worked_rest_angle_deg"].value == pytest.approx(36.1)
    assert found.readings["press_ring"] == "taut"


@pytest.mark.parametrize("c", bundled().characteristics, ids=lambda c: c.id)
def test_every_characteristic_can_stop_a_hand_or_is_minor(c):
    place = bundled().places(c.per)[0]
    bad = bad_answer(c, place)
    if bad is None:  # it only records
        assert c.severity == "minor"
        return
    found = inspect(
        with_(
            sound_case("fitting"),
            bad,
            *(o for p in bundled().places(c.per)[1:] for o in [replace(sound_of(c), place=p)]),
        ),
        bundled(),
    )
    item = found.item(c.id, place)
    assert item.status == "does not conform"
    assert item in found.open_items
    if c.severity == "minor":
        assert found.whole == "release"
    else:
        assert found.whole in ("rework", "scrap part")
        assert item.called in found.sentence


def sound_of(c):
    return next(o for o in sound_case("fitting").observations if o.of == c.id)


@pytest.mark.parametrize("c", bundled().characteristics, ids=lambda c: c.id)
def test_one_clear_answer_by_one_person_decides_every_characteristic(c):
    items = [i for i in inspect(sound_case("fitting"), bundled()).items if i.id == c.id]
    assert {i.status for i in items} <= {"conforms", "recorded"}
    assert all(i.p_conform >= bundled().accept(c.severity) for i in items if i.status == "conforms")


@pytest.mark.parametrize("c", bundled().characteristics, ids=lambda c: c.id)
def test_what_was_not_looked_at_is_not_taken_for_good(c):
    if c.severity == "minor":
        return
    found = inspect(without(sound_case("fitting"), c.id), bundled())
    assert found.whole == "not decided yet"
    assert found.item(c.id, bundled().places(c.per)[0]).status == "not seen"
    assert found.next_check is not None


def test_a_cracked_cuff_is_scrapped_and_an_uneven_one_reworked():
    cracked = inspect(with_(sound_case("parts"), answer("cuff-no-cracks", "no")), bundled())
    uneven = inspect(with_(sound_case("parts"), answer("cuff-even", "no")), bundled())
    assert (cracked.whole, uneven.whole) == ("scrap part", "rework")
    assert "Do not use this part" in cracked.sentence
    assert "Warm the cuff again" in uneven.sentence


def test_scrap_is_said_before_rework():
    both = with_(sound_case("parts"), answer("cuff-even", "no"), answer("no-pores", "no"))
    assert inspect(both, bundled()).whole == "scrap part"


def test_minor_remarks_do_not_stop_a_hand_but_are_reported():
    found = inspect(with_(sound_case("finished"), answer("clean", "no")), bundled())
    assert found.whole == "release"
    assert [i.id for i in found.open_items] == ["clean"]
    assert "1 minor remark left" in found.sentence


def test_only_what_is_due_counts():
    early = with_(sound_case("dry-fit"))
    late = {c.id for c in bundled().characteristics if c.hold_point in ("strung", "finished", "fitting")}
    assert not late & {c.id for c in due(early, bundled())}
    assert not late & {i.id for i in inspect(early, bundled()).items}


def test_latex_counts_unless_the_recipient_is_known_not_to_be_sensitive():
    for known, counts in ((True, True), (None, True), (False, False)):
        case = replace(sound_case("finished"), hand=hand("finished", latex_sensitive=known))
        assert ("no-latex" in {c.id for c in due(case, bundled())}) is counts


def test_a_number_does_not_count_while_its_conditions_do_not_hold():
    case = sound_case("strung")
    slack = with_(
        case,
        *(
            answer("finger-cords-taut", "slack" if d == "ring" else "taut", d)
            for d in ("index", "middle", "ring", "little")
        ),
    )
    item = inspect(slack, bundled()).item("worked-rest-angle")
    assert (item.status, item.p_conform) == ("undecided", None)
    assert "Every finger cord is taut at rest (ring)" in item.reason
    unseen = inspect(without(case, "digits-straight"), bundled())
    assert unseen.item("worked-rest-angle").status == "undecided"
    assert unseen.next_check.item.id == "digits-straight"  # first what it depends on


def test_findings_from_elsewhere_count_like_characteristics():
    def finding(verdict, severity="major"):
        return Finding(
            id="lengths-agree",
            title="The three cords agree in length",
            severity=severity,
            verdict=verdict,
            p_conform=0.1,
            reason="both loops 8 mm long",
            rework=("restring-all",),
        )

    bad = inspect(sound_case(), bundled(), [finding(Verdict.DOES_NOT_CONFORM)])
    assert bad.whole == "rework"
    assert "Replace all three cords" in bad.sentence
    assert inspect(sound_case(), bundled(), [finding(Verdict.UNDECIDED)]).whole == "not decided yet"
    assert inspect(sound_case(), bundled(), [finding(Verdict.CONFORMS)]).whole == "release"
    assert inspect(sound_case(), bundled(), [finding(Verdict.DOES_NOT_CONFORM, "minor")]).whole == "release"
    with pytest.raises(OutOfRange, match="severity is 'grave'"):
        inspect(sound_case(), bundled(), [finding(Verdict.CONFORMS, "grave")])
    with pytest.raises(OutOfRange, match="no rework 'restring'"):
        inspect(sound_case(), bundled(), [replace(finding(Verdict.CONFORMS), rework=("restring",))])
    with pytest.raises(OutOfRange, match="stands for two things"):
        inspect(sound_case(), bundled(), [replace(finding(Verdict.CONFORMS), id="six-knots")])


def test_a_target_outside_common_practice_is_shown_and_left_to_the_lead():
    case = replace(sound_case(), hand=hand("strung", target_rest_angle_deg=25.0))
    found = inspect(case, bundled())
    assert found.whole == "release"  # the hand rests at 36°, whatever is wished for
    assert any("25°" in text and "lead decides" in text for text in found.advisories)
    inside = replace(case, hand=hand("strung", target_rest_angle_deg=40.0))
    assert inspect(inside, bundled()).advisories == ()


def test_causes_are_hinted_at_only_where_something_is_wrong():
    found = inspect(with_(sound_case(), number("worked-rest-angle", 22.0, "deg")), bundled())
    assert "finger-loop-long" in found.item("worked-rest-angle").faults
    assert found.item("six-knots").faults == ()
