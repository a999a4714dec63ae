"""Fifty phones at once, each through the whole inspection of its hand, against a real server.

    python benchmarks/bench_load.py            paced by thumbs, as on a build day
    python benchmarks/bench_load.py --flat-out the same without a pause: how much the server takes at most

`handsel serve` runs in a process of its own on a fresh folder, with its workers. Half of the hands are at
"strung", half at "finished". A phone does what the page's own scripts do: it opens the hand, fetches the
drawings, and sends every answer as soon as it is given; what is tapped while a batch is on its way goes out
together after it. A tap comes 0.8 s after the screen at the earliest and 2 s after it on average. Every sixth
tap opens the traveller beside it, a card in ten is not as shown, the lead's list is fetched every 5 s and the wall
every 10 s. In the end each phone asks for the answer and waits for it. After each page and each post the
same phone fetches one small file from the same server: the bare page that times are held against.
"""

from __future__ import annotations

import argparse
import http.client
import json
import os
import random
import re
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from statistics import quantiles
from typing import Any

ROOT = Path(__file__).parents[1]
PHONES = 50
LEAST_S, MEAN_S = 0.8, 2.0  # a tap: no sooner, and on average
START_S = 5.0  # within which all phones open their hands
TRAVELLER_EVERY = 6  # taps
BARE = "/static/bench/mark.svg"
STATES = ("strung", "finished")
LEAD_S, WALL_S = 5.0, 10.0
BATCH = 40
LONGEST_WAIT_S = 240.0


@dataclass(frozen=True, kw_only=True)
class Post:
    """One phone's hand and sign-in."""

    code: str
    number: int
    session: str


@dataclass(kw_only=True)
class Seen:
    """What all phones measured, in seconds."""

    times: dict[str, list[float]] = field(default_factory=dict)
    errors: list[str] = field(default_factory=list)
    asked: list[float] = field(default_factory=list)
    last_post_at: float = 0.0
    sent_before: int = 0  # requests up to the last post
    lock: threading.Lock = field(default_factory=threading.Lock)

    def note(self, kind: str, took_s: float) -> None:
        with self.lock:
            self.times.setdefault(kind, []).append(took_s)
            if kind == "post":
                self.last_post_at = time.perf_counter()
                self.sent_before = sum(map(len, self.times.values()))

    def wrong(self, what: str) -> None:
        with self.lock:
            self.errors.append(what)

    def all_of(self, *kinds: str) -> list[float]:
        return [t for k in kinds for t in self.times.get(k, ())]


# ---- the day ------------------------------------------------------------------------------------------


def lay_out(folder: Path) -> tuple[list[Post], str]:
    """A day with its hands and inspectors; each phone's sign-in, and the lead's."""
    os.environ |= {"HANDSEL_DATA": str(folder), "DJANGO_SETTINGS_MODULE": "handsel.bench.settings"}
    sys.path.insert(0, str(ROOT / "tests"))
    import django

    django.setup()
    from django.core.management import call_command
    from django.db import connections, transaction

    from bench.hall import open_hall
    from handsel.bench.people.services import add_person

    call_command("migrate", verbosity=0)
    dice = random.Random(7)
    with transaction.atomic():
        hall = open_hall()
        posts = []
        for n in range(PHONES):
            hand = hall.hand(
                code=f"R-{n + 1:03d}",
                side=dice.choice(("left", "right")),
                scale_ratio=round(dice.uniform(1.0, 1.25), 2),
                at=STATES[n % len(STATES)],
            )
            person = add_person(may_inspect=True)
            posts.append(Post(code=hand.code, number=person.number, session=_session(person)))
        lead = _session(hall.lead)
    connections.close_all()
    return posts, lead


def _session(person: Any) -> str:
    from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
    from django.contrib.sessions.backends.db import SessionStore

    session = SessionStore()
    session[SESSION_KEY] = str(person.pk)
    session[BACKEND_SESSION_KEY] = "django.contrib.auth.backends.ModelBackend"
    session[HASH_SESSION_KEY] = person.get_session_auth_hash()
    session.save()
    return str(session.session_key)


class Server:
    """`handsel serve` as a user starts it, and what it uses of the processor."""

    def __init__(self, folder: Path) -> None:
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = int(free.getsockname()[1])
        self.log = (folder / "serve.log").open("w+", encoding="utf-8")
        self.process = subprocess.Popen(
            [sys.executable, "-m", "handsel.cli", "serve", "--data", str(folder), "--port", str(self.port)],
            stdout=self.log, stderr=subprocess.STDOUT, cwd=ROOT,
        )  # fmt: skip
        until = time.monotonic() + 60
        while time.monotonic() < until:
            try:
                socket.create_connection(("127.0.0.1", self.port), 1).close()
                return
            except OSError:
                time.sleep(0.1)
        raise SystemExit("the server did not come up")

    def cpu_s(self) -> float:
        """Processor seconds of the server itself so far, its workers not counted (Linux; 0 elsewhere)."""
        try:
            told = (
                Path(f"/proc/{self.process.pid}/stat").read_text(encoding="ascii").rsplit(")", 1)[1].split()
            )
        except OSError:
            return 0.0
        return (int(told[11]) + int(told[12])) / os.sysconf("SC_CLK_TCK")

    def stop(self) -> None:
        self.process.terminate()
        self.process.wait(30)
        self.log.close()

    def told(self) -> str:
        """What it wrote."""
        return Path(self.log.name).read_text(encoding="utf-8")


# ---- one phone ----------------------------------------------------------------------------------------


class Phone:
    """One browser: a connection that stays open, cookies, and a person's pace."""

    def __init__(self, port: int, seen: Seen, *, session: str, dice: random.Random, flat_out: bool) -> None:
        self.seen, self.dice, self.flat_out, self.port = seen, dice, flat_out, port
        self.cookies = {"handsel": session}
        self.connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)

    def call(
        self, kind: str, method: str, url: str, body: bytes | None = None, **headers: str
    ) -> tuple[int, bytes, Any]:
        """One request, timed to the last byte; after pages and posts the bare page too."""
        headers |= {
            "Cookie": "; ".join(f"{k}={v}" for k, v in self.cookies.items()),
            "Accept-Encoding": "gzip",
        }
        if body is not None:
            headers |= {"X-CSRFToken": self.cookies.get("handsel-form", "")}
        begun = time.perf_counter()
        try:
            self.connection.request(method, url, body=body, headers=headers)
            reply = self.connection.getresponse()
            content = reply.read()
        except (OSError, http.client.HTTPException) as error:
            self.seen.wrong(f"{method} {url}: {type(error).__name__}")
            self.connection.close()
            return 0, b"", {}
        self.seen.note(kind, time.perf_counter() - begun)
        for line in reply.headers.get_all("Set-Cookie") or ():
            name, _, value = line.split(";")[0].partition("=")
            self.cookies[name] = value
        if reply.status >= 400:
            self.seen.wrong(f"{method} {url}: {reply.status} {content[:120]!r}")
        if kind != "bare":
            self.call("bare", "GET", BARE)
        return reply.status, content, reply.headers

    def pause(self) -> float:
        """Until the next tap."""
        return 0.0 if self.flat_out else LEAST_S + self.dice.expovariate(1 / (MEAN_S - LEAST_S))

    def inspect(self, post: Post) -> None:
        """The whole inspection of one hand."""
        base = f"/h/{post.code}"
        status, page, _ = self.call("page", "GET", f"{base}/look/")
        found = re.search(rb'id="look-data" type="application/json">(.*?)</script>', page, re.S)
        if status != 200 or found is None:
            self.seen.wrong(f"{base}/look/ has no screens")
            return
        data = json.loads(found[1])
        for url in data["figures"]:
            self.call("drawings", "GET", url)
        waiting: list[dict[str, Any]] = []
        next_tap = time.perf_counter() + self.pause()
        for n, entries in enumerate(taps(data, self.dice), start=1):
            # While a batch was on its way the thumb went on: what is due by now goes out together.
            late_s = next_tap - time.perf_counter()
            if late_s > 0:
                if waiting:
                    self.send(post, waiting)
                    late_s = next_tap - time.perf_counter()
                time.sleep(max(0.0, late_s))
            waiting += entries
            next_tap += self.pause()
            if n % TRAVELLER_EVERY == 0:
                self.call("page", "GET", f"{base}/")
            if self.flat_out and waiting:
                self.send(post, waiting)
        until = time.perf_counter() + LONGEST_WAIT_S
        while waiting and time.perf_counter() < until:
            self.send(post, waiting)
        self.ask(post, base, data["at"]["id"])

    def send(self, post: Post, waiting: list[dict[str, Any]]) -> None:
        """The waiting answers in batches; each must be said to be stored."""
        while waiting:
            batch, waiting[:] = waiting[:BATCH], waiting[BATCH:]
            body = json.dumps({"entries": [e | {"by": post.number} for e in batch]}).encode()
            status, content, _ = self.call(
                "post", "POST", f"/h/{post.code}/answers/", body,
                **{"Content-Type": "application/json", "Accept": "application/json"},
            )  # fmt: skip
            if status != 200:  # kept, and sent again with what comes next
                waiting[:0] = batch
                time.sleep(1.0)
                if not self.flat_out:
                    return
            else:
                for r in json.loads(content)["results"]:
                    if r["state"] not in ("stored", "same"):
                        self.seen.wrong(f"{post.code}: {r}")

    def ask(self, post: Post, base: str, hold_point: str) -> None:
        """Ask, and wait as the page does: a little longer each time."""
        begun = time.perf_counter()
        form = f"csrfmiddlewaretoken={self.cookies['handsel-form']}&hold_point={hold_point}".encode()
        self.call(
            "ask", "POST", f"{base}/ask/", form, **{"Content-Type": "application/x-www-form-urlencoded"}
        )
        _, page, _ = self.call("page", "GET", f"{base}/answer/")
        pause_s, waits = 0.7, b"data-waiting" in page
        while waits and time.perf_counter() - begun < LONGEST_WAIT_S:
            time.sleep(pause_s)
            pause_s = min(1.25 * pause_s, 5.0)
            _, page, headers = self.call("page", "GET", f"{base}/answer/state/")
            waits = headers.get("X-Answer") != "here"
        if waits:
            self.seen.wrong(f"{post.code}: no answer within {LONGEST_WAIT_S:.0f} s")
        with self.seen.lock:
            self.seen.asked.append(time.perf_counter() - begun)

    def watch(self, url: str, every_s: float, end: threading.Event) -> None:
        """A page that keeps itself fresh."""
        while not end.wait(every_s):
            self.call("page", "GET", url)


def taps(data: dict[str, Any], dice: random.Random) -> Iterator[list[dict[str, Any]]]:
    """The run of screens of a hand as taps, each with the entries that it makes; turning the hand makes none."""
    for group in data["groups"]:
        cards = [c for c in group["checks"] if not c["alone"] and c["due"]]
        alone = [c for c in group["checks"] if c["alone"] and c["due"]]
        if not cards and not alone:
            continue
        yield []
        rest = []
        for c in cards:
            if dice.random() < 0.1:
                yield []  # the card, then what is wrong with it
                wrong = next(a["value"] for a in c["answers"] if not a["good"])
                yield [_observed(data, c, place, wrong) for place in c["due"][:1]]
                rest += [[c["of"], place] for place in c["due"][1:]]
            else:
                rest += [[c["of"], place] for place in c["due"]]
        if rest:
            only = {} if len(rest) == group["coverable"] else {"only": rest}
            yield [_entry(data, {"kind": "as-shown", "group": group["id"], **only})]
        for c in alone:
            if c["kind"] == "number":
                for place in c["due"]:
                    yield []  # the keys of the number
                    yield [_number(data, c, place, dice)]
            else:
                good = next(a["value"] for a in c["answers"] if a["good"])
                yield [_observed(data, c, "", good)]


def _entry(data: dict[str, Any], body: dict[str, Any]) -> dict[str, Any]:
    common = {
        "client_id": os.urandom(16).hex(),
        "tap_ms": 1500,
        "step_ms": 2000,
        "seen_count": data["seen_count"],
    }
    return common | {"protocol": data["protocol"]} | body


def _observed(data: dict[str, Any], c: dict[str, Any], place: str, answer: str) -> dict[str, Any]:
    said = {"method": "substitute"} if c["substitute"] else {}
    return _entry(data, {"kind": "observed", "of": c["of"], "place": place, "answer": answer, **said})


def _number(data: dict[str, Any], c: dict[str, Any], place: str, dice: random.Random) -> dict[str, Any]:
    from bench.hall import GOOD

    low, high = c["number"]["min"], c["number"]["max"]
    value = round(GOOD.get(c["of"], (low + high) / 2) + dice.gauss(0, 0.4), 1)
    value = min(max(value, low), high)
    return _entry(
        data,
        {"kind": "observed", "of": c["of"], "place": place, "value": value, "unit": c["number"]["unit"]},
    )


# ---- the run ------------------------------------------------------------------------------------------


def run(server: Server, posts: list[Post], lead: str, *, flat_out: bool) -> tuple[Seen, float]:
    """All phones at once; what they saw, and how long it took."""
    seen, end = Seen(), threading.Event()

    def phone(n: int, session: str) -> Phone:
        return Phone(server.port, seen, session=session, dice=random.Random(n), flat_out=flat_out)

    def one(n: int, post: Post) -> None:
        p = phone(n, post.session)
        time.sleep(0 if flat_out else p.dice.uniform(0, START_S))
        p.inspect(post)

    watchers = [
        threading.Thread(target=phone(1000, lead).watch, args=("/day/?part=live", LEAD_S, end)),
        threading.Thread(target=phone(1001, "").watch, args=("/wall/?part=live", WALL_S, end)),
    ]
    phones = [threading.Thread(target=one, args=(n, post)) for n, post in enumerate(posts)]
    begun = time.perf_counter()
    for t in watchers + phones:
        t.start()
    for t in phones:
        t.join()
    took_s = time.perf_counter() - begun
    end.set()
    for t in watchers:
        t.join()
    seen.last_post_at -= begun
    return seen, took_s


def at(times: list[float], percent: int) -> float:
    """A percentile in milliseconds."""
    return 1000 * (quantiles(times, n=100, method="inclusive")[percent - 1] if len(times) > 1 else times[0])


def report(seen: Seen, took_s: float, cpu_s: float, load: tuple[float, float]) -> None:
    """The figures as a table."""
    bare = seen.all_of("bare")
    print(
        f"{took_s:.0f} s; load average before {load[0]:.1f}, after {load[1]:.1f}; errors: {len(seen.errors)}"
    )
    print("| what | number | p50 ms | p95 ms | p99 ms | p95 to bare |")
    print("| --- | --- | --- | --- | --- | --- |")
    for kind in ("page", "post", "ask", "drawings", "bare"):
        times = seen.times.get(kind)
        if times:
            row = [at(times, p) for p in (50, 95, 99)]
            ratio = row[1] / at(bare, 95)
            print(f"| {kind} | {len(times)} | {row[0]:.0f} | {row[1]:.0f} | {row[2]:.0f} | {ratio:.1f} |")
    busy_s = seen.last_post_at
    rate, posts = seen.sent_before / busy_s, len(seen.all_of("post")) / busy_s
    print(
        f"up to the last answer sent: {busy_s:.0f} s, {rate:.0f} requests per second, {posts:.1f} of them posts"
    )
    print(f"processor of the server: {cpu_s:.1f} s, {100 * cpu_s / took_s:.0f} % of one core")
    print(
        f"from asking to the answer: p50 {at(seen.asked, 50) / 1000:.1f} s, p95 {at(seen.asked, 95) / 1000:.1f} s"
    )
    for line in sorted(set(seen.errors))[:10]:
        print("  error:", line)


def main() -> None:
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("--flat-out", action="store_true", help="no pause between taps")
    arguments.add_argument("--runs", type=int, default=1, help="how often, each on a fresh copy of the day")
    chosen = arguments.parse_args()
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(1))  # the server is ended too
    with tempfile.TemporaryDirectory(prefix="handsel-load-") as kept:
        posts, lead = lay_out(Path(kept) / "day")
        for n in range(chosen.runs):
            folder = Path(kept) / f"run-{n + 1}"
            shutil.copytree(Path(kept) / "day", folder)
            one_run(folder, posts, lead, flat_out=chosen.flat_out)


def one_run(folder: Path, posts: list[Post], lead: str, *, flat_out: bool) -> None:
    """Serve, let the phones loose, report, and see whether the record is whole."""
    server = Server(folder)
    try:
        # The first hand of a morning pays for reading texts and drawing figures; it is not counted.
        first = Phone(server.port, Seen(), session=lead, dice=random.Random(0), flat_out=True)
        first.call("page", "GET", f"/h/{posts[0].code}/")
        load, cpu_s = os.getloadavg()[0], server.cpu_s()
        seen, took_s = run(server, posts, lead, flat_out=flat_out)
        report(seen, took_s, server.cpu_s() - cpu_s, (load, os.getloadavg()[0]))
    finally:
        server.stop()
    complaints = [line for line in server.told().splitlines() if " ERROR " in line or "Traceback" in line]
    print(*complaints[:5], sep="\n", end="\n" if complaints else "")
    verified = subprocess.run(
        [sys.executable, "-m", "handsel.cli", "verify", "--data", str(folder)],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    print(
        "verify:", "content" if verified.returncode == 0 else verified.stdout[-500:] + verified.stderr[-500:]
    )
    print(flush=True)


if __name__ == "__main__":
    main()
