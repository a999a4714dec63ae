"""Everything on the mat with what may explain it.

A patch is one thing, or a thing and its shadow, or several things, or a piece of one. What is tried next is tried only
where what was tried before does not explain it: so a clear part costs one look, and a heap many.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from handsel.vision.mat.flat import Flat
from handsel.vision.mat.patches import Patch
from handsel.vision.mat.view import MatView
from handsel.vision.parts.joined import left_over, put_together, taken_apart, widened
from handsel.vision.parts.kinds import Kind
from handsel.vision.parts.print_size import PrintScale
from handsel.vision.parts.pull import foot_of
from handsel.vision.parts.steps import inside
from handsel.vision.parts.views import Explained, as_one, as_several, may_be_one_more, touch

FloatArray = npt.NDArray[np.float64]

_CUT = 0.5  # share of all that its edges run round, below which a thing may be cut out of a larger one
_LEAST_REST_MM2 = 60.0  # of what a part leaves over of a faint patch: less is its shadow's rim
_LEAST_AREA_MM2 = 150.0  # less is no two parts


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
        several = [] if patch.certain else as_several(patch, kinds, flat, view, printed)
        faint += [(patch, several)] if several else []
        if len(several) > 1:
            found += several
            continue
        one = several[0] if several else as_one(patch, kinds, flat, view, printed)
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
        whole = [e for e in as_several(patch, kinds, flat, view, printed) if e.is_plain]
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
        for one in as_several(wide, kinds, flat, view, printed):
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
        return [as_one(p, kinds, flat, view, printed) for p in patch.pieces]
    if patch.instead is not None:
        wholes = [e for e in as_several(patch.instead, kinds, flat, view, printed) if e.is_plain]
        if wholes:
            return wholes
        pieces = [as_one(p, kinds, flat, view, printed) for p in patch.instead.pieces]
        if pieces and all(p.is_plain for p in pieces):
            return pieces
    if patch.area_mm2 < _LEAST_AREA_MM2 or one.is_plain:
        return []
    apart = taken_apart(patch, kinds, flat, view, print_ratio=printed.ratio)
    pieces = [as_one(p, kinds, flat, view, printed) for p in apart]
    return pieces if pieces and pieces[0].is_plain and _stand_apart(pieces, printed) else []


def _beside(
    one: Explained, kinds: tuple[Kind, ...], flat: Flat, view: MatView, printed: PrintScale
) -> list[Explained]:
    """A thing that is plainly one part, and what looks out from behind it; none when nothing does."""
    if not one.is_clear or not one.fits or one.patch.joined_mm is not None:
        return []
    pieces = left_over(one.patch, one.fits[0], flat)
    rest = [as_one(p, kinds, flat, view, printed) for p in pieces[1:]]
    rest = [e for e in rest if e.is_plain]
    if not rest:
        return []
    both = [as_one(pieces[0], kinds, flat, view, printed), *rest]
    return both if both[0].is_plain and _stand_apart(both, printed) else []


def _stand_apart(pieces: list[Explained], printed: PrintScale) -> bool:
    """Whether things that cover each other in the picture stand apart on the paper: else they may be anything."""
    feet = [foot_of(e.fits[0], printed.ratio) for e in pieces if e.fits]
    return not any(touch(one, other) for k, one in enumerate(feet) for other in feet[:k])


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
            for one in as_several(alone, kinds, flat, view, printed):
                if not one.fits or not may_be_one_more(one.fits[0]):
                    continue
                foot = foot_of(one.fits[0], printed.ratio)
                if not any(touch(foot, other) for other in feet):
                    new.append(one)
                    feet.append(foot)
            more += new
            waiting.append((alone, new))
    return more


def _lies_in(patch: Patch, outlines: list[FloatArray]) -> bool:
    middle = (patch.outline_mm.min(0) + patch.outline_mm.max(0)) / 2
    return any(bool(inside(middle[None], ring)[0]) for ring in outlines)
