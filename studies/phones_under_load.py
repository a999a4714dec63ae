"""A bench as anyone starts it, and phones that answer until each batch is acknowledged: load for the studies.

    python studies/phones_under_load.py FOLDER PHONES     makes the day that they work on, and tells their people
"""

from __future__ import annotations

import http.client
import io
import json
import os
import random
import secrets
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[1]
TOKEN = "k" * 32
UP_WITHIN_S = 60.0


@dataclass(kw_only=True)
class Seen:
    """What the phones sent and were told."""

    sent: dict[str, dict[str, Any]] = field(default_factory=dict)
    acknowledged: dict[str, tuple[str, int]] = field(default_factory=dict)  # id -> hand, place in its chain
    photos: dict[str, str] = field(default_factory=dict)  # id -> fingerprint of the bytes
    refusals: dict[str, str] = field(default_factory=dict)  # "507 answers" -> words
    wrong: list[str] = field(default_factory=list)
    again_count: int = 0
    dropped_count: int = 0


class Server:
    """`handsel serve` on a folder, started and killed."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.port = free_port()
        self.process: subprocess.Popen[bytes] | None = None
        self.log = (folder.parent / "server.log").open("ab")

    def start(self) -> None:
        words = ["serve", "--host", "127.0.0.1", "--port", str(self.port), "--data", str(self.folder)]
        self.process = subprocess.Popen(
            [sys.executable, "-m", "handsel.cli", *words], env=surroundings(), stdin=subprocess.DEVNULL,
            stdout=self.log, stderr=self.log,
        )  # fmt: skip
        until = time.monotonic() + UP_WITHIN_S
        while not self.answers():
            if time.monotonic() > until or self.process.poll() is not None:
                said = Path(self.log.name).read_text(encoding="utf-8", errors="replace")[-2000:]
                raise SystemExit(f"the server did not come up (status {self.process.poll()}):\n{said}")
            time.sleep(0.1)

    def answers(self) -> bool:
        try:
            with closing(http.client.HTTPConnection("127.0.0.1", self.port, timeout=2)) as to:
                to.request("GET", "/static/bench/mark.svg")
                return to.getresponse().status == 200
        except OSError:
            return False

    def kill(self) -> None:
        if self.process is not None:
            self.process.send_signal(signal.SIGKILL)
            self.process.wait()

    def stop(self) -> None:
        if self.process is not None and self.process.poll() is None:
            self.process.terminate()
            self.process.wait(timeout=60)


def free_port() -> int:
    """A port that the system gives to nobody as the near end of a connection.

    A phone that calls a port where nobody listens may otherwise be given that very port for its own end, reach
    itself, and keep the server from coming back to it.
    """
    for port in random.sample(range(20_000, 30_000), 200):
        with closing(socket.socket()) as probe:
            try:
                probe.bind(("127.0.0.1", port))
            except OSError:
                continue
            return port
    raise SystemExit("no free port was found")


class Phone(threading.Thread):
    """One person with a phone: answers, and sends each batch until it is acknowledged."""

    def __init__(self, n: int, person: dict[str, Any], port: int, seen: Seen, stop: threading.Event) -> None:
        super().__init__(name=f"phone {n}", daemon=True)
        self.dice, self.person, self.port = random.Random(n), person, port
        self.seen, self.stop, self.finishing = seen, stop, threading.Event()
        self.sends_photos = n % 4 == 0

    def run(self) -> None:
        while not self.finishing.is_set():
            if self.sends_photos and self.dice.random() < 0.1:
                self.until_acknowledged(*self.photo())
            else:
                path, body, kind = self.batch()
                self.until_acknowledged(path, body, kind)
                if self.dice.random() < 0.05:  # the acknowledgement was lost on the way
                    self.seen.again_count += 1
                    self.until_acknowledged(path, body, kind)
            time.sleep(self.dice.expovariate(1 / 0.03))

    def batch(self) -> tuple[str, bytes, str]:
        entries = []
        for _ in range(self.dice.choice((1, 1, 1, 2, 3, 6))):
            entry = {"client_id": secrets.token_hex(16), "by": self.person["number"], "tap_ms": 900}
            if self.dice.random() < 0.5:
                entry |= {"kind": "noted", "text": f"note {secrets.token_hex(4)}"}
            else:
                entry |= {"kind": "observed", **self.dice.choice(self.person["questions"])}
            self.seen.sent[entry["client_id"]] = entry
            entries.append(entry)
        return (
            f"/h/{self.person['hand']}/answers/",
            json.dumps({"entries": entries}).encode(),
            "application/json",
        )

    def photo(self) -> tuple[str, bytes, str]:
        from PIL import Image

        out = io.BytesIO()
        colour = tuple(self.dice.randrange(256) for _ in range(3))
        Image.new("RGB", (self.dice.randrange(40, 200), 60), colour).save(out, "JPEG")
        name, edge = secrets.token_hex(16), secrets.token_hex(8)
        self.seen.photos[name] = ""
        parts = (("client_id", "", name.encode()), ("photo", '; filename="a.jpg"', out.getvalue()))
        body = b"".join(
            f'--{edge}\r\nContent-Disposition: form-data; name="{key}"{more}\r\n\r\n'.encode()
            + data
            + b"\r\n"
            for key, more, data in parts
        )
        return "/photos/", body + f"--{edge}--\r\n".encode(), f"multipart/form-data; boundary={edge}"

    def until_acknowledged(self, path: str, body: bytes, kind: str) -> None:
        while not self.stop.is_set():
            try:
                status, told = self.post(path, body, kind)
            except (OSError, http.client.HTTPException, ValueError):
                self.seen.dropped_count += 1
                time.sleep(0.1)
                continue
            if status in (200, 202):
                self.take(path, body, told)
                return
            what = "photo" if path == "/photos/" else "answers"
            self.seen.refusals[f"{status} {what}"] = f"{told.get('what')} {told.get('do')}"
            if status not in (503, 507):
                self.seen.wrong.append(f"{path}: status {status}: {told}")
                return
            if path == "/photos/":
                return  # the disk is nearly full for photos; answers go on
            time.sleep(0.2)

    def post(self, path: str, body: bytes, kind: str) -> tuple[int, dict[str, Any]]:
        head = {
            "Content-Type": kind, "Accept": "application/json", "X-CSRFToken": TOKEN,
            "Cookie": f"handsel={self.person['session']}; handsel-form={TOKEN}",
        }  # fmt: skip
        with closing(http.client.HTTPConnection("127.0.0.1", self.port, timeout=40)) as to:
            to.request("POST", path, body, head)
            answer = to.getresponse()
            return answer.status, json.loads(answer.read())

    def take(self, path: str, body: bytes, told: dict[str, Any]) -> None:
        if path == "/photos/":
            start = body.index(b"\xff\xd8")
            self.seen.photos[told["photo"]] = sha256(body[start : body.rindex(b"\r\n--")]).hexdigest()
            return
        for one in told["results"]:
            if one["state"] not in ("stored", "same"):
                self.seen.wrong.append(f"{one}")
                continue
            before = self.seen.acknowledged.setdefault(one["id"], (self.person["hand"], one["seq"]))
            if before[1] != one["seq"]:
                self.seen.wrong.append(f"{one['id']} was acknowledged at {before[1]} and at {one['seq']}")


def surroundings() -> dict[str, str]:
    kept = {k: v for k, v in os.environ.items() if not k.startswith(("HANDSEL_", "DJANGO_"))}
    return kept | {"PYTHONPATH": str(ROOT / "src")}


def prepared(folder: Path, phones: int) -> list[dict[str, Any]]:
    """A day with its people and hands, two phones to a hand, made in a process of its own."""
    done = subprocess.run(
        [sys.executable, __file__, str(folder), str(phones)],
        env=surroundings(), stdout=subprocess.PIPE, check=True,
    )  # fmt: skip
    people: list[dict[str, Any]] = json.loads(done.stdout)
    return people


def prepare(folder: Path, phones: int) -> None:
    """What `prepared` starts; the people are told on standard output."""
    from handsel.bench.serve import ready_folder, ready_records, set_up

    ready_folder(folder)
    set_up(folder)
    ready_records()
    from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
    from django.contrib.sessions.backends.db import SessionStore
    from django.utils import timezone

    from handsel.bench.days.models import Day
    from handsel.bench.hands.casebook import case_of, protocol_kept, told_of
    from handsel.bench.hands.services import begin_hand, keep_design, keep_protocol
    from handsel.bench.people.services import add_person
    from handsel.inspection.deciding import due
    from handsel.inspection.rules import AnswerRule

    add_person(name="", is_lead=True)
    protocol, design = keep_protocol("wrist-hand-1"), keep_design("linden")
    day = Day.objects.create(title="Load", opened_at=timezone.now(), protocol=protocol, design=design)
    told, hand = [], None
    for n in range(phones):
        person = add_person(may_inspect=True)
        if hand is None or n % 2 == 0:
            hand = begin_hand(
                day=day, recipient_code=f"R-{n + 1:03d}", side="right", scale_ratio=1.1, person=person
            )
        session = SessionStore()
        session[SESSION_KEY] = str(person.pk)
        session[BACKEND_SESSION_KEY] = "django.contrib.auth.backends.ModelBackend"
        session[HASH_SESSION_KEY] = person.get_session_auth_hash()
        session.save()
        rules = protocol_kept(hand.protocol_id)
        questions = [
            {"of": c.id, "place": place, "answer": c.rule.accepted[0], "protocol": hand.protocol_id}
            for c in due(case_of(hand, told_of(hand)), rules)
            if isinstance(c.rule, AnswerRule)
            for place in rules.places(c.per)
        ]
        told.append(
            {
                "number": person.number,
                "hand": hand.code,
                "session": session.session_key,
                "questions": questions,
            }
        )
    sys.stdout.write(json.dumps(told))


@contextmanager
def a_busy_bench(folder: Path, phones: int) -> Iterator[tuple[Server, Seen]]:
    """A server and phones at work; at the end every phone gets its last batch through."""
    people = prepared(folder, phones)
    server, seen, stop = Server(folder), Seen(), threading.Event()
    server.start()
    at_work = [Phone(n, person, server.port, seen, stop) for n, person in enumerate(people)]
    for phone in at_work:
        phone.start()
    try:
        yield server, seen
        for phone in at_work:
            phone.finishing.set()
        for phone in at_work:
            phone.join(timeout=120)
            if phone.is_alive():
                seen.wrong.append(f"{phone.name} did not get its last batch through")
    finally:
        stop.set()
        server.stop()
        server.log.close()


if __name__ == "__main__":
    prepare(Path(sys.argv[1]), int(sys.argv[2]))
