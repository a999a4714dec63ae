"""The demo day: every stage is there, made by the real services, and never beside other records."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import Any

import pytest

from handsel.bench.days.models import Day, Lot
from handsel.bench.demo import fill as filling
from handsel.bench.demo.story import STORIES
from handsel.bench.hands.chain import canonical
from handsel.bench.hands.models import Entry, Hand, Standing
from handsel.bench.looking.answering import known
from handsel.bench.looking.tapping import blind_runs
from handsel.bench.people.models import Person
from handsel.bench.people.services import first_lead
from handsel.bench.work.cards import open_cards

pytestmark = [pytest.mark.django_db, pytest.mark.slow]


@pytest.fixture(scope="module")
def laid_out(django_db_setup: None, django_db_blocker: Any, tmp_path_factory: Any) -> Any:
    """The demo day, laid out once for all tests here and taken back afterwards."""
    from django.conf import settings
    from django.db import transaction

    with django_db_blocker.unblock(), pytest.MonkeyPatch.context() as patch:
        patch.setattr(settings, "DEMO_MARK", tmp_path_factory.mktemp("demo") / "demo-day", raising=False)
        patch.setattr(settings, "DEMO", False)
        with transaction.atomic():
            said: list[str] = []
            filling.fill(said.append)
            yield said
            transaction.set_rollback(True)


def test_there_are_hands_at_every_stage(laid_out: Any) -> None:
    assert set(Hand.objects.values_list("standing", flat=True)) == set(Standing.values)
    assert Hand.objects.count() == len(STORIES) >= 12


def test_each_hand_stands_where_its_story_says(laid_out: Any) -> None:
    stages = ["parts", "dry-fit", "strung", "finished", "fitting", "fitting"]
    for story in STORIES:
        hand = Hand.objects.get(recipient_code=story.recipient)
        assert hand.hold_point == stages[story.passed], story.recipient


def test_the_cracked_cuff_waits_for_the_lead(laid_out: Any) -> None:
    hand = Hand.objects.get(standing=Standing.FOR_LEAD)
    assert "crack" in hand.blocked_by
    assert "cuff" in hand.sentence


def test_hands_to_put_right_have_cards_and_one_says_how_many_turns(laid_out: Any) -> None:
    hands = Hand.objects.filter(standing=Standing.TO_PUT_RIGHT)
    assert hands.count() >= 2
    assert all(open_cards(known(h).told) for h in hands)
    assert any("turns" in h.sentence for h in hands)


def test_what_was_released_has_nothing_open(laid_out: Any) -> None:
    done = Hand.objects.filter(standing__in=(Standing.RELEASED, Standing.HANDED_OVER, Standing.TO_RELEASE))
    assert done.count() >= 3
    for hand in done:
        assert [i.id for i in known(hand).inspection().open_items if i.blocks] == []


def test_every_record_is_a_whole_chain_in_the_order_of_time(laid_out: Any) -> None:
    for hand in Hand.objects.all():
        before, at = "", ""
        for entry in Entry.objects.filter(hand=hand):
            told = entry.told()
            assert told["prev"] == before
            assert told["at"] >= at
            assert canonical(told) == bytes(entry.record)
            before, at = entry.sha256, told["at"]
        assert hand.head_sha256 == before
        assert blind_runs(known(hand).told) == ()


def test_people_are_roles_and_recipients_are_codes(laid_out: Any) -> None:
    assert set(Person.objects.values_list("name", flat=True)) == {""}
    assert Counter(p.role for p in Person.objects.all()) == {
        "lead": 1,
        "inspector": 2,
        "builder": 3,
        "fitter": 1,
    }
    assert Lot.objects.count() >= 6


def test_it_is_marked_as_a_demo(laid_out: Any) -> None:
    from django.conf import settings

    assert Day.objects.get().is_demo
    assert settings.DEMO
    assert Path(settings.DEMO_MARK).exists()


def test_laid_out_again_nothing_is_added(laid_out: Any) -> None:
    count = Entry.objects.count()
    said: list[str] = []
    filling.fill(said.append)
    assert (Entry.objects.count(), said) == (count, [])


def test_its_lead_gets_the_first_passphrase(laid_out: Any) -> None:
    before = Person.objects.count()
    assert first_lead() is not None
    assert Person.objects.count() == before
