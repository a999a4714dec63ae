"""The drawing of one hand: at rest on its stand against the limits, and closing step by step."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import cos, radians, sin

from handsel.design.model import Design
from handsel.documents.figure import Flat, Look, Outline, cuff_outline, cuff_profile, look, painted
from handsel.documents.svg import SCREEN_FONT, Canvas, Point
from handsel.metrology.quantity import Quantity, expanded
from handsel.rework.result import Assessment, Fix, FixKind, PoseDrawn

WIDTH = 1000.0
VIEW_HEIGHT, STRIP_HEIGHT = 500.0, 236.0
MOST_POSES = 5

# Few colours: bone for what is printed, rust for cords, sea green for elastics, slate for what is to come.
STYLE = """
.t { font-size: 21px; fill: #22303a; }
.small { font-size: 18px; fill: #4c5a64; }
.big { font-size: 38px; font-weight: 600; }
.strong { font-weight: 600; }
.future { fill: #3d5a80; }
path, circle, rect { fill: none; stroke-linecap: round; stroke-linejoin: round; }
.face, .top { stroke: #6f6a5e; stroke-width: 1.3; }
.side { stroke: #8d8778; stroke-width: 1; }
.palm.face { fill: #ece6d9; } .palm.side { fill: #dcd4c3; }
.finger.face { fill: #f3eee3; } .finger.side { fill: #ddd6c7; }
.thumb.face { fill: #fbf8f1; stroke: #22303a; stroke-width: 2; }
.thumb.side { fill: #ddd6c7; stroke: #22303a; }
.cuff.face { fill: #e4e3de; } .cuff.side { fill: #c9c8c0; } .cuff.top { fill: #d7d6cf; }
.block.face { fill: #cfd4d3; } .block.side { fill: #b9c0bf; }
.pin { fill: #8d8778; stroke: #57534a; stroke-width: 1; }
.bar { stroke: #22303a; stroke-width: 7; } .post { stroke: #22303a; stroke-width: 5; }
.cord { stroke: #b1432b; stroke-width: 2.4; } .slack { stroke-dasharray: 5 6; }
.elastic { stroke: #2f7f79; stroke-width: 2; stroke-dasharray: 0.5 4.5; stroke-width: 3; }
.knot { fill: #b1432b; stroke: none; }
.stand { fill: #f1f1ef; stroke: #9aa3a8; stroke-width: 1.3; }
.rule { stroke: #22303a; stroke-width: 1.2; }
.level { stroke: #22303a; stroke-width: 1.2; stroke-dasharray: 12 5 2 5; }
.axis { stroke: #22303a; stroke-width: 2; }
.arc { stroke: #22303a; stroke-width: 1.6; }
.band { fill: #22303a; fill-opacity: 0.10; stroke: none; }
.least { stroke: #22303a; stroke-width: 4; }
.most { stroke: #22303a; stroke-width: 2; stroke-dasharray: 7 5; }
.ghost { stroke: #3d5a80; stroke-width: 2.2; stroke-dasharray: 10 7; }
.hair { stroke: #c4cacd; stroke-width: 1; }
.lead { stroke: #7d888f; stroke-width: 1; }
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sheet:
    """From the drawing's plane [mm] to the picture; a right hand's fingers point to the left."""

    scale: float
    origin: Point
    flip: float

    def at(self, p: Flat) -> Point:
        return (self.origin[0] + self.flip * self.scale * p[0], self.origin[1] - self.scale * p[1])

    def all(self, points: Sequence[Flat]) -> list[Point]:
        return [self.at(p) for p in points]


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
        _closing(canvas, design, assessment, VIEW_HEIGHT)
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
    _closing(canvas, design, assessment, 0.0)
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
    sheet = _fitted(seen, later, reach, a)
    _stand(canvas, sheet, seen)
    for piece in painted(seen):
        canvas.line(sheet.all(piece.points), cls=piece.kind, closed=piece.closed)
    if later is not None:
        canvas.line(sheet.all(cuff_outline(later)), cls="ghost", closed=True)
    _angles(canvas, sheet, seen, a, pose, reach, later)
    _names(canvas, sheet, seen)
    _key(canvas, a, pose, later is not None)


def _differs(now: PoseDrawn, after: PoseDrawn | None, fix: Fix) -> bool:
    return (
        after is not None and fix.kind is not FixKind.NOTHING and abs(after.wrist_deg - now.wrist_deg) > 0.3
    )


def _fitted(seen: Look, later: Look | None, reach: float, a: Assessment) -> _Sheet:
    """Scale and place such that hand, arc and its labels fit the picture."""
    points = [p for piece in painted(seen) for p in piece.points]
    points += list(cuff_outline(later)) if later is not None else []
    wrist = _wrist(seen)
    angles = [*a.angle_limit_deg, seen.angles_deg["wrist"], 0.0]
    points += [_on_arc(wrist, reach * 1.04, angle) for angle in angles]
    lowest, highest = min(p[1] for p in points) - 12.0, max(p[1] for p in points)
    low, high = min(p[0] for p in points), max(p[0] for p in points)
    labels, names = 200.0, 62.0  # beside the arc, and beyond the fingertips
    scale = min((WIDTH - 40.0 - labels - names) / (high - low), (VIEW_HEIGHT - 62.0) / (highest - lowest))
    flip = -1.0 if seen.near > 0 else 1.0
    # The cuff's end is where the labels stand: right of the arc for a right hand, left of it for a left one.
    middle = (low + high) / 2.0
    centre = WIDTH / 2.0 + flip * (labels - names) / 2.0
    return _Sheet(scale=scale, flip=flip, origin=(centre - flip * scale * middle, 22.0 + scale * highest))


def _wrist(seen: Look) -> Flat:
    """The wrist hinge's end on the near wall of the cuff."""
    _, half = cuff_profile(seen.design)
    o = seen.design.hinge("wrist").origin_mm
    return seen.flat((o[0], o[1] + seen.near * half, o[2]))


def _on_arc(centre: Flat, radius: float, angle_deg: float) -> Flat:
    turn = radians(angle_deg)
    return (centre[0] - radius * cos(turn), centre[1] + radius * sin(turn))


def _arc(sheet: _Sheet, centre: Flat, radius: float, low_deg: float, high_deg: float) -> list[Point]:
    n = max(2, int(abs(high_deg - low_deg) / 2.0) + 1)
    return [sheet.at(_on_arc(centre, radius, low_deg + (high_deg - low_deg) * k / n)) for k in range(n + 1)]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Mark:
    """One direction on the arc, with what is written beside it."""

    angle_deg: float
    lines: tuple[tuple[str, str], ...]  # text and its class
    cls: str


def _angles(
    canvas: Canvas,
    sheet: _Sheet,
    seen: Look,
    a: Assessment,
    pose: PoseDrawn,
    reach: float,
    later: Look | None,
) -> None:
    centre = _wrist(seen)
    least, most = a.angle_limit_deg
    read, spread, words = _reading(a, pose)
    top = max(most, read, later.angles_deg["wrist"] if later is not None else 0.0)
    canvas.line([sheet.at(centre), sheet.at(_on_arc(centre, reach * 1.04, 0.0))], cls="level")
    canvas.line(_arc(sheet, centre, reach, min(0.0, read), top + 4.0), cls="arc")
    if spread > 0.0:
        outer, inner = (_arc(sheet, centre, reach + d, read - spread, read + spread) for d in (5.0, -5.0))
        canvas.line([*outer, *reversed(inner)], cls="band", closed=True)
    canvas.line([sheet.at(centre), sheet.at(_on_arc(centre, reach + 5.0, read))], cls="axis")
    marks = [
        _Mark(angle_deg=least, lines=((f"{least:g}° at least", "strong"),), cls="least"),
        _Mark(angle_deg=most, lines=((f"over {most:g}°: ask first", "small"),), cls="most"),
        _Mark(angle_deg=read, lines=words, cls="axis"),
    ]
    if later is not None and a.fix.after is not None:
        after = a.fix.after.worked_rest_angle_deg
        text = f"{after.value:.1f}° after the fix"
        marks.append(_Mark(angle_deg=after.value, lines=((text, "strong future"),), cls="ghost"))
    _marked(canvas, sheet, centre, reach, marks)


def _reading(a: Assessment, pose: PoseDrawn) -> tuple[float, float, tuple[tuple[str, str], ...]]:
    """Angle shown as now [deg], half its 95 % interval, and the words for it."""
    read = a.inspection.readings.get("worked_rest_angle_deg")
    if isinstance(read, Quantity):
        half = expanded(read).U
        return read.value, half, ((f"{read.value:.1f}°", "big"), (f"read, ± {half:.1f}° (95 %)", "small"))
    if a.now is not None:
        e = a.now.worked_rest_angle_deg
        half = (e.high - e.low) / 2.0
        return e.value, half, ((f"{e.value:.1f}°", "big"), (f"computed, ± {half:.1f}° (95 %)", "small"))
    return pose.wrist_deg, 0.0, ((f"{pose.wrist_deg:.0f}°", "big"), ("as designed, not read", "small"))


def _marked(canvas: Canvas, sheet: _Sheet, centre: Flat, reach: float, marks: Sequence[_Mark]) -> None:
    """Ticks on the arc, and their labels in a column beside it, spread so that none touch."""
    column = max((sheet.flip * -1.0) * sheet.at(_on_arc(centre, reach + 14.0, m.angle_deg))[0] for m in marks)
    x = column * -sheet.flip
    anchor = "start" if sheet.flip < 0 else "end"
    ordered = sorted(marks, key=lambda m: m.angle_deg)
    gap = 8.0 if sheet.flip < 0 else -8.0
    for m, y in zip(ordered, _spread(sheet, centre, reach, ordered), strict=True):
        inner = -9.0 if m.cls in ("least", "most") else 0.0
        a, b = (sheet.at(_on_arc(centre, reach + d, m.angle_deg)) for d in (inner, 9.0))
        if m.cls != "axis":
            canvas.line([a, b], cls=m.cls)
        canvas.line([b, (x - gap / 4, y - 7.0)], cls="lead")
        for text, cls in m.lines:
            canvas.text((x + gap, y), text, cls=cls, anchor=anchor)
            y += _line_height("small")


def _spread(sheet: _Sheet, centre: Flat, reach: float, marks: Sequence[_Mark]) -> list[float]:
    """Baseline of each label's first line: beside its tick where there is room, never over another."""
    baselines: list[float] = []
    previous = VIEW_HEIGHT
    for m in marks:
        height = sum(_line_height(cls) for _, cls in m.lines)
        y = min(sheet.at(_on_arc(centre, reach + 9.0, m.angle_deg))[1] + 7.0, previous - height - 3.0)
        baselines.append(y)
        previous = y - _line_height(m.lines[0][1]) + 22.0
    beyond = max(0.0, _line_height(marks[-1].lines[0][1]) - 2.0 - min(baselines))
    return [y + beyond for y in baselines]


def _line_height(cls: str) -> float:
    return 38.0 if cls == "big" else 25.0


def _stand(canvas: Canvas, sheet: _Sheet, seen: Look) -> None:
    """The block under the palm base; its foot is out of the picture, so it ends in a wavy break."""
    pose = seen.design.pose
    xs = [x for x, _ in pose.support_mm]
    ys = [seen.near * y for _, y in pose.support_mm]
    near = [seen.flat((x, seen.near * max(ys), pose.base_z_mm)) for x in (min(xs), max(xs))]
    far = [seen.flat((x, seen.near * min(ys), pose.base_z_mm)) for x in (max(xs), min(xs))]
    bottom = min(p[1] for piece in painted(seen, lines=False) for p in piece.points) - 8.0
    canvas.line(sheet.all([*near, *far]), cls="stand", closed=True)
    (x0, z), (x1, _) = near
    foot = [(x1 + (x0 - x1) * k / 24, bottom + (1.6 if k % 2 else -1.6)) for k in range(25)]
    canvas.line(sheet.all([(x0, z), (x1, z), *foot]), cls="stand", closed=True)
    x, y = sheet.at(((x0 + x1) / 2, bottom + 5.0))
    canvas.text((x, y), "stand", cls="small", anchor="middle")


def _names(canvas: Canvas, sheet: _Sheet, seen: Look) -> None:
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


# ---- how it closes ------------------------------------------------------------------------------


def chosen(poses: Sequence[PoseDrawn], most: int = MOST_POSES) -> tuple[PoseDrawn, ...]:
    """A few poses of a path, first and last kept, even in wrist angle.

    Parameters: poses in their order; most, how many at most [-].
    Returns: poses, each once.    Raises: nothing.    Valid for: most of 2 or more.
    Source: own rule.    Checked by: unit/test_documents.py
    """
    if len(poses) <= most:
        return tuple(poses)
    first, last = poses[0].wrist_deg, poses[-1].wrist_deg
    wanted = [first + (last - first) * k / (most - 1) for k in range(1, most - 1)]
    inner = {min(range(1, len(poses) - 1), key=lambda i: abs(poses[i].wrist_deg - w)) for w in wanted}
    return tuple(poses[i] for i in sorted({0, len(poses) - 1} | inner))


def _closing(canvas: Canvas, design: Design, a: Assessment, top: float) -> None:
    side = a.inspection.case.hand.side
    shown = chosen(a.closing)
    looks = [look(design, p, side) for p in shown]
    pieces = [painted(seen, lines=False) for seen in looks]
    tile = (WIDTH - 40.0) / len(shown)
    every = [p for piece in pieces for outline in piece for p in outline.points]
    low, high = min(p[0] for p in every), max(p[0] for p in every)
    lowest, highest = min(p[1] for p in every), max(p[1] for p in every)
    scale = min((tile - 14.0) / (high - low), (STRIP_HEIGHT - 100.0) / (highest - lowest))
    flip = -1.0 if side == "right" else 1.0
    when = "after the fix" if a.fix.kind in (FixKind.ADJUST, FixKind.RESTRING) else "as it is"
    canvas.line([(20.0, top + 6.0), (WIDTH - 20.0, top + 6.0)], cls="hair")
    canvas.text((24.0, top + 34.0), f"Closing, {when}: the wrist bends, the digits follow", cls="small")
    for k, (pose, piece) in enumerate(zip(shown, pieces, strict=True)):
        middle = 20.0 + tile * (k + 0.5)
        origin = (middle - flip * scale * (low + high) / 2.0, top + 46.0 + scale * highest)
        sheet = _Sheet(scale=scale, origin=origin, flip=flip)
        _small(canvas, sheet, piece)
        y = top + STRIP_HEIGHT - 34.0
        canvas.text((middle, y), f"{pose.wrist_deg:.0f}°".replace("-", "−"), cls="strong", anchor="middle")
        words = "at rest" if k == 0 else _last_word(a) if k == len(shown) - 1 else ""
        canvas.text((middle, y + 22.0), words, cls="small", anchor="middle")


def _small(canvas: Canvas, sheet: _Sheet, pieces: Sequence[Outline]) -> None:
    canvas.parts.append('<g style="stroke-width: 0.6px">')
    for outline in pieces:
        if outline.kind in ("pin", "post", "bar"):
            continue
        canvas.line(sheet.all(outline.points), cls=outline.kind, closed=outline.closed)
    canvas.parts.append("</g>")


def _last_word(a: Assessment) -> str:
    after = a.fix.after or a.now
    return (
        "thumb meets finger" if after is not None and after.closed_wrist_deg is not None else "end of travel"
    )
