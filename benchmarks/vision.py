"""Time to read a photo, as a ratio to OpenCV's bare marker detection of the same picture; and naive readings' errors.

    python benchmarks/vision.py [2 8 12]

Processor time on one thread, the least of seven calls, the file already decoded for both. The photos are the shared
renders that can be read, brought to as many million pixels. The naive readings take the same corners.
"""

from __future__ import annotations

import csv
import os
import sys
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median

os.environ.setdefault(
    "OPENBLAS_NUM_THREADS", "1"
)  # before numpy: small matrices gain nothing from a second thread

import cv2
import numpy as np

from handsel.data.photo_file import read_photo
from handsel.vision.camera import Lens, focal_px
from handsel.vision.cards import CUFF, PALM
from handsel.vision.finding import scaled
from handsel.vision.rest_angle.reading import measure_rest_angle

ROOT = Path(__file__).parents[1]
PHOTOS = ROOT / "tests" / "data" / "vision" / "shared"
SIZES_MP = (2, 8, 12)
CALLS = 7
MOST_RATIO = 1.5  # what is aimed at


def took_ms(*calls: Callable[[], object]) -> list[float]:
    """The least processor time of each, taken in turn, so that a busy machine is busy for all of them."""
    times: list[list[float]] = [[] for _ in calls]
    for _ in range(CALLS):
        for call, mine in zip(calls, times, strict=True):
            began = time.process_time()
            call()
            mine.append(1e3 * (time.process_time() - began))
    return [min(t) for t in times]


def naive_deg(gray: np.ndarray, f35_mm: float | None) -> tuple[float, float] | None:
    """Rows compared in the picture; two separate poses with a 26 mm lens where the file is silent."""
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50))
    found, numbers, _ = detector.detectMarkers(gray)
    corners = {int(n): c.reshape(4, 2).astype(float) for n, c in zip(np.ravel(numbers), found, strict=True)}
    if not {PALM, CUFF} <= set(corners):
        return None
    sign = 1.0 if corners[PALM].mean(0)[0] > corners[CUFF].mean(0)[0] else -1.0
    rows = {n: c[1] + c[2] - c[0] - c[3] for n, c in corners.items()}
    lean = {n: np.degrees(np.arctan2(r[1], r[0])) for n, r in rows.items()}
    flat = sign * ((lean[CUFF] - lean[PALM] + 180.0) % 360.0 - 180.0)
    h, w = gray.shape
    f = focal_px(f35_mm or 26.0, w, h)
    matrix = np.array([[f, 0, (w - 1) / 2], [0, f, (h - 1) / 2], [0, 0, 1.0]])
    square = np.array([[-8, 8, 0], [8, 8, 0], [8, -8, 0], [-8, -8, 0]], float)
    turn = {
        n: cv2.Rodrigues(cv2.solvePnP(square, c, matrix, None, flags=cv2.SOLVEPNP_IPPE_SQUARE)[1])[0]
        for n, c in corners.items()
        if n in (PALM, CUFF)
    }
    between = turn[PALM].T @ turn[CUFF]
    apart = -sign * np.degrees(np.arctan2(between[1, 0] - between[0, 1], between[0, 0] + between[1, 1]))
    return float(flat), float(apart)


def main() -> None:
    cv2.setNumThreads(1)
    with (PHOTOS / "truth.csv").open(encoding="utf-8") as file:
        truth = [row for row in csv.DictReader(file) if row["expect"] == "measure"]
    photos = {row["file"]: read_photo(PHOTOS / row["file"]) for row in truth}
    bare = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50))
    print("million pixels   bare detection   this reading   of the sums   least   median   most   share above 1.5")
    for size in [int(word) for word in sys.argv[1:]] or SIZES_MP:
        pairs = []
        for photo in photos.values():
            gray = scaled(photo.gray, (size * 1e6 / photo.gray.size) ** 0.5)
            lens = Lens(f35_mm=photo.f35_mm)
            pairs.append(
                took_ms(
                    lambda g=gray: bare.detectMarkers(g),
                    lambda g=gray, f=lens: measure_rest_angle(g, lens=f),
                )
            )
        ratios = [ours / theirs for theirs, ours in pairs]
        theirs, ours = (sum(p[k] for p in pairs) / len(pairs) for k in (0, 1))
        above = sum(r > MOST_RATIO for r in ratios) / len(ratios)
        print(
            f"{size:14}   {theirs:11.0f} ms   {ours:9.0f} ms   {ours / theirs:11.2f}   {min(ratios):5.2f}   "
            f"{median(ratios):6.2f}   {max(ratios):4.2f}   {100 * above:11.0f} %"
        )
    print(
        "\nerrors, degrees                                     set A: 95 % within  worst   set B: 95 % within  worst"
    )
    errors: dict[str, dict[str, list[float]]] = {}
    for row in truth:
        photo, true = photos[row["file"]], float(row["rest_angle_deg"])
        reading = measure_rest_angle(photo.gray, lens=Lens(f35_mm=photo.f35_mm))
        naive = naive_deg(photo.gray, photo.f35_mm)
        told = {"this reading": reading.rest_angle_deg}
        if naive is not None:
            told |= {
                "rows of the cards compared in the picture": naive[0],
                "two separate poses, corners as detected": naive[1],
            }
        for name, angle in told.items():
            errors.setdefault(name, {}).setdefault(row["set"], []).append(abs(angle - true))
    for name, sets in sorted(errors.items()):
        cells = [f"{np.percentile(e, 95):18.2f}  {max(e):5.2f}" for _, e in sorted(sets.items())]
        print(f"{name:50}  {'   '.join(cells)}")


if __name__ == "__main__":
    main()
