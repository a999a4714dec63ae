"""What keeps a part from being called right: another kind, the other hand, an outline that is not seen, the line."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp

import numpy as np
import numpy.typing as npt

from handsel.design.model import Design
from handsel.vision.mat.view import MatView
from handsel.vision.parts.asks import rival_ask, title_of
from handsel.vision.parts.explanations import LEAST_SAID
from handsel.vision.parts.kinds import Kind
from handsel.vision.parts.print_size import PrintScale
from handsel.vision.parts.pull import Fit, foot_of
from handsel.vision.parts.seen import Ask
from handsel.vision.parts.views import CLEAR_FIT, FAINT_FIT, Explained
from handsel.vision.parts.weighing import UNKNOWN, worth

FloatArray = npt.NDArray[np.float64]

_LEAST_SAID_RATIO = 0.55  # of what so short an outline can say at most
# Of what a faint outline can say at most: on renders wrong kinds reached 0.39, true ones had 0.55.
_FAINT_SAID_RATIO = 0.5
# Steps that lie by chance where they may stray as far as 0.2 mm and more; those of true outlines lie closer. Where
# they do, and shadow has taken the others, less is enough.
_CLOSE_RMS_MM, _CLOSE_SAID_RATIO = 0.12, 0.4
_MUCH_SAID, _SHADED_FIT = (
    20.0,
    0.65,
)  # what says so much, so far ahead, may have a side lost in its own shadow
# A faint outline of which a side is lost, but which shows within what no other kind does. Of what its inside can say a
# true part said 0.44 and more in three of four cases, a wrong one 0.26 and less in 19 of 20.
_INSIDE_RATIO, _ALONE_LEAD, _ALONE_SAID_RATIO = 0.35, 30.0, 0.33
_LEAST_SHOWN = (
    0.5  # share of an outline that must be seen at all: the rest lies on printing or behind another part
)
_OTHER_SIZE_U, _LEAST_OTHER = 4.0, 0.04  # standard uncertainties, and ratio, from which a size is another
_WHOLE_FIT, _LACKS, _LACKS_LEAD = 0.95, 0.10, 3.0  # shares of outlines seen: a pin is another but for its end
_FAINT_SIZE = 0.06  # sizes of other kinds that a faint outline does not exclude, ratio
_LEAST_PROBABLE = 0.9
_LEAD, _FAINT_LEAD = 7.0, 9.0  # by which an explanation must beat those of another kind or side
_FAINT_SIDE_FIT = 0.92  # share of a faint outline that must be seen before its side is said
_FAINT_SIZE_FIT = 0.90  # share of a faint outline that must be seen before another size is said
_OVER_MM = 1.5  # beyond the border line a foot may reach


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Case:
    """What all things on one mat are judged by."""

    kinds: tuple[Kind, ...]
    design: Design
    scale_ratio: float  # as ordered
    view: MatView
    printed: PrintScale


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Choice:
    """The best explanation of a thing by the kind that it was given."""

    kind: int
    fit: Fit
    free: Fit | None  # the same with a size of its own
    probable: float  # that the kind is true


def choice_of(one: Explained, kind: int, case: Case) -> Choice:
    """The best explanation by a kind, and how probable the kind is.

    Parameters: one thing; kind, its index in the case's kinds; case.
    Returns: Choice.
    Raises: ValueError when no explanation is by this kind.
    Valid for: kinds that `assigned` gives.
    Source: each explanation's worth against those of all its rivals.
    Checked by: unit/test_vision_parts.py
    """
    kinds = case.kinds
    sized = [f for f in one.sized if f.kind == kind]
    options = [(worth(f, own_size=False, kinds=kinds), f) for f in one.fits if f.kind == kind]
    options += [(worth(f, own_size=True, kinds=kinds), f) for f in sized]
    fit = max(options, key=lambda o: o[0])[1]
    # What is none of its rivals does not make it less probable.
    in_doubt = {id(f) for f in _rivals(one, fit)}
    against = [
        worth(f, own_size=False, kinds=kinds) for f in one.fits if f.kind != kind and id(f) in in_doubt
    ]
    against += [worth(f, own_size=True, kinds=kinds) for f in one.sized if f.kind != kind]
    total = np.logaddexp.reduce([w for w, _ in options] + against + [UNKNOWN])
    probable = exp(min(float(np.logaddexp.reduce([w for w, _ in options]) - total), 0.0))
    return Choice(
        kind=kind, fit=fit, free=next((f for f in sized if f.pose is fit.pose), None), probable=probable
    )


def doubt_of(one: Explained, choice: Choice, case: Case) -> tuple[str, Ask | None] | None:
    """Why a kind or its side is not clear, and what would settle it.

    Parameters: one thing; choice, its best explanation; case.
    Returns: a reason and what to ask for; None when there is no doubt.
    Raises: nothing of its own.
    Valid for: any thing with an explanation.
    Source: own rules; their limits were chosen on rendered kits, see docs/studies/parts.md.
    Checked by: unit/test_vision_parts.py
    """
    fit, kinds, mine = choice.fit, case.kinds, case.kinds[choice.kind]
    lead = _LEAD if one.is_clear else _FAINT_LEAD
    rival = max(_rivals(one, fit), key=lambda f: f.says, default=None)
    if rival is not None and rival.says > fit.says - lead:
        other = kinds[rival.kind]
        return f"it may also be {title_of(other)}", rival_ask(mine, other, case.design, case.scale_ratio)
    if mine.has_side and _side_is_open(one, choice, lead):
        return "left and right look alike as it lies", Ask(
            what="Lay it on another face, and photograph it again."
        )
    if _over_line_mm(fit, case) > _OVER_MM:
        return "it lies across the mat's border line", Ask(
            what="Lay it inside the line, and photograph it again."
        )
    again = Ask(what="Move it away from others and from shadows, flat side down, and photograph it again.")
    if fit.shown_ratio < _LEAST_SHOWN:
        return f"only {100 * fit.shown_ratio:.0f} % of its outline can be seen behind others", again
    enough = CLEAR_FIT if one.is_clear else FAINT_FIT
    if one.is_clear and fit.says > _MUCH_SAID and (rival is None or fit.says > rival.says + _MUCH_SAID):
        enough = _SHADED_FIT
    if _is_alone(one, fit):
        enough = _SHADED_FIT
    if fit.matched_ratio < enough:
        return f"only {100 * fit.matched_ratio:.0f} % of its outline is seen where it should be", again
    if fit.says < _least_said(one, fit) or choice.probable < _LEAST_PROBABLE:
        return "its outline fits, but says too little", again
    return None


def _least_said(one: Explained, fit: Fit) -> float:
    """What an explanation must say to be believed."""
    if one.is_clear:
        return min(LEAST_SAID, _LEAST_SAID_RATIO * fit.most_says)
    if _is_alone(one, fit):
        return _ALONE_SAID_RATIO * fit.most_says
    return (_CLOSE_SAID_RATIO if fit.rms_mm < _CLOSE_RMS_MM else _FAINT_SAID_RATIO) * fit.most_says


def _is_alone(one: Explained, fit: Fit) -> bool:
    """Whether what lies within a faint outline shows a part, and no other kind comes near it."""
    others = max((f.says for f in (*one.fits, *one.sized) if f.kind != fit.kind), default=0.0)
    return (
        not one.is_clear
        and fit.inside_says > _INSIDE_RATIO * fit.inside_most
        and fit.says > others + _ALONE_LEAD
    )


def _side_is_open(one: Explained, choice: Choice, lead: float) -> bool:
    fit = choice.fit
    others = [f for f in one.fits if f.kind == choice.kind and f.pose.mirrored != fit.pose.mirrored]
    if not others:
        return False
    other = max(others, key=lambda f: f.says)
    # A faint outline hides most where a side shows: in small steps and corners. What lies within may show it alone.
    is_faint = not one.is_clear and fit.matched_ratio < _FAINT_SIDE_FIT
    if is_faint and fit.inside_says < other.inside_says + lead:
        return True
    return other.says > fit.says - lead


def _over_line_mm(fit: Fit, case: Case) -> float:
    """How far a part's foot reaches over the line round the free area; its picture may, being nearer the camera."""
    foot = foot_of(fit, case.printed.ratio)
    free = case.view.mat.free
    x, y = foot[:, 0], -foot[:, 1]
    return float(
        max(free.x_mm - x.min(), x.max() - free.right_mm, free.y_mm - y.min(), y.max() - free.lower_mm)
    )


def _rivals(one: Explained, best: Fit) -> list[Fit]:
    """The explanations by other kinds that the best one must lead.

    Where colour shows the whole outline, one whose size would have to be another is none, nor one that lacks edges
    where the best lacks none. A faint outline does not tell so well, and kinds a little larger or smaller count too.
    """
    others = [f for f in one.fits if f.kind != best.kind]
    freed = [f for f in one.sized if f.kind != best.kind]
    if not one.is_clear:
        return others + [f for f in freed if abs(f.scale - 1.0) < _FAINT_SIZE]

    def is_none(fit: Fit) -> bool:
        own = [f for f in freed if f.pose is fit.pose]
        if own and all(abs(f.scale - 1.0) > max(_OTHER_SIZE_U * f.u_scale, _LEAST_OTHER) for f in own):
            return True
        lacks = best.matched_ratio > _WHOLE_FIT and fit.matched_ratio < best.matched_ratio - _LACKS
        return lacks and fit.says < best.says - _LACKS_LEAD

    return [f for f in others if not is_none(f)]
