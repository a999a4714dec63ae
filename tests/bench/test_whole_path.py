"""One hand from strung to its wearer, through a rework, by nothing but what browsers send."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from typing import Any

from django.test import Client

from bench.hall import GOOD, Hall
from handsel.bench.fitting.cautions import cautions, tick_ids
from handsel.bench.hands.chain import canonical
from handsel.bench.hands.models import Entry, Hand, Standing
from handsel.bench.people.models import Person

SHALLOW = {"worked-rest-angle": 27.0, "lowered-rest-angle": 27.5}
IDS = iter(range(10**6))


def once() -> str:
    return f"{next(IDS):032x}"


def look_data(client: Client, hand: Hand) -> dict[str, Any]:
    """The screens as the phone gets them."""
    page = client.get(f"/h/{hand.code}/look/").content.decode()
    found = re.search(r'<script id="look-data" type="application/json">(.*?)</script>', page, re.S)
    assert found is not None
    data: dict[str, Any] = json.loads(found[1])
    return data


def looked_through(client: Client, hand: Hand, person: Person, numbers: dict[str, float]) -> list[str]:
    """Answer every check that is due, as the screens ask for it; what was asked."""
    data, entries, asked = look_data(client, hand), [], []
    for group in data["groups"]:
        for check in group["checks"]:
            if not check["due"]:
                continue
            asked.append(check["of"])
            if check["kind"] == "number":
                n = check["number"]
                value = numbers.get(check["of"], GOOD.get(check["of"], (n["min"] + n["max"]) / 2))
                said: dict[str, Any] = {"value": value, "unit": n["unit"], "method": n["methods"][0]}
            else:
                said = {"answer": next(a["value"] for a in check["answers"] if a["good"])}
            if check["substitute"]:
                said["method"] = "substitute"
            for place in check["due"]:
                entries.append(
                    {"kind": "observed", "client_id": once(), "by": person.number, "of": check["of"], "place": place,
                     "protocol": data["protocol"], "tap_ms": 2000, "seen_count": data["seen_count"], **said}
                )  # fmt: skip
    for k in range(0, len(entries), 50):
        reply = client.post(
            f"/h/{hand.code}/answers/",
            json.dumps({"entries": entries[k : k + 50]}),
            content_type="application/json",
            headers={"Accept": "application/json"},
        )
        assert reply.status_code == 200, reply.content
        assert {r["state"] for r in reply.json()["results"]} == {"stored"}, reply.json()
    return asked


def decided(client: Client, hand: Hand, no_workers: Callable[[], None]) -> None:
    at = Hand.objects.get(pk=hand.pk).hold_point
    assert client.post(f"/h/{hand.code}/ask/", {"hold_point": at}).status_code == 303
    no_workers()
    hand.refresh_from_db()


def test_from_strung_through_a_rework_to_its_wearer(hall: Hall, no_workers: Callable[[], None]) -> None:
    hand = hall.hand(at="strung")
    builder, inspector, fitter = (hall.client(p) for p in (hall.builder, hall.inspector, hall.fitter))

    # strung: the builder reports and asks, the inspector finds the angle too shallow
    assert builder.get(f"/l/{hand.code.lower()}/")["Location"] == f"/h/{hand.code}/build/"
    builder.post(f"/h/{hand.code}/build/did/", {"client_id": once(), "step": "strung-up"})
    builder.post(f"/h/{hand.code}/build/ask/", {"client_id": once()})
    assert inspector.get(f"/l/{hand.code}/")["Location"] == f"/h/{hand.code}/look/"
    looked_through(inspector, hand, hall.inspector, SHALLOW)
    decided(inspector, hand, no_workers)
    assert hand.standing == Standing.TO_PUT_RIGHT, hand.sentence
    assert "turn" in hand.sentence

    # rework: the card says exactly what, and what is looked at again is asked for again and nothing else
    card_url = builder.post(f"/h/{hand.code}/order/", {"client_id": once()})["Location"]
    card = Entry.objects.get(hand=hand, kind="ordered").what
    assert builder.get(f"/l/{hand.code}/")["Location"] == card_url
    assert card["steps"][0] in builder.get(card_url).content.decode()
    ticked = [str(n) for n in range(len(card["steps"]))]
    builder.post(f"{card_url}done/", {"client_id": once(), "ticked": ticked})
    hand.refresh_from_db()
    assert hand.standing == Standing.ASKED
    asked = looked_through(inspector, hand, hall.inspector, {})
    assert set(asked) == {r["id"] for r in card["recheck"]}
    decided(inspector, hand, no_workers)
    assert (hand.standing, hand.hold_point) == (Standing.BUILDING, "finished"), hand.sentence

    # finished
    for step in ("sealed", "grip-tips-on", "padded"):
        builder.post(f"/h/{hand.code}/build/did/", {"client_id": once(), "step": step})
    builder.post(f"/h/{hand.code}/build/ask/", {"client_id": once()})
    looked_through(inspector, hand, hall.inspector, {})
    decided(inspector, hand, no_workers)
    assert hand.standing == Standing.TO_FIT, hand.sentence

    # fitting, release, hand-over
    assert fitter.get(f"/l/{hand.code}/")["Location"] == f"/h/{hand.code}/fit/"
    assert (
        fitter.post(f"/h/{hand.code}/fit/begin/", {"client_id": once()})["Location"]
        == f"/h/{hand.code}/look/"
    )
    looked_through(fitter, hand, hall.fitter, {})
    decided(fitter, hand, no_workers)
    assert hand.standing == Standing.TO_RELEASE, hand.sentence
    page = fitter.get(f"/h/{hand.code}/release/").content.decode()
    seen = re.search(r'name="seen" value="([0-9a-f]{64})"', page)
    assert seen is not None
    fitter.post(f"/h/{hand.code}/release/", {"client_id": once(), "seen": seen[1]})
    given = {"client_id": once(), "language": "en", "to": "carer", "call": "the library desk",
             "gone_through": tick_ids(cautions("en"))}  # fmt: skip
    fitter.post(f"/h/{hand.code}/hand-over/", given)
    hand.refresh_from_db()
    assert hand.standing == Standing.HANDED_OVER
    assert hand.was_refused

    # the record: whole, in order, and readable to whoever finds the label
    entries = list(Entry.objects.filter(hand=hand).order_by("seq"))
    assert [e.seq for e in entries] == list(range(1, hand.entry_count + 1))
    assert all(bytes(e.record) == canonical(e.told()) for e in entries)
    assert "It has gone home" in Client().get(f"/h/{hand.code}/").content.decode()
