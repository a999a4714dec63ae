"""A small writer of SVG: plain elements, every text escaped, every number checked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from html import escape
from math import isfinite

from handsel.errors import Unsolved

Point = tuple[float, float]

SCREEN_FONT = "'Source Sans 3', 'Noto Sans', 'Segoe UI', 'Helvetica Neue', Arial, sans-serif"
PAGE_FONT = "Libertinus Serif"  # comes with the typesetter, so a page looks alike on every computer


def number(x: float) -> str:
    """A coordinate with two places at most; one that is no number is refused, never drawn as zero."""
    if not isfinite(x):
        raise Unsolved(
            "a coordinate is not a number",
            where="drawing",
            do="Assess the hand again; if it happens again, keep the case file and report it.",
        )
    return f"{x:.2f}".rstrip("0").rstrip(".").replace("-0.00", "0") if abs(x) >= 0.005 else "0"


def printable(text: str) -> str:
    """Text without what XML forbids or what turns the reading direction of all that follows."""
    return "".join(c for c in text if c.isprintable())


@dataclass(slots=True)
class Canvas:
    """Elements in the order in which they are painted."""

    width: float
    height: float
    title: str
    about: str
    font: str = SCREEN_FONT
    parts: list[str] = field(default_factory=list)

    def line(self, points: Sequence[Point], *, cls: str, closed: bool = False) -> None:
        """A polyline or, closed, a polygon."""
        way = " L".join(f"{number(x)} {number(y)}" for x, y in points)
        self.parts.append(f'<path class="{cls}" d="M{way}{" Z" if closed else ""}"/>')

    def curve(self, way: str, *, cls: str) -> None:
        """A path that was written already, from numbers put through `number`."""
        self.parts.append(f'<path class="{cls}" d="{way}"/>')

    def circle(self, at: Point, radius: float, *, cls: str) -> None:
        x, y, r = number(at[0]), number(at[1]), number(radius)
        self.parts.append(f'<circle class="{cls}" cx="{x}" cy="{y}" r="{r}"/>')

    def box(self, at: Point, width: float, height: float, *, cls: str, round_by: float = 0.0) -> None:
        size = f'width="{number(width)}" height="{number(height)}" rx="{number(round_by)}"'
        self.parts.append(f'<rect class="{cls}" x="{number(at[0])}" y="{number(at[1])}" {size}/>')

    def text(self, at: Point, text: str, *, cls: str = "", anchor: str = "start") -> None:
        words = escape(printable(text))
        place = f'x="{number(at[0])}" y="{number(at[1])}" text-anchor="{anchor}"'
        self.parts.append(f'<text class="t {cls}" {place}>{words}</text>')

    def svg(self, style: str) -> str:
        """The whole document. The title and the description are what a screen reader says."""
        w, h = number(self.width), number(self.height)
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {w} {h}" '
            f'width="{w}" height="{h}" role="img">\n'
            f"<title>{escape(printable(self.title))}</title>\n<desc>{escape(printable(self.about))}</desc>\n"
            f"<style>{style}\n.t {{ font-family: {self.font}; }}</style>\n"
            + "\n".join(self.parts)
            + "\n</svg>\n"
        )
