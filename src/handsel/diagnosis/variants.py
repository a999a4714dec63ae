"""Designs with something else in place of a part: another route, a part of another digit, another size.

Each variant changes every digit in the same way. A digit's own curves depend on nothing but that digit, so a
hand is put together from any mixture of them.

A digit's own frame: x from knuckle to tip joint, p toward the palm side, k along the hinge; the same for all
digits of one hand, left or right.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from handsel.design.model import Design, RoutePoint, Vec3
from handsel.diagnosis.catalogue import Catalogue

Floats = NDArray[np.float64]
SIZED = ("part-size", "part-size-proximal", "part-size-tip")  # both parts of a digit, or one of them
LEVELS = 5  # severities of a variant that are worked out; a hand gets the nearest


@dataclass(frozen=True, slots=True, kw_only=True)
class Variant:
    """Which change it is, and how much of it."""

    to: str  # as in a catalogue's effects; "" for the design itself
    amount: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Frame:
    knuckle: Floats
    tip: Floats  # joint
    axes: Floats  # rows x, p, k

    def local(self, point: Vec3, origin: Floats) -> Floats:
        return np.asarray(self.axes @ (np.array(point) - origin))

    def back(self, local: Floats, origin: Floats) -> Vec3:
        return _vec(origin + local @ self.axes)


def variants_of(catalogue: Catalogue) -> tuple[Variant, ...]:
    """The variants that a catalogue's effects ask for; the first is the design itself."""
    out = [Variant(to="", amount=0.0)]
    for kind in catalogue.kinds:
        for e in kind.effects:
            if e.do == "swap-parts":
                out.append(Variant(to=e.to, amount=1.0))
            elif e.do == "replace-point" or e.to == "part-size":
                s = kind.severity
                amounts = np.linspace(s.low, s.high, LEVELS) if s is not None else np.ones(1)
                signs = (-1.0, 1.0) if s is not None and s.either_sign else (1.0,)
                for to in SIZED if e.to == "part-size" else (e.to,):
                    out += [Variant(to=to, amount=float(sign * a)) for sign in signs for a in amounts]
    return tuple(out)


def varied(design: Design, variant: Variant, catalogue: Catalogue, scale_ratio: float) -> Design:
    """A placed design with one change at every digit.

    Parameters: design, placed; variant; catalogue, for its places; scale_ratio [-] of the design.
    Returns: Design.
    """
    frames = {g.name: _frame(design, g.name) for g in design.digits}
    if variant.to == "knuckle-exit":
        effect = next(e for k in catalogue.kinds for e in k.effects if e.to == "knuckle-exit")
        if effect.behind_mm > 0.0:
            place = np.array([-effect.behind_mm * scale_ratio, variant.amount * scale_ratio])
            return _other_exit(design, frames, lambda _hole: place)
        return _other_exit(design, frames, lambda hole: (1.0 - variant.amount) * hole)
    if variant.to in SIZED:
        ratio = 1.0 + variant.amount / 100.0
        proximal = 1.0 if variant.to == "part-size-tip" else ratio
        tip = 1.0 if variant.to == "part-size-proximal" else ratio
        return _remade(design, {g: _scaled(design, g, f, proximal, tip) for g, f in frames.items()})
    if variant.to in ("tip", "proximal"):
        donors = _donors(catalogue, variant.to)
        make = _with_tip if variant.to == "tip" else _with_proximal
        return _remade(design, {g: make(design, g, donors[g], frames) for g in frames if g in donors})
    return design


def _donors(catalogue: Catalogue, to: str) -> dict[str, str]:
    """From which digit each digit gets its part: the first that the catalogue pairs it with."""
    out: dict[str, str] = {}
    for kind in catalogue.kinds:
        for e in kind.effects:
            if e.do == "swap-parts" and e.to == to:
                for place in kind.places:
                    a, b = e.at.format_map(catalogue.words(place)).split("-")
                    out.setdefault(a, b)
                    out.setdefault(b, a)
    return out


def _frame(design: Design, digit: str) -> _Frame:
    g = next(g for g in design.digits if g.name == digit)
    knuckle, tip = design.hinge(g.proximal_hinge), design.hinge(g.tip_hinge)
    a, b, k = np.array(knuckle.origin_mm), np.array(tip.origin_mm), np.array(knuckle.axis)
    x = (b - a) - k * (k @ (b - a))
    x /= np.linalg.norm(x)
    return _Frame(knuckle=a, tip=b, axes=np.stack([x, np.cross(k, x), k]))


@dataclass(frozen=True, slots=True, kw_only=True)
class _NewDigit:
    """Where everything on a digit goes, and what its two bodies weigh."""

    tip_joint: Vec3
    proximal_point: Callable[[int, Vec3, str], Vec3]  # number on this body, old place, line
    tip_point: Callable[[int, Vec3, str], Vec3]
    proximal_body: tuple[Vec3, float]
    tip_body: tuple[Vec3, float]
    pads: Mapping[str, tuple[Vec3, float]]  # by segment: centre, radius


def _bodies(design: Design, digit: str) -> tuple[str, str]:
    g = next(g for g in design.digits if g.name == digit)
    return design.hinge(g.proximal_hinge).child, design.hinge(g.tip_hinge).child


def _vec(x: Floats) -> Vec3:
    return float(x[0]), float(x[1]), float(x[2])


def _scaled(design: Design, digit: str, f: _Frame, ratio: float, tip_ratio: float) -> _NewDigit:
    """The proximal part made larger from the knuckle, the tip from its own joint, wherever that now is."""
    joint = f.knuckle + ratio * (f.tip - f.knuckle)

    def on_proximal(point: Vec3) -> Vec3:
        return _vec(f.knuckle + ratio * (np.array(point) - f.knuckle))

    def on_tip(point: Vec3) -> Vec3:
        return _vec(joint + tip_ratio * (np.array(point) - f.tip))

    proximal, tip = (design.body(b) for b in _bodies(design, digit))
    pads = _pads(design, digit)
    return _NewDigit(
        tip_joint=_vec(joint),
        proximal_point=lambda _i, p, _line: on_proximal(p),
        tip_point=lambda _i, p, _line: on_tip(p),
        proximal_body=(on_proximal(proximal.com_mm), proximal.printed_mass_g * ratio**3),
        tip_body=(on_tip(tip.com_mm), tip.printed_mass_g * tip_ratio**3),
        pads={
            "proximal": (on_proximal(pads["proximal"][0]), pads["proximal"][1] * ratio),
            "tip": (on_tip(pads["tip"][0]), pads["tip"][1] * tip_ratio),
        },
    )


def _points(design: Design, digit: str, body: str, line: str) -> list[Vec3]:
    if line == "cord":
        leg = next(leg for c in design.cords for leg in c.legs if leg.digit == digit)
        return [p.at_mm for p in leg.points if p.body == body]
    return [p.at_mm for p in next(e for e in design.elastics if e.digit == digit).points if p.body == body]


def _pads(design: Design, digit: str) -> dict[str, tuple[Vec3, float]]:
    return {p.segment: (p.centre_mm, p.radius_mm) for p in design.pads if p.digit == digit}


def _with_tip(design: Design, digit: str, donor: str, frames: Mapping[str, _Frame]) -> _NewDigit:
    """The donor's tip on this digit."""
    f, d = frames[digit], frames[donor]
    proximal = design.body(_bodies(design, digit)[0])
    given = design.body(_bodies(design, donor)[1])

    def taken(point: Vec3) -> Vec3:
        return f.back(d.local(point, d.tip), f.tip)

    def tip_point(i: int, _old: Vec3, line: str) -> Vec3:
        return taken(_points(design, donor, given.name, line)[i])

    pads, theirs = _pads(design, digit), _pads(design, donor)
    return _NewDigit(
        tip_joint=_vec(f.tip),
        proximal_point=lambda _i, p, _line: p,
        tip_point=tip_point,
        proximal_body=(proximal.com_mm, proximal.printed_mass_g),
        tip_body=(taken(given.com_mm), given.printed_mass_g),
        pads={**pads, "tip": (taken(theirs["tip"][0]), theirs["tip"][1])},
    )


def _with_proximal(design: Design, digit: str, donor: str, frames: Mapping[str, _Frame]) -> _NewDigit:
    """The donor's proximal part on this digit; the tip moves with its end."""
    f, d = frames[digit], frames[donor]
    given = design.body(_bodies(design, donor)[0])
    tip = design.body(_bodies(design, digit)[1])

    def taken(point: Vec3) -> Vec3:
        return f.back(d.local(point, d.knuckle), f.knuckle)

    joint: Floats = np.array(taken(_vec(d.tip)))
    shift = joint - f.tip

    def shifted(point: Vec3) -> Vec3:
        return _vec(np.array(point) + shift)

    def proximal_point(i: int, _old: Vec3, line: str) -> Vec3:
        return taken(_points(design, donor, given.name, line)[i])

    mine, theirs = _pads(design, digit), _pads(design, donor)
    return _NewDigit(
        tip_joint=_vec(joint),
        proximal_point=proximal_point,
        tip_point=lambda _i, p, _line: shifted(p),
        proximal_body=(taken(given.com_mm), given.printed_mass_g),
        tip_body=(shifted(tip.com_mm), tip.printed_mass_g),
        pads={
            "tip": (shifted(mine["tip"][0]), mine["tip"][1]),
            "proximal": (taken(theirs["proximal"][0]), theirs["proximal"][1]),
        },
    )


def _remade(design: Design, new: Mapping[str, _NewDigit]) -> Design:
    """The design with some digits made anew."""
    bodies = {b.name: b for b in design.bodies}
    hinges = {h.name: h for h in design.hinges}
    for g in design.digits:
        if (n := new.get(g.name)) is None:
            continue
        proximal, tip = _bodies(design, g.name)
        hinges[g.tip_hinge] = replace(hinges[g.tip_hinge], origin_mm=n.tip_joint)
        for name, (com, mass) in ((proximal, n.proximal_body), (tip, n.tip_body)):
            bodies[name] = replace(bodies[name], com_mm=com, printed_mass_g=mass)

    def routed(digit: str, points: tuple[RoutePoint, ...], line: str) -> tuple[RoutePoint, ...]:
        if (n := new.get(digit)) is None:
            return points
        proximal, tip = _bodies(design, digit)
        count = {proximal: 0, tip: 0}
        out = []
        for p in points:
            if p.body in count:
                make = n.proximal_point if p.body == proximal else n.tip_point
                p = replace(p, at_mm=make(count[p.body], p.at_mm, line))
                count[p.body] += 1
            out.append(p)
        return tuple(out)

    return replace(
        design,
        bodies=tuple(bodies.values()),
        hinges=tuple(hinges.values()),
        cords=tuple(
            replace(
                c,
                legs=tuple(replace(leg, points=routed(leg.digit, leg.points, "cord")) for leg in c.legs),
            )
            for c in design.cords
        ),
        elastics=tuple(replace(e, points=routed(e.digit, e.points, "elastic")) for e in design.elastics),
        pads=tuple(
            replace(p, centre_mm=new[p.digit].pads[p.segment][0], radius_mm=new[p.digit].pads[p.segment][1])
            if p.digit in new
            else p
            for p in design.pads
        ),
    )


def _other_exit(design: Design, frames: Mapping[str, _Frame], place: Callable[[Floats], Floats]) -> Design:
    """The cord leaves the palm elsewhere: `place` gives x and p, from the knuckle's axis, for those of the hole."""
    cords = []
    for c in design.cords:
        legs = []
        for leg in c.legs:
            f = frames[leg.digit]
            last = max(i for i, p in enumerate(leg.points) if p.body == "palm")
            hole = f.local(leg.points[last].at_mm, f.knuckle)
            at = f.back(np.array([*place(hole[:2]), hole[2]]), f.knuckle)
            points = list(leg.points)
            points[last] = replace(points[last], at_mm=at)
            legs.append(replace(leg, points=tuple(points)))
        cords.append(replace(c, legs=tuple(legs)))
    return replace(design, cords=tuple(cords))
