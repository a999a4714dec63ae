"""Both cards of one hand in a photo, once each, whole enough and the right way up, or the cause why not."""

from __future__ import annotations

from collections.abc import Mapping
from math import degrees

import numpy as np
import numpy.typing as npt

from handsel.vision.cards import CARD_NAMES, CUFF, PALM
from handsel.vision.edges import EdgeReadings, read_edges
from handsel.vision.finding import Found, find_cards, foreshortening
from handsel.vision.rest_angle.causes import CLEAR, MOST_OBLIQUE_DEG, SHARPER, too_slanted, why_not
from handsel.vision.rest_angle.refused import Cause, PhotoRefused

Gray = npt.NDArray[np.uint8]

# Chosen from renders as docs/studies/angle.md tells.
_LEAST_SIDE_PX = 18.0
_MOST_BLUR_CELLS = 0.45
_MOST_LOST = 0.25
_UPRIGHT_DEG = 55.0  # the palm card's top from the picture's top
_TURNED_OVER_DEG = 115.0  # one card's top from the other's: a cuff is raised by less
_UPSIDE_DOWN_DEG = 120.0  # the palm card's top from the picture's top


def both_cards(gray: Gray, where: str) -> tuple[EdgeReadings, EdgeReadings]:
    """The edges of both cards, each card there once and whole enough.

    Parameters: gray : (h, w) uint8 [-], upright as shown; where, what the photo is called in messages.
    Returns: EdgeReadings of the palm card and of the cuff card.
    Raises: PhotoRefused with its cause.
    Valid for: as angle.measure_rest_angle.
    Source: own order of tests; limits from renders, as docs/studies/angle.md tells.
    Checked by: unit/test_vision_angle.py
    """
    found = find_cards(gray)
    one: dict[int, Found] = {}
    for card in (PALM, CUFF):
        mine = [f for f in found if f.card == card]
        if len(mine) > 1:
            mine = [
                f for f in mine if (e := read_edges(gray, card, f.corners_px)) and e.lost_ratio < _MOST_LOST
            ]
        if len(mine) > 1:
            raise PhotoRefused(
                Cause.DOUBLED,
                f"the {CARD_NAMES[card]} is there {len(mine)} times",
                where=where,
                do="Leave one hand with its two cards in the picture, and cover the others.",
            )
        if mine:
            one[card] = mine[0]
    for f in one.values():  # in a view from above, which way is up says nothing
        if foreshortening(f) < np.cos(np.radians(MOST_OBLIQUE_DEG + 8.0)):
            raise too_slanted(f, where)
    _check_upright(one, where)
    if len(one) < 2:
        raise why_not(gray, tuple(one.values()), where)
    readings = {card: _checked(gray, f, where) for card, f in one.items()}
    return readings[PALM], readings[CUFF]


def _checked(gray: Gray, found: Found, where: str) -> EdgeReadings:
    name = CARD_NAMES[found.card]
    if found.side_px < _LEAST_SIDE_PX:
        raise PhotoRefused(
            Cause.SMALL,
            f"the {name}'s black square is only {found.side_px:.0f} pixels wide",
            where=where,
            do="Go closer, until the hand fills the picture.",
        )
    edges = read_edges(gray, found.card, found.corners_px)
    if edges is None or edges.lost_ratio > _MOST_LOST:
        raise PhotoRefused(
            Cause.COVERED, f"part of the {name} is hidden or washed out", where=where, do=CLEAR
        )
    if edges.blur_cells > _MOST_BLUR_CELLS:
        raise PhotoRefused(Cause.BLURRED, f"the {name} is blurred", where=where, do=SHARPER)
    return edges


def _lean_deg(found: Found) -> float:
    """Turn of a card's top from the picture's top, clockwise positive."""
    c = found.corners_px
    up = c[0] + c[1] - c[2] - c[3]
    return degrees(float(np.arctan2(up[0], -up[1])))


def _check_upright(one: Mapping[int, Found], where: str) -> None:
    """The cards' tops point up, as far as the hand lets them."""
    if PALM not in one or CUFF not in one:
        return
    palm, cuff = _lean_deg(one[PALM]), _lean_deg(one[CUFF])
    apart = (palm - cuff + 180.0) % 360.0 - 180.0
    if abs(apart) > _TURNED_OVER_DEG:
        wrong = PALM if abs(palm) > abs(cuff) else CUFF
        raise PhotoRefused(
            Cause.UPSIDE_DOWN,
            f"the {CARD_NAMES[wrong]} is upside down against the other",
            where=where,
            do="Put it on with its top edge toward the back of the hand.",
        )
    if abs(palm) > _UPSIDE_DOWN_DEG:
        raise PhotoRefused(
            Cause.UPSIDE_DOWN,
            "both cards are upside down, or the picture is",
            where=where,
            do="Turn the picture upright; if it is, put both cards on with their top edge toward the "
            "back of the hand.",
        )
    if abs(palm) > _UPRIGHT_DEG:
        raise PhotoRefused(
            Cause.UPSIDE_DOWN,
            "the picture lies on its side, or the palm card does",
            where=where,
            do="Turn the picture upright; the card's top edge goes toward the back of the hand.",
        )
