"""Drawings for the sheet of tag cards: the hand from both sides with its cards, and how a carrier sits on it.

The hand is the solids' own outline at rest, so what a builder sees from the side is what is drawn.
Picture plane [mm], y down: x toward the fingers is to the right when they point to the right.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from math import cos, radians, sin
from typing import Literal

from handsel.data.load_design import load_design
from handsel.data.part_sides import SidesFile, load_sides
from handsel.documents.marker_svg import outlines
from handsel.documents.svg import PAGE_FONT, number
from handsel.vision.cards import CARD_MM, CUFF, MARKER_MM, PALM
from handsel.vision.mat.sheet import CELLS, marker_cells

ViewSide = Literal["thumb", "little"]
HandSide = Literal["left", "right"]
Point = tuple[float, float]

# With tape on the thumb's side: above the swelling that carries the thumb, and on the wing below its bend.
# Middle of the card, x and z of the straight hand [mm]; the other side's places are the design's own seats.
TAPED: dict[int, Point] = {PALM: (31.0, 15.2), CUFF: (-72.0, -8.6)}
FILLS = {"palm": "#e9e9e9", "cuff": "#d3d3d3", "tension_block": "#bdbdbd"}
DIGIT, EDGE = "#f7f7f7", "#1a1a1a"


@dataclass(frozen=True, slots=True, kw_only=True)
class CardSeat:
    """Where a card's middle is in the picture, and how it is turned in it."""

    card: int
    at: Point
    turn_deg: float  # clockwise as seen


@cache
def _sides() -> SidesFile:
    return load_sides("linden")


def fingers_right(hand: HandSide, view: ViewSide) -> bool:
    """Whether the fingers point to the right of a picture.

    Parameters: hand; view, the side of the hand that is seen.
    Returns: bool.    Raises: nothing.    Valid for: hands on their palm base, back up.
    Source: a right hand's thumb is on its left when seen from its own wrist, back up.
    Checked by: unit/test_documents_card_sheet.py
    >>> fingers_right("right", "thumb")
    False
    """
    return (hand == "right") == (view == "little")


def card_seats(hand: HandSide, view: ViewSide) -> tuple[CardSeat, ...]:
    """Where both cards are in the picture of a side.

    Parameters: hand; view, the side of the hand that is seen.
    Returns: palm card, cuff card.    Raises: nothing of its own.    Valid for: linden at scale 1, at rest.
    Source: on the little finger's side the design's seats, on the thumb's the flat places of its walls.
    Checked by: unit/test_documents_card_sheet.py
    """
    sign = 1.0 if fingers_right(hand, view) else -1.0
    wrist = _sides().wrist_deg
    if view == "thumb":
        places = TAPED
    else:
        pads = {p.body: p.centre_mm for p in load_design("linden").tag_pads}
        places = {PALM: (pads["palm"][0], pads["palm"][2]), CUFF: (pads["cuff"][0], pads["cuff"][2])}
    x, z = places[CUFF]
    a = radians(wrist)  # the cuff's free end, at negative x, goes up
    raised = (x * cos(a) + z * sin(a), -x * sin(a) + z * cos(a))
    return (
        CardSeat(card=PALM, at=_shown(places[PALM], sign), turn_deg=0.0),
        CardSeat(card=CUFF, at=_shown(raised, sign), turn_deg=sign * wrist),
    )


def _shown(p: Point, sign: float) -> Point:
    return (sign * p[0], -p[1])


def side_picture(hand: HandSide, view: ViewSide, *, large: bool = False) -> str:
    """The hand at rest from one side, both cards on it.

    Parameters: hand; view, the side that is seen; large, whether reference lines, the angle and words are on it.
    Returns: SVG in mm.    Raises: nothing of its own.    Valid for: linden.
    Source: outlines of the design's solids.    Checked by: unit/test_documents_card_sheet.py
    """
    sign = 1.0 if fingers_right(hand, view) else -1.0
    left, right = (-112.0, 156.0) if sign > 0 else (-156.0, 112.0)
    drawn = _hand(view, sign)
    if large:
        drawn += _lines(sign)
    drawn += [card_drawing(seat) for seat in card_seats(hand, view)]
    if large:
        drawn += _words(card_seats(hand, view), sign)
    top, low = (-116.0, 66.0) if large else (-100.0, 64.0)
    title = f"{hand} hand, {'little finger' if view == 'little' else 'thumb'} side"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{number(left)} {number(top)} {number(right - left)} '
        f'{number(low - top)}" font-family="{PAGE_FONT}"><title>{title}</title>{"".join(drawn)}</svg>'
    )


def _hand(view: ViewSide, sign: float) -> list[str]:
    """Every piece, the furthest first."""
    nearness = (lambda p: p.high_y_mm) if view == "thumb" else (lambda p: -p.low_y_mm)
    drawn = []
    for piece in sorted(_sides().piece, key=nearness):
        way = "".join(_way([_shown(p, sign) for p in ring]) for ring in piece.rings_mm)
        fill = FILLS.get(piece.part, DIGIT)
        drawn.append(
            f'<path d="{way}" fill="{fill}" fill-rule="evenodd" stroke="{EDGE}" stroke-width="0.7" '
            'stroke-linejoin="round"/>'
        )
    return drawn


def _way(points: Sequence[Point]) -> str:
    return "M" + "L".join(f"{number(x)} {number(y)}" for x, y in points) + "Z"


def card_drawing(seat: CardSeat) -> str:
    """A card as it is printed: white, its marker, a bold stroke for the folded upper edge."""
    x, y = seat.at
    half = CARD_MM / 2
    return (
        f'<g transform="translate({number(x)} {number(y)}) rotate({number(seat.turn_deg)})">'
        f'<rect x="{-half}" y="{-half}" width="{CARD_MM}" height="{CARD_MM}" fill="#ffffff" stroke="{EDGE}" '
        'stroke-width="0.8"/>'
        f"{_marker(seat.card, MARKER_MM / 2, 0.0)}"
        f'<path d="M{-half} {-half}H{half}" stroke="#000000" stroke-width="2.6" stroke-linecap="round"/></g>'
    )


def _lines(sign: float) -> list[str]:
    """The two reference lines and the angle between them."""
    base, wrist = -12.0, _sides().wrist_deg
    a = radians(wrist)
    dash = 'stroke="#000000" stroke-width="0.9" stroke-dasharray="3 2.2" fill="none"'
    palm = [_shown((-96.0, base), sign), _shown((92.0, base), sign)]
    # along the cuff's back, whose outer face lies 14 mm above the hinge
    back = [(u * cos(a) + 14.0 * sin(a), -u * sin(a) + 14.0 * cos(a)) for u in (-128.0, 8.0)]
    cuff = [_shown(p, sign) for p in back]
    # both lines meet where the cuff's line comes down to the palm's
    meet_u = (14.0 * cos(a) - base) / sin(a)
    meet = (meet_u * cos(a) + 14.0 * sin(a), base)
    r = 62.0
    ends = [(meet[0] - r, base), (meet[0] - r * cos(a), base + r * sin(a))]
    (x0, y0), (x1, y1) = (_shown(p, sign) for p in ends)
    middle = _shown((meet[0] - r - 2.0, base + 6.0), sign)
    anchor = "end" if sign > 0 else "start"
    return [
        f'<path d="M{number(p[0][0])} {number(p[0][1])}L{number(p[1][0])} {number(p[1][1])}" {dash}/>'
        for p in (palm, cuff)
    ] + [
        f'<path d="M{number(x0)} {number(y0)}A{r} {r} 0 0 {1 if sign > 0 else 0} {number(x1)} {number(y1)}" '
        'stroke="#000000" stroke-width="1.4" fill="none"/>',
        f'<text x="{number(middle[0])}" y="{number(middle[1])}" font-size="7.5" font-style="italic" '
        f'text-anchor="{anchor}">rest angle</text>',
    ]


def _words(seats: Sequence[CardSeat], sign: float) -> list[str]:
    """What each card is, with a line to it."""
    palm, cuff = seats
    anchor = "start" if sign > 0 else "end"
    said = [
        (
            (palm.at[0] + sign * 10.0, palm.at[1] - 14.0),
            (sign * 58.0, -58.0),
            f"{PALM}, palm",
            ("on its seat in the side wall,", "lower edge along the palm\u2019s base"),
        ),
        (
            (cuff.at[0] + sign * 7.0, cuff.at[1] - 17.5),
            (sign * 8.0, -101.0),
            f"{CUFF}, cuff",
            ("on the seat of the tension block,", "lower edge along the cuff\u2019s back"),
        ),
    ]
    drawn = []
    for (x, y), (u, v), head, more in said:
        drawn += [
            f'<path d="M{number(u - sign * 3)} {number(v - 2)}L{number(x)} {number(y)}" '
            'stroke="#000000" stroke-width="0.8" fill="none"/>',
            f'<text x="{number(u)}" y="{number(v)}" font-size="9.5" font-weight="bold" '
            f'text-anchor="{anchor}">{head}</text>',
        ]
        drawn += [
            f'<text x="{number(u)}" y="{number(v + 8 + 7.4 * k)}" font-size="6.6" text-anchor="{anchor}">{line}</text>'
            for k, line in enumerate(more)
        ]
    return drawn


def slip_picture(kind: str) -> str:
    """A card put on wrongly, close up.

    Parameters: kind, "upside-down", "swapped", "askew" or "covered".
    Returns: SVG in mm.    Raises: KeyError for another kind.    Valid for: the kinds listed.
    Source: own drawing.    Checked by: unit/test_documents_card_sheet.py
    """
    palm = card_seats("right", "little")[0]
    card, turn_deg = {
        "upside-down": (PALM, 180.0),
        "swapped": (CUFF, 0.0),
        "askew": (PALM, -11.0),
        "covered": (PALM, 0.0),
    }[kind]
    drawn = [*_hand("little", 1.0), card_drawing(CardSeat(card=card, at=palm.at, turn_deg=turn_deg))]
    if kind == "covered":
        drawn.append(
            f'<path d="M12 34L33 -36" stroke="#8a8a8a" stroke-width="9"/><path d="M7.7 33L28.7 -37M16.3 35L37.3 -35" '
            f'stroke="{EDGE}" stroke-width="0.8"/>'
        )
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="-8 -34 84 54">'
        f"<title>{kind}</title>{''.join(drawn)}</svg>"
    )


def carrier_picture(card: int) -> str:
    """How a paper carrier sits on its part, looking along the forearm: the paper is the bold line.

    Parameters: card, PALM or CUFF.    Returns: SVG in mm.    Raises: nothing of its own.
    Valid for: a part about as wide as linden's.    Source: own drawing.
    Checked by: unit/test_documents_card_sheet.py
    """
    if card == PALM:
        part = (
            "M-30 0V-27Q-30 -36 -21 -36H21Q30 -36 30 -27V0ZM-24 -4H24V-24Q24 -30 18 -30H-18Q-24 -30 -24 -24Z"
        )
        paper, at = "M-2 1.2H31.2V-25", (31.2, -12.0)
        under = f'<rect x="-27" y="2.2" width="52" height="8.5" fill="#c9c9c9" stroke="{EDGE}" stroke-width="0.6"/>'
        words = [(-1.0, 8.6, "stand", "middle"), (0.0, -14.0, "palm", "middle")]
        words += [(36.0, 6.0, "foot, under the palm", "start"), (36.0, -22.0, "wall", "start")]
    else:
        part = "M-37 26V-2Q-37 -10 -29 -10H29Q37 -10 37 -2V26H34V-2Q34 -7 29 -7H-29Q-34 -7 -34 -2V26Z"
        paper, at = "M2 -11.2H38.2V15", (38.2, 1.0)
        under = '<path d="M-10 -11.6H8" stroke="#8a8a8a" stroke-width="1.6"/>'
        words = [(0.0, 4.0, "cuff, seen from the elbow", "middle"), (-1.0, -15.0, "tape", "middle")]
        words += [(24.0, -15.0, "foot", "middle"), (43.0, -9.0, "wall", "start")]
    x, y = at
    said = "".join(
        f'<text x="{number(u)}" y="{number(v)}" font-size="6" text-anchor="{anchor}">{text}</text>'
        for u, v, text, anchor in words
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="-40 -40 142 68" font-family="{PAGE_FONT}">'
        f"<title>carrier on the {'palm' if card == PALM else 'cuff'}</title>"
        f'<path d="{part}" fill="#e9e9e9" fill-rule="evenodd" stroke="{EDGE}" stroke-width="0.7"/>{under}'
        f'<path d="{paper}" fill="none" stroke="#000000" stroke-width="2" stroke-linejoin="round"/>'
        f'<path d="M{number(x + 1.6)} {number(y - 9)}V{number(y + 9)}" stroke="#000000" stroke-width="1.2" '
        'stroke-dasharray="2.6 1.6"/>'
        f'<path d="M{number(x + 14)} {number(y)}H{number(x + 4)}M{number(x + 7)} {number(y - 2.4)}'
        f'L{number(x + 4)} {number(y)}L{number(x + 7)} {number(y + 2.4)}" stroke="#000000" stroke-width="0.9" '
        f'fill="none"/><text x="{number(x + 16)}" y="{number(y + 2)}" font-size="6">marker faces out</text>'
        f"{said}</svg>"
    )


def folding_pictures() -> tuple[tuple[str, str], ...]:
    """A card on its way from the sheet to the hand.

    Parameters: none.    Returns: pairs of SVG in mm and what it shows.    Raises: nothing of its own.
    Valid for: a card with its back above it.    Source: own drawing.
    Checked by: unit/test_documents_card_sheet.py
    """
    line = f'fill="#ffffff" stroke="{EDGE}" stroke-width="0.7" stroke-linejoin="round"'
    dash = f'stroke="{EDGE}" stroke-width="0.7" stroke-dasharray="2 1.6" fill="none"'
    bold = 'stroke="#000000" stroke-width="2.2" stroke-linecap="round"'
    marker = _marker(PALM, 8.0, 12.0)
    arrow = f'fill="none" stroke="{EDGE}" stroke-width="1"'
    words = f'font-family="{PAGE_FONT}" font-size="6" text-anchor="middle"'
    drawings = (
        (
            f'<path d="M-12 -24H12V24H-12Z" {line}/><path d="M-16 0H16" {dash}/>{marker}',
            "cut out and creased",
        ),
        (
            f'<path d="M-12 0L-7 -17H17L12 0Z" {line}/><path d="M-12 0H12V24H-12Z" {line}/>{marker}'
            f'<path d="M20 -16Q29 -8 26 8M23.4 4.2L26 8L29.4 4.8" {arrow}/>',
            "words away from you",
        ),
        (f'<path d="M-12 0H12V24H-12Z" {line}/>{marker}<path d="M-12 0H12" {bold}/>', "front: fold up"),
        (
            f'<path d="M-12 0H12V24H-12Z" {line}/><path d="M-12 0H12" {bold}/>'
            f'<text x="0" y="17" {words}><tspan font-weight="bold">{PALM}</tspan> palm</text>',
            "behind: tape goes here",
        ),
    )
    return tuple(
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="-32 -26 64 52"><title>{said}</title>{drawn}</svg>',
            said,
        )
        for drawn, said in drawings
    )


def _marker(card: int, half: float, y: float) -> str:
    """A marker whose middle is at (0, y)."""
    cell = 2 * half / CELLS
    rings = outlines(marker_cells(card) < 0.5)
    way = "".join(_way([(c * cell - half, r * cell - half + y) for c, r in ring]) for ring in rings)
    return f'<path d="{way}" fill="#000000" fill-rule="evenodd"/>'
