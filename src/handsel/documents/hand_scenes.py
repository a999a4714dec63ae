"""What is looked at before and beside the hand: parts on a table, one part, the cuff at a window, people.

Drawn as for a right hand; sizes of parts come from the design. Picture plane [mm] or the like, y down.
"""

from __future__ import annotations

from handsel.data.strokes import Stroke, band, moved, strokes
from handsel.design.model import Design
from handsel.documents.hand_flat import Plan, Scene, flat_view, thumb_sign
from handsel.documents.sketch import Fit, area, line
from handsel.documents.svg import Point


def on_table(design: Design) -> Scene:
    """Every part on a plain sheet, the order card beside them."""
    plan = Plan(design=design, sign=thumb_sign(design), seen=1.0)
    drawn = [area("paper", (-92, -128), (92, -128), (92, 118), (-92, 118), r=4.0)]
    bare = flat_view(design, from_palm=True, shows=()).strokes
    seat, palm = bare[2], bare[3]  # what carries the thumb, and the palm; before them the cuff's two pieces
    laid = Fit(scale=0.82, dx=-52.0, dy=-48.0)
    drawn += [moved(k, laid.at, laid.scale) for k in (seat, palm)]
    laid = Fit(scale=0.76, dx=-52.0, dy=6.0)
    drawn += [moved(k, laid.at, laid.scale) for k in bare[:2]]
    proximals: list[Point] = []
    tips: list[Point] = []
    for k, g in enumerate(design.digits):
        f, x = plan.digit(g), 8.0 + 18.0 * k
        for y, length, radii, found in (
            (-82.0, _length(f.knuckle, f.joint), (0.94, 1.0), proximals),
            (-22.0, _length(f.joint, f.end), (0.86, 0.94), tips),
        ):
            ends = (
                x,
                y - 0.42 * length,
                0.88 * radii[0] * f.half,
                x,
                y + 0.42 * length,
                0.88 * radii[1] * f.half,
            )
            drawn.append(Stroke(ink="part", steps=band(*ends)))
            found.append((x, y))
        drawn.append(line("bold", (x - 5.0, 26.0), (x + 5.0, 26.0)))
        drawn.append(line("elastic", (x - 5.0, 38.0), (x + 5.0, 38.0)))
    card = area("tool", (24, 66), (82, 66), (82, 108), (24, 108), r=3.0)
    drawn += [card, *strokes(("thin M 32 76 L 60 76 M 32 85 L 74 85 M 32 94 L 66 94",), {})]
    return Scene(
        strokes=tuple(drawn),
        places={
            "whole": ((0.0, 0.0),),
            "palm": ((-52.0, -80.0),),
            "cuff": ((-52.0, 62.0),),
            "proximals": tuple(proximals),
            "tips": tuple(tips),
            "small-parts": ((44.0, 31.0),),
            "card": ((53.0, 87.0),),
        },
    )


def _length(a: Point, b: Point) -> float:
    return float(((a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2) ** 0.5)


ONE_PART = (
    "skin M -74 112 Q -80 52 -44 34 Q -22 24 -14 38 Q -8 54 -24 62 Q -38 70 -34 112 Z",
    "part M -24 -62 Q -24 -84 -9 -84 L -9 -62 L 9 -62 L 9 -84 Q 24 -84 24 -62 "
    "L 22 30 L 14 30 L 14 54 L -14 54 L -14 30 L -22 30 Z",
    "thin M -22 30 L 22 30 M -9 -62 L -9 -44 L 9 -44 L 9 -62",
    "pin o -17 -70 3.4",
    "pin o 17 -70 3.4",
    "pin o 0 46 3.4",
    "ghost M -5 -44 L -5 54 M 5 -44 L 5 54",
    "skin M 74 112 Q 82 50 48 22 Q 30 6 20 14 Q 10 24 24 38 Q 42 54 38 112 Z",
    "thin M 20 14 Q 30 16 32 28",
    "thin M -14 38 Q -24 36 -30 46",
    "mark> M 34 -96 Q 0 -114 -34 -96",
)


def one_part(design: Design) -> Scene:
    """One part between thumb and fingers, turned all the way round."""
    return Scene(
        strokes=strokes(ONE_PART, {}),
        places={
            "whole": ((0.0, -10.0),),
            "ears": ((-17.0, -70.0), (17.0, -70.0)),
            "channel": ((0.0, -40.0),),
            "wall": ((0.0, -6.0),),
            "edges": ((-24.0, -50.0), (23.0, 0.0)),
            "slots": ((0.0, -72.0),),
            "pin": ((0.0, 46.0),),
        },
    )


TO_LIGHT = (
    "paper M -88 -112 L 88 -112 L 88 26 L -88 26 Z",
    "thin M 0 -112 L 0 26 M -88 -44 L 88 -44",
    "glue o 48 -84 15",
    "line M 48 -106 L 48 -111 M 70 -84 L 76 -84 M 26 -84 L 20 -84 M 64 -68 L 68 -64 M 32 -68 L 28 -64",
    "far M -44 64 L -52 10 Q -46 -28 0 -28 Q 46 -28 52 10 "
    "L 44 64 L 36 64 L 38 12 Q 34 -12 0 -12 Q -34 -12 -38 12 L -36 64 Z",
    "cuff M -60 86 L -66 20 Q -58 -20 0 -20 Q 58 -20 66 20 "
    "L 60 86 L 51 86 L 54 22 Q 46 -8 0 -8 Q -46 -8 -54 22 L -51 86 Z",
    "block M -20 -20 L -16 -31 L 16 -31 L 20 -20 Z",
    "dot o -60 56 2",
    "dot o 60 56 2",
    "skin M -92 118 Q -96 72 -76 58 Q -62 52 -58 62 Q -56 72 -66 80 Q -72 92 -66 118 Z",
    "skin M 92 118 Q 96 72 76 58 Q 62 52 58 62 Q 56 72 66 80 Q 72 92 66 118 Z",
)


def to_light(design: Design) -> Scene:
    """The formed cuff in both hands against a window, seen from its wrist end."""
    return Scene(
        strokes=strokes(TO_LIGHT, {}),
        places={
            "whole": ((0.0, 10.0),),
            "cuff": ((0.0, -14.0),),
            "cuff-edge": ((-60.0, 84.0), (60.0, 84.0)),
            "bends": ((-56.0, -2.0), (56.0, -2.0)),
            "joint": ((0.0, -25.0),),
            "slots": ((-60.0, 56.0), (60.0, 56.0)),
        },
    )


BARE_ARM = (
    "skin M -34 118 Q -28 40 -24 6 Q -30 -16 -28 -44 Q -28 -58 -16 -58 Q -8 -60 -4 -52 Q 2 -62 12 -56 "
    "Q 22 -58 26 -46 Q 30 -36 28 -20 Q 40 -28 44 -14 Q 46 0 28 10 Q 30 50 36 118 Z",
    "thin M -23 8 Q 2 16 28 10",
    "thin M -21 16 Q 2 23 28 17",
)


def bare_arm(design: Design) -> Scene:
    """Forearm and short palm of whoever will wear the hand."""
    return Scene(
        strokes=strokes(BARE_ARM, {}),
        places={"whole": ((0.0, 10.0),), "skin": ((2.0, -26.0), (2.0, 70.0)), "arm": ((2.0, 70.0),)},
    )


def on_arm(design: Design) -> Scene:
    """Palm and cuff alone, held over a bare forearm, seen from the back."""
    plan = Plan(design=design, sign=thumb_sign(design), seen=-1.0)
    h, rear = plan.half, plan.rear
    arm = [plan.up(44.0, -0.6 * h), plan.up(44.0, 0.6 * h), plan.up(0.0, 0.55 * h), plan.up(rear, 0.8 * h)]
    arm += [plan.up(rear - 60, 0.95 * h), plan.up(rear - 60, -0.95 * h), plan.up(rear, -0.8 * h)]
    arm.append(plan.up(0.0, -0.55 * h))
    bare = flat_view(design, from_palm=False, shows=()).strokes
    return Scene(
        strokes=(area("skin", *arm, r=12.0), *bare[:3], *bare[3:6]),
        places={
            "whole": (plan.up(0.0, 0.0),),
            "palm": (plan.up(36.0, 0.0),),
            "cuff": (plan.up(0.6 * rear, 0.0),),
            "arm": (plan.up(rear - 30.0, 0.0),),
            "skin": (plan.up(rear, 0.85 * h), plan.up(rear, -0.85 * h)),
        },
    )


TOGETHER = (
    "skin o -46 -58 24",
    "part M -88 40 Q -88 -24 -46 -24 Q -4 -24 -4 40 Z",
    "skin o 48 -40 19",
    "foam M 16 40 Q 16 -12 48 -12 Q 80 -12 80 40 Z",
    "tool M -98 40 L 98 40 L 98 52 L -98 52 Z",
    "paper M -34 70 L 34 70 L 34 112 L -34 112 Z",
    "thin M -24 80 L 10 80 M -24 90 L 24 90 M -24 100 L 18 100",
)


def together(design: Design) -> Scene:
    """Wearer and helper at a table, the sheet before them."""
    return Scene(
        strokes=strokes(TOGETHER, {}),
        places={
            "whole": ((0.0, 0.0),),
            "wearer": ((48.0, -40.0),),
            "helper": ((-46.0, -58.0),),
            "sheet": ((0.0, 91.0),),
        },
    )
