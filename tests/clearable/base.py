"""The bench's SQLite, with one thing more: a test's end may clear it, though it refuses to give up entries."""

from __future__ import annotations

from typing import Any

from handsel.bench.hands.append_only import statements
from handsel.bench.turns import base


class DatabaseOperations(base.DatabaseWrapper.ops_class):  # type: ignore[misc,name-defined]
    """Clearing takes the refusal away and puts it back, also where a test had switched it off."""

    def sql_flush(self, *args: Any, **kwargs: Any) -> list[str]:
        return [
            *statements("sqlite", "off"),
            *super().sql_flush(*args, **kwargs),
            *statements("sqlite", "on"),
        ]


class DatabaseWrapper(base.DatabaseWrapper):
    """What the tests' settings name as the engine."""

    ops_class = DatabaseOperations
