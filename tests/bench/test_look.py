"""The inspector's page: what it asks, in which order, and of whom."""

from __future__ import annotations

import gzip
import json
from dataclasses import replace
from typing import Any

import pytest
from django.test import override_settings

from bench.hall import Hall, good_entries
from handsel.bench.hands.chain import New, append
from handsel.bench.hands.models import Hand
from handsel.bench.looking.answering import known
from handsel.bench.looking.screens import asks_photo, looking_page
from handsel.bench.people.models import Person


def page(hand: Hand, person: Person) -> dict[str, Any]:
    return looking_page(known(hand), person)


def checks(found: dict[str, Any]) -> dict[str, dict[str, Any]]:
    return {c["key"]: c for g in found["groups"] for c in g["checks"]}


def due(found: dict[str, Any]) -> dict[str, list[str]]:
    return {c["key"]: c["due"] for c in checks(found).values() if c["due"]}


def test_all_screens_come_with_the_page_as_plain_data(hall: Hall) -> None:
    hand = hall.hand(at="strung")
    reply = hall.client(hall.inspector).get(f"/h/{hand.code}/look/")
    assert reply.status_code == 200
    html = reply.content.decode()
    start = html.index('<script id="look-data" type="application/json">') + 47
    data = json.loads(html[start : html.index("</script>", start)])
    assert [g["id"] for g in data["groups"]] == [
        "strung-palm-up",
        "strung-moving",
        "strung-at-rest",
        "strung-back-up",
    ]
    assert data["seen_count"] == hand.entry_count
    assert "handsel-form" in reply.cookies
    assert reply["Cache-Control"] == "no-store"
    assert "style=" not in html
    assert "onclick" not in html


def test_the_hand_is_turned_over_once(hall: Hall) -> None:
    for stage in ("dry-fit", "strung", "finished"):
        found = page(hall.hand(at=stage, code=f"R-{len(stage)}"), hall.inspector)
        assert sum(g["turn"] for g in found["groups"]) == 1


def test_critical_things_and_numbers_are_asked_alone(hall: Hall) -> None:
    found = checks(page(hall.hand(), hall.inspector))
    assert {k for k, c in found.items() if c["alone"]} == {
        "scale-as-ordered",
        "part-mass",
        "no-sharp-edges",
        "cuff-no-white-line",
        "joint-no-white-line",
        "cuff-no-cracks",
    }
    assert found["scale-as-ordered"]["number"]["sign"] == "%"
    assert found["no-sharp-edges"]["caution"].startswith("Burrs cut")


def test_a_minus_key_is_there_where_a_number_may_be_negative(hall: Hall) -> None:
    found = checks(page(hall.hand(at="strung"), hall.inspector))
    negative = {k: c["number"]["negative"] for k, c in found.items() if c["kind"] == "number"}
    assert negative["whippletree-level"]
    assert negative["thumb-pin-in-line"]
    assert not negative["tension-screw-thumb-side"]


def test_what_was_seen_is_not_asked_again_but_can_be_reached(hall: Hall) -> None:
    hand = hall.hand()
    append(hand, good_entries(hand, "parts")[:2], person=hall.inspector)
    found = page(hand, hall.lead)
    assert "kit-complete" not in due(found)
    assert checks(found)["kit-complete"]["state"][""]["by"] == hall.inspector.called


def test_after_a_rework_only_what_it_undid_is_asked(hall: Hall) -> None:
    hand = hall.hand(at="strung")
    hall.answer_all(hand, "strung")
    assert due(page(hand, hall.inspector)) == {}
    screw = {"what": "turn-screws-in", "is_rework": True, "at": "strung"}
    append(hand, [New(kind="did", what=screw)], person=hall.builder)
    again = due(page(hand, hall.inspector))
    assert 0 < len(again) < 20  # of 33
    assert "worked-rest-angle" in again
    assert "six-knots" not in again
    reason = checks(page(hand, hall.inspector))["worked-rest-angle"]["reason"]
    assert "looked at again" in reason


def test_what_a_rework_undid_of_an_earlier_hold_point_comes_first(hall: Hall) -> None:
    hand = hall.hand(at="strung")
    hall.answer_all(hand, "strung")
    part = {"what": "replace-part", "is_rework": True, "at": "strung"}
    append(hand, [New(kind="did", what=part)], person=hall.builder)
    found = page(hand, hall.inspector)
    assert found["groups"][0]["again"] == "Parts"
    assert len(found["figures"]) > 1


def test_what_can_no_longer_be_seen_is_asked_by_its_other_check(hall: Hall) -> None:
    hand = hall.hand(at="strung")
    append(hand, [New(kind="did", what={"what": "sealed", "at": "strung"})], person=hall.builder)
    found = checks(page(hand, hall.inspector))
    other = found["knots-worked-in!"]
    assert other["substitute"]
    assert other["alone"]
    assert "Mark each cord with a pen" in other["how"]
    assert "sealed" in other["reason"]
    assert "knots-worked-in" not in found


def test_where_a_step_may_have_hidden_it_both_ways_are_offered(hall: Hall) -> None:
    hand = hall.hand(at="strung")
    undo = {"what": "replace-part", "is_rework": True, "at": "strung"}
    append(hand, [New(kind="did", what=undo)], person=hall.builder)
    found = checks(page(hand, hall.inspector))["part-mass"]
    assert not found["substitute"]
    assert found["otherwise"].startswith("Weigh the whole hand")


def test_what_is_hidden_without_another_check_is_left_to_the_lead(hall: Hall) -> None:
    hand = hall.hand(at="strung")
    protocol = known(hand).protocol
    bare = tuple(
        replace(c, substitute=None) if c.id == "knots-worked-in" else c for c in protocol.characteristics
    )
    append(hand, [New(kind="did", what={"what": "sealed", "at": "strung"})], person=hall.builder)
    k = replace(known(hand), protocol=replace(protocol, characteristics=bare))
    found = looking_page(k, hall.inspector)
    assert checks(found)["knots-worked-in"]["due"] == []
    (stopped,) = found["stopped"]
    assert any("20 times" in title for title in stopped["hidden"])
    assert stopped["ways"]


def test_who_could_not_tell_is_asked_again_and_who_has_seen_it_is_not(hall: Hall) -> None:
    hand = hall.hand()
    unsure = {"of": "kit-complete", "place": "", "answer": "can't tell"}
    append(hand, [New(kind="observed", what=unsure)], person=hall.inspector)
    assert "kit-complete" in due(page(hand, hall.inspector))
    assert "kit-complete" in due(page(hand, hall.lead))
    sure = {"of": "kit-complete", "place": "", "answer": "no"}
    append(hand, [New(kind="observed", what=sure)], person=hall.lead)
    assert "kit-complete" not in due(page(hand, hall.inspector))


def test_an_undecided_number_is_read_again_with_its_readings_at_hand(hall: Hall) -> None:
    hand = hall.hand(at="strung")
    hall.answer_all(hand, "strung", worked_rest_angle=30.4)
    found = page(hand, hall.inspector)
    assert list(due(found)) == ["worked-rest-angle"]
    assert checks(found)["worked-rest-angle"]["state"][""]["readings"] == [30.4]


def test_one_group_in_ten_asks_for_a_photo_and_always_the_same(hall: Hall) -> None:
    asked = [asks_photo(f"{n:06d}", g) for n in range(300) for g in ("a", "b", "c", "d")]
    assert 60 < sum(asked) < 190
    assert asked == [asks_photo(f"{n:06d}", g) for n in range(300) for g in ("a", "b", "c", "d")]
    with override_settings(SECRET_KEY="another bench"):
        other = [asks_photo(f"{n:06d}", g) for n in range(300) for g in ("a", "b", "c", "d")]
    assert other != asked


def test_no_photo_is_asked_for_at_the_fitting(hall: Hall, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("handsel.bench.looking.screens.PHOTO_ONE_IN", 1)
    strung, fitting = hall.hand(at="strung"), hall.hand(at="fitting", code="R-015")
    assert all(g["photo"] for g in page(strung, hall.inspector)["groups"])
    assert not any(g["photo"] for g in page(fitting, hall.fitter)["groups"])


def test_a_hand_in_good_order_is_few_taps(hall: Hall) -> None:
    """Screens and taps of the whole hand: four minutes of operation leave 2 s for each of 120."""
    taps = 0
    for n, stage in enumerate(("parts", "dry-fit", "strung", "finished", "fitting")):
        found = page(hall.hand(at=stage, code=f"R-1{n}"), hall.lead)
        for g in found["groups"]:
            alone = [c for c in g["checks"] if c["alone"] and c["due"]]
            cards = [c for c in g["checks"] if not c["alone"] and c["due"]]
            typed = sum(4 if c["kind"] == "number" else 1 for c in alone)
            taps += 1 + bool(cards) + typed
        taps += 1
    assert taps < 120


@pytest.mark.parametrize(
    ("who", "at", "status"),
    [
        ("inspector", "parts", 200),
        ("lead", "parts", 200),
        ("fitter", "parts", 403),
        ("builder", "parts", 403),
        ("fitter", "fitting", 200),
        ("inspector", "fitting", 403),
    ],
)
def test_who_may_look(hall: Hall, who: str, at: str, status: int) -> None:
    hand = hall.hand(at=at)
    assert hall.client(getattr(hall, who)).get(f"/h/{hand.code}/look/").status_code == status


def test_without_sign_in_one_is_led_there_and_back(hall: Hall) -> None:
    hand = hall.hand()
    reply = hall.client().get(f"/h/{hand.code}/look/")
    assert reply.status_code == 302
    assert reply["Location"] == f"/sign-in/?next=/h/{hand.code}/look/"


def test_looking_changes_nothing_and_takes_no_post(hall: Hall) -> None:
    hand = hall.hand()
    before = hand.entry_count
    client = hall.client(hall.inspector)
    client.get(f"/h/{hand.code}/look/")
    assert client.post(f"/h/{hand.code}/look/").status_code == 405
    hand.refresh_from_db()
    assert hand.entry_count == before


def test_a_closed_hand_has_nothing_to_look_at(hall: Hall) -> None:
    hand = hall.hand()
    append(hand, [New(kind="scrapped", what={"reason": "cracked"})], person=hall.lead)
    html = hall.client(hall.inspector).get(f"/h/{hand.code}/look/").content.decode()
    assert "nothing to look at" in html
    assert "look-data" not in html


def test_the_drawings_come_packed_and_are_kept_for_good(hall: Hall) -> None:
    hand = hall.hand(at="strung")
    (url,) = page(hand, hall.inspector)["figures"]
    reply = hall.client().get(url, headers={"Accept-Encoding": "gzip"})
    assert reply["Cache-Control"] == "public, max-age=31536000, immutable"
    assert reply["Content-Encoding"] == "gzip"
    told = json.loads(gzip.decompress(reply.content))
    assert set(told["held"]) == {g["id"] for g in page(hand, hall.inspector)["groups"]}
    assert set(told["checks"]) == {c["of"] for c in checks(page(hand, hall.inspector)).values()}
    assert all(svg.startswith("<svg") and "style" not in svg for svg in told["checks"].values())
    plain = hall.client().get(url)
    assert json.loads(plain.content) == told


@pytest.mark.parametrize("change", ["?side=up&at=strung", "?side=left&at=nowhere", "?side=left&at=../x", ""])
def test_drawings_that_do_not_exist_are_not_found(hall: Hall, change: str) -> None:
    hand = hall.hand()
    base = f"/figures/{hand.protocol_id}/{hand.design_id}.json"
    assert hall.client().get(base + change).status_code == 404
    swapped = f"/figures/{hand.design_id}/{hand.protocol_id}.json?side=left&at=parts"
    assert hall.client().get(swapped).status_code == 404


def test_who_is_signed_in_is_told_and_a_form_cookie_given(hall: Hall) -> None:
    assert hall.client().get("/answers/who/").json() == {"person": None, "solo": False}
    reply = hall.client(hall.fitter).get("/answers/who/")
    assert reply.json()["person"]["number"] == hall.fitter.number
    assert reply.cookies["handsel-form"].value


def test_the_page_of_unsent_answers_is_open_to_whoever_holds_the_phone(hall: Hall) -> None:
    assert hall.client().get("/unsent/").status_code == 200
    assert hall.client().post("/unsent/").status_code == 405
