"""What lies behind a cuff: the colours at the picture's rim, lit or in shadow, and how unlike them each pixel is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from handsel.vision.colour import lab_from_linear, linear_from_srgb
from handsel.vision.cuff.edge import COLOURED

FloatArray = npt.NDArray[np.float64]
Pixels = npt.NDArray[np.uint8]
Mask = npt.NDArray[np.uint8]

_LEAST_GROUND = 0.08  # share of the rim that a colour of the ground has at least
_RING = 0.05  # of the copy's shorter side, taken for what lies behind
_SHARES = np.linspace(0.0, 1.15, 232)  # of a colour of the ground, from dark to a little lighter than it is


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ground:
    """The small copy, and the colours that lie at its rim."""

    lab: FloatArray  # (h, w, 3) each pixel
    behind: npt.NDArray[np.bool_]  # (h, w) the rim
    smooth_lab: FloatArray  # (h, w, 3) without grain
    total: FloatArray  # (h, w) light of the smooth copy, all channels
    colours: tuple[tuple[FloatArray, float], ...]  # linear light, and spread in colour differences

    @classmethod
    def of(cls, small: Pixels) -> Ground:
        """Up to four colours; a cuff that runs out of the picture is none of them."""
        import cv2

        light = linear_from_srgb(small)
        smooth: FloatArray = np.stack(
            [np.asarray(cv2.GaussianBlur(light[..., k], (0, 0), 1.5), np.float64) for k in range(3)], -1
        )
        lab, behind = lab_from_linear(smooth), _margin(small)
        margin = lab[behind].astype(np.float32)
        stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 20, 0.5)
        cv2.setRNGSeed(1)
        _, labels, _ = cv2.kmeans(margin, 4, None, stop, 2, cv2.KMEANS_PP_CENTERS)  # type: ignore[call-overload]
        colours = []
        for k in range(4):
            mine = labels[:, 0] == k
            if mine.mean() < _LEAST_GROUND:
                continue
            middle = np.median(margin[mine], axis=0)
            spread = float(np.sqrt(np.median(((margin[mine] - middle) ** 2).sum(1))))
            colours.append((np.median(smooth[behind][mine], axis=0), spread))
        return cls(
            lab=lab_from_linear(light),
            behind=behind,
            smooth_lab=lab,
            total=smooth.sum(-1),
            colours=tuple(colours),
        )

    def parted_by_colour(self, mask: Mask) -> bool:
        """Whether cuff and ground differ in more than lightness, so that shadow is told from cuff."""
        inside, beyond = (np.median(self.lab[mask == k][:, 1:], axis=0) for k in (1, 0))
        return float(np.linalg.norm(inside - beyond)) > COLOURED

    def apart(self, deepest_shadow: float) -> FloatArray:
        """How unlike each pixel is to all that lies behind, be that in shadow or not."""
        least = np.full(self.total.shape, np.inf)
        for colour, spread in self.colours:
            share = np.clip(self.total / max(float(colour.sum()), 1e-6), deepest_shadow, _SHARES[-1])
            shadowed = lab_from_linear(_SHARES[:, None] * colour)
            nearest = np.round(share * ((len(_SHARES) - 1) / _SHARES[-1])).astype(np.intp)
            off = (self.smooth_lab - shadowed[nearest]) * [0.7, 1.0, 1.0]
            # In the dark, chroma is noise.
            least = np.minimum(least, np.linalg.norm(off, axis=-1) / max(1.0, spread / 3.0))
        return least


def _margin(small: Pixels) -> npt.NDArray[np.bool_]:
    """The rim of the copy, where the ground is."""
    height, width = small.shape[:2]
    ring = max(3, round(_RING * min(height, width)))
    behind = np.ones((height, width), bool)
    behind[ring:-ring, ring:-ring] = False
    return behind
