"""What each thing on the mat is said to be, and what of the kit is not there.

Every thing has its explanations (`things`): a part as ordered, a part of the other hand, a part of another size,
or something unknown. One assignment over all things and all places of the kit picks the most probable whole. A part
is called right only when its kind, its side and its size are each clear; anything less is "cannot tell", with what
would settle it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import erf, hypot, pi, sqrt

import numpy as np
import numpy.typing as npt

from handsel.design.model import Design
from handsel.vision.mat.flat import Flat
from handsel.vision.mat.patches import Patch
from handsel.vision.mat.view import MatView
from handsel.vision.parts.asks import bar_ask, larger_ask, size_ask, title_of
from handsel.vision.parts.doubts import Case, Choice, choice_of, doubt_of
from handsel.vision.parts.explanations import LEAST_SAID
from handsel.vision.parts.kinds import Kind
from handsel.vision.parts.print_size import PrintScale
from handsel.vision.parts.pull import Fit, foot_of, pose_span_mm
from handsel.vision.parts.seen import Ask, PartMissing, PartSeen, State
from handsel.vision.parts.silhouette import ring_area_mm2
from handsel.vision.parts.steps import to_outline
from handsel.vision.parts.things import explained
from handsel.vision.parts.views import Explained
from handsel.vision.parts.weighing import assigned

FloatArray = npt.NDArray[np.float64]

_FAINT_SIZE_FIT = 0.90  # share of a faint outline that must be seen before another size is said
_SIZE_RATIO, _SIZE_MM = 0.020, 0.50  # how far a part's length may be off its ordered one: the larger counts
_FOREIGN_FIT = 0.72  # share of the outline that the best explanation of a foreign thing shows at most
_SPECK_MM2 = 60.0  # a smaller thing may be a piece of a part that light has cut up: it is not called foreign
_TALL_MM = 0.8  # by which the camera's height may move a tall part's outline before nothing is said
_SURE = 0.95
_BOTH = "another thing here may be this part as well"
_APART = Ask(what="Move both away from others and from shadows, flat side down, and photograph them again.")
_UNMEASURED = 0.05  # standard uncertainty of a size that was not measured, ratio
_MODEL_MM = 0.10  # standard deviation of a printed part's length
_MOST_SURE = 0.995


def judged(
    patches: Sequence[Patch],
    kinds: tuple[Kind, ...],
    *,
    design: Design,
    scale_ratio: float,
    flat: Flat,
    view: MatView,
    printed: PrintScale,
) -> tuple[tuple[PartSeen, ...], tuple[PartMissing, ...]]:
    """What lies on the mat, and what of the kit does not.

    Parameters: patches on the mat, no reference card among them; kinds that are expected, with their counts; design;
        scale_ratio as ordered [-]; flat, view and printed of the same photo.
    Returns: one PartSeen a patch, or a piece of one, in the same order, and the missing parts.
    Raises: nothing of its own.
    Valid for: parts that lie apart.
    Source: posterior of each explanation; optimal assignment (scipy's linear_sum_assignment); sizes decided by their
        conformance probability (JCGM 106, 9.3).
    Checked by: unit/test_vision_parts.py
    """
    things = explained(patches, kinds, flat, view, printed)
    chosen = assigned(things, kinds)
    case = Case(kinds=kinds, design=design, scale_ratio=scale_ratio, view=view, printed=printed)
    seen = []
    for thing, (kind, is_extra) in zip(things, chosen, strict=True):
        seen.append(_seen(thing, kind, case, is_extra=is_extra))
    _doubt_extras(seen, chosen)
    taken = [0] * len(kinds)
    for one, (kind, is_extra) in zip(seen, chosen, strict=True):
        # What is of no name takes no part's place, whatever it was most like.
        if kind is not None and not is_extra and one.names:
            taken[kind] += 1
    untold = any(s.state is State.UNTOLD for s in seen)
    missing = tuple(
        PartMissing(names=k.names, title=title_of(k), count=k.count - taken[i], may_be_there=untold)
        for i, k in enumerate(kinds)
        if taken[i] < k.count
    )
    return tuple(seen), missing


def _doubt_extras(seen: list[PartSeen], chosen: list[tuple[int | None, bool]]) -> None:
    """What would be one too many is not while one of those that took its places cannot be told, or is no part.

    Of two that may both be the same part, neither is called right; what has no name gives its place up.
    """
    for k, (kind, is_extra) in enumerate(chosen):
        if not is_extra or seen[k].state is not State.EXTRA:
            continue
        for j, (other, other_extra) in enumerate(chosen):
            if other != kind or other_extra or seen[j].state not in (State.UNTOLD, State.FOREIGN):
                continue
            if seen[j].state is State.UNTOLD and seen[j].names:
                seen[k] = replace(seen[k], state=State.UNTOLD, reason=_BOTH, ask=_APART)
            else:
                seen[k] = replace(seen[k], state=State.RIGHT, reason="")
                chosen[j], chosen[k] = (None, False), (kind, False)
            break


def _seen(one: Explained, kind: int | None, case: Case, *, is_extra: bool) -> PartSeen:
    base = _bare(one.patch, case.view, case.printed)
    if kind is None or (one.is_clear and all(map(_is_nothing, one.fits + one.sized))):
        return _unknown(one, base, case)
    choice = choice_of(one, kind, case)
    mine, fit, free = case.kinds[kind], choice.fit, choice.free
    size, u_size = fit.scale, _UNMEASURED
    if free is not None:
        size = free.scale
        u_size = hypot(free.u_scale, case.printed.u_ratio, _MODEL_MM / mine.size_mm)
    told = replace(
        base,
        names=mine.names,
        title=title_of(mine),
        x_mm=float(fit.at_mm[0]),
        y_mm=-float(fit.at_mm[1]),
        scale_ratio=size,
        u_scale_ratio=u_size,
        flat_side_down=fit.pose.on_flat_side,
        outline_px=_to_px(fit.outline_mm, case.view),
        hides_mm=float(to_outline(fit.outline_mm, foot_of(fit, case.printed.ratio)).max()),
    )
    if doubt := doubt_of(one, choice, case):
        return replace(told, confidence=_capped(1 - choice.probable), reason=doubt[0], ask=doubt[1])
    limit = max(_SIZE_RATIO, _SIZE_MM / mine.size_mm)
    fits_size = _between(size, u_size, 1 - limit, 1 + limit)
    if fits_size < _SURE:
        return _of_other_size(told, one, choice, case, fits_size)
    sure = _capped(choice.probable * fits_size)
    if fit.pose.mirrored:
        return replace(told, state=State.MIRRORED, confidence=sure, reason="it is the mirror image")
    if is_extra:
        why = f"the kit has {mine.count} of this shape, and more lie here"
        return replace(told, state=State.EXTRA, confidence=sure, reason=why)
    return replace(told, state=State.RIGHT, confidence=sure)


def _of_other_size(told: PartSeen, one: Explained, choice: Choice, case: Case, fits_size: float) -> PartSeen:
    """A part that is not clearly of the ordered size: clearly of another, or what would settle it."""
    mine, size, u_size = case.kinds[choice.kind], told.scale_ratio or 1.0, told.u_scale_ratio or 0.0
    ask = size_ask(mine, case.design, case.scale_ratio) if case.printed.is_known else bar_ask()
    if fits_size >= 1 - _SURE:
        why = f"its size is not clear: {size:.3f} ± {2 * u_size:.3f} (k = 2) times the ordered one"
        if case.printed.is_known:
            ask = larger_ask(ask, _across_px(choice.fit, case.view))
        return replace(told, confidence=_capped(1 - fits_size), reason=why, ask=ask)
    if not case.printed.is_known:
        why = f"it measures {size:.3f} times its ordered size, if the mat is printed at its own size"
        return replace(told, confidence=0.5, reason=why, ask=ask)
    if not one.is_clear and choice.fit.matched_ratio < _FAINT_SIZE_FIT:
        why = f"it seems {size:.3f} times its ordered size, but its outline is faint"
        return replace(told, confidence=0.5, reason=why, ask=ask)
    return replace(
        told,
        state=State.OTHER_SCALE,
        confidence=_capped(choice.probable * (1 - fits_size)),
        reason=f"it is {size:.3f} times the ordered size, as printed at {100 * size * case.scale_ratio:.1f} %",
    )


def _across_px(fit: Fit, view: MatView) -> float:
    """How many pixels of the photo a part is wide at its narrower side."""
    ways = np.linspace(0, pi, 36)
    spans = np.ptp(fit.outline_mm @ np.vstack([np.cos(ways), np.sin(ways)]), axis=0)
    return float(spans.min() * view.px_per_mm_at(fit.at_mm))


def _unknown(one: Explained, base: PartSeen, case: Case) -> PartSeen:
    """A patch that no part explains: foreign when that is clear, else not told."""
    near = one.fits[0] if one.fits else None
    if _may_be_tall(one.patch, case.kinds, case.view):
        farther = Ask(
            what="Photograph it again from twice as far away, right above it, or with the longer lens."
        )
        why = "it may be a tall part, and from so near its outline hangs on the camera's exact place"
        return replace(base, reason=why, ask=farther)
    is_whole = one.is_clear and one.patch.instead is None and one.patch.area_mm2 > _SPECK_MM2
    if is_whole and (near is None or _is_nothing(near)):
        touch = Ask(what="If it is two parts that touch, move them apart and photograph them again.")
        return replace(
            base,
            state=State.FOREIGN,
            confidence=0.9,
            reason="no part of the kit has this outline, at any size",
            ask=touch,
        )
    again = Ask(what="Lay it apart from everything else, flat side down, and photograph it again.")
    return replace(
        base,
        reason="its outline is that of no part; two things may touch, or a shadow hides an edge",
        ask=again,
    )


def _is_nothing(fit: Fit) -> bool:
    """Whether even the best explanation explains neither enough of the outline nor enough altogether."""
    return fit.says < LEAST_SAID and fit.matched_ratio < _FOREIGN_FIT


def _may_be_tall(patch: Patch, kinds: tuple[Kind, ...], view: MatView) -> bool:
    """Whether a part of about this size is so tall that the camera's height is not known well enough for it."""
    middle = (patch.outline_mm.min(0) + patch.outline_mm.max(0)) / 2
    aside = float(np.linalg.norm(middle - view.at_mm[:2]))
    for pose in (p for k in kinds for p in k.poses):
        lift = pose.height_mm / max(float(view.at_mm[2]) - pose.height_mm, 30.0)
        grown = ring_area_mm2(pose.outline_mm) * (1.0 + lift) ** 2
        moved = view.u_height_ratio * lift * (1.0 + lift) * (aside + 0.5 * pose_span_mm(pose))
        if moved > _TALL_MM and 0.7 < patch.area_mm2 / grown < 1.6:
            return True
    return False


def _bare(patch: Patch, view: MatView, printed: PrintScale) -> PartSeen:
    """What is measured of a patch before anything is said about it."""
    ring = patch.outline_mm
    middle = (ring.min(0) + ring.max(0)) / 2
    ways = np.linspace(0, pi, 90)
    spans = np.ptp(ring @ np.vstack([np.cos(ways), np.sin(ways)]), axis=0)
    length = float(spans.max())
    u = hypot(length * printed.u_ratio, 0.5 / view.px_per_mm, 0.15 if patch.certain else 3.0)
    return PartSeen(
        state=State.UNTOLD,
        names=(),
        title="something",
        confidence=0.5,
        x_mm=float(middle[0]),
        y_mm=-float(middle[1]),
        length_mm=length * printed.ratio,
        u_length_mm=u,
        scale_ratio=None,
        u_scale_ratio=None,
        flat_side_down=None,
        reason="",
        ask=None,
        outline_px=_to_px(ring, view),
    )


def _to_px(ring: FloatArray, view: MatView) -> tuple[tuple[float, float], ...]:
    points = view.to_px(np.column_stack([ring, np.zeros(len(ring))]))
    step = max(1, len(points) // 160)
    return tuple((round(float(x), 1), round(float(y), 1)) for x, y in points[::step])


def _capped(p: float) -> float:
    return float(min(max(p, 0.0), _MOST_SURE))


def _between(value: float, u: float, low: float, high: float) -> float:
    """Probability that a normal quantity lies in an interval."""

    def below(x: float) -> float:
        return 0.5 * (1.0 + erf((x - value) / (u * sqrt(2.0))))

    return below(high) - below(low)
