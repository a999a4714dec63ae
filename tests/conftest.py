"""Settings that hold for every test."""

from __future__ import annotations

import os
import shutil
import sys
import tempfile
from pathlib import Path

import pytest
from hypothesis import settings

# The machine may be busy with something else: a slow example is no broken law.
settings.register_profile("handsel", deadline=None)
settings.load_profile("handsel")

HERE = Path(__file__).parent
CACHE = pytest.StashKey[str]()

# A file's tests stay in one process. Those that take longest come first, so that at the end no process is left alone
# with one of them; by itself the distributor would leave files of few tests, which these are, for the end.
# Those that wait for a browser or a server lie between those that reckon, so that a core has always something to do.
LONGEST_FIRST = (
    "browser/test_accessibility", "unit/test_vision_parts.", "browser/test_journeys", "unit/test_readme",
    "bench/test_serve", "bench/test_fuzz", "bench/test_round_the_gate", "browser/", "unit/test_wheel",
    "bench/test_kill", "bench/test_backup", "bench/test_measure_angle", "unit/test_vision_", "unit/test_shapes.",
    "unit/test_library_store", "unit/test_c", "independent/",
)  # fmt: skip


def pytest_configure(config: pytest.Config) -> None:
    """One folder of simulated hands for all processes of this run: what someone has at home decides nothing.

    Long work lowers the priority of its process for good; here it runs inside the tests' own.

    The tests start hundreds of processes of the program. Each would compile all of its modules anew where writing
    them compiled is switched off, as it is on some machines; here the first one does it for all.
    """
    os.nice = lambda step: 0
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    sys.dont_write_bytecode = False
    if hasattr(config.option, "loadscopereorder"):
        config.option.loadscopereorder = False
    if "PYTEST_XDIST_WORKER" not in os.environ:
        os.environ["HANDSEL_CACHE"] = config.stash[CACHE] = tempfile.mkdtemp(prefix="handsel-tests-")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The longest first, all others in the order in which they were found."""

    def turn(item: pytest.Item) -> int:
        path = item.path.relative_to(HERE).as_posix() if item.path.is_relative_to(HERE) else ""
        return next((n for n, start in enumerate(LONGEST_FIRST) if path.startswith(start)), len(LONGEST_FIRST))

    items.sort(key=turn)


def pytest_unconfigure(config: pytest.Config) -> None:
    if CACHE in config.stash:
        shutil.rmtree(config.stash[CACHE], ignore_errors=True)
