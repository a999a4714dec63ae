"""The day report: all hands accounted for, nothing left out in silence, the root and what it proves."""

from __future__ import annotations

from datetime import date
from math import inf, nan

import pytest

from handsel.documents.day_report import (
    MOST_FOUND,
    BlindRun,
    DayReport,
    FirstTime,
    FoundMost,
    ReworkCount,
    Scrapped,
    StandCount,
    TimeTaken,
    day_report,
    minutes_text,
)
from handsel.documents.release_record import LotUsed, grouped_hash
from handsel.errors import OutOfRange
from unit.papers import HOSTILE, SHA, in_order, load_protocol, page_count, size_mm, text_of
from unit.test_documents_release import concession

STANDS = {"building": 4, "to put right": 3, "ready to fit": 5, "released": 12, "scrapped": 1}


def report(**changed):
    fields = {
        "day": date(2026, 11, 25),
        "place": "Millbrook library",
        "stands": tuple(StandCount(stand=s, count=c) for s, c in STANDS.items()),
        "first_time": tuple(
            FirstTime(hold_point=h.title, looked_count=20, passed_count=11, low_ratio=0.34, high_ratio=0.74)
            for h in load_protocol().hold_points
        ),
        "found": (
            FoundMost(code="S21", title="The hand rests at 30° or more", hands_count=9),
            FoundMost(code="P10", title="No edge or corner scratches", hands_count=6),
        ),
        "root_sha256": SHA,
        "hands_count": 25,
        "entries_count": 1844,
        "rework": (ReworkCount(title="Cord made shorter", count=7, minutes=96.0),),
        "concessions": (concession(hand_code="K7M2QX"),),
        "scrapped": (Scrapped(hand_code="B2C3D4", reason="Cuff cracked", by="lead"),),
        "times": (TimeTaken(what="Strung", hands_count=20, median_minutes=8.0, longest_minutes=71.0),),
        "lots": (
            LotUsed(kind="cord", lot="C-7", hands_count=22),
            LotUsed(kind="foam", lot="F-1", hands_count=1),
        ),
        "blind": (
            BlindRun(
                hand_code="A1B2C3", hold_point="Finished", by="inspector 4", answers_count=19, seconds=11.0
            ),
        ),
        "saved": ("K7M2QX", "H4J5K6"),
        "sentences": ("Cords were cut 4 mm long on average: shorten the template.",),
        "program_version": "0.2.0",
    }
    return DayReport(**(fields | changed))


def test_an_ordinary_day_is_one_page_of_a4_and_the_same_each_time():
    pdf = day_report(report())
    assert (page_count(pdf), size_mm(pdf)) == (1, (210.0, 297.0))
    assert pdf == day_report(report())


def test_it_reads_from_what_matters_to_what_proves_it():
    text = text_of(day_report(report()))
    in_order(
        text,
        "DAY REPORT",
        "2026-11-25",
        "Millbrook library",
        "25 hands",
        "2 saved today",
        "4 building",
        "12 released",
        "K7M-2QX H4J-5K6",
        "shorten the template",
        "Passed at the first look",
        "Parts",
        "11 of 20",
        "34 to 74 %",
        "Strung 20 8.0 min 1 h 11 min",
        "S21 The hand rests at 30° or more",
        "9",
        "Cord made shorter 7 × 1 h 36 min",
        "C-7 22 hands",
        "F-1 1 hand",
        "K7M-2QX",
        "Because: The edge is covered",
        "B2C-3D4 Cuff cracked lead",
        "A1B-2C3 Finished inspector 4 19 answers in 11 s",
        "Root of the day's records, 25 hands, 1844 entries".replace("'", "’"),
        grouped_hash(SHA)[:39],
        grouped_hash(SHA)[40:],
        "Kept outside this computer",
        "without such a copy",
        "cannot be told from the true one",
    )


def test_a_first_day_with_nothing_on_it_is_a_page_too():
    empty = report(
        stands=(),
        first_time=(),
        found=(),
        rework=(),
        concessions=(),
        scrapped=(),
        times=(),
        lots=(),
        blind=(),
        saved=(),
        sentences=(),
        hands_count=0,
        entries_count=0,
    )
    text = text_of(day_report(empty))
    in_order(text, "0 hands", "Not measured.", "Nothing was found.", "None.", "None noted.", "Nothing.")
    assert "Scrapped" not in text
    assert "faster than anyone" not in text


def test_long_lists_are_printed_or_counted():
    found = tuple(FoundMost(code=f"S{k}", title=f"Finding {k}.", hands_count=300 - k) for k in range(200))
    conceded = tuple(concession(hand_code="K7M2QX", title=f"Concession {k}.") for k in range(200))
    scrapped = tuple(Scrapped(hand_code=f"AB{k:04d}", reason=f"Reason {k}.", by="lead") for k in range(200))
    saved = tuple(f"CD{k:04d}" for k in range(200))
    pdf = day_report(report(found=found, concessions=conceded, scrapped=scrapped, saved=saved))
    text = text_of(pdf)
    in_order(
        text, *(f"Finding {k}." for k in range(MOST_FOUND)), f"and {200 - MOST_FOUND} kinds of finding more"
    )
    in_order(text, *(f"Concession {k}." for k in range(200)))
    in_order(text, *(f"Reason {k}." for k in range(200)))
    in_order(text, "200 saved today", *(f"CD{k // 1000}-{k % 1000:03d}" for k in range(200)))
    assert page_count(pdf) > 4


@pytest.mark.parametrize("words", HOSTILE)
def test_hostile_words_are_set_as_words(words):
    pdf = day_report(
        report(
            place=words,
            stands=(StandCount(stand=words, count=3),) * 9,
            first_time=(FirstTime(hold_point=words, looked_count=3, passed_count=1),) * 5,
            found=(FoundMost(code=words, title=words, hands_count=2),) * 5,
            rework=(ReworkCount(title=words, count=2),) * 5,
            concessions=(concession(title=words, reason=words, by=words, code=words),) * 5,
            scrapped=(Scrapped(hand_code=words, reason=words, by=words),) * 5,
            times=(TimeTaken(what=words, hands_count=1, median_minutes=nan, longest_minutes=inf),) * 5,
            lots=(LotUsed(kind=words, lot=words),) * 5,
            blind=(BlindRun(hand_code=words[:40], hold_point=words, by=words, answers_count=1, seconds=nan),)
            * 5,
            sentences=(words,) * 5,
            saved=(words[:40],) * 5,
            program_version=words,
        )
    )
    assert 1 <= page_count(pdf) <= 12
    assert "Kept outside this computer" in text_of(pdf)


def test_more_hands_than_were_looked_at_cannot_pass():
    with pytest.raises(OutOfRange, match="5 of 4 hands"):
        FirstTime(hold_point="Parts", looked_count=4, passed_count=5)


def test_a_root_that_is_none_is_refused():
    with pytest.raises(OutOfRange, match="64 figures"):
        day_report(report(root_sha256="0f3a"))


def test_spans_are_said_as_people_say_them():
    said = [minutes_text(m) for m in (0.0, 0.75, 0.999, 1.25, 9.96, 59.4, 59.6, 65.0, None, nan, -1.0)]
    assert said == [
        "0 s",
        "45 s",
        "1.0 min",
        "1.2 min",
        "10 min",
        "59 min",
        "1 h 00 min",
        "1 h 05 min",
        "",
        "",
        "",
    ]
