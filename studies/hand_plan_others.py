"""What the plan of a hand is compared with: everything restrung first, and the protocol's reworks in their order."""

from __future__ import annotations

from collections.abc import Sequence

from faulty_rework import Broken

from handsel.inspection.protocol import HAND, Protocol
from handsel.inspection.undo import ReworkDone
from handsel.rework.hand.actions import Actions
from handsel.rework.ways import way_of_reworks


class Others:
    """Other ways to put a hand right, treated kindly: each rework is at the right place at once, and none slips."""

    def __init__(self, protocol: Protocol, actions: Actions) -> None:
        self.protocol, self.actions = protocol, actions
        resort = actions.last_resort
        way = way_of_reworks([ReworkDone(rework=resort.rework)], protocol, hold_point="strung")
        self.last_recheck_minutes = way.recheck_minutes
        self.last_minutes = way.minutes + resort.extra_minutes + way.recheck_minutes

    def in_order(self, hand: Broken) -> float:
        """Minutes when the reworks that an unaided person would think of are tried in the protocol's order.

        The reworks that the protocol names for what the hand fails, one after the other, each at the right
        place at once, until all of its faults have had theirs; else the last resort. That is kind to it.
        """
        named: set[str] = set()
        for name in hand.fails:
            for c in self.protocol.characteristics:
                if c.id == name or c.id.startswith(name):
                    named |= set(c.rework)
        order = [r.id for r in self.protocol.reworks if r.id in named]
        return self._until_cured(hand, order)

    def restring_all(self, hand: Broken) -> float:
        """Minutes when everything is restrung first, and the last resort follows where that is not enough."""
        return self._until_cured(hand, ["restring-all"])

    def _until_cured(self, hand: Broken, order: Sequence[str]) -> float:
        left, minutes = {f.kind for f in hand.faults}, 0.0
        if not left:
            return minutes
        for id in order:
            rework = self.protocol.rework(id)
            if rework is None or rework.refer:
                continue
            way = way_of_reworks(
                [ReworkDone(rework=id, place=self._place(id))], self.protocol, hold_point="strung"
            )
            minutes += way.minutes + way.recheck_minutes
            left -= {
                c.fault for a in self.actions.actions if a.rework == id and a.by != "slides" for c in a.cures
            }
            if not left:
                return minutes
            minutes += self.actions.trying.failed_minutes  # handed over, and it came back
        return minutes + self.last_minutes

    def _place(self, rework: str) -> str:
        found = self.protocol.rework(rework)
        places = self.protocol.places(found.per) if found is not None else (HAND,)
        return places[0]
