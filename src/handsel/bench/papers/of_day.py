"""The day report, told from the records of all hands of a day."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import groupby
from math import sqrt
from statistics import median

from django.utils import timezone

from handsel import __version__
from handsel.bench.days.models import Day
from handsel.bench.days.wording import LABELS
from handsel.bench.hands.casebook import Told, out_of_force, protocol_kept, read
from handsel.bench.hands.models import Entry, Hand
from handsel.bench.hands.root import root_over
from handsel.bench.hands.traveller import codes_kept
from handsel.bench.hands.words import characteristic_words, hold_point_title
from handsel.bench.looking.tapping import blind_runs, operation
from handsel.bench.papers.of_hand import concessions_of, lots_of
from handsel.documents.day_report import (
    BlindRun,
    DayReport,
    FirstTime,
    FoundMost,
    ReworkCount,
    Scrapped,
    StandCount,
    TimeTaken,
)
from handsel.documents.release_record import Concession, LotUsed
from handsel.inspection.protocol import Protocol

Z = 1.959963984540054  # 97.5 % quantile of the normal distribution


@dataclass(slots=True, kw_only=True)
class _Tally:
    """What is counted while the records are walked through, one hand after another."""

    first: dict[str, list[bool]] = field(default_factory=lambda: defaultdict(list))
    found: Counter[str] = field(default_factory=Counter)
    rework: Counter[str] = field(default_factory=Counter)
    concessions: list[Concession] = field(default_factory=list)
    scrapped: list[Scrapped] = field(default_factory=list)
    seconds: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    lots: Counter[tuple[str, str]] = field(default_factory=Counter)
    blind: list[BlindRun] = field(default_factory=list)
    saved: list[str] = field(default_factory=list)


def report_of(day: Day) -> DayReport:
    """The report as the day stands now. Practice hands are in the root and nowhere else."""
    everyone = list(Hand.objects.filter(day=day).defer("sentence"))
    hands = {h.pk: h for h in everyone if not h.practice}
    tally = _Tally()
    for pk, told in _records(day):
        if pk in hands:
            _count(tally, hands[pk], told)
    protocol = protocol_kept(day.protocol_id)
    codes = codes_kept(day.protocol_id)
    standing = Counter(h.standing for h in hands.values())
    return DayReport(
        day=timezone.localtime(day.opened_at).date(),
        place=" · ".join(filter(None, (day.title, day.place))),
        stands=tuple(
            StandCount(stand=words, count=standing[s]) for s, words in LABELS.items() if standing[s]
        ),
        first_time=tuple(
            _first_time(h.title, tally.first[h.id]) for h in protocol.hold_points if tally.first.get(h.id)
        ),
        found=tuple(
            FoundMost(code=codes.get(id, ""), title=characteristic_words(id, "", protocol), hands_count=n)
            for id, n in sorted(tally.found.items(), key=lambda x: (-x[1], x[0]))
        ),
        root_sha256=root_over((h.code, h.head_sha256) for h in everyone),
        hands_count=len(everyone),
        entries_count=sum(h.entry_count for h in everyone),
        rework=tuple(_rework(id, n, protocol) for id, n in tally.rework.most_common()),
        concessions=tuple(tally.concessions),
        scrapped=tuple(tally.scrapped),
        times=tuple(
            TimeTaken(
                what=f"Looking, {hold_point_title(id, protocol).lower()}",
                hands_count=len(s),
                median_minutes=median(s) / 60,
                longest_minutes=max(s) / 60,
            )
            for id, s in tally.seconds.items()
        ),
        lots=tuple(LotUsed(kind=k, lot=name, hands_count=n) for (k, name), n in sorted(tally.lots.items())),
        blind=tuple(tally.blind),
        saved=tuple(tally.saved),
        program_version=__version__,
    )


def _records(day: Day) -> Iterator[tuple[int, tuple[Told, ...]]]:
    """All records of the day, hand by hand, in one query that is read as it comes."""
    entries = Entry.objects.filter(hand__day=day).order_by("hand_id", "seq").iterator(chunk_size=2_000)
    for pk, own in groupby(entries, key=lambda e: e.hand_id):
        yield pk, read(own)


def _count(tally: _Tally, hand: Hand, told: tuple[Told, ...]) -> None:
    protocol = protocol_kept(hand.protocol_id)
    gone = out_of_force(told)
    first: dict[str, bool] = {}
    found: set[str] = set()
    refused = passed_after = False
    for t in told:
        if t.seq in gone:
            continue
        if t.kind == "decided":
            whole = t.what["whole"]
            found.update(o["of"] for o in t.what["open"] if o["status"] == "does not conform")
            if whole != "not decided yet":
                first.setdefault(t.what["hold_point"], whole == "release")
            refused = refused or whole in ("rework", "scrap part")
            passed_after = (passed_after or refused) if whole == "release" else False
        elif t.kind == "did" and t.what.get("is_rework"):
            tally.rework[t.what["what"]] += 1
        elif t.kind == "scrapped":
            tally.scrapped.append(Scrapped(hand_code=hand.code, reason=t.what["reason"], by=t.by["called"]))
    for hold_point, passed in first.items():
        tally.first[hold_point].append(passed)
    tally.found.update(found)
    tally.concessions.extend(concessions_of(told, protocol, hand_code=hand.code))
    tally.lots.update((x.kind, x.lot) for x in lots_of(told))
    if refused and passed_after:
        tally.saved.append(hand.code)
    for o in operation(told, protocol):
        tally.seconds[o.hold_point].append(o.seconds)
    for run in blind_runs(told):
        tally.blind.append(
            BlindRun(
                hand_code=hand.code,
                hold_point=_where(told, run.first_seq, protocol),
                by=run.called,
                answers_count=run.count,
                seconds=run.total_ms / 1000,
            )
        )


def _where(told: tuple[Told, ...], seq: int, protocol: Protocol) -> str:
    w = next(t.what for t in told if t.seq == seq)
    c = protocol.characteristic(w.get("of", ""))
    group = w.get("group", "")
    point = (
        c.hold_point
        if c is not None
        else next((h.id for h in protocol.hold_points for g in h.groups if group in (g.id, h.id)), "")
    )
    return hold_point_title(point, protocol)


def _rework(id: str, count: int, protocol: Protocol) -> ReworkCount:
    rework = protocol.rework(id)
    if rework is None:  # from another protocol than the day's
        return ReworkCount(title=id, count=count)
    return ReworkCount(title=rework.title, count=count, minutes=rework.minutes * count)


def _first_time(title: str, passed: list[bool]) -> FirstTime:
    low, high = wilson(sum(passed), len(passed))
    return FirstTime(
        hold_point=title, looked_count=len(passed), passed_count=sum(passed), low_ratio=low, high_ratio=high
    )


def wilson(k: int, n: int) -> tuple[float, float]:
    """The 95 % interval of a share, k of n, after Wilson (1927): honest for small counts, never outside 0 to 1."""
    share = k / n
    middle = (share + Z * Z / (2 * n)) / (1 + Z * Z / n)
    half = Z / (1 + Z * Z / n) * sqrt(share * (1 - share) / n + Z * Z / (4 * n * n))
    return max(0.0, middle - half), min(1.0, middle + half)
