"""The closed loop: a hand that only the referee knows is read with noise, put right as told, read again.

The truth is a hand in MuJoCo with friction. What a person would read of it, with a person's errors, goes
into a case; `assess` answers; its orders are carried out as exactly as people carry them out; the hand is
worked and let go in MuJoCo once more. Nothing of the engine's own reckoning enters the truth: nominal cord
lengths and the angles at which cords come taut are taken from MuJoCo's paths too.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import radians, sqrt
from time import perf_counter

import numpy as np
from numpy.typing import NDArray
from referee import Pose
from referee_friction import RubbingHand
from referee_motion import WITH_FRICTION, Rest, rest_lowered, rest_worked, slack_angle_deg, straight, walk

from handsel.design.model import Design
from handsel.inspection.case import Case, Observation
from handsel.inspection.protocol import Protocol
from handsel.mechanics.build import Build, nominal_build
from handsel.rework.assessment import assess
from handsel.rework.moves import pin_slide, tension_slide
from handsel.rework.result import Assessment, Estimate, Fix, FixKind

Floats = NDArray[np.float64]

# The hands. Every cord is off by 3 mm (standard deviation): part of it the template's, shared by all three.
CORD_SD_MM, TEMPLATE_SD_MM = 3.0, 2.0
MU_LEAST, WRIST_NMM = 0.05, (2.0, 15.0)
PULLED_IN_SHARE, PULLED_IN_TURNS = 0.3, 4  # some hands come with up to this many half turns in already
PIN_PLACED_SD_MM = 0.5
# The readings. Of an angle's uncertainty one part is common to repeated photos of the same hand.
ANGLE_U, ANGLE_COMMON, TILT_U, TILT_COMMON = 0.8, 0.5, 2.0, 1.0
FRONT_U_MM, PIN_U_MM = 0.15, 0.15
PRESS_WRONG, FEELS_SLACK_MM = 0.03, 0.25  # of slack in each leg
BENT_SHOWS_DEG = 6.0
REREADS, PHOTOS = 3, 3  # the tool asks for another reading at most so often; so many are then taken
# The work.
TURN_OFF = 1.0 / 12.0  # a half turn is met within 30 degrees of the key, evenly
PIN_SD_MM, CUT_OFF_MM, SEAT_MM, SEAT_SD_MM = 0.3, 1.0, 0.5, 0.5  # seating: per knot
# What is wanted.
LEAST_DEG, MOST_DEG, LEAD_WITHIN_DEG = 30.0, 45.0, 5.0

DRIVE = replace(WITH_FRICTION, release_deg_s=2.0)  # within 0.06 degrees of 0.5, and some three times as quick
# MuJoCo's dry friction creeps a little under load; what moves less than this in the last 0.1 s is at rest.
STILL_DEG = 0.01


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Run:
    """One hand through the loop."""

    number: int
    excess_mm: Floats  # before
    mu: float
    wrist_nmm: float
    kind: str  # of the fix; the last one asked for
    reread: int  # how often the tool asked for another reading first
    before_deg: float
    before_lead_deg: float
    after_deg: float
    after_lead_deg: float
    stated_angle: Estimate | None
    stated_lead: Estimate | None
    p_success: float
    turns: float
    new_cords: int
    held: bool  # after the fix the wrist pin alone carries the cuff
    asked: str  # what the tool still asks for instead of a move, or empty
    crept_deg: float  # wrist travel in the last window of a rest that was not quite still
    excluded: str  # reason, or empty
    wall_s: float

    @property
    def covered(self) -> bool:
        """Whether the worked angle lies within the interval that the tool stated."""
        s = self.stated_angle
        return s is not None and s.low <= self.after_deg <= s.high

    @property
    def lead_covered(self) -> bool:
        s = self.stated_lead
        return s is not None and s.low <= self.after_lead_deg <= s.high

    @property
    def good(self) -> bool:
        """Whether it ends as wanted: both angle and timing."""
        return self.angle_good and abs(self.after_lead_deg) <= LEAD_WITHIN_DEG

    @property
    def angle_good(self) -> bool:
        return LEAST_DEG <= self.after_deg <= MOST_DEG


class Truth:
    """One hand as it really is: its build, and what the referee makes of it."""

    def __init__(self, design: Design, build: Build) -> None:
        self.design, self.build = design, build
        self.rest = rest_worked(RubbingHand(design, build), drive=DRIVE, check=False)
        self.still = RubbingHand(design, build)  # for its paths
        self.bar_deg, self.thumb_deg = self._starts()

    @property
    def lead_deg(self) -> float:
        return self.thumb_deg - self.bar_deg

    def _over_mm(self, theta_deg: float, psi_rad: float) -> Floats:
        """How much longer each cord's path is than the cord, digits straight."""
        pose = Pose(
            theta_rad=radians(theta_deg), psi_rad=psi_rad, phi_rad=np.zeros_like(self.still.phi, dtype=float)
        )
        path = self.still.lengths_at(pose)[self.still.cords]
        return np.asarray((path - self.still.cord_length_m) * 1e3)

    def _starts(self) -> tuple[float, float]:
        """Wrist angles at which the loops, whatever the bar does, and the thumb's cord come taut."""
        loops = [k for k, c in enumerate(self.design.cords) if len(c.legs) == 2]
        alone = next(k for k, c in enumerate(self.design.cords) if len(c.legs) == 1)
        low, high = (radians(x) for x in self._bar_range())

        def bar_lacks(theta: float) -> float:
            def apart(psi: float) -> float:
                over = self._over_mm(theta, psi)
                return float(over[loops[0]] - over[loops[1]])

            return float(self._over_mm(theta, _root(apart, low, high, 24))[loops].max())

        return (
            _root(bar_lacks, -60.0, 84.0, 20),
            _root(lambda theta: float(self._over_mm(theta, 0.0)[alone]), -60.0, 84.0, 24),
        )

    def _bar_range(self) -> tuple[float, float]:
        hinge = self.design.hinge("whippletree")
        return hinge.min_deg, hinge.max_deg

    def lowered_deg(self) -> float:
        return rest_lowered(RubbingHand(self.design, self.build), drive=DRIVE, check=False).angle_deg

    def thumb_tip_bend_deg(self) -> float:
        """Bend of the thumb's tip when the fingers are about to move, pressed down from above."""
        if self.lead_deg <= 0.0:
            return 0.0
        hand = RubbingHand(self.design, self.build)
        hand.set_pose(straight(hand, slack_angle_deg(hand)))
        path = walk(hand, np.array([self.bar_deg]), drive=DRIVE)
        thumb = [d.name for d in self.design.digits].index("thumb")
        return float(path.digits_deg[-1, thumb, 1])

    def slack_mm(self) -> Floats:
        """(c,) slack in each leg of each cord at the worked rest [mm]; negative: stretched."""
        path = self.still.lengths_at(self.rest.pose)[self.still.cords]
        legs = np.array([len(c.legs) for c in self.design.cords])
        return np.asarray((self.still.cord_length_m - path) * 1e3 / legs)


def _root(f: Callable[[float], float], low: float, high: float, steps: int) -> float:
    """Where f, rising or falling, passes through nothing; the nearer end when it does not."""
    at_low, at_high = f(low), f(high)
    if at_low * at_high > 0.0:
        return low if abs(at_low) < abs(at_high) else high
    for _ in range(steps):
        middle = 0.5 * (low + high)
        value = f(middle)
        if value * at_low > 0.0:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def random_build(design: Design, rng: np.random.Generator) -> Build:
    """A hand as volunteers string it, with the friction that it happens to have."""
    plain, pin = nominal_build(design, 1), pin_slide(design)
    own = sqrt(CORD_SD_MM**2 - TEMPLATE_SD_MM**2)
    excess = TEMPLATE_SD_MM * rng.standard_normal((1, 1)) + own * rng.standard_normal(plain.excess_mm.shape)
    pitch = tension_slide(design).pitch_mm_per_turn or 0.5
    half_turns = int(rng.integers(1, PULLED_IN_TURNS + 1)) if rng.random() < PULLED_IN_SHARE else 0
    cord = design.cords[0]
    return replace(
        plain,
        excess_mm=excess,
        tension_slide_mm=np.array([0.5 * half_turns * pitch]),
        thumb_pin_mm=np.clip(PIN_PLACED_SD_MM * rng.standard_normal(1), pin.min_mm, pin.max_mm),
        friction_mu=np.maximum(cord.friction_mu + cord.u_friction_mu * rng.standard_normal(1), MU_LEAST),
        wrist_friction_nmm=rng.uniform(*WRIST_NMM, 1),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """A method of reading one number: its uncertainty, and the part of it that all readings share."""

    method: str
    u_deg: float
    common_deg: float


# First, and when the tool asks for it again: as the bundled protocol rates these methods.
PHOTO = Way(method="photo", u_deg=ANGLE_U, common_deg=ANGLE_COMMON)
FIRST = {
    "worked-rest-angle": PHOTO,
    "lowered-rest-angle": PHOTO,
    "whippletree-level": Way(method="photo", u_deg=TILT_U, common_deg=TILT_COMMON),
    "thumb-starts-with-fingers": Way(method="look", u_deg=1.5, common_deg=0.7),
    "thumb-tip-bend": Way(method="protractor", u_deg=2.0, common_deg=1.0),
}
BETTER = FIRST | {
    "thumb-starts-with-fingers": Way(method="video", u_deg=0.8, common_deg=0.4),
    "thumb-tip-bend": Way(method="photo", u_deg=1.2, common_deg=0.6),
}


class Reader:
    """A person with instruments: errors that repeat in all readings of one number, and errors that do not."""

    def __init__(self, truth: Truth, rng: np.random.Generator) -> None:
        self.truth, self.rng = truth, rng
        self.common: dict[str, float] = {}
        self.true = {
            "worked-rest-angle": truth.rest.angle_deg,
            "lowered-rest-angle": truth.lowered_deg(),
            "whippletree-level": truth.rest.tilt_deg,
            "thumb-starts-with-fingers": truth.lead_deg,
            "thumb-tip-bend": truth.thumb_tip_bend_deg(),
        }
        self.angles = {id: self._read(id, way, 1) for id, way in FIRST.items()}
        self.pressed = self._presses()
        self.once = [*self._looks(), *self._numbers()]

    def again(self, id: str) -> bool:
        """Take a reading once more, as well as can be; False if it is none that a second look changes."""
        if id in self.true:
            self.angles[id] = self._read(id, BETTER[id], PHOTOS, before=self.angles[id])
            return True
        if id in ("finger-cords-taut", "thumb-cord-press"):
            before, self.pressed = self.pressed, self._presses()
            return [o.answer for o in before] != [o.answer for o in self.pressed]
        return False

    def _read(self, id: str, way: Way, count: int, before: Observation | None = None) -> Observation:
        # More readings by the same method keep what is common to them; another method starts afresh.
        if before is not None and before.method == way.method:
            common, old = self.common[id], before.readings
        else:
            common, old = way.common_deg * float(self.rng.standard_normal()), ()
        self.common[id] = common
        fresh = sqrt(way.u_deg**2 - way.common_deg**2) * self.rng.standard_normal(count)
        read = np.round(self.true[id] + common + fresh, 1)
        return Observation(of=id, readings=(*old, *map(float, read)), unit="deg", method=way.method)

    def _presses(self) -> list[Observation]:
        feels = self.truth.slack_mm() < FEELS_SLACK_MM
        said = []
        for c, cord in enumerate(self.truth.design.cords):
            for leg in cord.legs:
                taut = bool(feels[c]) != (self.rng.random() < PRESS_WRONG)
                thumb = leg.digit == "thumb"
                said.append(
                    Observation(
                        of="thumb-cord-press" if thumb else "finger-cords-taut",
                        place="" if thumb else leg.digit,
                        answer="taut" if taut else "slack",
                    )
                )
        return said

    def _looks(self) -> list[Observation]:
        bent = self.truth.rest.digits_deg.sum(axis=1) > BENT_SHOWS_DEG
        return [
            Observation(of="digits-straight", place=d.name, answer="no" if b else "yes")
            for d, b in zip(self.truth.design.digits, bent, strict=True)
        ]

    def _numbers(self) -> list[Observation]:
        b, tension = self.truth.build, tension_slide(self.truth.design)
        slide, pin = float(b.tension_slide_mm[0]), float(b.thumb_pin_mm[0])
        turns = slide / (tension.pitch_mm_per_turn or 0.5)
        off_front, off_pin = self.rng.standard_normal(2)

        def number(of: str, value: float, unit: str) -> Observation:
            return Observation(of=of, value=round(value, 2), unit=unit)

        return [
            number("whippletree-flush", slide + FRONT_U_MM * off_front, "mm"),
            number("tension-screw-thumb-side", turns, "turn"),
            number("tension-screw-little-side", turns, "turn"),
            number("thumb-pin-in-line", pin + PIN_U_MM * off_pin, "mm"),
        ]

    def case(self, sound: Case) -> Case:
        """What was read, on top of a case in which everything else is as it should be."""
        mine = [*self.angles.values(), *self.pressed, *self.once]
        read = {o.of for o in mine}
        return replace(sound, observations=(*(o for o in sound.observations if o.of not in read), *mine))


def carry_out(fix: Fix, truth: Truth, rng: np.random.Generator) -> Build:
    """The hand after the fix, as people do it: turns, pin, cuts and knots each a little off."""
    b, design = truth.build, truth.design
    tension, pin = tension_slide(design), pin_slide(design)
    excess, at, at_pin = b.excess_mm.copy(), b.tension_slide_mm.copy(), b.thumb_pin_mm.copy()
    if fix.move is not None and fix.move.screw_turns:
        turned = fix.move.screw_turns + rng.uniform(-TURN_OFF, TURN_OFF)
        at = np.clip(at + (tension.pitch_mm_per_turn or 0.5) * turned, tension.min_mm, tension.max_mm)
    if fix.move is not None and fix.move.thumb_pin_mm:
        at_pin = np.clip(
            at_pin + fix.move.thumb_pin_mm + PIN_SD_MM * rng.standard_normal(), pin.min_mm, pin.max_mm
        )
    # Length of each cord if it were as designed, from the referee's own paths.
    designed_mm = truth.still.cord_length_m * 1e3 - b.excess_mm[0]
    for new in fix.new_cords:
        c = next(k for k, cord in enumerate(design.cords) if cord.name == new.cord)
        cord = design.cords[c]
        cut = round(new.cut_length_mm) + rng.uniform(-CUT_OFF_MM, CUT_OFF_MM)
        seated = (SEAT_MM + SEAT_SD_MM * rng.standard_normal(cord.knot_count)).sum()
        excess[0, c] = cut - cord.tail_mm + seated - designed_mm[c]
    return replace(b, excess_mm=excess, tension_slide_mm=at, thumb_pin_mm=at_pin)


def run(number: int, seed: int, design: Design, protocol: Protocol, sound: Case) -> Run:
    """One hand through the whole loop; the same number and seed give the same hand."""
    began, rng = perf_counter(), np.random.default_rng([seed, number])
    truth = Truth(design, random_build(design, rng))
    reader = Reader(truth, rng)
    answer, reread = _answer(reader, design, protocol, sound), 0
    while answer.fix.kind is FixKind.READ_FIRST and reread < REREADS and _read_again(answer, reader):
        reread += 1
        answer = _answer(reader, design, protocol, sound)
    fix, after = answer.fix, truth
    if fix.move is not None:
        after = Truth(design, carry_out(fix, truth, rng))
    stated = fix.after if fix.after is not None else answer.now
    return Run(
        number=number,
        excess_mm=truth.build.excess_mm[0],
        mu=float(truth.build.friction_mu[0]),
        wrist_nmm=float(truth.build.wrist_friction_nmm[0]),
        kind=fix.kind.value,
        reread=reread,
        before_deg=truth.rest.angle_deg,
        before_lead_deg=truth.lead_deg,
        after_deg=after.rest.angle_deg,
        after_lead_deg=after.lead_deg,
        stated_angle=stated.worked_rest_angle_deg if stated is not None else None,
        stated_lead=stated.thumb_lead_deg if stated is not None else None,
        p_success=fix.p_success if fix.p_success is not None else float("nan"),
        turns=fix.move.screw_turns if fix.move is not None else 0.0,
        new_cords=len(fix.new_cords),
        held=after.rest.held,
        asked=_open(answer),
        crept_deg=max(_crept(truth.rest), _crept(after.rest)),
        excluded=""
        if max(_crept(truth.rest), _crept(after.rest)) < STILL_DEG
        else "the referee did not come to rest",
        wall_s=perf_counter() - began,
    )


def _answer(reader: Reader, design: Design, protocol: Protocol, sound: Case) -> Assessment:
    return assess(
        reader.case(sound), protocol, design, design_sha256="", protocol_sha256="", program_version=""
    )


def _read_again(answer: Assessment, reader: Reader) -> bool:
    """Take the reading that the tool asks for, if it is one that a second look can change."""
    asked = [i.id for i in answer.inspection.items if f"“{i.called}”" in answer.fix.sentence]
    return bool(asked) and reader.again(asked[-1])


def _open(answer: Assessment) -> str:
    """What the tool asks for last, when it orders no move."""
    if answer.fix.kind not in (FixKind.READ_FIRST, FixKind.PART_FIRST):
        return ""
    return next((i.id for i in answer.inspection.items if f"“{i.called}”" in answer.fix.sentence), "other")


def _crept(rest: Rest) -> float:
    return 0.0 if rest.settled else rest.creep_deg
