"""How the hand is held for a group of checks: drawn at the head of the group, with the turn to come there."""

from __future__ import annotations

from handsel.data.load_figures import Figures, Held, figures_of
from handsel.data.strokes import Stroke, moved, strokes
from handsel.design.model import Design
from handsel.documents.hand_flat import Scene, thumb_sign
from handsel.documents.hand_views import held_for, view
from handsel.documents.sketch import Fit, Pen, fitted
from handsel.inspection.protocol import Group, Protocol

WIDTH, HEIGHT = 320.0, 170.0
ALONE = (10.0, 6.0, 300.0, 158.0)
BEFORE, AFTER = (6.0, 30.0, 96.0, 112.0), (186.0, 6.0, 128.0, 158.0)

# The inspector's own hand under the palm piece, from the side away from the thumb; its thumb lies on top.
# About the middle of the palm [mm], for a view in which the printed thumb is on the right.
UNDER = (
    "skin = -70 44 17 24 -14 15",
    "skin = 10 -26 7.5 48 -34 6.5",
    "skin = 12 -10 7.5 53 -15 6.5",
    "skin = 12 6 7.5 52 4 6.5",
    "skin = 8 20 7 45 22 6",
)
OVER = ("skin = -50 30 10 -21 2 8", "thin M -26 -2 Q -20 -8 -15 0")
# From the side: one hand at the palm piece, the other at the cuff, thumbs toward the viewer.
AT_PALM = ("skin = -14 78 17 -2 16 12", "skin = -4 20 9 18 -2 7.5", "thin M 13 -7 Q 22 -8 23 1")
AT_CUFF = ("skin = 30 74 17 6 14 12", "skin = 8 18 9 -14 -2 7.5", "thin M -9 -7 Q -18 -8 -19 1")
# A turn about the long axis: over the one edge and under the other.
TURN = ("bold> M 116 104 Q 146 46 176 88", "thin M 116 116 L 176 116")

_OTHER_SIDE = {"palm-up": "back-up", "tips-toward": "back-up", "back-up": "palm-up", "inside": "back-up"}
_LAID = ("palm-up", "back-up")
_IN_BOTH_HANDS = ("moving", "closed")


def hold_figure(design: Design, group: Group, protocol: Protocol, *, figures: Figures | None = None) -> str:
    """How the hand is held for a group.

    Parameters: design, placed on the hand's side; group, of protocol; protocol; figures, drawings of your
        own instead of the bundled ones.
    Returns: SVG text, 320 by 170, without ids, scripts and styles; a left hand is the mirror image.
    Raises: BadFile when a bundled file of drawings is damaged.
    Valid for: any protocol.    Source: own drawing.    Checked by: unit/test_check_figures.py
    """
    known = figures if figures is not None else figures_of(protocol.id)
    held = held_for(group.id, protocol, known)
    mirror_in = WIDTH if thumb_sign(design) < 0 else None
    pen = Pen(width=WIDTH, height=HEIGHT, title=f"{group.title}. {group.how}")
    turns = held.turn and held.view in _OTHER_SIDE
    now = _in_hands(design, held)
    if turns:
        before = view(_OTHER_SIDE[held.view], design, held.shows)
        pen.parts.append('<g class="fig-before" opacity="0.55">')
        pen.draw(before.strokes, _placed(before.strokes, BEFORE, mirror_in))
        pen.parts.append("</g>")
        pen.draw(strokes(TURN, {}), Fit(mirror_in=mirror_in))
    pen.draw(now, _placed(now, AFTER if turns else ALONE, mirror_in))
    return pen.svg()


def _placed(
    drawn: tuple[Stroke, ...], box: tuple[float, float, float, float], mirror_in: float | None
) -> Fit:
    fit = fitted(drawn, box)
    return Fit(scale=fit.scale, dx=fit.dx, dy=fit.dy, mirror_in=mirror_in)


def _in_hands(design: Design, held: Held) -> tuple[Stroke, ...]:
    """The view with whatever holds the hand."""
    scene = view(held.view, design, held.shows)
    if held.view in _LAID:
        flip = 1.0 if held.view == "palm-up" else -1.0
        return _at(UNDER, scene, "palm", flip) + scene.strokes + _at(OVER, scene, "palm", flip)
    if held.view in _IN_BOTH_HANDS:
        return scene.strokes + _at(AT_PALM, scene, "palm", 1.0) + _at(AT_CUFF, scene, "cuff", 1.0)
    return scene.strokes


def _at(lines: tuple[str, ...], scene: Scene, place: str, flip: float) -> tuple[Stroke, ...]:
    x, y = scene.places[place][0]
    return tuple(moved(k, lambda u, v: (x + flip * u, y + v), 1.0, flip < 0) for k in strokes(lines, {}))
