"""The plan for one hand: what to look at or do next, and what then, for the least minutes to a conforming hand."""

from __future__ import annotations

from collections.abc import Sequence, Set
from dataclasses import replace

from handsel.diagnosis.catalogue import Catalogue
from handsel.diagnosis.likelihood import Item
from handsel.diagnosis.posterior import Posterior
from handsel.inspection.protocol import Protocol
from handsel.rework.hand.actions import Actions
from handsel.rework.hand.belief import Belief, believe
from handsel.rework.hand.length_ways import LengthWays
from handsel.rework.hand.looks import Look
from handsel.rework.hand.result import HandPlan, PlanStep, Turn
from handsel.rework.hand.troubleshoot import Solver, fixed_order_value
from handsel.rework.hand.words import kept, sentence
from handsel.rework.hand.writing import Writer, checking

AHEAD = 2  # steps that the search looks ahead, above the simple policy
READ_ONCE_P = (
    0.9  # of a change of slides or cords: below, what tells of the cords is read by two people first
)


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
    writer = Writer(belief=belief, solver=solver, best=best, own_look_sees=own_look_sees)
    first = writer.step(start, solver.all_acts, solver.all_checks, 0)
    first, read_min = _read_twice(first, belief.read_again)
    first, gaps_min = _completed(first, belief.gaps)
    before_min = read_min + gaps_min  # rules, not choices: the same for whatever it is compared with
    plan = HandPlan(
        sentence="",
        first=first,
        expected_minutes=best.value + before_min,
        p_first_try=writer.p_first(first),
        p_handed_over=writer.p_handed_over(first),
        fixed_order_minutes=fixed_order_value(solver, start, _fixed(belief, protocol)),
        restring_minutes=fixed_order_value(solver, start, _restring(belief)),
        no_check_minutes=solver.simple_value(start, solver.all_acts) + before_min,
        kept=kept(belief, solver),
    )
    return replace(plan, sentence=sentence(plan))


def _read_twice(first: PlanStep, looks: Sequence[Look]) -> tuple[PlanStep, float]:
    """Slides and cords are read twice before they are changed, unless one reading leaves little doubt."""
    if first.lengths is None or first.p_conforms >= READ_ONCE_P:
        return first, 0.0
    return _looked_before("have somebody else read once more what tells of the cords", looks, first)


def _completed(first: PlanStep, gaps: Sequence[Look]) -> tuple[PlanStep, float]:
    """What nobody has looked at yet is looked at before anything is changed, as far as it is due or worth it.

    A second fault that nobody has looked for costs an hour, or goes home with the hand.
    """
    return _looked_before("look at what nobody has looked at yet", gaps, first)


def _looked_before(title: str, looks: Sequence[Look], step: PlanStep) -> tuple[PlanStep, float]:
    """A step with some looks before it, and what they take."""
    if not looks:
        return step, 0.0
    minutes = sum(look.minutes for look in looks)
    asked = [a for look in looks for a in look.asked]
    return checking(title, asked, minutes, (Turn(on="much the same", probability=1.0, step=step),)), minutes


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
