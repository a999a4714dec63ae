"""How each digit answers its own cord, alone: pull against travel, closing and opening, with friction.

Guides are fixed to the palm, so what a digit does depends only on how much cord has been drawn through
its guide. Drawn slowly, at any moment the joint moves that asks for the least pull; let back, the one
that still holds the most. That is the whole of quasi-static friction for one digit: no equations are
solved, and thousands of digits march together.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from handsel.design.model import Design
from handsel.mechanics.build import nominal_build
from handsel.mechanics.fixed import leg_lengths
from handsel.mechanics.friction import turning_angles
from handsel.mechanics.model import compile_model
from handsel.mechanics.paths import crossing_length, wrist_length

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

ANGLE_NODES = 61
TRAVEL_NODES = 63  # steps of cord drawn through a guide, less than half a millimetre each
SPARE_NODES = 4  # the last steps straighten what is left of the linear ones
STOPPED_N = 80.0  # both joints at their stops: the cord pulls on the part itself
ARRIVING_RAD = np.radians(20.0)  # wrist angle for the bend at the guide, which hardly changes
CORD_ARM, CORD_MM, ELASTIC_MM, ELASTIC_ARM, TURN_PALM, TURN_DIGIT = range(6)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DigitTables:
    """Geometry of d digits in v variants, by the angle of each joint; k nodes, two joints.

    by_angle : (v d 2 k, 6) float: cord arm [mm/rad, positive in flexion], cord length [mm], elastic
    length [mm], elastic arm [mm/rad], turning on the palm [rad], turning on the digit [rad].
    """

    by_angle: Floats
    digits: int
    step_rad: Floats  # (d, 2)
    low_rad: Floats  # (d, 2)
    high_rad: Floats  # (d, 2)
    weight_terms: Floats  # (v, d, 3, 3)
    pad_terms: Floats  # (v, d, 3, 3, 3) tip pad
    pad_radius_mm: Floats  # (v, d)
    leg_free_mm: Floats  # (v, d) length of a leg made to this variant, without what never changes
    leg_constant_mm: Floats  # (v, d) what never changes
    elastic_straight_mm: Floats  # (v, d)
    elastic_constant_mm: Floats  # (v, d)
    elastic_ea_n: Floats  # (d,)
    travel_mm: float  # step of the curves


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Digits:
    """n hands' digits: which variant each is, and what rubs and pulls there."""

    tables: DigitTables
    variant: Ints  # (n, d)
    friction_mu: Floats  # (n, d)
    hinge_friction_nmm: Floats  # (n, d, 2)
    elastic_stiffness_ratio: Floats  # (n, d) against the design
    elastic_pretension_ratio: Floats  # (n, d)
    elastic_loss_ratio: Floats  # (n,)

    def own_terms(self) -> OwnTerms:
        """What each digit's elastic and weight depend on besides its angles."""
        t, each = self.tables, np.arange(self.tables.digits)
        free = t.elastic_straight_mm[self.variant, each] / (1.0 + self.elastic_pretension_ratio)
        return OwnTerms(
            slack_mm=free - t.elastic_constant_mm[self.variant, each],
            stiffness_n_per_mm=t.elastic_ea_n * self.elastic_stiffness_ratio / free,
            weight=np.moveaxis(t.weight_terms[self.variant, each], -2, 0).copy(),
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OwnTerms:
    """slack_mm, stiffness_n_per_mm : (n, d) of the elastics; weight : (3, n, d, 3) by terms of the two angles."""

    slack_mm: Floats
    stiffness_n_per_mm: Floats
    weight: Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Curve:
    """Pull at the guide and pose, step by step of cord travel, from `from_mm` on or back.

    pull_n : (n, d, k) float [N]; phi_rad : (n, d, k, 2) float [rad]; from_mm : (n, d) float [mm].
    """

    pull_n: Floats
    phi_rad: Floats
    from_mm: Floats


def digit_tables(variants: tuple[Design, ...]) -> DigitTables:
    """Tables of placed designs that differ in their digits only.

    Parameters: variants, placed; the first is the design itself.
    Returns: DigitTables.
    Raises: nothing of its own.
    Valid for: one order of digits, hinges with the same stops.
    Source: path lengths and turning angles of `mechanics.paths` and `mechanics.friction`.
    Checked by: unit/test_swift.py
    """
    first = compile_model(variants[0], nominal_build(variants[0], 1))
    low, high = first.hinge_low_rad, first.hinge_high_rad
    step = (high - low) / (ANGLE_NODES - 1)
    nodes = low + np.arange(ANGLE_NODES)[:, None, None] * step  # (k, d, 2)
    parts = [_one(design, nodes, low) for design in variants]
    ea = np.array([e.axial_stiffness_n for e in variants[0].elastics])
    table = np.stack([p[0] for p in parts])  # (v, d, 2, k, 6)
    travel = (table[..., 0, CORD_MM] - table[..., -1, CORD_MM]).sum(-1)
    stacked = [np.stack([p[i] for p in parts]) for i in range(1, 8)]
    return DigitTables(
        by_angle=np.ascontiguousarray(table.reshape(-1, 6)),
        digits=len(low),
        step_rad=step,
        low_rad=low,
        high_rad=high,
        weight_terms=stacked[0],
        pad_terms=stacked[1],
        pad_radius_mm=stacked[2],
        leg_free_mm=stacked[3],
        leg_constant_mm=stacked[4],
        elastic_straight_mm=stacked[5],
        elastic_constant_mm=stacked[6],
        elastic_ea_n=ea,
        travel_mm=float(travel.max()) / (TRAVEL_NODES - SPARE_NODES),
    )


def _one(design: Design, nodes: Floats, low: Floats) -> tuple[Floats, ...]:
    k, d = nodes.shape[:2]
    m = compile_model(design, nominal_build(design, k))
    flex, back = crossing_length(m.flexor, nodes), crossing_length(m.extensor, nodes)
    turns = []
    for joint in range(2):
        phi = np.broadcast_to(low, nodes.shape).copy()
        phi[..., joint] = nodes[..., joint]
        q = np.concatenate([np.full((k, 1), ARRIVING_RAD), np.zeros((k, 1)), phi.reshape(k, -1)], 1)
        turns.append(turning_angles(m, q))  # (k, d, 2) palm, digit
    palm = np.stack([turns[0][..., 0], np.zeros((k, d))], -1)
    digit = np.stack([turns[0][..., 1], turns[1][..., 1] - turns[1][:1, :, 1]], -1)
    by_angle = np.stack([-flex.slope, flex.length, back.length, back.slope, palm, digit], -1)
    at_target = wrist_length(m.wrist, np.full(k, np.radians(design.target_rest_angle_deg)), np.zeros(k))
    constant, elastic_straight, elastic_constant = leg_lengths(design)
    return (
        by_angle.transpose(1, 2, 0, 3),
        m.weight_terms,
        m.pad_terms[:, 1],
        m.pad_radius_mm[:, 1],
        at_target.length[0] + flex.length[0].sum(-1),
        constant,
        elastic_straight,
        elastic_constant,
    )


def at_angles(t: DigitTables, variant: Ints, phi_rad: Floats) -> Floats:
    """The tables' values at joint angles; (n, d, 2, 6), linear between nodes."""
    u = np.clip((phi_rad - t.low_rad) / t.step_rad, 0.0, ANGLE_NODES - 1.001)
    i = u.astype(np.intp)
    part = (u - i)[..., None]
    row = (((variant * t.digits + np.arange(t.digits))[..., None] * 2) + np.arange(2)) * ANGLE_NODES + i
    a = t.by_angle.take(row, axis=0)
    return np.asarray(a + part * (t.by_angle.take(row + 1, axis=0) - a))


def moments(g: Digits, phi_rad: Floats, sign: float, own: OwnTerms | None = None) -> tuple[Floats, Floats]:
    """What turns the joints open, elastic and weight together, and the tables' values there.

    Parameters: g; phi_rad : (n, d, 2) float [rad]; sign, +1 while bending, -1 while straightening; own, of g where
        it is known already.
    Returns: (n, d, 2) float [N mm], and (n, d, 2, 6).
    Source: virtual work: tension times moment arm, and the gradient of the digit's weight.
    """
    own = own or g.own_terms()
    at = at_angles(g.tables, g.variant, phi_rad)
    stretched = at[..., 0, ELASTIC_MM] + at[..., 1, ELASTIC_MM] - own.slack_mm
    loss = 1.0 + 0.5 * sign * g.elastic_loss_ratio[:, None]
    pull = own.stiffness_n_per_mm * loss * np.maximum(stretched, 0.0)
    c, s = np.cos(phi_rad), np.sin(phi_rad)
    none, by_cos, by_sin = own.weight
    c1, s1, c2, s2 = c[..., 0, None], s[..., 0, None], c[..., 1], s[..., 1]
    by_1 = c1 * by_sin - s1 * by_cos
    whole = none + c1 * by_cos + s1 * by_sin
    out = pull[..., None] * at[..., ELASTIC_ARM]
    out[..., 0] += by_1[..., 0] + c2 * by_1[..., 1] + s2 * by_1[..., 2]
    out[..., 1] += c2 * whole[..., 2] - s2 * whole[..., 1]
    return out, at


def _pull(
    g: Digits, phi: Floats, sign: float, rubs: Floats | float = 1.0, own: OwnTerms | None = None
) -> tuple[Floats, Floats]:
    """Pull at the guide at which each joint moves on; (n, d, 2) [N], and the cord's arms there.

    `rubs` : (n,) share of the channels' friction that is there.
    """
    moment, at = moments(g, phi, sign, own)
    arm = np.maximum(at[..., CORD_ARM], 0.3)
    turn = np.empty(phi.shape)
    turn[..., 0] = at[..., 0, TURN_PALM] + at[..., 1, TURN_PALM]
    turn[..., 1] = turn[..., 0] + at[..., 0, TURN_DIGIT] + at[..., 1, TURN_DIGIT]
    grip = np.exp(sign * np.multiply(g.friction_mu.T, rubs).T[..., None] * turn)
    return (moment + sign * g.hinge_friction_nmm) / arm * grip, arm


def closing_curve(
    g: Digits, start_rad: Floats | None = None, *, presliding_mm: Floats | None = None
) -> Curve:
    """Draw the cord of every digit slowly, from straight or from a pose to its stops.

    Parameters: g, n hands' digits; start_rad : (n, d, 2) float [rad], None for straight;
        presliding_mm : (n,) float [mm] of cord over which the friction of a channel builds up; None for at once.
    Returns: Curve, cord travel from that pose on; at the stops `STOPPED_N`.
    Raises: nothing of its own.
    Valid for: no contact.
    Source: virtual work and the capstan law, joint by joint.
    Checked by: unit/test_swift.py
    """
    t = g.tables
    n, own = len(g.variant), g.own_terms()
    phi = np.broadcast_to(t.low_rad if start_rad is None else start_rad, (n, t.digits, 2)).copy()
    pull = np.empty((n, t.digits, TRAVEL_NODES))
    poses = np.empty((n, t.digits, TRAVEL_NODES, 2))
    for k in range(TRAVEL_NODES):
        drawn = k * t.travel_mm
        rubs = 1.0 if presliding_mm is None else -np.expm1(-drawn / np.maximum(presliding_mm, 1e-3))
        need, arm = _pull(g, phi, 1.0, rubs, own)
        need = np.where(phi < t.high_rad - 1e-9, np.maximum(need, 0.0), np.inf)
        first = need[..., 0] <= need[..., 1]
        pull[:, :, k] = np.minimum(need.min(-1), STOPPED_N)
        poses[:, :, k] = phi
        move = t.travel_mm / arm
        move *= np.isfinite(need)
        move[..., 0] *= first
        move[..., 1] *= ~first
        phi = np.minimum(phi + move, t.high_rad)
    return Curve(pull_n=pull, phi_rad=poses, from_mm=np.zeros((n, t.digits)))


def opening_curve(g: Digits, phi_rad: Floats, from_mm: Floats) -> Curve:
    """Let the cord of every digit back slowly, from a pose.

    Parameters: g; phi_rad : (n, d, 2) float [rad], where it begins; from_mm : (n, d) float [mm], cord
        drawn until then.
    Returns: Curve by cord let back; a digit that no longer opens by itself stays, with no pull.
    Raises: nothing of its own.
    Valid for: as `closing_curve`.    Source: as there.    Checked by: unit/test_swift.py
    """
    t = g.tables
    n, own = len(g.variant), g.own_terms()
    phi = phi_rad.copy()
    pull = np.empty((n, t.digits, TRAVEL_NODES))
    poses = np.empty((n, t.digits, TRAVEL_NODES, 2))
    for k in range(TRAVEL_NODES):
        hold, arm = _pull(g, phi, -1.0, own=own)
        hold = np.where(phi > t.low_rad + 1e-9, hold, -np.inf)
        most = np.maximum(hold.max(-1), 0.0)
        first = hold[..., 0] >= hold[..., 1]
        pull[:, :, k] = most
        poses[:, :, k] = phi
        move = t.travel_mm / arm * (most > 0.0)[..., None]
        move[..., 0] *= first
        move[..., 1] *= ~first
        phi = np.maximum(phi - move, t.low_rad)
    return Curve(pull_n=pull, phi_rad=poses, from_mm=from_mm)


def drawing_pull(g: Digits) -> Floats:
    """Most that the cord of a digit is pulled with until it is half closed, its worse joint's; (n, d) [N]."""
    most = np.zeros(g.variant.shape)
    for share in (0.0, 0.5):
        phi = g.tables.low_rad + share * (g.tables.high_rad - g.tables.low_rad)
        need, _ = _pull(g, np.broadcast_to(phi, (*g.variant.shape, 2)), 1.0)
        most = np.maximum(most, need.max(-1))
    return most


def look(table: Floats, u: Floats) -> Floats:
    """Values of (n, k) or (n, k, m) tables at places u (n, g) in steps, linear between them."""
    k = table.shape[1]
    u = np.clip(u, 0.0, k - 1.001)
    i = u.astype(np.intp)
    part = u - i
    row = np.arange(len(table))[:, None] * k + i
    flat = table.reshape(-1, *table.shape[2:])
    a = flat.take(row, axis=0)
    share = part[..., None] if table.ndim == 3 else part
    return np.asarray(a + share * (flat.take(row + 1, axis=0) - a))
