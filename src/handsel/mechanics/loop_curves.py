"""How a whole cord answers: one digit on its cord, or two that share a loop through an eyelet.

Cord passes through the eyelet only when the two pulls differ by more than its friction holds, so a loop
is one number too: the travel of both digits together. Stretch of the cord is added at the end.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from handsel.mechanics.digit_curves import Curve, look

Floats = NDArray[np.float64]

LOOP_NODES = 57
HALVINGS = 8
LEAST_N = 1.0e-3
STRETCHINGS = 3  # of a cord under its own pull: it gives hundredths of a millimetre


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LoopCurve:
    """Sum of both legs' pull and each digit's travel, by the travel of both together.

    pull_n : (n, g) float [N]; travel_mm : (n, g, legs) float [mm]; step_mm [mm]; give_mm_per_n : (n,),
    stretch of the cord for one newton of that sum. At `from_mm` the pull is anything above its curve: friction
    holds until so much cord is given back that the pull has fallen to it.
    """

    pull_n: Floats
    travel_mm: Floats
    step_mm: float
    give_mm_per_n: Floats
    from_mm: Floats  # (n,) travel where opening begins; none is gone beyond; inf closing
    stay_mm: Floats | float = 0.0  # (n,) travel that digits which stay bent keep: below it the cord is slack
    begins_mm: Floats = field(init=False)  # (n,) cord asked for where the first digit moves
    by_demand_n: Floats = field(
        init=False
    )  # (n, g) pull by the cord asked for from there on, stretch included

    def __post_init__(self) -> None:
        g = self.pull_n.shape[1]
        begins = self.give_mm_per_n * self.pull_n[:, 0]
        demand = begins[:, None] + np.arange(g) * self.step_mm
        pull = self.pull_n
        for _ in range(STRETCHINGS):
            left = np.maximum(demand - self.give_mm_per_n[:, None] * pull, 0.0)
            pull = look(self.pull_n, left / self.step_mm)
        object.__setattr__(self, "by_demand_n", pull)
        object.__setattr__(self, "begins_mm", begins)

    def pull(self, demand_mm: Floats) -> Floats:
        """Pull of all legs when so much cord is asked for; (n, k) float [mm] to (n, k) [N]."""
        wanted = np.maximum(demand_mm, 0.0)
        give = self.give_mm_per_n[:, None]
        full = look(self.by_demand_n, (wanted - self.begins_mm[:, None]) / self.step_mm)
        if np.isfinite(self.from_mm).any():  # nothing is held where nothing opens
            start = self.from_mm[:, None]
            full = np.where(wanted - give * full >= start, np.maximum(full, (wanted - start) / give), full)
        stay = np.reshape(self.stay_mm, (-1, 1))
        return np.asarray(np.minimum(full, np.maximum(wanted - stay, 0.0) / give))

    def at(self, demand_mm: Floats) -> tuple[Floats, Floats]:
        """Pull of all legs [N] and travel left after stretch [mm] when so much cord is asked for; (n,)."""
        wanted = np.maximum(demand_mm, 0.0)
        full = look(self.by_demand_n, ((wanted - self.begins_mm) / self.step_mm)[:, None])[:, 0]
        travel = np.clip(wanted - self.give_mm_per_n * full, 0.0, self.from_mm)
        return self.pull(demand_mm[:, None])[:, 0], travel

    def split(self, travel_mm: Floats) -> Floats:
        """Travel of each leg's digit; (n, legs) [mm]."""
        return look(self.travel_mm, (travel_mm / self.step_mm)[:, None])[:, 0]


def pulls(curve: Curve, digit: int, travel_mm: Floats, step_mm: float, opening: bool) -> Floats:
    """Pull of one digit of each hand at (n, g) travels [mm]; opening counts back from `from_mm`."""
    if not opening:
        return look(curve.pull_n[:, digit], travel_mm / step_mm)
    return look(curve.pull_n[:, digit], (curve.from_mm[:, digit, None] - travel_mm) / step_mm)


def single_curve(curve: Curve, digit: int, step_mm: float, give: Floats, *, opening: bool) -> LoopCurve:
    """A cord with one digit.

    Parameters: curve; digit, its index; step_mm [mm], of the curve; give : (n,) float [mm/N]; opening.
    Returns: LoopCurve.
    """
    n = len(curve.pull_n)
    reach = step_mm * (curve.pull_n.shape[2] - 1)
    step = reach / (LOOP_NODES - 1)
    travel = np.tile(np.arange(LOOP_NODES) * step, (n, 1))
    pull = pulls(curve, digit, travel, step_mm, opening)
    start = curve.from_mm[:, digit] if opening else np.full(n, np.inf)
    return LoopCurve(
        pull_n=pull, travel_mm=travel[..., None], step_mm=step, give_mm_per_n=give, from_mm=start
    )


def loop_curve(
    curve: Curve,
    pair: tuple[int, int],
    step_mm: float,
    give: Floats,
    grip: Floats,
    *,
    lead_mm: Floats | None = None,
) -> LoopCurve:
    """A loop with two digits and an eyelet between them.

    Parameters: curve; pair, indices of the two digits; step_mm [mm]; give : (n,) float [mm/N], for the
        sum of both pulls; grip : (n,) float [-], largest ratio of the pulls, exp(mu times turn);
        lead_mm : (n,) float [mm], travel of the first less the second where opening begins; None closing.
    Returns: LoopCurve.
    Source: capstan law at the eyelet; the split that needs the least passing of cord through it.
    """
    opening = lead_mm is not None
    n = len(curve.pull_n)
    reach = 2.0 * step_mm * (curve.pull_n.shape[2] - 1)
    step = reach / (LOOP_NODES - 1)
    total = np.tile(np.arange(LOOP_NODES) * step, (n, 1))
    lead = np.clip(np.zeros((n, 1)) if lead_mm is None else lead_mm[:, None], -total, total)
    i, j = pair

    def both(first: Floats) -> tuple[Floats, Floats]:
        return (
            np.maximum(pulls(curve, i, first, step_mm, opening), LEAST_N),
            np.maximum(pulls(curve, j, total - first, step_mm, opening), LEAST_N),
        )

    # Opening, no digit bends further than it was.
    least = np.maximum(total - curve.from_mm[:, j, None], 0.0) if opening else 0.0 * total
    largest = np.minimum(total, curve.from_mm[:, i, None]) if opening else total
    largest = np.maximum(largest, least)
    first = np.clip(0.5 * (total + lead), least, largest)
    a, b = both(first)
    most = grip[:, None]
    less, more = a > most * b, b > most * a  # the first must give way, or get more
    low = np.where(less, least, first)
    high = np.where(more, largest, first)
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        a, b = both(middle)
        too_much = np.where(less, a > most * b, b < most * a)
        high = np.where(too_much, middle, high)
        low = np.where(too_much, low, middle)
    first = np.where(less | more, 0.5 * (low + high), first)
    a, b = both(first)
    # A digit that does not move holds what the eyelet passes on: less than would bend it, more than would let go.
    if opening:
        a, b = np.maximum(a, b / most), np.maximum(b, a / most)
    else:
        a, b = np.minimum(a, most * b), np.minimum(b, most * a)
    start = curve.from_mm[:, i] + curve.from_mm[:, j] if opening else np.full(n, np.inf)
    return LoopCurve(
        pull_n=a + b,
        travel_mm=np.stack([first, total - first], -1),
        step_mm=step,
        give_mm_per_n=give,
        from_mm=start,
    )
