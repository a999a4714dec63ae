"""Bringing the bench up: the folder, the records, the workers, the web server; and taking it down again."""

from __future__ import annotations

import errno
import logging
import os
import signal
import socket
import sys
import threading
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from handsel.bench import addresses
from handsel.bench.crew import Crew
from handsel.bench.folder_lock import FolderLock
from handsel.bench.local_time import local_zone
from handsel.errors import HandselError

THREADS = 4  # more only take the interpreter from one another: with 12 the slowest posts took half as long again
LARGEST_BODY = 45_000_000  # a photo of 40 MB and its form
PORTS_TRIED = 20
Say = Callable[[str], None]


class CannotServe(HandselError):
    """The bench cannot be brought up as asked."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """How the bench is to be brought up."""

    folder: Path
    port: int = 8000
    host: str = ""  # empty: every network of this computer; behind a proxy or alone, this computer only
    solo: bool = False
    demo: bool = False
    https_proxy: bool = False
    address: str = ""  # what phones open, where it is not this computer's own number

    @property
    def bound_to(self) -> str:
        """The address that the server listens at."""
        return "127.0.0.1" if self.solo else self.host or ("127.0.0.1" if self.https_proxy else "0.0.0.0")


def serve(wish: Wish, say: Say) -> None:
    """Serve until told to stop."""
    ready_folder(wish.folder)
    with FolderLock(wish.folder) as lock:
        set_up(wish.folder, solo=wish.solo, https=wish.https_proxy, address=wish.address)
        ready_records()
        if wish.demo:
            from handsel.bench.demo.fill import fill

            fill(say)
        passphrase = None if wish.solo else _first_passphrase()
        listener = listen(wish.bound_to, wish.port)
        port = int(listener.getsockname()[1])
        os.environ["HANDSEL_PORT"] = str(port)
        own = f"http://{'localhost' if wish.bound_to in ('0.0.0.0', '127.0.0.1') else wish.bound_to}:{port}/"
        lock.tell(address=own, port=port)
        crew = Crew(environment=os.environ)
        crew.start()
        threading.Thread(target=_draw_ahead, name="drawings", daemon=True).start()
        try:
            server = _web_server(listener, wish)
            _announce(wish, port, own, passphrase, say)
            _on_signals()
            server.run()
        finally:
            say("Ending: what was acknowledged is stored.")
            listener.close()
            crew.stop()


def ready_folder(folder: Path) -> None:
    """See that the folder is there and can be written."""
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        trial = folder / ".write-trial"
        trial.write_bytes(b"handsel")
        trial.unlink()
    except OSError as error:
        raise CannotServe(
            f"the folder for the records cannot be written ({error.strerror or error})",
            where=str(folder),
            do="Free some room, or choose another folder with --data.",
        ) from error


def set_up(folder: Path, *, solo: bool = False, https: bool = False, address: str = "") -> None:
    """Make Django ready for this folder."""
    os.environ["HANDSEL_DATA"] = str(folder)
    os.environ["HANDSEL_SOLO"] = "1" if solo else "0"
    os.environ["HANDSEL_HTTPS"] = "1" if https else "0"
    os.environ["HANDSEL_ADDRESS"] = address
    os.environ["HANDSEL_TIME_ZONE"] = local_zone()
    os.environ["DJANGO_SETTINGS_MODULE"] = "handsel.bench.settings"
    (folder / "static").mkdir(exist_ok=True, mode=0o700)
    import django

    django.setup()


def ready_records() -> None:
    """Bring the database to this version's form. One that a newer version wrote is left alone."""
    from django.core.management import call_command
    from django.db import DatabaseError, connection, connections
    from django.db.migrations.loader import MigrationLoader

    where = str(connection.settings_dict["NAME"] or "the database")
    try:
        loader = MigrationLoader(connection)
        newer = sorted(set(loader.applied_migrations or ()) - set(loader.disk_migrations or ()))
        if newer:
            raise CannotServe(
                "these records were written by a newer version of this program",
                where=where,
                do="Install that version, or choose another folder with --data.",
            )
        call_command("migrate", verbosity=0, interactive=False)
    except DatabaseError as error:
        raise CannotServe(
            f"the records cannot be opened ({error})",
            where=where,
            do="If the disk is full, free some room; if the file is damaged, restore a backup (handsel restore).",
        ) from error
    finally:
        connections.close_all()


def listen(host: str, port: int) -> socket.socket:
    """A socket at the wished port, or at the next one that is free."""
    # IPv4 only: in a hall's network every phone has it, while IPv6 numbers may be reachable from outside.
    for tried in range(port, min(port + PORTS_TRIED, 65536)) if port else (0,):
        listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        if os.name == "nt":  # there, sharing an address would take it away from whoever has it
            listener.setsockopt(socket.SOL_SOCKET, getattr(socket, "SO_EXCLUSIVEADDRUSE", -5), 1)
        else:
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind((host, tried))
            listener.listen(1024)
        except OSError as error:
            listener.close()
            if error.errno in (errno.EADDRINUSE, errno.EACCES):
                continue
            raise CannotServe(
                f"this computer has no address {host!r} ({error.strerror or error})",
                where="--host",
                do="Leave --host out to listen on every network of this computer.",
            ) from error
        return listener
    raise CannotServe(
        f"no port from {port} to {port + PORTS_TRIED - 1} is free for this program",
        where="--port",
        do="Choose another port above 1024.",
    )


def _web_server(listener: socket.socket, wish: Wish) -> Any:
    from waitress.server import create_server

    from handsel.bench.wsgi import application

    logging.getLogger("waitress.queue").setLevel(logging.ERROR)  # a short queue is normal, not news
    behind: dict[str, Any] = {}
    if wish.https_proxy:
        # Only a proxy on this computer is believed, and only one step of it.
        behind = {
            "trusted_proxy": "127.0.0.1",
            "trusted_proxy_count": 1,
            "trusted_proxy_headers": {"x-forwarded-for", "x-forwarded-proto", "x-forwarded-host"},
        }
    return create_server(
        application,
        sockets=[listener],
        threads=THREADS,
        connection_limit=400,
        channel_timeout=60,
        cleanup_interval=10,
        max_request_body_size=LARGEST_BODY,
        max_request_header_size=65_536,
        clear_untrusted_proxy_headers=True,
        expose_tracebacks=False,
        asyncore_use_poll=os.name != "nt",
        ident="handsel",
        **behind,
    )


def _draw_ahead() -> None:
    """The day's drawings, before fifty phones ask for them in the same minute."""
    from django.db import DatabaseError, connection

    from handsel.bench.days.queries import current_day
    from handsel.bench.looking.pictures import draw_ahead

    try:
        day = current_day()
        if day is not None:
            draw_ahead(day.protocol_id, day.design_id)
    except (DatabaseError, HandselError) as error:  # the pages that need them say what is wrong
        logging.getLogger("handsel").warning("drawings were not made ahead: %s", error)
    finally:
        connection.close()


def _first_passphrase() -> str | None:
    from handsel.bench.people.services import first_lead

    return first_lead()


def phone_addresses(wish: Wish, port: int) -> tuple[str, ...]:
    """What a phone may open, the likeliest first."""
    if wish.address:
        return (wish.address.rstrip("/") + "/",)
    if wish.bound_to == "0.0.0.0":
        numbers = addresses.lan_addresses()
        return tuple(
            f"http://{host}:{port}/" for host in (*numbers, *([addresses.local_name()] if numbers else []))
        )
    return () if addresses.is_loopback(wish.bound_to) else (f"http://{wish.bound_to}:{port}/",)


def _announce(wish: Wish, port: int, own: str, passphrase: str | None, say: Say) -> None:
    if port != wish.port and wish.port:
        say(f"Port {wish.port} is taken by another program; this bench is at {port}.")
    say(f"Records: {wish.folder}")
    say(f"On this computer:  {own}")
    phones = phone_addresses(wish, port)
    for address in phones:
        say(f"On phones nearby:  {address}")
    if wish.solo:
        say("Alone: only this computer reaches the bench, and nobody has to sign in.")
    elif phones:
        say("\nScan this with a phone on the same network:\n")
        say(terminal_qr(phones[0]))
    elif not wish.https_proxy:
        say("No network was found. Join the hall's network or open this laptop's own, then start again.")
    if passphrase:
        say(f"The lead's passphrase, shown this once; write it down:\n\n    {passphrase}\n")
        say(f"Or open {own}first/ on this computer and begin without it.")
    say("Ctrl-C ends the bench.")


def terminal_qr(address: str) -> str:
    """A QR code out of characters, or a line of advice where the terminal cannot show them."""
    import io

    import segno

    drawn = io.StringIO()
    segno.make(address, error="l", micro=False).terminal(out=drawn, border=2, compact=True)
    try:
        drawn.getvalue().encode(sys.stdout.encoding or "ascii")
    except UnicodeEncodeError:
        return f"(This terminal cannot draw the code: type {address} on the phone.)"
    return drawn.getvalue()


def _on_signals() -> None:
    def end(number: int, frame: object) -> None:
        raise SystemExit(0)

    for name in ("SIGTERM", "SIGHUP", "SIGBREAK"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), end)
