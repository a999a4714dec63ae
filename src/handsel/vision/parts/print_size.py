"""At what size the mat was printed: from the paper's own edges, from a card of known size, from a caliper.

The markers cannot tell: a mat printed small looks like a mat further away. So does a part printed small on it, and
a part called right on a wrong mat would be wrong. Where nothing tells the print's size, no part's size is told.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, sqrt

import numpy as np
import numpy.typing as npt

from handsel.metrology.checks import number
from handsel.vision.edges import LINEAR
from handsel.vision.mat.corners import sampled
from handsel.vision.mat.flat import Flat
from handsel.vision.mat.patches import Patch
from handsel.vision.mat.sheet import BAR_MM, ID1_MM, MATS
from handsel.vision.mat.view import MatView
from handsel.vision.parts.kinds import Pose, even_points
from handsel.vision.parts.pull import refined
from handsel.vision.parts.silhouette import skin_of

FloatArray = npt.NDArray[np.float64]
Gray = npt.NDArray[np.uint8]

_PAPER_MM_SD = 0.5  # by which cut paper misses its format; ISO 216 allows 2 mm, stacks from shops keep 1 mm
_READING_MM_SD = 0.15  # a caliper laid on paper
_NOTHING_SD = 0.02  # a print of which nothing is known
_IN_MM, _OUT_MM = 8.0, 16.0  # how far within and beyond its place an edge of the sheet is looked for
_PLACES = 70  # along a side
_FIRM = 0.10  # step of light across a side, natural logarithm, that shows at every place by itself
# Paper on a table a twentieth darker: seen when neighbours are averaged, and when it stands out of all beside it.
_FAINT, _FAINT_VOICES, _CLEARLY = 0.04, 9, 3.0
_ONE_LINE_MM = 1.2  # within which one line is read
_NOT_ALONE = 4.0  # places that err together: the same fibre, the same grain of the table
CARD_THICK_MM, CARD_CORNER_MM = 0.76, 3.18
AS_DRAWN = 0.005  # a print this near its drawn size is called right


@dataclass(frozen=True, slots=True, kw_only=True)
class PrintScale:
    """Size of the print against what it should be."""

    ratio: float
    u_ratio: float
    told_by: tuple[str, ...]  # of "caliper", "card", "paper's edges"; none when nothing tells
    paper: str | None  # title of the sheet it is printed on, when its edges tell and it is another
    agree: bool  # whether all that tells it says the same

    @property
    def is_known(self) -> bool:
        """Whether anything told it."""
        return bool(self.told_by)

    @property
    def is_wrong(self) -> bool:
        """Whether it is clearly not the drawn size."""
        return self.is_known and abs(self.ratio - 1.0) > AS_DRAWN + 2.0 * self.u_ratio


def print_scale(
    gray: Gray, view: MatView, flat: Flat, patches: Sequence[Patch], *, bar_reading_mm: float | None = None
) -> tuple[PrintScale, Patch | None]:
    """The size of the mat's print, and the patch that is the reference card.

    Parameters: gray : (h, w) uint8 [-], the photo; view, flat and patches of the same photo; bar_reading_mm [mm],
        what a caliper finds at either bar.
    Returns: PrintScale, and the card's Patch where one lies on the mat.
    Raises: OutOfRange for a reading that cannot be one.
    Valid for: sheets cut to their format; a card of ISO/IEC 7810 size ID-1.
    Source: weighted mean of what tells it (JCGM 100, with the weights 1/u^2); sizes: ISO 216, ISO/IEC 7810.
    Checked by: unit/test_vision_parts.py
    """
    told: list[tuple[str, float, float]] = []
    if bar_reading_mm is not None:
        reading = number(
            bar_reading_mm, "bar_reading_mm", where="scale bar", low=0.5 * BAR_MM, high=1.5 * BAR_MM
        )
        told.append(("caliper", reading / BAR_MM, _READING_MM_SD / BAR_MM))
    card, from_card = _card(flat, view, patches)
    if from_card is not None:
        told.append(("card", *from_card))
    edges = _paper_edges(gray, view)
    paper = None
    if edges is not None:
        told.append(("paper's edges", edges[0], edges[1]))
        paper = edges[2]
    if not told:
        return PrintScale(ratio=1.0, u_ratio=_NOTHING_SD, told_by=(), paper=None, agree=True), card
    weight = np.array([1.0 / u**2 for _, _, u in told])
    value = np.array([r for _, r, _ in told])
    mean, u = float(weight @ value / weight.sum()), 1.0 / sqrt(float(weight.sum()))
    agree = all(abs(r - mean) < 3.5 * hypot(s, u) for _, r, s in told)
    if not agree:  # the first named is the surest; the spread is what is not known
        mean, u = told[0][1], max(u, float(np.ptp(value)) / 2)
    return PrintScale(
        ratio=mean, u_ratio=u, told_by=tuple(n for n, _, _ in told), paper=paper, agree=agree
    ), card


def card_pose() -> Pose:
    """The reference card as something that lies on the mat."""
    from handsel.design.solids import prism, rectangle

    wide, high = ID1_MM
    solid = prism(
        rectangle((-wide / 2, wide / 2), (-high / 2, high / 2), CARD_CORNER_MM), 0.0, CARD_THICK_MM, "z"
    )
    outline = np.asarray(max(solid.project().to_polygons(), key=len), float)
    skin = skin_of(solid)
    return Pose(
        mirrored=False,
        solid=solid,
        height_mm=CARD_THICK_MM,
        outline_mm=outline,
        on_flat_side=True,
        skin=skin,
        rough_skin=skin,
    )


def _card(
    flat: Flat, view: MatView, patches: Sequence[Patch]
) -> tuple[Patch | None, tuple[float, float] | None]:
    """The patch that is a card, and the print's ratio with its uncertainty from it."""
    pose = None
    for patch in patches:
        if not 0.8 < patch.area_mm2 / (ID1_MM[0] * ID1_MM[1]) < 1.3:
            continue
        pose = pose or card_pose()
        middle = even_points(patch.outline_mm, 200).mean(0)
        scale = sqrt(patch.area_mm2 / (ID1_MM[0] * ID1_MM[1]))
        d = even_points(patch.outline_mm, 200) - middle
        cov = d.T @ d
        axis = 0.5 * float(np.arctan2(2 * cov[0, 1], cov[0, 0] - cov[1, 1]))
        fit = refined(
            patch,
            flat,
            view,
            index=0,
            pose=pose,
            at_mm=middle,
            turn_rad=axis,
            scale=scale,
            free_scale=True,
            base=1.0,
        )
        if fit is not None and fit.matched_ratio > 0.85 and fit.says > 40.0:
            return patch, (1.0 / fit.scale, hypot(fit.u_scale, 0.0008) / fit.scale)
    return None, None


def _paper_edges(gray: Gray, view: MatView) -> tuple[float, float, str | None] | None:
    """Ratio, its uncertainty, and the paper's title where it is another sheet than the mat is for."""
    mat = view.mat
    left, right = _edge(gray, view, 0, 0.0), _edge(gray, view, 0, mat.width_mm)
    upper, lower = _edge(gray, view, 1, 0.0), _edge(gray, view, 1, mat.height_mm)
    spans: list[tuple[float, float] | None] = [
        (b[0] - a[0], hypot(a[1], b[1])) if a and b else None for a, b in ((left, right), (upper, lower))
    ]
    is_faint = any(e is not None and e[2] for e in (left, right, upper, lower))
    # A faint line may be the table's own; that four of them make a sheet of known form is no chance.
    if not any(spans) or (is_faint and not all(spans)):
        return None
    best: tuple[float, float, float, str] | None = None
    for paper in MATS.values():
        sizes = (paper.width_mm, paper.height_mm)
        told = [
            (size / s[0], hypot(size * s[1] / s[0], _PAPER_MM_SD) / s[0])
            for size, s in zip(sizes, spans, strict=True)
            if s
        ]
        weight = np.array([1 / u**2 for _, u in told])
        ratio = float(weight @ [r for r, _ in told]) / float(weight.sum())
        misfit = max(abs(r - ratio) / u for r, u in told)
        # With one span only its own paper can be meant.
        if misfit > 3.5 or (len(told) == 1 and paper is not mat) or not 0.85 < ratio < 1.15:
            continue
        score = misfit + (0.0 if paper is mat else 2.0)
        if best is None or score < best[2]:
            best = (ratio, 1 / sqrt(float(weight.sum())), score, paper.title)
    return None if best is None else (best[0], best[1], None if best[3] == mat.title else best[3])


def _edge(gray: Gray, view: MatView, axis: int, at_mm: float) -> tuple[float, float, bool] | None:
    """Where the sheet ends on one side [mm of the print], its uncertainty, and whether it is faint; None where unseen.

    axis 0: a side along y, at x = at_mm; axis 1: a side along x.
    """
    mat = view.mat
    length = mat.height_mm if axis == 0 else mat.width_mm
    out = 1.0 if at_mm > 0 else -1.0
    step = 0.5 / view.px_per_mm
    offsets = np.arange(-_IN_MM, _OUT_MM, step)
    along = np.linspace(0.03 * length, 0.97 * length, _PLACES)
    a, o = np.meshgrid(along, at_mm + out * offsets, indexing="ij")
    px = view.sheet_to_px(np.column_stack([o.ravel(), a.ravel()] if axis == 0 else [a.ravel(), o.ravel()]))
    height, width = gray.shape
    within = np.asarray((px >= 1) & (px <= np.array([width - 2, height - 2])))
    inside = (within[:, 0] & within[:, 1]).reshape(a.shape)
    light = sampled(LINEAR[gray], px).reshape(a.shape)
    light = np.log(np.maximum(light, 0.004))
    gap = max(2, round(0.6 / step))
    change = light[:, 2 * gap :] - light[:, : -2 * gap]
    valid = inside[:, 2 * gap :] & inside[:, : -2 * gap]
    at = offsets[gap:-gap]
    # On a table nearly as light as paper, the mean of neighbours shows the side through the table's own grain.
    for voices, least in ((1, _FIRM), (_FAINT_VOICES, _FAINT)):
        found = _side(_averaged(change, valid, voices), valid, at, along - length / 2, voices, least)
        if found is not None:
            return at_mm + out * found[0], found[1], voices > 1
    return None


def _averaged(change: FloatArray, valid: npt.NDArray[np.bool_], voices: int) -> FloatArray:
    """Each place along the side as the mean of so many neighbours."""
    if voices == 1:
        return change
    import cv2

    known = cv2.blur(valid.astype(float), (1, voices))
    return np.asarray(cv2.blur(np.where(valid, change, 0.0), (1, voices)) / np.maximum(known, 1e-9))


def _side(
    change: FloatArray,
    valid: npt.NDArray[np.bool_],
    at: FloatArray,
    along: FloatArray,
    voices: int,
    least: float,
) -> tuple[float, float] | None:
    """A straight line of steps along a whole side: its middle outward of the drawn one [mm], and its uncertainty."""
    # The same step, at the same place, along the whole side: print and things on the table are not that long.
    firm = np.where(valid.mean(0) > 0.6, _quarter(np.abs(change), valid), 0.0)
    # Within the sheet's margin there is only paper: of several such lines the innermost is the side, and those beyond
    # are the table's own, the joints of tiles or boards.
    shows = firm > max(least, _CLEARLY * float(np.median(firm)))
    if not shows.any():
        return None
    first = at[int(shows.argmax())]
    k = int(np.where(np.abs(at - first) <= _ONE_LINE_MM, firm, 0.0).argmax())
    near = np.abs(at - at[k]) < 2.0
    sub = np.where(valid[:, near], np.abs(change[:, near]), 0.0)
    good = sub.max(1) > 0.5 * firm[k]
    if good.sum() < _PLACES // 3:
        return None
    # The middle of the step from its whole area, as in `corners`.
    weight = np.where(sub > 0.5 * sub.max(1, keepdims=True), sub, 0.0)
    spots = (weight @ at[near]) / np.maximum(weight.sum(1), 1e-9)
    x, y = along[good], spots[good]
    keep = np.ones(len(x), bool)
    for _ in range(4):
        slope, middle = np.polyfit(x[keep], y[keep], 1)
        left = np.abs(y - middle - slope * x)
        keep = left < max(3.0 * float(np.median(left[keep])), 0.05)
    scatter = float(np.std(y[keep] - middle - slope * x[keep]))
    if keep.sum() < _PLACES // 4 or abs(slope) > 0.02:
        return None
    return float(middle), hypot(scatter / sqrt(keep.sum() / (_NOT_ALONE * voices)), 0.08)


def _quarter(values: FloatArray, valid: npt.NDArray[np.bool_]) -> FloatArray:
    """What three quarters of the places along the side reach, (n,)."""
    return np.asarray(np.nanpercentile(np.where(valid, values, 0.0), 30, axis=0))
