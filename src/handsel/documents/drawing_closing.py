"""How a hand closes, as a strip of small pictures."""

from __future__ import annotations

from collections.abc import Sequence

from handsel.design.model import Design
from handsel.documents.drawing_sheet import STRIP_HEIGHT, WIDTH, Sheet
from handsel.documents.figure import painted
from handsel.documents.figure_look import Outline, look
from handsel.documents.svg import Canvas
from handsel.rework.result import Assessment, FixKind, PoseDrawn

MOST_POSES = 5


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


def draw_closing(canvas: Canvas, design: Design, a: Assessment, top: float) -> None:
    """A strip of small pictures, one a pose, from rest to closed.

    Parameters: canvas; design, placed; a, assessment with closing poses; top, the strip's upper edge [px].
    Returns: nothing; the canvas has them.    Raises: nothing of its own.
    Valid for: two poses and more.    Source: own drawing.    Checked by: unit/test_documents.py
    """
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
        sheet = Sheet(scale=scale, origin=origin, flip=flip)
        _small(canvas, sheet, piece)
        y = top + STRIP_HEIGHT - 34.0
        canvas.text((middle, y), f"{pose.wrist_deg:.0f}°".replace("-", "−"), cls="strong", anchor="middle")
        words = "at rest" if k == 0 else _last_word(a) if k == len(shown) - 1 else ""
        canvas.text((middle, y + 22.0), words, cls="small", anchor="middle")


def _small(canvas: Canvas, sheet: Sheet, pieces: Sequence[Outline]) -> None:
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
