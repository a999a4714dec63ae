"""How probable each explanation of a thing is, and which whole of them all is the most probable."""

from __future__ import annotations

from math import log, pi, sqrt

import numpy as np

from handsel.vision.parts.kinds import Kind
from handsel.vision.parts.pull import Fit
from handsel.vision.parts.views import Explained

# Beforehand, for one thing on the mat: as ordered; of the other hand; of another size; unknown. Common practice.
_ORDERED, _OTHER_HAND, _OTHER_SIZE, UNKNOWN = log(0.90), log(0.03), log(0.03), log(0.04)
_SIZE_RANGE = 1.0  # sizes that another size may have, ratio
_TEMPER = 0.4  # what edges say counts this much: they err together more than they show


def worth(fit: Fit, *, own_size: bool, kinds: tuple[Kind, ...]) -> float:
    """Logarithm of how probable an explanation is, up to what all have in common.

    Parameters: fit; own_size, whether its size was left free; kinds of the kit.
    Returns: natural logarithm [-].
    Raises: nothing of its own.
    Valid for: comparing explanations of one thing.
    Source: Bayes: what is known beforehand and what the outline says, tempered; a free size pays for the range it had.
    Checked by: unit/test_vision_parts.py
    """
    pose_count = len(kinds[fit.kind].poses)
    told = (
        _TEMPER * fit.says - log(len(kinds)) - 0.3 * log(pose_count) + (0.5 if fit.pose.on_flat_side else 0.0)
    )
    if own_size:
        # The best of many sizes always fits a little better: what it took to find it is taken off again.
        told += _OTHER_SIZE + log(max(fit.u_scale, 0.003) * sqrt(2 * pi) / _SIZE_RANGE)
        return told + (_OTHER_HAND if fit.pose.mirrored else 0.0)
    return told + (_OTHER_HAND if fit.pose.mirrored else _ORDERED)


def assigned(things: list[Explained], kinds: tuple[Kind, ...]) -> list[tuple[int | None, bool]]:
    """For each thing its kind or None, and whether the kit has no place for it: the most probable whole.

    Parameters: things; kinds with the counts that are expected.
    Returns: for each thing the index of its kind, or None, and whether it is one too many.
    Raises: nothing of its own.
    Valid for: any number of either.
    Source: optimal assignment (scipy's linear_sum_assignment).
    Checked by: unit/test_vision_parts.py
    """
    if not things:
        return []
    from scipy.optimize import linear_sum_assignment

    value = np.array([[_best(e, k, kinds) for k in range(len(kinds))] for e in things])
    places = np.repeat(np.arange(len(kinds)), [k.count for k in kinds])
    alone = np.maximum(value.max(1) - 4.0, UNKNOWN)  # one too many, or foreign
    gain = np.concatenate([value[:, places], np.repeat(alone[:, None], len(things), 1)], 1)
    # More than the unknown's own worth is never lost by leaving a place empty.
    rows, columns = linear_sum_assignment(-gain)
    found: list[tuple[int | None, bool]] = [(None, False)] * len(things)
    for r, c in zip(rows, columns, strict=True):
        best = int(value[r].argmax())
        if c < len(places):
            kind = int(places[c])
            found[r] = (kind, False) if value[r, kind] > UNKNOWN else (None, False)
        elif value[r, best] > UNKNOWN:
            found[r] = (best, True)
    return found


def _best(one: Explained, kind: int, kinds: tuple[Kind, ...]) -> float:
    """The most probable explanation by a kind."""
    each = [worth(f, own_size=False, kinds=kinds) for f in one.fits if f.kind == kind]
    each += [worth(f, own_size=True, kinds=kinds) for f in one.sized if f.kind == kind]
    return max(each, default=-60.0)
