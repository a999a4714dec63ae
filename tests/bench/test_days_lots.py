"""Lots and printers of a day."""

from __future__ import annotations

import secrets

import pytest

from bench.hall import Hall
from handsel.bench.days.lots import MOST_LOTS, add_lot
from handsel.bench.days.models import Lot
from handsel.errors import OutOfRange


def lot(**other: str) -> dict[str, str]:
    """What the form of a lot sends."""
    return {
        "client_id": secrets.token_hex(16),
        "kind": "cord",
        "name": "Bag C-12",
        "note": "",
        "spares_count": "",
        "photo_client_id": "",
    } | other


def test_a_lot_is_added_once_however_often_it_is_sent(hall: Hall) -> None:
    client = hall.client(hall.lead)
    told = lot(note="opened at ten", spares_count="4")
    for _ in range(2):
        assert client.post("/day/lots/", told).status_code == 303
    kept = Lot.objects.get()
    assert (kept.kind, kept.name, kept.note, kept.spares_count) == ("cord", "Bag C-12", "opened at ten", 4)
    assert "Bag C-12" in client.get("/day/details/").content.decode()


def test_a_photo_of_the_bag_will_do_and_neither_name_nor_photo_will_not(hall: Hall) -> None:
    client = hall.client(hall.lead)
    assert client.post("/day/lots/", lot(name="", photo_client_id="ab" * 16)).status_code == 303
    assert Lot.objects.get().photo_client_id == "ab" * 16
    page = client.post("/day/lots/", lot(name=" "))
    assert "neither a name nor a photo" in page.content.decode()
    assert Lot.objects.count() == 1


def test_spares_are_counted_and_a_used_up_lot_is_told(hall: Hall) -> None:
    client = hall.client(hall.lead)
    client.post("/day/lots/", lot())
    pk = Lot.objects.get().pk
    client.post(f"/day/lots/{pk}/", {"spares_count": "2"})
    assert Lot.objects.get().spares_count == 2
    assert "Bag C-12 (2)" in client.get("/wall/").content.decode()
    client.post(f"/day/lots/{pk}/", {"used_up": "yes"})
    used_up_at = Lot.objects.get().used_up_at
    client.post(f"/day/lots/{pk}/", {"used_up": "yes"})
    assert Lot.objects.get().used_up_at == used_up_at
    assert "Bag C-12" not in client.get("/wall/").content.decode()
    client.post(f"/day/lots/{pk}/", {"used_up": "no"})
    assert Lot.objects.get().used_up_at is None


@pytest.mark.parametrize("count", ["-1", "many", "9" * 40, "1e3"])
def test_a_count_that_is_none_changes_nothing(hall: Hall, count: str) -> None:
    client = hall.client(hall.lead)
    client.post("/day/lots/", lot(spares_count="5"))
    pk = Lot.objects.get().pk
    answer = client.post(f"/day/lots/{pk}/", {"spares_count": count})
    assert answer.status_code == 200
    assert 'role="alert"' in answer.content.decode()
    assert Lot.objects.get().spares_count == 5


def test_lots_are_the_leads_and_an_unknown_one_is_not_there(hall: Hall) -> None:
    assert hall.client(hall.builder).post("/day/lots/", lot()).status_code == 403
    assert hall.client(hall.lead).post("/day/lots/77/", {"used_up": "yes"}).status_code == 404
    assert Lot.objects.count() == 0


@pytest.mark.parametrize("field", ["name", "note"])
def test_hostile_and_overlong_words_do_no_harm(hall: Hall, field: str) -> None:
    client = hall.client(hall.lead)
    client.post("/day/lots/", lot(**{field: "<img src=x onerror=alert(1)>\u202e"}))
    assert "<img src=x" not in client.get("/day/details/").content.decode()
    assert client.post("/day/lots/", lot(**{field: "b" * 10_000})).status_code == 200
    assert Lot.objects.count() == 1


def test_a_day_takes_so_many_lots_and_no_more(hall: Hall) -> None:
    Lot.objects.bulk_create(
        Lot(day=hall.day, kind="cord", name=str(n), added_by=hall.lead, added_at=hall.day.opened_at)
        for n in range(MOST_LOTS)
    )
    with pytest.raises(OutOfRange, match="500 lots"):
        add_lot(hall.day, kind="cord", name="one more", person=hall.lead, client_id="c" * 32)
