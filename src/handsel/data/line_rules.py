"""What cords and elastics must be: their way over the bodies, and the cylinders that they bear on.

A cord:     cuff side -> palm ... palm -> proximal ... proximal -> tip ... tip
An elastic:              palm ... palm -> proximal ... proximal -> tip ... tip
Each step stays on one body or crosses the one hinge between two neighbours.
"""

from __future__ import annotations

from math import dist, hypot

from handsel.data.design_rules import SLIDE_BODIES, Loc, Sheet, unit
from handsel.data.design_tables import HingeTable, LegTable, RoutePointTable, WrapTable
from handsel.data.places import near
from handsel.design.model import Vec3

MIN_STEP_MM = 0.01  # nearer than this, two places of a line are one
CLEAR_RATIO = 1.001  # of a place's distance to the radius that it must stay outside of

Points = tuple[RoutePointTable, ...]


def check_lines(s: Sheet) -> None:
    """Raises BadFile for the first cord or elastic that the mechanics could not follow."""
    _each_digit_once(s)
    _one_value_each(s)
    for c, cord in enumerate(s.tables.cord):
        for g, leg in enumerate(cord.leg):
            loc: Loc = ("cord", c, "leg", g)
            _route(s, loc, leg.digit, leg.points, from_cuff=True)
            _wraps(s, loc, leg.digit, leg.points, leg.wraps)
            _barrel(s, leg)
        _eyelet(s, c)
    for e, elastic in enumerate(s.tables.elastic):
        _route(s, ("elastic", e), elastic.digit, elastic.points, from_cuff=False)
        _wraps(s, ("elastic", e), elastic.digit, elastic.points, elastic.wraps)


def _each_digit_once(s: Sheet) -> None:
    digits = [d.name for d in s.tables.digit]
    corded: set[str] = set()
    for c, cord in enumerate(s.tables.cord):
        for g, leg in enumerate(cord.leg):
            s.known(("cord", c, "leg", g, "digit"), leg.digit, digits, "digit")
            if leg.digit in corded:
                what = f"the {leg.digit} has a cord already"
                raise s.bad(("cord", c, "leg", g), what, "A digit has one cord; take one of the two out.")
            corded.add(leg.digit)
    for e, elastic in enumerate(s.tables.elastic):
        s.known(("elastic", e, "digit"), elastic.digit, digits, "digit")
    opened = {e.digit for e in s.tables.elastic}
    for i, digit in enumerate(digits):
        if digit not in corded:
            raise s.bad(("digit", i), "no cord closes it", f'Add a cord with a leg for digit = "{digit}".')
        if digit not in opened:
            raise s.bad(("digit", i), "no elastic opens it", f'Add an elastic with digit = "{digit}".')


def _one_value_each(s: Sheet) -> None:
    """The mechanics has one cord friction and one elastic loss a hand: a second value would be lost."""
    for key in ("friction_mu", "u_friction_mu"):
        values = [float(getattr(c, key)) for c in s.tables.cord]
        for c, value in enumerate(values):
            if value != values[0]:
                what = f"it is {value:g}, but {values[0]:g} for the first cord"
                raise s.bad(("cord", c, key), what, "All cords of a hand are of one kind: give one value.")
    for e, elastic in enumerate(s.tables.elastic):
        first = s.tables.elastic[0].loss_ratio
        if elastic.loss_ratio != first:
            what = f"it is {elastic.loss_ratio:g}, but {first:g} for the first elastic"
            raise s.bad(
                ("elastic", e, "loss_ratio"), what, "All elastics of a hand are of one kind: give one value."
            )


def _hinges_of(s: Sheet, digit: str) -> tuple[HingeTable, HingeTable]:
    hinges = {h.name: h for h in s.tables.hinge}
    d = next(d for d in s.tables.digit if d.name == digit)
    return hinges[d.proximal_hinge], hinges[d.tip_hinge]


def _route(s: Sheet, loc: Loc, digit: str, points: Points, *, from_cuff: bool) -> None:
    proximal, tip = _hinges_of(s, digit)
    way = ["palm", proximal.child, tip.child]
    if from_cuff:
        first = points[0].body
        s.known((*loc, "points", 0, "body"), first, [b.name for b in s.tables.body], "body")
        if first not in SLIDE_BODIES.values():
            what = f'the cord begins on "{first}"; expected a body that a slide carries'
            raise s.bad((*loc, "points", 0, "body"), what, 'Begin on "whippletree" or "thumb_pin".')
        way.insert(0, first)
    _steps(s, loc, points, way)
    if from_cuff and points[1].body != "palm":
        what = f'the second place is on "{points[1].body}"'
        raise s.bad((*loc, "points", 1), what, "One place on the cuff's side, then the palm.")


def _steps(s: Sheet, loc: Loc, points: Points, way: list[str]) -> None:
    shown = " -> ".join(way)
    for k, p in enumerate(points):
        at = (*loc, "points", k)
        s.known((*at, "body"), p.body, [b.name for b in s.tables.body], "body")
        if p.body not in way:
            what = f'"{p.body}" is not on the way of this line'
            raise s.bad((*at, "body"), what, f"Its way is {shown}. {near(p.body, way)}")
        here = way.index(p.body)
        last = way.index(points[k - 1].body) if k else 0
        if here < last:
            what = f'the line goes back from "{points[k - 1].body}" to "{p.body}"'
            raise s.bad(at, what, f"Order its places along {shown}.")
        if here > last + 1 or (k == 0 and here):
            missed = way[last + 1] if k else way[0]
            what = f'the line passes "{missed}" by on its way to "{p.body}"'
            do = f'Add a place on "{missed}" before it: a step may cross one hinge. Its way is {shown}.'
            raise s.bad(at, what, do)
        if k and dist(p.at_mm, points[k - 1].at_mm) < MIN_STEP_MM:
            raise s.bad(at, "it is the same place as the one before", "Move it, or take it out.")
    if points[-1].body != way[-1]:
        what = f'the line ends on "{points[-1].body}"; expected "{way[-1]}"'
        raise s.bad((*loc, "points"), what, f'Add its last place, on "{way[-1]}". Its way is {shown}.')


def _wraps(s: Sheet, loc: Loc, digit: str, points: Points, wraps: tuple[WrapTable, ...]) -> None:
    own = {h.name: h for h in _hinges_of(s, digit)}
    for w, wrap in enumerate(wraps):
        at = (*loc, "wraps", w)
        s.known((*at, "hinge"), wrap.hinge, [h.name for h in s.tables.hinge], "hinge")
        if wrap.hinge not in own:
            what = f'"{wrap.hinge}" is not a hinge of the {digit}'
            raise s.bad((*at, "hinge"), what, near(wrap.hinge, own))
        if wrap.hinge in [x.hinge for x in wraps[:w]]:
            raise s.bad(at, "this hinge has a cylinder already", "Keep one cylinder for each hinge.")
        hinge, key = own[wrap.hinge], (*at, "radius_mm")
        for k, (p, q) in enumerate(zip(points, points[1:], strict=False)):
            if (p.body, q.body) == (hinge.parent, hinge.child):
                _bears(s, key, hinge, wrap.radius_mm, wrap.side, (k, p, q), "the line")


def _barrel(s: Sheet, leg: LegTable) -> None:
    wrist = next(h for h in s.tables.hinge if h.name == "wrist")
    loc, radius_mm = ("wrist_barrel_radius_mm",), s.tables.wrist_barrel_radius_mm
    first, second = leg.points[:2]
    if radius_mm > 0:
        _bears(s, loc, wrist, radius_mm, "back", (0, first, second), f"the cord of the {leg.digit}")


def _bears(
    s: Sheet,
    loc: Loc,
    hinge: HingeTable,
    radius_mm: float,
    side: str,
    step: tuple[int, RoutePointTable, RoutePointTable],
    line: str,
) -> None:
    """Both places stand outside the cylinder, and the line passes it on the side that it is to bear on."""
    k, p, q = step
    a, b, axis = _across(hinge, p), _across(hinge, q), unit(hinge.axis)
    for place, away in ((k + 1, hypot(*a)), (k + 2, hypot(*b))):
        if away < CLEAR_RATIO * radius_mm:
            what = f"it is {radius_mm:g}, but place {place} of {line} is only {away:.2f} mm from the axis of "
            do = "Make the radius smaller or move the place outward."
            raise s.bad(loc, f'{what}"{hinge.name}", inside this cylinder', do)
    turn = a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]
    back = sum(x * y for x, y in zip(turn, axis, strict=True)) / max(dist(a, b), MIN_STEP_MM)
    past = back if side == "back" else -back
    if past < -radius_mm / 2:  # a cylinder that sticks out past the places is fine, the far side is not
        other = "palm" if side == "back" else "back"
        what = f'hand straight, {line} passes the axis of "{hinge.name}" {-past:.1f} mm on its {other} side, '
        do = "Positive turns are flexion, or extension at the wrist: check the hinge's axis and the places."
        raise s.bad(loc, f"{what}not on the {side}, where it is to bear", do)


def _across(hinge: HingeTable, p: RoutePointTable) -> Vec3:
    """From a hinge's axis, square to it, to a place."""
    axis = unit(hinge.axis)
    d = [x - o for x, o in zip(p.at_mm, hinge.origin_mm, strict=True)]
    along = sum(x * y for x, y in zip(axis, d, strict=True))
    return (d[0] - along * axis[0], d[1] - along * axis[1], d[2] - along * axis[2])


def _eyelet(s: Sheet, c: int) -> None:
    cord = s.tables.cord[c]
    if len(cord.leg) == 1:
        if cord.eyelet_turn_deg != 0:
            what = f"it is {cord.eyelet_turn_deg:g}, but this cord has one leg"
            raise s.bad(("cord", c, "eyelet_turn_deg"), what, "Set it to 0, or add the second leg.")
        return
    if cord.eyelet_turn_deg == 0:
        what = "it is 0, but the two legs of this cord share an eyelet"
        raise s.bad(("cord", c, "eyelet_turn_deg"), what, "Half a turn is 180.")
    first, second = (leg.points[0] for leg in cord.leg)
    for g, p in enumerate((first, second)):
        if p.body != "whippletree":
            what = f'the cord begins on "{p.body}", but its two legs share an eyelet of the whippletree'
            raise s.bad(("cord", c, "leg", g, "points", 0, "body"), what, 'Begin on "whippletree".')
    if dist(first.at_mm, second.at_mm) > MIN_STEP_MM:
        what = f"the two legs begin {dist(first.at_mm, second.at_mm):.2f} mm apart"
        raise s.bad(
            ("cord", c, "leg", 1, "points", 0), what, "They share one eyelet: give both the same place."
        )
