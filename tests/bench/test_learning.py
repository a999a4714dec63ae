"""What a bench learns from a rework that cured: only then, within bounds, and back again."""

from __future__ import annotations

import secrets
from collections.abc import Callable, Iterator
from typing import Any

import pytest

from bench.causes_hall import make_rounds, refused, shallow, small_library
from bench.hall import Hall, passed
from handsel.bench.causes import known
from handsel.bench.causes.learning import Proof, catalogue_learned, keep_proof, learned_for, take_back
from handsel.bench.causes.models import Lasting, LearnedEntry
from handsel.bench.causes.proving import proved
from handsel.bench.causes.wishes import after_decision
from handsel.bench.hands.casebook import protocol_kept, told_of
from handsel.bench.hands.chain import New, append
from handsel.bench.hands.models import Hand
from handsel.bench.jobs.models import Job
from handsel.bench.records.verifying import verify
from handsel.diagnosis.catalogue import Catalogue


@pytest.fixture
def hand(hall: Hall, monkeypatch: pytest.MonkeyPatch) -> Iterator[Hand]:
    """A refused hand with one plain cause: screws that stand unequal."""
    small_library(monkeypatch)
    hand = shallow(
        hall,
        worked_rest_angle=38.0,
        lowered_rest_angle=38.5,
        whippletree_level=0.0,
        whippletree_flush=1.2,
        tension_screws_even="no",
        tension_screw_thumb_side=5.0,
    )
    make_rounds(hand, 0)
    yield hand
    known.forget()


def rework(hall: Hall, hand: Hand, what: str, place: str = "") -> None:
    body = {
        "what": what,
        "place": place,
        "at": "strung",
        "is_rework": True,
        "closes_card": None,
        "cards_left": 0,
    }
    append(hand, [New(kind="did", what=body)], person=hall.builder)


def looked_at_again(hall: Hall, hand: Hand, **different: Any) -> int:
    """Everything seen once more and decided; the number of the decision."""
    hall.answer_all(hand, "strung", **different)
    what = refused(hand) if different else passed(hand, "strung")
    (added,) = append(hand, [New(kind="decided", what=what)], person=hall.inspector)
    after_decision(hand, told_of(hand), what, added.entry.seq)
    return added.entry.seq


def catalogue(hall: Hall) -> Catalogue:
    found = known.catalogue_for(protocol_kept(hall.day.protocol_id))
    assert found is not None
    return found


def proof(decided: int = 1, fault: str = "slide-canted", place: str = "") -> Proof:
    return Proof(
        fault=fault, place=place, rework="even-screws", symptom="tension-screws-even", catalogue="wrist-hand-1",
        decided=decided,
    )  # fmt: skip


def test_a_cause_is_learned_when_one_rework_cured_its_symptom(
    hall: Hall, hand: Hand, no_workers: Callable[[], None]
) -> None:
    rework(hall, hand, "even-screws")
    decided = looked_at_again(hall, hand)
    told = proved(hand, told_of(hand), decided)
    assert told.confirmed, told.reason
    no_workers()
    (entry,) = LearnedEntry.objects.all()
    assert (entry.fault, entry.rework, entry.hand_id) == ("slide-canted", "even-screws", hand.pk)
    last = told_of(Hand.objects.get(pk=hand.pk))[-1]
    assert (last.kind, last.what["fault"]) == ("learned", "slide-canted")
    page = hall.client(hall.lead).get(f"/h/{hand.code}/").content.decode()
    assert "Proved by its cure: the tension screws stand unequal" in page
    assert verify().findings == []
    own = {k.id: k.prior for k in catalogue(hall).kinds}
    now = {k.id: k.prior for k in catalogue_learned(catalogue(hall))[0].kinds}
    assert now["slide-canted"] > own["slide-canted"]
    assert now["loop-long"] < own["loop-long"]
    assert sum(now.values()) == pytest.approx(sum(own.values()))


def test_worked_out_twice_it_is_learned_once(hall: Hall, hand: Hand, no_workers: Callable[[], None]) -> None:
    rework(hall, hand, "even-screws")
    looked_at_again(hall, hand)
    no_workers()
    Job.objects.filter(kind="learn").update(state=Job.QUEUED)
    no_workers()
    assert LearnedEntry.objects.count() == 1
    assert sum(t.kind == "learned" for t in told_of(Hand.objects.get(pk=hand.pk))) == 1


def test_nothing_is_learned_from_two_reworks_at_once_or_from_one_that_did_not_help(
    hall: Hall, hand: Hand, no_workers: Callable[[], None]
) -> None:
    rework(hall, hand, "even-screws")
    rework(hall, hand, "ease-hinge", "index")
    decided = looked_at_again(hall, hand)
    assert "several things" in proved(hand, told_of(hand), decided).reason
    rework(hall, hand, "clear-channel", "index")
    decided = looked_at_again(hall, hand)
    assert not proved(hand, told_of(hand), decided).confirmed
    no_workers()
    assert not LearnedEntry.objects.exists()


def test_a_rework_that_cures_another_cause_proves_nothing(hall: Hall, hand: Hand) -> None:
    rework(hall, hand, "replace-elastic", "index")
    decided = looked_at_again(hall, hand)
    assert not proved(hand, told_of(hand), decided).confirmed


def test_a_decision_without_rework_asks_for_no_learning(hall: Hall, hand: Hand) -> None:
    looked_at_again(hall, hand)
    assert not Job.objects.filter(kind="learn").exists()


def test_the_lead_sees_what_was_learned_and_takes_it_back(hall: Hall, hand: Hand) -> None:
    keep_proof(hand, proof(), person=hall.inspector)
    client, before = hall.client(hall.lead), learned_for(catalogue(hall))
    page = client.get("/day/learned/").content.decode()
    assert "The tension screws stand unequal" in page
    assert hand.shown_code in page
    assert "proved 1 time" in page
    form = {"number": 1, "reason": "It was the strap.", "client_id": secrets.token_hex(16)}
    for _ in range(2):
        assert client.post("/day/learned/back/", form).status_code == 303
    assert LearnedEntry.objects.count() == 2, "nothing is erased, and it is taken back once"
    page = client.get("/day/learned/").content.decode()
    assert "Taken back: It was the strap." in page
    own = {k.id: k.prior for k in catalogue(hall).kinds}
    after = learned_for(catalogue(hall))
    assert dict(after.priors) == own
    assert after.version != before.version, "the list says that something was there"
    reply = client.post("/day/learned/back/", form | {"client_id": secrets.token_hex(16)})
    assert reply.status_code == 409


def test_priors_stay_within_their_bounds_whatever_is_confirmed(hall: Hall, hand: Hand) -> None:
    for k in range(90):
        keep_proof(hand, proof(decided=k), person=hall.inspector)
    own = {k.id: k.prior for k in catalogue(hall).kinds}
    now = {k.id: k.prior for k in catalogue_learned(catalogue(hall))[0].kinds}
    assert all(own[k] / 4 - 1e-9 <= p <= 4 * own[k] + 1e-9 for k, p in now.items())
    assert "at its bound" in hall.client(hall.lead).get("/day/learned/").content.decode()


def test_a_cause_that_the_catalogue_no_longer_has_is_passed_over(hall: Hall, hand: Hand) -> None:
    keep_proof(hand, proof(fault="gremlins"), person=hall.inspector)
    keep_proof(hand, proof(decided=2), person=hall.inspector)
    take_back(1, "no such thing", person=hall.lead, client_id="b" * 32)
    assert learned_for(catalogue(hall)).counts == {"slide-canted": 1}
    assert "Gremlins" in hall.client(hall.lead).get("/day/learned/").content.decode()


def test_an_entry_is_never_changed_or_deleted(hall: Hall, hand: Hand) -> None:
    entry = keep_proof(hand, proof(), person=hall.inspector)
    assert entry is not None
    entry.fault = "loop-long"
    with pytest.raises(Lasting):
        entry.save()
    with pytest.raises(Lasting):
        entry.delete()


@pytest.mark.parametrize(
    "changed",
    [
        {"number": "0"},
        {"number": "x"},
        {"number": "77"},
        {"reason": ""},
        {"client_id": ""},
        {"reason": "x" * 400},
    ],
)
def test_what_makes_no_sense_takes_nothing_back(hall: Hall, hand: Hand, changed: dict[str, str]) -> None:
    keep_proof(hand, proof(), person=hall.inspector)
    form = {"number": "1", "reason": "wrong", "client_id": secrets.token_hex(16)} | changed
    assert hall.client(hall.lead).post("/day/learned/back/", form).status_code in (400, 409)
    assert LearnedEntry.objects.count() == 1


def test_wrong_methods_and_wrong_people_are_refused(hall: Hall, hand: Hand) -> None:
    assert hall.client(hall.lead).get("/day/learned/back/").status_code == 405
    assert hall.client(hall.lead).post("/day/learned/").status_code == 405
    for person in (hall.builder, hall.inspector, hall.fitter):
        assert hall.client(person).get("/day/learned/").status_code == 403
        assert hall.client(person).post("/day/learned/back/", {"number": 1}).status_code == 403
