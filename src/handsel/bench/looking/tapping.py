"""How long people looked, told by their taps. It is shown to the lead and punishes nobody.

A tap tells when a screen came and when it was answered. Nobody can have looked at a thing on the bench in
less time than it takes to see the screen change, move the eyes to the hand and back, and move a thumb. A
run of such answers says: these were tapped, not looked at. The lead may ask for another look.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from handsel.bench.hands.casebook import Told
from handsel.inspection.protocol import Protocol

# A choice between two known buttons takes about 0.4 to 0.5 s by itself (simple reaction 0.2 to 0.25 s, the
# choice 0.1 to 0.2 s, the thumb 0.1 s or more); eyes to the hand and back, two glances of 0.2 to 0.3 s.
# What is left below 0.8 s is no look. Magnitudes from memory of textbooks on human performance.
ONE_LOOK_MS = 800
# In a group the thumb moves once, and each further thing needs a glance of its own, 0.3 s at the very least.
NEXT_GLANCE_MS = 300
# One quick answer is a slip or a good memory. Four in a row are not: even someone who looks at a hand while
# the screens change answers every fourth one after a pause.
SHORTEST_RUN = 4
# Longer than this without an answer, the phone lay on the bench: the screen says nothing of that time.
LONGEST_STEP_MS = 300_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """Answers one after another, each quicker than a look."""

    called: str  # who
    number: int
    first_seq: int
    last_seq: int
    count: int
    total_ms: int
    at: str  # of the first
    whole_group: bool  # a group was among them

    @property
    def sentence(self) -> str:
        """For the lead, without a judgement."""
        group = ", a whole group among them" if self.whole_group else ""
        return f"{self.called} gave {self.count} answers within {self.total_ms / 1000:.1f} s{group}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Operation:
    """Time spent with one hold point on screens."""

    hold_point: str
    seconds: float
    answers: int


def blind_runs(told: Iterable[Told]) -> tuple[Run, ...]:
    """Runs of answers that came faster than a person could look, oldest first."""
    runs: list[Run] = []
    open_runs: dict[int, list[Told]] = {}
    for t in told:
        if not _tapped(t):
            continue
        number = t.by["number"]
        if t.what["tap_ms"] < least_ms(t):
            open_runs.setdefault(number, []).append(t)
        else:
            runs += _closed(open_runs.pop(number, []))
    for left in open_runs.values():
        runs += _closed(left)
    return tuple(sorted(runs, key=lambda r: r.first_seq))


def least_ms(t: Told) -> int:
    """The shortest time in which this could have been looked at."""
    if t.kind == "as-shown":
        return ONE_LOOK_MS + NEXT_GLANCE_MS * (max(1, int(t.what.get("covers", 1))) - 1)
    return ONE_LOOK_MS


def _tapped(t: Told) -> bool:
    """Numbers are typed, not tapped: they cannot be given blindly in this sense."""
    if t.kind not in ("observed", "as-shown") or t.what.get("from") != "screen":
        return False
    is_number = "value" in t.what or "readings" in t.what
    return not is_number and isinstance(t.what.get("tap_ms"), int)


def _closed(run: list[Told]) -> list[Run]:
    groups = [t for t in run if t.kind == "as-shown"]
    things = sum(max(1, int(t.what.get("covers", 1))) for t in groups) + len(run) - len(groups)
    # A group of many things at one tap is as many answers.
    if things < SHORTEST_RUN:
        return []
    return [
        Run(
            called=run[0].by["called"],
            number=run[0].by["number"],
            first_seq=run[0].seq,
            last_seq=run[-1].seq,
            count=things,
            total_ms=sum(t.what["tap_ms"] for t in run),
            at=run[0].at,
            whole_group=bool(groups),
        )
    ]


def operation(told: Iterable[Told], protocol: Protocol) -> tuple[Operation, ...]:
    """Time on screens for each hold point, in the protocol's order; hold points without answers left out."""
    of_group = {g.id: h.id for h in protocol.hold_points for g in h.groups}
    spent: dict[str, list[int]] = {}
    for t in told:
        if t.kind not in ("observed", "as-shown") or t.what.get("from") != "screen":
            continue
        c = protocol.characteristic(t.what.get("of", ""))
        point = c.hold_point if c is not None else of_group.get(t.what.get("group", ""), "")
        step = t.what.get("step_ms") or t.what.get("tap_ms") or 0
        spent.setdefault(point, []).append(min(int(step), LONGEST_STEP_MS))
    return tuple(
        Operation(hold_point=h.id, seconds=sum(spent[h.id]) / 1000, answers=len(spent[h.id]))
        for h in protocol.hold_points
        if h.id in spent
    )
