"""How often somebody may guess. Wrong tries cost waiting time, per address and for all together.

A try is counted before it is looked at, so that many at once gain nothing; a right one gives it back.
The computer that runs the bench is left out of the common wait: nobody in the hall can lock the lead out there.
"""

from __future__ import annotations

from dataclasses import dataclass
from time import time

from django.core.cache import cache

from handsel.bench.addresses import is_loopback
from handsel.errors import HandselError


class TooManyTries(HandselError):
    """Guessed too often; the wait is said."""

    status = 429


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """How many wrong tries are free, and how the wait grows after them."""

    free: int
    first_wait_s: float
    longest_wait_s: float
    forgotten_s: int  # without a wrong try for this long, it starts anew

    def wait_s(self, count: int) -> float:
        """The wait after so many wrong tries [s]."""
        if count < self.free:
            return 0.0
        return min(self.first_wait_s * 2.0 ** min(count - self.free, 20), self.longest_wait_s)


OF_ADDRESS = Limit(free=5, first_wait_s=30.0, longest_wait_s=300.0, forgotten_s=1800)
OF_ALL = Limit(free=20, first_wait_s=2.0, longest_wait_s=60.0, forgotten_s=900)


def begin_try(what: str, address: str) -> None:
    """Count a try at a secret, or raise TooManyTries with the time to wait."""
    for key, _ in _counters(what, address):
        left = (cache.get(f"{key}:until") or 0.0) - time()
        if left > 0:
            raise TooManyTries(
                "too many wrong tries",
                where=what,
                do=f"Wait {_spoken(left)}, then try again.",
            )
    for key, limit in _counters(what, address):
        cache.add(key, 0, limit.forgotten_s)
        try:
            count = cache.incr(key)
        except ValueError:  # forgotten between the two lines
            count = 1
            cache.set(key, count, limit.forgotten_s)
        cache.touch(key, limit.forgotten_s)
        wait_s = limit.wait_s(count)
        if wait_s:
            cache.set(f"{key}:until", time() + wait_s, int(wait_s) + 1)


def was_right(what: str, address: str) -> None:
    """The try was right: this address starts anew, and the common count gets it back."""
    (own, _), *common = _counters(what, address)
    cache.delete_many([own, f"{own}:until"])
    for key, _ in common:
        try:
            cache.decr(key)
        except ValueError:  # forgotten meanwhile
            continue


def _counters(what: str, address: str) -> list[tuple[str, Limit]]:
    safe = "".join(c if c.isalnum() else "-" for c in f"{what}-{address}")[:120]
    own = (f"tries-{safe}", OF_ADDRESS)
    everyone = ("tries-all-" + "".join(c if c.isalnum() else "-" for c in what), OF_ALL)
    return [own] if is_loopback(address) else [own, everyone]


def _spoken(seconds: float) -> str:
    if seconds < 90:
        return f"{max(1, round(seconds))} seconds"
    return f"{round(seconds / 60)} minutes"
