"""From the shutter to the overlay: how long a phone waits for a rest angle, over a real server and its workers.

    python benchmarks/photo_to_overlay.py [2 8 12]

`handsel serve` runs in processes of its own on a fresh folder. One phone posts a photo, waits for the word that it is
stored, asks after it as often as the page's script does, and fetches the picture with the two lines. Times are by
the clock, and held against OpenCV's bare detection of the markers in the same file, opened from its JPEG in the same
run. Processor time is that of the server and all it started, the process that stands by for the next photo with it.
A photo comes some seconds after the last one, as from a person; what fifty phones do is measured in bench_load.py.
"""

from __future__ import annotations

import http.client
import io
import json
import os
import sys
import tempfile
import time
from pathlib import Path
from statistics import median
from typing import Any

import cv2
import numpy as np
from bench_load import Post, Server, lay_out
from PIL import Image

PHOTOS = Path(__file__).parents[1] / "tests" / "data" / "vision" / "shared"
FILES = ("clean-03.jpg", "clean-05.jpg", "field-01.jpg", "field-02.jpg")
SIZES_MP = (2, 8, 12)
TIMES = 3  # each photo, each size
ASK_EVERY_S = 0.25  # look-measure.js: QUICK_MS
PAUSE_S = 3.0  # a person turns the hand; the process that stands by has started
LONGEST_S = 60.0
EDGE = "----one-photo-and-no-more"


def as_taken(file: Path, size_mp: float) -> bytes:
    """The photo brought to a phone's number of pixels, with what its file says of the lens."""
    with Image.open(file) as picture:
        exif = picture.getexif()
        times = (size_mp * 1e6 / (picture.width * picture.height)) ** 0.5
        larger = picture.resize(
            (round(picture.width * times), round(picture.height * times)), Image.Resampling.LANCZOS
        )
    out = io.BytesIO()
    larger.save(out, "JPEG", quality=90, exif=exif)
    return out.getvalue()


def bare_s(jpeg: bytes) -> float:
    """Opening the file and finding the markers, nothing else."""
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50))
    began = time.perf_counter()
    detector.detectMarkers(cv2.imdecode(np.frombuffer(jpeg, np.uint8), cv2.IMREAD_GRAYSCALE))
    return time.perf_counter() - began


def processor_s(pid: int) -> float:
    """Processor time so far of a process and all that it started (Linux; 0 elsewhere)."""
    parents, ticks = {}, {}
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            told = stat.read_text(encoding="ascii", errors="replace").rsplit(")", 1)[1].split()
        except OSError:  # it ended meanwhile
            continue
        number = int(stat.parent.name)
        parents[number], ticks[number] = int(told[1]), sum(map(int, told[11:15]))  # with children that ended
    family = {pid}
    while grown := {n for n, parent in parents.items() if parent in family} - family:
        family |= grown
    return sum(ticks.get(n, 0) for n in family) / os.sysconf("SC_CLK_TCK")


class Phone:
    """One inspector's browser."""

    def __init__(self, port: int, post: Post) -> None:
        self.post, self.connection = post, http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        self.cookies = {"handsel": post.session}
        self.call("GET", f"/h/{post.code}/look/")  # brings the cookie of its forms

    def call(self, method: str, url: str, body: bytes | None = None, **headers: str) -> tuple[int, bytes]:
        headers |= {
            "Cookie": "; ".join(f"{k}={v}" for k, v in self.cookies.items()),
            "Accept": "application/json",
        }
        headers |= {"X-CSRFToken": self.cookies.get("handsel-form", "")}
        self.connection.request(method, url, body=body, headers=headers)
        reply = self.connection.getresponse()
        for name, value in reply.getheaders():
            if name.lower() == "set-cookie" and "=" in value:
                key, _, rest = value.partition("=")
                self.cookies[key] = rest.partition(";")[0]
        return reply.status, reply.read()

    def photograph(self, jpeg: bytes, client_id: str) -> tuple[float, float, dict[str, Any]]:
        """Seconds until it was said to be stored, and until the picture with its lines had come; what was read."""
        fields = {
            "client_id": client_id,
            "measure": "angle",
            "of": "worked-rest-angle",
            "hand": self.post.code,
        }
        head = "".join(
            f'--{EDGE}\r\nContent-Disposition: form-data; name="{k}"\r\n\r\n{v}\r\n'
            for k, v in fields.items()
        )
        head += f'--{EDGE}\r\nContent-Disposition: form-data; name="photo"; filename="a.jpg"\r\n'
        head += "Content-Type: image/jpeg\r\n\r\n"
        body = head.encode() + jpeg + f"\r\n--{EDGE}--\r\n".encode()
        began = time.perf_counter()
        status, told = self.call(
            "POST", "/photos/", body, **{"Content-Type": f"multipart/form-data; boundary={EDGE}"}
        )
        if status != 202:
            raise SystemExit(f"the photo was not taken: {status} {told[:300]!r}")
        stored_s = time.perf_counter() - began
        while time.perf_counter() - began < LONGEST_S:
            state = json.loads(self.call("GET", f"/measured/angle/{client_id}/")[1])
            if state["state"] != "waiting":
                break
            time.sleep(ASK_EVERY_S)
        if state["state"] != "measured":
            raise SystemExit(f"the photo was not read: {state}")
        status, picture = self.call("GET", state["overlay"])
        if status != 200 or not picture.startswith(b"\xff\xd8"):
            raise SystemExit(f"no overlay: {status}")
        return stored_s, time.perf_counter() - began, state


def main() -> None:
    sizes = [int(word) for word in sys.argv[1:]] or list(SIZES_MP)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        posts, _ = lay_out(folder)
        server = Server(folder)
        try:
            phone = Phone(
                server.port, next(p for n, p in enumerate(posts) if n % 2 == 0)
            )  # a hand at "strung"
            phone.photograph(
                as_taken(PHOTOS / FILES[0], 2), "0" * 32
            )  # the workers load their libraries once
            print(
                "million pixels   file, MB   bare detection   stored: median, most   overlay: median, most"
                "   overlay / bare   processor time"
            )
            for size in sizes:
                rows = []
                for number, file in enumerate(FILES):
                    jpeg = as_taken(PHOTOS / file, size)
                    for turn in range(TIMES):
                        time.sleep(PAUSE_S)
                        worked = processor_s(server.process.pid)
                        bare = bare_s(jpeg)
                        stored, shown, _ = phone.photograph(jpeg, f"{size:08d}{number:08d}{turn:016d}")
                        worked = processor_s(server.process.pid) - worked
                        rows.append((len(jpeg) / 1e6, bare, stored, shown, worked))
                mb, bares, storeds, showns, workeds = (list(column) for column in zip(*rows, strict=True))
                ratio = median(s / b for s, b in zip(showns, bares, strict=True))
                print(
                    f"{size:14}   {median(mb):8.1f}   {median(bares):12.2f} s   {median(storeds):14.2f}, "
                    f"{max(storeds):4.2f} s   {median(showns):14.2f}, {max(showns):5.2f} s   {ratio:14.1f}"
                    f"   {median(workeds):12.2f} s"
                )
        finally:
            server.stop()


if __name__ == "__main__":
    main()
