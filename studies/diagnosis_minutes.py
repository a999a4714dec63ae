"""Minutes of looking until the true cause is named, by the tool's own next check and by a fixed order.

Both sides reason with the same diagnosis; only the order of the checks differs. Someone stops as soon as one
cause (or "nothing is wrong") has 90 %. A wrong stop costs the whole fixed order: the fix does not help, and
everything is looked at after all. So does running out of checks.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from diagnosis_hands import answers, names
from diagnosis_scores import FAULTLESS

Hand = dict[str, Any]
Answer = dict[str, Any]
Asked = tuple[str, str]  # observable, place
Ask = Callable[[Sequence[Answer]], tuple[dict[str, float], Asked | None]]
SURE = 0.9


@dataclass(frozen=True, slots=True, kw_only=True)
class Search:
    """How one search for the cause went."""

    minutes: float  # as counted: the whole order for a wrong stop or none
    looked_minutes: float
    checks: int
    ended: str  # named, wrong, or open


@dataclass(frozen=True, slots=True, kw_only=True)
class Times:
    """Minutes of every check, and the fixed order."""

    per_place: dict[str, float]
    order: tuple[tuple[str, tuple[str, ...]], ...]

    @property
    def whole(self) -> float:
        return sum(self.per_place[of] * len(places) for of, places in self.order)


def times(catalogue: dict[str, Any], protocol: dict[str, Any]) -> Times:
    """The protocol's checks sorted by nonconformities found per minute, then the catalogue's own looks."""
    in_protocol = {c["id"]: c for c in protocol["characteristic"]}
    usual = protocol["prior_nonconforming"]

    def found_per_minute(o: dict[str, Any]) -> float:
        c = in_protocol.get(o["id"])
        if c is None:
            return 0.0
        spent = o["minutes"] * len(o.get("places", [""]))
        return float(c.get("prior_nonconforming", usual) * (1 - c["miss_rate"]) / spent)

    ordered = sorted(catalogue["observable"], key=lambda o: (-found_per_minute(o), o["minutes"]))
    return Times(
        per_place={o["id"]: o["minutes"] for o in ordered},
        order=tuple((o["id"], tuple(o.get("places", [""]))) for o in ordered),
    )


def by_next_check(hand: Hand, ask: Ask, clock: Times) -> Search:
    """Always the check that the tool asks for."""
    said: list[Answer] = []
    record = {(o["of"], o.get("place", "")): o for o in answers(hand, all_of_them=True)}
    spent, checks = 0.0, 0
    while True:
        p, wanted = ask(said)
        ended = _stop(hand, p)
        if ended or wanted is None or wanted not in record:
            return _search(ended or "open", spent, checks, clock)
        said.append(record.pop(wanted))
        spent, checks = spent + clock.per_place[wanted[0]], checks + 1


def by_fixed_order(hand: Hand, ask: Ask, clock: Times) -> Search:
    """One check after the other, all its places at once."""
    record = {(o["of"], o.get("place", "")): o for o in answers(hand, all_of_them=True)}
    said: list[Answer] = []
    spent, checks = 0.0, 0
    for of, places in clock.order:
        said += [record[of, place] for place in places if (of, place) in record]
        spent, checks = spent + clock.per_place[of] * len(places), checks + 1
        ended = _stop(hand, ask(said)[0])
        if ended:
            return _search(ended, spent, checks, clock)
    return _search("open", spent, checks, clock)


def _stop(hand: Hand, p: dict[str, float]) -> str:
    """Empty: go on. One cause named that is there: named."""
    sure = [f for f, x in p.items() if x >= SURE]
    if not sure:
        return ""
    true = set(names(hand)) or {FAULTLESS}
    return "named" if set(sure) <= true else "wrong"


def _search(ended: str, spent: float, checks: int, clock: Times) -> Search:
    counted = spent if ended == "named" else max(clock.whole, spent)
    return Search(minutes=counted, looked_minutes=spent, checks=checks, ended=ended)
