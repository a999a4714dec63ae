"""What a fresh process loads, and so how long a person waits (timed in benchmarks/cold_start.py).

On a volunteer's laptop each of the heavy packages costs a second or more by itself, and none of them is
needed to judge one hand. These tests start a process of their own and read its sys.modules at the end.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
EXAMPLE = ROOT / "examples" / "01-good-hand.toml"

HEAVY = {"scipy", "trimesh", "manifold3d", "matplotlib", "cv2", "django", "mujoco", "PIL", "networkx", "lxml",
         "pandas", "statsmodels", "hypothesis", "pytest"}
# Outside packages that each call may load: complete, so that a new one has to be let in here on purpose.
FOR_HELP = {"click"}
FOR_ASSESS = FOR_HELP | {"numpy", "pydantic", "pydantic_core", "annotated_types", "typing_extensions",
                         "typing_inspection", "typst", "rich", "pygments", "markdown_it", "mdurl", "segno"}

# Runs the command as the installed script does, then writes down what is loaded.
PROBE = """
import json, sys
out, *arguments = sys.argv[1:]
before = set(sys.modules)
from handsel.cli import main
sys.argv = ["handsel", *arguments]
status = None
try:
    if arguments:
        main()
except SystemExit as stop:
    status = stop.code or 0
tops = sorted({name.partition(".")[0] for name in set(sys.modules) - before})
with open(out, "w") as file:
    json.dump({"status": status, "tops": tops}, file)
"""
ENV = os.environ | {"PYTHONPATH": str(ROOT / "src")}


def loaded_by(*arguments: str, folder: Path, probe: str = PROBE) -> tuple[int | None, set[str]]:
    """Exit status (None: import only) and the top-level outside packages that were loaded."""
    out = folder / "loaded.json"
    done = subprocess.run([sys.executable, "-c", probe, str(out), *arguments], cwd=folder, env=ENV,
                          capture_output=True, text=True, timeout=120, check=False)
    assert out.exists(), done.stderr
    told = json.loads(out.read_text())
    ours = set(sys.stdlib_module_names) | {"handsel"}
    return told["status"], {top for top in told["tops"] if top not in ours and not top.startswith("_")}


def test_the_probe_sees_a_heavy_import(tmp_path):
    """Without this, a probe that reports nothing would pass everything below."""
    _, tops = loaded_by(folder=tmp_path, probe=PROBE.replace("status = None", "status = None; import scipy"))
    assert {"scipy", "numpy", "click"} <= tops


@pytest.mark.parametrize("arguments", [[], ["--help"], ["--version"]], ids=["import", "help", "version"])
def test_help_loads_click_and_nothing_else(arguments, tmp_path):
    status, tops = loaded_by(*arguments, folder=tmp_path)
    assert status == (0 if arguments else None)
    assert tops == FOR_HELP


@pytest.mark.parametrize("more", [[], ["--json"], ["--out", "out"]], ids=["text", "json", "files"])
def test_assess_loads_nothing_heavy(more, tmp_path):
    status, tops = loaded_by("assess", str(EXAMPLE), *more, folder=tmp_path)
    assert status == 0
    assert not tops & HEAVY
    assert tops <= FOR_ASSESS
