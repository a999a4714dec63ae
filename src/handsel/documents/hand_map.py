"""The whole hand with what was found on it: from its side in the pose it was measured in, and from its palm.

Each mark stands in a row or column beside the view and is tied by a thin line to its place. Marks that
fall on one place, or find no room in a row, share one: the gravest is shown, with how many more. All of a
finger's end share one mark, and so do all of its root: a phone has no room for more.

A state is told by shape: a disc with a tick (conforms), a disc cracked in two (does not conform), a
half-filled square on its corner (undecided), a broken ring (not seen), a disc with a dot (recorded).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from html import escape

from handsel.data.strokes import Stroke, moved
from handsel.design.model import Design
from handsel.documents.hand_flat import Scene, flat_view
from handsel.documents.hand_side import side_view
from handsel.documents.sketch import Fit, Pen, area, disc, fitted, line, short
from handsel.documents.svg import Point, printable
from handsel.inspection.result import Status
from handsel.rework.result import PoseDrawn

WIDTH, HEIGHT = 640.0, 640.0
SIDE_BOX, PALM_BOX = (24.0, 74.0, 592.0, 200.0), (146.0, 352.0, 414.0, 212.0)
ROWS = {"top": 50.0, "middle": 322.0, "bottom": 592.0}  # y of the shapes
COLUMN = 22.0  # x of the shapes beside the fingertips
MOST_IN_ROW, LEAST_GAP = 7, 82.0
SIZE = 12.0
TEXT, LONGEST_CODE, LONGEST_IN_COLUMN = 26.0, 6, 7
GRAVEST: tuple[Status, ...] = ("does not conform", "undecided", "not seen", "conforms", "recorded")

# Region of a characteristic: the view it is marked in, and the place of that view. Those of the palm
# are told apart by digit.
_PLACES: Mapping[str, tuple[str, str]] = {
    "tip": ("palm", "tips"),
    "tip-hinge": ("palm", "tips"),
    "knot": ("palm", "tips"),
    "proximal": ("palm", "knuckles"),
    "knuckle": ("palm", "knuckles"),
    "thumb": ("palm", "thumb-tip"),
    "palm": ("palm", "palm"),
    "inside": ("palm", "cuff"),
    "cuff-edge": ("palm", "cuff-edge"),
    "strap": ("palm", "straps"),
    "elastic": ("side", "proximals"),
    "cord": ("side", "cords-over-wrist"),
    "wrist": ("side", "wrist"),
    "block": ("side", "block"),
    "bar": ("side", "bar"),
    "screw-thumb-side": ("side", "screws"),
    "screw-little-side": ("side", "screws"),
    "thumb-pin": ("side", "thumb-pin"),
    "cuff": ("side", "cuff"),
    "angle": ("side", "angle"),
    "grip": ("side", "thumb-tip"),
    "hand": ("side", "palm"),
}
_BESIDE: Mapping[str, Point] = {"wearer": (592.0, 388.0), "paper": (592.0, 496.0)}


@dataclass(frozen=True, slots=True, kw_only=True)
class MapMark:
    """One characteristic at one place."""

    code: str  # short, as it stands on the screens and papers
    place: str  # digit, cord or knot; "" for the whole hand
    region: str  # of the file of drawings: `Figure.region`
    state: Status


@dataclass(frozen=True, slots=True, kw_only=True)
class _Tied:
    """Marks that share one shape, and where on the hand they belong."""

    at: Point
    marks: tuple[MapMark, ...]

    @property
    def gravest(self) -> MapMark:
        return min(self.marks, key=lambda m: GRAVEST.index(m.state))


def hand_map(design: Design, pose: PoseDrawn, marks: Iterable[MapMark], *, side: str, title: str = "") -> str:
    """The hand with its characteristics placed on it.

    Parameters: design, placed on the hand's side; pose, measured or `drawing.as_designed`; marks; side,
        "right" or "left"; title, what a screen reader says.
    Returns: SVG text, 640 by 640, without ids, scripts and styles; a left hand is the mirror image.
    Raises: Unsolved when the pose holds something that is no number.
    Valid for: any marks; a region that is not known is marked on the palm, seen from the side.
    Source: own drawing.    Checked by: unit/test_hand_map.py
    """
    mirror_in = WIDTH if side == "left" else None
    pen = Pen(width=WIDTH, height=HEIGHT, title=title)
    views = _views(design, pose)
    for scene in views.values():
        pen.draw(scene.strokes, Fit(mirror_in=mirror_in))
    names = [g.name for g in design.digits]
    tied = _tied(marks, views, names)
    palm = views["palm"].places
    ends = [p for n, p in zip(names, palm["tips"], strict=True) if n != "thumb"]
    middle = palm["palm"][0][1]
    _column(pen, [t for t in tied if t.at in ends], mirror_in)
    for region, at in _BESIDE.items():
        for t in (t for t in tied if t.at == at):
            _under(pen, t, _icon(region, at), mirror_in)
    rest = [t for t in tied if t.at not in ends and t.at not in _BESIDE.values()]
    for row, chosen in (
        ("top", [t for t in rest if t.at[1] < ROWS["middle"]]),
        ("middle", [t for t in rest if ROWS["middle"] <= t.at[1] < middle]),
        ("bottom", [t for t in rest if t.at[1] >= middle]),
    ):
        gap = max([LEAST_GAP, *(0.6 * TEXT * len(t.gravest.code[:LONGEST_CODE]) + 8.0 for t in chosen)])
        _row(pen, _few(chosen, gap), row, gap, mirror_in)
    return pen.svg("fig-map")


@lru_cache(maxsize=64)
def _views(design: Design, pose: PoseDrawn) -> Mapping[str, Scene]:
    """The hand without its marks: the same until it rests otherwise."""
    return {
        "side": _fitted(side_view(design, pose, stand=True), SIDE_BOX),
        "palm": _fitted(_lying(flat_view(design, from_palm=True)), PALM_BOX),
    }


def _fitted(scene: Scene, box: tuple[float, float, float, float]) -> Scene:
    fit = fitted(scene.strokes, box)
    return Scene(
        strokes=tuple(moved(k, fit.at, fit.scale) for k in scene.strokes),
        places={name: tuple(fit.at(*p) for p in points) for name, points in scene.places.items()},
    )


def _lying(scene: Scene) -> Scene:
    """Turned a quarter, so that the fingers point to the left as in the view from the side."""
    return Scene(
        strokes=tuple(moved(k, lambda x, y: (y, -x), 1.0) for k in scene.strokes),
        places={name: tuple((y, -x) for x, y in points) for name, points in scene.places.items()},
    )


def _tied(marks: Iterable[MapMark], views: Mapping[str, Scene], names: Sequence[str]) -> list[_Tied]:
    found: dict[Point, list[MapMark]] = {}
    for mark in marks:
        found.setdefault(_anchor(mark, views, names), []).append(mark)
    return [_Tied(at=at, marks=tuple(some)) for at, some in found.items()]


def _anchor(mark: MapMark, views: Mapping[str, Scene], names: Sequence[str]) -> Point:
    """The place that a mark is tied to: one digit's where it has one, else the middle of them all."""
    if mark.region in _BESIDE:
        return _BESIDE[mark.region]
    if mark.region == "knot" and mark.place and mark.place not in names:
        return views["side"].places["thumb-pin"][0]  # the knot that lies at no fingertip
    view, name = _PLACES.get(mark.region, ("side", "palm"))
    points = views[view].places[name]
    if view == "side":
        return points[len(points) // 2]
    here = [p for n, p in zip(names, points, strict=False) if n in mark.place.split("-")]
    if here and len(points) == len(names):
        return _middle(here)
    if len(points) == len(names):  # of all fingers together: between them, where no single one is meant
        return _middle([p for n, p in zip(names, points, strict=True) if n != "thumb"])
    return points[0]


def _middle(points: Sequence[Point]) -> Point:
    return (sum(p[0] for p in points) / len(points), sum(p[1] for p in points) / len(points))


def _few(tied: Sequence[_Tied], gap: float) -> list[_Tied]:
    """In the order of their places from left to right; the nearest ones joined until all find room."""
    left = sorted(tied, key=lambda t: t.at)
    while len(left) > min(MOST_IN_ROW, int(WIDTH / gap)):
        gaps = [_away(a.at, b.at) for a, b in zip(left, left[1:], strict=False)]
        k = gaps.index(min(gaps))
        both = _Tied(at=left[k].at, marks=left[k].marks + left[k + 1].marks)
        left[k : k + 2] = [both]
    return left


def _away(a: Point, b: Point) -> float:
    return float(((a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2) ** 0.5)


def _row(pen: Pen, tied: Sequence[_Tied], row: str, gap: float, mirror_in: float | None) -> None:
    """Shapes of one row, as near above or below their places as they find room."""
    y = ROWS[row]
    for t, x in zip(tied, _spread([t.at[0] for t in tied], gap), strict=True):
        # The code stands beyond the shape, away from the hand.
        below = y > t.at[1]
        start = (x, y - SIZE if below else y + SIZE)
        pen.draw([line("lead", start, t.at), disc("markdot", t.at, 3.5)], Fit(mirror_in=mirror_in))
        shown = x if mirror_in is None else mirror_in - x
        _shape(pen, (shown, y), t.gravest.state)
        _words(pen, (shown, y + 34.0 if below else y - 19.0), t.gravest.code[:LONGEST_CODE], "middle")
        if len(t.marks) > 1:
            _words(pen, (shown + SIZE + 5.0, y + 7.0), f"+{len(t.marks) - 1}", "start")


def _column(pen: Pen, tied: Sequence[_Tied], mirror_in: float | None) -> None:
    """Each finger's end with its mark straight before it."""
    for t in tied:
        y = t.at[1]
        after = COLUMN + SIZE if mirror_in is None else mirror_in - COLUMN - SIZE
        pen.draw(
            [line("lead", (COLUMN + 120.0, y), t.at), disc("markdot", t.at, 3.5)], Fit(mirror_in=mirror_in)
        )
        _shape(pen, (COLUMN if mirror_in is None else mirror_in - COLUMN, y), t.gravest.state)
        more = f" +{len(t.marks) - 1}" if len(t.marks) > 1 else ""
        step, anchor = (5.0, "start") if mirror_in is None else (-5.0, "end")
        text = t.gravest.code[:LONGEST_CODE] + more
        size = TEXT * min(1.0, LONGEST_IN_COLUMN / max(1, len(text)))
        _words(pen, (after + step, y + size / 3.0), text, anchor, size)


def _under(pen: Pen, t: _Tied, icon: Sequence[Stroke], mirror_in: float | None) -> None:
    """What does not lie on the hand: a small drawing of its own with the mark under it."""
    pen.draw(icon, Fit(mirror_in=mirror_in))
    x, y = t.at[0] if mirror_in is None else mirror_in - t.at[0], t.at[1] + 42.0
    _shape(pen, (x, y), t.gravest.state)
    _words(pen, (x, y + 34.0), t.gravest.code[:LONGEST_CODE], "middle")
    if len(t.marks) > 1:
        _words(pen, (x + SIZE + 5.0, y + 7.0), f"+{len(t.marks) - 1}", "start")


def _spread(wanted: Sequence[float], gap: float) -> list[float]:
    """Places from left to right with room between them, each near to where it is wanted."""
    low, high = 0.5 * gap, WIDTH - max(0.5 * gap, 62.0)  # to the right stands how many more
    places: list[float] = []
    for x in wanted:
        places.append(max(x, low, places[-1] + gap if places else low))
    limit = high
    for k in range(len(places) - 1, -1, -1):
        places[k] = min(places[k], limit)
        limit = places[k] - gap
    return places


def _shape(pen: Pen, at: Point, state: Status) -> None:
    """The shape of a state, drawn the same way round on both hands."""
    x, y = at
    s = SIZE

    def to(*points: Point) -> list[Point]:
        return [(x + u * s, y + v * s) for u, v in points]

    if state == "conforms":
        pen.draw([disc("good", at, s), line("tick", *to((-0.5, 0.05), (-0.12, 0.42), (0.52, -0.4)))], Fit())
    elif state == "recorded":
        pen.draw([disc("good", at, s), disc("pane", at, 0.34 * s)], Fit())
    elif state == "not seen":
        pen.draw([disc("unseen", at, s)], Fit())
    elif state == "undecided":
        pen.draw(
            [
                area("open", *to((0, -1.2), (1.2, 0), (0, 1.2), (-1.2, 0))),
                area("half", *to((0, -1.2), (0, 1.2), (-1.2, 0))),
            ],
            Fit(),
        )
    else:
        left = to(
            (0.1, -1.1), (-0.75, -0.95), (-1.3, -0.1), (-0.95, 0.8), (-0.3, 1.05), (0.0, 0.45), (-0.4, 0.1)
        )
        right = to((0.5, -1.05), (1.15, -0.7), (1.3, 0.1), (0.9, 0.9), (0.15, 1.15), (0.45, 0.4), (0.1, 0.0))
        pen.draw([area("bad", *left), area("bad", *right)], Fit())


def _words(pen: Pen, at: Point, text: str, anchor: str, size: float = TEXT) -> None:
    pen.parts.append(
        f'<text class="fig-ink" x="{short(at[0])}" y="{short(at[1])}" font-size="{short(size)}" text-anchor="{anchor}" '
        f'fill="currentColor" stroke="none">{escape(printable(text))}</text>'
    )


def _icon(region: str, at: Point) -> list[Stroke]:
    """What lies beside the hand: its papers, or whoever wears it."""
    x, y = at
    if region == "paper":
        sheet = area("paper", (x - 15, y - 20), (x + 15, y - 20), (x + 15, y + 20), (x - 15, y + 20))
        return [sheet, *(line("thin", (x - 9, y + d), (x + 9, y + d)) for d in (-10, -2, 6))]
    body = area(
        "skin",
        (x - 20, y + 26),
        (x - 20, y + 8),
        (x - 8, y),
        (x + 8, y),
        (x + 20, y + 8),
        (x + 20, y + 26),
        r=8.0,
    )
    return [body, disc("skin", (x, y - 14), 12.0)]
