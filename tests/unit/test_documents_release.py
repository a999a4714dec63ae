"""The release record: who, what, when, the numbers with their intervals, and what it is not."""

from __future__ import annotations

from datetime import datetime

import pytest

from handsel.documents.release_record import (
    Concession,
    HoldPointSeen,
    LotUsed,
    NumberHeld,
    ReleaseRecord,
    ReworkDone,
    grouped_hash,
    release_record,
)
from handsel.errors import OutOfRange
from handsel.metrology.quantity import Quantity
from unit.papers import (
    HOSTILE,
    SHA,
    hand,
    hostile_hand,
    in_order,
    load_protocol,
    page_count,
    size_mm,
    text_of,
)

AT = datetime(2026, 11, 25, 14, 5)  # noqa: DTZ001


def concession(**changed):
    fields = {
        "code": "F11",
        "title": "Foam is trimmed neatly",
        "severity": "minor",
        "reason": "The edge is covered and soft.",
        "by": "lead",
        "at": AT,
    }
    return Concession(**(fields | changed))


def angle(value=36.2, u=0.8, title="The hand rests at 30° or more", **changed):
    q = Quantity(value=value, u=u, unit="deg", origin="rest angle")
    fields = {"code": "S21", "title": title, "value": q, "asked": "at least 30°", "p_conform": 0.999}
    return NumberHeld(**(fields | {"by": "inspector 2"} | changed))


def record(**changed):
    seen = tuple(
        HoldPointSeen(title=h.title, by=("inspector 2", "inspector 4"), passed_at=AT, looked_count=30)
        for h in load_protocol().hold_points
    )
    fields = {
        "hand": hand(),
        "released_by": "fitter 1",
        "released_at": AT,
        "place": "Millbrook library",
        "seen": seen,
        "numbers": (angle(),),
        "head_sha256": SHA,
        "entries_count": 87,
        "concessions": (concession(),),
        "rework": (
            ReworkDone(title="Thumb cord restrung", by="builder 3", at=AT, result="conforms after it"),
        ),
        "lots": (LotUsed(kind="cord", lot="C-7"), LotUsed(kind="filament", lot="F-221")),
        "program_version": "0.2.0",
    }
    return ReleaseRecord(**(fields | changed))


def test_an_ordinary_record_is_one_page_of_a4_and_the_same_each_time():
    pdf = release_record(record())
    assert (page_count(pdf), size_mm(pdf)) == (1, (210.0, 297.0))
    assert pdf == release_record(record())


def test_it_says_who_looked_at_what_and_by_which_texts():
    text = text_of(release_record(record()))
    in_order(
        text,
        "RELEASE RECORD",
        "K7M-2QX",
        "R-014",
        "Released by fitter 1 · 2026-11-25 14:05 · Millbrook library",
        "linden 1.0.0",
        "abab abab",
        "wrist-hand-1",
        grouped_hash(load_protocol().sha256),
        "Parts inspector 2, inspector 4 2026-11-25 14:05 30 looked at",
        "Fitting inspector 2",
        "S21 The hand rests at 30° or more 36.2° ± 1.6° at least 30° over 99 % inspector 2",
        "F11 Foam is trimmed neatly (minor) Because: The edge is covered and soft. lead · 2026-11-25 14:05",
        "Thumb cord restrung builder 3",
        "C-7",
        "87 entries",
        grouped_hash(SHA),
        "released by (role, signature)",
        "It is no certificate",
        "licensed to practise come first",
    )


def test_it_claims_nothing():
    text = text_of(release_record(record())).lower()
    for word in ("certified", "approved", "compliant", "safe to use", "guarantee"):
        assert word not in text


def test_without_concession_or_rework_it_says_so():
    text = text_of(release_record(record(concessions=(), rework=(), numbers=(), lots=())))
    in_order(text, "Let pass by concession Nothing.", "Rework done None.")


def test_a_critical_item_is_never_let_pass():
    with pytest.raises(OutOfRange, match="never let pass"):
        concession(severity="critical")


def test_two_hundred_items_are_all_printed():
    numbers = tuple(angle(title=f"Number {k} of many") for k in range(200))
    conceded = tuple(concession(title=f"Concession {k}.") for k in range(200))
    pdf = release_record(record(numbers=numbers, concessions=conceded))
    text = text_of(pdf)
    in_order(text, *(f"Number {k} of many" for k in range(200)))
    in_order(text, *(f"Concession {k}." for k in range(200)))
    in_order(text, f"page {page_count(pdf)} of {page_count(pdf)}")


@pytest.mark.parametrize("words", HOSTILE)
def test_hostile_words_are_set_as_words(words):
    pdf = release_record(
        record(
            hand=hostile_hand_with_hashes(words),
            released_by=words,
            place=words,
            seen=(HoldPointSeen(title=words, by=(words,) * 5, passed_at=None, looked_count=1),) * 4,
            numbers=(angle(title=words, code=words, asked=words, by=words),) * 4,
            concessions=(concession(title=words, code=words, reason=words, by=words),) * 4,
            rework=(ReworkDone(title=words, by=words, result=words),) * 4,
            lots=(LotUsed(kind=words, lot=words),) * 9,
            notes=(words,) * 4,
            program_version=words,
        )
    )
    assert 1 <= page_count(pdf) <= 8
    assert grouped_hash(SHA)[:40] in text_of(pdf)


def hostile_hand_with_hashes(words):
    from dataclasses import replace

    one = hostile_hand(words)
    return replace(
        one, design=replace(one.design, sha256=SHA), protocol=replace(one.protocol, sha256=SHA), code="K7M2QX"
    )


@pytest.mark.parametrize("sha", ["", "0f3a", SHA.upper(), SHA + "0", "g" * 64, SHA[:-1] + "\n"])
def test_what_is_no_fingerprint_is_refused(sha):
    with pytest.raises(OutOfRange, match="64 figures"):
        record(head_sha256=sha)


def test_a_fingerprint_is_compared_in_groups_of_four():
    assert grouped_hash(SHA).split(" ") == ["0f3a", "9c41"] * 8
