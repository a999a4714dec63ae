"""Several photos of one hand made one reading, after asking whether they agree.

Looking again from elsewhere tells more about the edges, and nothing about how the cards sit on the hand: their
turn, their lean, the lens of the same phone are the same error every time, and are not divided by the number of
photos. Cards that were taken off and put on again for each photo are new each time.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import hypot, sqrt
from types import MappingProxyType
from typing import Protocol

from handsel.errors import OutOfRange
from handsel.metrology.distributions import coverage_factor, normal_quantile
from handsel.vision.rest_angle.reading import CARD_TURN
from handsel.vision.rest_angle.refused import Cause, PhotoRefused

_ALWAYS_NEW = frozenset({"edges", "size in pixels"})
_NEW_WITH_CARDS = _ALWAYS_NEW | {CARD_TURN, "obliquity"}
_DISAGREE_P = 1e-4  # photos of one hand disagree this much once in ten thousand times
_DOUBT_P = 0.05


class Reading(Protocol):
    """What one photo said, as far as it matters for all of them: a RestAngle, or what was kept of one."""

    @property
    def rest_angle_deg(self) -> float:
        """The rest angle [deg]."""
        ...

    @property
    def contributions(self) -> Mapping[str, float]:
        """Standard uncertainties by source [deg]."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class FusedAngle:
    """One rest angle from several photos."""

    rest_angle_deg: float
    u_rest_angle_deg: float
    low_deg: float  # between these it lies with a probability of 95 %
    high_deg: float
    contributions: Mapping[str, float]  # standard uncertainties by source; their squares add up [deg]
    photo_count: int
    spread_ratio: float  # how far the photos are apart against what is expected; 1 is as expected
    notes: tuple[str, ...]


def fuse(
    readings: Sequence[Reading], *, placed_afresh: bool = False, where: str = "these photos"
) -> FusedAngle:
    """One rest angle from several photos of one hand.

    Parameters: readings, one per photo, at least one; placed_afresh, whether the cards were taken off and put on
        again before each; where, what the photos are called in messages.
    Returns: FusedAngle.
    Raises: PhotoRefused when they cannot be of one hand in one position; OutOfRange for none.
    Valid for: photos taken with one phone, the hand left as it was.
    Source: weighted mean and its uncertainty with common errors kept whole, JCGM 100:2008 5.2 and F.1.2.3;
        agreement by chi-squared, its quantile after Wilson and Hilferty 1931; widening after Birge 1932.
    Checked by: unit/test_vision_fusing.py, properties/test_vision.py
    """
    if not readings:
        raise OutOfRange("there is no reading to fuse", where=where, do="Give at least one photo.")
    new = _NEW_WITH_CARDS if placed_afresh else _ALWAYS_NEW
    own = [hypot(*(r.contributions[k] for k in new if k in r.contributions)) for r in readings]
    # A tiny photo error must not silence the other photos: what they can differ by is what weighs them.
    differ = [
        hypot(*(u for k, u in r.contributions.items() if placed_afresh or k != CARD_TURN)) for r in readings
    ]
    weights = [1.0 / max(d, 1e-6) ** 2 for d in differ]
    total = sum(weights)
    weights = [w / total for w in weights]
    mean = sum(w * r.rest_angle_deg for w, r in zip(weights, readings, strict=True))
    squares = sum(
        ((r.rest_angle_deg - mean) / max(d, 1e-6)) ** 2 for r, d in zip(readings, differ, strict=True)
    )
    dof = len(readings) - 1
    if dof and squares > chi_squared_quantile(1.0 - _DISAGREE_P, dof):
        furthest = max(readings, key=lambda r: abs(r.rest_angle_deg - mean))
        raise PhotoRefused(
            Cause.DISAGREE,
            f"they do not agree: one says {furthest.rest_angle_deg:.1f} degrees where "
            f"all say {mean:.1f} together",
            where=where,
            do="Make sure that all show the same hand at rest, not moved in between.",
        )
    ratio = sqrt(squares / dof) if dof else 1.0
    doubtful = bool(dof) and squares > chi_squared_quantile(1.0 - _DOUBT_P, dof)
    names = list(dict.fromkeys(k for r in readings for k in r.contributions))
    contributions = {}
    for name in names:
        parts = [w * r.contributions.get(name, 0.0) for w, r in zip(weights, readings, strict=True)]
        contributions[name] = hypot(*parts) if name in new else sum(parts)
    if doubtful:
        extra = ratio * hypot(*(w * d for w, d in zip(weights, differ, strict=True)))
        contributions["spread of the photos"] = sqrt(
            max(extra**2 - hypot(*(w * o for w, o in zip(weights, own, strict=True))) ** 2, 0.0)
        )
    u = hypot(*contributions.values())
    k = coverage_factor()
    notes = ("the photos differ more than they should; the uncertainty is widened",) if doubtful else ()
    return FusedAngle(
        rest_angle_deg=mean,
        u_rest_angle_deg=u,
        low_deg=mean - k * u,
        high_deg=mean + k * u,
        contributions=MappingProxyType(contributions),
        photo_count=len(readings),
        spread_ratio=ratio,
        notes=notes,
    )


def chi_squared_quantile(p: float, dof: int) -> float:
    """The value below which a sum of dof squared normal deviates falls with probability p.

    Parameters: p [-], between 0 and 1; dof, 1 or more.
    Returns: the quantile [-].
    Raises: OutOfRange outside those bounds.
    Valid for: two decimal places near the tails that are used here; within 4 % for one degree of freedom.
    Source: Wilson and Hilferty 1931: the cube root of chi-squared over dof is nearly normal.
    Checked by: unit/test_vision_fusing.py
    """
    if dof < 1:
        raise OutOfRange(
            f"dof is {dof}; expected 1 or more", where="chi-squared", do="Give at least two readings."
        )
    spread = 2.0 / (9.0 * dof)
    return float(dof * max(1.0 - spread + normal_quantile(p) * sqrt(spread), 0.0) ** 3)
