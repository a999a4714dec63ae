"""What each thing on the mat is said to be, and what of the kit is not there.

Every patch has its explanations (`part_fit`): a part as ordered, a part of the other hand, a part of another size,
or something unknown. One assignment over all patches and all places of the kit picks the most probable whole. A part
is called right only when its kind, its side and its size are each clear; anything less is "cannot tell", with what
would settle it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import erf, exp, hypot, log, pi, sqrt

import numpy as np
import numpy.typing as npt

from handsel.design.model import Design
from handsel.vision.mat_flat import Flat, Patch
from handsel.vision.mat_print import PrintScale
from handsel.vision.mat_view import MatView
from handsel.vision.part_asks import bar_ask, rival_ask, size_ask, title_of
from handsel.vision.part_fit import Fit, fits_of, pose_span_mm, refined
from handsel.vision.part_kinds import Kind
from handsel.vision.part_seen import Ask, PartMissing, PartSeen, State
from handsel.vision.part_silhouette import ring_area_mm2

FloatArray = npt.NDArray[np.float64]

# Beforehand, for one thing on the mat: as ordered; of the other hand; of another size; unknown. Common practice.
_ORDERED, _OTHER_HAND, _OTHER_SIZE, _UNKNOWN = log(0.90), log(0.03), log(0.03), log(0.04)
_SIZE_RANGE = 1.0  # sizes that another size may have, ratio
_TEMPER = 0.4  # what edges say counts this much: they err together more than they show
_CLEAR_FIT, _FAINT_FIT = (
    0.80,
    0.75,
)  # share of its outline that a part must show: clear, and grown into its shadow
_LEAST_SAID, _LEAST_SAID_RATIO = 12.0, 0.55  # by an outline, or of what one so short can say at most
_FAINT_SAID_RATIO = (
    0.5  # of what a faint outline can say at most: on renders wrong kinds reached 0.39, true ones had 0.55
)
_MUCH_SAID, _SHADED_FIT = (
    20.0,
    0.65,
)  # what says so much, so far ahead, may have a side lost in its own shadow
_OTHER_SIZE_U, _LEAST_OTHER = 4.0, 0.04  # standard uncertainties, and ratio, from which a size is another
_WHOLE_FIT, _LACKS, _LACKS_LEAD = 0.95, 0.10, 3.0  # shares of outlines seen: a pin is another but for its end
_FAINT_SIZE = 0.06  # sizes of other kinds that a faint outline does not exclude, ratio
_LEAD, _FAINT_LEAD = 7.0, 9.0  # by which an explanation must beat those of another kind or side
_FAINT_SIDE_FIT = 0.92  # share of a faint outline that must be seen before its side is said
_FAINT_SIZE_FIT = 0.90  # share of a faint outline that must be seen before another size is said
_SIZE_RATIO, _SIZE_MM = 0.020, 0.50  # how far a part's length may be off its ordered one: the larger counts
_HOPELESS = 25.0  # an explanation this far behind needs no size of its own
_FOREIGN_FIT = 0.72  # share of the outline that the best explanation of a foreign thing shows at most
_SPECK_MM2 = 60.0  # a smaller thing may be a piece of a part that light has cut up: it is not called foreign
_TALL_MM = 0.8  # by which the camera's height may move a tall part's outline before nothing is said
_SURE = 0.95
_MODEL_MM = 0.10  # standard deviation of a printed part's length
_MOST_SURE = 0.995


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _View:
    """One patch with everything that may explain it."""

    patch: Patch
    fits: tuple[Fit, ...]  # as ordered or mirrored, best first
    sized: tuple[Fit, ...]  # with a size of their own
    clear: bool


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
    views: list[_View] = []
    for patch in patches:
        whole = _explained(patch, kinds, flat, view, printed)
        is_one = not patch.pieces or any(_is_plain(f) for f in whole.fits)
        pieces = () if is_one else patch.pieces
        views += [_explained(p, kinds, flat, view, printed) for p in pieces] or [whole]
    chosen = _assigned(views, kinds)
    seen = []
    for one, (kind, is_extra) in zip(views, chosen, strict=True):
        seen.append(_seen(one, kind, is_extra, kinds, design, scale_ratio, view, printed))
    for k, (kind, is_extra) in enumerate(chosen):
        if not is_extra or seen[k].state is not State.EXTRA:
            continue
        # It is not one too many while one of those that took its places cannot be told.
        for j, (other, other_extra) in enumerate(chosen):
            if other == kind and not other_extra and seen[j].state is State.UNTOLD:
                seen[k] = replace(seen[k], state=State.RIGHT, reason="")
                chosen[j], chosen[k] = (None, False), (kind, False)
                break
    taken = [0] * len(kinds)
    for kind, is_extra in chosen:
        if kind is not None and not is_extra:
            taken[kind] += 1
    untold = any(s.state is State.UNTOLD for s in seen)
    missing = tuple(
        PartMissing(names=k.names, title=title_of(k), count=k.count - taken[i], may_be_there=untold)
        for i, k in enumerate(kinds)
        if taken[i] < k.count
    )
    return tuple(_over_border(s, v.patch, view) for s, v in zip(seen, views, strict=True)), missing


def _is_plain(fit: Fit) -> bool:
    """Whether an explanation by itself shows that one part lies there."""
    return fit.matched_ratio > _FAINT_FIT and fit.says > _LEAST_SAID


def _explained(
    patch: Patch, kinds: tuple[Kind, ...], flat: Flat, view: MatView, printed: PrintScale
) -> _View:
    base = 1.0 / printed.ratio
    fits = fits_of(patch, kinds, flat, view, print_ratio=printed.ratio)
    clear = patch.certain
    enough = _CLEAR_FIT if clear else _FAINT_FIT
    sized: list[Fit] = []
    done: set[int] = set()
    for fit in fits[:5]:
        if id(fit.pose) in done or fit.says < fits[0].says - _HOPELESS:
            continue
        done.add(id(fit.pose))
        free = refined(
            patch,
            flat,
            view,
            index=fit.kind,
            pose=fit.pose,
            at_mm=fit.at_mm,
            turn_rad=fit.turn_rad,
            scale=fit.scale * base,
            free_scale=True,
            base=base,
            settled=True,
        )
        if free is not None:
            sized.append(free)
    if not fits or fits[0].matched_ratio < max(0.93, enough) or fits[0].says < _LEAST_SAID:
        sized += fits_of(patch, kinds, flat, view, print_ratio=printed.ratio, free_scale=True)
    return _View(patch=patch, fits=fits, sized=tuple(sorted(sized, key=lambda f: -f.says)), clear=clear)


def _worth(fit: Fit, *, own_size: bool, kinds: tuple[Kind, ...]) -> float:
    """Logarithm of how probable an explanation is, up to what all have in common."""
    pose_count = len(kinds[fit.kind].poses)
    said = (
        _TEMPER * fit.says - log(len(kinds)) - 0.3 * log(pose_count) + (0.5 if fit.pose.on_flat_side else 0.0)
    )
    if own_size:
        # The best of many sizes always fits a little better: what it took to find it is taken off again.
        said += _OTHER_SIZE + log(max(fit.u_scale, 0.003) * sqrt(2 * pi) / _SIZE_RANGE)
        return said + (_OTHER_HAND if fit.pose.mirrored else 0.0)
    return said + (_OTHER_HAND if fit.pose.mirrored else _ORDERED)


def _best(one: _View, kind: int | None, kinds: tuple[Kind, ...]) -> float:
    """The most probable explanation by a kind."""
    worth = [_worth(f, own_size=False, kinds=kinds) for f in one.fits if f.kind == kind]
    worth += [_worth(f, own_size=True, kinds=kinds) for f in one.sized if f.kind == kind]
    return max(worth, default=-60.0)


def _assigned(views: list[_View], kinds: tuple[Kind, ...]) -> list[tuple[int | None, bool]]:
    """For each patch its kind or None, and whether the kit has no place for it: the most probable whole."""
    if not views:
        return []
    from scipy.optimize import linear_sum_assignment

    worth = np.array([[_best(v, k, kinds) for k in range(len(kinds))] for v in views])
    places = np.repeat(np.arange(len(kinds)), [k.count for k in kinds])
    alone = np.maximum(worth.max(1) - 4.0, _UNKNOWN)  # one too many, or foreign
    gain = np.concatenate([worth[:, places], np.repeat(alone[:, None], len(views), 1)], 1)
    # More than the unknown's own worth is never lost by leaving a place empty.
    rows, columns = linear_sum_assignment(-gain)
    found: list[tuple[int | None, bool]] = [(None, False)] * len(views)
    for r, c in zip(rows, columns, strict=True):
        best = int(worth[r].argmax())
        if c < len(places):
            kind = int(places[c])
            found[r] = (kind, False) if worth[r, kind] > _UNKNOWN else (None, False)
        elif worth[r, best] > _UNKNOWN:
            found[r] = (best, True)
    return found


def _seen(
    one: _View,
    kind: int | None,
    is_extra: bool,
    kinds: tuple[Kind, ...],
    design: Design,
    scale_ratio: float,
    view: MatView,
    printed: PrintScale,
) -> PartSeen:
    base = _bare(one.patch, view, printed)
    every = one.fits + one.sized
    if kind is None or (one.clear and all(map(_is_nothing, every))):
        return _unknown(one, base, kinds, view)
    mine = [f for f in one.fits if f.kind == kind]
    sized = [f for f in one.sized if f.kind == kind]
    options = [(_worth(f, own_size=False, kinds=kinds), f) for f in mine] + [
        (_worth(f, own_size=True, kinds=kinds), f) for f in sized
    ]
    worth, fit = max(options, key=lambda o: o[0])
    # What is none of its rivals does not make it less probable.
    in_doubt = {id(f) for f in _rivals(one, fit)}
    against = [
        _worth(f, own_size=False, kinds=kinds) for f in one.fits if f.kind != kind and id(f) in in_doubt
    ]
    against += [_worth(f, own_size=True, kinds=kinds) for f in one.sized if f.kind != kind]
    total = np.logaddexp.reduce([w for w, _ in options] + against + [_UNKNOWN])
    the_kind = kinds[kind]
    probable = exp(min(float(np.logaddexp.reduce([w for w, f in options]) - total), 0.0))
    free = next((f for f in sized if f.pose is fit.pose), None)
    size, u_size = (
        (free.scale, hypot(free.u_scale, printed.u_ratio, _MODEL_MM / the_kind.size_mm))
        if free
        else (fit.scale, 0.05)
    )
    told = replace(
        base,
        names=the_kind.names,
        title=title_of(the_kind),
        scale_ratio=size,
        u_scale_ratio=u_size,
        flat_side_down=fit.pose.on_flat_side,
        outline_px=_to_px(fit.outline_mm, view),
    )
    if doubt := _doubt(one, fit, kind, kinds, design, scale_ratio, probable):
        return replace(
            told, state=State.UNTOLD, confidence=_capped(1 - probable), reason=doubt[0], ask=doubt[1]
        )
    limit = max(_SIZE_RATIO, _SIZE_MM / the_kind.size_mm)
    fits_size = _between(size, u_size, 1 - limit, 1 + limit)
    if fits_size < 1 - _SURE:
        if not printed.is_known:
            return replace(
                told,
                state=State.UNTOLD,
                confidence=0.5,
                ask=bar_ask(),
                reason=(
                    f"it measures {size:.3f} times its ordered size, if the mat is printed at its own size"
                ),
            )
        if not one.clear and fit.matched_ratio < _FAINT_SIZE_FIT:
            return replace(
                told,
                state=State.UNTOLD,
                confidence=0.5,
                ask=size_ask(the_kind, design, scale_ratio),
                reason=(f"it seems {size:.3f} times its ordered size, but its outline is faint"),
            )
        return replace(
            told,
            state=State.OTHER_SCALE,
            confidence=_capped(probable * (1 - fits_size)),
            reason=f"it is {size:.3f} times the ordered size, as printed at {100 * size * scale_ratio:.1f} %",
        )
    if fits_size < _SURE:
        ask = size_ask(the_kind, design, scale_ratio) if printed.is_known else bar_ask()
        why = f"its size is not clear: {size:.3f} ± {2 * u_size:.3f} (k = 2) times the ordered one"
        return replace(told, state=State.UNTOLD, confidence=_capped(1 - fits_size), reason=why, ask=ask)
    if fit.pose.mirrored:
        return replace(
            told,
            state=State.MIRRORED,
            confidence=_capped(probable * fits_size),
            reason="it is the mirror image",
        )
    if is_extra:
        return replace(
            told,
            state=State.EXTRA,
            confidence=_capped(probable * fits_size),
            reason=(f"the kit has {the_kind.count} of this shape, and more lie here"),
        )
    return replace(told, state=State.RIGHT, confidence=_capped(probable * fits_size))


def _doubt(
    one: _View,
    fit: Fit,
    kind: int,
    kinds: tuple[Kind, ...],
    design: Design,
    scale_ratio: float,
    probable: float,
) -> tuple[str, Ask] | None:
    """Why a kind or its side is not clear, and what would settle it."""
    lead = _LEAD if one.clear else _FAINT_LEAD
    rival = max(_rivals(one, fit), key=lambda f: f.says, default=None)
    if rival is not None and rival.says > fit.says - lead:
        return (
            f"it may also be {title_of(kinds[rival.kind])}",
            rival_ask(kinds[kind], kinds[rival.kind], design, scale_ratio),
        )
    if kinds[kind].has_side:
        other = max(
            (f for f in one.fits if f.kind == kind and f.pose.mirrored != fit.pose.mirrored),
            key=lambda f: f.says,
            default=None,
        )
        # A faint outline hides most where a side shows: in small steps and corners.
        is_faint = not one.clear and fit.matched_ratio < _FAINT_SIDE_FIT
        if other is not None and (other.says > fit.says - lead or is_faint):
            return "left and right look alike as it lies", Ask(
                what="Lay it on another face, and photograph it again."
            )
    again = Ask(what="Move it away from others and from shadows, flat side down, and photograph it again.")
    enough = _CLEAR_FIT if one.clear else _FAINT_FIT
    if one.clear and fit.says > _MUCH_SAID and (rival is None or fit.says > rival.says + _MUCH_SAID):
        enough = _SHADED_FIT
    if fit.matched_ratio < enough:
        return f"only {100 * fit.matched_ratio:.0f} % of its outline is seen where it should be", again
    least = min(_LEAST_SAID, _LEAST_SAID_RATIO * fit.most_says)
    if fit.says < (least if one.clear else _FAINT_SAID_RATIO * fit.most_says) or probable < 0.9:
        return "its outline fits, but says too little", again
    return None


def _rivals(one: _View, best: Fit) -> list[Fit]:
    """The explanations by other kinds that the best one must lead.

    Where colour shows the whole outline, one whose size would have to be another is none, nor one that lacks edges
    where the best lacks none. A faint outline does not tell so well, and kinds a little larger or smaller count too.
    """
    others = [f for f in one.fits if f.kind != best.kind]
    freed = [f for f in one.sized if f.kind != best.kind]
    if not one.clear:
        return others + [f for f in freed if abs(f.scale - 1.0) < _FAINT_SIZE]

    def is_none(fit: Fit) -> bool:
        own = [f for f in freed if f.pose is fit.pose]
        if own and all(abs(f.scale - 1.0) > max(_OTHER_SIZE_U * f.u_scale, _LEAST_OTHER) for f in own):
            return True
        lacks = best.matched_ratio > _WHOLE_FIT and fit.matched_ratio < best.matched_ratio - _LACKS
        return lacks and fit.says < best.says - _LACKS_LEAD

    return [f for f in others if not is_none(f)]


def _over_border(seen: PartSeen, patch: Patch, view: MatView) -> PartSeen:
    """A thing across the line round the free area is not called right: it may go on where nothing is looked at."""
    free = view.mat.free
    x, y = patch.outline_mm[:, 0], -patch.outline_mm[:, 1]
    over = max(free.x_mm - x.min(), x.max() - free.right_mm, free.y_mm - y.min(), y.max() - free.lower_mm)
    if over < 1.5 or seen.state is not State.RIGHT:
        return seen
    return replace(seen, state=State.UNTOLD, confidence=0.5, reason="it lies across the mat's border line")


def _unknown(one: _View, base: PartSeen, kinds: tuple[Kind, ...], view: MatView) -> PartSeen:
    """A patch that no part explains: foreign when that is clear, else not told."""
    near = one.fits[0] if one.fits else None
    if _may_be_tall(one.patch, kinds, view):
        farther = Ask(
            what="Photograph it again from twice as far away, right above it, or with the longer lens."
        )
        why = "it may be a tall part, and from so near its outline hangs on the camera's exact place"
        return replace(base, reason=why, ask=farther)
    if one.clear and one.patch.area_mm2 > _SPECK_MM2 and (near is None or _is_nothing(near)):
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
    return fit.says < _LEAST_SAID and fit.matched_ratio < _FOREIGN_FIT


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
