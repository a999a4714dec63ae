"""Settings that hold for every test."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import settings

# The machine may be busy with something else: a slow example is no broken law.
settings.register_profile("handsel", deadline=None)
settings.load_profile("handsel")


@pytest.fixture
def append_only_again(django_db_setup: None, django_db_blocker: Any) -> Iterator[None]:
    """A database that was cleared refuses changes to entries again, for whichever test comes next.

    Asked for before the database, so that its end comes after the clearing.
    """
    yield
    with django_db_blocker.unblock():
        _refusal("on")


@pytest.fixture
def committed_db(append_only_again: None, transactional_db: None) -> Iterator[None]:
    """A database for tests with threads or a server: what they write is committed, and cleared afterwards."""
    yield
    _refusal("off")  # or the database would refuse to be cleared


def _refusal(which: str) -> None:
    from django.db import connection

    from handsel.bench.hands.append_only import switch

    with connection.schema_editor() as editor:
        switch(editor, which)
