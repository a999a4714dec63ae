"""What may explain one thing on the mat: at the ordered size and with sizes of its own, as one part or several.

Soft shadow joins parts: a faint patch is as many parts as there are explanations that stand apart and each say enough.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from handsel.vision.mat.flat import Flat
from handsel.vision.mat.patches import Patch
from handsel.vision.mat.view import MatView
from handsel.vision.parts.explanations import HOPELESS, LEAST_SAID, SAYS_ALL, explanations
from handsel.vision.parts.fit import fits_of
from handsel.vision.parts.inside import inner_lines, looked_inside
from handsel.vision.parts.kinds import Kind, even_points
from handsel.vision.parts.print_size import PrintScale
from handsel.vision.parts.pull import Fit, foot_of, refined
from handsel.vision.parts.silhouette import ring_area_mm2
from handsel.vision.parts.steps import inside, to_outline

FloatArray = npt.NDArray[np.float64]

# Share of its outline that a part must show: clear, and grown into its shadow.
CLEAR_FIT, FAINT_FIT = 0.80, 0.75
_FAINT_PLAIN = 0.70  # of a faint outline, from which it is not taken for several things
_MOST_FITS = 8
# Of what its outline can say at most, from which a part lies beside another in one faint patch.
_ONE_MORE = 0.4
_SEEN_INSIDE = 0.35  # of what its inside can say, from which its lines help to tell the size
_FREED = 5  # explanations that are given a size of their own
_WELL = 0.93  # share of its outline from which a thing need not be looked for at other sizes
_SAME_SIZE = 0.03  # a size of its own so near the ordered one leads back to it
_APART_MM, _FOOT_POINTS = 1.0, 400  # nearer feet are parts that touch; places along a foot


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Explained:
    """One patch with everything that may explain it."""

    patch: Patch
    fits: tuple[Fit, ...]  # as ordered or mirrored, best first
    sized: tuple[Fit, ...]  # with a size of their own

    @property
    def is_clear(self) -> bool:
        """Whether its outline is its own, not its shadow's."""
        return self.patch.certain

    @property
    def is_plain(self) -> bool:
        """Whether an explanation by itself shows that one part lies there."""
        enough = CLEAR_FIT if self.is_clear else _FAINT_PLAIN
        return any(f.matched_ratio > enough and f.says > LEAST_SAID for f in self.fits + self.sized)

    @property
    def most_said(self) -> float:
        """By the explanation that says most."""
        return max((f.says for f in self.fits + self.sized), default=-np.inf)

    @property
    def is_whole(self) -> bool:
        """Whether an explanation says so much that nothing else need be tried."""
        return self.is_plain and any(f.says > SAYS_ALL * f.most_says for f in self.fits + self.sized)


def as_one(
    patch: Patch, kinds: tuple[Kind, ...], flat: Flat, view: MatView, printed: PrintScale
) -> Explained:
    """A patch as one part: the best explanations at the ordered size, and each with a size of its own."""
    fits = explanations(patch, kinds, flat, view, printed)
    return _with_sizes(patch, fits[:_MOST_FITS], kinds, flat, view, printed)


def as_several(
    patch: Patch, kinds: tuple[Kind, ...], flat: Flat, view: MatView, printed: PrintScale
) -> list[Explained]:
    """A faint patch as the parts that it holds: soft shadow joins things, and each has its own explanations."""
    left = explanations(patch, kinds, flat, view, printed)
    found: list[Explained] = []
    while left:
        first = left[0]
        foot = foot_of(first, printed.ratio)
        elsewhere = [f for f in left if not touch(foot, foot_of(f, printed.ratio))]
        here = [f for f in left if not any(f is e for e in elsewhere)]
        if not any(may_be_one_more(f) for f in elsewhere):
            here, elsewhere = left, []
        own = replace(patch, pieces=()) if found or elsewhere else patch
        if own is not patch:
            area = ring_area_mm2(first.outline_mm)
            own = replace(own, outline_mm=first.outline_mm, area_mm2=area)
        found.append(_with_sizes(own, here[:_MOST_FITS], kinds, flat, view, printed))
        left = [f for f in elsewhere if may_be_one_more(f)]
    return found or [_with_sizes(patch, [], kinds, flat, view, printed)]


def may_be_one_more(fit: Fit) -> bool:
    """Whether an explanation says by itself that a part lies there, beside another in one shadow."""
    return fit.matched_ratio > _FAINT_PLAIN and fit.says > max(LEAST_SAID, _ONE_MORE * fit.most_says)


def touch(one: FloatArray, other: FloatArray) -> bool:
    """Whether two feet are so near that the parts would touch."""
    if (one.max(0) < other.min(0) - _APART_MM).any() or (one.min(0) > other.max(0) + _APART_MM).any():
        return False
    if to_outline(one, even_points(other, _FOOT_POINTS)).min() < _APART_MM:
        return True
    return bool(inside(one, other).any() or inside(other[:1], one)[0])


def _with_sizes(
    patch: Patch,
    fits: list[Fit],
    kinds: tuple[Kind, ...],
    flat: Flat,
    view: MatView,
    printed: PrintScale,
) -> Explained:
    """Explanations at the ordered size, and each with a size of its own."""
    base = 1.0 / printed.ratio

    def again(fit: Fit, *, free_scale: bool) -> Fit | None:
        is_seen = fit.inside_says > _SEEN_INSIDE * fit.inside_most
        inner = inner_lines(fit, view, print_ratio=printed.ratio) if is_seen else None
        one = refined(
            patch,
            flat,
            view,
            index=fit.kind,
            pose=fit.pose,
            at_mm=fit.at_mm,
            turn_rad=fit.turn_rad,
            scale=fit.scale * base if free_scale else base,
            free_scale=free_scale,
            base=base,
            settled=True,
            inner=inner,
        )
        if one is None or fit.inside_most == 0.0:
            return one
        return looked_inside(one, patch, flat, view, print_ratio=printed.ratio)

    sized: list[Fit] = []
    done: set[int] = set()
    for fit in fits[:_FREED]:
        if id(fit.pose) in done or fit.says < fits[0].says - HOPELESS:
            continue
        done.add(id(fit.pose))
        free = again(fit, free_scale=True)
        if free is None:
            continue
        sized.append(free)
        # Free in size it may have come off a wrong edge, and lead to a better place at the ordered size.
        if free.says > fit.says + 1.0 and abs(free.scale - 1.0) < _SAME_SIZE:
            back = again(free, free_scale=False)
            if back is not None and back.says > fit.says:
                fits.append(back)
    fits.sort(key=lambda f: -f.says)
    enough = CLEAR_FIT if patch.certain else FAINT_FIT
    if not fits or fits[0].matched_ratio < max(_WELL, enough) or fits[0].says < LEAST_SAID:
        sized += fits_of(patch, kinds, flat, view, print_ratio=printed.ratio, free_scale=True)
    return Explained(patch=patch, fits=tuple(fits), sized=tuple(sorted(sized, key=lambda f: -f.says)))
