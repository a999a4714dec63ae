"""Another protocol during the day: for new hands at once, for running ones only by a decision."""

from __future__ import annotations

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from bench.hall import Hall
from handsel.bench.hands.chain import New, append
from handsel.bench.hands.models import Entry, Hand, KeptText
from handsel.data.load_protocol import protocol_text

OTHER = protocol_text("wrist-hand-1").replace('id = "wrist-hand-1"', 'id = "millbrook-2"', 1)


def file(text: str | bytes, name: str = "millbrook-2.toml") -> dict[str, SimpleUploadedFile | str]:
    """What the form of a protocol file sends."""
    data = text.encode() if isinstance(text, str) else text
    return {"bundled": "", "file": SimpleUploadedFile(name, data)}


def test_new_hands_are_judged_by_the_new_protocol_and_running_ones_keep_theirs(hall: Hall) -> None:
    old = hall.hand(code="R-001")
    client = hall.client(hall.lead)
    assert client.post("/day/protocol/", file(OTHER)).status_code == 303
    hall.day.refresh_from_db()
    assert hall.day.protocol.name == "millbrook-2"
    assert hall.day.protocol_since is not None
    new = hall.hand(code="R-002")
    old.refresh_from_db()
    assert old.protocol.name == "wrist-hand-1"
    assert new.protocol.name == "millbrook-2"
    page = client.get("/day/").content.decode()
    assert "The protocol was changed during the day" in page
    assert "1 running hand keeps" in page


def test_one_hand_is_moved_over_and_its_record_only_grows(hall: Hall) -> None:
    hand = hall.hand(code="R-001", at="dry-fit")
    before = list(Entry.objects.filter(hand=hand).values_list("sha256", flat=True))
    client = hall.client(hall.lead)
    client.post("/day/protocol/", file(OTHER))
    for _ in range(2):
        assert client.post("/day/protocol/move/", {"hand": hand.code}).status_code == 303
    after = list(Entry.objects.filter(hand=hand))
    assert [e.sha256 for e in after[:-1]] == before
    assert after[-1].kind == "judged-by"
    hand.refresh_from_db()
    assert hand.protocol.name == "millbrook-2"


def test_all_are_moved_over_but_those_that_the_new_one_cannot_read(hall: Hall) -> None:
    good, bad = hall.hand(code="R-001"), hall.hand(code="R-002")
    append(
        bad,
        [New(kind="observed", what={"of": "kit-complete", "place": "", "answer": "yes"})],
        person=hall.lead,
    )
    client = hall.client(hall.lead)
    client.post("/day/protocol/", file(OTHER.replace('"kit-complete"', '"kit-is-whole"')))
    page = client.post("/day/protocol/move/")
    assert page.status_code == 200
    assert "1 hand could not be moved over" in page.content.decode()
    assert bad.shown_code in page.content.decode()
    good.refresh_from_db()
    bad.refresh_from_db()
    assert good.protocol.name == "millbrook-2"
    assert bad.protocol.name == "wrist-hand-1"
    assert client.post("/day/protocol/move/", {"hand": bad.code}).status_code == 400


def test_a_finished_hand_is_never_moved(hall: Hall) -> None:
    hand = hall.hand()
    append(hand, [New(kind="scrapped", what={"reason": "cuff cracked"})], person=hall.lead)
    client = hall.client(hall.lead)
    client.post("/day/protocol/", file(OTHER))
    client.post("/day/protocol/move/")
    assert client.post("/day/protocol/move/", {"hand": hand.code}).status_code == 409
    hand.refresh_from_db()
    assert hand.protocol.name == "wrist-hand-1"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "submitted file is empty"),
        ("not = [toml", "millbrook-2.toml"),
        (b"\xff\xfe\x00", "not text in UTF-8"),
        (OTHER.replace("group_miss_factor = 1.5", "group_miss_factor = -1"), "group_miss_factor"),
        (OTHER.replace('designs = ["linden"]', 'designs = ["other"]'), "design"),
        (b"#" * 2_100_000, "larger than"),
    ],
)
def test_a_file_that_is_no_protocol_is_refused_with_the_place(
    hall: Hall, text: str | bytes, said: str
) -> None:
    before = KeptText.objects.count()
    answer = hall.client(hall.lead).post("/day/protocol/", file(text))
    assert said in answer.content.decode()
    assert answer.status_code == 200
    hall.day.refresh_from_db()
    assert hall.day.protocol.name == "wrist-hand-1"
    assert KeptText.objects.count() - before <= (1 if said == "design" else 0)


def test_neither_or_both_is_no_choice(hall: Hall) -> None:
    client = hall.client(hall.lead)
    assert (
        "either one of the list or a file" in client.post("/day/protocol/", {"bundled": ""}).content.decode()
    )
    both = file(OTHER) | {"bundled": "wrist-hand-1"}
    assert "either one of the list or a file" in client.post("/day/protocol/", both).content.decode()
    assert client.post("/day/protocol/", {"bundled": "../../etc/passwd"}).status_code == 200


def test_the_same_protocol_again_changes_nothing(hall: Hall) -> None:
    hall.client(hall.lead).post("/day/protocol/", {"bundled": "wrist-hand-1"})
    hall.day.refresh_from_db()
    assert hall.day.protocol_since is None
    assert Hand.objects.count() == 0


def test_windows_line_ends_keep_the_fingerprint(hall: Hall) -> None:
    client = hall.client(hall.lead)
    client.post("/day/protocol/", file(OTHER))
    hall.day.refresh_from_db()
    first = hall.day.protocol_id
    client.post("/day/protocol/", {"bundled": "wrist-hand-1"})
    client.post("/day/protocol/", file("\ufeff" + OTHER.replace("\n", "\r\n")))
    hall.day.refresh_from_db()
    assert hall.day.protocol_id == first


def test_only_the_lead_changes_the_protocol(hall: Hall) -> None:
    assert hall.client(hall.inspector).post("/day/protocol/", file(OTHER)).status_code == 403
    assert hall.client(hall.builder).post("/day/protocol/move/").status_code == 403
    hall.day.refresh_from_db()
    assert hall.day.protocol.name == "wrist-hand-1"
