"""The real server as a process of its own: starts, says where, works, refuses a second one, ends."""

from __future__ import annotations

import os
import re
import shutil
import signal
import socket
import sqlite3
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from handsel.bench.crew import KINDS

ROOT = Path(__file__).parents[2]
PATIENCE_S = 60.0  # the machine may be busy with something else

pytestmark = pytest.mark.skipif(os.name == "nt", reason="signals and process lists as on POSIX systems")


class Running:
    """A server with what it has printed so far."""

    def __init__(self, process: subprocess.Popen[bytes], log: Path) -> None:
        self.process, self.log = process, log

    @property
    def said(self) -> str:
        return self.log.read_text(encoding="utf-8", errors="replace")

    def wait_for(self, words: str) -> str:
        """Until these words are printed; the whole of it."""
        until = time.monotonic() + PATIENCE_S
        while words not in self.said:
            assert self.process.poll() is None, self.said
            assert time.monotonic() < until, self.said
            time.sleep(0.05)
        return self.said

    @property
    def port(self) -> int:
        found = re.search(r"On this computer:\s+http://[^:]+:(\d+)/", self.wait_for("Ctrl-C ends the bench."))
        assert found is not None, self.said
        return int(found[1])

    def get(self, path: str, host: str = "localhost") -> tuple[int, str]:
        """Status and text of a page, redirects followed."""
        asked = urllib.request.Request(
            f"http://127.0.0.1:{self.port}{path}", headers={"Host": f"{host}:{self.port}"}
        )
        try:
            with urllib.request.urlopen(asked, timeout=PATIENCE_S) as answer:
                return answer.status, answer.read().decode()
        except urllib.error.HTTPError as error:
            with error:
                return error.code, error.read().decode()

    def workers(self) -> list[int]:
        """Process numbers of its workers."""
        listed = subprocess.run(
            ["ps", "-o", "pid=,args=", "--ppid", str(self.process.pid)],
            capture_output=True,
            text=True,
            check=False,
        ).stdout
        return [int(line.split()[0]) for line in listed.splitlines() if "handsel.bench.worker" in line]

    def end(self, how: int = signal.SIGTERM) -> int:
        self.process.send_signal(how)
        return self.process.wait(timeout=PATIENCE_S)


@contextmanager
def server(folder: Path, *more: str) -> Iterator[Running]:
    """`handsel serve` on any free port."""
    home = next(p for p in folder.parents if p.is_dir())
    log = home / f"{folder.name}-{time.monotonic_ns()}.log"
    environment = {k: v for k, v in os.environ.items() if not k.startswith(("HANDSEL_", "DJANGO_"))}
    environment |= {"PYTHONPATH": str(ROOT / "src"), "PYTHONIOENCODING": "utf-8"}
    with log.open("wb") as out:
        process = subprocess.Popen(
            [sys.executable, "-c", "from handsel.cli import main; main()", "serve", "--data", str(folder),
             *(more or ("--port", "0"))],
            stdout=out, stderr=subprocess.STDOUT, env=environment, cwd=home,
            # Where the tests run as a shell's background job, Ctrl-C is ignored, and a child would inherit that.
            preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
        )  # fmt: skip
        running = Running(process, log)
        try:
            yield running
        finally:
            if process.poll() is None:
                process.kill()
                process.wait()


def is_alive(pid: int) -> bool:
    """Whether this process still runs (a dead one that nobody has asked after does not)."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"
    except OSError:
        return False


def until(true: object, what: str) -> None:
    """Wait until a condition holds."""
    end = time.monotonic() + PATIENCE_S
    while not true():  # type: ignore[operator]
        assert time.monotonic() < end, what
        time.sleep(0.1)


def job_state(folder: Path, key: str) -> str:
    with sqlite3.connect(folder / "handsel.sqlite3", timeout=10) as records:
        found = records.execute("SELECT state FROM jobs_job WHERE key = ?", (key,)).fetchone()
    records.close()
    return found[0] if found else ""


def ask_worker(folder: Path, key: str) -> None:
    """Put a trial piece into the queue, as the checklist does."""
    with sqlite3.connect(folder / "handsel.sqlite3", timeout=10) as records:
        records.execute(
            "INSERT INTO jobs_job (kind, key, payload, state, urgency, tries, queued_at) "
            "VALUES ('photo', ?, '{\"warm\": \"photo\"}', 'queued', 0, 0, '2026-11-25 10:00:00')",
            (key,),
        )
    records.close()


@pytest.fixture(scope="module")
def first_day(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder that a bench has run on before."""
    folder = tmp_path_factory.mktemp("first") / "day"
    with server(folder) as bench:
        bench.wait_for("Ctrl-C ends the bench.")
        assert bench.end() == 0
    return folder


@pytest.fixture
def used(first_day: Path, tmp_path: Path) -> Path:
    """The same for one test: beginning a folder takes longer than most of what is tried on it."""
    return shutil.copytree(first_day, tmp_path / "day")


def test_it_starts_serves_works_and_ends(tmp_path: Path) -> None:
    folder = tmp_path / "day"
    with server(folder) as bench:
        said = bench.wait_for("Ctrl-C ends the bench.")
        words = re.search(r"shown this once; write it down:\s+([a-z]+(?: [a-z]+){5})\n", said)
        assert words is not None, said
        assert str(folder) in said
        assert bench.get("/sign-in/?next=/people/")[0] == 200
        assert "six words" in bench.get("/sign-in/?next=/people/")[1]
        assert bench.get("/static/bench/handsel.css")[0] == 200
        assert bench.get("/sign-in/", host="example.org")[0] == 400
        kept = [file for file in folder.rglob("*") if file.is_file()]
        assert kept
        assert [file for file in kept if words[1].encode() in file.read_bytes()] == []
        workers = bench.workers()
        assert len(workers) == len(KINDS)
        ask_worker(folder, "first")
        until(lambda: job_state(folder, "first") == "done", bench.said)
        assert bench.end() == 0
        until(lambda: not any(map(is_alive, workers)), "the workers went on without their server")
    with server(folder) as again:
        assert "passphrase" not in again.wait_for("Ctrl-C ends the bench.")
        assert again.end(signal.SIGINT) == 0


@pytest.mark.slow
def test_a_worker_that_dies_is_started_again(used: Path) -> None:
    with server(used) as bench:
        bench.wait_for("Ctrl-C ends the bench.")
        until(lambda: len(bench.workers()) == len(KINDS), "all workers")
        before = bench.workers()
        for pid in before:
            os.kill(pid, signal.SIGKILL)
        until(lambda: len(set(bench.workers()) - set(before)) == len(KINDS), bench.said)
        ask_worker(used, "after")
        until(lambda: job_state(used, "after") == "done", bench.said)
        assert "is started again" in bench.said


@pytest.mark.slow
def test_killed_outright_it_leaves_no_worker_behind_and_starts_again(used: Path) -> None:
    with server(used) as bench:
        bench.wait_for("Ctrl-C ends the bench.")
        until(lambda: len(bench.workers()) == len(KINDS), "all workers")
        workers = bench.workers()
        bench.end(signal.SIGKILL)
        until(lambda: not any(map(is_alive, workers)), "the workers went on without their server")
    with server(used) as again:
        assert again.get("/sign-in/")[0] == 200


def test_a_second_one_on_the_same_folder_is_refused_with_the_firsts_address(used: Path) -> None:
    with server(used) as bench:
        port = bench.port
        with server(used) as second:
            assert second.process.wait(timeout=PATIENCE_S) == 2
            assert "already running on this folder" in second.said
            assert f"http://localhost:{port}/" in second.said
            assert "Traceback" not in second.said
        assert bench.get("/sign-in/")[0] == 200


@pytest.mark.slow
def test_a_taken_port_is_said_and_the_next_one_used(tmp_path: Path) -> None:
    with socket.socket() as other:
        other.bind(("0.0.0.0", 0))
        other.listen()
        taken = other.getsockname()[1]
        with server(tmp_path / "day", "--port", str(taken)) as bench:
            assert f"Port {taken} is taken" in bench.wait_for("Ctrl-C ends the bench.")
            assert taken < bench.port < taken + 20
            assert bench.get("/sign-in/")[0] == 200


@pytest.mark.slow
def test_alone_it_listens_here_only_and_asks_nobody_to_sign_in(tmp_path: Path) -> None:
    with server(tmp_path / "day", "--port", "0", "--solo") as bench:
        said = bench.wait_for("Ctrl-C ends the bench.")
        assert "passphrase" not in said
        assert "On phones" not in said
        assert "Which hand?" in bench.get("/")[1]
        for host in ("192.168.1.5", "laptop.local", "example.org"):
            assert bench.get("/", host=host)[0] == 400
        from handsel.bench.addresses import lan_addresses

        for address in lan_addresses():
            with socket.socket() as phone:
                phone.settimeout(3)
                assert phone.connect_ex((address, bench.port)) != 0


def test_a_folder_that_cannot_be_written_is_said_so(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("not a folder")
    with server(tmp_path / "file" / "day") as bench:
        assert bench.process.wait(timeout=PATIENCE_S) == 2
        assert "cannot be written" in bench.said
        assert "--data" in bench.said
        assert "Traceback" not in bench.said


@pytest.mark.slow
def test_records_of_a_newer_version_are_left_alone(used: Path) -> None:
    with sqlite3.connect(used / "handsel.sqlite3") as records:
        records.execute(
            "INSERT INTO django_migrations (app, name, applied) VALUES ('hands', '9999_later', '2027-01-01 00:00:00')"
        )
    records.close()
    with server(used) as bench:
        assert bench.process.wait(timeout=PATIENCE_S) == 2
        assert "newer version" in bench.said


@pytest.mark.slow
def test_a_file_that_is_no_database_is_said_so(tmp_path: Path) -> None:
    folder = tmp_path / "day"
    folder.mkdir()
    (folder / "handsel.sqlite3").write_bytes(b"this is not a database, whatever its name says" * 100)
    with server(folder) as bench:
        assert bench.process.wait(timeout=PATIENCE_S) == 2
        assert "cannot be opened" in bench.said
        assert "Traceback" not in bench.said


@pytest.mark.slow
def test_the_lead_gets_new_words_at_the_computer(used: Path) -> None:
    environment = {k: v for k, v in os.environ.items() if not k.startswith(("HANDSEL_", "DJANGO_"))}
    environment["PYTHONPATH"] = str(ROOT / "src")
    lead = [sys.executable, "-c", "from handsel.cli import main; main()", "lead", "--data", str(used)]
    told = subprocess.run(lead, capture_output=True, text=True, env=environment, check=True).stdout
    assert "lead 1" in told
    made = subprocess.run(
        [*lead, "--new-passphrase"], capture_output=True, text=True, env=environment, check=True
    )
    assert re.search(r"\n    [a-z]+( [a-z]+){5}\n", made.stdout)
    nowhere = subprocess.run(
        [*lead[:-1], str(used.parent / "nowhere")], capture_output=True, text=True, env=environment, check=False
    )
    assert nowhere.returncode == 2
    assert not (used.parent / "nowhere").exists()
