"""What phones send: held against the protocol, stored once, told back entry by entry."""

from __future__ import annotations

import json
from typing import Any

import pytest

from bench.hall import Hall, passed
from handsel.bench.hands.casebook import told_of
from handsel.bench.hands.chain import New, append
from handsel.bench.hands.models import Entry, Hand, Standing
from handsel.bench.jobs.models import Job
from handsel.bench.looking.answering import known
from handsel.bench.people.models import Person

IDS = iter(range(10**6))


def observed(hand: Hand, person: Person, of: str = "kit-complete", **fields: Any) -> dict[str, Any]:
    said = {"answer": "yes"} if not {"answer", "value", "readings"} & set(fields) else {}
    return {
        "kind": "observed",
        "client_id": f"{next(IDS):032x}",
        "by": person.number,
        "of": of,
        "protocol": hand.protocol_id,
        "tap_ms": 2500,
        "seen_count": hand.entry_count,
        **said,
        **fields,
    }


def post(hall: Hall, hand: Hand, *entries: dict[str, Any], person: Person | None = None) -> Any:
    client = hall.client(person or hall.inspector)
    return client.post(
        f"/h/{hand.code}/answers/",
        json.dumps({"entries": list(entries)}),
        content_type="application/json",
        headers={"Accept": "application/json"},
    )


def states(reply: Any) -> list[str]:
    assert reply.status_code == 200, reply.content
    return [r["state"] for r in reply.json()["results"]]


def test_answers_are_stored_in_order_with_who_and_under_which_protocol(hall: Hall) -> None:
    hand = hall.hand()
    first = observed(hand, hall.inspector)
    second = observed(hand, hall.inspector, "scale-as-ordered", value=100.5, unit="percent", method="caliper")
    reply = post(hall, hand, first, second)
    assert states(reply) == ["stored", "stored"]
    told = told_of(hand)[-2:]
    assert [t.what["of"] for t in told] == ["kit-complete", "scale-as-ordered"]
    assert told[1].what["value"] == 100.5
    assert told[0].by == {"number": hall.inspector.number, "called": hall.inspector.called}
    assert {t.what["protocol"] for t in told} == {hand.protocol_id}
    assert told[0].what["from"] == "screen"
    assert told[0].what["tap_ms"] == 2500
    assert reply.json()["count"] == told[-1].seq


def test_a_batch_sent_twice_is_stored_once_and_says_so(hall: Hall) -> None:
    hand = hall.hand()
    entries = [observed(hand, hall.inspector), observed(hand, hall.inspector, "side-as-ordered")]
    assert states(post(hall, hand, *entries)) == ["stored", "stored"]
    again = post(hall, hand, *entries)
    assert states(again) == ["same", "same"]
    assert [r["seq"] for r in again.json()["results"]] == [2, 3]
    assert Entry.objects.filter(hand=hand, kind="observed").count() == 2


def test_an_answer_that_became_a_correction_is_still_the_same_when_it_comes_again(hall: Hall) -> None:
    hand = hall.hand()
    first, second = (observed(hand, hall.inspector, answer=a) for a in ("no", "yes"))
    assert states(post(hall, hand, first)) == ["stored"]
    assert states(post(hall, hand, second)) == ["stored"]
    assert told_of(hand)[-1].what["corrects"] == 2
    assert states(post(hall, hand, first, second)) == ["same", "same"]


def test_the_same_id_with_another_answer_is_a_conflict_and_shows_what_is_on_record(hall: Hall) -> None:
    hand = hall.hand()
    first = observed(hand, hall.inspector, answer="no")
    post(hall, hand, first)
    reply = post(hall, hand, first | {"answer": "yes"})
    (result,) = reply.json()["results"]
    assert result["state"] == "conflict"
    assert (result["stored"]["shown"], result["stored"]["by"]) == ("no", hall.inspector.called)
    assert told_of(hand)[-1].what["answer"] == "no"


def test_an_id_used_on_another_hand_is_a_conflict(hall: Hall) -> None:
    hand, other = hall.hand(), hall.hand(code="R-015")
    first = observed(hand, hall.inspector)
    post(hall, hand, first)
    assert states(post(hall, other, first)) == ["conflict"]
    assert Entry.objects.filter(hand=other, kind="observed").count() == 0


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"of": "no-such-thing"}, "no longer asked"),
        ({"place": "index"}, "not asked at that place"),
        ({"answer": "perhaps"}, "answered by yes, no or can't tell"),
        ({"answer": None, "value": 3.0, "unit": "mm"}, "answered in words"),
        ({"of": "worked-rest-angle", "answer": None, "value": 36.0, "unit": "deg"}, "not asked yet"),
        ({"of": "part-mass", "answer": None, "value": 100.0, "unit": "g"}, "read in per cent"),
        ({"of": "part-mass", "answer": None, "value": 1000.0, "unit": "percent"}, "cannot be right"),
        (
            {"of": "part-mass", "answer": None, "readings": [100.0, -5.0], "unit": "percent"},
            "cannot be right",
        ),
        (
            {"of": "part-mass", "answer": None, "value": 99.0, "unit": "percent", "method": "guess"},
            "not read by",
        ),
        ({"of": "part-mass", "answer": None, "unit": "percent"}, "needs a number"),
        ({"of": "part-mass", "value": 99.0, "unit": "percent"}, "came together"),
        ({"method": "substitute"}, "has no other check"),
        ({"protocol": "0" * 64}, "never had the protocol"),
        ({"protocol": "not a fingerprint"}, "not understood"),
        ({"answer": 3}, "not understood"),
        ({"surprise": True}, "not understood"),
        ({"note": "x" * 501}, "not understood"),
        ({"client_id": "short"}, "not understood"),
        ({"kind": "released"}, "not understood"),
    ],
)
def test_what_does_not_fit_is_refused_in_words_and_stops_nothing_else(
    hall: Hall, change: dict[str, Any], said: str
) -> None:
    hand = hall.hand()
    wrong = {k: v for k, v in (observed(hand, hall.inspector) | change).items() if v is not None}
    reply = post(hall, hand, wrong, observed(hand, hall.inspector, "side-as-ordered"))
    assert states(reply) == ["refused", "stored"]
    result = reply.json()["results"][0]
    assert said in result["what"]
    assert result["do"]
    assert Entry.objects.filter(hand=hand, kind="observed").count() == 1


def test_a_no_must_say_where(hall: Hall) -> None:
    hand = hall.hand(at="strung")
    reply = post(
        hall,
        hand,
        observed(hand, hall.inspector, "knots-tied-tight", answer="no"),
        observed(hand, hall.inspector, "knots-tied-tight", answer="no", place="ring"),
        observed(hand, hall.inspector, "knots-tied-tight", answer="can't tell"),
    )
    assert states(reply) == ["refused", "stored", "stored"]


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"[]",
        b"{}",
        b'{"entries": []}',
        b'{"entries": [1]}',
        b'{"entries": {"a": 1}}',
        b'{"entries": [{"value": NaN}]}',
        b"\xff\xfe",
        b"[" * 100_000,
        b'{"entries": ["\\ud800"]}',
    ],
)
def test_what_is_no_batch_is_told_so(hall: Hall, body: bytes) -> None:
    hand = hall.hand()
    reply = hall.client(hall.inspector).post(
        f"/h/{hand.code}/answers/",
        body,
        content_type="application/json",
        headers={"Accept": "application/json"},
    )
    assert reply.status_code == 400
    assert "no list of answers" in reply.json()["what"]


def test_too_large_a_batch_is_refused_whole(hall: Hall) -> None:
    hand = hall.hand()
    many = [observed(hand, hall.inspector) for _ in range(101)]
    assert post(hall, hand, *many).status_code == 413
    big = [observed(hand, hall.inspector, note="x" * 500_000)]
    assert post(hall, hand, *big).status_code == 413
    assert Entry.objects.filter(hand=hand, kind="observed").count() == 0


def test_times_of_a_phone_are_bounded_and_never_believed(hall: Hall) -> None:
    hand = hall.hand()
    post(hall, hand, observed(hand, hall.inspector, tap_ms=-4, step_ms=10**12))
    what = told_of(hand)[-1].what
    assert (what["tap_ms"], what["step_ms"]) == (0, 600_000)


def test_unseen_signs_are_taken_out_of_notes(hall: Hall) -> None:
    hand = hall.hand()
    post(hall, hand, observed(hand, hall.inspector, answer="no", note="  one\u202e pin\x00 short\n"))
    assert told_of(hand)[-1].what["note"] == "one pin short"


def test_an_answer_of_somebody_else_waits_for_them(hall: Hall) -> None:
    hand = hall.hand()
    theirs = observed(hand, hall.inspector)
    assert states(post(hall, hand, theirs, person=hall.lead)) == ["other person"]
    assert Entry.objects.filter(hand=hand, kind="observed").count() == 0
    assert states(post(hall, hand, theirs)) == ["stored"]


def test_two_people_who_differ_are_both_kept_and_the_second_is_told(hall: Hall) -> None:
    hand = hall.hand()
    knew = hand.entry_count
    post(hall, hand, observed(hand, hall.inspector, answer="no"))
    reply = post(hall, hand, observed(hand, hall.lead, answer="yes", seen_count=knew), person=hall.lead)
    (result,) = reply.json()["results"]
    assert result["state"] == "stored"
    assert [(d["by"], d["shown"], d["of"]) for d in result["differs"]] == [
        (hall.inspector.called, "no", "kit-complete")
    ]
    assert known(hand).inspection().item("kit-complete").status == "does not conform"


def test_numbers_differ_only_beyond_what_reading_explains(hall: Hall) -> None:
    hand = hall.hand()
    knew = hand.entry_count
    read = {"unit": "percent", "method": "caliper", "seen_count": knew}
    post(hall, hand, observed(hand, hall.inspector, "scale-as-ordered", value=100.0, **read))
    near = post(
        hall, hand, observed(hand, hall.lead, "scale-as-ordered", value=100.5, **read), person=hall.lead
    )
    far = post(
        hall, hand, observed(hand, hall.lead, "scale-as-ordered", value=109.0, **read), person=hall.lead
    )
    assert "differs" not in near.json()["results"][0]
    assert far.json()["results"][0]["differs"][0]["shown"] == "100 %"


def test_taking_a_group_as_shown_differs_from_a_no_that_came_meanwhile(hall: Hall) -> None:
    hand = hall.hand()
    knew = hand.entry_count
    post(hall, hand, observed(hand, hall.inspector, "no-pores", answer="no"))
    group = as_shown(hand, hall.lead, "parts-in-fingers") | {"seen_count": knew}
    reply = post(hall, hand, group, person=hall.lead)
    assert [d["of"] for d in reply.json()["results"][0]["differs"]] == ["no-pores"]
    assert known(hand).inspection().item("no-pores").status == "does not conform"


def test_a_phone_hears_what_others_answered_since(hall: Hall) -> None:
    hand = hall.hand()
    knew = hand.entry_count
    post(hall, hand, observed(hand, hall.inspector, "side-as-ordered"))
    mine = observed(hand, hall.lead, "kit-complete", seen_count=knew)
    reply = post(hall, hand, mine, person=hall.lead).json()
    assert [(o["of"], o["shown"], o["by"]) for o in reply["others"]] == [
        ("side-as-ordered", "yes", hall.inspector.called)
    ]


def as_shown(hand: Hand, person: Person, group: str, **fields: Any) -> dict[str, Any]:
    return {
        "kind": "as-shown",
        "client_id": f"{next(IDS):032x}",
        "by": person.number,
        "group": group,
        "protocol": hand.protocol_id,
        "tap_ms": 9000,
        **fields,
    }


def test_a_group_as_shown_answers_its_ordinary_questions_and_no_critical_one(hall: Hall) -> None:
    hand = hall.hand()
    assert states(post(hall, hand, as_shown(hand, hall.inspector, "parts-in-fingers"))) == ["stored"]
    found = known(hand).inspection()
    assert found.item("no-pores").status == "conforms"
    assert found.item("no-sharp-edges").status == "not seen"
    assert told_of(hand)[-1].what["covers"] == 7


def test_part_of_a_group_as_shown_answers_that_part(hall: Hall) -> None:
    hand = hall.hand()
    part = as_shown(hand, hall.inspector, "parts-in-fingers", only=[["no-pores", ""], ["holes-clear", ""]])
    post(hall, hand, part)
    found = known(hand).inspection()
    assert [found.item(x).status for x in ("no-pores", "holes-clear", "layers-whole")] == [
        "conforms",
        "conforms",
        "not seen",
    ]


@pytest.mark.parametrize(
    ("group", "only"),
    [
        ("no-such-group", []),
        ("strung-palm-up", []),
        ("parts-in-fingers", [["no-sharp-edges", ""]]),
        ("parts-in-fingers", [["kit-complete", ""]]),
        ("parts-in-fingers", [["no-pores", "ring"]]),
    ],
)
def test_a_group_that_is_not_asked_so_is_refused(hall: Hall, group: str, only: list[list[str]]) -> None:
    hand = hall.hand()
    assert states(post(hall, hand, as_shown(hand, hall.inspector, group, only=only))) == ["refused"]


def withdrawn(person: Person, undoes: str) -> dict[str, Any]:
    return {"kind": "withdrawn", "client_id": f"{next(IDS):032x}", "by": person.number, "undoes": undoes}


def test_undo_takes_an_answer_back_and_the_record_keeps_both(hall: Hall) -> None:
    hand = hall.hand()
    said = observed(hand, hall.inspector, answer="no")
    undo = withdrawn(hall.inspector, said["client_id"])
    assert states(post(hall, hand, said, undo)) == ["stored", "stored"]
    assert known(hand).inspection().item("kit-complete").status == "not seen"
    assert [t.kind for t in told_of(hand)[-2:]] == ["observed", "withdrawn"]
    assert states(post(hall, hand, undo)) == ["same"]
    assert states(post(hall, hand, withdrawn(hall.inspector, said["client_id"]))) == ["same"]
    assert states(post(hall, hand, withdrawn(hall.inspector, "f" * 32))) == ["same"]


def test_after_undo_a_new_answer_corrects_nothing(hall: Hall) -> None:
    hand = hall.hand()
    said = observed(hand, hall.inspector, answer="no")
    again = observed(hand, hall.inspector, answer="yes")
    post(hall, hand, said, withdrawn(hall.inspector, said["client_id"]), again)
    assert "corrects" not in told_of(hand)[-1].what
    assert known(hand).inspection().item("kit-complete").status == "conforms"


def test_nobody_undoes_what_another_person_said(hall: Hall) -> None:
    hand = hall.hand()
    said = observed(hand, hall.lead, answer="no")
    post(hall, hand, said, person=hall.lead)
    assert states(post(hall, hand, withdrawn(hall.inspector, said["client_id"]))) == ["refused"]
    begun = Entry.objects.get(hand=hand, kind="begun").client_id
    assert states(post(hall, hand, withdrawn(hall.lead, begun), person=hall.lead)) == ["refused"]


def test_an_answer_from_before_a_rework_is_not_corrected_by_one_after_it(hall: Hall) -> None:
    hand = hall.hand(at="strung")
    post(hall, hand, observed(hand, hall.inspector, "six-knots", answer="no"))
    rework = {"what": "restring-all", "is_rework": True, "at": "strung"}
    append(hand, [New(kind="did", what=rework)], person=hall.builder)
    post(hall, hand, observed(hand, hall.inspector, "six-knots", answer="yes"))
    assert "corrects" not in told_of(hand)[-1].what
    assert known(hand).inspection().item("six-knots").status == "conforms"


def test_what_a_step_has_hidden_is_refused_and_its_other_check_taken(hall: Hall) -> None:
    hand = hall.hand(at="strung")
    append(hand, [New(kind="did", what={"what": "sealed", "at": "strung"})], person=hall.builder)
    direct = observed(hand, hall.inspector, "knots-worked-in")
    other = observed(hand, hall.inspector, "knots-worked-in", method="substitute")
    reply = post(hall, hand, direct, other)
    assert states(reply) == ["refused", "stored"]
    assert "no longer be seen" in reply.json()["results"][0]["what"]
    assert known(hand).inspection().item("knots-worked-in").status == "conforms"


def test_nothing_but_a_note_is_taken_for_a_hand_that_is_closed(hall: Hall) -> None:
    hand = hall.hand()
    append(hand, [New(kind="scrapped", what={"reason": "cracked"})], person=hall.lead)
    note = {"kind": "noted", "client_id": "n" * 32, "by": hall.inspector.number, "text": "kept for teaching"}
    assert states(post(hall, hand, observed(hand, hall.inspector), note)) == ["refused", "stored"]


def test_stopping_lets_someone_else_go_on(hall: Hall) -> None:
    hand = hall.hand()
    post(hall, hand, observed(hand, hall.inspector))
    hand.refresh_from_db()
    assert (hand.standing, hand.held_by) == (Standing.LOOKING, hall.inspector)
    down = {"kind": "put-down", "client_id": "d" * 32, "by": hall.inspector.number}
    assert states(post(hall, hand, down)) == ["stored"]
    hand.refresh_from_db()
    assert (hand.standing, hand.held_by) == (Standing.ASKED, None)


def test_the_answer_is_prepared_once_the_last_thing_is_seen(
    hall: Hall, django_capture_on_commit_callbacks: Any
) -> None:
    hand = hall.hand(at="strung")
    hall.answer_all(hand, "strung")
    last = known(hand).told[-1].what
    assert not Job.objects.exists()
    with django_capture_on_commit_callbacks(execute=True):
        post(hall, hand, observed(hand, hall.inspector, last["of"], place=last["place"]))
    assert [j.state for j in Job.objects.all()] == [Job.QUEUED]


@pytest.mark.parametrize(("who", "status"), [("builder", 403), ("fitter", 403), (None, 401)])
def test_only_inspectors_answer_before_the_fitting(hall: Hall, who: str | None, status: int) -> None:
    hand = hall.hand()
    person = getattr(hall, who) if who else None
    client = hall.client(person)
    reply = client.post(
        f"/h/{hand.code}/answers/",
        json.dumps({"entries": [observed(hand, hall.inspector)]}),
        content_type="application/json",
        headers={"Accept": "application/json"},
    )
    assert reply.status_code == status
    assert Entry.objects.filter(hand=hand, kind="observed").count() == 0


def test_the_fitter_answers_at_the_fitting_and_an_inspector_does_not(hall: Hall) -> None:
    hand = hall.hand(at="fitting")
    mine = observed(hand, hall.fitter, "stays-on")
    assert states(post(hall, hand, mine, person=hall.fitter)) == ["stored"]
    assert post(hall, hand, observed(hand, hall.inspector, "stays-on")).status_code == 403


def test_answers_are_only_posted(hall: Hall) -> None:
    hand = hall.hand()
    client = hall.client(hall.inspector)
    assert client.get(f"/h/{hand.code}/answers/").status_code == 405
    assert client.put(f"/h/{hand.code}/answers/").status_code == 405


def test_a_page_without_the_form_cookie_is_refused(hall: Hall) -> None:
    hand = hall.hand()
    client = hall.client(hall.inspector, enforce_csrf_checks=True)
    body = json.dumps({"entries": [observed(hand, hall.inspector)]})
    where = f"/h/{hand.code}/answers/"
    asking = {"Accept": "application/json"}
    assert client.post(where, body, content_type="application/json", headers=asking).status_code == 403
    assert client.get("/answers/who/").json()["person"]["number"] == hall.inspector.number
    token = client.cookies["handsel-form"].value
    reply = client.post(where, body, content_type="application/json", headers=asking | {"X-CSRFToken": token})
    assert states(reply) == ["stored"]


def test_a_hand_that_does_not_exist_is_not_found(hall: Hall) -> None:
    hand = hall.hand()
    hand.code = "222229"
    assert post(hall, hand, observed(hand, hall.inspector)).status_code in (400, 404)


def test_passing_a_hold_point_is_told_to_a_phone_that_is_still_at_it(hall: Hall) -> None:
    hand = hall.hand()
    append(hand, [New(kind="decided", what=passed(hand, "parts"))], person=hall.lead)
    reply = post(hall, hand, observed(hand, hall.inspector)).json()
    assert reply["hold_point"] == "dry-fit"
