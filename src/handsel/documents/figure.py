"""The solid pieces of a hand in one pose, as flat outlines in the order in which they are painted."""

from __future__ import annotations

from collections.abc import Iterator
from math import cos, hypot, pi, sin

import numpy as np

from handsel.design.model import CUFF, PALM, Design, Digit, Hinge, Vec3
from handsel.design.posing import taut_line
from handsel.design.support import hull
from handsel.documents.figure_look import Flat, Floats, Look, Outline


def painted(seen: Look, *, lines: bool = True) -> tuple[Outline, ...]:
    """Everything of the hand, the furthest first.

    Parameters: seen; lines False leaves out cords and elastics, for small pictures.
    Returns: outlines [mm].    Raises: nothing of its own.
    Valid for: designs with a palm, a cuff and digits of two parts.
    Source: own shapes, sized by the design's hinges and pads.    Checked by: unit/test_documents.py
    """
    found = [*cuff(seen), *_block(seen), *_palm(seen)]
    if lines:
        found += _over_the_wrist(seen)
    order = sorted(seen.design.digits, key=lambda d: (d.name == "thumb", seen.near * _across(seen, d)))
    for digit in order:
        if digit.name == "thumb":
            found += _thumb_seat(seen, digit)
        found += _digit(seen, digit)
        if lines:
            found += _lines_of(seen, digit)
    return tuple(found)


def _across(seen: Look, digit: Digit) -> float:
    return seen.design.hinge(digit.proximal_hinge).origin_mm[1]


def _swept(seen: Look, body: str, face: list[Vec3], half: Floats, kind: str) -> Iterator[Outline]:
    """A flat face moved half its width to both sides: back face, sides, front face."""
    if -seen.near * half[1] > 0.0:
        half = -half  # `half` points toward the viewer
    near = [seen.at(body, _plus(p, half)) for p in face]
    far = [seen.at(body, _plus(p, -half)) for p in face]
    is_convex = _is_convex(near)
    yield Outline(kind=f"{kind} side", points=hull([*near, *far]) if is_convex else tuple(far))
    if not is_convex:
        for a, b, c, d in zip(near, near[1:] + near[:1], far[1:] + far[:1], far, strict=True):
            yield Outline(kind=f"{kind} side", points=(a, b, c, d))
    yield Outline(kind=f"{kind} face", points=tuple(near))


def _is_convex(points: list[Flat]) -> bool:
    return len(hull(points)) >= len(set(points)) - 2


def _plus(p: Vec3, d: Floats) -> Vec3:
    return (p[0] + float(d[0]), p[1] + float(d[1]), p[2] + float(d[2]))


def _round(centres: list[tuple[Flat, float]]) -> list[Flat]:
    """The outline of some discs with a band drawn tight round them."""
    rim = [
        (x + r * cos(2 * pi * k / 28), z + r * sin(2 * pi * k / 28))
        for (x, z), r in centres
        for k in range(28)
    ]
    return list(hull(rim))


def _digit(seen: Look, digit: Digit) -> Iterator[Outline]:
    """The two parts of a digit: rounded, tapering, as wide as its hinge asks."""
    d = seen.design
    kind = "thumb" if digit.name == "thumb" else "finger"
    first, second = d.hinge(digit.proximal_hinge), d.hinge(digit.tip_hinge)
    soft = next(p for p in d.pads if p.digit == digit.name and p.segment == "tip")
    r = soft.radius_mm
    half = (1.35 if kind == "thumb" else 1.1) * r
    end = np.subtract(soft.centre_mm, second.origin_mm)
    along = np.subtract(second.origin_mm, first.origin_mm)
    ahead = along / np.linalg.norm(along)
    tip_end = np.asarray(second.origin_mm) + ahead * float(end @ ahead)
    if kind == "thumb":  # it faces the viewer edge on: rounded all about, like a capsule
        a, b = seen.at(PALM, first.origin_mm), seen.at(first.child, second.origin_mm)
        c = seen.at(second.child, (float(tip_end[0]), float(tip_end[1]), float(tip_end[2])))
        for start, to, radii in ((a, b, (1.5 * r, 1.4 * r)), (b, c, (1.4 * r, 1.15 * r))):
            yield Outline(kind="thumb face", points=tuple(_round([(start, radii[0]), (to, radii[1])])))
        for at in (a, b):
            yield Outline(kind="pin", points=tuple(_round([(at, 0.34 * r)])))
        return
    yield from _bone(seen, first, np.asarray(second.origin_mm), (1.2 * r, 1.05 * r), half, kind)
    yield from _bone(seen, second, tip_end, (1.05 * r, 0.92 * r), half * 0.94, kind)
    yield _pin(seen, first, half, r)
    yield _pin(seen, second, half * 0.94, r)


def _bone(
    seen: Look, hinge: Hinge, to: Floats, radii_mm: tuple[float, float], half_mm: float, kind: str
) -> Iterator[Outline]:
    """A tapering part from its own hinge to a place, in the plane across the hinge's axis."""
    origin, axis = np.asarray(hinge.origin_mm), np.asarray(hinge.axis)
    along = to - origin
    length = float(np.linalg.norm(along))
    along = along / length
    up = np.cross(along, axis)
    face = [
        origin + u * along + v * up
        for u, v in _round([((0.0, 0.0), radii_mm[0]), ((length, 0.0), radii_mm[1])])
    ]
    yield from _swept(
        seen, hinge.child, [(float(p[0]), float(p[1]), float(p[2])) for p in face], axis * half_mm, kind
    )


def _pin(seen: Look, hinge: Hinge, half_mm: float, r: float) -> Outline:
    axis = np.asarray(hinge.axis) * half_mm
    if -seen.near * axis[1] > 0.0:
        axis = -axis
    u, v = seen.at(hinge.parent, _plus(hinge.origin_mm, axis))
    return Outline(kind="pin", points=tuple(_round([((u, v), 0.34 * r)])))


def _palm(seen: Look) -> Iterator[Outline]:
    """A wedge from the wrist hinge over the guide of the cords down to the knuckles, flat below."""
    d = seen.design
    fingers = [d.hinge(g.proximal_hinge).origin_mm for g in d.digits if g.name != "thumb"]
    guides = [leg.points[1].at_mm for c in d.cords for leg in c.legs if leg.points[1].body == PALM]
    gx, gz = max(g[0] for g in guides), max(g[2] for g in guides)
    knuckle_x, knuckle_z = fingers[0][0], fingers[0][2]
    r = _pad_radius(d)
    base, front = d.pose.base_z_mm, d.palm_front_x_mm
    shape = [
        ((0.0, 0.0), 1.6 * r),
        ((gx, gz - 0.2 * r), 0.8 * r),
        ((knuckle_x - 0.2 * r, knuckle_z), 1.15 * r),
    ]
    shape += [((0.6 * r, base + 0.5 * r), 0.5 * r), ((front - 0.5 * r, base + 0.5 * r), 0.5 * r)]
    middle = (max(f[1] for f in fingers) + min(f[1] for f in fingers)) / 2.0
    half = (max(f[1] for f in fingers) - min(f[1] for f in fingers)) / 2.0 + 1.5 * r
    face = [(u, middle, v) for u, v in _round(shape)]
    yield from _swept(seen, PALM, face, np.array([0.0, half, 0.0]), "palm")
    wrist = seen.at(PALM, (0.0, middle + seen.near * half, 0.0))
    yield Outline(kind="pin", points=tuple(_round([(wrist, 0.55 * r)])))


def _pad_radius(d: Design) -> float:
    return next(p.radius_mm for p in d.pads if p.segment == "tip")


def _thumb_seat(seen: Look, thumb: Digit) -> Iterator[Outline]:
    """What carries the thumb on the palm's side."""
    x, y, z = seen.design.hinge(thumb.proximal_hinge).origin_mm
    r = _pad_radius(seen.design)
    base = seen.design.pose.base_z_mm
    face = [
        (u, y - seen.near * 0.9 * r, v)
        for u, v in _round([((x, z), 1.25 * r), ((x - 1.6 * r, base + 1.4 * r), 1.2 * r)])
    ]
    yield from _swept(seen, PALM, face, np.array([0.0, 0.5 * r, 0.0]), "palm")


def cuff_profile(d: Design) -> tuple[list[Flat], float]:
    """The cuff's wall seen from the side, straight behind the wrist, and half its width [mm]."""
    r = _pad_radius(d)
    rear = 2.0 * d.body(CUFF).com_mm[0]
    roof = d.hinge("whippletree").origin_mm[2] - 1.7 * r
    wall = [(1.1 * r, 0.9 * r), (1.25 * r, 0.0), (1.1 * r, -0.9 * r), (0.0, -1.25 * r)]
    wall += [
        (-2.4 * r, -1.3 * r),
        (-4.2 * r, -3.2 * r),
        (rear + 2.0 * r, -3.5 * r),
        (rear, -2.4 * r),
        (rear, roof - 0.8 * r),
    ]
    wall += [(rear + 0.8 * r, roof), (-4.6 * r, roof), (-2.6 * r, 1.2 * r), (0.0, 1.25 * r)]
    fingers = [d.hinge(g.proximal_hinge).origin_mm[1] for g in d.digits if g.name != "thumb"]
    return wall, (max(fingers) - min(fingers)) / 2.0 + 1.2 * r


def cuff(seen: Look) -> Iterator[Outline]:
    """Far wall, back and near wall of the cuff: open below, where the forearm goes."""
    wall, half = cuff_profile(seen.design)
    far = tuple(seen.at(CUFF, (x, -seen.near * half, z)) for x, z in wall)
    near = tuple(seen.at(CUFF, (x, seen.near * half, z)) for x, z in wall)
    yield Outline(kind="cuff side", points=far)
    k = len(wall) - 4  # the roof's rear edge; the next but one is its front edge
    roof = (near[k], near[k + 1], near[k + 2], far[k + 2], far[k + 1], far[k])
    yield Outline(kind="cuff top", points=roof)
    yield Outline(kind="cuff face", points=near)


def cuff_outline(seen: Look) -> tuple[Flat, ...]:
    """The near wall alone, for showing where it will be."""
    wall, half = cuff_profile(seen.design)
    return tuple(seen.at(CUFF, (x, seen.near * half, z)) for x, z in wall)


def _block(seen: Look) -> Iterator[Outline]:
    """Tension block with its whippletree and the thumb tension pin beside it."""
    d = seen.design
    bar = d.hinge("whippletree")
    x, y, z = bar.origin_mm
    ends = [leg.points[0].at_mm for c in d.cords for leg in c.legs if leg.points[0].body == bar.child]
    reach = max(abs(p[1] - y) for p in ends)
    front, rear, low, high = x + 6.0, x - 24.0, z - 9.0, z - 3.0
    floor: list[Vec3] = [
        (rear, y, low),
        (front, y, low),
        (front, y, high),
        (x - 8.0, y, high),
        (x - 10.0, y, z + 6.0),
        (rear, y, z + 6.0),
    ]
    yield from _swept(seen, CUFF, floor, np.array([0.0, reach + 5.0, 0.0]), "block")
    pins = [leg.points[0] for c in d.cords for leg in c.legs if leg.points[0].body not in (bar.child, CUFF)]
    for p in pins:
        px, py, pz = p.at_mm
        rail: list[Vec3] = [
            (px - 12.0, py, low),
            (px + 2.0, py, low),
            (px + 2.0, py, high),
            (px - 12.0, py, high),
        ]
        yield from _swept(seen, CUFF, rail, np.array([0.0, 3.0, 0.0]), "block")
        yield Outline(
            kind="post",
            points=(seen.at(CUFF, (px, py, high)), seen.at(CUFF, (px, py, pz + 3.0))),
            closed=False,
        )
    a, b = (seen.at(bar.child, (x, y + s * (reach + 2.5), z)) for s in (1.0, -1.0))
    yield Outline(kind="bar", points=(a, b), closed=False)
    yield Outline(kind="pin", points=tuple(_round([(seen.at(CUFF, (x, y, z)), 1.7)])))


def _over_the_wrist(seen: Look) -> Iterator[Outline]:
    """Each cord from the block to where it leaves the palm; a slack one sags and is dashed."""
    for cord, taut in zip(seen.design.cords, seen.taut, strict=True):
        for leg in cord.legs:
            at = next((k for k, p in enumerate(leg.points) if p.body not in (leg.points[0].body, PALM)), 2)
            points = leg.points[:at]
            corners = [seen.flat(p) for p in taut_line(seen.design, points, (), seen.angles_deg).corners_mm]
            if not taut:
                corners = [*_sagging(corners[0], corners[1]), *corners[1:]]
            yield Outline(kind="cord" if taut else "cord slack", points=tuple(corners), closed=False)


def _sagging(a: Flat, b: Flat) -> list[Flat]:
    """From a nearly to b, hanging in between: what a dead cord looks like."""
    drop = 0.14 * hypot(b[0] - a[0], b[1] - a[1])
    steps = [k / 12 for k in range(12)]
    return [(a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1]) - 4 * drop * t * (1 - t)) for t in steps]


def _lines_of(seen: Look, digit: Digit) -> Iterator[Outline]:
    d = seen.design
    elastic = next(e for e in d.elastics if e.digit == digit.name)
    way = taut_line(d, elastic.points, elastic.wraps, seen.angles_deg)
    yield Outline(kind="elastic", points=tuple(map(seen.flat, way.corners_mm)), closed=False)
    cord = d.cord_of(digit.name)
    taut = seen.taut[d.cords.index(cord)]
    leg = next(g for g in cord.legs if g.digit == digit.name)
    at = next((k for k, p in enumerate(leg.points) if p.body not in (leg.points[0].body, PALM)), 2)
    run = taut_line(d, leg.points[at - 1 :], leg.wraps, seen.angles_deg)
    yield Outline(
        kind="cord" if taut else "cord slack", points=tuple(map(seen.flat, run.corners_mm)), closed=False
    )
    knot = seen.flat(run.corners_mm[-1])
    yield Outline(kind="knot", points=tuple(_round([(knot, 1.5)])))
