"""The drawing of one hand: at rest on its stand against the limits, and closing step by step."""

from __future__ import annotations

from collections.abc import Sequence

from handsel.design.model import Design
from handsel.documents.drawing_angles import draw_angles, on_arc, wrist_end
from handsel.documents.drawing_closing import draw_closing
from handsel.documents.drawing_sheet import STRIP_HEIGHT, STYLE, VIEW_HEIGHT, WIDTH, Sheet
from handsel.documents.figure import cuff_outline, painted
from handsel.documents.figure_look import Look, Outline, look
from handsel.documents.svg import SCREEN_FONT, Canvas
from handsel.rework.result import Assessment, Fix, FixKind, PoseDrawn


def drawing(design: Design, assessment: Assessment, *, font: str = SCREEN_FONT) -> str:
    """The hand at rest and, below it, how it closes, in one SVG.

    Parameters: design, placed at the hand's scale and side; assessment of that hand; font, the
        family or families of all text.
    Returns: SVG text.    Raises: Unsolved when a pose holds something that is no number.
    Valid for: any assessment; without a solved pose the hand is drawn as designed, and says so.
    Source: own drawing; frame and signs of `handsel.design`.    Checked by: unit/test_documents.py
    """
    strip = len(assessment.closing) > 1
    canvas = _canvas(assessment, VIEW_HEIGHT + (STRIP_HEIGHT if strip else 0.0), font)
    _hand(canvas, design, assessment)
    if strip:
        draw_closing(canvas, design, assessment, VIEW_HEIGHT)
    return canvas.svg(STYLE)


def hand_view(design: Design, assessment: Assessment, *, font: str = SCREEN_FONT) -> str:
    """The hand at rest alone. Parameters, Returns, Raises: as `drawing`."""
    canvas = _canvas(assessment, VIEW_HEIGHT, font)
    _hand(canvas, design, assessment)
    return canvas.svg(STYLE)


def closing_view(design: Design, assessment: Assessment, *, font: str = SCREEN_FONT) -> str:
    """The closing poses alone, "" when there are none. Parameters, Returns, Raises: as `drawing`."""
    if len(assessment.closing) < 2:
        return ""
    canvas = _canvas(assessment, STRIP_HEIGHT, font)
    draw_closing(canvas, design, assessment, 0.0)
    return canvas.svg(STYLE)


def _canvas(a: Assessment, height: float, font: str) -> Canvas:
    hand = a.inspection.case.hand
    return Canvas(
        width=WIDTH,
        height=height,
        font=font,
        title=f"{hand.code}, {hand.serial}: {hand.side} hand at {100 * hand.scale_ratio:.0f} %",
        about=a.sentence,
    )


def as_designed(design: Design) -> PoseDrawn:
    """The pose to draw when none was solved: straight, at the design's target angle.

    Parameters: design.    Returns: PoseDrawn.    Raises: nothing.    Valid for: any design.
    Source: the design.    Checked by: unit/test_documents.py
    """
    return PoseDrawn(
        label="as designed",
        wrist_deg=design.target_rest_angle_deg,
        tilt_deg=0.0,
        phi_deg=((0.0, 0.0),) * len(design.digits),
        tension_slide_mm=0.0,
        thumb_pin_mm=0.0,
        taut=(True,) * len(design.cords),
    )


# ---- the hand at rest ---------------------------------------------------------------------------


def _hand(canvas: Canvas, design: Design, a: Assessment) -> None:
    side = a.inspection.case.hand.side
    pose = a.drawn_now or as_designed(design)
    seen = look(design, pose, side)
    later = (
        look(design, a.drawn_after, side) if _differs(pose, a.drawn_after, a.fix) and a.drawn_after else None
    )
    reach = -2.0 * design.body("cuff").com_mm[0] * 1.06
    pieces = painted(seen)
    sheet = _fitted(seen, pieces, later, reach, a)
    _stand(canvas, sheet, seen, pieces)
    for piece in pieces:
        canvas.line(sheet.all(piece.points), cls=piece.kind, closed=piece.closed)
    if later is not None:
        canvas.line(sheet.all(cuff_outline(later)), cls="ghost", closed=True)
    draw_angles(canvas, sheet, seen, a, pose, reach, later)
    _names(canvas, sheet, seen)
    _key(canvas, a, pose, later is not None)


def _differs(now: PoseDrawn, after: PoseDrawn | None, fix: Fix) -> bool:
    return (
        after is not None and fix.kind is not FixKind.NOTHING and abs(after.wrist_deg - now.wrist_deg) > 0.3
    )


def _fitted(seen: Look, pieces: Sequence[Outline], later: Look | None, reach: float, a: Assessment) -> Sheet:
    """Scale and place such that hand, arc and its labels fit the picture."""
    points = [p for piece in pieces for p in piece.points]
    points += list(cuff_outline(later)) if later is not None else []
    wrist = wrist_end(seen)
    angles = [*a.angle_limit_deg, seen.angles_deg["wrist"], 0.0]
    points += [on_arc(wrist, reach * 1.04, angle) for angle in angles]
    lowest, highest = min(p[1] for p in points) - 12.0, max(p[1] for p in points)
    low, high = min(p[0] for p in points), max(p[0] for p in points)
    labels, names = 200.0, 62.0  # beside the arc, and beyond the fingertips
    scale = min((WIDTH - 40.0 - labels - names) / (high - low), (VIEW_HEIGHT - 62.0) / (highest - lowest))
    flip = -1.0 if seen.near > 0 else 1.0
    # The cuff's end is where the labels stand: right of the arc for a right hand, left of it for a left one.
    middle = (low + high) / 2.0
    centre = WIDTH / 2.0 + flip * (labels - names) / 2.0
    return Sheet(scale=scale, flip=flip, origin=(centre - flip * scale * middle, 22.0 + scale * highest))


def _stand(canvas: Canvas, sheet: Sheet, seen: Look, pieces: Sequence[Outline]) -> None:
    """The block under the palm base; its foot is out of the picture, so it ends in a wavy break."""
    pose = seen.design.pose
    xs = [x for x, _ in pose.support_mm]
    ys = [seen.near * y for _, y in pose.support_mm]
    near = [seen.flat((x, seen.near * max(ys), pose.base_z_mm)) for x in (min(xs), max(xs))]
    far = [seen.flat((x, seen.near * min(ys), pose.base_z_mm)) for x in (max(xs), min(xs))]
    bottom = min(p[1] for piece in pieces if piece.is_solid for p in piece.points) - 8.0
    canvas.line(sheet.all([*near, *far]), cls="stand", closed=True)
    (x0, z), (x1, _) = near
    foot = [(x1 + (x0 - x1) * k / 24, bottom + (1.6 if k % 2 else -1.6)) for k in range(25)]
    canvas.line(sheet.all([(x0, z), (x1, z), *foot]), cls="stand", closed=True)
    x, y = sheet.at(((x0 + x1) / 2, bottom + 5.0))
    canvas.text((x, y), "stand", cls="small", anchor="middle")


def _names(canvas: Canvas, sheet: Sheet, seen: Look) -> None:
    """The digits' names beside their ends: nothing is told apart by place alone."""
    d = seen.design
    ends = {}
    for digit in d.digits:
        hinge = d.hinge(digit.tip_hinge)
        soft = next(p for p in d.pads if p.digit == digit.name and p.segment == "tip")
        ends[digit.name] = (seen.at(hinge.child, soft.centre_mm), soft.radius_mm)
    anchor = "end" if sheet.flip < 0 else "start"
    step = sheet.flip * sheet.scale
    fingers = [name for name in ends if name != "thumb"]
    lowest = VIEW_HEIGHT
    for name in sorted(fingers, key=lambda n: ends[n][0][1]):
        (u, v), r = ends[name]
        x, y = sheet.at((u, v))
        y = min(y + 6.0, lowest - 22.0)
        lowest = y
        far = max(ends[n][0][0] + ends[n][1] for n in fingers)
        edge = sheet.at((far, v))[0] + 0.12 * step * r
        canvas.text((edge + (10 if step > 0 else -10), y), name, cls="small", anchor=anchor)
    if "thumb" in ends:
        (u, v), r = ends["thumb"]
        x, y = sheet.at((u, v - 1.2 * r))
        canvas.text((x + step * 1.1 * r, y + 10.0), "thumb", cls="small strong", anchor=anchor)


def _key(canvas: Canvas, a: Assessment, pose: PoseDrawn, ghost: bool) -> None:
    """What the lines mean, under the fingers' side of the picture."""
    right = a.inspection.case.hand.side == "right"
    rows = [("cord", "cord, taut")]
    if not all(pose.taut):
        rows.append(("cord slack", "cord, slack"))
    rows.append(("elastic", "elastic"))
    if ghost:
        rows.append(("ghost", "after the fix"))
    x = 24.0 if right else WIDTH - 24.0
    way = 1.0 if right else -1.0
    anchor = "start" if right else "end"
    for k, (cls, words) in enumerate(rows):
        y = 34.0 + 27.0 * k
        canvas.line([(x, y), (x + way * 48.0, y)], cls=cls)
        canvas.text((x + way * 60.0, y + 6.0), words, cls="small", anchor=anchor)
    if pose.label == "as designed":
        canvas.text((x, 34.0 + 27.0 * len(rows) + 8.0), "drawn as designed:", cls="small", anchor=anchor)
        canvas.text(
            (x, 34.0 + 27.0 * (len(rows) + 1) + 4.0), "no pose was solved", cls="small", anchor=anchor
        )
