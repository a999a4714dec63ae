"""Hinge pins with split ends: pushed in, their ends spring out behind the outer faces."""

from __future__ import annotations

from handsel.design import fits
from handsel.design.model import Design, Part
from handsel.design.sizes import Sizes
from handsel.design.solids import Solid, box, cut, disc, hull, prism, rectangle, rod, soft_prism, union


def hinge_pin(design: Design, part: Part) -> Solid:
    """A pin split at both ends, along y about the origin, with a flat below to lie on."""
    length = Sizes(part)["length_mm"]
    slit = min(5.0, 0.36 * length)
    half = length / 2
    shaft = rod(fits.PIN_MM / 2, -half, half, "y")
    barbs = [_barb(s, half, fits.PIN_MM, fits.PIN_BARB_MM) for s in (-1.0, 1.0)]
    return cut(union([shaft, *barbs]), [*_slits(half, slit, fits.PIN_BARB_MM), _flat(half, fits.PIN_MM)])


def wrist_pin(design: Design, part: Part) -> Solid:
    """A stub pin: a flat head at -y, outside the cuff; a split end at +y, inside the palm's cheek."""
    m = Sizes(part)
    length, head = m["length_mm"], m["head_mm"]
    shaft = rod(fits.WRIST_PIN_MM / 2, -0.5, length, "y")
    cap = soft_prism(disc(m["head_radius_mm"]), -head, 0.0, "y", 0.2 * head)
    barb = _barb(1.0, length, fits.WRIST_PIN_MM, fits.WRIST_PIN_BARB_MM)
    slit = box((-fits.PIN_SLIT_MM / 2, fits.PIN_SLIT_MM / 2), (0.35 * length, length + 1.0), (-9.0, 9.0))
    return cut(union([shaft, cap, barb]), [slit])


def _barb(s: float, end: float, shaft_mm: float, barb_mm: float) -> Solid:
    """A short cone at one end: full width where it holds, down to less than the shaft at its tip."""
    deep = fits.PIN_BARB_LENGTH_MM
    ring = prism(disc(barb_mm / 2), s * (end - deep), s * (end - 0.7 * deep), "y")
    nose = prism(disc(shaft_mm / 2 - 0.2), s * (end - 0.05), s * end, "y")
    return hull([ring, nose])


def _slits(half: float, deep: float, width: float) -> list[Solid]:
    w = fits.PIN_SLIT_MM / 2
    spans = [(-half - 1.0, -half + deep), (half - deep, half + 1.0)]
    return [prism(rectangle((-w, w), (-width, width)), lo, hi, "y") for lo, hi in spans]


def _flat(half: float, width: float) -> Solid:
    return box((-9.0, 9.0), (-half - 1.0, half + 1.0), (-9.0, -0.4 * width))
