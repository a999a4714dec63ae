"""The sheet that a hand is drawn on: its size, the look of its lines, and where a place of the hand comes to lie."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from handsel.documents.figure_look import Flat
from handsel.documents.svg import Point

WIDTH = 1000.0
VIEW_HEIGHT, STRIP_HEIGHT = 500.0, 236.0

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
class Sheet:
    """From the drawing's plane [mm] to the picture; a right hand's fingers point to the left."""

    scale: float
    origin: Point
    flip: float

    def at(self, p: Flat) -> Point:
        return (self.origin[0] + self.flip * self.scale * p[0], self.origin[1] - self.scale * p[1])

    def all(self, points: Sequence[Flat]) -> list[Point]:
        return [self.at(p) for p in points]
