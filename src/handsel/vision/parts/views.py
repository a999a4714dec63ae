"""Everything that may explain each thing on the mat.

A patch is one thing, or a thing and its shadow, or several things. What is tried next is tried only where what was
tried before does not explain it: so a clear part costs one look, and a heap many.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from handsel.vision.mat.flat import Flat
from handsel.vision.mat.patches import Patch
from handsel.vision.mat.view import MatView
from handsel.vision.parts.explanations import HOPELESS, LEAST_SAID, SAYS_ALL, explanations
from handsel.vision.parts.fit import fits_of
from handsel.vision.parts.inside import inner_lines, looked_inside
from handsel.vision.parts.joined import left_over, put_together, taken_apart, widened
from handsel.vision.parts.kinds import Kind, even_points
from handsel.vision.parts.print_size import PrintScale
from handsel.vision.parts.pull import Fit, foot_of, refined
from handsel.vision.parts.silhouette import ring_area_mm2
from handsel.vision.parts.steps import inside, to_outline

FloatArray = npt.NDArray[np.float64]

# Share of its outline that a part must show: clear, and grown into its shadow.
CLEAR_FIT, FAINT_FIT = 0.80, 0.75
_FAINT_PLAIN = 0.70  # of a faint outline, from which it is not taken for several things
_CUT = 0.5  # share of all that its edges run round, below which a thing may be cut out of a larger one
_MOST_FITS = 8
# Of what its outline can say at most, from which a part lies beside another in one faint patch.
_ONE_MORE = 0.4
_LEAST_REST_MM2 = 60.0  # of what a part leaves over of a faint patch: less is its shadow's rim
_SEEN_INSIDE = 0.35  # of what its inside can say, from which its lines help to tell the size
_FREED = 5  # explanations that are given a size of their own
_WELL = 0.93  # share of its outline from which a thing need not be looked for at other sizes
_SAME_SIZE = 0.03  # a size of its own so near the ordered one leads back to it
_APART_MM, _FOOT_POINTS = 1.0, 400  # nearer feet are parts that touch; places along a foot
_LEAST_AREA_MM2 = 150.0  # less is no two parts


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


def explained(
    patches: Sequence[Patch], kinds: tuple[Kind, ...], flat: Flat, view: MatView, printed: PrintScale
) -> list[Explained]:
    """Each thing on the mat with its explanations.

    Parameters: patches on the mat, no reference card among them; kinds of the kit; flat, view and printed of the same
        photo.
    Returns: one Explained for each patch, or for each piece of one.
    Raises: nothing of its own.
    Valid for: parts that stand apart.
    Source: own construction.
    Checked by: unit/test_vision_parts.py, unit/test_vision_parts_joined.py
    """
    found: list[Explained] = []
    instead: list[FloatArray] = []
    faint: list[tuple[Patch, list[Explained]]] = []  # with what was found of each
    for patch in patches:
        several = [] if patch.certain else _faint(patch, kinds, flat, view, printed)
        faint += [(patch, several)] if several else []
        if len(several) > 1:
            found += several
            continue
        one = several[0] if several else _one(patch, kinds, flat, view, printed)
        if one.is_plain and (beside := _beside(one, kinds, flat, view, printed)):
            found += beside
            continue
        # Grey cut out of its own shadow may seem a smaller part: only there a plain explanation is doubted.
        is_cut = patch.instead is not None and patch.area_mm2 < _CUT * patch.instead.area_mm2
        if one.is_whole or (one.is_plain and not is_cut):
            found.append(one)
            continue
        others = _otherwise(one, kinds, flat, view, printed)
        if one.is_plain and sum(e.most_said for e in others if e.is_plain) < one.most_said:
            others = []
        if others and patch.instead is not None and not others[0].is_clear:
            instead.append(patch.instead.outline_mm)
            faint.append((patch.instead, others))
        found += others or [one]
    # What light had cut out of a thing that is now seen whole is no thing of its own.
    found = [e for e in found if not (e.is_clear and not e.is_plain and _lies_in(e.patch, instead))]
    found = _one_in_each_place(found, printed)
    found = _whole_again(found, kinds, flat, view, printed)
    for patch, of_it in faint:
        if sum(e.is_plain for e in found) < sum(k.count for k in kinds):  # else nothing is missing
            found += _in_the_rest(patch, of_it, kinds, flat, view, printed)
    if sum(e.is_plain for e in found) < sum(k.count for k in kinds):
        found = _widened(found, kinds, flat, view, printed)
    return _one_in_each_place(found, printed)


def _whole_again(
    found: list[Explained], kinds: tuple[Kind, ...], flat: Flat, view: MatView, printed: PrintScale
) -> list[Explained]:
    """Pieces that nothing explains, as the one part that they may be together."""
    pieces = [e for e in found if not e.is_plain and e.patch.tint is None]
    for heap, patch in put_together([e.patch for e in pieces]):
        whole = [e for e in _faint(patch, kinds, flat, view, printed) if e.is_plain]
        if whole:
            found = [e for e in found if not any(e is pieces[k] for k in heap)] + whole
    return found


def _widened(
    found: list[Explained], kinds: tuple[Kind, ...], flat: Flat, view: MatView, printed: PrintScale
) -> list[Explained]:
    """What nothing explains, looked at with all round it: of a white part one edge in shadow may be all that showed."""
    for strip in [e for e in found if not e.is_plain and not e.is_clear]:
        wide = widened(strip.patch)
        here = strip.patch.outline_mm.mean(0)[None]
        for one in _faint(wide, kinds, flat, view, printed):
            if one.is_plain and one.fits and inside(here, one.fits[0].outline_mm)[0]:
                found = [e for e in found if e is not strip] + [one]
                break
    return found


def _one_in_each_place(found: list[Explained], printed: PrintScale) -> list[Explained]:
    """Without what stands where something surer stands: pieces that light cut out of one part, and holes in it."""
    kept: list[Explained] = []
    taken: list[FloatArray] = []
    for one in sorted(found, key=lambda e: -e.most_said):
        if one.patch.tint is None:
            ring = one.patch.outline_mm
            middle = one.fits[0].at_mm if one.fits else (ring.min(0) + ring.max(0)) / 2
            if any(bool(inside(middle[None], other)[0]) for other in taken):
                continue
        kept.append(one)
        if one.fits and one.is_plain:
            taken.append(foot_of(one.fits[0], printed.ratio))
    # A part stands within the foot of another; what no part explains may be a hole anywhere in what is seen of it.
    outlines = [e.fits[0].outline_mm for e in kept if e.fits and e.is_plain]
    kept = [e for e in kept if e.fits or e.patch.tint is not None or not _lies_in(e.patch, outlines)]
    return [e for e in found if any(e is k for k in kept)]


def _otherwise(
    one: Explained, kinds: tuple[Kind, ...], flat: Flat, view: MatView, printed: PrintScale
) -> list[Explained]:
    """A patch that is not plainly one part, as something else; none when nothing else explains it better."""
    patch = one.patch
    if not patch.certain:
        return [_one(p, kinds, flat, view, printed) for p in patch.pieces]
    if patch.instead is not None:
        wholes = [e for e in _faint(patch.instead, kinds, flat, view, printed) if e.is_plain]
        if wholes:
            return wholes
        pieces = [_one(p, kinds, flat, view, printed) for p in patch.instead.pieces]
        if pieces and all(p.is_plain for p in pieces):
            return pieces
    if patch.area_mm2 < _LEAST_AREA_MM2 or one.is_plain:
        return []
    apart = taken_apart(patch, kinds, flat, view, print_ratio=printed.ratio)
    pieces = [_one(p, kinds, flat, view, printed) for p in apart]
    return pieces if pieces and pieces[0].is_plain and _stand_apart(pieces, printed) else []


def _beside(
    one: Explained, kinds: tuple[Kind, ...], flat: Flat, view: MatView, printed: PrintScale
) -> list[Explained]:
    """A thing that is plainly one part, and what looks out from behind it; none when nothing does."""
    if not one.is_clear or not one.fits or one.patch.joined_mm is not None:
        return []
    pieces = left_over(one.patch, one.fits[0], flat)
    rest = [_one(p, kinds, flat, view, printed) for p in pieces[1:]]
    rest = [e for e in rest if e.is_plain]
    if not rest:
        return []
    both = [_one(pieces[0], kinds, flat, view, printed), *rest]
    return both if both[0].is_plain and _stand_apart(both, printed) else []


def _stand_apart(pieces: list[Explained], printed: PrintScale) -> bool:
    """Whether things that cover each other in the picture stand apart on the paper: else they may be anything."""
    feet = [foot_of(e.fits[0], printed.ratio) for e in pieces if e.fits]
    return not any(_touch(one, other) for k, one in enumerate(feet) for other in feet[:k])


def _touch(one: FloatArray, other: FloatArray) -> bool:
    """Whether two feet are so near that the parts would touch."""
    if (one.max(0) < other.min(0) - _APART_MM).any() or (one.min(0) > other.max(0) + _APART_MM).any():
        return False
    if to_outline(one, even_points(other, _FOOT_POINTS)).min() < _APART_MM:
        return True
    return bool(inside(one, other).any() or inside(other[:1], one)[0])


def _lies_in(patch: Patch, outlines: list[FloatArray]) -> bool:
    middle = (patch.outline_mm.min(0) + patch.outline_mm.max(0)) / 2
    return any(bool(inside(middle[None], ring)[0]) for ring in outlines)


def _one(patch: Patch, kinds: tuple[Kind, ...], flat: Flat, view: MatView, printed: PrintScale) -> Explained:
    """A patch as one part: the best explanations at the ordered size, and each with a size of its own."""
    fits = explanations(patch, kinds, flat, view, printed)
    return _with_sizes(patch, fits[:_MOST_FITS], kinds, flat, view, printed)


def _faint(
    patch: Patch, kinds: tuple[Kind, ...], flat: Flat, view: MatView, printed: PrintScale
) -> list[Explained]:
    """A faint patch as the parts that it holds: soft shadow joins things, and each has its own explanations."""
    left = explanations(patch, kinds, flat, view, printed)
    found: list[Explained] = []
    while left:
        first = left[0]
        foot = foot_of(first, printed.ratio)
        elsewhere = [f for f in left if not _touch(foot, foot_of(f, printed.ratio))]
        here = [f for f in left if not any(f is e for e in elsewhere)]
        if not any(_may_be_one_more(f) for f in elsewhere):
            here, elsewhere = left, []
        own = replace(patch, pieces=()) if found or elsewhere else patch
        if own is not patch:
            area = ring_area_mm2(first.outline_mm)
            own = replace(own, outline_mm=first.outline_mm, area_mm2=area)
        found.append(_with_sizes(own, here[:_MOST_FITS], kinds, flat, view, printed))
        left = [f for f in elsewhere if _may_be_one_more(f)]
    return found or [_with_sizes(patch, [], kinds, flat, view, printed)]


def _in_the_rest(
    patch: Patch,
    found: list[Explained],
    kinds: tuple[Kind, ...],
    flat: Flat,
    view: MatView,
    printed: PrintScale,
) -> list[Explained]:
    """Parts in what a plain part leaves over of a faint patch: beside a large one, small ones were not looked for.

    What a part found so leaves over is searched again. It ends, since no two are found in one place.
    """
    feet = [foot_of(e.fits[0], printed.ratio) for e in found if e.fits]
    more: list[Explained] = []
    waiting = [(patch, found)]
    while waiting:
        whole, its = waiting.pop()
        if not its or not its[0].is_plain or not its[0].fits:
            continue
        for piece in left_over(whole, its[0].fits[0], flat)[1:]:
            if piece.area_mm2 < _LEAST_REST_MM2:
                continue
            alone = replace(piece, joined_mm=None, is_partial=False, is_rest=True, pieces=())
            new: list[Explained] = []
            for one in _faint(alone, kinds, flat, view, printed):
                if not one.fits or not _may_be_one_more(one.fits[0]):
                    continue
                foot = foot_of(one.fits[0], printed.ratio)
                if not any(_touch(foot, other) for other in feet):
                    new.append(one)
                    feet.append(foot)
            more += new
            waiting.append((alone, new))
    return more


def _may_be_one_more(fit: Fit) -> bool:
    """Whether an explanation says by itself that a part lies there, beside another in one shadow."""
    return fit.matched_ratio > _FAINT_PLAIN and fit.says > max(LEAST_SAID, _ONE_MORE * fit.most_says)


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
        if one is None or patch.certain:
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
