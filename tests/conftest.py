"""Settings that hold for every test."""

from __future__ import annotations

import os
import shutil
import sys
import tempfile

import pytest
from hypothesis import settings

# The machine may be busy with something else: a slow example is no broken law.
settings.register_profile("handsel", deadline=None)
settings.load_profile("handsel")

CACHE = pytest.StashKey[str]()


def pytest_configure(config: pytest.Config) -> None:
    """One folder of simulated hands for all processes of this run: what someone has at home decides nothing.

    Long work lowers the priority of its process for good; here it runs inside the tests' own.

    The tests start hundreds of processes of the program. Each would compile all of its modules anew where writing
    them compiled is switched off, as it is on some machines; here the first one does it for all.
    """
    os.nice = lambda step: 0
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    sys.dont_write_bytecode = False
    if "PYTEST_XDIST_WORKER" not in os.environ:
        os.environ["HANDSEL_CACHE"] = config.stash[CACHE] = tempfile.mkdtemp(prefix="handsel-tests-")


def pytest_unconfigure(config: pytest.Config) -> None:
    if CACHE in config.stash:
        shutil.rmtree(config.stash[CACHE], ignore_errors=True)
