"""Simulated hands are kept whole or not at all, made on where they stopped, and made again when damaged."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

from diagnosing import of_kinds
from handsel.data.library_store import (
    CACHE_VARIABLE,
    build_library,
    cache_folder,
    library_place,
    load_library,
    rounds_there,
)
from handsel.data.load_design import load_design
from handsel.diagnosis import library as simulated
from handsel.diagnosis.library import ROUNDS, scale_on_grid
from handsel.diagnosis.likelihood import Seen
from handsel.diagnosis.posterior import diagnose
from handsel.errors import BadFile

CATALOGUE = of_kinds("wrist-tight", "loop-long")
SEEN = [Seen(of="cuff-drops-freely", answer="no"), Seen(of="lowered-rest-angle", value=60.0)]


def place_in(folder: Path, scale: float = 1.0):
    return library_place(CATALOGUE, load_design("linden"), "0" * 64, scale, cache=folder)


@pytest.fixture(scope="module", autouse=True)
def _few_hands():
    """A tenth of a round's hands: how a round is kept does not hang on how many are in it."""
    with pytest.MonkeyPatch.context() as patch:
        for name, count in {"FAULTLESS": 24, "SINGLE": 4, "PAIR": 1}.items():
            patch.setattr(simulated, name, count)
        yield


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    """Two rounds in a cache folder."""
    folder = tmp_path_factory.mktemp("cache")
    at = place_in(folder)
    build_library(at, rounds=(0, 1))
    return at


def test_there_is_nothing_before_anything_was_made(tmp_path):
    assert load_library(place_in(tmp_path)) is None
    assert rounds_there(place_in(tmp_path)) == 0


def test_a_half_built_library_answers(built):
    library = load_library(built)
    assert library is not None
    assert library.rounds == 2 < ROUNDS
    found = diagnose(library, CATALOGUE, SEEN)
    assert found.causes[0].fault.id == "wrist-tight"
    assert found.causes[0].probability > 0.9
    assert found.library_share == pytest.approx(2 / ROUNDS)


def test_an_interrupted_build_goes_on_where_it_stopped(tmp_path):
    at = place_in(tmp_path)
    build_library(at, rounds=(0,))
    first = at.file(0).read_bytes()
    (at.folder / ".0123.part").write_bytes(b"cut off in the middle")
    told: list[tuple[int, int]] = []
    library = build_library(at, rounds=(0, 1), progress=lambda done, total: told.append((done, total)))
    assert told == [(1, 2), (2, 2)]
    assert at.file(0).read_bytes() == first  # kept, not made again
    assert library.rounds == 2


def test_a_build_that_is_stopped_leaves_the_rest_for_another_time(tmp_path):
    at = place_in(tmp_path)
    library = build_library(at, rounds=(0, 1), stop=lambda: True)
    assert library.rounds == 1
    assert rounds_there(at) == 1


@pytest.mark.parametrize("damage", ["cut", "flipped", "other", "empty", "pickled"])
def test_a_damaged_file_is_refused_and_made_again(built, tmp_path, damage):
    at = place_in(tmp_path)
    at.folder.mkdir(parents=True)
    whole = built.file(0).read_bytes()
    if damage == "cut":
        at.file(0).write_bytes(whole[: len(whole) // 2])
    elif damage == "flipped":
        middle = len(whole) // 2
        at.file(0).write_bytes(whole[:middle] + bytes([whole[middle] ^ 0xFF]) + whole[middle + 1 :])
    elif damage == "other":  # a round of another number under this name
        at.file(0).write_bytes(built.file(1).read_bytes())
    elif damage == "empty":
        at.file(0).write_bytes(b"")
    else:
        with at.file(0).open("wb") as file:
            np.savez(file, key=np.array([{"a": 1}], dtype=object))
    assert load_library(at) is None
    assert build_library(at, rounds=(0,)).rounds == 1
    again = load_library(at)
    original = load_library(built)
    assert again is not None
    assert original is not None
    n = len(again.stratum)
    assert np.array_equal(again.seen, original.seen[:, :n])  # the same hands, to the last bit


def test_the_folder_can_be_deleted_at_any_time(built, tmp_path):
    at = place_in(tmp_path)
    build_library(at, rounds=(0,))
    at.file(0).unlink()
    at.folder.rmdir()
    assert load_library(at) is None


def test_a_folder_that_cannot_be_written_says_so(tmp_path):
    (tmp_path / "libraries").write_text("a file where a folder belongs")
    with pytest.raises(BadFile, match=CACHE_VARIABLE):
        build_library(place_in(tmp_path), rounds=(0,))


def test_the_nearest_scale_of_the_grid_is_used(tmp_path):
    assert place_in(tmp_path, 1.01).key == place_in(tmp_path, 1.0).key
    assert place_in(tmp_path, 1.02).key != place_in(tmp_path, 1.0).key
    design = load_design("linden")
    assert scale_on_grid(design, 1.012) == pytest.approx(1.0)
    assert scale_on_grid(design, 1.013) == pytest.approx(1.025)
    assert scale_on_grid(design, 9.0) == pytest.approx(design.scale_max_ratio)


def test_the_cache_folder_follows_the_system_and_the_variable(monkeypatch, tmp_path):
    monkeypatch.setenv(CACHE_VARIABLE, str(tmp_path / "own"))
    assert cache_folder() == tmp_path / "own"
    monkeypatch.delenv(CACHE_VARIABLE)
    if sys.platform.startswith("linux"):
        monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
        assert cache_folder() == tmp_path / "handsel"
        monkeypatch.setenv("XDG_CACHE_HOME", "relative")  # not allowed by the custom, so not used
        assert cache_folder() == Path.home() / ".cache" / "handsel"
