"""Papers: PDFs from the records, and the day report with its root."""

from __future__ import annotations

from hashlib import sha256
from typing import Any

import pytest
from django.test import Client

from bench.hall import Hall
from handsel.bench.hands.chain import New, append
from handsel.bench.hands.models import Entry, Hand
from handsel.bench.hands.root import root_of
from handsel.bench.papers.naming import on_paper
from handsel.bench.papers.of_day import report_of, wilson
from handsel.bench.papers.of_hand import release_of
from handsel.documents.release_record import grouped_hash

ALL_STAGES = "none"  # no hold point has this name: everything is passed


def pdf(answer: Any, name: str) -> bytes:
    """The PDF of an answer, which opens in the browser under this name."""
    assert answer.status_code == 200, answer.content[:300]
    assert answer["Content-Type"] == "application/pdf"
    assert answer["Content-Disposition"] == f'inline; filename="{name}.pdf"'
    assert answer.content.startswith(b"%PDF-")
    return bytes(answer.content)


def released(hall: Hall) -> Hand:
    """A hand that passed everything, with rework, a concession, a lot and a note on the way."""
    hand = hall.hand(at=ALL_STAGES)
    append(
        hand,
        [
            New(kind="lot-used", what={"lot": 1, "kind": "cord", "name": "Bag C-12"}),
            New(kind="noted", what={"text": "thumb <b>a bit</b> stiff at first"}),
            New(kind="conceded", what={"of": "tails-trimmed", "place": "", "reason": "one tail is long"}),
            New(kind="released", what={"decided": 1, "open": [], "conceded": []}),
        ],
        person=hall.lead,
    )
    return hand


def test_a_traveller_begins_where_the_hand_is(hall: Hall) -> None:
    hand = hall.hand(at="strung")
    client = hall.client(hall.builder)
    here = pdf(client.get(f"/h/{hand.code}/papers/traveller.pdf"), f"traveller-{hand.shown_code}")
    whole = pdf(client.get(f"/h/{hand.code}/papers/traveller.pdf?whole=1"), f"traveller-{hand.shown_code}")
    assert len(whole) > len(here)


def test_what_is_printed_twice_is_the_same(hall: Hall) -> None:
    hand = hall.hand()
    client = hall.client(hall.lead)
    for path in (
        f"/h/{hand.code}/papers/traveller.pdf",
        "/papers/labels.pdf?hands=all",
        "/papers/day-report.pdf",
    ):
        assert client.get(path).content == client.get(path).content


def test_labels_of_new_hands_only_of_all_and_of_some(hall: Hall) -> None:
    new, old = hall.hand(code="R-1"), hall.hand(code="R-2", at="dry-fit")
    client = hall.client(hall.lead)
    page = client.get("/papers/").content.decode()
    assert "New hands<small>1</small>" in page
    assert "All hands<small>2</small>" in page
    sizes = {
        said: len(client.get("/papers/labels.pdf", {"hands": said}).content)
        for said in ("new", "all", old.code, f"{new.code},{old.code}")
    }
    assert sizes["new"] < sizes["all"]
    assert sizes[f"{new.code},{old.code}"] == sizes["all"]
    assert client.get("/papers/travellers.pdf", {"hands": "new"}).status_code == 200


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"hands": "all", "grid": "../../etc"}, "no label grid"),
        ({"hands": "all", "start": "22"}, "expected 1 to 21"),
        ({"hands": "all", "start": "0"}, "expected 1 to 21"),
        ({"hands": "all", "start": "x"}, "no number"),
        ({"hands": "ZZZZZZ"}, "no such hand"),
        ({"hands": ""}, "no such hand"),
        ({"hands": "<script>"}, "no such hand"),
    ],
)
def test_a_paper_that_cannot_be_printed_is_refused_in_words(
    hall: Hall, asked: dict[str, str], said: str
) -> None:
    hall.hand()
    answer = hall.client(hall.lead).get("/papers/labels.pdf", asked)
    assert answer.status_code == 400
    assert said in answer.content.decode()


def test_when_nothing_is_new_it_says_so(hall: Hall) -> None:
    hall.hand(at="dry-fit")
    answer = hall.client(hall.lead).get("/papers/labels.pdf?hands=new")
    assert "each has something on record" in answer.content.decode()


def test_the_sheet_chosen_for_the_day_is_kept(hall: Hall) -> None:
    client = hall.client(hall.lead)
    for _ in range(2):
        assert client.post("/papers/grid/", {"grid": "70x37-a4"}).status_code == 303
    hall.day.refresh_from_db()
    assert hall.day.label_grid == "70x37-a4"
    assert '<option value="70x37-a4" selected>' in client.get("/papers/").content.decode()
    assert client.post("/papers/grid/", {"grid": "no"}).status_code == 400


def test_labels_lead_to_the_address_that_was_set(hall: Hall) -> None:
    hand = hall.hand()
    assert on_paper(hand, "http://192.168.1.5:8000").url == f"http://192.168.1.5:8000/l/{hand.code}/"
    client = hall.client(hall.lead)
    before = client.get("/papers/labels.pdf?hands=all").content
    hall.day.address = "http://192.168.1.5:8000"
    hall.day.save()
    assert "http://192.168.1.5:8000" in client.get("/papers/").content.decode()
    assert client.get("/papers/labels.pdf?hands=all").content != before


def test_rework_cards_as_they_were_ordered(hall: Hall) -> None:
    hand = hall.hand(at="strung")
    client = hall.client(hall.builder)
    none = client.get(f"/h/{hand.code}/papers/rework.pdf")
    assert none.status_code == 409
    assert "no open rework card" in none.content.decode()
    card = {
        "rework": "restring-all", "place": "", "title": "Restring the hand", "how": "Take the old cords out.",
        "steps": ["Cut", "Thread"], "because": [{"of": "worked-rest-angle", "place": "", "title": "Rests at 30°"}],
        "sentence": "Restring it.", "spares": ["cord"], "cautions": ["Mind your fingers."], "minutes": 25.0,
        "recheck": [{"id": "worked-rest-angle", "place": "", "title": "Rests at 30°", "reason": "cord is new"}],
        "skill": "builder",
    }  # fmt: skip
    append(hand, [New(kind="ordered", what=card)], person=hall.inspector)
    one = pdf(client.get(f"/h/{hand.code}/papers/rework.pdf"), f"rework-{hand.shown_code}")
    again = client.get(f"/h/{hand.code}/papers/rework.pdf?card={hand.entry_count}")
    assert again.content == one
    assert client.get(f"/h/{hand.code}/papers/rework.pdf?card=1").status_code == 409
    assert client.get(f"/h/{hand.code}/papers/rework.pdf?card=x").status_code == 400


def test_release_record_and_hand_over_sheet_only_after_release(hall: Hall) -> None:
    hand = hall.hand()
    client = hall.client(hall.fitter)
    for name in ("release", "hand-over"):
        answer = client.get(f"/h/{hand.code}/papers/{name}.pdf")
        assert answer.status_code == 409
        assert "not released" in answer.content.decode()
    done = released(hall)
    pdf(client.get(f"/h/{done.code}/papers/release.pdf"), f"release-{done.shown_code}")
    pdf(client.get(f"/h/{done.code}/papers/hand-over.pdf"), f"hand-over-{done.shown_code}")


def test_the_release_record_says_what_the_record_says_and_stays_the_same(hall: Hall) -> None:
    hand = released(hall)
    r = release_of(Hand.objects.select_related("day", "design", "protocol").get(pk=hand.pk), "http://bench")
    assert [s.title for s in r.seen] == ["Parts", "Dry fit", "Strung", "Finished", "Fitting"]
    assert all(s.by == ("inspector 2",) and s.passed_at is not None and s.looked_count > 0 for s in r.seen)
    assert any(n.title.startswith("The hand rests at 30") and n.by == "inspector 2" for n in r.numbers)
    assert [(x.kind, x.lot) for x in r.lots] == [("cord", "Bag C-12")]
    assert r.notes == ("thumb <b>a bit</b> stiff at first",)
    assert [(c.reason, c.by) for c in r.concessions] == [("one tail is long", "lead 1")]
    assert r.released_by == "lead 1"
    entry = Entry.objects.get(hand=hand, kind="released")
    assert (r.head_sha256, r.entries_count) == (entry.sha256, entry.seq)
    client = hall.client(hall.lead)
    before = client.get(f"/h/{hand.code}/papers/release.pdf").content
    append(hand, [New(kind="noted", what={"text": "called back"})], person=hall.lead)
    assert client.get(f"/h/{hand.code}/papers/release.pdf").content == before


@pytest.mark.parametrize(
    ("language", "status"), [("de", 200), ("ar", 200), ("xx", 400), ("../en", 400), ("e" * 40, 400)]
)
def test_the_hand_over_sheet_comes_in_languages_that_there_are(
    hall: Hall, language: str, status: int
) -> None:
    hand = released(hall)
    answer = hall.client(hall.lead).get(f"/h/{hand.code}/papers/hand-over.pdf", {"language": language})
    assert answer.status_code == status


def test_the_sheet_follows_the_hand_over(hall: Hall) -> None:
    hand = released(hall)
    client = hall.client(hall.fitter)
    english = client.get(f"/h/{hand.code}/papers/hand-over.pdf").content
    what = {"language": "fr", "to": "carer", "cautions_gone_through": True, "call": "The library, 555-0100"}
    append(hand, [New(kind="handed-over", what=what)], person=hall.fitter)
    french = client.get(f"/h/{hand.code}/papers/hand-over.pdf").content
    assert french != english


def test_the_root_is_over_all_heads_in_one_order(hall: Hall) -> None:
    hands = [hall.hand(code=f"R-{n}") for n in range(3)]
    lines = sorted(f"{h.code}:{h.head_sha256}\n" for h in hands)
    root = sha256("".join(lines).encode()).hexdigest()
    assert root_of(hall.day) == root
    page = hall.client(hall.lead).get("/day/report/").content.decode()
    assert grouped_hash(root) in page
    append(hands[0], [New(kind="noted", what={"text": "later"})], person=hall.lead)
    assert root_of(hall.day) != root


def test_the_report_counts_what_the_records_say(hall: Hall) -> None:
    good, bad, gone = hall.hand(code="R-1", at="dry-fit"), hall.hand(code="R-2"), hall.hand(code="R-3")
    what = {
        "hold_point": "parts", "whole": "rework", "sentence": "Not yet.", "blocked_by": "x",
        "open": [{"of": "kit-complete", "place": "", "status": "does not conform", "severity": "major"}],
        "next_hold_point": "", "next_is_fitting": False, "protocol": bad.protocol_id, "design": bad.design_id,
    }  # fmt: skip
    append(bad, [New(kind="decided", what=what)], person=hall.inspector)
    passed = {"what": "replace-part", "place": "", "is_rework": True, "at": "parts"}
    append(bad, [New(kind="did", what=passed)], person=hall.builder)
    append(bad, [New(kind="decided", what=what | {"whole": "release", "open": [], "next_hold_point": "dry-fit"})],
           person=hall.inspector)  # fmt: skip
    append(gone, [New(kind="scrapped", what={"reason": "cuff cracked"})], person=hall.lead)
    append(good, [New(kind="lot-used", what={"lot": 1, "kind": "cord", "name": "C-12"})], person=hall.builder)
    r = report_of(hall.day)
    assert [(f.hold_point, f.passed_count, f.looked_count) for f in r.first_time] == [("Parts", 1, 2)]
    assert [(f.title, f.hands_count) for f in r.found] == [
        ("Every part on the kit list is there, and nothing else", 1)
    ]
    assert r.saved == (bad.code,)
    assert [(s.hand_code, s.reason) for s in r.scrapped] == [(gone.code, "cuff cracked")]
    assert [(x.kind, x.lot, x.hands_count) for x in r.lots] == [("cord", "C-12", 1)]
    assert [x.count for x in r.rework] == [1]
    assert (r.hands_count, r.entries_count) == (3, sum(h.entry_count for h in (good, bad, gone)))
    assert pdf(hall.client(hall.lead).get("/papers/day-report.pdf"), f"day-report-{r.day:%Y-%m-%d}")


def test_the_interval_of_a_share_is_wilsons() -> None:
    # Wilson (1927); 8 of 10 gives 0.490 to 0.943, as computed by statsmodels' proportion_confint.
    from statsmodels.stats.proportion import proportion_confint

    for k, n in ((8, 10), (0, 4), (4, 4), (1, 1), (57, 120)):
        assert wilson(k, n) == pytest.approx(proportion_confint(k, n, method="wilson"), abs=1e-12)


def test_the_reports_queries_do_not_grow_with_the_hands(
    hall: Hall, django_assert_max_num_queries: Any
) -> None:
    for n in range(6):
        hall.hand(code=f"R-{n}")
    client = hall.client(hall.lead)
    client.get("/day/report/")
    with django_assert_max_num_queries(7):
        client.get("/day/report/")
    with django_assert_max_num_queries(7):
        client.get("/papers/travellers.pdf?hands=all")


def test_hostile_words_break_no_paper(hall: Hall) -> None:
    hand = hall.hand()
    evil = "#panic() \u202e$x$ *_`<script>\\ " + "\u0627\u0644\u0639\u0631\u0628\u064a\u0629 " * 20
    append(hand, [New(kind="scrapped", what={"reason": evil})], person=hall.lead)
    client = hall.client(hall.lead)
    assert client.get("/papers/day-report.pdf").status_code == 200
    assert "<script>" not in client.get("/day/report/").content.decode().replace("<script src", "")


LEAD = ("/papers/", "/papers/labels.pdf", "/papers/travellers.pdf", "/papers/day-report.pdf", "/day/report/")
HAND = ("traveller", "rework", "release", "hand-over")


@pytest.mark.parametrize("path", LEAD)
def test_papers_of_the_day_are_the_leads(hall: Hall, path: str) -> None:
    assert hall.client(hall.inspector).get(path).status_code == 403
    assert hall.client().get(path).status_code == 302
    assert hall.client(hall.lead).post(path).status_code == 405
    assert hall.client(hall.lead).get("/papers/grid/").status_code == 405


@pytest.mark.parametrize("name", HAND)
def test_papers_of_a_hand_are_for_who_is_signed_in(hall: Hall, name: str) -> None:
    hand = hall.hand()
    path = f"/h/{hand.code}/papers/{name}.pdf"
    assert Client().get(path).status_code == 302
    assert hall.client(hall.lead).post(path).status_code == 405
    assert hall.client(hall.lead).get(f"/h/222222/papers/{name}.pdf").status_code in (400, 404)
    if name in ("release", "hand-over"):
        assert hall.client(hall.builder).get(path).status_code == 403


def test_before_the_first_day_there_is_nothing_to_print(hall: Hall) -> None:
    hall.day.delete()
    client = hall.client(hall.lead)
    for path in ("/papers/", "/papers/day-report.pdf", "/day/report/"):
        assert client.get(path)["Location"] == "/day/"


def test_too_many_for_one_file_are_refused(hall: Hall, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("handsel.bench.papers.sheets.MOST", 2)
    for n in range(3):
        hall.hand(code=f"R-{n}")
    answer = hall.client(hall.lead).get("/papers/travellers.pdf?hands=all")
    assert answer.status_code == 400
    assert "more than 2 hands" in answer.content.decode()
