"""The checklist of today, as the page and the command show it."""

from __future__ import annotations

from django.conf import settings
from django.http.request import split_domain_port
from django.utils import timezone

from handsel.bench.hands.models import Entry
from handsel.bench.hosts import answers_to
from handsel.bench.jobs.models import Job
from handsel.bench.phone_address import reaches_phones
from handsel.bench.ready import machine
from handsel.bench.ready.finding import BAD, CARE, GOOD, OPEN, Finding
from handsel.bench.ready.models import Tick
from handsel.bench.ready.services import today

SLOW_S = 5.0
WAITING_S = 20.0
BY_HAND = {
    "spare-phone": ("A spare phone", "charged, joined, in the lead's drawer"),
    "charger": ("Chargers", "for this computer and for phones, with a lead long enough"),
    "pens": ("Paper for a power cut", "travellers printed, pens beside them"),
}


def checklist(base: str) -> tuple[Finding, ...]:
    """Every point in the order in which it is best gone through; `base` is the address for phones."""
    ticks = {t.item: t for t in Tick.objects.filter(on=today()).select_related("by")}
    last = Entry.objects.order_by("-pk").values_list("at", flat=True).first()
    chosen = Tick.objects.filter(item="backup").order_by("-on").first()
    return (
        _address(base),
        _phone(ticks.get("phone")),
        machine.firewall(is_passed="phone" in ticks, port=_port(base)),
        machine.power(),
        machine.disk(settings.DATA),
        machine.clock(timezone.localtime(), last, settings.TIME_ZONE),
        _worker("answer", "Working out the answer"),
        _worker("photo", "Photos"),
        _worker("measure", "Reading an angle from a photo"),
        _scale_bar(ticks.get("scale-bar")),
        machine.backup_folder(chosen.said if chosen is not None else "", settings.DATA),
        *(_by_hand(item, ticks.get(item)) for item in BY_HAND),
    )


def _port(base: str) -> str:
    _, port = split_domain_port(base.split("://", 1)[-1].split("/", 1)[0])
    return port or ("443" if base.startswith("https") else "80")


def _address(base: str) -> Finding:
    title = "Address for phones"
    host = base.split("://", 1)[-1].split("/", 1)[0]
    if not reaches_phones(base):
        return Finding(
            id="address", title=title, state=BAD, said="this computer is in no network",
            do="Join the hall's network or open a hotspot, then start the program again.",
        )  # fmt: skip
    if not answers_to(host) and not settings.HTTPS:
        return Finding(
            id="address", title=title, state=BAD, said=f"{base}, but this bench does not know itself by that name",
            do="Set the address on the page of the day's details: that lets the name in.",
        )  # fmt: skip
    name, _ = split_domain_port(host)
    return Finding(
        id="address",
        title=title,
        state=GOOD,
        said=f"{base} ({'a name' if name[-1:].isalpha() else 'a number'})",
    )


def _phone(tick: Tick | None) -> Finding:
    title = "A phone gets through"
    if tick is None:
        return Finding(
            id="phone", title=title, state=OPEN, said="no phone has opened the page today",
            do="Scan the code with any phone of the hall: this point ticks by itself.",
        )  # fmt: skip
    return Finding(
        id="phone", title=title, state=GOOD, said=f"{tick.said} at {timezone.localtime(tick.at):%H:%M}"
    )


def _worker(kind: str, title: str) -> Finding:
    job = (
        Job.objects.filter(key__startswith=f"warm-{kind}-", queued_at__date=today())
        .order_by("-queued_at")
        .first()
    )
    if job is None:
        return Finding(
            id=kind, title=title, state=OPEN, said="not tried today", do="Press “Try the workers”."
        )
    if job.state == Job.DONE and job.finished_at is not None:
        took_s = (job.finished_at - job.queued_at).total_seconds()
        said = f"answered in {took_s:.1f} s at {timezone.localtime(job.finished_at):%H:%M}"
        if took_s <= SLOW_S:
            return Finding(id=kind, title=title, state=GOOD, said=said)
        return Finding(
            id=kind, title=title, state=CARE, said=said, do="Try again: the first time is the slowest."
        )
    if job.state == Job.FAILED:
        why = (job.error or {}).get("what", "it failed")
        return Finding(
            id=kind, title=title, state=BAD, said=why, do="End the program with Ctrl-C and start it again."
        )
    waited_s = (timezone.now() - job.queued_at).total_seconds()
    if waited_s > WAITING_S:
        return Finding(
            id=kind, title=title, state=BAD, said=f"no answer for {waited_s:.0f} s",
            do="Look into the program's window, end it with Ctrl-C and start it again.",
        )  # fmt: skip
    return Finding(id=kind, title=title, state=OPEN, said="being tried now")


def _scale_bar(tick: Tick | None) -> Finding:
    title = "Printer keeps the scale"
    if tick is None:
        return Finding(
            id="scale-bar", title=title, state=OPEN, said="no bar measured today",
            do="Print the page at 100 % (not “fit to page”), measure both bars, type what you read.",
        )  # fmt: skip
    if tick.is_good:
        return Finding(id="scale-bar", title=title, state=GOOD, said=tick.said)
    return Finding(
        id="scale-bar", title=title, state=BAD, said=tick.said,
        do="Print again at 100 %, without fitting to the page. Until then use no template, mat or tag card from it.",
    )  # fmt: skip


def _by_hand(item: str, tick: Tick | None) -> Finding:
    title, about = BY_HAND[item]
    if tick is None:
        return Finding(id=item, title=title, state=OPEN, said=about)
    who = f" by {tick.by.called}" if tick.by is not None else ""
    return Finding(
        id=item, title=title, state=GOOD, said=f"ticked at {timezone.localtime(tick.at):%H:%M}{who}"
    )
