"""What `handsel plan DAY.toml --json` writes, published as a JSON Schema."""

from __future__ import annotations

from collections.abc import Sequence

from pydantic import Field

from handsel.data.assessment_tables import Told
from handsel.rework.day.model import Chosen, Day, DayPlan, LeftOut, OneMore, Stint


class StintTable(Told):
    """One piece of work of one person, in minutes from now."""

    person: str
    serial: str
    kind: str = Field(description="rework or recheck.")
    start_min: float = Field(description="Begin, from now [min].")
    end_min: float = Field(description="End, from now [min].")


class ChosenTable(Told):
    """A hand that is worked on."""

    code: str
    serial: str
    way: str = Field(description="Id of the way.")
    title: str = Field(description="What to do.")
    spares: dict[str, int] = Field(description="What it uses up.")
    p_success: float = Field(description="Probability that it then conforms [-].")
    rework: StintTable | None
    recheck: StintTable | None
    reason: str


class LeftOutTable(Told):
    """A hand that is not worked on before closing."""

    code: str
    serial: str
    cause: str = Field(description="skill, spares, time, inspector, or others first.")
    reason: str


class ScarceTable(Told):
    """Something there is not enough of."""

    what: str
    kind: str = Field(description="person or spare.")
    worth: float = Field(description="Weighed releases for one more hour, or one more piece [-].")


class OneMoreTable(Told):
    """What one more helper, or ten more of a spare, would bring."""

    what: str
    kind: str
    more_releases: float = Field(description="Hands more that are expected to be good [-].")
    more_value: float = Field(description="The same, weighed [-].")
    at_most: float = Field(description="No plan with it brings more than this above the present one [-].")
    sentence: str


class PersonPlanTable(Told):
    """One person's work in order."""

    person: str
    stints: tuple[StintTable, ...]


class DayPlanTable(Told):
    """A plan for the day."""

    format: str = "handsel-day-plan/1"
    sentence: str
    closing_min: float = Field(description="From now to closing [min].")
    expected_releases: float = Field(description="Hands expected to conform at the first try [-].")
    value: float = Field(description="The same, weighed by severity and who waits [-].")
    bound: float = Field(description="No plan can bring more than this, weighed [-].")
    gap_ratio: float = Field(description="(bound - value) / bound [-].")
    chosen: tuple[ChosenTable, ...]
    left_out: tuple[LeftOutTable, ...]
    people: tuple[PersonPlanTable, ...]
    scarce: tuple[ScarceTable, ...]
    one_more: tuple[OneMoreTable, ...]
    notes: tuple[str, ...] = Field(description="Hands of the file that there is nothing to plan for.")


def day_plan_table(
    day: Day, plan: DayPlan, more: Sequence[OneMore] = (), notes: Sequence[str] = ()
) -> DayPlanTable:
    """A plan as the tables that are written down.

    Parameters: day; plan; more, of what_more_brings; notes, of the file.
    Returns: DayPlanTable.
    Raises: nothing of its own.
    Valid for: a plan made for this day.
    Source: own format.
    Checked by: unit/test_cli_plan.py
    """
    return DayPlanTable(
        sentence=plan.sentence,
        closing_min=day.closing_min,
        expected_releases=plan.expected_releases,
        value=plan.value,
        bound=plan.bound,
        gap_ratio=plan.gap_ratio,
        chosen=tuple(_chosen(c) for c in plan.chosen),
        left_out=tuple(_left(x) for x in plan.left_out),
        people=tuple(
            PersonPlanTable(person=p.id, stints=tuple(_stint(s) for s in plan.work_of(p.id)))
            for p in day.people
        ),
        scarce=tuple(ScarceTable.model_validate(s) for s in plan.scarce),
        one_more=tuple(OneMoreTable.model_validate(m) for m in more),
        notes=tuple(notes),
    )


def _stint(s: Stint) -> StintTable:
    return StintTable.model_validate(s)


def _chosen(c: Chosen) -> ChosenTable:
    return ChosenTable(
        code=c.hand.code,
        serial=c.hand.serial,
        way=c.way.id,
        title=c.way.title,
        spares=dict(c.way.spares),
        p_success=c.way.p_success,
        rework=None if c.rework is None else _stint(c.rework),
        recheck=None if c.recheck is None else _stint(c.recheck),
        reason=c.reason,
    )


def _left(x: LeftOut) -> LeftOutTable:
    return LeftOutTable(code=x.hand.code, serial=x.hand.serial, cause=x.cause, reason=x.reason)
