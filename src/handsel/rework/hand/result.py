"""What the plan of a hand is: steps, what each of them may come to, and what it takes."""

from __future__ import annotations

from dataclasses import dataclass

from handsel.inspection.undo import ReworkDone
from handsel.rework.day.model import Way
from handsel.rework.hand.length_ways import LengthWay


@dataclass(frozen=True, slots=True, kw_only=True)
class AskedLook:
    """One thing that a check asks to look at."""

    of: str  # observable
    place: str
    title: str
    question: str
    answers: tuple[str, ...]  # of a number: the ranges that lead to different steps
    again: bool  # by somebody else than the one who looked before


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanStep:
    """One step, and what follows from each of its outcomes."""

    kind: str  # "check", "rework", "last resort"
    title: str
    asked: tuple[AskedLook, ...]  # of a check: what to look at, in one go
    place: str  # of a rework
    minutes: float  # with the look at the hand afterwards [min]
    reworks: tuple[ReworkDone, ...]
    way: Way | None  # of a rework: minutes, skill and spares
    lengths: LengthWay | None  # what the model says of slides and cords
    sets: bool  # it ends with reading the hand and setting its slides
    cures: tuple[str, ...]  # of a rework: causes that it cures, kind@place
    p_conforms: float  # of a rework: probability that the hand conforms right after it
    then: tuple[Turn, ...]

    @property
    def changes_something(self) -> bool:
        """Whether the hand is another afterwards: no check, and no mere second look at what did not hold."""
        return self.kind == "last resort" or bool(self.reworks)

    def likeliest(self) -> PlanStep | None:
        """The step that follows most probably."""
        ahead = [t for t in self.then if t.step is not None]
        return max(ahead, key=lambda t: t.probability).step if ahead else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Turn:
    """One outcome of a step, how probable it is, and the next step; None: it ends, or is not written out."""

    on: str  # the answer; "conforms" or "not yet" after a rework
    probability: float
    step: PlanStep | None


@dataclass(frozen=True, slots=True, kw_only=True)
class HandPlan:
    """The plan, what it is expected to take, and what else would take."""

    sentence: str
    first: PlanStep
    expected_minutes: float  # to a conforming hand, looks at it included [min]
    p_first_try: float  # probability that the first rework makes it conform, checks before it included
    p_handed_over: (
        float  # probability that it conforms when it is first handed over, looked at by who reworked it
    )
    fixed_order_minutes: float  # reworks tried in the protocol's order
    restring_minutes: float  # everything restrung first
    no_check_minutes: float  # reworks in the best order without any check
    kept: str  # what is not cut or spent, and why; "" where that does not come up

    def first_rework(self) -> PlanStep:
        """The rework that the likeliest answers lead to."""
        step = self.first
        while not step.changes_something and (following := step.likeliest()) is not None:
            step = following
        return step
