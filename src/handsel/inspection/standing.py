"""Which observations still stand: not undone by later rework, and made while the thing could be seen."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from handsel.inspection.case import BadCase, Case, Done, GroupAcceptance, Observation
from handsel.inspection.protocol import SUBSTITUTE, Characteristic, Protocol, Rework, Step
from handsel.inspection.undo import ReworkDone, reinspection_set

_ALWAYS = 10**9  # a position in the order of work later than any entry


@dataclass(frozen=True, slots=True, kw_only=True)
class StepDone:
    """A build step in effect: when it came in the order of work, and whether it was its turn."""

    step: Step
    position: int  # 1 for the first thing done; _ALWAYS when assumed, not recorded
    too_early: str  # why it came too early; empty when it was its turn

    @property
    def recorded(self) -> bool:
        """False when only the hold point says that it must have been done."""
        return self.position != _ALWAYS


class Timeline:
    """The order of work of one case, and what it did to what had been seen.

    Positions count the entries of `case.done` from 1. An observation marked `after` entry k was
    made later than it, one marked `before` entry k earlier. Unmarked ones count as made before
    any rework, and as made in time for a step that was done when its turn had come.
    """

    def __init__(self, case: Case, protocol: Protocol) -> None:
        self._case, self._protocol = case, protocol
        self._position = _named_positions(case)
        for entry in case.done:
            _check_known(entry, case, protocol)
        self.steps = tuple(_steps_in_effect(case, protocol))
        self._undone: dict[tuple[str, str], tuple[int, str]] = {}
        self._reworked: list[tuple[int, Rework, str]] = []
        for position, entry in enumerate(case.done, start=1):
            rework = protocol.rework(entry.what)
            if rework is not None:
                self._reworked.append((position, rework, entry.place))
                done = ReworkDone(rework=entry.what, place=entry.place)
                for recheck in reinspection_set([done], protocol):
                    key = (recheck.characteristic.id, recheck.place)
                    self._undone[key] = (position, recheck.reasons[0])

    def hiding(self, characteristic: Characteristic, place: str) -> tuple[StepDone, ...]:
        """The steps in effect that hide this characteristic at this place."""
        return tuple(
            s
            for s in self.steps
            if characteristic.id in s.step.hides and not self._opened_here(s, characteristic, place)
        )

    def _opened_here(self, done: StepDone, characteristic: Characteristic, place: str) -> bool:
        """True when a later rework took the step back where it was done: one knot tied again, say."""
        for position, rework, at in self._reworked:
            if done.step.id in rework.reopens and (position > done.position or not done.recorded):
                here = self._protocol.digits_at(rework.per if at else "hand", at)
                if rework.per == characteristic.per and at:
                    opened = at == place
                else:
                    opened = bool(self._protocol.digits_at(characteristic.per, place) & here)
                if opened:
                    return True
        return False

    def undone(self, characteristic: Characteristic, place: str) -> str:
        """Why it must be looked at again; empty when no rework undid it."""
        return self._undone.get((characteristic.id, place), (0, ""))[1]

    def stands(self, seen: Observation | GroupAcceptance, characteristic: Characteristic, place: str) -> bool:
        """True when what was seen still says something about the hand as it is now."""
        after = self._where(seen.after) if seen.after else 0
        before = self._where(seen.before) if seen.before else _ALWAYS
        if self._undone.get((characteristic.id, place), (0, ""))[0] > after:
            return False
        if isinstance(seen, Observation) and seen.method == SUBSTITUTE:
            return characteristic.substitute is not None
        for hidden in self.hiding(characteristic, place):
            if hidden.position <= after or (hidden.too_early and before > hidden.position):
                return False
        return True

    def _where(self, name: str) -> int:
        if name not in self._position:
            known = ", ".join(self._position) or "nothing is listed as done"
            raise BadCase(
                f"{name!r} is not among the things done ({known})",
                where=self._case.name,
                do="Add it to the things done, or mend the word after `before` or `after`.",
            )
        return self._position[name]


def _named_positions(case: Case) -> dict[str, int]:
    positions: dict[str, int] = {}
    for position, entry in enumerate(case.done, start=1):
        if entry.called in positions:
            raise BadCase(
                f"{entry.called!r} is listed twice among the things done",
                where=case.name,
                do=f'Give the second one a name of its own, such as name = "{entry.called}-again".',
            )
        positions[entry.called] = position
    return positions


def _check_known(entry: Done, case: Case, protocol: Protocol) -> None:
    rework = protocol.rework(entry.what)
    if rework is None and protocol.step(entry.what) is None:
        known = [s.id for s in protocol.steps] + [r.id for r in protocol.reworks]
        raise BadCase(
            f"{entry.what!r} is neither a step nor a rework of protocol {protocol.id}",
            where=f"{case.name}, done",
            do=f"Use one of: {', '.join(known)}.",
        )
    if entry.at:
        protocol.stage(entry.at)
    if entry.place and (rework is None or entry.place not in protocol.places(rework.per)):
        places = ", ".join(p for p in protocol.places(rework.per) if p) if rework is not None else ""
        raise BadCase(
            f"{entry.what} cannot be done at {entry.place!r}",
            where=f"{case.name}, done",
            do=f"Use one of: {places}." if places else "Leave the place out: it concerns the whole hand.",
        )


def _steps_in_effect(case: Case, protocol: Protocol) -> Iterable[StepDone]:
    now = protocol.stage(case.hand.hold_point)
    for step in protocol.steps:
        listed = [k for k, entry in enumerate(case.done, start=1) if entry.what == step.id]
        taken_back = [
            k
            for k, entry in enumerate(case.done, start=1)
            if (rework := protocol.rework(entry.what)) is not None
            and step.id in rework.reopens
            and not entry.place
        ]
        if not listed:
            # At a later hold point the step has been done in its turn, unless rework took it back.
            if protocol.stage(step.after) < now and not taken_back:
                yield StepDone(step=step, position=_ALWAYS, too_early="")
            continue
        if any(k > listed[-1] for k in taken_back):
            continue
        yield StepDone(step=step, position=listed[-1], too_early=_too_early(step, listed[-1], case, protocol))


def _too_early(step: Step, position: int, case: Case, protocol: Protocol) -> str:
    stage = protocol.stage(case.done[position - 1].at or case.hand.hold_point)
    if protocol.stage(step.after) >= stage:
        title = next(h.title for h in protocol.hold_points if h.id == step.after)
        return f"it comes after the hold point “{title}”, which was not passed yet"
    for needed in step.needs:
        later = [k for k, entry in enumerate(case.done, start=1) if entry.what == needed]
        if later and min(later) > position:
            first = protocol.step(needed)
            return f"it comes after “{first.title if first is not None else needed}”, which was done later"
    return ""
