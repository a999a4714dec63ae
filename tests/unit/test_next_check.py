"""The next check is the one that tells most about the cause for a minute's work."""

from __future__ import annotations

from diagnosing import FEW, library_with, of_kinds
from handsel.diagnosis.likelihood import Seen
from handsel.diagnosis.posterior import diagnose

CATALOGUE = of_kinds(*FEW)


def after(*seen: Seen):
    return diagnose(library_with(*FEW), CATALOGUE, seen)


def test_a_look_that_was_done_is_not_asked_again():
    found = after(Seen(of="cuff-drops-freely", answer="no"))
    assert found.next_checks
    assert all((c.of, c.place) != ("cuff-drops-freely", "") for c in found.next_checks)


def test_checks_come_in_the_order_of_what_they_tell_for_a_minute():
    checks = after(Seen(of="smooth-travel", answer="no")).next_checks
    rates = [c.bits_per_minute for c in checks]
    assert rates == sorted(rates, reverse=True)
    assert all(c.bits > 0.0 for c in checks)


def test_a_loop_that_may_have_a_slipped_knot_asks_to_look_at_its_knots_and_tails():
    found = after(
        Seen(of="worked-rest-angle", value=32.0),
        Seen(of="lowered-rest-angle", value=34.0),
        Seen(of="cuff-drops-freely", answer="yes"),
        Seen(of="whippletree-level", value=-9.0),
        Seen(of="thumb-starts-with-fingers", value=2.0),
    )
    assert found.causes[0].fault.kind.id in ("loop-long", "knot-slipped")
    assert {c.of for c in found.next_checks[:4]} & {"knots-tied-tight", "tails-left-long"}


def test_the_answer_to_the_asked_check_settles_it():
    seen = [Seen(of="worked-rest-angle", value=32.0), Seen(of="whippletree-level", value=-9.0)]
    before = after(*seen)
    told = after(*seen, *(
        s
        for place in ("index", "middle")
        for s in (
            Seen(of="knots-tied-tight", place=place, answer="yes"),
            Seen(of="tails-left-long", place=place, answer="yes"),
        )
    ))
    long = next(c.probability for c in told.causes if c.fault.id == "loop-long@index-middle")
    assert long > next(c.probability for c in before.causes if c.fault.id == "loop-long@index-middle")
