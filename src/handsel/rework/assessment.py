"""The whole answer for one hand: inspection, cord lengths, the fix, what it brings and what it undoes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from handsel.design.model import Design
from handsel.design.placing import placed
from handsel.inspection.case import Case, Finding
from handsel.inspection.deciding import inspect
from handsel.inspection.protocol import Characteristic, Protocol
from handsel.inspection.result import Inspection
from handsel.inspection.rules import NumberRule
from handsel.inspection.undo import reinspection_set
from handsel.mechanics.excess import (
    LEAD,
    LOWERED,
    PIN,
    TILT,
    WORKED,
    LengthPosterior,
    Readings,
    Slides,
    estimate_lengths,
    slides_of,
)
from handsel.mechanics.open_question import OpenQuestion, open_question
from handsel.mechanics.taut_map import NotThisKind
from handsel.metrology.decision import Verdict
from handsel.rework.choosing import CORD_REWORK, Choice, choose, reader, readings_of_angle
from handsel.rework.fix import done_by, write_fix
from handsel.rework.forecast import Closings, closing_drawn, closings, estimate, predict, rest_drawn
from handsel.rework.moves import Chooser, Wanted
from handsel.rework.result import Assessment, CordState, Fix, FixKind, Lengths, PoseDrawn, Prediction, Recheck
from handsel.rework.words import answer, cord_title

FINDING = "cord-lengths-compatible"
# Where a protocol sets no limit of its own. Common practice: 30 to about 45 degrees; thumb and
# fingers start within 5 degrees of each other.
LEAST_DEG, MOST_DEG, LEAD_DEG, TILT_DEG, PIN_MM = 30.0, 45.0, 5.0, 5.0, 3.5
TARGET_ROOM_DEG = 4.0  # about a target of a recipient's own that lies near or past the usual limits


def assess(
    case: Case,
    protocol: Protocol,
    design: Design,
    *,
    design_sha256: str,
    protocol_sha256: str,
    program_version: str,
) -> Assessment:
    """Inspect one hand, find its cord lengths, and say exactly what to change.

    Parameters: case; protocol; design at scale 1, right side; design_sha256 and protocol_sha256, of the
        texts they were read from; program_version: kept in the record.
    Returns: Assessment. Works with any reading missing; without an angle there are no lengths.
    Raises: BadCase for a case that does not fit the protocol; OutOfRange for a scale or side that the
        design is not made for.
    Valid for: as inspect, estimate_lengths and the engine.
    Source: own; the parts name theirs.
    Checked by: unit/test_assessment.py
    """
    hand = placed(design, scale_ratio=case.hand.scale_ratio, side=case.hand.side)
    inspection = inspect(case, protocol)
    wanted = wanted_from(case, protocol)
    notes: list[str] = []
    found, question, slides = _lengths_behind(hand, inspection.readings, notes)
    if found is not None:
        inspection = inspect(case, protocol, [compatible(found, wanted, protocol)])
    chooser = Chooser(hand, found, wanted) if found is not None else None
    choice = choose(inspection, chooser, question, _strung_stage(protocol))
    pictures = _pictures(hand, found, chooser, choice)
    fix = write_fix(choice, hand, protocol, chooser, pictures.after)
    return Assessment(
        sentence=answer(
            inspection.whole, inspection.sentence if fix.kind is FixKind.NOTHING else fix.sentence
        ),
        conforms=inspection.whole == "release",
        inspection=inspection,
        lengths=_lengths(hand, found, question, protocol) if found is not None else None,
        now=pictures.present,
        fix=fix,
        recheck=_recheck(fix, choice, hand, protocol),
        drawn_now=pictures.drawn_now,
        drawn_after=pictures.drawn_after,
        closing=pictures.closing,
        angle_limit_deg=(wanted.least_deg, wanted.most_deg),
        target_deg=wanted.target_deg,
        cautions=_cautions(fix, inspection, protocol),
        notes=tuple([*notes, *_notes(found, slides, inspection)]),
        design_name=design.name,
        design_version=design.version,
        design_sha256=design_sha256,
        protocol_id=protocol.id,
        protocol_sha256=protocol_sha256,
        program_version=program_version,
    )


def wanted_from(case: Case, protocol: Protocol) -> Wanted:
    """What this hand should be brought to: the protocol's limits about the recipient's target.

    Parameters: case; protocol.
    Returns: Wanted.
    Raises: nothing of its own.
    Valid for: any protocol; what it sets no limit for is judged by common practice.
    Source: common practice for the defaults.
    Checked by: unit/test_assessment.py
    """
    own = case.hand.target_rest_angle_deg
    target = protocol.target_rest_angle_deg if own is None else own
    least, _ = _limits(protocol, WORKED, LEAST_DEG, MOST_DEG)
    lead_low, lead_high = _limits(protocol, LEAD, -LEAD_DEG, LEAD_DEG)
    tilt_low, tilt_high = _limits(protocol, TILT, -TILT_DEG, TILT_DEG)
    pin_low, pin_high = _limits(protocol, PIN, -PIN_MM, PIN_MM)
    most = max(_most(protocol), least + 1.0)
    if own is not None:
        least, most = min(least, target - TARGET_ROOM_DEG), max(most, target + TARGET_ROOM_DEG)
    return Wanted(
        target_deg=target,
        least_deg=least,
        most_deg=most,
        lead_limit_deg=min(-lead_low, lead_high),
        tilt_limit_deg=min(-tilt_low, tilt_high),
        pin_low_mm=pin_low,
        pin_high_mm=pin_high,
        accept_p=protocol.accept("major"),
    )


def _rule(protocol: Protocol, observable: str) -> NumberRule | None:
    c = reader(protocol, observable)
    return c.rule if c is not None and isinstance(c.rule, NumberRule) else None


def _limits(protocol: Protocol, observable: str, low: float, high: float) -> tuple[float, float]:
    rule = _rule(protocol, observable)
    if rule is None or rule.limits is None:
        return low, high
    return (
        rule.limits.low if rule.limits.low is not None else low,
        rule.limits.high if rule.limits.high is not None else high,
    )


def _most(protocol: Protocol) -> float:
    """Largest angle that is fine: a limit, else the mark from which the protocol advises."""
    rule = _rule(protocol, WORKED)
    if rule is None:
        return MOST_DEG
    if rule.limits is not None and rule.limits.high is not None:
        return rule.limits.high
    marks = [a.above for a in rule.advisories if a.above is not None]
    return max(marks) if marks else MOST_DEG


def _strung_stage(protocol: Protocol) -> int:
    c: Characteristic | None = reader(protocol, WORKED)
    return protocol.stage(c.hold_point) if c is not None else len(protocol.hold_points) - 1


def _lengths_behind(
    hand: Design, readings: Readings, notes: list[str]
) -> tuple[LengthPosterior | None, OpenQuestion | None, Slides | None]:
    if not readings_of_angle(readings):
        return None, None, None
    slides = slides_of(hand, readings)
    try:
        found = estimate_lengths(hand, readings, slides)
    except NotThisKind as refused:
        notes.append(str(refused))
        return None, None, slides
    return found, open_question(found, readings, hand), slides


def compatible(found: LengthPosterior, wanted: Wanted, protocol: Protocol) -> Finding:
    """Whether the cord lengths together make a hand that opens and closes: more than one angle tells.

    Parameters: found; wanted; protocol.
    Returns: Finding, major. The fingers' own cords have to hold the hand at the least angle, and the
        thumb must not start long before them: such a hand rests well when lowered and cannot close.
    Raises: nothing of its own.
    Valid for: as estimate_lengths.
    Source: own rule; JCGM 106:2012 8.3 for the three answers.
    Checked by: unit/test_assessment.py
    """
    good = (found.bar_deg >= wanted.least_deg) & (found.lead_deg <= wanted.lead_limit_deg)
    p, accept = min(1.0, float(found.weight @ good)), protocol.accept("major")
    verdict = Verdict.UNDECIDED
    if p >= accept:
        verdict = Verdict.CONFORMS
    elif p <= 1.0 - accept:
        verdict = Verdict.DOES_NOT_CONFORM
    bar, lead = (estimate(x, found.weight, "deg") for x in (found.bar_deg, found.lead_deg))
    reason = (
        f"the finger cords come taut at {bar.value:.1f}° (95 %: {bar.low:.1f}° to {bar.high:.1f}°), the "
        f"thumb's {abs(lead.value):.1f}° {'before' if lead.value > 0 else 'after'} them "
        f"(95 %: {lead.low:+.1f}° to {lead.high:+.1f}°)"
    )
    ids = tuple(id for id in CORD_REWORK if protocol.rework(id) is not None)
    return Finding(
        id=FINDING,
        title="Finger loops and thumb cord fit together",
        severity="major",
        verdict=verdict,
        p_conform=p,
        reason=reason,
        rework=ids,
    )


def _lengths(
    hand: Design, found: LengthPosterior, question: OpenQuestion | None, protocol: Protocol
) -> Lengths:
    taut = found.taut_probability()
    c = reader(protocol, question.reading) if question is not None else None
    return Lengths(
        cords=tuple(
            CordState(
                cord=cord.name,
                title=cord_title(cord),
                taut_probability=float(taut[k]),
                excess_mm=estimate(found.excess_mm[:, k], found.weight, "mm"),
            )
            for k, cord in enumerate(hand.cords)
        ),
        agrees=found.agrees,
        open_question=question.text if question is not None else "",
        settling_reading=c.id if c is not None else question.reading if question is not None else "",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Pictures:
    """Predictions and poses."""

    present: Prediction | None = None
    after: Prediction | None = None
    drawn_now: PoseDrawn | None = None
    drawn_after: PoseDrawn | None = None
    closing: tuple[PoseDrawn, ...] = ()


def _pictures(
    hand: Design, found: LengthPosterior | None, chooser: Chooser | None, choice: Choice
) -> _Pictures:
    if found is None or chooser is None:
        return _Pictures()
    now = choice.present if choice.present is not None else chooser.stay()
    after = choice.after if choice.after is not None else now
    weight = found.weight
    paths: Closings = closings(hand, weight, now, after)
    taut = found.taut_probability()
    drawn = rest_drawn("now", weight, now, paths, paths.row_before, taut)
    drawn_after = None
    if after is not now:
        thumb_first = float(weight @ (after.lead_deg > 0.0))
        taut_after = np.full(len(hand.cords), 1.0)
        taut_after[found.map.alone] = thumb_first
        drawn_after = rest_drawn("after", weight, after, paths, paths.row_after, taut_after)
    return _Pictures(
        present=predict(hand, weight, now, paths, paths.row_before),
        after=predict(hand, weight, after, paths, paths.row_after) if after is not now else None,
        drawn_now=drawn,
        drawn_after=drawn_after,
        closing=closing_drawn(weight, after, paths, paths.row_after),
    )


def _recheck(fix: Fix, choice: Choice, hand: Design, protocol: Protocol) -> tuple[Recheck, ...]:
    return tuple(
        Recheck(id=r.characteristic.id, place=r.place, title=r.characteristic.title, reason=r.reasons[0])
        for r in reinspection_set(done_by(fix, choice, hand, protocol), protocol)
    )


def _cautions(fix: Fix, inspection: Inspection, protocol: Protocol) -> tuple[str, ...]:
    grave = [
        c.caution
        for i in inspection.open_items
        if i.severity == "critical" and (c := protocol.characteristic(i.id)) is not None and c.caution
    ]
    return tuple(dict.fromkeys([*fix.cautions, *grave]))


def _notes(found: LengthPosterior | None, slides: Slides | None, inspection: Inspection) -> list[str]:
    said = list(inspection.advisories)
    if slides is not None and not slides.tension_known:
        said.append("The tension screws were not read; they are taken to be at their forward end.")
    if slides is not None and not slides.pin_known:
        said.append("The thumb pin was not read; it is taken to be in line.")
    if found is not None and found.wrist_stuck:
        said.append(
            "The lowered angle stands too high for any cord length: the wrist hinge is probably tight. "
            "The worked angle is not touched by that."
        )
    if found is not None and not found.agrees:
        c = reader(inspection.protocol, found.misfits[0])
        said.append(f"One reading does not fit the others: {c.title if c is not None else found.misfits[0]}.")
    if LOWERED not in inspection.readings and found is not None:
        said.append("The lowered angle was not read; with it the cords can be told apart better.")
    return said
