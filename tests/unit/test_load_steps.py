"""Build steps: a file beside the protocol, held against it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from handsel.data.load_steps import BUNDLED, build_stages, load_build_steps
from handsel.errors import BadFile
from inspecting import bundled


def test_every_hold_point_has_its_stage_and_every_build_step_is_reported_once() -> None:
    stages = build_stages(bundled())
    assert [s.hold_point for s in stages] == [h.id for h in bundled().hold_points]
    assert sorted(step.reports for s in stages for step in s.steps if step.reports) == sorted(
        s.id for s in bundled().steps
    )


def test_no_step_is_told_before_the_hold_point_it_comes_after() -> None:
    protocol = bundled()
    for stage in build_stages(protocol):
        for told in stage.steps:
            step = protocol.step(told.reports)
            if step is not None:
                assert protocol.stage(step.after) < protocol.stage(stage.hold_point), told.id


def test_a_protocol_without_a_file_shows_its_own_steps() -> None:
    stages = build_stages(replace(bundled(), id="some-other"))
    assert [step.reports for s in stages for step in s.steps] == [
        "assembled",
        "strung-up",
        "padded",
        "sealed",
        "grip-tips-on",
    ]
    assert all(step.how for s in stages for step in s.steps)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('reports = "sealed"', 'reports = "glued"', "no build step"),
        ('reports = "sealed"\n', "", "exactly once"),
        ('id = "trim-tails"', 'id = "seal-knots"', "twice"),
        ('hold_point = "parts"', 'hold_point = "bits"', "not the hold points"),
        ("minutes = 3.0", "minutes = -3.0", "0 or more"),
        ('how = "Put a plain', 'hew = "Put a plain', "not known"),
    ],
)
def test_a_damaged_file_is_refused_in_words(tmp_path: Path, old: str, new: str, says: str) -> None:
    text = (BUNDLED / "wrist-hand-1.toml").read_text(encoding="utf-8")
    assert old in text
    path = tmp_path / "steps.toml"
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(BadFile, match=says):
        load_build_steps(path, bundled())
