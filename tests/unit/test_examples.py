"""Every example says what its comment promises: exit status, decision, kind of fix, and words to find."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from handsel.cli import handsel

ROOT = Path(__file__).parents[2]
EXAMPLES = ROOT / "examples"

# example: exit status, decision, kinds of fix that are right, words that the answer on the screen holds
EXPECTED = {
    "01-good-hand": (0, "release", {"nothing to change"}, ["Good.", "36.1°"]),
    "02-shallow-screws-forward": (
        1,
        "rework",
        {"restring"},
        ["Not yet.", "Replace", "mm", "22.0°", "clearly"],
    ),
    "03-a-little-shallow": (1, "rework", {"adjust"}, ["Not yet.", "both tension screws in", "half a turn"]),
    "04-too-close-to-tell": (
        1,
        "not decided yet",
        {"adjust", "take a reading first"},
        ["Not decided yet", "69 %", "No number of further readings settles it"],
    ),
    "05-screws-pulled-in": (1, "rework", {"restring"}, ["Not yet.", "front of the block", "10.0 turn"]),
    "06-passes-but-cannot-close": (
        1,
        "rework",
        {"adjust", "restring"},
        ["Not yet.", "Finger loops and thumb cord fit together", "slack"],
    ),
    "07-jammed-whippletree": (
        1,
        "rework",
        {"put the parts right first"},
        ["Not yet.", "whippletree still rocks", "Free the whippletree"],
    ),
    "08-swapped-proximals": (1, "rework", {"put the parts right first"}, ["Not yet.", "thumb proximal"]),
    "09-cracked-cuff": (1, "scrap part", {"put the parts right first"}, ["Not yet.", "crack", "new cuff"]),
    "10-sealed-too-early": (
        1,
        "not decided yet",
        {"take a reading first", "nothing to change"},
        ["Not decided yet", "Out of order", "can no longer be seen", "Or "],
    ),
    "11-missing-answers": (
        1,
        "not decided yet",
        {"take a reading first"},
        ["Not decided yet", "checks open"],
    ),
    "12-one-loop-long": (1, "rework", {"restring"}, ["Not yet.", "index and middle loop", "level"]),
}


def test_the_table_names_every_example():
    assert sorted(p.stem for p in EXAMPLES.glob("*.toml")) == sorted(EXPECTED)
    assert len(EXPECTED) >= 11


@pytest.mark.parametrize("name", sorted(EXPECTED))
def test_example(name, tmp_path):
    status, whole, kinds, words = EXPECTED[name]
    path = EXAMPLES / f"{name}.toml"
    told = CliRunner().invoke(handsel, ["assess", str(path), "--out", str(tmp_path)])
    assert told.exit_code == status, told.output
    plain = " ".join(told.stdout.split()).casefold()
    assert [w for w in words if w.casefold() not in plain] == []
    [one] = json.loads((tmp_path / f"{name}.json").read_text(encoding="utf-8"))["assessments"]
    assert (one["whole"], one["conforms"]) == (whole, status == 0)
    assert one["fix"]["kind"] in kinds


def test_each_example_says_on_top_what_happened_and_what_to_expect():
    for path in EXAMPLES.glob("*.toml"):
        top = path.read_text(encoding="utf-8").split("\nformat", 1)[0]
        assert top.startswith("# "), path
        assert "The tool should say" in top, path


def test_one_real_process_with_one_number_changed(tmp_path):
    """The README's five minutes: the good hand, its angle lowered, no longer conforms."""
    text = (EXAMPLES / "01-good-hand.toml").read_text(encoding="utf-8")
    changed = text.replace("readings_deg = [36.1, 35.8, 36.4]", "value_deg = 27")
    assert changed != text
    (tmp_path / "my-hand.toml").write_text(changed, encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "handsel.cli", "assess", "my-hand.toml"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
        env={"PYTHONPATH": str(ROOT / "src"), "PATH": "/usr/bin:/bin", "PYTHONUTF8": "1"},
    )
    assert done.returncode == 1, done.stderr
    assert done.stdout.startswith("Not yet. ")
    assert "27.0°" in done.stdout
