"""The hand laid flat, seen from its palm or from its back: for screens, in few strokes.

Drawn as a right hand whatever the side; who shows it mirrors the whole picture for a left one.
Picture plane [mm]: fingers up, y down; from the palm the thumb is on the right, from the back on the left.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from math import hypot

from handsel.data.strokes import Stroke, band
from handsel.design.model import CUFF, PALM, Design, Digit, RoutePoint
from handsel.documents.sketch import area, disc, line
from handsel.documents.svg import Point


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """A picture with the places in it that can be marked, in its own plane."""

    strokes: tuple[Stroke, ...]
    places: Mapping[str, tuple[Point, ...]]


@dataclass(frozen=True, slots=True, kw_only=True)
class DigitFlat:
    """A digit's joints and end in the picture."""

    name: str
    knuckle: Point
    joint: Point
    end: Point
    knot: Point
    half: float


def thumb_sign(design: Design) -> float:
    """+1 for a right hand, -1 for a left one: the side that the thumb is on."""
    thumb = next((d for d in design.digits if d.name == "thumb"), None)
    y = design.hinge(thumb.proximal_hinge).origin_mm[1] if thumb else 1.0
    return -1.0 if y < 0.0 else 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """The measures that both flat views are drawn from, as a right hand [mm]."""

    design: Design
    sign: float
    seen: float  # +1 from the palm, -1 from the back

    def at(self, x: float, y: float) -> Point:
        return (self.seen * self.sign * y, -x)

    def of(self, p: tuple[float, float, float]) -> Point:
        return self.at(p[0], p[1])

    def up(self, x: float, across: float) -> Point:
        """A place by its distance from the middle line, positive toward the thumb."""
        return (self.seen * across, -x)

    def up_k(self, x: float, across: float) -> Point:
        """As `up`, x at the size of such a cuff."""
        return self.up(self.k * x, across)

    @property
    def r(self) -> float:
        return next(p.radius_mm for p in self.design.pads if p.segment == "tip")

    @property
    def half(self) -> float:
        ys = [self.design.hinge(g.proximal_hinge).origin_mm[1] for g in self.fingers]
        return (max(ys) - min(ys)) / 2.0 + 1.2 * self.r

    @property
    def rear(self) -> float:
        return 2.0 * self.design.body(CUFF).com_mm[0]

    @property
    def k(self) -> float:
        """Size against a cuff 119 mm long, for what no measure of the design says."""
        return -self.rear / 119.0

    @property
    def fingers(self) -> tuple[Digit, ...]:
        return tuple(g for g in self.design.digits if g.name != "thumb")

    def digit(self, g: Digit) -> DigitFlat:
        d = self.design
        first, second = d.hinge(g.proximal_hinge).origin_mm, d.hinge(g.tip_hinge).origin_mm
        pad = next(p for p in d.pads if p.digit == g.name and p.segment == "tip")
        leg = next((k for c in d.cords for k in c.legs if k.digit == g.name), None)
        wide = 1.4 if g.name == "thumb" else 1.12
        return DigitFlat(
            name=g.name,
            knuckle=self.of(first),
            joint=self.of(second),
            end=self.of(pad.centre_mm),
            knot=self.of(leg.points[-1].at_mm if leg else pad.centre_mm),
            half=wide * pad.radius_mm,
        )


def flat_view(design: Design, *, from_palm: bool, shows: Collection[str] = ("cords",)) -> Scene:
    """The hand laid straight, from its palm or its back.

    Parameters: design, on either side; from_palm; shows, what is on it by then: cords, straps, foam, grips.
    Returns: Scene in mm, y down, as a right hand.    Raises: nothing of its own.
    Valid for: designs with a palm, a cuff and digits of two parts.
    Source: own shapes, sized by the design's hinges and pads.    Checked by: unit/test_check_figures.py
    """
    plan = Plan(design=design, sign=thumb_sign(design), seen=1.0 if from_palm else -1.0)
    drawn = [*_cuff(plan, from_palm, shows), *_palm(plan)]
    if from_palm and "foam" in shows:
        h = plan.half
        corners = ((12.0, -0.5 * h), (50.0, -0.66 * h), (50.0, 0.66 * h), (12.0, 0.5 * h))
        drawn.append(area("foam", *(plan.up_k(*c) for c in corners), r=9.0))
    digits = [plan.digit(g) for g in design.digits]
    drawn += [bone for f in digits for bone in _bones(f)]
    if "grips" in shows:
        drawn += [_grip(f) for f in digits]
    drawn += [_pin(f, at) for f in digits for at in (f.knuckle, f.joint)]
    if not from_palm:
        drawn += _block(plan)
    if "cords" in shows:
        drawn += _palm_cords(plan) if from_palm else _back_lines(plan)
    if "straps" in shows:
        drawn += _straps(plan, from_palm)
    return Scene(strokes=tuple(drawn), places=_places(plan, from_palm))


def _palm_outline(p: Plan) -> list[Point]:
    h = p.half
    knuckles = sorted((p.digit(g) for g in p.fingers), key=lambda f: p.seen * f.knuckle[0])
    front = [(f.knuckle[0], f.knuckle[1] + 3.0) for f in knuckles]
    low, high = front[0], front[-1]
    out = p.seen * p.r * 1.2
    return [
        p.up_k(2.0, -0.72 * h),
        p.up_k(26.0, -h),
        (low[0] - out, low[1]),
        *front[1:-1],
        (high[0] + out, high[1]),
        p.up_k(26.0, h),
        p.up_k(2.0, 0.72 * h),
    ]


def _palm(p: Plan) -> list[Stroke]:
    thumb = next((p.digit(g) for g in p.design.digits if g.name == "thumb"), None)
    drawn = []
    if thumb is not None:
        heel = p.up_k(22.0, 0.45 * p.half)
        drawn.append(Stroke(ink="part", steps=band(*heel, 15.0 * p.k, *thumb.knuckle, thumb.half * 1.25)))
    drawn.append(area("part", *_palm_outline(p), r=9.0))
    drawn.append(Stroke(ink="pin", steps=band(*p.up(0.0, -0.8 * p.half), 3.0, *p.up(0.0, 0.8 * p.half), 3.0)))
    return drawn


def _bones(f: DigitFlat) -> list[Stroke]:
    return [
        Stroke(ink="part", steps=band(*f.knuckle, f.half, *f.joint, f.half * 0.94)),
        Stroke(ink="part", steps=band(*f.joint, f.half * 0.94, *f.end, f.half * 0.86)),
    ]


def _grip(f: DigitFlat) -> Stroke:
    return Stroke(ink="foam", steps=band(*_mid(f.joint, f.end, 0.45), f.half * 0.95, *f.end, f.half * 0.93))


def _pin(f: DigitFlat, at: Point) -> Stroke:
    """A hinge pin from above: a line across the digit."""
    ux, uy = f.end[0] - f.joint[0], f.end[1] - f.joint[1]
    share = 0.8 * f.half / hypot(ux, uy)
    ax, ay = -uy * share, ux * share
    return line("thin", (at[0] - ax, at[1] - ay), (at[0] + ax, at[1] + ay))


def _cuff(p: Plan, from_palm: bool, shows: Collection[str]) -> list[Stroke]:
    h, rear = p.half, p.rear
    outline = [
        p.up_k(8.0, -0.74 * h),
        p.up_k(-24.0, -0.8 * h),
        p.up_k(-44.0, -h),
        p.up(rear, -0.96 * h),
        p.up(rear, 0.96 * h),
        p.up_k(-44.0, h),
        p.up_k(-24.0, 0.8 * h),
        p.up_k(8.0, 0.74 * h),
    ]
    drawn = [area("cuff", *outline, r=6.0)]
    if from_palm:  # it is open on this side: the flanks stand up on both sides of a trough
        inner = [p.up_k(-10.0, -0.5 * h), p.up_k(-44.0, -0.66 * h), p.up(rear + 1.0, -0.66 * h)]
        inner += [p.up(rear + 1.0, 0.66 * h), p.up_k(-44.0, 0.66 * h), p.up_k(-10.0, 0.5 * h)]
        drawn.append(area("foam" if "foam" in shows else "far", *inner, r=5.0))
    else:
        for s in (-1.0, 1.0):
            drawn.append(line("thin", p.up_k(-44.0, s * 0.72 * h), p.up(rear + 2.0, s * 0.7 * h)))
    return drawn


def _block(p: Plan) -> list[Stroke]:
    d = p.design
    x, y, _ = d.hinge("whippletree").origin_mm
    reach = max(abs(q.at_mm[1] - y) for q in _cord_starts(d) if q.body == d.hinge("whippletree").child) + 5.0

    def box(ink: str, x0: float, x1: float, y0: float, y1: float) -> Stroke:
        return area(ink, p.up(x0, y0), p.up(x0, y1), p.up(x1, y1), p.up(x1, y0))

    heads = [s * d.slide("tension").screw_spacing_mm for s in (-0.5, 0.5)]
    pins = [q.at_mm for q in _cord_starts(d) if q.body not in (d.hinge("whippletree").child, CUFF)]
    drawn = [box("block", x - 26, x + 6, -reach, reach)]
    drawn += [box("block", q[0] - 12, q[0] + 5, q[1] * p.sign - 4, q[1] * p.sign + 4) for q in pins]
    drawn += [disc("pin", p.of(q), 2.4) for q in pins]
    drawn += [box("pin", x - 32, x - 24, across - 3, across + 3) for across in heads]
    drawn += [line("thin", p.up(x - 24, across), p.up(x - 8, across)) for across in heads]
    drawn.append(line("bold", p.up(x, -reach + 2), p.up(x, reach - 2)))
    return drawn


def _cord_starts(d: Design) -> list[RoutePoint]:
    return [leg.points[0] for c in d.cords for leg in c.legs]


def _palm_cords(p: Plan) -> list[Stroke]:
    drawn = []
    for c in p.design.cords:
        for leg in c.legs:
            ways = [q for q in leg.points if q.body != leg.points[0].body]
            out = [q for q in ways if q.body == PALM][-1:] + [q for q in ways if q.body != PALM]
            drawn.append(line("cord", *(p.of(q.at_mm) for q in out)))
    return drawn + [disc("dot", p.digit(g).knot, 2.4) for g in p.design.digits]


def _back_lines(p: Plan) -> list[Stroke]:
    drawn = []
    for c in p.design.cords:
        for leg in c.legs:
            drawn.append(line("cord", *(p.of(q.at_mm) for q in leg.points[:2])))
    for e in p.design.elastics:
        drawn.append(line("elastic", *(p.of(q.at_mm) for q in e.points)))
    return drawn


def _straps(p: Plan, from_palm: bool) -> list[Stroke]:
    h = p.half
    at = (0.52 * p.rear, 0.82 * p.rear)
    spans = [(-h - 3, h + 3)] if from_palm else [(h - 9, h + 4), (-h - 16, -h + 3)]
    drawn = [
        area("strap", p.up(x - 6, a), p.up(x - 6, b), p.up(x + 6, b), p.up(x + 6, a))
        for x in at
        for a, b in spans
    ]
    return drawn if from_palm else drawn + [disc("dot", p.up(x, h - 3), 1.8) for x in at]


def _places(p: Plan, from_palm: bool) -> dict[str, tuple[Point, ...]]:
    d, h, rear = p.design, p.half, p.rear
    digits = {g.name: p.digit(g) for g in d.digits}
    fingers = [digits[g.name] for g in p.fingers]
    thumb = digits.get("thumb", fingers[0])
    ends = {f.name: _mid(f.joint, f.end, 0.6) for f in digits.values()}
    ordered = sorted(fingers, key=lambda f: f.knuckle[0])
    x = d.hinge("whippletree").origin_mm[0]
    apart = d.slide("tension").screw_spacing_mm / 2.0
    pins = [q for q in _cord_starts(d) if q.body not in (d.hinge("whippletree").child, CUFF)]
    legs = [leg for c in d.cords for leg in c.legs]
    places: dict[str, tuple[Point, ...]] = {
        "whole": (p.up_k(30.0, 0.0),),
        "palm": (p.up_k(36.0, 0.0),),
        "cuff": (p.up(0.72 * rear, 0.0),),
        "cuff-edge": (p.up(0.8 * rear, h), p.up(0.8 * rear, -h), p.up(rear + 7.0 * p.k, 0.0)),
        "wrist": (p.up(0.0, 0.0),),
        "knuckles": tuple(f.knuckle for f in digits.values()),
        "tip-hinges": tuple(f.joint for f in digits.values()),
        "proximals": tuple(_mid(f.knuckle, f.joint, 0.5) for f in digits.values()),
        "tips": tuple(ends.values()),
        "thumb": (_mid(thumb.knuckle, thumb.end, 0.5),),
        "thumb-proximal": (_mid(thumb.knuckle, thumb.joint, 0.5),),
        "thumb-tip": (ends[thumb.name],),
        "gaps": tuple(_mid(a.joint, b.joint, 0.5) for a, b in zip(ordered, ordered[1:], strict=False)),
        "outer-tips": (ends[ordered[0].name], ends[ordered[-1].name]),
        "middle-tips": tuple(ends[f.name] for f in ordered[1:-1]),
        "knots": (*(f.knot for f in digits.values()),),
        "holes": tuple(p.of(leg.points[2].at_mm) if len(leg.points) > 2 else thumb.knuckle for leg in legs),
        "cords": tuple(_mid(f.knuckle, f.joint, 0.5) for f in digits.values()),
        "skin": (p.up_k(36.0, 0.0), p.up(0.6 * rear, 0.0)),
        "straps": (p.up(0.52 * rear, h - 3), p.up(0.82 * rear, h - 3)),
        "label": (p.up_k(-88.0, 0.0),),
        "block": (p.up(x - 10, 0.0),),
        "bar": (p.up(x, 0.0),),
        "screws": (p.up(x - 28, apart), p.up(x - 28, -apart)),
        "screw-thumb-side": (p.up(x - 28, apart),),
        "screw-little-side": (p.up(x - 28, -apart),),
        "thumb-pin": tuple(p.of(q.at_mm) for q in pins) or (p.up(x, h),),
        "joint": (p.up(x - 26, 0.0),),
        "cords-over-wrist": (p.up(0.0, 0.0),),
        "elastics": tuple(_mid(f.knuckle, f.joint, 0.5) for f in digits.values()),
        "elastic-ends": tuple(p.of(e.points[k].at_mm) for e in d.elastics for k in (0, -1)),
    }
    return places


def _mid(a: Point, b: Point, share: float) -> Point:
    return (a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1]))
