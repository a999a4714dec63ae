"""What the tests of inspection share: the bundled protocol, and cases of hands made for it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from functools import cache
from pathlib import Path

from handsel.data.load_protocol import load_protocol
from handsel.inspection.case import Case, HandRecord, Observation
from handsel.inspection.protocol import HAND, SUBSTITUTE, Characteristic, Protocol
from handsel.inspection.rules import NumberRule

CASES = Path(__file__).parent / "cases"

# Numbers of a sound hand, where the middle of the limits is not what one would read.
SOUND = {
    "scale-as-ordered": 100.0,
    "part-mass": 100.0,
    "worked-rest-angle": 36.0,
    "lowered-rest-angle": 36.5,
    "thumb-tip-bend": 2.0,
    "whippletree-flush": 0.0,
    "tension-screw-thumb-side": 0.0,
    "tension-screw-little-side": 0.0,
    "thumb-pin-in-line": 0.0,
    "thumb-starts-with-fingers": 0.0,
    "whippletree-level": 0.0,
}


@cache
def bundled() -> Protocol:
    return load_protocol("wrist-hand-1")


def sound_answer(c: Characteristic, place: str = HAND) -> Observation:
    """The observation of a sound hand, at one place or for all of them."""
    if isinstance(c.rule, NumberRule):
        return Observation(of=c.id, place=place, value=SOUND[c.id], unit=c.rule.unit)
    return Observation(of=c.id, place=place, answer=c.rule.accepted[0])


def bad_answer(c: Characteristic, place: str) -> Observation | None:
    """An observation that does not conform; None for what only records."""
    if isinstance(c.rule, NumberRule):
        limits = c.rule.limits
        if limits is None:
            return None
        low, high = limits.bounds
        value = (c.rule.plausible_max + high) / 2 if high < 1e9 else (c.rule.plausible_min + low) / 2
        return Observation(of=c.id, place=place, value=value, unit=c.rule.unit)
    wrong = [a for a in c.rule.answers if a not in c.rule.accepted]
    return Observation(of=c.id, place=place, answer=wrong[0]) if wrong else None


def hand(hold_point: str = "strung", **changes: object) -> HandRecord:
    record = HandRecord(
        code="R-014",
        serial="H-0031",
        design="linden",
        scale_ratio=1.0,
        side="left",
        hold_point=hold_point,
        latex_sensitive=True,
    )
    return replace(record, **changes)  # type: ignore[arg-type]


def sound_case(hold_point: str = "strung", protocol: Protocol | None = None) -> Case:
    """A hand on which everything due has been seen, one by one, and is as it should be."""
    protocol = protocol or bundled()
    reached = protocol.stage(hold_point)
    return Case(
        name="hand.toml",
        hand=hand(hold_point),
        by="inspector 2",
        on=date(2026, 11, 21),
        observations=tuple(
            sound_answer(c) for c in protocol.characteristics if protocol.stage(c.hold_point) <= reached
        ),
    )


def without(case: Case, *ids: str) -> Case:
    return replace(case, observations=tuple(o for o in case.observations if o.of not in ids))


def with_(case: Case, *observations: Observation) -> Case:
    """The case with these observations in place of those of the same characteristics."""
    kept = without(case, *(o.of for o in observations))
    return replace(kept, observations=kept.observations + observations)


def number(of: str, value: float, unit: str, **more: object) -> Observation:
    return Observation(of=of, value=value, unit=unit, **more)  # type: ignore[arg-type]


def answer(of: str, word: str, place: str = HAND, **more: object) -> Observation:
    return Observation(of=of, answer=word, place=place, **more)  # type: ignore[arg-type]


def substitute(of: str, word: str = "yes", **more: object) -> Observation:
    return Observation(of=of, answer=word, method=SUBSTITUTE, **more)  # type: ignore[arg-type]
