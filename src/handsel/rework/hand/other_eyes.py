"""What somebody else will say of a hand that one person has looked at.

Each slips by themselves. But whether there is something to see is the hand's, and the same for both; a word that was
amiss by the light, or by how a digit was dragged along, is so for both; half of what two readings are off by they have
in common. So two who agree count for more than one and for less than two, as they do in the diagnosis.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from handsel.diagnosis.catalogue import Catalogue, Observable
from handsel.diagnosis.hands import column_of
from handsel.diagnosis.likelihood import Item, Rows, chances
from handsel.diagnosis.people import sign_shows, slip_share
from handsel.diagnosis.words import AMISS_SHARE, hands_alone

Floats = NDArray[np.float64]

COMMON_SHARE = (
    0.5  # of the variance of two people's readings of one thing, as where the diagnosis averages them
)


def next_word(
    catalogue: Catalogue, rows: Rows, look: Observable, place: str, before: Item | None
) -> tuple[Floats, Floats]:
    """Chance of each answer that the next person may give, and of the one that was given before, for each hand.

    Parameters: catalogue; rows, n hands; look, no number; place; before, what somebody answered, None: nothing.
    Returns: (answers, n) float [-] and (n,) float [-].
    Raises: nothing of its own.
    Valid for: two people, the second without having heard the first.
    Source: law of total probability over whether something shows, or whether the word is amiss for all.
    Checked by: unit/test_other_eyes.py
    """
    if look.kind == "look":
        return _next_sight(catalogue, rows, look, place, before)
    own = chances(catalogue, rows, look, place)
    alone, weight = hands_alone(rows.whole)
    usual = chances(catalogue, alone, look, place)
    if before is None:
        told = (1.0 - AMISS_SHARE) * own + AMISS_SHARE * (usual @ weight)[:, None]
        return told, np.ones(len(rows.stratum))
    given = look.answers_of(place).index(before.answer or "")
    both = (1.0 - AMISS_SHARE) * own * own[given] + AMISS_SHARE * (usual * usual[given] @ weight)[:, None]
    first = both.sum(0)
    return both / first, first


def _next_sight(
    catalogue: Catalogue, rows: Rows, look: Observable, place: str, before: Item | None
) -> tuple[Floats, Floats]:
    """The same of what shows to the eye or does not, which is one for all hands of a stratum."""
    slip = slip_share(catalogue, look, in_group=False)
    shows = sign_shows(catalogue, rows.strata, look, place, False)
    first = np.ones(len(shows))
    if before is not None:
        good = before.answer == look.answers_of(place)[0]
        if_so, if_not = (slip, 1.0 - slip) if good else (1.0 - slip, slip)
        first = shows * if_so + (1.0 - shows) * if_not
        shows = shows * if_so / first
    bad = (slip + (1.0 - 2.0 * slip) * shows)[rows.stratum]
    return np.stack([1.0 - bad, bad]), first[rows.stratum]


def next_reading(rows: Rows, look: Observable, place: str, before: Item | None) -> tuple[Floats, Floats]:
    """What the next person will read on each hand: mean and standard deviation.

    Parameters: rows, n hands; look, a number; place; before, what somebody read, None: nothing.
    Returns: (n,) float and (n,) float, in the look's unit.
    Raises: nothing of its own.
    Valid for: readings with one method.
    Source: two normal errors that have a share of their variance in common: the conditional normal distribution.
    Checked by: unit/test_other_eyes.py
    """
    x, blur = rows.quantity(column_of(look, place))
    if before is None or before.value is None:
        return x, np.sqrt(look.sd**2 + blur * blur)
    middle = x + COMMON_SHARE * (before.value - x)
    return middle, np.sqrt((1.0 - COMMON_SHARE**2) * look.sd**2 + blur * blur)
