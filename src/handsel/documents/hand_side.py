"""The hand seen from its thumb side, in any pose, in few strokes: at rest, moving, closed, worn.

Drawn as a right hand, fingers to the left; who shows it mirrors the picture for a left one. Heights
and lengths are true, so every angle is the angle at the bench; depth shifts up and toward the fingers,
as in `handsel.documents.figure_look`, whose projection this uses. Picture plane [mm], y down.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace
from math import cos, radians, sin

import numpy as np

from handsel.data.strokes import Stroke, band
from handsel.design.model import CUFF, PALM, Design, Digit, Vec3
from handsel.design.support import hull
from handsel.documents.figure import cuff_profile
from handsel.documents.figure_look import Flat, Look, look
from handsel.documents.hand_flat import Scene, thumb_sign
from handsel.documents.sketch import area, disc, line
from handsel.documents.svg import Point
from handsel.rework.result import PoseDrawn

CLOSED_WRIST_DEG, OPEN_WRIST_DEG = -28.0, 42.0
CLOSED_DEG = {"finger": (58.0, 62.0), "thumb": (38.0, 34.0)}


def straight(design: Design, wrist_deg: float) -> PoseDrawn:
    """A pose with every digit straight, the cuff at an angle to the palm base [deg]."""
    return PoseDrawn(
        label="",
        wrist_deg=wrist_deg,
        tilt_deg=0.0,
        phi_deg=((0.0, 0.0),) * len(design.digits),
        tension_slide_mm=0.0,
        thumb_pin_mm=0.0,
        taut=(True,) * len(design.cords),
    )


def closed(design: Design, wrist_deg: float = CLOSED_WRIST_DEG) -> PoseDrawn:
    """A pose with the wrist bent and every digit closed: how it is meant, not a solved state."""
    bent = tuple(CLOSED_DEG["thumb" if g.name == "thumb" else "finger"] for g in design.digits)
    return replace(straight(design, wrist_deg), phi_deg=bent)


def side_view(
    design: Design,
    pose: PoseDrawn,
    *,
    stand: bool = False,
    ghost: PoseDrawn | None = None,
    arm: bool = False,
    shows: Collection[str] = ("cords",),
) -> Scene:
    """The hand from its thumb side in a pose.

    Parameters: design, on either side; pose; stand, whether it stands on one; ghost, another pose whose
        cuff is shown by a broken line, with an arrow from one to the other; arm, whether it is worn;
        shows, what is on it by then.
    Returns: Scene in mm, y down, as a right hand.    Raises: nothing of its own.
    Valid for: designs with a palm, a cuff and digits of two parts.
    Source: own shapes, sized by the design's hinges and pads.    Checked by: unit/test_check_figures.py
    """
    seen = look(design, pose, "left" if thumb_sign(design) < 0 else "right")
    drawn: list[Stroke] = []
    if stand:
        drawn += _stand(seen)
    if arm:
        drawn += _arm(seen)
    drawn += [*_cuff(seen), *_block(seen), *_palm(seen)]
    if "cords" in shows:
        drawn += _cords(seen)
    order = sorted(design.digits, key=lambda g: (g.name == "thumb", _toward_viewer(seen, g)))
    drawn += [bone for g in order for bone in _digit(seen, g)]
    drawn += [pin for g in order[-2:] for pin in _pins(seen, g)]  # the others hide behind them
    if "straps" in shows:
        drawn += _straps(seen)
    if ghost is not None:
        other = look(design, ghost, "left" if thumb_sign(design) < 0 else "right")
        drawn += _travel(seen, other)
    return Scene(strokes=tuple(drawn), places=_places(seen))


def _shown(p: Flat) -> Point:
    return (-p[0], -p[1])


def _at(seen: Look, body: str, x: float, toward_thumb: float, z: float) -> Point:
    return _shown(seen.at(body, (x, seen.near * toward_thumb, z)))


def _of(seen: Look, body: str, p: Vec3) -> Point:
    return _shown(seen.at(body, p))


def _toward_viewer(seen: Look, g: Digit) -> float:
    return seen.near * seen.design.hinge(g.proximal_hinge).origin_mm[1]


def _r(seen: Look) -> float:
    return next(p.radius_mm for p in seen.design.pads if p.segment == "tip")


def _half(seen: Look) -> float:
    return cuff_profile(seen.design)[1]


def _stand(seen: Look) -> list[Stroke]:
    pose = seen.design.pose
    xs = [x for x, _ in pose.support_mm]
    ys = [y for _, y in pose.support_mm]
    (x0, x1), (y0, y1), z = (min(xs), max(xs)), (min(ys), max(ys)), pose.base_z_mm
    top = [_at(seen, PALM, x, y, z) for x, y in ((x0, y1), (x1, y1), (x1, y0), (x0, y0))]
    near = [_at(seen, PALM, x, y1, h) for x, h in ((x0, z), (x1, z), (x1, z - 58.0), (x0, z - 58.0))]
    return [area("tool", *top), area("tool", *near)]


def _palm(seen: Look) -> list[Stroke]:
    d = seen.design
    r, half, base, front = _r(seen), _half(seen) - 1.0, d.pose.base_z_mm, d.palm_front_x_mm
    guides = [leg.points[1].at_mm for c in d.cords for leg in c.legs if leg.points[1].body == PALM]
    gx, gz = (max(g[0] for g in guides), max(g[2] for g in guides)) if guides else (25.0, 22.0)
    face = [(-1.5 * r, 0.3 * r), (-0.6 * r, 1.5 * r), (gx - 8.0, gz), (gx + 6.0, gz), (front + r, 1.15 * r)]
    face += [(front + 1.6 * r, 0.0), (front + 0.3 * r, base), (0.2 * r, base), (-1.4 * r, -0.6 * r)]
    near = [_at(seen, PALM, x, half, z) for x, z in face]
    far = [_at(seen, PALM, x, -half, z) for x, z in face]
    drawn = [area("far", *hull([*near, *far])), area("part", *near, r=3.0)]
    thumb = next((g for g in d.digits if g.name == "thumb"), None)
    if thumb is not None:
        x, y, z = d.hinge(thumb.proximal_hinge).origin_mm
        a, b = _of(seen, PALM, (x, y, z)), _at(seen, PALM, x - 12.0, half, base + 2.0)
        drawn.append(Stroke(ink="part", steps=band(*b, 1.2 * r, *a, 1.35 * r)))
    return [*drawn, disc("pin", _at(seen, PALM, 0.0, half, 0.0), 0.6 * r)]


def _cuff(seen: Look) -> list[Stroke]:
    wall, half = cuff_profile(seen.design)
    far = [_at(seen, CUFF, x, -half, z) for x, z in wall]
    near = [_at(seen, CUFF, x, half, z) for x, z in wall]
    k = len(wall) - 4
    roof = (near[k], near[k + 1], near[k + 2], far[k + 2], far[k + 1], far[k])
    return [area("far", *hull(far)), area("cuff", *roof), area("cuff", *near)]


def _block(seen: Look) -> list[Stroke]:
    d = seen.design
    bar = d.hinge("whippletree")
    x, y, z = bar.origin_mm
    starts = [leg.points[0] for c in d.cords for leg in c.legs]
    reach = max((abs(q.at_mm[1] - y) for q in starts if q.body == bar.child), default=10.0) + 5.0
    low, high = z - 9.0, z + 4.0
    face = [(x - 26.0, low), (x + 6.0, low), (x + 6.0, high - 5.0), (x - 8.0, high), (x - 26.0, high)]
    near = [_at(seen, CUFF, u, reach, v) for u, v in face]
    far = [_at(seen, CUFF, u, -reach, v) for u, v in face]
    drawn = [area("block", *hull([*near, *far])), area("block", *near)]
    ends = (_of(seen, bar.child, (x, y + s * (reach - 2.0), z)) for s in (1.0, -1.0))
    drawn.append(line("bold", *ends))
    for q in starts:
        if q.body not in (bar.child, CUFF):
            px, py, pz = q.at_mm
            rail = [
                _of(seen, CUFF, (px + u, py, v))
                for u, v in ((-12, low), (5, low), (5, pz - 3), (-12, pz - 3))
            ]
            drawn.append(area("block", *rail))
            drawn.append(line("bold", _of(seen, CUFF, (px, py, pz - 3)), _of(seen, CUFF, (px, py, pz + 3))))
    return drawn


def _cords(seen: Look) -> list[Stroke]:
    drawn = []
    for c, taut in zip(seen.design.cords, seen.taut, strict=True):
        for leg in c.legs:
            a, b = (_of(seen, q.body, q.at_mm) for q in leg.points[:2])
            if taut:
                drawn.append(line("cord", a, b))
            else:  # it hangs
                sag = ((a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0 + 16.0)
                drawn.append(Stroke(ink="cord", steps=(("M", a), ("Q", (*sag, *b)))))
    return drawn


def _digit(seen: Look, g: Digit) -> list[Stroke]:
    d = seen.design
    first, second = d.hinge(g.proximal_hinge), d.hinge(g.tip_hinge)
    pad = next(p for p in d.pads if p.digit == g.name and p.segment == "tip")
    r, k = pad.radius_mm, 1.35 if g.name == "thumb" else 1.12
    along = np.subtract(second.origin_mm, first.origin_mm)
    ahead = along / np.linalg.norm(along)
    end = np.asarray(second.origin_mm) + ahead * float(np.subtract(pad.centre_mm, second.origin_mm) @ ahead)
    a, b = _of(seen, PALM, first.origin_mm), _of(seen, first.child, second.origin_mm)
    c = _of(seen, second.child, (float(end[0]), float(end[1]), float(end[2])))
    return [
        Stroke(ink="part", steps=band(*a, k * r, *b, 0.93 * k * r)),
        Stroke(ink="part", steps=band(*b, 0.93 * k * r, *c, 0.84 * k * r)),
    ]


def _pins(seen: Look, g: Digit) -> list[Stroke]:
    first, second = seen.design.hinge(g.proximal_hinge), seen.design.hinge(g.tip_hinge)
    ends = (_of(seen, PALM, first.origin_mm), _of(seen, first.child, second.origin_mm))
    return [disc("pin", p, 0.3 * _r(seen)) for p in ends]


def _arm(seen: Look) -> list[Stroke]:
    """Forearm of whoever wears it, as far as the picture goes."""
    rear = 2.0 * seen.design.body(CUFF).com_mm[0]
    near = [_at(seen, CUFF, x, 0.0, z) for x, z in ((-8, 8), (rear, 12), (rear - 48, 16), (rear - 48, -36))]
    near += [_at(seen, CUFF, x, 0.0, z) for x, z in ((rear, -28), (-30, -18), (-6, -8))]
    return [area("skin", *near, r=8.0)]


def _straps(seen: Look) -> list[Stroke]:
    half, rear = _half(seen), 2.0 * seen.design.body(CUFF).com_mm[0]
    low, drawn = -3.5 * _r(seen), []
    for x in (0.52 * rear, 0.84 * rear):
        corners = [(x - 6, low + 13), (x + 6, low + 13), (x + 6, low - 11), (x - 6, low - 11)]
        drawn.append(area("strap", *(_at(seen, CUFF, u, half, v) for u, v in corners), r=2.0))
        drawn.append(disc("dot", _at(seen, CUFF, x, half, low + 8), 1.8))
    return drawn


def _travel(seen: Look, other: Look) -> list[Stroke]:
    wall, half = cuff_profile(seen.design)
    ghost = [_at(other, CUFF, x, half, z) for x, z in wall]
    reach = -2.0 * seen.design.body(CUFF).com_mm[0] + 9.0
    a, b = seen.angles_deg["wrist"], other.angles_deg["wrist"]
    centre = _at(seen, PALM, 0.0, half, 0.0)
    on = [_round(centre, reach, a + (b - a) * k) for k in (0.08, 0.92)]
    bend = _round(centre, reach / cos(radians(abs(b - a) * 0.42)), (a + b) / 2.0)
    arc = Stroke(ink="mark", heads="<>", steps=(("M", on[0]), ("Q", (*bend, *on[1]))))
    return [area("ghost", *ghost), arc]


def _round(centre: Point, radius: float, angle_deg: float) -> Point:
    turn = radians(angle_deg)
    return (centre[0] + radius * cos(turn), centre[1] - radius * sin(turn))


def _places(seen: Look) -> dict[str, tuple[Point, ...]]:
    d = seen.design
    half, rear = _half(seen), 2.0 * d.body(CUFF).com_mm[0]
    knuckle, joint, end = {}, {}, {}
    for g in d.digits:
        first, second = d.hinge(g.proximal_hinge), d.hinge(g.tip_hinge)
        pad = next(p for p in d.pads if p.digit == g.name and p.segment == "tip")
        knuckle[g.name] = _of(seen, PALM, first.origin_mm)
        joint[g.name] = _of(seen, first.child, second.origin_mm)
        end[g.name] = _of(seen, second.child, pad.centre_mm)
    fingers = [g.name for g in d.digits if g.name != "thumb"]
    thumb = "thumb" if "thumb" in end else fingers[0]
    x, y, z = d.hinge("whippletree").origin_mm
    pins = [k.points[0] for c in d.cords for k in c.legs if k.points[0].body == "thumb_pin"]
    wrist = _at(seen, PALM, 0.0, half, 0.0)
    turn = seen.angles_deg["wrist"]
    return {
        "whole": (_at(seen, PALM, 30.0, half, 0.0),),
        "palm": (_at(seen, PALM, 36.0, half, 0.0),),
        "cuff": (_at(seen, CUFF, 0.75 * rear, half, -4.0),),
        "cuff-edge": (_at(seen, CUFF, rear, half, 0.0),),
        "wrist": (wrist,),
        "knuckles": tuple(knuckle.values()),
        "tip-hinges": tuple(joint.values()),
        "proximals": tuple(_mid(knuckle[n], joint[n]) for n in joint),
        "tips": tuple(end.values()),
        "thumb": (_mid(knuckle[thumb], end[thumb]),),
        "thumb-proximal": (_mid(knuckle[thumb], joint[thumb]),),
        "thumb-tip": (end[thumb],),
        "gaps": tuple(_mid(joint[a], joint[b]) for a, b in zip(fingers, fingers[1:], strict=False)),
        "block": (_at(seen, CUFF, x - 10.0, 0.0, z),),
        "bar": (_of(seen, CUFF, (x, y, z)),),
        "screws": (_at(seen, CUFF, x - 26.0, 0.0, z),),
        "thumb-pin": tuple(_of(seen, CUFF, q.at_mm) for q in pins) or (_of(seen, CUFF, (x, y, z)),),
        "cords-over-wrist": (_mid(_at(seen, CUFF, x, 0.0, z), _at(seen, PALM, 25.0, 0.0, 22.0)),),
        "angle": (_round(wrist, 62.0, turn / 2.0),),
        "travel": (_round(wrist, -rear + 9.0, turn / 2.0),),
        "grip": (end[thumb],),
        "skin": (_at(seen, PALM, 12.0, half, -8.0),),
        "arm": (_at(seen, CUFF, rear - 20.0, 0.0, -8.0),),
        "straps": tuple(_at(seen, CUFF, k * rear, half, -21.0) for k in (0.52, 0.84)),
    }


def _mid(a: Point, b: Point) -> Point:
    return ((a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0)
