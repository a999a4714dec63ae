"""The checklist before the hall opens."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from django.utils import timezone

from bench.hall import Hall
from handsel.bench.jobs.models import Job
from handsel.bench.ready import machine, queries
from handsel.bench.ready.finding import BAD, CARE, GOOD, OPEN, Finding
from handsel.bench.ready.models import Tick
from handsel.documents.scale_bar import BAR_MM

BASE = "http://192.0.2.1:8000"


def point(id: str, base: str = BASE) -> Finding:
    """One point of the list as it stands."""
    return next(p for p in queries.checklist(base) if p.id == id)


def test_the_page_lists_every_point_and_looking_at_it_changes_nothing(hall: Hall) -> None:
    page = hall.client(hall.lead).get("/ready/").content.decode()
    for finding in queries.checklist(BASE):
        assert finding.title in page
    assert Tick.objects.count() == 0
    assert Job.objects.count() == 0


def test_a_phone_that_opens_its_page_ticks_the_list(hall: Hall) -> None:
    phone = hall.client(REMOTE_ADDR="192.0.2.44")
    assert "has reached the bench" in phone.get("/ready/phone/").content.decode()
    assert point("phone").state == OPEN
    assert phone.post("/ready/phone/", headers={"accept": "application/json"}).json() == {"ticked": True}
    assert point("phone").state == GOOD
    assert "192.0.2.44" in point("phone").said
    assert point("firewall").state == GOOD


def test_two_phones_make_one_tick_and_the_first_is_kept(hall: Hall) -> None:
    for number in (44, 45, 44):
        hall.client(REMOTE_ADDR=f"192.0.2.{number}").post("/ready/phone/")
    assert Tick.objects.filter(item="phone").count() == 1
    assert "192.0.2.44" in point("phone").said


def test_the_laptop_itself_proves_nothing(hall: Hall) -> None:
    client = hall.client(REMOTE_ADDR="127.0.0.1")
    assert "Open this page on a phone" in client.get("/ready/phone/").content.decode()
    assert client.post("/ready/phone/", headers={"accept": "application/json"}).json() == {"ticked": False}
    assert point("phone").state == OPEN


def test_yesterdays_ticks_do_not_count_today(hall: Hall) -> None:
    hall.client(REMOTE_ADDR="192.0.2.44").post("/ready/phone/")
    hall.client(hall.lead).post("/ready/tick/", {"item": "charger"})
    Tick.objects.update(on=timezone.localdate() - timedelta(days=1))
    assert (point("phone").state, point("charger").state) == (OPEN, OPEN)


def test_what_only_a_person_sees_is_ticked_and_unticked_by_hand(hall: Hall) -> None:
    lead = hall.client(hall.lead)
    assert lead.post("/ready/tick/", {"item": "spare-phone"}).status_code == 303
    assert point("spare-phone").state == GOOD
    assert hall.lead.called in point("spare-phone").said
    lead.post("/ready/tick/", {"item": "spare-phone"})
    assert Tick.objects.count() == 1
    lead.post("/ready/tick/", {"item": "spare-phone", "state": "off"})
    assert point("spare-phone").state == OPEN


@pytest.mark.parametrize("item", ["", "phone", "scale-bar", "answer", "nonsense"])
def test_what_the_program_finds_out_itself_cannot_be_ticked_by_hand(hall: Hall, item: str) -> None:
    assert hall.client(hall.lead).post("/ready/tick/", {"item": item}).status_code == 400
    assert Tick.objects.count() == 0


def test_all_workers_do_their_trial_pieces(hall: Hall, no_workers: Callable[[], None]) -> None:
    lead = hall.client(hall.lead)
    assert point("answer").state == OPEN
    lead.post("/ready/try/")
    lead.post("/ready/try/")
    assert Job.objects.count() == 3, "pressed twice, each is tried once"
    assert point("answer").said == "being tried now"
    no_workers()
    assert point("photo").state in (GOOD, CARE)
    assert point("answer").state in (GOOD, CARE)
    job = Job.objects.get(kind="answer")
    assert job.result is not None
    assert "turn" in job.result["said"], "the mechanics found the turns for a shallow hand"
    assert "1600 by 1200" in (Job.objects.get(kind="photo").result or {})["said"]
    assert point("measure").state in (GOOD, CARE)
    assert "without cards" in (Job.objects.get(kind="measure").result or {})["said"]


def test_a_worker_that_does_not_answer_is_said_so(hall: Hall) -> None:
    hall.client(hall.lead).post("/ready/try/")
    Job.objects.update(queued_at=timezone.now() - timedelta(seconds=30))
    assert point("photo").state == BAD
    assert "no answer for 30 s" in point("photo").said
    Job.objects.update(state=Job.FAILED, error={"what": "it broke", "where": "", "do": ""})
    assert (point("photo").state, point("photo").said) == (BAD, "it broke")


# ---- the scale bar -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("across", "along", "state"),
    [
        ("150", "150", GOOD),
        ("149,3", "150.7 mm", GOOD),
        ("149.2", "150", BAD),
        ("150", "150.8", BAD),
        ("145.5", "145.5", BAD),
    ],
)
def test_a_printer_that_is_off_by_more_than_half_a_per_cent_is_refused(
    hall: Hall, across: str, along: str, state: str
) -> None:
    hall.client(hall.lead).post("/ready/scale/", {"across": across, "along": along})
    assert point("scale-bar").state == state
    assert (f"{BAR_MM:g} mm" in point("scale-bar").said) is True


def test_fitted_to_the_page_it_says_by_how_much(hall: Hall) -> None:
    hall.client(hall.lead).post("/ready/scale/", {"across": "145.5", "along": "145.6"})
    assert "\u22123.0 % across" in point("scale-bar").said


@pytest.mark.parametrize(
    ("across", "along"), [("", "150"), ("15", "150"), ("150", "abc"), ("nan", "150"), ("1e9", "1")]
)
def test_what_is_no_length_of_the_bar_is_not_kept(hall: Hall, across: str, along: str) -> None:
    response = hall.client(hall.lead).post("/ready/scale/", {"across": across, "along": along})
    assert response.status_code == 200
    assert 'class="wrong"' in response.content.decode()
    assert Tick.objects.count() == 0


def test_the_page_with_the_bar_is_a_pdf_for_either_paper(hall: Hall) -> None:
    lead = hall.client(hall.lead)
    for query in ("", "?paper=letter"):
        response = lead.get(f"/ready/scale-bar.pdf{query}")
        assert response.content.startswith(b"%PDF")
    assert lead.get("/ready/scale-bar.pdf?paper=papyrus").status_code == 400


# ---- what the computer says of itself ------------------------------------------------------------------


def test_an_address_that_only_this_computer_knows_is_refused(hall: Hall) -> None:
    assert point("address", "http://localhost:8000").state == BAD
    assert point("address", "http://127.0.0.1:8000").state == BAD
    assert point("address", "http://192.168.1.5:8000").state == GOOD


def test_a_name_that_the_bench_would_refuse_is_found_before_a_phone_finds_it(hall: Hall) -> None:
    found = point("address", "http://bench.example:8000")
    assert found.state == BAD
    from handsel.bench.hosts import add_name

    add_name("bench.example")
    assert point("address", "http://bench.example:8000").state == GOOD


@pytest.mark.parametrize(("free", "state"), [(50e9, GOOD), (2e9, CARE), (4e8, BAD)])
def test_little_room_on_the_disk_is_said(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, free: float, state: str
) -> None:
    monkeypatch.setattr(machine.shutil, "disk_usage", lambda _: SimpleNamespace(free=int(free)))
    assert machine.disk(tmp_path).state == state


def test_a_clock_behind_the_records_is_found() -> None:
    now = datetime.fromisoformat("2026-11-25T09:00:00+00:00")
    assert machine.clock(now, now - timedelta(hours=1), "UTC").state == GOOD
    assert machine.clock(now, None, "UTC").state == GOOD
    assert machine.clock(now, now + timedelta(hours=1), "UTC").state == BAD
    assert machine.clock(datetime.fromisoformat("1970-01-01T00:10:00+00:00"), None, "UTC").state == BAD


def test_a_backup_beside_the_records_is_no_good_place(hall: Hall, tmp_path: Path) -> None:
    assert point("backup").state == OPEN
    lead = hall.client(hall.lead)
    lead.post("/ready/backup/", {"folder": str(tmp_path / "nowhere")})
    assert point("backup").state == BAD
    lead.post("/ready/backup/", {"folder": str(tmp_path)})
    assert point("backup").state == CARE  # the tests' records lie on the same disk
    assert machine.backup_folder(str(tmp_path), Path("/proc")).state == GOOD


def test_the_words_of_three_systems_are_read() -> None:
    assert (
        machine.read_pmset(" standby 1\n sleep                10 (sleep prevented by x)\n disksleep 0\n")
        == 10
    )
    assert machine.read_pmset(" sleep 0\n") == 0
    said = "  Current AC Power Setting Index: 0x00000708\n  Current DC Power Setting Index: 0x00000384\n"
    assert machine.read_powercfg(said) == 30
    assert machine.read_gsettings("'suspend'\n", "uint32 900\n") == 15
    assert machine.read_gsettings("'nothing'\n", "uint32 900\n") == 0
    assert [f("") for f in (machine.read_pmset, machine.read_powercfg)] == [None, None]
    assert machine.read_gsettings("", "") is None


@pytest.mark.parametrize(
    ("mains", "sleep_min", "state"),
    [(True, 0, GOOD), (None, 0, GOOD), (False, 0, CARE), (True, 10, CARE), (None, None, CARE)],
)
def test_sleep_and_battery_are_worth_a_look(
    monkeypatch: pytest.MonkeyPatch, mains: bool | None, sleep_min: int | None, state: str
) -> None:
    monkeypatch.setattr(machine, "_on_mains", lambda: mains)
    monkeypatch.setattr(machine, "_sleep_minutes", lambda: sleep_min)
    found = machine.power()
    assert found.state == state
    assert bool(found.do) is (state != GOOD)


@pytest.mark.parametrize(("is_on", "state"), [(True, OPEN), (False, GOOD), (None, OPEN)])
def test_the_firewall_is_settled_by_a_phone_not_by_its_own_word(
    monkeypatch: pytest.MonkeyPatch, is_on: bool | None, state: str
) -> None:
    monkeypatch.setattr(machine, "_firewall_on", lambda: is_on)
    assert machine.firewall(is_passed=False, port="8123").state == state
    assert machine.firewall(is_passed=True, port="8123").state == GOOD


def test_the_command_shows_the_same_list(hall: Hall, monkeypatch: pytest.MonkeyPatch) -> None:
    from click.testing import CliRunner
    from django.conf import settings

    from handsel.bench.commands import ready

    monkeypatch.setattr(ready, "open_records", lambda data: settings.DATA)
    told = CliRunner().invoke(ready.command, ["--data", str(settings.DATA)])
    for finding in queries.checklist(BASE):
        assert finding.title in told.output, told.output
    assert "not running" in told.output
    assert told.exit_code in (0, 1)
    assert (told.exit_code == 1) == ("[!] Address" in told.output or "[!] Room" in told.output)


@pytest.mark.parametrize("path", ["/ready/tick/", "/ready/try/", "/ready/scale/", "/ready/backup/"])
def test_the_list_changes_by_post_only(hall: Hall, path: str) -> None:
    assert hall.client(hall.lead).get(path).status_code == 405


def test_the_list_asks_few_questions_of_the_records(hall: Hall, django_assert_max_num_queries: Any) -> None:
    with django_assert_max_num_queries(6):
        queries.checklist(BASE)
