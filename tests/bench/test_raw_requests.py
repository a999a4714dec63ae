"""What is no proper request at all, sent to the real server byte by byte: refused, and the bench goes on."""

from __future__ import annotations

import re
import socket
from contextlib import suppress
from pathlib import Path
from urllib.parse import urlsplit

from browser.hall_server import served

NAME = b"\r\nHost: localhost\r\n"
REQUESTS = (
    b"GARBAGE\r\n\r\n",
    b"\x16\x03\x01\x02\x00\x01\x00\r\n\r\n",
    b"GET / HTTP/1.1\r\n\r\n",
    b"GET / HTTP/9.9" + NAME + b"\r\n",
    b"GET / HTTP/1.1\r\nHost: evil.example\r\n\r\n",
    b"GET / HTTP/1.1\r\nHost: localhost\r\nHost: evil.example\r\n\r\n",
    b"GET http://evil.example/ HTTP/1.1" + NAME + b"\r\n",
    b"GET //evil.example HTTP/1.1" + NAME + b"\r\n",
    b"GET /%00%ff/../.. HTTP/1.1" + NAME + b"\r\n",
    b"GET /static/../settings.py HTTP/1.1" + NAME + b"\r\n",
    b"GET /static/bench/%2e%2e/%2e%2e/settings.py HTTP/1.1" + NAME + b"\r\n",
    b"GET /h/" + b"y" * 60_000 + b"/ HTTP/1.1" + NAME + b"\r\n",
    b"GET / HTTP/1.1" + NAME + b"X: " + b"a" * 70_000 + b"\r\n\r\n",
    b"GET / HTTP/1.1" + NAME + b"Cookie: handsel=\xff\x00; handsel-phone=\r\n\r\n",
    b"GET / HTTP/1.1" + NAME + b"X-Forwarded-For: 127.0.0.1\r\nX-Forwarded-Host: evil.example\r\n\r\n",
    b"POST /sign-in/ HTTP/1.1" + NAME + b"Content-Length: abc\r\n\r\n",
    b"POST /sign-in/ HTTP/1.1" + NAME + b"Content-Length: -5\r\n\r\n",
    b"POST /sign-in/ HTTP/1.1" + NAME + b"Content-Length: 5\r\nContent-Length: 6\r\n\r\nabcdef",
    b"POST /photos/ HTTP/1.1" + NAME + b"Content-Length: 99999999999\r\n\r\n",
    b"POST /sign-in/ HTTP/1.1" + NAME + b"Transfer-Encoding: chunked\r\n\r\nzz\r\n",
    b"POST /sign-in/ HTTP/1.1" + NAME + b"Transfer-Encoding: chunked\r\nContent-Length: 3\r\n\r\n0\r\n\r\n",
    b"OPTIONS * HTTP/1.1" + NAME + b"\r\n",
    b"TRACE / HTTP/1.1" + NAME + b"\r\n",
)


def answered(address: tuple[str, int], request: bytes) -> bytes:
    """All that the server says before it closes or falls silent."""
    with socket.create_connection(address, timeout=20) as line:
        with suppress(OSError):  # the server may answer and hang up before it has heard all of it
            line.sendall(request)
            line.shutdown(socket.SHUT_WR)
        said = b""
        try:
            while chunk := line.recv(65_536):
                said += chunk
        except (ConnectionError, TimeoutError):
            return said
    return said


def test_no_bytes_at_all_bring_the_bench_down_or_make_it_tell_of_itself(tmp_path: Path) -> None:
    with served(tmp_path / "records") as bench:
        parts = urlsplit(bench.url)
        address = ("127.0.0.1", parts.port or 0)
        for request in REQUESTS:
            said = answered(address, request)
            status = re.match(rb"HTTP/1\.[01] (\d{3})", said)
            assert not said or status, (request[:60], said[:200])
            assert status is None or int(status[1]) < 500, (request[:60], said[:200])
            for inside in (b"Traceback", b"site-packages", b"SECRET_KEY", b"evil.example"):
                assert inside not in said, (request[:60], said[:400])
        assert answered(address, b"GET /wall/ HTTP/1.0" + NAME + b"\r\n").startswith(b"HTTP/1.0 200")
