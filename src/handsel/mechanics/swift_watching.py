"""What someone sees while a hand closes: when digits start, where pads meet, which finger is behind.

Worked out from the poses of n hands at k wrist angles on the way down.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from handsel.mechanics.digit_curves import DigitTables
from handsel.mechanics.model import Model

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

STARTED_DEG = 2.0
NEVER_DEG = -90.0


def first_at(x: Floats, y: Floats, level: float) -> Floats:
    """First x on the way down the columns at which y reaches a level, linear between rows.

    Parameters: x, y : (k, n) float; level, in y's unit.
    Returns: (n,) float; the last x where it never does.
    """
    above = y >= level
    k = np.where(above.any(0), np.argmax(above, axis=0), len(x) - 1)
    row = np.arange(x.shape[1])
    prior = np.maximum(k - 1, 0)
    rise = y[k, row] - y[prior, row]
    share = np.where(rise > 0.0, (level - y[prior, row]) / np.where(rise > 0.0, rise, 1.0), 1.0)
    return np.asarray(x[prior, row] + np.clip(share, 0.0, 1.0) * (x[k, row] - x[prior, row]))


def values_at(x: Floats, y: Floats, where: Floats) -> Floats:
    """Values of a table at places between its rows, linear between them.

    Parameters: x : (k, n) float, falling evenly; y : (k, n, ...) float; where : (n,) float, in x's unit.
    Returns: (n, ...) float.
    """
    step = x[0, 0] - x[1, 0]
    u = np.clip((x[0] - where) / step, 0.0, len(x) - 1.001)
    i = u.astype(np.intp)
    row = np.arange(len(where))
    part = (u - i).reshape((-1,) + (1,) * (y.ndim - 2))
    a = y[i, row]
    return np.asarray(a + part * (y[i + 1, row] - a))


def start_angles(nodes: Floats, bend_deg: Floats) -> Floats:
    """Wrist angle at which each digit has begun to move.

    The bend grows evenly once it has begun, so it is followed back from the two steps after.

    Parameters: nodes : (k, n) float [rad], wrist angles in even steps; bend_deg : (k, n, d) float [deg].
    Returns: (n, d) float [deg], NEVER_DEG for none.
    """
    step_deg = float(np.degrees(nodes[0, 0] - nodes[1, 0]))
    k, n, d = bend_deg.shape
    above = bend_deg >= STARTED_DEG
    first = np.clip(np.argmax(above, axis=0), 1, k - 2)
    rows, cols = np.arange(n)[:, None], np.arange(d)
    now, after = bend_deg[first, rows, cols], bend_deg[first + 1, rows, cols]
    rate = np.maximum(after - now, 0.5) / step_deg
    back = np.clip((now - STARTED_DEG) / rate, 0.0, step_deg)
    return np.where(above.any(0), np.degrees(nodes[first, rows]) + back, NEVER_DEG)


def as_seen_starting(starts: Floats, dragged_deg: Floats, fingers: list[int]) -> Floats:
    """Starts as someone sees them who does not close the hand infinitely slowly.

    The finger that moves first, slowly, drags those beside it: its hinges, elastic and cord resist motion a little more
    than rest. What that bridges starts together; a larger difference is seen, less so much.

    Parameters: starts : (n, d) float [deg]; dragged_deg : (n,) float [deg], of the wrist; fingers, their indices.
    Returns: (n, d) float [deg]; who never starts still does not.
    Source: own, from hands closed in a few seconds beside quasi-static ones.
    """
    out = starts.copy()
    some = starts[:, fingers]
    middle = np.median(some, axis=1, keepdims=True)
    apart = some - middle
    near = middle + np.sign(apart) * np.maximum(np.abs(apart) - dragged_deg[:, None], 0.0)
    out[:, fingers] = np.where((some <= NEVER_DEG) | (middle <= NEVER_DEG), some, near)
    return out


def pinches(
    t: DigitTables, m: Model, variant: Ints, nodes: Floats, phi_deg: Floats, thumb: int, meet_mm: Floats
) -> tuple[Floats, Floats]:
    """How near the pads come to the thumb's, and where one first meets it.

    Parameters: t; m; variant : (n, d) int; nodes : (k, n) float [rad]; phi_deg : (k, n, d, 2) float [deg]; thumb,
        its index; meet_mm : (n,) float [mm], a miss by less than this still is a pinch: soft tips make up the rest.
    Returns: (n, 2) float [mm], index and middle, and (n,) float [rad], the last angle where none meets.
    Source: pads as spheres on their digits' two hinges.
    """

    def radius(digit: int) -> Floats:
        return np.asarray(t.pad_radius_mm[variant[:, digit], digit])

    places = []
    for g in (thumb, *m.contact_pairs[:, 1]):
        trig = np.radians(phi_deg[:, :, g])
        one = np.ones(trig.shape[:2])
        a = np.stack([one, np.cos(trig[..., 0]), np.sin(trig[..., 0])], -1)
        b = np.stack([one, np.cos(trig[..., 1]), np.sin(trig[..., 1])], -1)
        places.append(np.einsum("nxij,kni,knj->knx", t.pad_terms[variant[:, g], g], a, b, optimize=True))
    gaps = np.stack(
        [
            np.linalg.norm(places[0] - place, axis=-1) - radius(thumb) - radius(g)
            for place, g in zip(places[1:], m.contact_pairs[:, 1], strict=True)
        ],
        -1,
    )
    nearest = gaps.min(-1)
    touch = first_at(nodes, -nearest, 0.0)
    row = np.arange(nodes.shape[1])
    least = np.argmin(nearest, axis=0)
    near_miss = (nearest[least, row] > 0.0) & (nearest[least, row] < meet_mm)
    pinch = np.where(near_miss, nodes[least, row], touch)
    near = gaps.min(0)
    return np.maximum(near, 0.0), pinch


def told_apart(
    starts: Floats, nodes: Floats, bend: Floats, pinch: Floats, fingers: list[int]
) -> tuple[Floats, Floats]:
    """Which finger is early or late, and which is behind the others half way.

    Parameters: starts : (n, d) float [deg]; nodes : (k, n) float [rad]; bend : (k, n, d) float [deg]; pinch : (n,)
        float [rad]; fingers, their indices.
    Returns: (n, d) float [deg] each: start before the others' median; bend behind the others' mean half way.
    """
    lead, apart = np.zeros_like(starts), np.zeros_like(starts)
    for g in fingers:
        rest = [f for f in fingers if f != g]
        lead[:, g] = np.where(
            starts[:, g] <= NEVER_DEG, NEVER_DEG, starts[:, g] - np.median(starts[:, rest], axis=1)
        )
        mean = bend[..., rest].mean(-1)
        half_way = first_at(nodes, mean - 0.5 * values_at(nodes, mean, pinch), 0.0)
        apart[:, g] = values_at(nodes, mean - bend[..., g], half_way)
    return lead, apart
