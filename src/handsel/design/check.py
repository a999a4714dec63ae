"""What a ruler would say of a design: clearances, balance, ways of lines, arms; no forces, no solver."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import combinations, product
from math import dist, inf, radians

import numpy as np
from numpy.typing import NDArray

from handsel.design.model import Body, Design, Elastic, Leg, Pad
from handsel.design.posing import STRAIGHT, posed_mm, taut_line
from handsel.design.support import inside_mm

Floats = NDArray[np.float64]

LIFTED_DEG = 80.0  # the cuff raised before it is let down, for the lowered rest angle
CLEAR_MM = 3.0  # for a pad's softness, a tip printed long, a stand that is not quite level
TIPPING_MM = 5.0  # for the hand set down a little off its place
LEAST_ARM_MM = 1.0  # below this a line's pull is lost in the friction of its pin
TELLS_RATIO = 0.05  # neighbouring print scales that a caliper must tell apart


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckLine:
    """One finding. `ok` is None for a figure that is only stated."""

    topic: str
    ok: bool | None
    what: str
    value: float
    unit: str


def check_design(design: Design) -> tuple[CheckLine, ...]:
    """The geometric checks of a design, as loaded or as placed for one hand.

    A design that fails one of them can still be loaded and solved: the lines say what to look at.

    Parameters: design.
    Returns: lines in the order in which they are read: inspection pose, digits, lines, arms, caliper.
    Raises: nothing of its own.
    Valid for: designs that were loaded. The stand does not scale, so check the largest scale too.
    Source: plane and solid geometry; a body tips when its centre of mass leaves the outline that
        carries it.
    Checked by: unit/test_check_design.py
    """
    topics = (_pose, _balance, _digits, _lines, _arms, _caliper)
    return tuple(line for topic in topics for line in topic(design))


def _over(least: float, topic: str, what: str, value: float, unit: str = "mm") -> CheckLine:
    return CheckLine(topic=topic, ok=value >= least, what=what, value=value, unit=unit)


def _figure(topic: str, what: str, value: float, unit: str) -> CheckLine:
    return CheckLine(topic=topic, ok=None, what=what, value=value, unit=unit)


def _pose(design: Design) -> Iterator[CheckLine]:
    topic = "inspection pose"
    table_z = design.pose.base_z_mm - design.pose.stand_height_mm
    low, what = min(_low_points(design))
    yield _over(CLEAR_MM, topic, f"hand straight: lowest point, {what}, above the table", low - table_z)
    low, what = min(_swept_low(design))
    yield _over(CLEAR_MM, topic, f"while closing: lowest point, {what}, above the table", low - table_z)
    for swept, words in ((False, "hand straight"), (True, "while closing")):
        away, what = min(_beside_stand(design, swept=swept), default=(inf, ""))
        if away == inf:
            continue  # nothing hangs below the palm's base
        what = f"{words}: nearest to the stand, {what}, beside it"
        if swept:
            yield _figure(topic, f"{what}; below 0: close the hand off the stand", away, "mm")
        else:
            yield _over(CLEAR_MM, topic, what, away)


def _low_points(design: Design) -> Iterator[tuple[float, str]]:
    """Everything the file gives a place to, cuff at its rest angle: height and name."""
    rest = {"wrist": design.target_rest_angle_deg}
    for pad in design.pads:
        yield pad.centre_mm[2] - pad.radius_mm, f"{pad.digit} {pad.segment} pad"
    for body in design.bodies:
        yield float(posed_mm(design, body.name, body.com_mm, rest)[2]), f"middle of {body.name}"
    for hinge in design.hinges:
        yield float(posed_mm(design, hinge.parent, hinge.origin_mm, rest)[2]), f"pin of {hinge.name}"
    for name, line in _named_lines(design):
        for p in line.points:
            yield float(posed_mm(design, p.body, p.at_mm, rest)[2]), f"{name} on {p.body}"


def _named_lines(design: Design) -> Iterator[tuple[str, Leg | Elastic]]:
    yield from ((f"{leg.digit} cord", leg) for cord in design.cords for leg in cord.legs)
    yield from ((f"{e.digit} elastic", e) for e in design.elastics)


def _turns(design: Design, digit: str) -> Iterator[dict[str, float]]:
    """A digit's two hinges in nine steps each between their stops."""
    d = next(d for d in design.digits if d.name == digit)
    pair = [design.hinge(d.proximal_hinge), design.hinge(d.tip_hinge)]
    steps = [np.linspace(h.min_deg, h.max_deg, 9) for h in pair]
    for first, second in product(*steps):
        yield {d.proximal_hinge: float(first), d.tip_hinge: float(second)}


def _pad_places(design: Design, pad: Pad) -> Floats:
    """(81, 3) centres of a pad over its digit's travel [mm]."""
    d = next(d for d in design.digits if d.name == pad.digit)
    body = design.hinge(d.tip_hinge if pad.segment == "tip" else d.proximal_hinge).child
    return np.array([posed_mm(design, body, pad.centre_mm, turn) for turn in _turns(design, pad.digit)])


def _swept_low(design: Design) -> Iterator[tuple[float, str]]:
    for pad in design.pads:
        low = float(_pad_places(design, pad)[:, 2].min())
        yield low - pad.radius_mm, f"{pad.digit} {pad.segment} pad"


def _beside_stand(design: Design, *, swept: bool) -> Iterator[tuple[float, str]]:
    """How far each pad stays from the stand, seen from above, where it hangs below the palm's base."""
    for pad in design.pads:
        places = _pad_places(design, pad) if swept else np.array([pad.centre_mm])
        below = places[places[:, 2] - pad.radius_mm < design.pose.base_z_mm]
        for x, y, _ in below:
            away = -inside_mm((float(x), float(y)), design.pose.support_mm)
            yield away - pad.radius_mm, f"{pad.digit} {pad.segment} pad"


def _balance(design: Design) -> Iterator[CheckLine]:
    topic = "balance on the stand"
    wrist = design.hinge("wrist")
    lifted = min(LIFTED_DEG, wrist.max_deg)
    for words, angle in (("at its rest angle", design.target_rest_angle_deg), ("lifted", lifted)):
        x, y, _ = centre_of_mass_mm(design, {"wrist": angle})
        what = f"cuff {words}, {angle:.0f} deg: centre of mass inside the support"
        yield _over(TIPPING_MM, topic, what, inside_mm((float(x), float(y)), design.pose.support_mm))
    yield _figure(topic, "mass of the whole hand", sum(map(_mass_g, design.bodies)), "g")


def _mass_g(body: Body) -> float:
    return body.printed_mass_g + body.hardware_mass_g


def centre_of_mass_mm(design: Design, angles_deg: Mapping[str, float] = STRAIGHT) -> Floats:
    """Centre of mass of the whole hand in a pose, slides at zero.

    Parameters: design; angles_deg, turn of hinges by name [deg], 0 where not named.
    Returns: (3,) float [mm], palm frame.    Raises: nothing of its own.
    Valid for: designs with some mass; cords and elastics weigh nothing here.
    Source: mean of the bodies' centres, weighed by mass.    Checked by: unit/test_check_design.py
    """
    masses = np.array([_mass_g(b) for b in design.bodies])
    places = np.array([posed_mm(design, b.name, b.com_mm, angles_deg) for b in design.bodies])
    centre: Floats = masses @ places / max(masses.sum(), 1e-9)
    return centre


def _digits(design: Design) -> Iterator[CheckLine]:
    gaps = [
        (dist(a.centre_mm, b.centre_mm) - a.radius_mm - b.radius_mm, f"{a.digit} and {b.digit}")
        for a, b in combinations(design.pads, 2)
        if a.digit != b.digit
    ]
    gap, pair = min(gaps)
    yield _over(0.0, "digits", f"hand straight: nearest pads of two digits, {pair}, apart", gap)
    thumb = next(p for p in design.pads if (p.digit, p.segment) == ("thumb", "tip"))
    partners = [p for p in design.pads if p.digit in ("index", "middle") and p.segment == "tip"]
    at_thumb = _pad_places(design, thumb)
    reach = []
    for p in partners:
        away = np.linalg.norm(at_thumb[:, None] - _pad_places(design, p)[None], axis=-1).min()
        reach.append((float(away) - thumb.radius_mm - p.radius_mm, p.digit))
    gap, digit = min(reach)
    what = f"within all stops: thumb pad overlaps the {digit} pad by up to"
    yield _over(0.0, "digits", what, -gap)


def _lines(design: Design) -> Iterator[CheckLine]:
    for name, line in _named_lines(design):
        way = taut_line(design, line.points, line.wraps)
        yield _figure("lines", f"{name}, hand straight: length", way.length_mm, "mm")
        yield _figure("lines", f"{name}, hand straight: sum of its bends", way.turning_deg, "deg")


def arm_mm(design: Design, line: Leg | Elastic, hinge: str) -> float:
    """Change of a line's length per turn of one hinge, hand straight; negative when turning shortens it.

    Parameters: design; line; hinge, its name.    Returns: moment arm [mm], that is mm per rad.
    Raises: nothing of its own.    Valid for: the straight pose.
    Source: central difference over 0.02 deg; where a line begins to bear it is off by some 0.001 mm.
    Checked by: unit/test_check_design.py
    """
    step = 0.01
    ahead, behind = (taut_line(design, line.points, line.wraps, {hinge: t}).length_mm for t in (step, -step))
    return (ahead - behind) / (2.0 * radians(step))


def _arms(design: Design) -> Iterator[CheckLine]:
    topic = "moment arms, hand straight"
    for d in design.digits:
        cord = next(leg for c in design.cords for leg in c.legs if leg.digit == d.name)
        elastic = next(e for e in design.elastics if e.digit == d.name)
        for hinge in (d.proximal_hinge, d.tip_hinge):
            yield _over(
                LEAST_ARM_MM, topic, f"{d.name} cord closes {hinge} with", -arm_mm(design, cord, hinge)
            )
            yield _over(
                LEAST_ARM_MM, topic, f"{d.name} elastic opens {hinge} with", arm_mm(design, elastic, hinge)
            )
        what = f"bending the wrist pulls the {d.name} cord with"
        yield _over(LEAST_ARM_MM, topic, what, -arm_mm(design, cord, "wrist"))
    tilts = [arm_mm(design, c.legs[0], "whippletree") for c in design.cords if len(c.legs) == 2]
    if len(tilts) > 1:
        what = "the loops pull the whippletree against one another, the weaker with"
        yield _over(LEAST_ARM_MM, topic, what, min(max(tilts), -min(tilts)))


def _caliper(design: Design) -> Iterator[CheckLine]:
    topic = "caliper"
    grows = [r for r in design.reference_dimensions if r.scales]
    what = "dimensions that show the printed scale"
    yield _over(1.0, topic, what, float(len(grows)), "count")
    for r in design.reference_dimensions:
        told = r.nominal_mm * TELLS_RATIO >= r.tolerance_mm if r.scales else None
        what = f"{r.title}, to within {r.tolerance_mm:g} mm"
        yield CheckLine(topic=topic, ok=told, what=what, value=r.nominal_mm, unit="mm")
