"""How symmetric a formed cuff is, from a photo that looks into it: millimetres, and how well they are known."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import hypot
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

from handsel.metrology.checks import number
from handsel.metrology.decision import Decision, Limits, decide
from handsel.metrology.quantity import Quantity
from handsel.vision.camera import Lens
from handsel.vision.cuff.account import POINTS, account, largest_gap
from handsel.vision.cuff.curves import even, smoothed
from handsel.vision.cuff.doubt import check_bends_one_way, check_far_end, check_one_plastic
from handsel.vision.cuff.mirror import Mirrored, mirrored
from handsel.vision.cuff.outline import RIM_RATIO, CuffOutline, find_outline
from handsel.vision.cuff.refused import CuffCause, CuffRefused
from handsel.vision.cuff.scale import U_WIDTH_MM, Scale, find_scale, no_scale
from handsel.vision.cuff.view import View, look_from

FloatArray = npt.NDArray[np.float64]
Pixels = npt.NDArray[np.uint8]

_ASKEW = 0.60  # of the half width: a camera from which a flank shows its outer face is told from 0.65 on
_NOT_A_CUFF = 0.3  # of the width
_FAR_TIP_MM = 2.0
_CALM = 5  # neighbours on either side over which the outline is smoothed
# shadow where the cuff stands, taken for cuff where only lightness tells it from the ground
_U_SHADOW_MM = 0.5
_SIDES = ("left", "right")


@dataclass(frozen=True, slots=True, kw_only=True)
class Flank:
    """One side of the cuff, as the picture shows it."""

    height_mm: float  # from the lowest point of the back to the tip, along the axis
    lean_deg: float  # of its last part from the axis, + outward


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CuffSeen:
    """A cuff's symmetry read from one photo. Left and right are the picture's."""

    asymmetry_mm: float  # largest distance between the outer outline and its mirror image
    u_asymmetry_mm: float  # standard uncertainty
    low_mm: float  # between these it lies with a probability of 95 %
    high_mm: float
    contributions: Mapping[str, float]  # standard uncertainties by source; their squares add up [mm]
    width_mm: float  # greatest width across the axis
    u_width_mm: float
    left: Flank
    right: Flank
    scale_from: str  # width, card or mat
    scale_px_per_mm: float
    off_axis_ratio: float  # how far the camera stood beside the axis, over half the width; + to the right
    outline_px: FloatArray  # (n, 2) [px] outer outline, tip to tip
    mirror_px: FloatArray  # (n, 2) [px] its mirror image
    axis_px: FloatArray  # (2, 2) [px] the mirror axis across the cuff, mouth end first
    largest_px: FloatArray  # (2, 2) [px] where it is largest: on the outline, on the mirror image
    notes: tuple[str, ...]
    picture_px: tuple[int, int]  # width and height of the photo that the lines are in

    @property
    def quantity(self) -> Quantity:
        """The asymmetry with its uncertainty, for a decision."""
        return Quantity(
            value=self.asymmetry_mm, u=self.u_asymmetry_mm, unit="mm", origin="cuff, left against right"
        )

    @property
    def words(self) -> str:
        """What differs between the flanks, in the builder's words; empty when nothing to speak of does."""
        said = []
        higher = self.left.height_mm - self.right.height_mm
        wider = self.left.lean_deg - self.right.lean_deg
        if abs(higher) > max(1.0, 2.0 * self.u_asymmetry_mm):
            said.append(f"the {_SIDES[higher < 0]} flank reaches {abs(higher):.1f} mm further")
        if abs(wider) > 2.0:
            said.append(f"the {_SIDES[wider < 0]} flank leans {abs(wider):.0f}° further out")
        return "; ".join(said)


def look_at_cuff(
    pixels: Pixels,
    *,
    lens: Lens | None = None,
    width_mm: float | None = None,
    u_width_mm: float = U_WIDTH_MM,
    length_mm: float | None = None,
    where: str = "photo",
) -> CuffSeen:
    """Measure how far a formed cuff is from its own mirror image.

    The photo looks into the cuff from one end, along the arm it will hold. The scale comes from width_mm when it is
    given; else from one of the two printed cards held beside the end that faces the camera; else from the printed mat
    on which the cuff stands on end.

    Parameters: pixels : (h, w, 3) uint8 [-], RGB, upright as shown; lens, what the file says of it; width_mm [mm],
        greatest outer width of the end that faces the camera, and its standard uncertainty u_width_mm [mm];
        length_mm [mm] of the cuff along the arm, which tells how high its end stands over the mat; where, what the
        photo is called in messages.
    Returns: CuffSeen.
    Raises: CuffRefused with its cause; OutOfRange for lengths that are none.
    Valid for: a cuff whose end lies in one plane, seen from within its own width, so that both flanks show their
        inner faces.
    Source: own construction; the account of the uncertainty follows JCGM 100:2008 5.1.
    Checked by: unit/test_vision_cuff.py, docs/studies/cuff.md
    """
    lens = lens or Lens()
    if width_mm is not None:
        width_mm = number(width_mm, "width", where=where, low=15.0, high=300.0)
    u_width_mm = number(u_width_mm, "uncertainty of the width", where=where, low=0.0, high=50.0)
    if length_mm is not None:
        length_mm = number(length_mm, "length", where=where, low=15.0, high=400.0)
    size = (int(pixels.shape[1]), int(pixels.shape[0]))
    scale = find_scale(pixels, lens, width_mm, u_width_mm, length_mm, where)
    outline = find_outline(pixels, cover=scale.cover, within=scale.within, where=where)
    path = even(smoothed(even(outline.outside_px, len(outline.outside_px)), _CALM), POINTS)
    rough_px = float(np.ptp(path @ mirrored(path).normal))
    if width_mm is None and scale.px_per_mm is None:
        raise no_scale(where)
    rough_mm = width_mm if width_mm is not None else rough_px / (scale.px_per_mm or 1.0)
    view = look_from(outline, rough_px, width_mm=rough_mm, length_mm=length_mm, lens=lens, size_px=size)
    if abs(view.off_axis_ratio) > _ASKEW:
        raise CuffRefused(
            CuffCause.ASKEW,
            f"the camera stood too far to the {_SIDES[view.off_axis_ratio > 0]}: one flank shows its outer face",
            where=where,
            do="Look straight into the cuff, so that both flanks show as much of their inner faces, "
            "and take it again.",
        )
    check_one_plastic(pixels, path, RIM_RATIO * rough_px, where)
    check_bends_one_way(path, where)
    check_far_end(view.alone_ratio, where)
    straight = view.ahead(path)
    fit = mirrored(straight)
    width_px = float(np.ptp(straight @ fit.normal))
    px_per_mm = width_px / width_mm if width_mm is not None else (scale.px_per_mm or 1.0)
    if fit.largest > _NOT_A_CUFF * width_px:
        raise CuffRefused(
            CuffCause.NO_CUFF,
            "what stands out in the photo has no two sides that are alike",
            where=where,
            do="Look into the cuff from one end, on a plain sheet of another colour with nothing else on it.",
        )
    value_px, beyond_px = largest_gap(fit, straight, outline, px_per_mm)
    contributions = account(outline, path, fit, view, size)
    contributions = {name: part / px_per_mm for name, part in contributions.items()}
    if not outline.coloured:
        contributions["ground"] = hypot(contributions["ground"], _U_SHADOW_MM)
    contributions["scale"] = scale.u_ratio * value_px / px_per_mm
    contributions["end not flat"] = hypot(0.1, 0.04 * value_px / px_per_mm)
    u = hypot(*contributions.values())
    asymmetry = value_px / px_per_mm
    worst = int(fit.gaps.argmax())
    back = view.back(np.vstack([fit.image, fit.nearest[worst][None]]))
    left, right = _flanks(straight, fit, px_per_mm)
    return CuffSeen(
        asymmetry_mm=asymmetry,
        u_asymmetry_mm=u,
        low_mm=max(0.0, asymmetry - 1.96 * u),
        high_mm=asymmetry + 1.96 * u,
        contributions=MappingProxyType(contributions),
        width_mm=width_px / px_per_mm,
        u_width_mm=hypot(scale.u_ratio * width_px, outline.u_edge_px) / px_per_mm,
        left=left,
        right=right,
        scale_from=scale.source,
        scale_px_per_mm=px_per_mm,
        off_axis_ratio=view.off_axis_ratio,
        outline_px=path,
        mirror_px=back[:-1],
        axis_px=view.back(_axis(straight, fit)),
        largest_px=np.vstack([path[worst], back[-1]]),
        notes=_notes(lens, scale, outline, view, beyond_px / px_per_mm),
        picture_px=size,
    )


def judge_cuff(seen: CuffSeen, limits: Limits, *, accept_p: float = 0.90) -> Decision:
    """The verdict on a cuff's symmetry.

    Parameters: seen; limits [mm], the protocol's for what a photo measures; accept_p [-], the probability asked for.
    Returns: Decision: conforms, does not conform, or undecided, with the probability behind it.
    Raises: OutOfRange for limits in another unit.
    Valid for: as look_at_cuff.
    Source: as metrology.decision.
    Checked by: unit/test_vision_cuff.py
    """
    return decide(seen.quantity, limits, accept_p=accept_p)


def _axis(points: FloatArray, fit: Mirrored) -> FloatArray:
    """The mirror axis from beyond the mouth to beyond the back."""
    along = np.array([-fit.normal[1], fit.normal[0]])
    if (points[0] + points[-1] - 2.0 * points.mean(0)) @ along < 0:
        along = -along
    reach = points @ along
    low, high = float(reach.min()), float(reach.max())
    spare = 0.12 * (high - low)
    return np.array([fit.offset * fit.normal + s * along for s in (high + spare, low - spare)])


def _flanks(points: FloatArray, fit: Mirrored, px_per_mm: float) -> tuple[Flank, Flank]:
    """Left and right flank as the picture shows them."""
    along = np.array([-fit.normal[1], fit.normal[0]])
    if (points[0] + points[-1] - 2.0 * points.mean(0)) @ along < 0:
        along = -along
    lowest = float((points @ along).min())
    n = max(8, len(points) // 8)
    flanks = []
    for tip in (points[:n][::-1], points[-n:]):  # each toward its tip
        way = tip - tip.mean(0)
        direction = np.linalg.svd(way, full_matrices=False)[2][0]
        if (tip[-1] - tip[0]) @ direction < 0:
            direction = -direction
        outward = np.sign(float(tip.mean(0) @ fit.normal) - fit.offset) * fit.normal
        lean = np.degrees(np.arctan2(direction @ outward, direction @ along))
        height = (float(tip[-1] @ along) - lowest) / px_per_mm
        flanks.append(Flank(height_mm=height, lean_deg=float(lean)))
    first, last = flanks
    return (first, last) if points[0, 0] <= points[-1, 0] else (last, first)


def _notes(lens: Lens, scale: Scale, outline: CuffOutline, view: View, beyond_mm: float) -> tuple[str, ...]:
    found = []
    if beyond_mm > _FAR_TIP_MM:
        found.append(
            "one flank's end alone makes the difference: see on the picture whether the line ends there"
        )
    if view.alone_ratio > 0.0:
        found.append(
            "somewhere the near edge has no far edge that goes with it: see whether the line is right"
        )
    if scale.source == "card":
        found.append("the scale is the card's, as far as it is in the plane of the cuff's end")
    if scale.source == "mat":
        found.append("the scale is the mat's, carried up by the cuff's length")
    if abs(view.off_axis_ratio) > 0.5:
        found.append("the camera stood to one side; looking straight in is surer")
    if outline.lost_ratio > 0.1:
        found.append(f"the edge is faint over {100 * outline.lost_ratio:.0f} % of its way")
    if lens.f35_mm is None:
        found.append("the file does not say the focal length; a phone's main lens is taken")
    return tuple(found)
