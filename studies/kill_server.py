"""Is anything that was acknowledged ever lost? The server is killed under load, again and again, and counted after.

    python studies/kill_server.py                       30 kills, 12 phones; some minutes
    python studies/kill_server.py --kills 3 --phones 6  a small sample
    python studies/kill_server.py --disk-full --locked --kills 0

Phones are threads that do what the page's script does: a batch of answers goes out with ids made on the phone,
and goes out again, the same, until it is acknowledged. One phone in four sends photos too. The server runs as
anyone starts it, `handsel serve`, on a folder of its own, and gets SIGKILL at a random moment. In the end the
database is read directly: every acknowledged entry must be there once, at the place in the chain that was
acknowledged, with the content that was sent; nothing may be there that no phone sent; and `handsel verify` must
find nothing. With --disk-full the folder lies on a small disk that is filled up; with --locked another process
holds the database. Both must be said in words, and nothing may be stored in part.
Exit status 0 only if all of that held.
"""

from __future__ import annotations

import argparse
import http.client
import io
import json
import os
import random
import secrets
import shutil
import signal
import socket
import sqlite3
import subprocess
import sys
import tempfile
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
SMALL_DISK_MB = 48


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


# ---- before and after ----------------------------------------------------------------------------------


def surroundings() -> dict[str, str]:
    kept = {k: v for k, v in os.environ.items() if not k.startswith(("HANDSEL_", "DJANGO_"))}
    return kept | {"PYTHONPATH": str(ROOT / "src")}


def prepared(folder: Path, phones: int) -> list[dict[str, Any]]:
    """A day with its people and hands, two phones to a hand, made in a process of its own."""
    done = subprocess.run(
        [sys.executable, __file__, "--prepare", str(folder), "--phones", str(phones)],
        env=surroundings(), stdout=subprocess.PIPE, check=True,
    )  # fmt: skip
    people: list[dict[str, Any]] = json.loads(done.stdout)
    return people


def prepare(folder: Path, phones: int) -> None:
    """What `prepared` starts."""
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


def counted(folder: Path, seen: Seen) -> list[str]:
    """Hold the database against what the phones know; what is wrong, in words."""
    wrong = list(seen.wrong)
    found: dict[str, list[tuple[str, int, dict[str, Any]]]] = {}
    with closing(sqlite3.connect(folder / "handsel.sqlite3")) as records:
        rows = records.execute(
            "SELECT e.client_id, h.code, e.seq, e.record FROM hands_entry e JOIN hands_hand h ON h.id = e.hand_id "
            "WHERE e.kind != 'begun'"
        )
        for name, code, seq, record in rows:
            found.setdefault(name, []).append((code, seq, json.loads(record)["what"]))
        photos = dict(records.execute("SELECT client_id, raw_sha256 FROM photos_photo").fetchall())
    for name, (code, seq) in seen.acknowledged.items():
        there = found.get(name, [])
        if len(there) != 1 or there[0][:2] != (code, seq):
            wrong.append(f"{name} was acknowledged at {code}/{seq}; on record: {[t[:2] for t in there]}")
            continue
        sent = seen.sent[name]
        for key in ("text", "of", "place", "answer", "protocol"):
            if key in sent and there[0][2].get(key) != sent[key]:
                wrong.append(f"{name}: {key} is {there[0][2].get(key)!r} and was sent as {sent[key]!r}")
    wrong += [f"{name} is on record and no phone sent it" for name in found if name not in seen.sent]
    for name, digest in seen.photos.items():
        if digest and photos.get(name) != digest:
            wrong.append(f"photo {name} was acknowledged and is not on record as it was sent")
    return wrong


def verified(folder: Path) -> dict[str, Any]:
    """What `handsel verify` says."""
    done = subprocess.run(
        [sys.executable, "-m", "handsel.cli", "verify", "--json", "--data", str(folder)],
        env=surroundings(), stdout=subprocess.PIPE, check=False,
    )  # fmt: skip
    told: dict[str, Any] = json.loads(done.stdout)
    return told


@contextmanager
def a_folder(*, small_disk: bool) -> Iterator[Path]:
    """A folder for the records, on a small disk of its own where this computer lets us make one."""
    base = Path(tempfile.mkdtemp(prefix="handsel-kill-"))
    mounted = False
    try:
        if small_disk:
            (base / "disk").mkdir()
            words = ["mount", "-t", "tmpfs", "-o", f"size={SMALL_DISK_MB}m", "tmpfs", str(base / "disk")]
            if subprocess.run(words, check=False, capture_output=True).returncode != 0:
                raise SystemExit(
                    "a small disk cannot be made here: it needs the rights to mount one (run it as root)"
                )
            mounted = True
            yield base / "disk" / "data"
        else:
            yield base / "data"
    finally:
        if mounted:
            subprocess.run(["umount", "-l", str(base / "disk")], check=True)
        shutil.rmtree(base)


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


def judged(what: str, folder: Path, seen: Seen) -> bool:
    """Count, verify, and say so."""
    wrong, check = counted(folder, seen), verified(folder)
    wrong += [f"verify: {f}" for f in check["findings"]]
    print(
        f"{what}: {len(seen.acknowledged)} of {len(seen.sent)} entries acknowledged and "
        f"{sum(map(bool, seen.photos.values()))} photos, {seen.dropped_count} posts without an answer, "
        f"{seen.again_count} sent again though acknowledged; on record {check['entries']} entries of "
        f"{check['hands']} hands. {'Nothing lost, nothing twice, verify is content.' if not wrong else 'WRONG:'}"
    )
    for line in wrong[:20]:
        print(f"  {line}")
    return not wrong


def wait_for_more(seen: Seen, before: int) -> None:
    """Until work goes on."""
    until = time.monotonic() + UP_WITHIN_S
    while len(seen.acknowledged) <= before and time.monotonic() < until:
        time.sleep(0.02)


def fill(file: Path) -> str:
    """Write until nothing more fits; what the disk says then."""
    handle, said = os.open(file, os.O_WRONLY | os.O_CREAT), ""
    for size in (1 << 20, 1 << 12, 1):
        try:
            while True:
                os.write(handle, b"\0" * size)
        except OSError as error:
            said = error.strerror
    os.close(handle)
    return said


# ---- the three trials ----------------------------------------------------------------------------------


def trial_kill(kills: int, phones: int) -> bool:
    """SIGKILL at random moments."""
    dice = random.Random(20261121)
    with a_folder(small_disk=False) as folder:
        with a_busy_bench(folder, phones) as (server, seen):
            for n in range(kills):
                before = len(seen.acknowledged)
                if n % 5 != 4:  # one in five while the server still finds its feet, the others under load
                    wait_for_more(seen, before)
                time.sleep(dice.uniform(0.1, 2.5))
                server.kill()
                print(
                    f"kill {n + 1}: {len(seen.acknowledged) - before} acknowledged since the last", flush=True
                )
                server.start()
            wait_for_more(seen, len(seen.acknowledged))
        if len(seen.acknowledged) < 5 * kills or not seen.dropped_count:
            seen.wrong.append("there was no load to speak of, so this shows nothing")
        return judged(f"killed {kills} times with {phones} phones", folder, seen)


def trial_disk_full(phones: int) -> bool:
    """The disk fills up while phones send, and is freed again."""
    with a_folder(small_disk=True) as folder:
        with a_busy_bench(folder, phones) as (_, seen):
            wait_for_more(seen, 20)
            before = len(seen.acknowledged)
            filler = folder.parent / "filler"
            print(f"the disk is full ({fill(filler)})", flush=True)
            until = time.monotonic() + 2 * UP_WITHIN_S  # what the log already has room for still goes through
            while "507 answers" not in seen.refusals and time.monotonic() < until:
                time.sleep(0.1)
            time.sleep(3)
            while_full, said = len(seen.acknowledged), dict(seen.refusals)
            time.sleep(2)
            stuck = len(seen.acknowledged) == while_full
            filler.unlink()
            wait_for_more(seen, while_full)
            time.sleep(2)
            after = len(seen.acknowledged)
        print(
            f"acknowledged: {before} before, {while_full - before} while it filled, {after - while_full} after"
        )
        for status, words in said.items():
            print(f"  told meanwhile, {status}: {words}")
        good = judged("disk full", folder, seen)
        words = said.get("507 answers", "")
        plain = "no room left" in words and "Nothing of this was stored" in words
        if not (plain and stuck and after > while_full):
            print("  WRONG: a full disk was not said in words, or the work did not go on after it")
        return good and plain and after > while_full and stuck


def trial_locked(phones: int) -> bool:
    """Another process holds the database longer than anyone waits."""
    with a_folder(small_disk=False) as folder:
        with a_busy_bench(folder, phones) as (_, seen):
            wait_for_more(seen, 20)
            with closing(
                sqlite3.connect(folder / "handsel.sqlite3", timeout=20, isolation_level=None)
            ) as other:
                other.execute("BEGIN IMMEDIATE")
                time.sleep(0.5)
                before = len(seen.acknowledged)
                time.sleep(16)
                held = len(seen.acknowledged)
                other.execute("ROLLBACK")
            wait_for_more(seen, held)
            time.sleep(2)
            after = len(seen.acknowledged)
        said = seen.refusals.get("503 answers", "")
        print(f"acknowledged: {held - before} while it was held, {after - held} after; told: 503: {said}")
        good = judged("database locked", folder, seen)
        plain = "could not be written" in said
        if not (plain and held == before and after > held):
            print("  WRONG: a locked database was not said in words, or the work did not go on after it")
        return good and plain and held == before and after > held


def main() -> None:
    says = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    says.add_argument("--kills", type=int, default=30)
    says.add_argument("--phones", type=int, default=12)
    says.add_argument("--disk-full", action="store_true")
    says.add_argument("--locked", action="store_true")
    says.add_argument("--prepare", type=Path, help=argparse.SUPPRESS)
    asked = says.parse_args()
    if asked.prepare is not None:
        prepare(asked.prepare, asked.phones)
        return
    good = []
    if asked.kills:
        good.append(trial_kill(asked.kills, asked.phones))
    if asked.disk_full:
        good.append(trial_disk_full(asked.phones))
    if asked.locked:
        good.append(trial_locked(asked.phones))
    sys.exit(0 if all(good) else 1)


if __name__ == "__main__":
    main()
