"""The wheel is whole: from a folder of wheels, offline, into an empty environment, and it does the job.

This is the way of a laptop at a build day. `make bundle` fetches the pinned files; all after that is offline.
"""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
import zipfile
from dataclasses import dataclass
from pathlib import Path

import pytest

import handsel

ROOT = Path(__file__).parents[2]
EXAMPLE = ROOT / "examples" / "01-good-hand.toml"
pytestmark = pytest.mark.slow

# An outer make, our own source path and a machine's pip settings must not help or hinder what runs below.
PLAIN = {k: v for k, v in os.environ.items() if not k.startswith(("MAKE", "MFLAGS", "PYTHON"))}
OFFLINE = {k: v for k, v in PLAIN.items() if not k.startswith("PIP_")} | {"PIP_CONFIG_FILE": os.devnull,
                                                                          "PIP_NO_INDEX": "1"}


def run(*command: str | Path, cwd: Path, env: dict[str, str]) -> str:
    words = [str(word) for word in command]
    done = subprocess.run(words, cwd=cwd, env=env, capture_output=True, text=True, timeout=900, check=False)
    assert done.returncode == 0, f"{' '.join(words)}\n{done.stdout[-2000:]}\n{done.stderr[-2000:]}"
    return done.stdout


@dataclass(frozen=True)
class Bundle:
    folder: Path
    told: str            # what make printed

    @property
    def wheel(self) -> Path:
        [wheel] = self.folder.glob(f"handsel-{handsel.__version__}-py3-none-any.whl")
        return wheel


@pytest.fixture(scope="module")
def bundle(tmp_path_factory) -> Bundle:
    folder = tmp_path_factory.mktemp("hall") / "handsel-bundle"
    told = run("make", "bundle", f"BUNDLE={folder}", f"PYTHON={sys.executable}", cwd=ROOT, env=PLAIN)
    return Bundle(folder, told)


@pytest.fixture(scope="module")
def laptop(bundle) -> Path:
    """An empty environment with handsel and its hard dependencies only; returns its bin folder."""
    home = bundle.folder.parent
    run(sys.executable, "-m", "venv", "handsel-env", cwd=home, env=OFFLINE)
    programs = home / "handsel-env" / ("Scripts" if os.name == "nt" else "bin")
    # Not compiled beforehand: of thousands of modules these tests use a few hundred, which Python compiles itself.
    run(programs / "python", "-m", "pip", "install", "--no-compile", "--find-links", bundle.folder, "handsel", cwd=home,
        env=OFFLINE)
    return programs


def test_every_file_of_the_package_is_in_the_wheel(bundle):
    sources = {path.relative_to(ROOT / "src").as_posix() for path in (ROOT / "src/handsel").rglob("*")
               if path.is_file() and "__pycache__" not in path.parts}
    packed = set(zipfile.ZipFile(bundle.wheel).namelist())
    assert sources <= packed
    assert any(name.endswith(".toml") for name in packed)
    assert any(name.endswith("licenses/LICENSE") for name in packed)


def test_the_printed_command_installs_all_of_it_offline(bundle, laptop, tmp_path):
    """Resolved without installing: the optional parts are large, and that they unpack is not in question."""
    [line] = re.findall(r"^ +(\S+python) (-m pip install .*)$", bundle.told, re.MULTILINE)
    arguments = [word.strip('"') for word in line[1].split()]
    report = tmp_path / "report.json"
    run(laptop / "python", *arguments, "--dry-run", "--ignore-installed", "--report", report,
        cwd=bundle.folder.parent, env=OFFLINE)
    got = {item["metadata"]["name"].lower() for item in json.loads(report.read_text())["install"]}
    assert {"handsel", "numpy", "scipy", "trimesh", "manifold3d", "typst"} <= got


def test_the_dependencies_are_complete_and_no_more(laptop, tmp_path):
    run(laptop / "python", "-m", "pip", "check", cwd=tmp_path, env=OFFLINE)
    listed = run(laptop / "python", "-m", "pip", "list", "--format=json", cwd=tmp_path, env=OFFLINE)
    names = {item["name"].lower() for item in json.loads(listed)}
    assert {"handsel", "numpy", "pydantic", "typst"} <= names
    assert not names & {"scipy", "trimesh", "manifold3d", "matplotlib", "mujoco", "pytest"}


def test_it_runs_from_another_folder(laptop, tmp_path):
    assert handsel.__version__ in run(laptop / "handsel", "--version", cwd=tmp_path, env=OFFLINE)
    where = run(laptop / "python", "-c", "import handsel; print(handsel.__file__)", cwd=tmp_path, env=OFFLINE)
    assert Path(where.strip()).is_relative_to(laptop.parent)


def test_it_does_the_main_job_from_another_folder(laptop, tmp_path):
    told = run(laptop / "handsel", "assess", EXAMPLE, "--out", "out", cwd=tmp_path, env=OFFLINE)
    assert told.strip()
    made = {path.suffix: path.read_bytes() for path in (tmp_path / "out").rglob("*") if path.is_file()}
    assert made[".pdf"].startswith(b"%PDF-")
    assert b"<svg" in made[".svg"]
