"""Django's SQLite, with the writers of this process in a line.

SQLite lets one writer in at a time; the others try again after pauses of up to a tenth of a second, and whoever comes
by at the right moment goes first. Fifty phones at once made some of them wait past the timeout that way.
Here a thread that begins a transaction waits in line for the one before it, and gets in the moment that one
is done. Other processes (workers, commands) still meet at SQLite's own lock: there are few of them.
"""

from __future__ import annotations

import threading
from collections import deque
from typing import Any

from django.db.backends.sqlite3 import base
from django.db.utils import OperationalError


class Line:
    """A lock that is given to those who wait in the order they came."""

    def __init__(self) -> None:
        self._guard = threading.Lock()
        self._waiting: deque[threading.Lock] = deque()
        self._taken = False

    def join(self, timeout_s: float) -> bool:
        """Wait for a turn; False when it did not come in time."""
        with self._guard:
            if not self._taken:
                self._taken = True
                return True
            mine = threading.Lock()
            mine.acquire()
            self._waiting.append(mine)
        if mine.acquire(timeout=timeout_s):
            return True
        with self._guard:
            if mine in self._waiting:
                self._waiting.remove(mine)
                return False
        return True  # the turn came in this very moment

    def leave(self) -> None:
        """Let the next one in."""
        with self._guard:
            if self._waiting:
                self._waiting.popleft().release()
            else:
                self._taken = False


_lines: dict[str, Line] = {}
_lines_guard = threading.Lock()


def line_of(name: str) -> Line:
    """The line before one database."""
    with _lines_guard:
        return _lines.setdefault(name, Line())


class DatabaseWrapper(base.DatabaseWrapper):  # type: ignore[misc, unused-ignore]
    """A connection that takes its turn before it begins a transaction."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._in: Line | None = None

    def _start_transaction_under_autocommit(self) -> None:
        if self._in is None:
            line = line_of(str(self.settings_dict["NAME"]))
            if not line.join(float(self.settings_dict["OPTIONS"].get("timeout", 5.0))):
                raise OperationalError("database is locked: other writers of this process took too long")
            self._in = line
        try:
            super()._start_transaction_under_autocommit()
        except BaseException:
            self._leave()
            raise

    def _commit(self) -> None:
        super()._commit()  # when this fails, Django rolls back or closes: the turn ends there
        self._leave()

    def _rollback(self) -> None:
        super()._rollback()
        self._leave()

    def _close(self) -> None:
        try:
            super()._close()
        finally:
            self._leave()

    def _leave(self) -> None:
        line, self._in = self._in, None
        if line is not None:
            line.leave()
