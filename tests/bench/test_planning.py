"""The lead's plan of the day: made by a worker, kept to what changes, and only ever a suggestion."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from bench.hall import Hall
from handsel.bench.days.lots import add_lot
from handsel.bench.hands.casebook import protocol_kept
from handsel.bench.hands.chain import New, append
from handsel.bench.hands.models import Hand
from handsel.bench.jobs.models import Job
from handsel.bench.people.services import add_person
from handsel.bench.planning import services
from handsel.bench.planning.gathering import ASSUMED_SPARES, after_minutes, gather, state_key
from handsel.bench.planning.keeping import plan_from
from handsel.bench.planning.models import GoneBy, Plan
from handsel.bench.planning.page import next_for
from handsel.bench.planning.services import want_plan

CARD = {
    "rework": "ease-hinge",
    "place": "index",
    "reworks": [{"rework": "ease-hinge", "place": "index"}],
    "title": "Ease the hinge: index",
    "how": "Work it.",
    "steps": [],
    "because": [],
    "sentence": "",
    "spares": [],
    "cautions": [],
    "recheck": [],
    "minutes": 8,
    "skill": "builder",
    "irreversible": False,
    "scraps_part": False,
    "refer": False,
}


def closing_in(hall: Hall, minutes: float) -> None:
    hall.day.closes_at = timezone.now() + timedelta(minutes=minutes)
    hall.day.save()


def refused(hall: Hall, code: str, card: dict[str, Any] = CARD, at: str = "finished") -> Hand:
    """A hand with one rework card."""
    hand = hall.hand(code=code, at=at)
    append(hand, [New(kind="ordered", what=card)], person=hall.lead)
    return hand


@pytest.fixture
def planned(hall: Hall, no_workers: Callable[[], None]) -> Hand:
    """A day with one hand to put right and one that waits to be looked at, planned."""
    closing_in(hall, 300)
    hand = refused(hall, "R-001")
    waiting = hall.hand(code="R-002", at="finished")
    append(waiting, [New(kind="asked", what={"hold_point": "finished"})], person=hall.builder)
    want_plan(hall.day)
    no_workers()
    return hand


def test_the_plan_says_who_works_on_what_and_why(hall: Hall, planned: Hand) -> None:
    page = hall.client(hall.lead).get("/day/plan/").content.decode()
    assert "Work on all hands" in page
    assert planned.shown_code in page
    assert "Ease the hinge: index" in page
    assert "% likely to be good" in page
    assert hall.builder.called in page
    assert hall.inspector.called in page


def test_what_more_would_bring_is_worked_out_by_the_worker(hall: Hall, planned: Hand) -> None:
    plan = services.newest(hall.day)
    assert plan is not None
    assert plan.more is not None
    assert {m["kind"] for m in plan.more} <= {"person", "spare"}
    page = hall.client(hall.lead).get("/day/plan/").content.decode()
    assert "What more would bring" in page


def test_opening_the_page_plans_nothing_and_asking_twice_plans_once(
    hall: Hall, no_workers: Callable[[], None]
) -> None:
    closing_in(hall, 300)
    refused(hall, "R-001")
    client = hall.client(hall.lead)
    assert b"Not planned yet" in client.get("/day/plan/").content
    assert not Job.objects.filter(kind="plan").exists()
    for _ in range(2):
        assert client.post("/day/plan/again/").status_code == 303
    assert Job.objects.filter(kind="plan").count() == 1
    no_workers()
    assert Plan.objects.count() == 1
    client.post("/day/plan/again/")
    assert not Job.objects.filter(kind="plan", state=Job.QUEUED).exists(), "nothing has changed"


def test_it_is_planned_again_when_a_record_grows_or_a_card_is_taken(
    hall: Hall, planned: Hand, no_workers: Callable[[], None]
) -> None:
    first = services.newest(hall.day)
    assert first is not None
    append(planned, [New(kind="taken", what={"to": "put right"})], person=hall.builder)
    assert b"worked out again" in hall.client(hall.lead).get("/day/plan/").content
    told = hall.client(hall.lead).post("/day/plan/again/", headers={"accept": "application/json"}).json()
    assert told["planning"]
    no_workers()
    second = services.newest(hall.day)
    assert second is not None
    assert second.pk != first.pk
    mine = next(c for c in second.told["chosen"] if c["hand"] == planned.code)
    assert mine["in_work"]
    assert mine["rework"]["person"] == hall.builder.called


def test_a_builder_is_shown_the_next_card_as_a_suggestion(hall: Hall, planned: Hand) -> None:
    page = hall.client(hall.builder).get("/").content.decode()
    assert "Your next hand, if you like" in page
    assert "Ease the hinge: index" in page
    assert "Your next hand" not in hall.client(hall.inspector).get("/").content.decode()
    append(planned, [New(kind="taken", what={"to": "put right"})], person=hall.lead)
    assert next_for(hall.builder, hall.day) is None, "somebody has it"


def test_hands_that_cannot_be_worked_on_say_why(hall: Hall, no_workers: Callable[[], None]) -> None:
    closing_in(hall, 60)
    refused(hall, "R-001")
    late = hall.hand(code="R-002", at="dry-fit")
    cuff = refused(
        hall, "R-003", CARD | {"rework": "restring-loop", "place": "index-middle", "title": "New cord",
                               "reworks": [{"rework": "restring-loop", "place": "index-middle"}]},
    )  # fmt: skip
    want_plan(hall.day)
    no_workers()
    plan = services.newest(hall.day)
    assert plan is not None
    said = {x["hand"]: x["reason"] for x in (*plan.told["left_out"], *plan.told["aside"])}
    assert "another day" in said[late.code]
    assert "experienced builder" in said[cuff.code]
    page = hall.client(hall.lead).get("/day/plan/").content.decode()
    assert "Not before closing" in page
    assert "Nobody here today is an experienced builder" in page


def test_what_the_lead_says_counts(hall: Hall, no_workers: Callable[[], None]) -> None:
    closing_in(hall, 300)
    hand = refused(
        hall, "R-003", CARD | {"rework": "restring-loop", "place": "index-middle", "title": "New cord",
                               "reworks": [{"rework": "restring-loop", "place": "index-middle"}]},
    )  # fmt: skip
    client = hall.client(hall.lead)
    people = [hall.builder.number, hall.inspector.number, hall.fitter.number]
    form = {
        "here": people,
        "experienced": [hall.builder.number],
        f"waiting-{hand.code}": "here",
        "spare-0": "4",
    }
    for _ in range(2):
        assert client.post("/day/plan/goes-by/", form)["Location"] == "/day/plan/?kept=1"
    assert GoneBy.objects.count() == 1
    no_workers()
    plan = services.newest(hall.day)
    assert plan is not None
    (chosen,) = plan.told["chosen"]
    assert (chosen["hand"], chosen["waiting"]) == (hand.code, "here")
    assert "waiting here" in chosen["reason"]
    # Somebody who is away gets no work.
    client.post("/day/plan/goes-by/", form | {"here": [hall.inspector.number]})
    no_workers()
    plan = services.newest(hall.day)
    assert plan is not None
    assert plan.told["chosen"] == []


@pytest.mark.parametrize(
    "changed",
    [
        {"spare-0": "-3"},
        {"spare-0": "many"},
        {"spare-0": "1e9"},
        {"spare-0": "99999999"},
        {"waiting-CODE": "for ever"},
    ],
)
def test_what_is_not_understood_changes_nothing(hall: Hall, changed: dict[str, str]) -> None:
    hand = hall.hand()
    form = {k.replace("CODE", hand.code): v for k, v in changed.items()}
    reply = hall.client(hall.lead).post("/day/plan/goes-by/", form)
    assert reply.status_code == 400
    assert not GoneBy.objects.exists()


def test_strangers_numbers_and_codes_are_left_out(hall: Hall) -> None:
    reply = hall.client(hall.lead).post(
        "/day/plan/goes-by/",
        {
            "here": ["999", "x", "-1", str(hall.builder.number)],
            "experienced": ["10" * 9],
            "waiting-ZZZZZZ": "here",
        },
    )
    assert reply.status_code in (302, 303)
    by = GoneBy.objects.get()
    assert (by.experienced, by.waiting) == ([], {})
    assert hall.builder.number not in by.away


def test_wrong_methods_and_wrong_people_are_refused(hall: Hall) -> None:
    client = hall.client(hall.lead)
    assert client.post("/day/plan/").status_code == 405
    assert client.get("/day/plan/again/").status_code == 405
    assert client.get("/day/plan/goes-by/").status_code == 405
    for person in (hall.builder, hall.inspector, hall.fitter):
        assert hall.client(person).get("/day/plan/").status_code == 403
        assert hall.client(person).post("/day/plan/again/").status_code == 403
    assert hall.client().get("/day/plan/").status_code == 302


def test_spares_come_from_the_lots_and_what_nobody_counted_is_assumed_and_said(hall: Hall) -> None:
    closing_in(hall, 300)
    card = CARD | {"reworks": [{"rework": "replace-elastic", "place": "index"}], "title": "New elastic"}
    refused(hall, "R-001", card)
    assumed = gather(hall.day, timezone.now())
    assert assumed.day.spares == {"elastic for one digit": ASSUMED_SPARES}
    assert any("elastic for one digit" in said for said in assumed.assumed)
    add_lot(hall.day, kind="elastic", name="bag 7", spares_count=3, person=hall.lead, client_id="a" * 32)
    assert gather(hall.day, timezone.now()).day.spares == {"elastic for one digit": 3}


def test_a_plan_comes_back_from_its_record_as_it_was(hall: Hall, planned: Hand) -> None:
    plan = services.newest(hall.day)
    assert plan is not None
    again = plan_from(plan.told)
    assert again.sentence == plan.told["sentence"]
    assert [c.hand.serial for c in again.chosen] == [c["serial"] for c in plan.told["chosen"]]
    assert again.work_of(hall.builder.called)[0].kind == "rework"


def test_minutes_left_shrink_from_hold_point_to_hold_point(hall: Hall) -> None:
    protocol = protocol_kept(hall.day.protocol_id)
    left = [after_minutes(protocol, h.id) for h in protocol.hold_points]
    assert left == sorted(left, reverse=True)
    assert left[0] > 60
    assert left[-1] == 0


def test_without_a_day_the_lead_is_sent_to_begin_one(db: None) -> None:
    client = Client()
    client.force_login(add_person(is_lead=True))
    for reply in (client.get("/day/plan/"), client.post("/day/plan/again/")):
        assert (reply.status_code, reply["Location"]) == (303, "/day/")


def test_the_pages_ask_as_often_with_many_hands(hall: Hall, no_workers: Callable[[], None]) -> None:
    closing_in(hall, 300)
    client, builder = hall.client(hall.lead), hall.client(hall.builder)

    def count(some: Any, url: str) -> int:
        some.get(url)
        with CaptureQueriesContext(connection) as asked:
            some.get(url)
        return len(asked)

    def plan_them() -> None:
        want_plan(hall.day)
        no_workers()

    for n in range(2):
        refused(hall, f"R-{n:03d}")
    plan_them()
    few = (count(client, "/day/plan/"), count(client, "/day/plan/?part=live"), count(builder, "/"))
    for n in range(2, 8):
        refused(hall, f"R-{n:03d}")
    add_person(may_build=True)
    plan_them()
    assert (count(client, "/day/plan/"), count(client, "/day/plan/?part=live"), count(builder, "/")) == few
    assert max(few) <= 16
    assert state_key(hall.day, timezone.now()) == state_key(hall.day, timezone.now())
