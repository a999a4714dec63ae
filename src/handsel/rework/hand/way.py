"""The plan of a hand as one way that the day can plan with."""

from __future__ import annotations

from dataclasses import replace

from handsel.rework.day.model import Way
from handsel.rework.hand.result import HandPlan
from handsel.rework.hand.words import begin


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
    first = "" if rework is plan.first else f"{begin(plan.first)} Then most likely: "
    return replace(
        way,
        id=id,
        title=f"{first}{rework.title}",
        minutes=checks + way.minutes,
        skill=way.skill or ("builder" if checks else ""),
        p_success=plan.p_first_try,
    )
