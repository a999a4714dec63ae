"""Two lines drawn on a photo: which angle they show, which way it counts, and how little is known of it."""

from __future__ import annotations

import csv
from math import cos, radians, sin, sqrt
from pathlib import Path

import numpy as np
import pytest

from handsel.data.photo_file import read_photo
from handsel.errors import OutOfRange
from handsel.vision.camera import Lens
from handsel.vision.rest_angle.reading import measure_rest_angle
from handsel.vision.rest_angle.two_lines import (
    EDGES,
    OBLIQUITY,
    PLACING,
    PLACING_SD_RATIO,
    TwoLines,
    angle_of_lines,
    seen_aslant,
    u_obliquity_deg,
)

SIZE = (2000.0, 1500.0)
SHARED = Path(__file__).parents[1] / "data" / "vision" / "shared"


def drawn(
    angle_deg: float, *, fingers: str = "right", roll_deg: float = 0.0, length: float = 600.0
) -> TwoLines:
    """Both lines from a wrist in the middle of the picture, the palm's turned by a roll of the camera."""
    sign, wrist = (1.0 if fingers == "right" else -1.0), (1000.0, 750.0)

    def end(turn_deg: float) -> tuple[float, float]:
        t = radians(turn_deg)
        return (wrist[0] + length * cos(t), wrist[1] + length * sin(t))

    palm = roll_deg + (0.0 if fingers == "right" else 180.0)
    return TwoLines(palm=(wrist, end(palm)), cuff=(wrist, end(palm + 180.0 + sign * angle_deg)))


@pytest.mark.parametrize("fingers", ["left", "right"])
@pytest.mark.parametrize("roll_deg", [-20.0, 0.0, 13.0])
@pytest.mark.parametrize("angle_deg", [-10.0, 0.0, 30.0, 47.5, 89.0])
def test_a_raised_elbow_end_counts_positive_whichever_way_the_hand_lies(
    fingers: str, roll_deg: float, angle_deg: float
) -> None:
    found = angle_of_lines([drawn(angle_deg, fingers=fingers, roll_deg=roll_deg)], size_px=SIZE)
    assert found.rest_angle_deg == pytest.approx(angle_deg, abs=1e-9)
    assert found.fingers_point == fingers


def test_the_contributions_add_up_and_the_interval_is_that_of_a_normal() -> None:
    found = angle_of_lines([drawn(36.0)], size_px=SIZE)
    assert set(found.contributions) == {PLACING, EDGES, OBLIQUITY}
    assert found.u_rest_angle_deg == pytest.approx(sqrt(sum(u * u for u in found.contributions.values())))
    assert found.high_deg - found.low_deg == pytest.approx(2 * 1.95996 * found.u_rest_angle_deg, rel=1e-4)


def test_placing_is_what_scattered_ends_really_do() -> None:
    sd, rng = PLACING_SD_RATIO * SIZE[0], np.random.default_rng(5)
    exact = drawn(36.0, length=400.0)
    got = []
    for _ in range(4000):
        shift = rng.normal(0.0, sd, (4, 2))
        ends = [(x + dx, y + dy) for (x, y), (dx, dy) in zip((*exact.palm, *exact.cuff), shift, strict=True)]
        lines = TwoLines(palm=(ends[0], ends[1]), cuff=(ends[2], ends[3]))
        got.append(angle_of_lines([lines], size_px=SIZE).rest_angle_deg)
    stated = angle_of_lines([exact], size_px=SIZE).contributions[PLACING]
    assert float(np.std(got)) == pytest.approx(stated, rel=0.05)


def test_longer_lines_are_surer() -> None:
    short, long = (
        angle_of_lines([drawn(36.0, length=x)], size_px=SIZE).contributions[PLACING] for x in (200.0, 600.0)
    )
    assert short == pytest.approx(3.0 * long)


def test_drawing_twice_shrinks_only_the_placing() -> None:
    once, twice = (angle_of_lines([drawn(36.0)] * n, size_px=SIZE) for n in (1, 2))
    assert twice.contributions[PLACING] < once.contributions[PLACING] / sqrt(2.0)
    for same in (EDGES, OBLIQUITY):
        assert twice.contributions[same] == once.contributions[same]


def test_placings_that_lie_far_apart_say_that_the_hand_is_unsteady() -> None:
    apart = angle_of_lines([drawn(33.0), drawn(39.0)], size_px=SIZE)
    steady = angle_of_lines([drawn(36.0), drawn(36.0)], size_px=SIZE)
    assert apart.rest_angle_deg == pytest.approx(36.0)
    assert apart.placing_sd_px > 1.3 * steady.placing_sd_px
    assert apart.u_rest_angle_deg > steady.u_rest_angle_deg


def test_from_aside_the_angle_looks_larger_and_from_above_smaller() -> None:
    # One slant alone squeezes one axis of the picture: tan of the angle changes by its cosine.
    assert seen_aslant(36.0, aside_deg=25.0, above_deg=0.0) == pytest.approx(
        np.degrees(np.arctan(np.tan(radians(36.0)) / cos(radians(25.0))))
    )
    assert seen_aslant(36.0, aside_deg=0.0, above_deg=25.0) == pytest.approx(
        np.degrees(np.arctan(np.tan(radians(36.0)) * cos(radians(25.0))))
    )
    assert u_obliquity_deg(45.0) > u_obliquity_deg(15.0) > 0.0
    with pytest.raises(OutOfRange):
        seen_aslant(36.0, aside_deg=85.0, above_deg=0.0)


@pytest.mark.parametrize(
    ("lines", "word"),
    [
        (TwoLines(palm=((100, 100), (700, 100)), cuff=((100, 100), (700, 90))), "no hand rests so"),
        (TwoLines(palm=((100, 100), (130, 100)), cuff=((900, 100), (300, 50))), "too short"),
        (TwoLines(palm=((900, 100), (900, 100)), cuff=((900, 100), (300, 50))), "too short"),
        (TwoLines(palm=((900, 100), (2100, 100)), cuff=((900, 100), (300, 50))), "outside"),
        (TwoLines(palm=((float("nan"), 100), (1500, 100)), cuff=((900, 100), (300, 50))), "outside"),
        (TwoLines(palm=((float("inf"), 100), (1500, 100)), cuff=((900, 100), (300, 50))), "outside"),
    ],
)  # fmt: skip
def test_lines_that_show_no_angle_are_refused_in_words(lines: TwoLines, word: str) -> None:
    with pytest.raises(OutOfRange) as refused:
        angle_of_lines([lines], size_px=SIZE)
    assert word in refused.value.what
    assert refused.value.do


def test_no_lines_at_all_are_refused() -> None:
    with pytest.raises(OutOfRange):
        angle_of_lines([], size_px=SIZE)
    with pytest.raises(OutOfRange):
        angle_of_lines([drawn(36.0)], size_px=(0.0, 100.0))


def test_on_photos_of_known_hands_the_stated_doubt_covers_the_error() -> None:
    """Lines along both reference lines as they lie in the picture: all that is left is the unknown view."""
    with (SHARED / "truth.csv").open(encoding="utf-8", newline="") as file:
        rows = [r for r in csv.DictReader(file) if r["set"] == "A"]
    assert len(rows) == 10
    shares = []
    for row in rows:
        photo = read_photo(SHARED / row["file"])
        seen = measure_rest_angle(
            photo.gray, lens=Lens(f35_mm=photo.f35_mm, whole_picture=photo.whole_picture)
        ).drawing
        palm, cuff = (
            tuple((float(x), float(y)) for x, y in line) for line in (seen.palm_line, seen.cuff_line)
        )
        found = angle_of_lines([TwoLines(palm=palm, cuff=cuff)], size_px=(photo.width_px, photo.height_px))  # type: ignore[arg-type]
        shares.append((found.rest_angle_deg - float(row["rest_angle_deg"])) / found.u_rest_angle_deg)
    assert sum(abs(s) < 2.0 for s in shares) >= 8
    assert max(abs(s) for s in shares) < 3.5
    assert max(abs(s) for s in shares) > 0.5  # and it is not merely everything
