"""The builder's page: what to do next, own checks, reporting, and never a dead end."""

from __future__ import annotations

import io
import re
from html import unescape
from typing import Any

import pytest

from bench.hall import Hall
from bench.pictures import saved, scene
from handsel.bench.days.models import Lot
from handsel.bench.hands.chain import New, append
from handsel.bench.hands.models import Entry, Hand, Standing
from handsel.bench.photos.models import Photo

ONCE = "0123456789abcdef0123456789abcdef"
POSTS = ("did", "checks", "ask", "take", "put-down", "note", "lot")


def page(hall: Hall, hand: Hand, path: str = "build/", who: str = "builder") -> str:
    response = hall.client(getattr(hall, who)).get(f"/h/{hand.code}/{path}")
    assert response.status_code == 200
    return unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", response.content.decode())))


def post(hall: Hall, hand: Hand, path: str, who: str = "builder", **data: Any) -> Any:
    return hall.client(getattr(hall, who)).post(f"/h/{hand.code}/{path}/", {"client_id": ONCE} | data)


def last(hand: Hand, kind: str) -> dict[str, Any]:
    entry = Entry.objects.filter(hand=hand, kind=kind).last()
    assert entry is not None
    return entry.what


@pytest.mark.parametrize(
    ("at", "first", "gate"),
    [
        ("parts", "Lay all parts out", "Nothing is put together before this is passed"),
        ("dry-fit", "Join the digits", "“Parts” is passed"),
        ("strung", "Put the elastics in", "No knot is glued"),
        ("finished", "Seal the six knots", "“Strung” is passed"),
        ("fitting", "It goes to the fitter now", "“Finished” is passed"),
    ],
)
def test_each_stage_says_what_to_do_and_what_waits(hall: Hall, at: str, first: str, gate: str) -> None:
    text = page(hall, hall.hand(at=at))
    assert first in text
    assert gate in text or at == "fitting"


def test_a_step_reported_is_on_record_with_its_hold_point_and_sent_twice_once(hall: Hall) -> None:
    hand = hall.hand(at="strung")
    for _ in range(2):
        assert post(hall, hand, "build/did", step="strung-up").status_code == 303
    assert Entry.objects.filter(hand=hand, kind="did").count() == 1
    assert last(hand, "did") == {
        "what": "strung-up",
        "place": "",
        "at": "strung",
        "is_rework": False,
        "closes_card": None,
        "cards_left": 0,
    }
    assert f"by {hall.builder.called}" in page(hall, hand)


def test_a_step_before_its_turn_names_what_it_hides_and_what_is_checked_instead(hall: Hall) -> None:
    hand = hall.hand(at="dry-fit")
    text = page(hall, hand, "build/step/sealed/")
    assert "“Strung” comes first and is not passed yet" in text
    assert "Closed firmly 20 times" in text
    assert "Mark each cord with a pen at its knot" in text


def test_a_step_before_its_turn_is_recorded_and_the_page_gives_every_way_on(hall: Hall) -> None:
    hand = hall.hand(at="strung")
    assert post(hall, hand, "build/did", step="sealed").status_code == 303
    text = page(hall, hand)
    assert "Done before its turn: knots sealed with glue" in text
    assert "Can no longer be seen: " in text
    assert "Mark each cord with a pen at its knot" in text
    assert "the lead concedes" in text
    assert "take the step back" in text
    assert "Ask for it to be looked at" in text, "no dead end"


def test_rework_without_a_card_is_reported_where_it_was_done(hall: Hall) -> None:
    hand = hall.hand(at="dry-fit")
    text = page(hall, hand, "build/step/ease-hinge/")
    assert "Looked at again after it" in text
    post(hall, hand, "build/did", step="ease-hinge", place="ring")
    assert (last(hand, "did")["place"], last(hand, "did")["is_rework"]) == ("ring", True)
    refused = post(hall, hand, "build/did", step="ease-hinge", place="elbow", client_id=ONCE[::-1])
    assert refused.status_code == 409


@pytest.mark.parametrize("step", ["no-such-step", "x"])
def test_an_unknown_step_is_not_found(hall: Hall, step: str) -> None:
    hand = hall.hand()
    assert hall.client(hall.builder).get(f"/h/{hand.code}/build/step/{step}/").status_code == 404
    assert post(hall, hand, "build/did", step=step).status_code == 404


def test_only_the_lead_reports_what_a_professional_said(hall: Hall) -> None:
    hand = hall.hand(at="fitting")
    assert post(hall, hand, "build/did", step="refer").status_code == 409
    assert post(hall, hand, "build/did", who="lead", step="refer").status_code == 303


def test_own_checks_are_shown_and_never_count_as_an_inspection(hall: Hall) -> None:
    from handsel.bench.looking.answering import known

    hand = hall.hand()
    assert (
        post(
            hall, hand, "build/checks", checked=["no-sharp-edges", "cuff-no-cracks", "six-knots"]
        ).status_code
        == 303
    )
    assert {e.what["of"] for e in Entry.objects.filter(hand=hand, kind="self-checked")} == {
        "no-sharp-edges",
        "cuff-no-cracks",
    }, "only what belongs to the coming hold point"
    assert "ticked already" in page(hall, hand)
    assert known(hand).inspection().item("no-sharp-edges").status == "not seen"


def test_the_short_list_begins_with_what_could_hurt_somebody(hall: Hall) -> None:
    text = page(hall, hall.hand())
    assert text.index("No edge or corner scratches") < text.index("The formed cuff is symmetric")


def test_asking_sends_the_hand_to_wait_and_twice_is_once(hall: Hall) -> None:
    hand = hall.hand(at="strung")
    for _ in range(2):
        assert post(hall, hand, "build/ask").status_code == 303
    hand.refresh_from_db()
    assert (hand.standing, hand.held_by) == (Standing.ASKED, None)
    assert Entry.objects.filter(hand=hand, kind="asked").count() == 1
    assert "waits to be looked at" in page(hall, hand)


def test_taking_and_putting_down(hall: Hall) -> None:
    hand = hall.hand(at="strung")
    assert post(hall, hand, "build/take", to="build", back="build")["Location"] == f"/h/{hand.code}/build/"
    hand.refresh_from_db()
    assert hand.held_by == hall.builder
    assert "I put it down" in page(hall, hand)
    post(hall, hand, "build/put-down", client_id=ONCE[::-1])
    hand.refresh_from_db()
    assert hand.held_by is None


def test_a_note_with_a_photo_keeps_both(hall: Hall) -> None:
    hand = hall.hand()
    photo = io.BytesIO(saved(scene()))
    photo.name = "bag.jpg"
    assert post(hall, hand, "build/note", text="from this  bag", photo=photo).status_code == 303
    what = last(hand, "noted")
    assert what["text"] == "from this bag"
    assert Photo.objects.get(client_id=what["photo"]).hand == hand


def test_an_empty_note_is_refused_in_words(hall: Hall) -> None:
    response = post(hall, hall.hand(), "build/note", text="")
    assert response.status_code == 400
    assert "neither a word nor a photo" in response.content.decode()


def test_the_lot_is_on_record(hall: Hall) -> None:
    hand = hall.hand()
    lot = Lot.objects.create(
        day=hall.day, kind="cord", name="spool A", added_by=hall.lead, added_at=hand.begun_at
    )
    assert "spool A" in page(hall, hand)
    assert post(hall, hand, "build/lot", lot=lot.pk).status_code == 303
    assert last(hand, "lot-used") == {"lot": lot.pk, "kind": "cord", "name": "spool A"}
    assert post(hall, hand, "build/lot", lot=10**30, client_id=ONCE[::-1]).status_code == 400


@pytest.mark.parametrize("path", POSTS)
def test_it_is_for_builders_and_only_posted(hall: Hall, path: str) -> None:
    hand = hall.hand()
    url = f"/h/{hand.code}/build/{path}/"
    assert hall.client(hall.builder).get(url).status_code == 405
    assert hall.client().post(url, {"client_id": ONCE}).status_code == 302
    if path != "note":  # everybody may write a note
        assert hall.client(hall.inspector).post(url, {"client_id": ONCE}).status_code == 403
    count = hand.entry_count
    assert hall.client(hall.builder).post(url, {}).status_code == 400
    hand.refresh_from_db()
    assert hand.entry_count == count


def test_the_page_is_for_builders(hall: Hall) -> None:
    hand = hall.hand()
    assert hall.client(hall.inspector).get(f"/h/{hand.code}/build/").status_code == 403
    assert hall.client().get(f"/h/{hand.code}/build/").status_code == 302
    assert hall.client(hall.builder).post(f"/h/{hand.code}/build/").status_code == 405


@pytest.mark.parametrize("standing", Standing.values)
def test_there_is_a_page_wherever_the_hand_stands(hall: Hall, standing: str) -> None:
    hand = hall.hand(at="strung")
    Hand.objects.filter(pk=hand.pk).update(standing=standing)
    assert hand.shown_code in page(hall, hand)


def test_a_closed_hand_is_not_built_on(hall: Hall) -> None:
    hand = hall.hand()
    append(hand, [New(kind="scrapped", what={"reason": "cracked"})], person=hall.lead)
    response = post(hall, hand, "build/did", step="assembled")
    assert response.status_code == 409
    assert "scrapped" in response.content.decode()
    assert post(hall, hand, "build/note", text="kept to show others").status_code == 303
