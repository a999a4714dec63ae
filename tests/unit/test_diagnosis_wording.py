"""The first thing said about a hand: one rule for calling it faultless, whoever asks."""

from __future__ import annotations

from dataclasses import replace
from io import StringIO

import pytest
from rich.console import Console

from handsel.cli.diagnosis_shown import show
from handsel.data.load_faults import load_faults
from handsel.data.load_protocol import load_protocol
from handsel.diagnosis.result import (
    Cause,
    Diagnosis,
    Expected,
    FaultSet,
    NextCheck,
    Severity,
    nothing_wrong_first,
)
from handsel.diagnosis.wording import sentence_of

CATALOGUE = load_faults("wrist-hand-1", load_protocol())
CHECK = NextCheck(
    of="starts",
    place="ring",
    title="when this finger starts; against the others",
    question="",
    answers=("late", "with", "early"),
    unit="",
    minutes=0.2,
    bits=0.3,
    bits_per_minute=1.5,
)


def causes(**p: float) -> tuple[Cause, ...]:
    """Whole-hand causes by their names, with `_` for `-`."""
    by_id = {f.id: f for f in CATALOGUE.faults}
    return tuple(
        Cause(fault=by_id[name.replace("_", "-")], probability=x, severity=None) for name, x in p.items()
    )


def said(faultless_p: float, none_fits: bool = False, **p: float) -> str:
    return sentence_of(causes(**p), (), faultless_p, none_fits, (CHECK,))


@pytest.mark.parametrize(
    ("faultless_p", "best_p", "nothing"),
    [
        (0.95, 0.02, True),
        (0.40, 0.20, True),  # several causes of a few per cent each: still no one of them
        (0.40, 0.40, False),  # as likely: then the cause is looked for
        (0.20, 0.05, False),  # as before anything was seen: it is open
        (0.10, 0.80, False),
    ],
)
def test_a_hand_is_called_faultless_when_no_single_cause_is_as_likely(
    faultless_p: float, best_p: float, nothing: bool
) -> None:
    assert nothing_wrong_first(faultless_p, best_p) is nothing


def test_what_leads_is_what_the_sentence_begins_with() -> None:
    assert said(0.96, wrist_tight=0.01) == "Nothing is wrong that these looks could show."
    assert said(0.70, wrist_tight=0.20).startswith("Probably nothing is wrong (70 %). Next: when this finger")
    assert said(0.45, wrist_tight=0.30).startswith(
        "Perhaps nothing is wrong (45 %), perhaps the wrist hinge is tight."
    )
    assert said(0.45, wrist_tight=0.10).startswith(
        "Perhaps nothing is wrong (45 %); if something is, it is open what."
    )
    assert said(0.30, wrist_tight=0.65).startswith("Most likely the wrist hinge is tight (65 %).")


def test_nothing_wrong_is_spoken_of_where_it_comes_second() -> None:
    assert said(0.35, wrist_tight=0.45, cuff_uneven=0.05).startswith(
        "Perhaps the wrist hinge is tight, perhaps nothing is wrong (35 %)."
    )
    assert "perhaps the cuff is formed unevenly" in said(0.02, wrist_tight=0.45, cuff_uneven=0.40)


def test_with_hardly_anything_seen_it_is_open() -> None:
    assert said(0.20, wrist_tight=0.05).startswith("It is still open what is wrong.")
    assert sentence_of((), (), 0.1, False, ()) == "It is open what is wrong."


def test_two_causes_are_named_when_both_are_likely() -> None:
    some = causes(wrist_tight=0.95, cuff_uneven=0.92)
    both = FaultSet(faults=tuple(c.fault for c in some), probability=0.9)
    told = sentence_of(some, (both,), 0.01, False, (CHECK,))
    assert told.startswith("Two things: the wrist hinge is tight, and the cuff is formed unevenly")
    assert "Next" not in told


def test_where_nothing_fits_that_is_said_first_whatever_leads() -> None:
    assert said(0.95, none_fits=True).startswith("None of the known causes fits")


def reading(seen: str, chance: float, unit: str = "deg") -> Expected:
    return Expected(
        of="worked-rest-angle",
        place="",
        title="worked rest angle",
        seen=seen,
        unit=unit,
        expected=("33 to 36", "20 to 25"),
        chance=(chance, 0.5),
    )


def test_a_reading_far_off_what_is_said_first_is_to_be_read_again() -> None:
    some = causes(wrist_tight=0.10)
    told = sentence_of(some, (), 0.7, False, (CHECK,), (reading("15.0", 1e-6),))
    assert "Worked rest angle, 15.0 deg, does not go with that: read it again. Next: when" in told
    sure = sentence_of(causes(wrist_tight=0.97), (), 0.01, False, (), (reading("15.0", 1e-6),))
    assert (
        sure == "The wrist hinge is tight. Worked rest angle, 15.0 deg, does not go with that: read it again."
    )


def test_a_reading_that_is_merely_unusual_or_a_word_is_left_alone() -> None:
    some = causes(wrist_tight=0.10)
    assert "read it again" not in sentence_of(some, (), 0.7, False, (CHECK,), (reading("31.0", 0.02),))
    assert "read it again" not in sentence_of(some, (), 0.7, False, (CHECK,), (reading("no", 1e-6, unit=""),))


def test_at_the_terminal_nothing_wrong_stands_last_and_large_figures_are_written_out() -> None:
    tight = replace(
        causes(wrist_tight=0.30)[0], severity=Severity(value=92.0, u=30.0, low=38.0, high=143.0, unit="N mm")
    )
    found = Diagnosis(
        sentence="Perhaps nothing is wrong.",
        causes=(tight,),
        sets=(),
        faultless_p=0.45,
        none_fits=False,
        fit_p=0.5,
        next_checks=(),
        predicted=(),
        effective_hands=100.0,
        refined=False,
        library_share=1.0,
        scale_ratio=1.0,
    )
    out = Console(file=StringIO(), width=120)
    show(out, found, 4, show_all=False)
    told = out.file.getvalue()  # type: ignore[attr-defined]
    assert told.index("The wrist hinge is tight") < told.index("Nothing is wrong")
    assert "about 92 N mm (38 to 140)" in told
    assert found.says_nothing_wrong
    assert not replace(found, none_fits=True).says_nothing_wrong
