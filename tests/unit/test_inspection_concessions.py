"""Who may let what pass."""

from __future__ import annotations

from dataclasses import replace

import pytest

from handsel.inspection.case import Concession, Finding
from handsel.inspection.deciding import inspect
from handsel.metrology.decision import Verdict
from inspecting import answer, bundled, sound_case, with_


def conceding(case, of, by="lead", reason="wearer asked for it", place="", findings=()):
    concession = Concession(of=of, by=by, reason=reason, place=place)
    return inspect(replace(case, concessions=(concession,)), bundled(), findings)


def test_a_lead_concedes_a_major_item_and_it_stays_on_record():
    found = conceding(with_(sound_case("parts"), answer("cuff-even", "no")), "cuff-even")
    assert found.whole == "release"
    item = found.item("cuff-even")
    assert (item.status, item.conceded_by, item.concession_reason) == (
        "does not conform",
        "lead",
        "wearer asked for it",
    )
    assert item not in found.open_items


def test_critical_items_are_never_conceded():
    for c in bundled().characteristics:
        if c.severity != "critical":
            continue
        found = conceding(with_(sound_case("fitting"), answer(c.id, "no")), c.id)
        assert found.whole in ("rework", "scrap part"), c.id
        (refused,) = found.refused_concessions
        assert "never conceded" in refused.reason


@pytest.mark.parametrize(
    ("by", "reason", "said"),
    [
        ("inspector 2", "looks fine to me", "only lead may concede"),
        ("leader", "looks fine to me", "only lead may concede"),
        ("", "looks fine to me", "only lead may concede"),
        ("lead", "  ", "needs its reason"),
    ],
)
def test_only_a_lead_concedes_and_only_with_a_reason(by, reason, said):
    found = conceding(with_(sound_case("parts"), answer("cuff-even", "no")), "cuff-even", by, reason)
    assert found.whole == "rework"
    assert said in found.refused_concessions[0].reason


def test_a_concession_may_be_for_one_digit_only():
    case = with_(
        sound_case("dry-fit"),
        *(
            answer("tip-hinges-free", "no" if d in ("ring", "thumb") else "yes", d)
            for d in ("index", "middle", "ring", "little", "thumb")
        ),
    )
    assert conceding(case, "tip-hinges-free", place="ring").whole == "rework"  # the thumb is left
    assert conceding(case, "tip-hinges-free").whole == "release"


def test_computed_findings_follow_the_same_rule():
    def finding(severity):
        return Finding(
            id="adjustment-left",
            title="Enough adjustment is left",
            severity=severity,
            verdict=Verdict.DOES_NOT_CONFORM,
            p_conform=0.0,
            reason="0.5 mm left",
        )

    assert conceding(sound_case(), "adjustment-left", findings=[finding("major")]).whole == "release"
    assert conceding(sound_case(), "adjustment-left", findings=[finding("critical")]).whole == "rework"


def test_a_conceded_condition_still_makes_no_number_count():
    case = with_(
        sound_case(),
        *(answer("finger-cords-taut", "slack", d) for d in ("index", "middle", "ring", "little")),
    )
    found = conceding(case, "finger-cords-taut")
    assert found.item("worked-rest-angle").status == "undecided"
    assert found.whole == "not decided yet"
