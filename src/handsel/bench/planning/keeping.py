"""A plan as it is kept, and back again: so that the next one keeps to what people were told."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from handsel.bench.planning.gathering import Gathered
from handsel.rework.day import model as core


def told_of(plan: core.DayPlan, gathered: Gathered) -> dict[str, Any]:
    """Everything that pages show of a plan, as JSON."""
    codes = gathered.codes
    return {
        "sentence": plan.sentence,
        "closing_min": gathered.day.closing_min,
        "expected": plan.expected_releases,
        "gap_ratio": plan.gap_ratio,
        "value": plan.value,
        "bound": plan.bound,
        "people": [p.id for p in gathered.day.people],
        "chosen": [
            {
                "hand": codes[c.hand.serial],
                "recipient": c.hand.code,
                "serial": c.hand.serial,
                "severity": c.hand.severity,
                "waiting": c.hand.waiting,
                "in_work": c.hand.in_work is not None,
                "way": asdict(c.way) | {"spares": dict(c.way.spares)},
                "rework": _stint(c.rework),
                "recheck": _stint(c.recheck),
                "reason": c.reason,
            }
            for c in plan.chosen
        ],
        "left_out": [
            {"hand": codes[x.hand.serial], "recipient": x.hand.code, "cause": x.cause, "reason": x.reason}
            for x in plan.left_out
        ],
        "aside": [{"hand": a.code, "reason": a.reason} for a in gathered.aside],
        "scarce": [{"what": s.what, "kind": s.kind, "worth": s.worth} for s in plan.scarce],
        "assumed": list(gathered.assumed),
    }


def _stint(s: core.Stint | None) -> dict[str, Any] | None:
    return None if s is None else asdict(s)


def plan_from(told: dict[str, Any]) -> core.DayPlan:
    """The plan that was told before."""
    return core.DayPlan(
        sentence=told["sentence"],
        chosen=tuple(_chosen(c) for c in told["chosen"]),
        left_out=(),
        expected_releases=told["expected"],
        value=told["value"],
        bound=told["bound"],
        scarce=(),
    )


def _chosen(c: dict[str, Any]) -> core.Chosen:
    way = core.Way(**c["way"])
    hand = core.OpenHand(
        code=c["recipient"], serial=c["serial"], ways=(way,), severity=c["severity"], waiting=c["waiting"]
    )
    return core.Chosen(
        hand=hand,
        way=way,
        rework=core.Stint(**c["rework"]) if c["rework"] else None,
        recheck=core.Stint(**c["recheck"]) if c["recheck"] else None,
        reason=c["reason"],
    )
