"""What `handsel plan CASE.toml --json` writes, published as a JSON Schema."""

from __future__ import annotations

from pydantic import Field

from handsel.data.assessment_tables import EstimateTable, Told
from handsel.rework.hand.advice import Advice
from handsel.rework.hand.length_ways import LengthWay
from handsel.rework.hand.result import HandPlan, PlanStep


class ReworkAtPlaceTable(Told):
    """A rework of the protocol, and where."""

    rework: str
    place: str = Field(description="Digit, cord or knot; empty for the whole hand.")


class ForecastTable(Told):
    """What the model says of a move of the slides or of new cords."""

    p_success: float = Field(description="Angle, thumb and bar then conform, were lengths the trouble [-].")
    screw_turns: float = Field(description="Of both screws, + in [turn].")
    thumb_pin_mm: float = Field(description="+ is pulled in [mm].")
    worked_rest_angle_deg: EstimateTable
    thumb_lead_deg: EstimateTable


class AskedLookTable(Told):
    """One thing to look at."""

    of: str = Field(description="Observable of the catalogue.")
    place: str = Field(description="Digit, hinge, cord or knot; empty for the whole hand.")
    title: str
    question: str
    answers: tuple[str, ...] = Field(description="Answers; of a number, ranges that lead to different steps.")
    again: bool = Field(description="By somebody else than the one who looked before.")


class PlanTurnTable(Told):
    """One outcome of a step, and the step after it."""

    on: str = Field(description="The answer; conforms or not yet after a rework.")
    probability: float = Field(description="Of this outcome [-].")
    step: PlanStepTable | None = Field(description="null: it ends here, or is not written out.")


class PlanStepTable(Told):
    """One step of a plan."""

    kind: str = Field(description="check, rework or last resort.")
    title: str
    asked: tuple[AskedLookTable, ...] = Field(description="Of a check: what to look at, in one go.")
    place: str = Field(description="Of a rework; empty for the whole hand.")
    minutes: float = Field(description="With the look at the hand afterwards [min].")
    skill: str
    spares: dict[str, int]
    cuts: bool = Field(description="true: something is cut that cannot be put back.")
    reworks: tuple[ReworkAtPlaceTable, ...]
    forecast: ForecastTable | None
    sets: bool = Field(description="It ends with reading the hand and setting its slides.")
    p_conforms: float = Field(
        description="Of a rework: probability that the hand conforms right after it [-]."
    )
    then: tuple[PlanTurnTable, ...]


class SearchedPlanTable(Told):
    """The plan by a hand's probable causes."""

    expected_minutes: float = Field(description="To a conforming hand [min].")
    p_first_try: float = Field(description="The first rework makes it conform [-].")
    p_handed_over: float = Field(
        description="It conforms when first handed over, whoever reworked it having looked first [-]."
    )
    fixed_order_minutes: float = Field(description="Reworks tried in the protocol's order [min].")
    restring_minutes: float = Field(description="Everything restrung first [min].")
    no_check_minutes: float = Field(description="Reworks in the best order without any check [min].")
    kept: str = Field(description="What is not cut, and why; empty where that does not come up.")
    first: PlanStepTable


class PlainWorkTable(Told):
    """What the inspection says by itself must be done, before anything else."""

    title: str
    minutes: float = Field(description="Of rework [min].")
    recheck_minutes: float = Field(description="Of looks at the hand afterwards [min].")
    skill: str
    spares: dict[str, int]
    cuts: bool = Field(description="true: something is cut that cannot be put back.")


class HandPlanTable(Told):
    """What to do with one hand."""

    format: str = "handsel-hand-plan/1"
    hand: str
    sentence: str
    released: bool = Field(description="Nothing is to be done, and all that was due is seen to hold.")
    open_minutes: float = Field(description="For looks that still stand before its release [min].")
    plain: PlainWorkTable | None = Field(description="null: nothing is plainly to be put right.")
    plan: SearchedPlanTable | None = Field(description="null: nothing that was seen asks for a search.")


def hand_plan_table(advice: Advice, hand: str) -> HandPlanTable:
    """What to do with a hand, as the tables that are written down.

    Parameters: advice; hand, code and serial.
    Returns: HandPlanTable.
    Raises: nothing of its own.
    Valid for: any advice.
    Source: own format.
    Checked by: unit/test_advice.py
    """
    return HandPlanTable(
        hand=hand,
        sentence=advice.sentence,
        released=advice.released,
        open_minutes=advice.open_minutes,
        plain=PlainWorkTable.model_validate(advice.plain) if advice.plain is not None else None,
        plan=searched_plan_table(advice.plan) if advice.plan is not None else None,
    )


def searched_plan_table(plan: HandPlan) -> SearchedPlanTable:
    """A plan by probable causes, likewise."""
    return SearchedPlanTable(
        expected_minutes=plan.expected_minutes,
        p_first_try=plan.p_first_try,
        p_handed_over=plan.p_handed_over,
        fixed_order_minutes=plan.fixed_order_minutes,
        restring_minutes=plan.restring_minutes,
        no_check_minutes=plan.no_check_minutes,
        kept=plan.kept,
        first=_step(plan.first),
    )


def _step(s: PlanStep) -> PlanStepTable:
    return PlanStepTable(
        kind=s.kind,
        title=s.title,
        asked=tuple(AskedLookTable.model_validate(a) for a in s.asked),
        place=s.place,
        minutes=s.minutes,
        skill=s.way.skill if s.way is not None else "",
        spares=dict(s.way.spares) if s.way is not None else {},
        cuts=s.way.cuts if s.way is not None else False,
        reworks=tuple(ReworkAtPlaceTable(rework=r.rework, place=r.place) for r in s.reworks),
        forecast=_forecast(s.lengths),
        sets=s.sets,
        p_conforms=s.p_conforms,
        then=tuple(
            PlanTurnTable(on=t.on, probability=t.probability, step=None if t.step is None else _step(t.step))
            for t in s.then
        ),
    )


def _forecast(way: LengthWay | None) -> ForecastTable | None:
    if way is None:
        return None
    return ForecastTable(
        p_success=way.p_success,
        screw_turns=way.screw_turns,
        thumb_pin_mm=way.thumb_pin_mm,
        worked_rest_angle_deg=EstimateTable.model_validate(way.worked_rest_angle_deg),
        thumb_lead_deg=EstimateTable.model_validate(way.thumb_lead_deg),
    )
