"""What a hand is judged by is kept with it, word for word: design, protocol and fault catalogue."""

from __future__ import annotations

from hashlib import sha256

import pytest

from bench.hall import Hall
from handsel.bench.hands.casebook import protocol_kept, told_of
from handsel.bench.hands.models import KeptText
from handsel.bench.hands.services import keep_catalogue
from handsel.data.load_faults import load_faults


@pytest.mark.parametrize("kind", ["design", "protocol", "catalogue"])
def test_the_first_entry_names_each_text_and_the_text_is_kept(hall: Hall, kind: str) -> None:
    named = told_of(hall.hand())[0].what[kind]
    kept = KeptText.objects.get(pk=named["sha256"])
    assert (kept.kind, kept.name, kept.version) == (kind, named["name"], named["version"])
    assert sha256(kept.text.encode()).hexdigest() == named["sha256"]


def test_the_catalogue_is_kept_as_it_was_read_and_once(hall: Hall) -> None:
    first, second = hall.hand(), hall.hand(code="R-015")
    assert told_of(first)[0].what["catalogue"] == told_of(second)[0].what["catalogue"]
    (kept,) = KeptText.objects.filter(kind="catalogue")
    assert kept.pk == load_faults("wrist-hand-1", protocol_kept(first.protocol_id)).sha256


def test_the_traveller_says_which_catalogue(hall: Hall) -> None:
    hand = hall.hand()
    page = hall.client().get(f"/h/{hand.code}/").content.decode()
    assert told_of(hand)[0].what["catalogue"]["sha256"][:12] in page


def test_a_protocol_that_no_catalogue_fits_has_none(hall: Hall, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("handsel.bench.hands.services.catalogue_for", lambda protocol: None)
    hand = hall.hand()
    assert told_of(hand)[0].what["catalogue"] is None
    assert keep_catalogue(protocol_kept(hand.protocol_id)) is None
