"""The traveller page: open to all, read-only, and as quick for a long record as for a short one."""

from __future__ import annotations

import re
import time
from collections.abc import Callable
from html import unescape
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from bench.hall import Hall, good_entries
from handsel.bench.hands.chain import New, append
from handsel.bench.hands.models import Hand, KeptText, Standing
from handsel.bench.hands.services import judge_by, keep_protocol
from handsel.bench.looking.answering import ask
from handsel.bench.people.services import add_person
from handsel.bench.photos.models import Photo, State
from handsel.bench.work.services import order_cards
from handsel.data.load_protocol import protocol_text


def text_of(client: Client, hand: Hand) -> str:
    response = client.get(f"/h/{hand.code}/")
    assert response.status_code == 200
    return unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", response.content.decode())))


def test_anybody_can_read_it_and_sees_no_name(hall: Hall) -> None:
    named = add_person(name="Marigold", may_build=True)
    hand = hall.hand(at="strung")
    append(hand, [New(kind="taken", what={"to": "build"})], person=named)
    text = text_of(hall.client(), hand)
    assert hand.shown_code in text
    assert "on the bench" in text
    assert named.called in text
    assert "Marigold" not in text


def test_the_next_step_has_a_button_only_for_whom_it_concerns(hall: Hall) -> None:
    hand = hall.hand(at="strung")
    assert "Go on building" in text_of(hall.client(hall.builder), hand)
    assert "Go on building" not in text_of(hall.client(), hand)
    assert "Sign in to work on it" in text_of(hall.client(), hand)


def test_open_rework_is_listed_with_its_card(hall: Hall, no_workers: Callable[[], None]) -> None:
    hand = hall.hand()
    hall.answer_all(hand, "parts", kit_complete="no")
    ask(hand, hall.inspector)
    (card,) = order_cards(hand, person=hall.inspector, client_id="c" * 32)
    response = hall.client(hall.builder).get(f"/h/{hand.code}/")
    assert f'href="/h/{hand.code}/cards/{card.seq}/"' in response.content.decode()
    assert "Get what is missing" in text_of(hall.client(), hand)


def test_the_hand_is_drawn_in_the_pose_that_was_measured(hall: Hall, no_workers: Callable[[], None]) -> None:
    hand = hall.hand(at="strung")
    before = hall.client().get(f"/h/{hand.code}/").content.decode()
    assert "Drawn as designed" in before
    hall.answer_all(hand, "strung", worked_rest_angle=44.0, lowered_rest_angle=44.5)
    ask(hand, hall.inspector)
    no_workers()
    after = hall.client().get(f"/h/{hand.code}/").content.decode()
    assert "Drawn as it rests by its last readings" in after
    assert "fig-map" in after
    assert svg(before) != svg(after)


def svg(page: str) -> str:
    found = re.search(r'<svg[^>]*class="fig-map".*?</svg>', page, re.S)
    assert found is not None
    return re.sub(r"<text.*?</text>", "", found[0])


def test_history_is_newest_first_by_hold_point_and_says_what_was_taken_back(hall: Hall) -> None:
    hand = hall.hand(at="dry-fit")
    added = append(hand, [New(kind="noted", what={"text": "hinge squeaks"})], person=hall.builder)[0]
    append(
        hand,
        [New(kind="withdrawn", what={"seq": added.entry.seq, "reason": "wrong hand"})],
        person=hall.builder,
    )
    text = text_of(hall.client(), hand)
    assert text.index("Took back entry") < text.index("Note: hinge squeaks") < text.index("Begun: right hand")
    assert text.rindex("Dry fit") < text.rindex("Parts")
    assert "taken back" in text


def second_protocol(folder: Any) -> KeptText:
    """The bundled protocol under another name and version."""
    path = folder / "wrist-hand-2.toml"
    path.write_text(
        protocol_text("wrist-hand-1")
        .replace('id = "wrist-hand-1"', 'id = "wrist-hand-2"')
        .replace('version = "1.0.0"', 'version = "2.0.0"'),
        encoding="utf-8",
    )
    return keep_protocol(str(path))


def test_a_hand_under_way_says_that_the_day_has_another_protocol_now(hall: Hall, tmp_path: Any) -> None:
    hand = hall.hand()
    assert "It keeps its protocol" not in text_of(hall.client(), hand)
    hall.day.protocol = second_protocol(tmp_path)
    hall.day.save()
    text = text_of(hall.client(), hand)
    assert "It keeps its protocol" in text
    assert "wrist-hand-1 1.0.0" in text


def test_a_change_of_protocol_is_shown_with_both_versions(hall: Hall, tmp_path: Any) -> None:
    hand = hall.hand()
    old = hand.protocol
    judge_by(hand, second_protocol(tmp_path), person=hall.lead)
    text = text_of(hall.client(), hand)
    assert "The protocol changed" in text
    for kept in (old, Hand.objects.get(pk=hand.pk).protocol):
        assert kept.sha256[:12] in text
        assert f"{kept.name} {kept.version}" in text


def test_photos_are_shown_to_people_who_are_signed_in_only(hall: Hall) -> None:
    hand = hall.hand()
    thumb = "ab" * 32
    Photo.objects.create(
        client_id="p" * 32,
        hand=hand,
        taken_by=hall.builder,
        received_at=hand.begun_at,
        raw_sha256="0" * 64,
        raw_bytes=1,
        state=State.READY,
        sha256="cd" * 32,
        thumb_sha256=thumb,
    )
    append(hand, [New(kind="noted", what={"text": "see", "photo": "p" * 32})], person=hall.builder)
    assert thumb in hall.client(hall.lead).get(f"/h/{hand.code}/").content.decode()
    assert thumb not in hall.client().get(f"/h/{hand.code}/").content.decode()


@pytest.mark.parametrize("standing", Standing.values)
def test_every_standing_has_a_page_for_everybody(hall: Hall, standing: str) -> None:
    hand = hall.hand(at="fitting" if standing in ("to release", "released", "handed over") else "dry-fit")
    Hand.objects.filter(pk=hand.pk).update(standing=standing)
    for person in (None, hall.lead, hall.inspector, hall.builder, hall.fitter):
        assert Standing(standing).label in text_of(hall.client(person), hand)


def test_words_from_the_record_are_never_markup(hall: Hall) -> None:
    hand = hall.hand()
    append(hand, [New(kind="noted", what={"text": "<script>alert(1)</script>"})], person=hall.builder)
    assert "<script>alert" not in hall.client().get(f"/h/{hand.code}/").content.decode()


def test_it_is_only_read(hall: Hall) -> None:
    hand = hall.hand()
    assert hall.client(hall.lead).post(f"/h/{hand.code}/").status_code == 405


def test_a_long_history_costs_no_more_queries_and_stays_quick(hall: Hall) -> None:
    hand = hall.hand(at="strung")
    client = hall.client(hall.lead)
    with CaptureQueriesContext(
        connection,
    ) as short:
        client.get(f"/h/{hand.code}/")
    for turn in range(12):
        news = good_entries(hand, "strung")
        append(
            hand,
            news if turn % 2 else [*news, New(kind="noted", what={"text": f"turn {turn}"})],
            person=hall.inspector,
        )
    assert hand.entry_count > 1000
    client.get(f"/h/{hand.code}/")
    with CaptureQueriesContext(connection) as long:
        began = time.process_time()
        client.get(f"/h/{hand.code}/")
        took_s = time.process_time() - began
    assert len(long) == len(short)
    assert took_s < 0.6, "three times what it may take on an idle machine"
    print(f"traveller with {hand.entry_count} entries: {1000 * took_s:.0f} ms, {len(long)} queries")
