"""The small drawing of one characteristic: where to look on the hand, and what is good and what is not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from handsel.data.load_figures import Detail, Figure, Figures, figures_of
from handsel.data.strokes import Stroke
from handsel.design.model import Design
from handsel.documents.hand_flat import Scene, thumb_sign
from handsel.documents.hand_views import figure_for, view
from handsel.documents.sketch import Fit, Pen, disc, fitted, short
from handsel.documents.svg import Point
from handsel.inspection.protocol import Characteristic, Protocol

WIDTH, HEIGHT = 320.0, 200.0
PANEL = (156.0, 94.0)
BESIDE = (8.0, 9.0, 136.0, 182.0)  # x, y, width, height of the hand beside its details
ALONE = (12.0, 8.0, 296.0, 184.0)
PANEL_X, GAP = 161.0, 4.0
LEAST_APART = 8.0


def check_figure(
    design: Design,
    characteristic: Characteristic,
    protocol: Protocol,
    *,
    place: str = "",
    figures: Figures | None = None,
) -> str:
    """The drawing for one characteristic, for the screen that asks about it.

    Parameters: design, placed on the hand's side; characteristic, of protocol; protocol; place, the one
        digit to mark, "" for all; figures, drawings of your own instead of the bundled ones.
    Returns: SVG text, 320 by 200, without ids, scripts and styles; a left hand is the mirror image.
    Raises: BadFile when a bundled file of drawings is damaged.
    Valid for: any protocol: without a drawing of its own, one that suits group, method and place.
    Source: own drawing.    Checked by: unit/test_check_figures.py
    """
    known = figures if figures is not None else figures_of(protocol.id)
    figure = figure_for(characteristic, known)
    mirror_in = WIDTH if thumb_sign(design) < 0 else None
    pen = Pen(width=WIDTH, height=HEIGHT, title=characteristic.title)
    scene = view(figure.view, design, figure.shows)
    fit = fitted(scene.strokes, BESIDE if figure.detail is not None else ALONE)
    pen.draw(scene.strokes, _mirrored(fit, mirror_in))
    spots = _apart([fit.at(*p) for p in _marked(scene, figure, place, protocol)])
    _rings(pen, spots, mirror_in)
    if figure.detail is not None:
        if spots:
            _leader(pen, spots, mirror_in)
        _details(pen, figure, figure.detail, mirror_in)
    return pen.svg()


def _mirrored(fit: Fit, mirror_in: float | None) -> Fit:
    return Fit(scale=fit.scale, dx=fit.dx, dy=fit.dy, mirror_in=mirror_in)


def _marked(scene: Scene, figure: Figure, place: str, protocol: Protocol) -> list[Point]:
    """Places to ring: all that the figure names, or where they are one a digit, the one asked for."""
    names = [d.id for d in protocol.digits]
    fingers = [d.id for d in protocol.digits if not d.is_thumb]
    spots: list[Point] = []
    for at in figure.at:
        found = scene.places[at]
        for of in (names, fingers):
            if place in of and len(found) == len(of):
                found = (found[of.index(place)],)
        spots += found
    return spots


def _apart(spots: Sequence[Point]) -> list[Point]:
    """Without those that lie under another's ring, as fingers do that are seen from the side."""
    kept: list[Point] = []
    for x, y in spots:
        if all((x - u) ** 2 + (y - v) ** 2 >= LEAST_APART**2 for u, v in kept):
            kept.append((x, y))
    return kept


def _radius(spots: Sequence[Point]) -> float:
    return 11.0 if len(spots) == 1 else 9.0 if len(spots) < 4 else 6.5


def _rings(pen: Pen, spots: Sequence[Point], mirror_in: float | None) -> None:
    pen.draw([disc("mark", p, _radius(spots)) for p in spots], Fit(mirror_in=mirror_in))


def _leader(pen: Pen, spots: Sequence[Point], mirror_in: float | None) -> None:
    """From the mark nearest to the details to the bracket that holds them."""
    radius = _radius(spots)
    x, y = max(spots)
    end = (PANEL_X - 6.0, HEIGHT / 2.0)
    away = ((end[0] - x) ** 2 + (end[1] - y) ** 2) ** 0.5
    if away <= radius + 2.0:
        return
    share = radius / away
    start = (x + share * (end[0] - x), y + share * (end[1] - y))
    bracket = Stroke(
        ink="lead",
        steps=(
            ("M", start),
            ("L", end),
            ("M", (PANEL_X, 12.0)),
            ("Q", (PANEL_X - 5.0, 12.0, PANEL_X - 5.0, 18.0)),
            ("L", (PANEL_X - 5.0, HEIGHT - 18.0)),
            ("Q", (PANEL_X - 5.0, HEIGHT - 12.0, PANEL_X, HEIGHT - 12.0)),
        ),
    )
    pen.draw([bracket], Fit(mirror_in=mirror_in))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Pane:
    """A box with one picture of a detail."""

    y: float
    height: float
    verdict: str  # "good", "bad" or ""


def _details(pen: Pen, figure: Figure, detail: Detail, mirror_in: float | None) -> None:
    if not detail.bad:
        _pane(pen, figure, detail, detail.good, _Pane(y=4.0, height=HEIGHT - 8.0, verdict=""), mirror_in)
        return
    for k, (strokes, verdict) in enumerate(((detail.good, "good"), (detail.bad, "bad"))):
        at = _Pane(y=4.0 + k * (PANEL[1] + GAP), height=PANEL[1], verdict="" if figure.either else verdict)
        _pane(pen, figure, detail, strokes, at, mirror_in)


def _pane(
    pen: Pen, figure: Figure, detail: Detail, strokes: Sequence[Stroke], at: _Pane, mirror_in: float | None
) -> None:
    wide = PANEL[0] - 1.0
    x = PANEL_X if mirror_in is None else mirror_in - PANEL_X - wide
    box = f'width="{short(wide)}" height="{short(at.height)}"'
    pen.parts.append(f'<svg x="{short(x)}" y="{short(at.y)}" {box}>')
    frame = f'x="1" y="1" width="{short(wide - 2)}" height="{short(at.height - 2)}" rx="4"/>'
    pen.parts.append(f'<rect class="fig-pane" fill="Canvas" stroke="none" {box} rx="5"/>')
    flips = (mirror_in is not None and detail.handed) != figure.mirror
    pen.draw([*strokes, *figure.also], Fit(mirror_in=wide if flips else None))
    broken = ' stroke-dasharray="6 4"' if at.verdict == "bad" else ""
    pen.parts.append(f'<rect class="fig-{at.verdict or "plain"}" stroke-width="2"{broken} {frame}')
    if at.verdict:
        _badge(pen, at.verdict, wide - 13.0 if mirror_in is not None and detail.handed else 13.0)
    pen.parts.append("</svg>")


def _badge(pen: Pen, verdict: str, x: float) -> None:
    """A tick in a disc, a cross in a square: told apart by shape, whatever the colours."""
    if verdict == "good":
        pen.parts.append(
            f'<circle class="fig-good fig-badge" cx="{short(x)}" cy="13" r="8.5"/>'
            f'<path class="fig-tick" stroke-width="2.6" d="M{short(x - 4)} 13.5l3 3 5.5-7"/>'
        )
    else:
        pen.parts.append(
            f'<rect class="fig-bad fig-badge" x="{short(x - 8)}" y="5" width="16" height="16" rx="2"/>'
            f'<path class="fig-tick" stroke-width="2.6" d="M{short(x - 4)} 9l8 8m0-8l-8 8"/>'
        )
