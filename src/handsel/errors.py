"""What went wrong, where, and what to do about it, in the words of the person at the bench."""

from __future__ import annotations


class HandselError(Exception):
    """Base of every error a user may see: never shown as a stack trace.

    Parameters: what, the fact ("mu is -0.2; expected 0 or more"); where, the place as the user
    knows it (file and key, or "index, knuckle pin"); do, the next step for the person.
    """

    def __init__(self, what: str, *, where: str, do: str) -> None:
        super().__init__(f"{where}: {what}. {do}")
        self.what, self.where, self.do = what, where, do


class OutOfRange(HandselError, ValueError):
    """A number that cannot be right, whatever the build."""


class BadFile(HandselError, ValueError):
    """A file that cannot be read as what it should be."""


class Unsolved(HandselError, RuntimeError):
    """A computation that did not reach an answer that can be trusted."""
