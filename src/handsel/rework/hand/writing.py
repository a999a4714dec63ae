"""The plan written out: from what the search chooses at each belief to steps, turns and their chances."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from handsel.diagnosis.catalogue import spoken
from handsel.inspection.undo import ReworkDone
from handsel.rework.hand.belief import Belief
from handsel.rework.hand.looks import Asked
from handsel.rework.hand.result import AskedLook, PlanStep, Turn
from handsel.rework.hand.steps import Step
from handsel.rework.hand.troubleshoot import Choice, Solver
from handsel.rework.words import listed

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

LATER = 1  # steps that the search looks ahead after the first
DEEPEST = 4  # steps of the plan that are written out
LEAST_BRANCH = 0.05  # rarer turns are not written out


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Writer:
    """Writes the steps down that the search chooses."""

    belief: Belief
    solver: Solver
    best: Choice  # of the first step
    own_look_sees: float

    def step(self, b: Floats, left: Bools, checks: Bools, depth: int) -> PlanStep:
        """The step at a belief, with what follows from it.

        Parameters: b : (states,) float [-], weight of each state; left, acts not done yet; checks, not made yet;
            depth, steps before this one.
        Returns: PlanStep.
        """
        weight = max(float(b.sum()), 1e-300)
        chosen = self.best if depth == 0 else self.solver.choose(b, left, checks, LATER)
        if chosen.kind == "check":
            return self._check(b, left, checks, depth, chosen.index, weight)
        if chosen.kind == "act":
            return self._act(b, left, checks, depth, chosen.index, weight)
        last, p = self.belief.last, self.belief.problem
        return PlanStep(
            kind="last resort",
            title=f"{last.title}, look at each part, and build it again",
            asked=(),
            place="",
            minutes=p.last_minutes,
            reworks=tuple(ReworkDone(rework=r) for r in last.id.split("+")),
            way=last,
            lengths=None,
            sets=False,
            cures=(),
            p_conforms=last.p_success,
            then=(),
        )

    def _check(
        self, b: Floats, left: Bools, checks: Bools, depth: int, index: int, weight: float
    ) -> PlanStep:
        look, fewer = self.belief.looks[index], checks & self.solver.checks_after[index]
        turns = []
        for answer, chance in zip(look.answers, self.belief.problem.answers[index], strict=True):
            rest = b * chance
            share = float(rest.sum() / weight)
            deep = depth + 1 >= DEEPEST or share < LEAST_BRANCH
            turns.append(
                Turn(
                    on=", ".join(answer),
                    probability=share,
                    step=None if deep else self.step(rest, left, fewer, depth + 1),
                )
            )
        title = listed(
            [
                f"{a.observable.title} ({spoken(a.place)})" if a.place else a.observable.title
                for a in look.asked
            ]
        )
        return checking(title, look.asked, look.minutes, tuple(turns))

    def _act(self, b: Floats, left: Bools, checks: Bools, depth: int, index: int, weight: float) -> PlanStep:
        step: Step = self.belief.steps[index]
        fewer = left & self.solver.open_after[index]
        rest = b @ self.belief.problem.stays[index]
        good = 1.0 - float(rest.sum() / weight)
        deep = depth + 1 >= DEEPEST or 1.0 - good < LEAST_BRANCH
        return PlanStep(
            kind="rework",
            title=step.title,
            asked=(),
            place=step.reworks[0].place if step.reworks else "",
            minutes=float(self.belief.problem.act_minutes[index]),
            reworks=step.reworks,
            way=step.way,
            lengths=step.lengths,
            sets=step.sets,
            cures=step.cures,
            p_conforms=good,
            then=(
                Turn(on="conforms", probability=good, step=None),
                Turn(
                    on="not yet",
                    probability=1.0 - good,
                    step=None if deep else self.step(rest, fewer, checks, depth + 1),
                ),
            ),
        )

    def p_first(self, step: PlanStep) -> float:
        """Probability that the first rework makes the hand conform; turns not written out count as the rest do."""
        if step.kind == "rework" and not step.changes_something:  # looked at again only: no try yet
            rest = next((t.step for t in step.then if t.on == "not yet"), None)
            return step.p_conforms + (1.0 - step.p_conforms) * (
                self.p_first(rest) if rest is not None else 1.0
            )
        if step.kind != "check":
            return step.p_conforms
        told = [(t.probability, self.p_first(t.step)) for t in step.then if t.step is not None]
        total = sum(share for share, _ in told)
        return sum(share * p for share, p in told) / total if total > 0 else 0.0

    def p_handed_over(self, step: PlanStep) -> float:
        """Probability that the hand conforms when it is first handed over; turns not written out as the rest."""
        if step.kind == "check":
            told = [(t.probability, self.p_handed_over(t.step)) for t in step.then if t.step is not None]
            total = sum(share for share, _ in told)
            return sum(share * p for share, p in told) / total if total > 0 else 0.0
        rest = next((t.step for t in step.then if t.on == "not yet"), None)
        if step.kind == "last resort" or rest is None:
            return step.p_conforms
        sees = self.own_look_sees if step.changes_something else 1.0
        return step.p_conforms + (1.0 - step.p_conforms) * sees * self.p_handed_over(rest)


def checking(title: str, asked: Sequence[Asked], minutes: float, then: tuple[Turn, ...]) -> PlanStep:
    """A step that only looks.

    Parameters: title; asked, looked at in one go; minutes [min]; then, what follows from each outcome.
    Returns: PlanStep.
    Raises: nothing.    Valid for: any.    Source: own.    Checked by: unit/test_hand_plan.py
    """
    return PlanStep(
        kind="check",
        title=title,
        asked=tuple(_asked(a) for a in asked),
        place="",
        minutes=minutes,
        reworks=(),
        way=None,
        lengths=None,
        sets=False,
        cures=(),
        p_conforms=0.0,
        then=then,
    )


def _asked(a: Asked) -> AskedLook:
    o = a.observable
    return AskedLook(
        of=o.id,
        place=a.place,
        title=o.title,
        question=o.question or f"{o.title[:1].upper()}{o.title[1:]}?",
        answers=a.answers,
        again=a.again,
    )
