"""Ten thousand hands on record: do pages stay quick, and do they ask the database as often as with a hundred?

    python benchmarks/bench_scale.py [100 1000 10000]

The records are real: each hand has a chain of entries with its fingerprints, thirty of them observations. The
first hand of each kind is made by the bench's own services; the others are the same told again with their own
codes, ids and fingerprints, and stored in bulk. They are kept in the temporary folder for the next run. `handsel
verify` reads all of them.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from hashlib import sha256
from pathlib import Path
from statistics import median, quantiles
from typing import Any

ROOT = Path(__file__).parents[1]
SIZES = (100, 1_000, 10_000)
OBSERVATIONS = 30
TIMES = 20
AT_ONCE = 500  # hands in one transaction
KEPT = Path(tempfile.gettempdir()) / "handsel-scale-2"


def main() -> None:
    sizes = [int(a) for a in sys.argv[1:]] or list(SIZES)
    if len(sizes) == 1:
        one(sizes[0])
        return
    found = {}
    for size in sizes:  # one process each: settings name one folder
        told = subprocess.run(
            [sys.executable, __file__, str(size)], cwd=ROOT, capture_output=True, text=True, check=True
        )
        found[size] = json.loads(told.stdout.splitlines()[-1])
        print(f"{size}: done; load average {os.getloadavg()[0]:.1f}", file=sys.stderr)
    print("| page | " + " | ".join(f"{s:,} hands: median, p95, processor ms" for s in sizes) + " | queries |")
    print("| --- |" + " --- |" * (len(sizes) + 1))
    for page in found[sizes[0]]["pages"]:
        rows = [found[s]["pages"][page] for s in sizes]
        queries = [str(r["queries"]) for r in rows]
        shown = queries[0] if len(set(queries)) == 1 else ", ".join(queries)
        print(
            f"| {page} | "
            + " | ".join(f"{r['median']:.0f}, {r['p95']:.0f}, {r['cpu']:.0f}" for r in rows)
            + f" | {shown} |"
        )
    for s in sizes:
        v = found[s]["verify"]
        rate = v["entries"] / v["s"]
        print(f"verify, {s:,} hands: {v['entries']} entries, {v['s']:.1f} s, {rate:.0f} per s: {v['said']}")


def one(size: int) -> None:
    """The figures of one size, as JSON on the last line."""
    folder = KEPT / str(size)
    os.environ |= {"HANDSEL_DATA": str(folder), "DJANGO_SETTINGS_MODULE": "handsel.bench.settings"}
    sys.path.insert(0, str(ROOT / "tests"))
    import django

    django.setup()
    from django.core.management import call_command

    from handsel.bench.hands.models import Hand

    call_command("migrate", verbosity=0)
    if Hand.objects.count() != size:
        lay_out(size)
    pages = measure(size)
    from django.db import connections

    connections.close_all()
    begun = time.perf_counter()
    verified = subprocess.run(
        [sys.executable, "-m", "handsel.cli", "verify", "--data", str(folder)],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    took_s = time.perf_counter() - begun
    from handsel.bench.hands.models import Entry

    said = "content" if verified.returncode == 0 else verified.stdout[-300:]
    print(
        json.dumps({"pages": pages, "verify": {"entries": Entry.objects.count(), "s": took_s, "said": said}})
    )


def lay_out(size: int) -> None:
    """A day of this many hands."""
    from django.db import connection, transaction

    from bench.hall import good_entries, open_hall
    from handsel.bench.hands.chain import append
    from handsel.bench.hands.models import Entry, Hand

    if Hand.objects.exists():
        raise SystemExit(f"{KEPT} holds an unfinished run; remove it")
    with transaction.atomic():
        hall = open_hall()
        patterns = []
        for k, at in enumerate(("parts", "dry-fit", "strung")):
            hand = hall.hand(code=f"R-{k + 1:03d}", at=at, side="right" if k else "left")
            short = OBSERVATIONS - Entry.objects.filter(hand=hand, kind="observed").count()
            append(hand, good_entries(hand, at)[: max(0, short)], person=hall.inspector)
            hand.refresh_from_db()
            patterns.append((hand, list(hand.entries.order_by("seq"))))
    pk = Hand.objects.order_by("-pk").values_list("pk", flat=True)[0]
    for start in range(len(patterns), size, AT_ONCE):
        hands, entries = [], []
        for n in range(start, min(start + AT_ONCE, size)):
            pk += 1
            hand, chain = again(*patterns[n % len(patterns)], n=n, pk=pk)
            hands.append(hand)
            entries += chain
        with transaction.atomic():
            Hand.objects.bulk_create(hands)
            Entry.objects.bulk_create(entries, batch_size=2_000)
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")


def again(pattern: Any, entries: list[Any], *, n: int, pk: int) -> tuple[Any, list[Any]]:
    """The same hand told again with another code: a chain of its own, every fingerprint worked out."""
    from handsel.bench.hands.chain import canonical
    from handsel.bench.hands.codes import SIGNS, check_sign
    from handsel.bench.hands.models import Entry, Hand

    body = "".join(SIGNS[n // len(SIGNS) ** k % len(SIGNS)] for k in range(5))
    values = {f.attname: getattr(pattern, f.attname) for f in Hand._meta.concrete_fields}
    values |= {
        "id": pk,
        "code": body + check_sign(body),
        "serial": f"H-{n + 1:05d}",
        "recipient_code": f"R-{n + 1:05d}",
    }
    hand, head, chain = Hand(**values), "", []
    for e in entries:
        told = e.told() | {"hand": hand.code, "prev": head, "client_id": f"{pk:08d}-{e.seq:04d}-again"}
        if e.kind == "begun":
            told["what"] |= {"recipient": hand.recipient_code, "serial": hand.serial}
        record = canonical(told)
        head = sha256(record).hexdigest()
        chain.append(
            Entry(
                hand_id=pk, seq=e.seq, kind=e.kind, client_id=told["client_id"], person_id=e.person_id,
                at=e.at, record=record, sha256=head,
            )
        )  # fmt: skip
    hand.head_sha256 = head
    return hand, chain


def measure(size: int) -> dict[str, dict[str, float]]:
    """Each page: time over twenty requests, each for another hand where a page has one, and queries of the first."""
    from django.db import connection
    from django.test import Client
    from django.test.utils import CaptureQueriesContext

    from handsel.bench.hands.models import Hand
    from handsel.bench.people.models import Person

    hands = list(Hand.objects.filter(pk__gt=3).order_by("pk")[:: max(1, (size - 3) // (TIMES + 1))])[
        : TIMES + 1
    ]
    browser = Client(headers={"host": "localhost"})
    browser.force_login(Person.objects.get(is_lead=True))
    found = {}
    for name, url in pages().items():
        urls = [url(h) for h in hands]
        if browser.get(urls[0]).status_code != 200:
            raise SystemExit(f"{urls[0]} answered {browser.get(urls[0]).status_code}")
        with CaptureQueriesContext(connection) as asked:
            browser.get(urls[1])
        queries = len(asked)  # the next request begins a new count
        times, cpu = zip(*_timed(lambda u: browser.get(u), urls[1:]), strict=True)
        found[name] = {
            "median": 1000 * median(times),
            "p95": 1000 * quantiles(times, n=20, method="inclusive")[18],
            "cpu": 1000 * median(cpu),
            "queries": queries,
        }
    return found


def pages() -> dict[str, Callable[[Any], str]]:
    """The pages that a day looks at most; a hand's own pages for each hand in turn."""
    return {
        "first page": lambda h: "/",
        "the lead's day": lambda h: "/day/",
        "the day, typed part": lambda h: f"/day/?part=live&q={h.serial[:5]}",
        "the wall": lambda h: "/wall/",
        "search, many found": lambda h: "/search/?q=R-0",
        "search, none found": lambda h: f"/search/?q=R-{h.pk}-X",
        "a traveller": lambda h: f"/h/{h.code}/",
        "looking at a hand": lambda h: f"/h/{h.code}/look/",
        "an answer page": lambda h: f"/h/{h.code}/answer/",
    }


def _timed(call: Callable[[str], object], urls: list[str]) -> Iterator[tuple[float, float]]:
    """Seconds by the clock, and seconds of the processor: the two part when others use the machine too."""
    for url in urls:
        begun, cpu = time.perf_counter(), time.thread_time()
        call(url)
        yield time.perf_counter() - begun, time.thread_time() - cpu


if __name__ == "__main__":
    main()
