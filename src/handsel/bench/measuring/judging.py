"""What a reading means against its limit, before anybody has taken it: for whoever stands there with the hand."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, sqrt
from typing import Any

from handsel.bench.measuring.kinds import PHOTO
from handsel.inspection.protocol import Characteristic, Protocol
from handsel.inspection.rules import NumberRule
from handsel.metrology.decision import Action, BetterMethod, Verdict, decide, what_settles
from handsel.metrology.quantity import Quantity

# Errors of a photo that are new each time the cards are put on afresh; the lens stays the same.
_AFRESH = ("edges", "size in pixels", "card turn", "obliquity")
_AFRESH_WORDS = "Take both cards off and put them on again before each photo."


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """A verdict in words, why, and what would settle it soonest."""

    verdict: str  # one of four, "recorded" where there is no limit
    sentence: str
    settle: str = ""
    advisories: tuple[str, ...] = ()

    def as_data(self) -> dict[str, Any]:
        """For the phone."""
        return {
            "verdict": self.verdict,
            "sentence": self.sentence,
            "settle": self.settle,
            "advisories": list(self.advisories),
        }


def judged(
    c: Characteristic, protocol: Protocol, value: float, u: float, contributions: dict[str, float]
) -> Judged:
    """Hold one reading against the limit of its check.

    The record decides with all that is on it; this says where the reading by itself stands.
    """
    rule = c.rule
    if not isinstance(rule, NumberRule):
        return Judged(verdict="recorded", sentence="")
    advisories = tuple(a.text for a in rule.advisories if a.says(value))
    if rule.limits is None:
        return Judged(
            verdict="recorded",
            sentence="There is no limit for it; it is recorded and helps to tell the cords apart.",
            advisories=advisories,
        )
    decision = decide(
        Quantity(value=value, u=u, unit=rule.unit, origin=c.title),
        rule.limits,
        accept_p=protocol.accept(c.severity),
    )
    _, _, chance = str(decision).partition("; ")
    limit = str(rule.limits)
    sentence = f"{limit[:1].upper()}{limit[1:]} is asked; it is {chance}"
    if decision.verdict is not Verdict.UNDECIDED:
        return Judged(verdict=decision.verdict.value, sentence=sentence, advisories=advisories)
    again = min(hypot(*(contributions.get(name, 0.0) for name in _AFRESH)), u) or u
    settling = what_settles(
        decision,
        u_repeat=again,
        u_common=sqrt(max(u * u - again * again, 0.0)),
        better_methods=[
            BetterMethod(name=m.name, u=m.u, minutes=m.minutes)
            for m in rule.methods
            if m.u < u and m.name != PHOTO
        ],
        step=rule.step,
        minutes_per_reading=rule.method(PHOTO).minutes,
    )
    settle = settling.sentence
    if settling.action is Action.READ_AGAIN:
        settle += " " + _AFRESH_WORDS
    elif settling.action is Action.MOVE_CLEAR and rule.step_what:
        settle += f" One step: {rule.step_what}."
    return Judged(verdict=decision.verdict.value, sentence=sentence, settle=settle, advisories=advisories)
