"""The demo day is never mixed with records of another sort."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client

from handsel.bench.days.models import Day
from handsel.bench.days.services import start_day
from handsel.bench.demo.fill import NotEmpty, fill
from handsel.bench.hands.models import Hand
from handsel.bench.people.services import add_person


@pytest.mark.parametrize("what", ["a day", "a person"])
def test_a_folder_with_anything_in_it_is_left_alone(db: None, what: str) -> None:
    if what == "a day":
        start_day()
    else:
        add_person(is_lead=True)
    with pytest.raises(NotEmpty, match="never mixed"):
        fill(lambda line: None)
    assert Hand.objects.count() == 0
    assert not Day.objects.filter(is_demo=True).exists()


def test_every_page_says_that_it_is_invented(db: None, settings: Any) -> None:

    settings.DEMO = True
    for path in ("/sign-in/?next=/x/", "/join/", "/first/", "/wall/", "/switch/"):
        assert "all of this is invented" in Client().get(path).content.decode(), path
    settings.DEMO = False
    assert "all of this is invented" not in Client().get("/join/").content.decode()
