"""The effective arms of a design: how far its cords pass from the hinges that they work.

An arm is stretched by moving the points next to a hinge away from it, or toward it, straight up
and down on the digit; what lies along the digit stays where it is.

          o-------o      height of both guides over the hinge line, times the ratio
      ____:___+___:____
            hinge
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import hypot, isfinite

from handsel.design.model import Design, Hinge, Leg, RoutePoint, Vec3
from handsel.errors import OutOfRange

WRIST, KNUCKLE, TIP = "wrist", "knuckle", "tip"
FINGERS, THUMB = "fingers", "thumb"  # cords that run to the whippletree, and cords that do not


@dataclass(frozen=True, slots=True, kw_only=True)
class Arm:
    """One kind of arm, the same for all digits of its group."""

    joint: str  # WRIST, KNUCKLE or TIP
    group: str  # FINGERS or THUMB

    @property
    def name(self) -> str:
        """As the maker reads it."""
        return f"{self.joint} arm of the {self.group}"


ARMS = tuple(Arm(joint=joint, group=group) for group in (FINGERS, THUMB) for joint in (WRIST, KNUCKLE, TIP))


def with_arms(design: Design, ratios: dict[Arm, float]) -> Design:
    """The design with some arms stretched.

    Parameters: design, placed; ratios, each arm's size against the design [-], 1 where not named.
    Returns: Design whose cord routes pass that much further from the hinges.
    Raises: OutOfRange for a ratio that is not above 0.
    Valid for: digits straight in the design's coordinates. Arms of the elastics stay as drawn.
    Source: our own choice of which points make an arm: those on both sides of the hinge.
    Checked by: unit/test_calibration.py
    """
    for arm, ratio in ratios.items():
        if not (isfinite(ratio) and ratio > 0.0):
            raise OutOfRange(
                f"its ratio is {ratio:g}; expected more than 0",
                where=arm.name,
                do="Measure the arm again; 1 is as the design says.",
            )
    cords = tuple(
        replace(c, legs=tuple(_stretched(design, leg, ratios) for leg in c.legs)) for c in design.cords
    )
    lift = ratios.get(Arm(joint=WRIST, group=FINGERS), 1.0)
    bar = design.hinge("whippletree")
    point, up = _foot(design, design.hinge("wrist"), None)
    pivot = _moved(bar.origin_mm, point, up, lift)
    hinges = tuple(
        replace(h, origin_mm=pivot) if h.name == bar.name and lift != 1.0 else h for h in design.hinges
    )
    return replace(design, cords=cords, hinges=hinges)


def arm_mm(design: Design, arm: Arm) -> float:
    """Mean distance of an arm's points from the hinge line, as a caliper would find it.

    Parameters: design, placed; arm.
    Returns: [mm], over all digits of the arm's group.
    Raises: OutOfRange when the design has no digit of that group.
    Source: definition.
    Checked by: unit/test_calibration.py
    """
    heights = []
    for leg in _legs(design, arm.group):
        point, up = _foot(design, _hinge(design, leg, arm.joint), leg)
        heights += [abs(_height(leg.points[i].at_mm, point, up)) for i in _points(leg, arm.joint)]
    if not heights:
        raise OutOfRange("the design has no such cord", where=arm.name, do="Leave this arm out.")
    return sum(heights) / len(heights)


def group_of(leg: Leg) -> str:
    """FINGERS for a leg that starts at the whippletree, THUMB for any other."""
    return FINGERS if leg.points[0].body == "whippletree" else THUMB


def arms_of(design: Design) -> tuple[Arm, ...]:
    """The arms that a design has, in the order of ARMS."""
    return tuple(arm for arm in ARMS if _legs(design, arm.group))


def _legs(design: Design, group: str) -> list[Leg]:
    return [leg for c in design.cords for leg in c.legs if group_of(leg) == group]


def _hinge(design: Design, leg: Leg, joint: str) -> Hinge:
    digit = next(g for g in design.digits if g.name == leg.digit)
    return design.hinge({WRIST: "wrist", KNUCKLE: digit.proximal_hinge, TIP: digit.tip_hinge}[joint])


def _points(leg: Leg, joint: str) -> tuple[int, ...]:
    """The two points on both sides of a hinge."""
    if joint == WRIST:
        return (0, 1)
    bodies = [p.body for p in leg.points]
    last = max(i for i, b in enumerate(bodies) if b == "palm")
    if joint == KNUCKLE:
        return (last, last + 1)
    into = next(i for i in range(last + 2, len(bodies)) if bodies[i] != bodies[last + 1])
    return (into - 1, into)


def _foot(design: Design, hinge: Hinge, leg: Leg | None) -> tuple[Vec3, Vec3]:
    """A point of the hinge line, and the unit vector across hinge and digit: up the arm."""
    x, y, z = (1.0, 0.0, 0.0)
    if leg is not None and hinge.name != "wrist":
        digit = next(g for g in design.digits if g.name == leg.digit)
        a, b = (design.hinge(h).origin_mm for h in (digit.proximal_hinge, digit.tip_hinge))
        x, y, z = b[0] - a[0], b[1] - a[1], b[2] - a[2]
    i, j, k = hinge.axis
    up = (y * k - z * j, z * i - x * k, x * j - y * i)  # along the digit, crossed with the axis
    size = hypot(*up)
    return hinge.origin_mm, (up[0] / size, up[1] / size, up[2] / size)


def _height(at: Vec3, point: Vec3, up: Vec3) -> float:
    return sum(n * (a - o) for n, a, o in zip(up, at, point, strict=True))


def _moved(at: Vec3, point: Vec3, up: Vec3, ratio: float) -> Vec3:
    by = (ratio - 1.0) * _height(at, point, up)
    return (at[0] + by * up[0], at[1] + by * up[1], at[2] + by * up[2])


def _stretched(design: Design, leg: Leg, ratios: dict[Arm, float]) -> Leg:
    points: list[RoutePoint] = list(leg.points)
    for joint in (WRIST, KNUCKLE, TIP):
        ratio = ratios.get(Arm(joint=joint, group=group_of(leg)), 1.0)
        if ratio == 1.0:
            continue
        point, up = _foot(design, _hinge(design, leg, joint), leg)
        for i in _points(leg, joint):
            points[i] = replace(points[i], at_mm=_moved(points[i].at_mm, point, up, ratio))
    return replace(leg, points=tuple(points))
