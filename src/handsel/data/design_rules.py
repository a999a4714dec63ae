"""What the tables of a design must be to one another: names, the tree of hinges, stops, sizes.

The mechanics relies on every rule here and in `line_rules`, so a design that has been loaded needs
no further checks before it is solved.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import dist, hypot, sqrt
from pathlib import Path
from typing import Any

from handsel.data.design_tables import DesignTables, ElasticTable, LegTable
from handsel.data.places import near, place
from handsel.design.model import Vec3
from handsel.errors import BadFile

# name, parent, child of the hinges that every hand has; body that each slide carries
FIXED_HINGES = (("wrist", "palm", "cuff"), ("whippletree", "cuff", "whippletree"))
SLIDE_BODIES = {"tension": "whippletree", "thumb_pin": "thumb_pin"}
REQUIRED_DIGITS = ("thumb", "index", "middle")

# From wrist hinge to the farthest pad of a hand at scale 1: a small child's to a very large adult's.
REACH_MM = (60.0, 300.0)
FARTHEST_MM = 600.0  # of anything from the wrist hinge
UNITS_MM = {"inches": 25.4, "centimetres": 10.0, "metres": 1000.0}
MEASURE_UNITS = ("mm", "mm2", "mm3", "deg", "count", "ratio", "g")
TINY = 1e-6

Loc = Sequence[str | int]


@dataclass(frozen=True, slots=True)
class Sheet:
    """The tables, and what is needed to say where in the file something stands."""

    tables: DesignTables
    data: dict[str, Any]
    path: Path

    def bad(self, loc: Loc, what: str, do: str) -> BadFile:
        return BadFile(what, where=place(self.path, self.data, loc), do=do)

    def known(self, loc: Loc, name: str, names: Iterable[str], kind: str) -> None:
        """Refuses a name that nothing has."""
        names = list(names)
        if name not in names:
            raise self.bad(loc, f'there is no {kind} called "{name}"', near(name, names))


def unit(v: Vec3) -> Vec3:
    """The same direction, one long."""
    length = sqrt(v[0] ** 2 + v[1] ** 2 + v[2] ** 2)
    if abs(length - 1.0) < 1e-12:
        return v  # so that a design written out and read again is the same to the last bit
    return (v[0] / length, v[1] / length, v[2] / length)


def check_structure(s: Sheet) -> None:
    """Raises BadFile for the first thing that does not fit another; lines are checked apart."""
    _unique_names(s)
    _directions(s)
    _required(s)
    _size(s)
    _tree(s)
    _digits(s)
    _stops(s)
    _slides(s)
    _contact(s)
    _kit(s)


def _unique_names(s: Sheet) -> None:
    t = s.tables
    named: dict[str, list[str]] = {
        "body": [b.name for b in t.body],
        "hinge": [h.name for h in t.hinge],
        "slide": [x.name for x in t.slide],
        "digit": [d.name for d in t.digit],
        "cord": [c.name for c in t.cord],
        "part": [p.name for p in t.part],
        "hardware": [h.name for h in t.hardware],
        "reference_dimension": [r.name for r in t.reference_dimension],
    }
    for table, names in named.items():
        _no_repeats(s, table, names, "Give each its own name, or take one of the two out.")
    one_each = "There can be one each; take one of the two out."
    _no_repeats(s, "elastic", [e.digit for e in t.elastic], one_each)
    _no_repeats(s, "tag_pad", [p.body for p in t.tag_pad], one_each)


def _no_repeats(s: Sheet, table: str, names: Sequence[str], do: str) -> None:
    for i, name in enumerate(names):
        if name in names[:i]:
            what = f'"{name}" has {table} {names.index(name) + 1} already'
            raise s.bad((table, i), what, do)


def _directions(s: Sheet) -> None:
    t = s.tables
    found: list[tuple[Loc, Sequence[float]]] = [(("hinge", i, "axis"), h.axis) for i, h in enumerate(t.hinge)]
    found += [(("slide", i, "direction"), x.direction) for i, x in enumerate(t.slide)]
    found += [(("gauge", i, "axis"), g.axis) for i, g in enumerate(t.gauge)]
    found += [(("gauge", i, "normal"), g.normal) for i, g in enumerate(t.gauge)]
    found += [(("tag_pad", i, "normal"), p.normal) for i, p in enumerate(t.tag_pad)]
    for loc, vector in found:
        if hypot(*vector) < TINY:
            raise s.bad(loc, "it is zero, so it points nowhere", "Give a direction, as in [0.0, 1.0, 0.0].")


def _required(s: Sheet) -> None:
    t = s.tables
    bodies, hinges = [b.name for b in t.body], {h.name: h for h in t.hinge}
    for name in ("palm", "cuff", *SLIDE_BODIES.values()):
        if name not in bodies:
            raise s.bad(("body",), f'there is no body called "{name}"', f"Add it. {near(name, bodies)}")
    for name, parent, child in FIXED_HINGES:
        if name not in hinges:
            do = f'Add the hinge between "{parent}" and "{child}" under that name. {near(name, hinges)}'
            raise s.bad(("hinge",), f'the hinge "{name}" is missing', do)
        h = hinges[name]
        if (h.parent, h.child) != (parent, child):
            what = f'it joins "{h.parent}" to "{h.child}"; expected "{parent}" to "{child}"'
            raise s.bad(("hinge", t.hinge.index(h)), what, f'Set parent = "{parent}" and child = "{child}".')
    for slide, body in SLIDE_BODIES.items():
        i = next((i for i, x in enumerate(t.slide) if x.name == slide), -1)
        if i < 0:
            raise s.bad(("slide",), f'the slide "{slide}" is missing', f'Add it; it carries "{body}".')
        if t.slide[i].body != body:
            what = f'it carries "{t.slide[i].body}"; expected "{body}"'
            raise s.bad(("slide", i, "body"), what, f'Set body = "{body}".')
    digits = [d.name for d in t.digit]
    for digit in REQUIRED_DIGITS:
        if digit not in digits:
            do = "A hand closes when its thumb meets index or middle: add the digit."
            raise s.bad(("digit",), f'the digit "{digit}" is missing', do)


def _size(s: Sheet) -> None:
    """Units are never guessed: a drawing of an impossible size is refused, and the likely slip named."""
    wrist = next(h.origin_mm for h in s.tables.hinge if h.name == "wrist")
    if not s.tables.pad:
        raise s.bad(("pad",), "there is no pad", "Add a pad for each part of each digit.")
    reach = max(dist(p.centre_mm, wrist) for p in s.tables.pad)
    low, high = REACH_MM
    if not low <= reach <= high:
        sizes = {unit: reach * k for unit, k in UNITS_MM.items()}
        fits = [f"{u} (then it is {size:.0f} mm)" for u, size in sizes.items() if low <= size <= high]
        slip = f"The numbers look like {' or '.join(fits)}. " if fits else ""
        raise s.bad(
            ("length_unit",),
            f"the hand reaches {reach:{'.0f' if reach >= 100 else '.3g'}} mm from wrist hinge to farthest "
            f"pad; expected {low:.0f} to {high:.0f} mm at scale 1",
            f"{slip}Write every length in millimetres: 1 inch is 25.4 mm, 1 cm is 10 mm. "
            "Nothing is converted on a guess.",
        )
    for loc, point in _places(s.tables):
        if dist(point, wrist) > FARTHEST_MM:
            what = f"this place is {dist(point, wrist):.0f} mm from the wrist hinge"
            raise s.bad(loc, what, "Look for a slipped decimal point.")


def _places(t: DesignTables) -> Iterable[tuple[Loc, Sequence[float]]]:
    yield from ((("body", i, "com_mm"), b.com_mm) for i, b in enumerate(t.body))
    yield from ((("hinge", i, "origin_mm"), h.origin_mm) for i, h in enumerate(t.hinge))
    lines: list[tuple[Loc, LegTable | ElasticTable]] = [
        (("cord", c, "leg", g), leg) for c, cord in enumerate(t.cord) for g, leg in enumerate(cord.leg)
    ]
    lines += [(("elastic", e), elastic) for e, elastic in enumerate(t.elastic)]
    for loc, line in lines:
        yield from (((*loc, "points", k, "at_mm"), p.at_mm) for k, p in enumerate(line.points))
    yield from ((("gauge", i, "against_mm"), g.against_mm) for i, g in enumerate(t.gauge))
    yield from ((("part", i, "at_mm"), p.at_mm) for i, p in enumerate(t.part))
    yield from ((("tag_pad", i, "centre_mm"), p.centre_mm) for i, p in enumerate(t.tag_pad))


def _tree(s: Sheet) -> None:
    """Every body hangs on the palm by one chain of hinges, or rides on the cuff with a slide."""
    bodies = [b.name for b in s.tables.body]
    parent_of: dict[str, str] = {}
    for i, h in enumerate(s.tables.hinge):
        s.known(("hinge", i, "parent"), h.parent, bodies, "body")
        s.known(("hinge", i, "child"), h.child, bodies, "body")
        if h.parent == h.child:
            what = f'it joins "{h.child}" to itself'
            raise s.bad(("hinge", i), what, "Name the two bodies that the pin joins.")
        if h.child in ("palm", "thumb_pin"):
            do = "The palm stands still and the thumb pin only slides; swap parent and child."
            raise s.bad(("hinge", i, "child"), f'"{h.child}" cannot turn on a hinge', do)
        if h.child in parent_of:
            what = f'"{h.child}" already turns on another hinge'
            raise s.bad(("hinge", i, "child"), what, "A body turns on one hinge; name another child.")
        parent_of[h.child] = h.parent
    for i, name in enumerate(bodies):
        if name not in parent_of and name not in ("palm", "thumb_pin"):
            do = "Add a hinge with this body as its child, or take the body out."
            raise s.bad(("body", i), "it hangs on nothing", do)
        chain = [name]
        while chain[-1] in parent_of and chain[-1] not in chain[:-1]:
            chain.append(parent_of[chain[-1]])
        if chain[-1] in chain[:-1]:
            loop = " on ".join(f'"{b}"' for b in chain)
            raise s.bad(("body", i), f"its hinges run in a circle: {loop}", "Hang one of them on the palm.")


def _digits(s: Sheet) -> None:
    hinges = {h.name: h for h in s.tables.hinge}
    used = {name for name, _, _ in FIXED_HINGES}
    for i, d in enumerate(s.tables.digit):
        for key, name in (("proximal_hinge", d.proximal_hinge), ("tip_hinge", d.tip_hinge)):
            s.known(("digit", i, key), name, hinges, "hinge")
            if name in used:
                what = f'the hinge "{name}" is used already'
                raise s.bad(("digit", i, key), what, "Each digit has two hinges of its own.")
            used.add(name)
        proximal, tip = hinges[d.proximal_hinge], hinges[d.tip_hinge]
        if proximal.parent != "palm":
            what = f'the parent of "{proximal.name}" is "{proximal.parent}"; expected "palm"'
            raise s.bad(("digit", i, "proximal_hinge"), what, "A digit's first hinge is on the palm.")
        if tip.parent != proximal.child:
            what = f'the parent of "{tip.name}" is "{tip.parent}"; expected "{proximal.child}"'
            do = f'The tip hangs on the proximal part: set parent = "{proximal.child}" in that hinge.'
            raise s.bad(("digit", i, "tip_hinge"), what, do)
    for i, h in enumerate(s.tables.hinge):
        if h.name not in used:
            do = "Name it as proximal_hinge or tip_hinge of a digit, or take it out."
            raise s.bad(("hinge", i), "no digit uses this hinge", do)


def _stops(s: Sheet) -> None:
    for i, h in enumerate(s.tables.hinge):
        if not h.min_deg < h.max_deg:
            what = f"min_deg is {h.min_deg:g} and max_deg {h.max_deg:g}"
            raise s.bad(("hinge", i), what, "The lower stop comes first: min_deg below max_deg.")
        if not h.min_deg <= 0 <= h.max_deg:
            what = f"its stops, {h.min_deg:g} to {h.max_deg:g} deg, leave out 0"
            raise s.bad(("hinge", i), what, "0 is the hand laid straight, as drawn: count stops from there.")
        if h.name == "whippletree" and h.min_deg != -h.max_deg:
            what = f"its stops are {h.min_deg:g} and {h.max_deg:g} deg; expected the same either way"
            raise s.bad(("hinge", i), what, f"Set min_deg = {-h.max_deg:g}.")
        target = s.tables.target_rest_angle_deg
        if h.name == "wrist" and not h.min_deg < target < h.max_deg:
            what = f"it is {target:g}, outside the wrist's stops, {h.min_deg:g} to {h.max_deg:g} deg"
            raise s.bad(("target_rest_angle_deg",), what, "Correct the angle or the stops.")
    if not s.tables.scale_min_ratio <= 1 <= s.tables.scale_max_ratio:
        low, high = s.tables.scale_min_ratio, s.tables.scale_max_ratio
        what = f"the scales run from {low:g} to {high:g}"
        raise s.bad(("scale_min_ratio",), what, "Scale 1 is the drawing itself: 0.7 to 1.3, for example.")


def _slides(s: Sheet) -> None:
    for i, x in enumerate(s.tables.slide):
        if not x.min_mm < x.max_mm:
            what = f"min_mm is {x.min_mm:g} and max_mm {x.max_mm:g}"
            raise s.bad(("slide", i), what, "The forward end comes first: min_mm below max_mm.")
        if not x.min_mm <= 0 <= x.max_mm:
            what = f"its travel, {x.min_mm:g} to {x.max_mm:g} mm, leaves out 0"
            raise s.bad(("slide", i), what, "0 is where it is drawn: count the travel from there.")
        if x.screw_count == 0 and x.pitch_mm_per_turn is not None:
            what = "pitch_mm_per_turn is given but screw_count is 0"
            raise s.bad(("slide", i), what, "Count the screws, or take the pitch out.")
        if (x.screw_count == 2) != (x.screw_spacing_mm > 0):
            what = f"screw_count is {x.screw_count} and screw_spacing_mm {x.screw_spacing_mm:g}"
            raise s.bad(("slide", i), what, "Two screws have a spacing above 0; one or none has 0.")


def _contact(s: Sheet) -> None:
    t = s.tables
    digits = [d.name for d in t.digit]
    seen: set[tuple[str, str]] = set()
    for i, p in enumerate(t.pad):
        s.known(("pad", i, "digit"), p.digit, digits, "digit")
        if (p.digit, p.segment) in seen:
            what = f"the {p.segment} part of this digit has a pad already"
            raise s.bad(("pad", i), what, "Each part has one pad; take one of the two out.")
        seen.add((p.digit, p.segment))
    for i, d in enumerate(t.digit):
        for segment in ("proximal", "tip"):
            if (d.name, segment) not in seen:
                do = f'Add a pad with digit = "{d.name}" and segment = "{segment}".'
                raise s.bad(("digit", i), f"its {segment} part has no pad", do)
    for i, g in enumerate(t.gauge):
        lean = abs(sum(a * b for a, b in zip(g.axis, g.normal, strict=True)))
        if lean > 0.05 * hypot(*g.axis) * hypot(*g.normal):
            what = "its axis is not square to its normal"
            raise s.bad(("gauge", i), what, "A cylinder lies along the palm's surface: turn axis or normal.")
    corners = t.pose.support_mm
    area = sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(corners, corners[1:] + corners[:1], strict=True)) / 2
    if abs(area) < 1:
        what = f"the outline encloses {abs(area):.2g} mm2"
        raise s.bad(("pose", "support_mm"), what, "List the corners in order round the support.")


def _kit(s: Sheet) -> None:
    t = s.tables
    bodies, parts = [b.name for b in t.body], [p.name for p in t.part]
    for i, p in enumerate(t.part):
        s.known(("part", i, "body"), p.body, bodies, "body")
        for key in p.measures:
            if key.rsplit("_", 1)[-1] not in MEASURE_UNITS:
                what = "the name of this measure does not end in a unit"
                do = "Let it end in one of: " + ", ".join(f"_{u}" for u in MEASURE_UNITS) + "."
                raise s.bad(("part", i, "measures", key), what, do)
    for i, r in enumerate(t.reference_dimension):
        s.known(("reference_dimension", i, "part"), r.part, parts, "part")
        if r.tolerance_mm >= r.nominal_mm:
            what = f"its tolerance, {r.tolerance_mm:g} mm, is as large as the dimension, {r.nominal_mm:g} mm"
            raise s.bad(("reference_dimension", i, "tolerance_mm"), what, "Correct the tolerance.")
    for i, tag in enumerate(t.tag_pad):
        s.known(("tag_pad", i, "body"), tag.body, bodies, "body")
