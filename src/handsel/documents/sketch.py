"""From strokes to SVG for a page that allows no style of its own: classes, and plain attributes behind them.

A style sheet colours the classes for light and dark; without it the system's own page and text
colours (Canvas, currentColor) keep the drawing readable. Nothing has an id, so that many drawings
may stand in one page.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from html import escape
from math import atan2, cos, pi, sin

from handsel.data.strokes import FILLED, Step, Stroke, moved
from handsel.documents.svg import Point, number, printable

HEAD = 6.0  # length of an arrow head's barbs
BARB = 0.5  # their angle to the shaft [rad]

_SOLID = 'fill="currentColor" stroke="none"'
_LOOKS = {
    "good": _SOLID,
    "bad": _SOLID,
    "half": _SOLID,
    "open": 'fill="Canvas" stroke-width="2"',
    "unseen": 'fill="Canvas" stroke-width="2" stroke-dasharray="4 4"',
    "pane": 'fill="Canvas" stroke="none"',
    "tick": 'stroke="Canvas" stroke-width="3"',
    "dot": _SOLID,
    "markdot": _SOLID,
    "thin": 'stroke-width="1"',
    "lead": 'stroke-width="1.2"',
    "cord": 'stroke-width="2.4"',
    "elastic": 'stroke-width="2.6" stroke-dasharray="0.5 4.5"',
    "ghost": 'stroke-dasharray="5 4"',
    "mark": 'stroke-width="2.6"',
    "bold": 'stroke-width="3.6"',
    "white": 'stroke="#fff" stroke-width="2.4"',
}
_PANE = 'fill="Canvas"'


def short(x: float) -> str:
    """A coordinate with one place, finer than any screen shows, and without the nought before its point."""
    return number(round(x, 1)).replace("0.", ".") if abs(x) < 1.0 else number(round(x, 1))


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """From a drawing's own plane to the picture: scaled, moved, and mirrored in a picture's middle."""

    scale: float = 1.0
    dx: float = 0.0
    dy: float = 0.0
    mirror_in: float | None = None  # width of the picture that is mirrored

    def at(self, x: float, y: float) -> Point:
        u, v = self.scale * x + self.dx, self.scale * y + self.dy
        return (u if self.mirror_in is None else self.mirror_in - u, v)


@dataclass(slots=True)
class Pen:
    """Pieces of SVG in the order in which they are painted."""

    width: float
    height: float
    title: str
    parts: list[str] = field(default_factory=list)

    def draw(self, drawn: Iterable[Stroke], fit: Fit) -> None:
        """Strokes put where they belong; neighbours in one ink share one element or group."""
        run: list[Stroke] = []
        for k in drawn:
            placed = moved(k, fit.at, fit.scale, fit.mirror_in is not None)
            if run and placed.ink != run[0].ink:
                self._write(run)
                run = []
            run.append(placed)
        if run:
            self._write(run)

    def _write(self, run: Sequence[Stroke]) -> None:
        ink = run[0].ink
        if ink == "ink":
            self.parts += [_letter(k) for k in run]
            return
        look = _look(ink)
        shapes = [_shape(k) for k in run]
        if len(shapes) > 1 and all(s.startswith("M") for s in shapes) and ink not in FILLED:
            shapes = ["".join(shapes)]
        if len(shapes) == 1:
            self.parts.append(_element(shapes[0], look))
        else:
            self.parts.append(f"<g {look}>{''.join(_element(s, '') for s in shapes)}</g>")

    def svg(self, cls: str = "fig") -> str:
        """The whole picture; its title is what a screen reader says."""
        w, h = short(self.width), short(self.height)
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" class="{cls}" viewBox="0 0 {w} {h}" role="img" fill="none" '
            f'stroke="currentColor" stroke-width="1.6" stroke-linecap="round" stroke-linejoin="round">'
            f"<title>{escape(printable(self.title))}</title>{''.join(self.parts)}</svg>"
        )


def _look(ink: str) -> str:
    attributes = _LOOKS.get(ink, _PANE if ink in FILLED else "")
    return f'class="fig-{ink}" {attributes}'.strip()


def _element(shape: str, look: str) -> str:
    start = f" {look}" if look else ""
    if shape.startswith("M"):
        return f'<path{start} d="{shape}"/>'
    return f"<circle{start} {shape}/>"


def _shape(k: Stroke) -> str:
    if k.steps[0][0] == "o":
        x, y, r = k.steps[0][1]
        return f'cx="{short(x)}" cy="{short(y)}" r="{short(r)}"'
    way = _way(k.steps)
    if k.heads:
        way += _head(k.steps[-2][1], k.steps[-1][1])
    if k.heads == "<>":
        way += _head(k.steps[1][1], k.steps[0][1], first=True)
    return way


def _way(steps: Sequence[Step]) -> str:
    """A path as short as SVG allows: a letter that repeats is left out."""
    parts, before = [], ""
    for command, v in steps:
        if command == "A":
            r, _, _, large, sweep, x, y = v
            parts.append(f"A{short(r)} {short(r)} 0 {large:.0f} {sweep:.0f} {_row((x, y))}")
        elif command in "LQ" and command == before:
            row = _row(v)
            parts.append(row if row.startswith("-") else f" {row}")
        else:
            parts.append(command + _row(v))
        before = command
    return "".join(parts)


def _row(values: Sequence[float]) -> str:
    """Numbers of a path, as closely as SVG allows: a minus sign parts them as well as a blank does."""
    return " ".join(short(v) for v in values).replace(" -", "-")


def _head(before: Sequence[float], last: Sequence[float], *, first: bool = False) -> str:
    """A barbed end: the way there runs from the last control point, or from the step before."""
    x, y = last[-2], last[-1]
    if first or len(last) == 2:
        px, py = (before[0], before[1]) if first else (before[-2], before[-1])
    else:
        px, py = last[-4], last[-3]
    way = atan2(y - py, x - px)
    ends = [(x + HEAD * cos(way + pi + b), y + HEAD * sin(way + pi + b)) for b in (BARB, -BARB)]
    (ax, ay), (bx, by) = ends
    return f"M{_row((ax, ay))}L{_row((x, y, bx, by))}"


def _letter(k: Stroke, size: float = 13.0) -> str:
    x, y = k.steps[0][1]
    return (
        f'<text class="fig-ink" x="{short(x)}" y="{short(y + size / 3)}" font-size="{short(size)}" '
        f'text-anchor="middle" fill="currentColor" stroke="none">{escape(k.text)}</text>'
    )


def bounds(drawn: Iterable[Stroke]) -> tuple[float, float, float, float]:
    """Least and most of x and of y over all points of some strokes: x0, y0, x1, y1."""
    xs: list[float] = []
    ys: list[float] = []
    for k in drawn:
        for command, v in k.steps:
            if command == "o":
                xs += [v[0] - v[2], v[0] + v[2]]
                ys += [v[1] - v[2], v[1] + v[2]]
            else:
                tail = v[5:] if command == "A" else v
                xs += tail[0::2]
                ys += tail[1::2]
    return min(xs), min(ys), max(xs), max(ys)


def fitted(drawn: Sequence[Stroke], box: tuple[float, float, float, float], most: float = 10.0) -> Fit:
    """How a drawing is put in the middle of a box x, y, width, height, as large as it goes there."""
    x0, y0, x1, y1 = bounds(drawn)
    scale = min(box[2] / (x1 - x0), box[3] / (y1 - y0), most)
    return Fit(
        scale=scale,
        dx=box[0] + (box[2] - scale * (x0 + x1)) / 2.0,
        dy=box[1] + (box[3] - scale * (y0 + y1)) / 2.0,
    )


def smooth(points: Sequence[Point], *, r: float = 4.0) -> tuple[Step, ...]:
    """A closed outline through some corners, each rounded off over a length r where there is room."""
    steps: list[Step] = []
    for k, p in enumerate(points):
        before, after = points[k - 1], points[(k + 1) % len(points)]
        a, b = _toward(p, before, r), _toward(p, after, r)
        steps += [("L" if steps else "M", a), ("Q", (*p, *b))]
    return (*steps, ("Z", ()))


def _toward(p: Point, q: Point, r: float) -> Point:
    d = ((q[0] - p[0]) ** 2 + (q[1] - p[1]) ** 2) ** 0.5
    share = min(0.5, r / d) if d else 0.0
    return (p[0] + share * (q[0] - p[0]), p[1] + share * (q[1] - p[1]))


def line(ink: str, *points: Point) -> Stroke:
    """A straight-cornered line."""
    return Stroke(ink=ink, steps=tuple(("L" if k else "M", p) for k, p in enumerate(points)))


def area(ink: str, *points: Point, r: float = 0.0) -> Stroke:
    """A closed outline, its corners rounded by r."""
    if r > 0.0:
        return Stroke(ink=ink, steps=smooth(points, r=r))
    return Stroke(ink=ink, steps=(*line(ink, *points).steps, ("Z", ())))


def disc(ink: str, at: Point, r: float) -> Stroke:
    """A circle."""
    return Stroke(ink=ink, steps=(("o", (at[0], at[1], r)),))
