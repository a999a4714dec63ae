"""Where each cord comes taut, as a table over cord lengths and slides: what thousands of guesses need.

The engine's own search for the taut angles is exact but too slow to ask for every guess of an
inverse problem. The angles are smooth in the lengths, so a coarse table of engine runs, read
between its points, is as good as the engine to a few hundredths of a degree.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from handsel.design.model import Design
from handsel.errors import HandselError
from handsel.mechanics.build import nominal_build
from handsel.mechanics.friction import fresh_sliders, settle
from handsel.mechanics.model import compile_model
from handsel.mechanics.rest import straight_pose, taut_angles

Floats = NDArray[np.float64]

MEAN_MM = np.arange(-28.0, 29.0, 4.0)  # of both loops' excess; the slide's pull comes on top
APART_MM = np.arange(-30.0, 31.0, 5.0)  # first loop minus second
ALONE_MM = np.arange(-32.0, 33.0, 2.0)  # excess of the cord that runs alone
LACKING_MM = np.arange(0.0, 13.0, 1.5)  # cord that the thumb lacks when the fingers start
PRESS_STEPS = 4


class NotThisKind(HandselError, ValueError):
    """A design whose cords are laid out in another way than this reckoning knows."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TautMap:
    """Taut angles of a hand with two loops on the whippletree and one cord alone.

    loops, the indices of the two in the design's order; alone, of the third; digit, of the digit
    that it works. Built once for each design, scale and side.
    """

    loops: tuple[int, int]
    alone: int
    digit: int
    slide_mm: Floats  # (3,) of the tension slide
    pin_mm: Floats  # (5,) of the thumb pin
    bar_theta_deg: Floats  # (slides, means, aparts)
    bar_tilt_deg: Floats
    alone_theta_deg: Floats  # (pins, alones), falling
    thumb_bend_deg: Floats  # (lacking, 2) knuckle and tip, when its cord lacks so much

    def bar(self, excess_mm: Floats, slide_mm: Floats) -> tuple[Floats, Floats]:
        """Wrist angle at which the loops come taut, and the bar's tilt there.

        Parameters: excess_mm : (..., c) float [mm]; slide_mm : (...) float [mm], the tension slide's.
        Returns: theta_deg, tilt_deg : (...) float [deg].
        Valid for: as the table; beyond its rim the rim's value stands.
        Source: engine runs, linear between them.
        Checked by: unit/test_taut_map.py
        """
        a, b = excess_mm[..., self.loops[0]], excess_mm[..., self.loops[1]]
        at = (_place(self.slide_mm, slide_mm), _place(MEAN_MM, 0.5 * (a + b)), _place(APART_MM, a - b))
        return _between(self.bar_theta_deg, at), _between(self.bar_tilt_deg, at)

    def thumb(self, excess_mm: Floats, pin_mm: Floats) -> Floats:
        """Wrist angle at which the cord that runs alone comes taut.

        Parameters: excess_mm : (..., c) float [mm]; pin_mm : (...) float [mm].
        Returns: (...) float [deg].
        Valid for: as `bar`.    Source: as `bar`.    Checked by: unit/test_taut_map.py
        """
        at = (_place(self.pin_mm, pin_mm), _place(ALONE_MM, excess_mm[..., self.alone]))
        return _between(self.alone_theta_deg, at)

    def thumb_bend(self, bar_deg: Floats, thumb_deg: Floats) -> tuple[Floats, Floats]:
        """How far the thumb has bent when the fingers are about to move.

        Parameters: bar_deg, thumb_deg : (...) float [deg], where loops and thumb cord come taut.
        Returns: knuckle and tip, each (...) float [deg]; 0 where the thumb does not start first.
        Valid for: the design's own elastics and friction; another elastic may give at the other
            hinge first, so the tip's alone is less sure than the two together.
        Source: engine with friction, the wrist pressed down slowly to the target angle.
        Checked by: unit/test_taut_map.py
        """
        falling = self.alone_theta_deg[len(self.pin_mm) // 2]
        short_mm, reach_mm = (np.interp(x, falling[::-1], ALONE_MM[::-1]) for x in (thumb_deg, bar_deg))
        lacking = reach_mm - short_mm
        return (
            np.asarray(np.interp(lacking, LACKING_MM, self.thumb_bend_deg[:, 0])),
            np.asarray(np.interp(lacking, LACKING_MM, self.thumb_bend_deg[:, 1])),
        )


@lru_cache(maxsize=32)
def taut_map(design: Design) -> TautMap:
    """The table for one design, placed.

    Parameters: design, placed.
    Returns: TautMap.
    Raises: NotThisKind for other than two loops on the whippletree and one cord alone.
    Valid for: excess within 30 mm, which is far beyond what can be strung.
    Source: taut_angles of the engine.
    Checked by: unit/test_taut_map.py
    """
    on_bar = [i for i, c in enumerate(design.cords) if c.legs[0].points[0].body == "whippletree"]
    alone = [i for i in range(len(design.cords)) if i not in on_bar]
    if len(on_bar) != 2 or len(alone) != 1 or len(design.cords[alone[0]].legs) != 1:
        raise NotThisKind(
            f"{len(on_bar)} cords run to the whippletree and {len(alone)} past it; two and one are expected",
            where=f"design {design.name}, cords",
            do="Judge its cord lengths by the readings themselves.",
        )
    slides = {s.body: np.linspace(s.min_mm, s.max_mm, 5) for s in design.slides}
    slide_mm, pin_mm = slides["whippletree"][::2], slides["thumb_pin"]
    pull, mean, apart = (x.ravel() for x in np.meshgrid(slide_mm, MEAN_MM, APART_MM, indexing="ij"))
    pins, alones = (x.ravel() for x in np.meshgrid(pin_mm, ALONE_MM, indexing="ij"))
    n = len(pull)
    excess = np.zeros((n, len(design.cords)))
    excess[:, on_bar[0]], excess[:, on_bar[1]] = mean + 0.5 * apart, mean - 0.5 * apart
    # The lone cord does not feel the bar, so both tables come from the same hands.
    excess[: len(alones), alone[0]] = alones
    pin = np.zeros(n)
    pin[: len(pins)] = pins
    model = compile_model(
        design, replace(nominal_build(design, n), excess_mm=excess, tension_slide_mm=pull, thumb_pin_mm=pin)
    )
    theta, psi = (np.degrees(x) for x in taut_angles(model))
    shape = (len(slide_mm), len(MEAN_MM), len(APART_MM))
    digit = [g.name for g in design.digits].index(design.cords[alone[0]].legs[0].digit)
    return TautMap(
        loops=(on_bar[0], on_bar[1]),
        alone=alone[0],
        digit=digit,
        slide_mm=slide_mm,
        pin_mm=pin_mm,
        bar_theta_deg=theta[:, on_bar[0]].reshape(shape),
        bar_tilt_deg=psi.reshape(shape),
        alone_theta_deg=theta[: len(alones), alone[0]].reshape(len(pin_mm), len(ALONE_MM)),
        thumb_bend_deg=_bends(design, alone[0], on_bar, digit),
    )


def _bends(design: Design, alone: int, on_bar: list[int], digit: int) -> Floats:
    """Bend of the lone cord's digit at the target angle, its cord short by LACKING_MM; loops slack."""
    n = len(LACKING_MM)
    excess = np.zeros((n, len(design.cords)))
    excess[:, on_bar] = 15.0
    excess[:, alone] = -LACKING_MM
    m = compile_model(design, replace(nominal_build(design, n), excess_mm=excess))
    theta, psi = taut_angles(m)
    start = theta[:, alone] + np.radians(0.5)
    q = straight_pose(m, start, psi)
    sliders = fresh_sliders(m, q)
    goal = np.radians(design.target_rest_angle_deg)
    for k in range(1, PRESS_STEPS + 1):
        q = q.copy()
        q[:, 0] = start + (goal - start) * k / PRESS_STEPS
        q, _, _ = settle(m, q, sliders, hold_wrist=True)
    bend = np.degrees(q[:, 2 + 2 * digit : 4 + 2 * digit])
    return np.asarray(np.maximum(bend - bend[0], 0.0))


def _place(axis: Floats, x: Floats) -> tuple[NDArray[np.intp], Floats]:
    """The cell of an even axis that x lies in, and how far along."""
    t = np.clip((x - axis[0]) / (axis[1] - axis[0]), 0.0, len(axis) - 1.0)
    cell = np.minimum(t.astype(np.intp), len(axis) - 2)
    return cell, t - cell


def _between(table: Floats, at: tuple[tuple[NDArray[np.intp], Floats], ...]) -> Floats:
    """A table read linearly between its points, any number of axes."""
    result: Floats | float = 0.0
    for corner in np.ndindex(*(2,) * len(at)):
        weight: Floats | float = 1.0
        for up, (_, share) in zip(corner, at, strict=True):
            weight = weight * (share if up else 1.0 - share)
        result = result + weight * table[tuple(cell + up for up, (cell, _) in zip(corner, at, strict=True))]
    return np.asarray(result)
