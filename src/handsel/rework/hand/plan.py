"""The plan for one hand: what to look at or do next, and what then, for the least minutes to a conforming hand."""

from __future__ import annotations

from collections.abc import Sequence, Set
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from handsel.diagnosis.catalogue import Catalogue, spoken
from handsel.diagnosis.likelihood import Item
from handsel.diagnosis.posterior import Posterior
from handsel.inspection.protocol import Protocol
from handsel.inspection.undo import ReworkDone
from handsel.rework.day.model import Way
from handsel.rework.hand.actions import Actions
from handsel.rework.hand.belief import Belief, Step, believe
from handsel.rework.hand.length_ways import LengthWay, LengthWays
from handsel.rework.hand.looks import Asked, Look
from handsel.rework.hand.troubleshoot import Choice, Solver, fixed_order_value
from handsel.rework.words import listed

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

AHEAD, LATER = 2, 1  # steps that the search looks ahead, above the simple policy: at first, and further on
DEEPEST = 4  # steps of the plan that are written out
READ_ONCE_P = 0.9  # of a change of slides or cords: below, what tells of the cords is read by two people first
LEAST_BRANCH = 0.05  # rarer turns are not written out
NAMED_LOOKS = 3  # of a first check: more are told by what they are about


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


def plan_hand(
    p: Posterior,
    catalogue: Catalogue,
    actions: Actions,
    protocol: Protocol,
    *,
    hold_point: str,
    lengths: LengthWays | None = None,
    none_fits: bool = False,
    seen: Sequence[Item] = (),
    done: Set[tuple[str, str]] = frozenset(),
    looked_again: bool = False,
) -> HandPlan:
    """The plan with the least expected minutes to a conforming hand.

    Parameters: p, posterior of the diagnosis; catalogue; actions; protocol; hold_point that the hand has
        come to; lengths, what the model says of slides and cords; none_fits, of the diagnosis; seen, what the
        posterior was weighed by, for what other eyes may look at once more; done, looks that shall not be
        asked for, as (observable, place); looked_again, what did not hold was looked at once more and
        still does not.
    Returns: HandPlan.
    Raises: OutOfRange for actions that do not fit the protocol.
    Valid for: minutes and chances as sure as the files; looks at a hand right after a rework that see
        whether it conforms. Nothing is cut for what something gentle cures; screws are never turned to
        cure anything but lengths, and no further than leaves their adjustment for the cords' settling.
    Source: decision-theoretic troubleshooting (Heckerman, Breese and Rommelse, 1995, from memory), as a
        depth-limited search whose leaves are worth what the simple policy takes from there: by policy
        improvement it never takes longer than that policy.
    Checked by: unit/test_hand_plan.py, properties/test_troubleshoot.py
    """
    belief = believe(
        p,
        catalogue,
        actions,
        protocol,
        hold_point=hold_point,
        lengths=lengths,
        none_fits=none_fits,
        seen=seen,
        done=done,
        looked_again=looked_again,
    )
    return plan_of_belief(belief, protocol, actions.trying.own_look_sees)


def plan_of_belief(belief: Belief, protocol: Protocol, own_look_sees: float) -> HandPlan:
    """As plan_hand, for a problem that was put together already.

    Parameters: belief; protocol, whose order of reworks the fixed order is; own_look_sees, chance that whoever
        reworked notices what still does not hold.
    Returns: HandPlan.
    """
    solver, start = Solver(belief.problem), belief.problem.weight
    best = solver.choose(start, solver.all_acts, solver.all_checks, AHEAD)
    writer = _Writer(belief=belief, solver=solver, best=best, own_look_sees=own_look_sees)
    first = writer.step(start, solver.all_acts, solver.all_checks, 0)
    first, read_min = _read_twice(first, belief.read_again)
    first, gaps_min = _completed(first, belief.gaps)
    read_min += gaps_min
    return HandPlan(
        sentence=_sentence(first, best.value + read_min, writer.p_first(first)),
        first=first,
        expected_minutes=best.value + read_min,
        p_first_try=writer.p_first(first),
        p_handed_over=writer.p_handed_over(first),
        fixed_order_minutes=fixed_order_value(solver, start, _fixed(belief, protocol)),
        restring_minutes=fixed_order_value(solver, start, _restring(belief)),
        no_check_minutes=solver.simple_value(start, solver.all_acts) + read_min,  # a rule, not a choice
        kept=_kept(belief, solver, first),
    )


def way_of_plan(plan: HandPlan, id: str = "plan") -> Way:
    """The plan as one way that the day can plan with: its checks and first rework, done by one person.

    Parameters: plan; id, for the way.
    Returns: Way.
    Raises: nothing of its own.
    Valid for: the likeliest answers; where they come otherwise the day is planned again.
    Source: own rule.
    Checked by: unit/test_hand_plan.py
    """
    checks, step = 0.0, plan.first
    rework = plan.first_rework()
    while step is not rework:
        checks += step.minutes
        step = step.likeliest() or rework
    way = rework.way
    if way is None:
        return Way(
            id=id,
            title=rework.title,
            minutes=checks,
            skill="builder" if checks else "",
            recheck_minutes=0.0 if rework is plan.first else rework.minutes,
            p_success=plan.p_first_try,
        )
    first = "" if rework is plan.first else f"{_begin(plan.first)} Then most likely: "
    return replace(
        way,
        id=id,
        title=f"{first}{rework.title}",
        minutes=checks + way.minutes,
        skill=way.skill or ("builder" if checks else ""),
        p_success=plan.p_first_try,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Writer:
    belief: Belief
    solver: Solver
    best: Choice  # of the first step
    own_look_sees: float

    def step(self, b: Floats, left: Bools, checks: Bools, depth: int) -> PlanStep:
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
        return _checking(title, look.asked, look.minutes, tuple(turns))

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


def _read_twice(first: PlanStep, looks: Sequence[Look]) -> tuple[PlanStep, float]:
    """Slides and cords are read twice before they are changed, unless one reading leaves little doubt."""
    if first.lengths is None or first.p_conforms >= READ_ONCE_P or not looks:
        return first, 0.0
    minutes = sum(look.minutes for look in looks)
    check = _checking(
        "have somebody else read once more what tells of the cords",
        [a for look in looks for a in look.asked],
        minutes,
        (Turn(on="much the same", probability=1.0, step=first),),
    )
    return check, minutes


def _completed(first: PlanStep, gaps: Sequence[Look]) -> tuple[PlanStep, float]:
    """What nobody has looked at yet is looked at before anything is changed."""
    if not gaps or not first.changes_something and first.kind != "rework" and first.kind != "check":
        return first, 0.0
    minutes = sum(look.minutes for look in gaps)
    check = _checking(
        "look at what nobody has looked at yet",
        [a for look in gaps for a in look.asked],
        minutes,
        (Turn(on="much the same", probability=1.0, step=first),),
    )
    return check, minutes


def _checking(title: str, asked: Sequence[Asked], minutes: float, then: tuple[Turn, ...]) -> PlanStep:
    """A step that only looks."""
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


def _fixed(belief: Belief, protocol: Protocol) -> list[int]:
    """Acts in the order in which the protocol lists their reworks."""
    order = [r.id for r in protocol.reworks]
    return sorted(
        (k for k, s in enumerate(belief.steps) if s.reworks),
        key=lambda k: (order.index(belief.steps[k].reworks[0].rework), belief.steps[k].title),
    )


def _restring(belief: Belief) -> list[int]:
    """Everything restrung; nothing else."""
    return [k for k, s in enumerate(belief.steps) if s.reworks and s.reworks[0].rework == "restring-all"]


def _kept(belief: Belief, solver: Solver, first: PlanStep) -> str:
    """What is not cut or spent, in a sentence, where somebody might have done so."""
    b = belief.problem.weight
    allowed = solver.admissible(b, solver.all_acts)
    held = [k for k, s in enumerate(belief.steps) if not allowed[k] and solver.cures[k] @ b > 0.05 * b.sum()]
    if not held:
        return ""
    title = belief.steps[held[0]].title
    return (
        f"Nothing is cut yet: “{title}” would cure causes that something gentler cures too, "
        "so the gentler comes first."
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


def in_words(asked: Sequence[AskedLook]) -> tuple[tuple[AskedLook, str], ...]:
    """What is asked, each question once, with all places that it is about in words.

    Parameters: asked.    Returns: the first look of each question and its places, "" for the whole hand.
    Raises: nothing.    Valid for: any.    Source: own.    Checked by: unit/test_hand_plan.py
    """
    places: dict[tuple[str, bool], list[AskedLook]] = {}
    for a in asked:
        places.setdefault((a.of, a.again), []).append(a)
    return tuple((same[0], listed([spoken(a.place) for a in same if a.place])) for same in places.values())


def _begin(first: PlanStep) -> str:
    """What to do or look at first; many looks by what they are about, few with their places."""
    looks = in_words(first.asked)
    if not looks or len(looks) > NAMED_LOOKS:
        return f"{first.title[:1].upper()}{first.title[1:]}".rstrip(".") + "."
    said = "; ".join(f"{a.title} ({where})" if where else a.title for a, where in looks)
    who = "Have somebody else check first" if all(a.again for a in first.asked) else "Check first"
    return f"{who}: {said}."


def _sentence(first: PlanStep, minutes: float, p: float) -> str:
    return (
        f"{_begin(first)} About {minutes:.0f} minutes to a good hand are expected; the first rework makes it good "
        f"{round(100 * p)} times in 100."
    )
