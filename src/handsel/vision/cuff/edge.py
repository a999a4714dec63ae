"""The edge of a cuff between the pixels: where the colour is half way between cuff and ground, and where it ends."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from handsel.vision.colour import lab_from_srgb
from handsel.vision.cuff.curves import even, smoothed

FloatArray = npt.NDArray[np.float64]
Pixels = npt.NDArray[np.uint8]
_Bools = npt.NDArray[np.bool_]

COLOURED = 18.0  # distance in a* and b* from which colour alone parts cuff and ground
_STEPS = 240  # points of the outside
_LEAST_STEP = 6.0  # colour difference that is an edge
_LIGHT_BESIDE_COLOUR = 0.3
_SOFT_PX = 0.5
_SHADOW_PX = 1.2  # how far in a shadow is told from an edge
_DARKER = 0.88  # its lightness beside the ground's (L*)
_MOST_SHADOW = 0.5  # of the way: more is no shadow
_BETWEEN = 0.5  # of what an edge takes longer to cross than the rest: how far off its place may be
_BY_TURNS = 0.5  # how much of what two of the three ways of telling a tip differ by is its uncertainty
_STUB = (0.15, 0.8)  # of the rim: the part of a tip's short edge that is straight, from its corner
_FLANK = (0.6, 4.5)  # of the rim: the part of a flank that tells where it runs to


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Edge:
    """A way along an edge."""

    points: FloatArray  # (n, 2) [px]
    seen: _Bools  # (n,) False where it was bridged
    u_place_px: FloatArray  # (n,) how far its place is in doubt: it is less sharp there than elsewhere
    noise_px: float  # standard deviation of one point
    blur_px: float  # its width as a deviation, where it is sharp
    coloured: bool  # both sides differ in more than lightness

    @property
    def lost_ratio(self) -> float:
        """The share that was not seen."""
        return float(1.0 - self.seen.mean())

    @property
    def sharp_ratio(self) -> float:
        """The share that was seen and is no shadow's soft edge."""
        return float((self.seen & (self.u_place_px < _SOFT_PX)).mean())


def refined_edge(
    pixels: Pixels, outside: FloatArray, reach_px: float, *, steps: int = _STEPS, by_colour: bool = False
) -> Edge:
    """The edge where the colour is half way between both sides.

    Parameters: pixels : (h, w, 3) uint8, sRGB; outside : (n, 2) float [px], roughly; reach_px, how far the edge may
        lie from it; steps, how many points it is given; by_colour, that lightness counts little where there is colour
        to go by: then a shadow on the ground is ground, and the edge as coarse as a JPEG's colours.
    Returns: Edge.
    Raises: nothing of its own.
    Valid for: edges between two areas of a colour each.
    Source: linear interpolation of the colour across the edge, own construction.
    Checked by: unit/test_vision_cuff.py
    """
    points = even(outside, steps)
    normal = outward(points)
    half = max(4.0, 2.2 * reach_px)
    across = np.linspace(-half, half, 2 * round(half / 0.5) + 1)
    share, size, coloured = _profiles(pixels, points, normal, across, by_colour)
    shift, width = _crossings(share, across)
    clear = (size > _LEAST_STEP) & np.isfinite(shift) & (np.abs(shift) < 0.85 * half)
    if clear.sum() < max(4, steps // 12):
        nothing = np.zeros(steps, bool)
        return Edge(
            points=points,
            seen=nothing,
            u_place_px=np.full(steps, half),
            noise_px=1.0,
            blur_px=0.0,
            coloured=coloured,
        )
    at = np.arange(steps)
    filled = np.interp(at, at[clear], shift[clear])
    calm = _running_median(filled, min(4, steps // 6))
    spread = 1.4826 * float(np.median(np.abs(filled - calm)[clear])) + 1e-9
    stray = np.abs(filled - calm) > max(4.0 * spread, 1.0)
    shift = np.where(stray, calm, filled)
    seen = clear & ~stray
    sharp = float(np.median(width[clear]))
    wide = _running_median(np.interp(at, at[clear], width[clear]), min(4, steps // 6))
    doubt = _BETWEEN * np.sqrt(np.maximum(wide**2 - sharp**2, 0.0))
    return Edge(
        points=points + shift[:, None] * normal,
        seen=seen,
        u_place_px=np.where(clear, doubt, np.maximum(doubt, sharp + 1.0)),
        noise_px=float(np.hypot(spread, 0.15)),
        blur_px=sharp,
        coloured=coloured,
    )


def without_shadow(pixels: Pixels, edge: Edge, wide: Edge, rough: FloatArray) -> FloatArray | None:
    """The way along the edge where shadow was taken for cuff and the colour ends further in.

    Parameters: pixels : (h, w, 3) uint8, sRGB; edge and wide, what a near look and a wide one by colour found; rough :
        (n, 2) float [px]. All three run in step.
    Returns: the way : (n, 2) float [px], roughly; None where no shadow was taken for cuff.
    Raises: nothing of its own.
    Valid for: a cuff that differs from its ground in colour.
    Source: own construction: what lies between both edges is shadow when it is darker than the ground beyond.
    Checked by: unit/test_vision_cuff_edge.py
    """
    points = even(rough, len(edge.points))
    normal = outward(points)
    inward = ((edge.points - wide.points) * normal).sum(1)

    def light(spots: FloatArray) -> FloatArray:
        at = np.clip(np.round(spots).astype(int), 0, np.array(pixels.shape[1::-1]) - 1)
        return _running_median(lab_from_srgb(pixels[at[:, 1], at[:, 0]])[:, 0], 3)

    between = 0.3 * wide.points + 0.7 * edge.points
    beyond = light(edge.points + np.maximum(inward, 3.0)[:, None] * normal)
    shadow = (inward > _SHADOW_PX) & (light(between) < _DARKER * beyond)
    shadow = _running_median(shadow.astype(float), 2) > 0.5
    if not shadow.any() or shadow.mean() > _MOST_SHADOW:
        return None
    return np.where(shadow[:, None], wide.points, edge.points)


def find_tip(
    pixels: Pixels, flank: FloatArray, stub: FloatArray, *, rim_px: float, reach_px: float
) -> tuple[FloatArray, float] | None:
    """Where a flank ends: the corner between its outer edge and the short edge that goes on from there.

    Parameters: pixels : (h, w, 3) uint8, sRGB; flank : (n, 2) float [px], its outer edge up to the end, refined; stub
        : (m, 2) float [px], the outline's way on from the end, roughly; rim_px, thickness of the cuff; reach_px, how
        far the short edge may lie from the rough one.
    Returns: the corner (2,) [px] and its standard uncertainty along the flank [px]; None when there is none.
    Raises: nothing of its own.
    Valid for: flanks that are nearly straight over their last five thicknesses; a rounded corner is taken for the
        sharp one it was rounded from.
    Source: own construction: two straight lines, each a least-squares fit.
    Checked by: unit/test_vision_cuff_edge.py
    """
    from_end = np.linalg.norm(flank - flank[-1], axis=1)
    straight = flank[(from_end > _FLANK[0] * rim_px) & (from_end < _FLANK[1] * rim_px)]
    walked = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(stub, axis=0), axis=1))])
    part = (walked > _STUB[0] * rim_px) & (walked < _STUB[1] * rim_px)
    if len(straight) < 4 or part.sum() < 2:
        return None
    edge = refined_edge(pixels, stub[part], reach_px, steps=max(8, round(0.5 * rim_px)))
    if edge.seen.mean() < 0.6:
        return None
    one, other = _line(straight), _line(edge.points[edge.seen])
    crossing = one.way[0] * other.way[1] - one.way[1] * other.way[0]
    if abs(crossing) < 0.4:  # nearer to one line than to a corner
        return None
    off = other.middle - one.middle
    along = (off[0] * other.way[1] - off[1] * other.way[0]) / crossing
    corner = one.middle + along * one.way
    if np.linalg.norm(corner - flank[-1]) > 0.8 * rim_px:
        return None
    # Carried on to the corner, each line is less sure by how far that is; the corner moves along the flank with both.
    reach = float(np.linalg.norm(corner - other.middle))
    u_other = np.hypot(other.u_place, other.u_way * reach) / abs(crossing)
    doubt = float(np.median(edge.u_place_px[edge.seen]))
    return corner, float(np.hypot(u_other, _BY_TURNS * doubt))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Line:
    middle: FloatArray
    way: FloatArray
    u_place: float  # of its middle, across [px]
    u_way: float  # of its direction [rad]


def _line(points: FloatArray) -> _Line:
    middle = points.mean(0)
    off = points - middle
    _, _, axes = np.linalg.svd(off, full_matrices=False)
    along, across = off @ axes[0], off @ axes[1]
    # Neighbours share their noise: a third of the points counts.
    count = max(2.0, len(points) / 3.0)
    spread = float(np.hypot(np.sqrt((across**2).mean()), 0.15))
    return _Line(
        middle=middle,
        way=axes[0],
        u_place=spread / count**0.5,
        u_way=spread / count**0.5 / max(float(along.std()), 1e-6),
    )


def outward(points: FloatArray) -> FloatArray:
    """Across the way, from its middle outward.

    Parameters: points : (n, 2) float [px], in even steps.
    Returns: (n, 2) float [-], of length 1.
    Raises: nothing of its own.
    Valid for: ways that run round their own middle.
    Source: own construction.
    Checked by: unit/test_vision_cuff_edge.py
    """
    way = np.gradient(smoothed(points, min(4, len(points) // 4)), axis=0)
    way /= np.maximum(np.linalg.norm(way, axis=1, keepdims=True), 1e-9)
    normal = np.column_stack([way[:, 1], -way[:, 0]])
    return -normal if ((points - points.mean(0)) * normal).sum() < 0 else normal


def _profiles(
    pixels: Pixels, points: FloatArray, normal: FloatArray, across: FloatArray, by_colour: bool
) -> tuple[FloatArray, FloatArray, bool]:
    """How far the colour has come from one side to the other along cuts across the edge; how far that is; and whether
    it is more than lightness."""
    import cv2

    spots = points[:, None] + across[None, :, None] * normal[:, None]
    seen = cv2.remap(
        pixels,
        spots[..., 0].astype(np.float32),
        spots[..., 1].astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    light = lab_from_srgb(np.asarray(seen, np.uint8))
    apart = np.linalg.norm(np.median(light[:, :3, 1:] - light[:, -3:, 1:], axis=(0, 1)))
    coloured = bool(apart > COLOURED)
    light = light * [_LIGHT_BESIDE_COLOUR if coloured and by_colour else 1.0, 1.0, 1.0]
    # Neighbours along the edge share their colours.
    light = np.stack([cv2.GaussianBlur(light[..., k], (1, 5), 1.2) for k in range(3)], -1)
    quarter = max(2, len(across) // 5)
    inside, beyond = light[:, :quarter].mean(1), light[:, -quarter:].mean(1)
    step = beyond - inside
    size = np.linalg.norm(step, axis=1)
    share = ((light - inside[:, None]) * step[:, None]).sum(-1) / np.maximum(size, 1e-6)[:, None] ** 2
    return share, size, coloured


def _crossings(share: FloatArray, across: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Where each profile crosses one half, nearest its middle, and how wide its crossing is (as a deviation)."""
    above = share >= 0.5
    rises = ~above[:, :-1] & above[:, 1:]
    middle = (across[:-1] + across[1:]) / 2
    cost = np.where(rises, np.abs(middle)[None], np.inf)
    k = cost.argmin(1)
    row = np.arange(len(share))
    low, high = share[row, k], share[row, k + 1]
    step = across[1] - across[0]
    at = across[k] + step * (0.5 - low) / np.maximum(high - low, 1e-6)
    slope = np.maximum((high - low) / step, 1e-6)
    at = np.where(np.isfinite(cost[row, k]), at, np.nan)
    return at, 1.0 / (slope * np.sqrt(2.0 * np.pi))


def _running_median(values: FloatArray, half: int) -> FloatArray:
    padded = np.concatenate([np.full(half, values[0]), values, np.full(half, values[-1])])
    return np.asarray(np.median(np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1), axis=1))
