"""A day with a lead and helpers, and hands at any stage, for the tests of the web application."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.core.cache import cache

from bench.hall import Hall, open_hall
from handsel.bench.hands import casebook
from handsel.bench.hands.casebook import design_kept, protocol_kept


@pytest.fixture(autouse=True)
def _nothing_remembered() -> None:
    """Texts are remembered by fingerprint and attempts by address; a new test starts without both."""
    casebook._read_before.clear()
    protocol_kept.cache_clear()
    design_kept.cache_clear()
    cache.clear()


@pytest.fixture
def hall(db: None) -> Hall:
    """A day that has begun, with a lead, an inspector, a builder and a fitter."""
    return open_hall()


@pytest.fixture
def shared_hall(transactional_db: None) -> Hall:
    """The same for tests with threads or a server: really committed, and cleared afterwards."""
    return open_hall()


@pytest.fixture
def no_workers() -> Callable[[], None]:
    """Do at once what workers would do."""

    def run_all() -> None:
        import threading

        from handsel.bench.worker import HANDLERS, run

        # Simulated hands take minutes; the tests that need some have a small library of their own.
        run(tuple(k for k in HANDLERS if k != "library"), threading.Event(), until_idle=True)

    return run_all
