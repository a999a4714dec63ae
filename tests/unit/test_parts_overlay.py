"""The picture of a kit with what was seen drawn on it."""

from __future__ import annotations

import io

import numpy as np
from PIL import Image

from handsel.documents.parts_overlay import parts_overlay
from handsel.vision.parts.looking import PartSeen, PartsSeen, State


def part(state: State, x: float) -> PartSeen:
    ring = tuple((x + dx, 100.0 + dy) for dx, dy in ((0, 0), (60, 0), (60, 90), (0, 90)))
    return PartSeen(
        state=state,
        names=("index_tip",),
        title="index finger, tip (short)",
        confidence=0.9,
        x_mm=0.0,
        y_mm=0.0,
        length_mm=38.0,
        u_length_mm=0.2,
        scale_ratio=1.0,
        u_scale_ratio=0.004,
        flat_side_down=True,
        reason="",
        ask=None,
        outline_px=ring,
    )


def seen(*parts: PartSeen) -> PartsSeen:
    return PartsSeen(
        design="linden",
        scale_ratio=1.0,
        side="right",
        mat="A4",
        seen=parts,
        missing=(),
        expected_count=2,
        print_ratio=1.0,
        u_print_ratio=0.001,
        print_told_by=("card",),
        print_is_wrong=False,
        marker_count=12,
        tilt_deg=3.0,
        px_per_mm=4.0,
        u_height_ratio=0.01,
        picture_px=(800, 600),
        notes=(),
        sentence="",
    )


def drawn(*parts: PartSeen, size: tuple[int, int] = (800, 600)) -> np.ndarray:  # type: ignore[type-arg]
    picture = Image.new("RGB", size, (128, 128, 128))
    picture.info["comment"] = b"where it was taken"
    data = parts_overlay(picture, seen(*parts))
    assert b"where it was taken" not in data
    return np.asarray(Image.open(io.BytesIO(data)).convert("RGB")).astype(int)


def test_each_outline_is_drawn_where_it_is_and_nowhere_else() -> None:
    picture = drawn(part(State.RIGHT, 200.0))
    changed = np.abs(picture - 128).max(2) > 25
    assert changed[97:104, 210:250].any(1).any()
    assert changed[188:194, 205:215].any()
    assert not changed[:80].any()
    assert not changed[:, 300:].any()


def test_right_and_wrong_differ_in_form_and_not_only_in_colour() -> None:
    def gaps(state: State) -> int:
        ring = [(200.0, 100.0 + k) for k in range(0, 200, 4)]
        one = part(state, 200.0)
        object.__setattr__(one, "outline_px", tuple(ring + [(260.0, 300.0), (260.0, 100.0)]))
        column = drawn(one)[110:280, 199:203].mean(1)
        dark = np.abs(column - np.array([255, 253, 247])).sum(1) > 250
        return int(np.abs(np.diff(dark.astype(int))).sum())

    assert gaps(State.RIGHT) <= 1 < gaps(State.EXTRA)


def test_a_smaller_copy_of_the_photo_is_drawn_on_at_its_own_size() -> None:
    picture = drawn(part(State.FOREIGN, 200.0), size=(400, 300))
    changed = np.abs(picture - 128).max(2) > 25
    assert changed[48:53, 105:125].any()
    assert not changed[:, 240:].any()
