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
import json
import os
import random
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

from phones_under_load import UP_WITHIN_S, Seen, a_busy_bench, surroundings

ROOT = Path(__file__).parents[1]
SMALL_DISK_MB = 48


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
    asked = says.parse_args()
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
