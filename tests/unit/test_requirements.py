"""The pinned lists cover what pyproject.toml asks for, hold every file to its hash, and name no address.

The rule and its reasons: docs/decisions/0002-pinned-hashes.md.
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[2]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
EXTRAS = PROJECT["optional-dependencies"]
DEFAULT = PROJECT["dependencies"] + EXTRAS["meshes"] + EXTRAS["planning"]
LISTS = {"requirements.txt": DEFAULT, "requirements-dev.txt": DEFAULT + EXTRAS["dev"]}


def pins(name: str) -> dict[str, tuple[str, list[str]]]:
    """Package -> (exact version, hashes). Anything that is not such an entry is an error here."""
    text = (ROOT / name).read_text(encoding="utf-8").replace("\\\n", " ")
    found: dict[str, tuple[str, list[str]]] = {}
    for line in filter(None, (line.strip() for line in text.splitlines())):
        entry = re.fullmatch(r"([A-Za-z0-9._-]+)==([0-9][\w.+!]*)((?:\s+--hash=sha256:[0-9a-f]{64})+)", line)
        assert entry, f"{name}: not a plain pin with hashes: {line[:80]}"
        package, version, hashes = entry.groups()
        assert canonicalize_name(package) not in found, f"{name}: {package} stands there twice"
        found[canonicalize_name(package)] = (version, re.findall("[0-9a-f]{64}", hashes))
    return found


@pytest.mark.parametrize("name", LISTS)
def test_what_the_project_asks_for_is_pinned_within_its_bounds(name):
    pinned = pins(name)
    asked = [Requirement(line) for line in LISTS[name]]
    missing = [r.name for r in asked if canonicalize_name(r.name) not in pinned]
    outside = [r.name for r in asked if r.name not in missing
               and not r.specifier.contains(pinned[canonicalize_name(r.name)][0])]
    assert not missing
    assert not outside


@pytest.mark.parametrize("name", LISTS)
def test_every_pin_has_the_hash_of_more_than_one_file(name):
    """A wheel and a source archive at least: a single hash would fit a single kind of computer."""
    alone = {p for p, (_, hashes) in pins(name).items() if len(set(hashes)) < 2}
    assert not alone


def test_the_builder_is_pinned_too():
    backend = Requirement(tomllib.loads((ROOT / "pyproject.toml").read_text())["build-system"]["requires"][0])
    assert backend.specifier.contains(pins("requirements.txt")[canonicalize_name(backend.name)][0])


def test_the_developers_list_is_the_default_list_and_more():
    default, dev = pins("requirements.txt"), pins("requirements-dev.txt")
    assert {p: v for p, (v, _) in default.items()} == {p: dev[p][0] for p in default}
    assert len(dev) > len(default)


WITHOUT_ADDRESS = [*LISTS, "requirements.in", "requirements-dev.in", "pyproject.toml", "Makefile", ".ci/run"]
ADDRESS = re.compile(r"\w+://|--(extra-)?index-url|--trusted-host|--find-links=|\b[\w-]+\.(org|com|io|net)\b")


@pytest.mark.parametrize("name", WITHOUT_ADDRESS)
def test_no_file_names_a_download_address(name):
    assert not ADDRESS.search((ROOT / name).read_text(encoding="utf-8"))
