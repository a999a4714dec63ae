"""How people work on a hand in the study of plans: reworks, and the setting that they end with."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from faulty_readings import Said
from faulty_rework import Broken, evened, rebuilt, reworked, seen_by_another
from hand_plan_looks import Key, Looking, written

from handsel.inspection.case import Case, HandRecord
from handsel.inspection.undo import ReworkDone
from handsel.rework.hand.evening import UNEVEN
from handsel.rework.hand.length_ways import length_ways
from handsel.rework.hand.result import PlanStep
from handsel.rework.setting import LEFT_ALONE_P

MOST_SETTINGS = 2  # rounds of reading and setting
MOST_EVENINGS = 2  # of the elastics, at the end of one rework
HAND = HandRecord(
    code="R-014", serial="H-1", design="linden", scale_ratio=1.0, side="right", hold_point="strung"
)


def case_of(said: Sequence[Said], again: Sequence[Said]) -> Case:
    """Answers as a case: the volunteer's, and those of whoever is going to rework the hand."""
    numbers = {(s.of, s.place): s for s in again if s.value is not None}
    seen = [written(s, numbers.get((s.of, s.place)), "") for s in said]
    seen += [written(s, None, "builder 3") for s in again if s.value is None]
    return Case(name="study", hand=HAND, by="inspector 2", on=date(2026, 11, 21), observations=tuple(seen))


@dataclass(frozen=True, kw_only=True)
class Working:
    """People at work, and what they go by when they look."""

    looking: Looking

    @property
    def fingers(self) -> set[Key]:
        """Where is looked whether fingers keep together."""
        look = self.looking.catalogue.observable(self.looking.actions.evening.sees)
        return {(look.id, place) for place in look.places} if look is not None else set()

    @property
    def evening_minutes(self) -> float:
        """To set the elastics of all these fingers to one pull [min]."""
        even = self.looking.protocol.rework(self.looking.actions.evening.rework)
        return len(self.fingers) * (even.minutes if even is not None else 0.0)

    def set_hand(
        self, hand: Broken, step: PlanStep | None, rng: np.random.Generator
    ) -> tuple[Broken, float, int]:
        """Set the hand as a rework ends; minutes beyond those that its step has for it, and evenings of its elastics.

        Slides by what is read. Then it is closed; where others too see a finger behind, the elastics of all fingers are
        drawn to one pull and the slides set again. No step: the last resort after others, whose minutes have no
        evening in them.
        """
        hand = self.set_slides(hand, rng)
        itself = step is not None and UNEVEN in step.cures  # the rework was to even them
        minutes = (
            0.0
            if step is None or itself
            else -self.looking.actions.evening.apart_share * self.evening_minutes
        )
        evenings = int(itself)
        for _ in range(MOST_EVENINGS - evenings):
            seen = self.looking.found_wrong(hand, self.fingers, self.fingers if evenings else set(), rng)
            minutes += seen.more_minutes
            if not seen.wrong:
                break
            hand = self.set_slides(evened(hand, self.looking.design, rng), rng)
            minutes, evenings = minutes + self.evening_minutes, evenings + 1
        return hand, minutes, evenings

    def set_slides(self, hand: Broken, rng: np.random.Generator) -> Broken:
        """Read the hand and set screws and thumb pin by that; once more where that was not enough."""
        for _ in range(MOST_SETTINGS):
            seen = [
                s
                for s in seen_by_another(hand, self.looking.design, rng)
                if s.of in self.looking.actions.setting.reads
            ]
            ways = length_ways(case_of(seen, ()), self.looking.protocol, self.looking.design)
            if (
                ways is None
                or ways.slides is None
                or ways.now_p >= LEFT_ALONE_P
                or ways.slides.p_success <= ways.now_p
            ):
                break
            hand = reworked(
                hand,
                self.looking.design,
                reworks=[ReworkDone(rework=r) for r in ways.slides.reworks],
                cures=(),
                turns=ways.slides.screw_turns,
                pin_mm=ways.slides.thumb_pin_mm,
                finished_mm={},
                rng=rng,
            )
        return hand

    def done(self, hand: Broken, step: PlanStep, rng: np.random.Generator) -> Broken:
        """A rework done to a hand."""
        if step.kind == "last resort":
            return rebuilt(hand, self.looking.design, rng)
        w = step.lengths
        now = reworked(
            hand,
            self.looking.design,
            reworks=step.reworks,
            cures=step.cures,
            turns=w.screw_turns if w is not None else 0.0,
            pin_mm=w.thumb_pin_mm if w is not None else 0.0,
            finished_mm=w.finished_mm if w is not None else {},
            rng=rng,
        )
        return evened(now, self.looking.design, rng) if UNEVEN in step.cures else now
