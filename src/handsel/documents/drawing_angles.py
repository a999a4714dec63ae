"""The arc beside a drawn hand: limits, the angle it rests at, and what is written beside them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import cos, radians, sin

from handsel.documents.drawing_sheet import VIEW_HEIGHT, Sheet
from handsel.documents.figure import cuff_profile
from handsel.documents.figure_look import Flat, Look
from handsel.documents.svg import Canvas, Point
from handsel.metrology.quantity import Quantity, expanded
from handsel.rework.result import Assessment, PoseDrawn


def wrist_end(seen: Look) -> Flat:
    """The wrist hinge's end on the near wall of the cuff: where the arc has its middle.

    Parameters: seen, the hand.    Returns: place of the drawing [mm].    Raises: nothing of its own.
    Valid for: any design.    Source: own drawing.    Checked by: unit/test_documents.py
    """
    _, half = cuff_profile(seen.design)
    o = seen.design.hinge("wrist").origin_mm
    return seen.flat((o[0], o[1] + seen.near * half, o[2]))


def on_arc(centre: Flat, radius: float, angle_deg: float) -> Flat:
    """A place on the arc that an elbow end goes along.

    Parameters: centre [mm]; radius [mm]; angle_deg, of the wrist [deg].    Returns: place of the drawing [mm].
    Raises: nothing of its own.    Valid for: any angle.    Source: plane trigonometry.
    Checked by: unit/test_documents.py
    """
    turn = radians(angle_deg)
    return (centre[0] - radius * cos(turn), centre[1] + radius * sin(turn))


def _arc(sheet: Sheet, centre: Flat, radius: float, low_deg: float, high_deg: float) -> list[Point]:
    n = max(2, int(abs(high_deg - low_deg) / 2.0) + 1)
    return [sheet.at(on_arc(centre, radius, low_deg + (high_deg - low_deg) * k / n)) for k in range(n + 1)]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Mark:
    """One direction on the arc, with what is written beside it."""

    angle_deg: float
    lines: tuple[tuple[str, str], ...]  # text and its class
    cls: str


def draw_angles(
    canvas: Canvas,
    sheet: Sheet,
    seen: Look,
    a: Assessment,
    pose: PoseDrawn,
    reach: float,
    later: Look | None,
) -> None:
    """Level, arc, limits, and the angle read or computed, with what is written beside them.

    Parameters: canvas and sheet; seen, the hand; a, its assessment; pose that is drawn; reach, radius of the arc
        [mm]; later, the hand after the fix, None where it stays as it is.
    Returns: nothing; the canvas has them.    Raises: nothing of its own.
    Valid for: any assessment.    Source: own drawing.    Checked by: unit/test_documents.py
    """
    centre = wrist_end(seen)
    least, most = a.angle_limit_deg
    read, spread, words = _reading(a, pose)
    top = max(most, read, later.angles_deg["wrist"] if later is not None else 0.0)
    canvas.line([sheet.at(centre), sheet.at(on_arc(centre, reach * 1.04, 0.0))], cls="level")
    canvas.line(_arc(sheet, centre, reach, min(0.0, read), top + 4.0), cls="arc")
    if spread > 0.0:
        outer, inner = (_arc(sheet, centre, reach + d, read - spread, read + spread) for d in (5.0, -5.0))
        canvas.line([*outer, *reversed(inner)], cls="band", closed=True)
    canvas.line([sheet.at(centre), sheet.at(on_arc(centre, reach + 5.0, read))], cls="axis")
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


def _marked(canvas: Canvas, sheet: Sheet, centre: Flat, reach: float, marks: Sequence[_Mark]) -> None:
    """Ticks on the arc, and their labels in a column beside it, spread so that none touch."""
    column = max((sheet.flip * -1.0) * sheet.at(on_arc(centre, reach + 14.0, m.angle_deg))[0] for m in marks)
    x = column * -sheet.flip
    anchor = "start" if sheet.flip < 0 else "end"
    ordered = sorted(marks, key=lambda m: m.angle_deg)
    gap = 8.0 if sheet.flip < 0 else -8.0
    for m, y in zip(ordered, _spread(sheet, centre, reach, ordered), strict=True):
        inner = -9.0 if m.cls in ("least", "most") else 0.0
        a, b = (sheet.at(on_arc(centre, reach + d, m.angle_deg)) for d in (inner, 9.0))
        if m.cls != "axis":
            canvas.line([a, b], cls=m.cls)
        canvas.line([b, (x - gap / 4, y - 7.0)], cls="lead")
        for text, cls in m.lines:
            canvas.text((x + gap, y), text, cls=cls, anchor=anchor)
            y += _line_height("small")


def _spread(sheet: Sheet, centre: Flat, reach: float, marks: Sequence[_Mark]) -> list[float]:
    """Baseline of each label's first line: beside its tick where there is room, never over another."""
    baselines: list[float] = []
    previous = VIEW_HEIGHT
    for m in marks:
        height = sum(_line_height(cls) for _, cls in m.lines)
        y = min(sheet.at(on_arc(centre, reach + 9.0, m.angle_deg))[1] + 7.0, previous - height - 3.0)
        baselines.append(y)
        previous = y - _line_height(m.lines[0][1]) + 22.0
    beyond = max(0.0, _line_height(marks[-1].lines[0][1]) - 2.0 - min(baselines))
    return [y + beyond for y in baselines]


def _line_height(cls: str) -> float:
    return 38.0 if cls == "big" else 25.0
