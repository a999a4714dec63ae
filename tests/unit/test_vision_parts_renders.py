"""A small sample of the rendered kits: read truly, or left open; the study reads them all."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from handsel.data.load_design import load_design
from handsel.data.photo_file import colour_from_bytes, photo_from_bytes, read_bytes
from handsel.vision.camera import Lens
from handsel.vision.mat.view import MatCause, MatRefused
from handsel.vision.parts.looking import PartsSeen, State, look_at_parts

FOLDER = Path(__file__).parents[1] / "data" / "vision" / "parts"
TRUTHS = {
    t["name"]: t for t in map(json.loads, (FOLDER / "truth.jsonl").read_text(encoding="utf-8").splitlines())
}


def looked(name: str) -> tuple[PartsSeen, dict[str, Any]]:
    truth = TRUTHS[name]
    data = read_bytes(FOLDER / truth["file"])
    seen = look_at_parts(
        np.asarray(colour_from_bytes(data, name=name)),
        design=load_design("linden"),
        scale_ratio=truth["scale"],
        side=truth["side"],
        lens=Lens(f35_mm=photo_from_bytes(data, name=name).f35_mm),
        expected=set(truth["parts"]),
    )
    return seen, truth


def test_every_photo_has_its_truth_and_is_small() -> None:
    files = {p.stem for p in FOLDER.glob("*.jpg")}
    assert files == set(TRUTHS)
    assert sum(p.stat().st_size for p in FOLDER.glob("*.jpg")) < 6_000_000


def test_a_photo_without_a_mat_is_refused() -> None:
    with pytest.raises(MatRefused) as told:
        looked("no-mat")
    assert told.value.cause is MatCause.NO_MAT


def test_what_is_called_right_is_right_and_most_is() -> None:
    seen, truth = looked("clean-big-orange")
    right = [s for s in seen.seen if s.state is State.RIGHT]
    assert len(right) >= 0.9 * len(truth["things"])
    for s in right:
        true = min(truth["things"], key=lambda t: np.hypot(t["x_mm"] - s.x_mm, t["y_mm"] - s.y_mm))
        assert true["state"] == "right"
        assert true["part"] in s.names
