"""An independent referee for the mechanics: the same hand in MuJoCo, posed, measured and let go.

`referee_xml` writes the model; this file holds it: it sets poses, reads lengths and moment arms, steps
time, and adds up the potential energy from what MuJoCo reports, so that a rest can be tested as a
stationary point without trusting the stepping. `referee_motion` moves it, `referee_friction` makes cords
and pins rub.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import degrees, radians

import mujoco
import numpy as np
from numpy.typing import NDArray
from referee_xml import Tuning, mjcf

from handsel.design.model import Design, Gauge
from handsel.mechanics.build import CONTACT_STIFFNESS_N_PER_MM, STOP_STIFFNESS_NMM_PER_RAD, Build

__all__ = ["Hand", "Pose", "Tuning", "mjcf", "moment_arms", "path_lengths"]

Floats = NDArray[np.float64]
MM = 1e3  # mm per m


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pose:
    """Where everything is, in the design's order of digits."""

    theta_rad: float
    psi_rad: float
    phi_rad: Floats  # (d, 2) proximal, tip


class Hand:
    """One hand in MuJoCo. Not a value: it has a state that every method moves or reads."""

    def __init__(
        self,
        design: Design,
        build: Build,
        *,
        friction: bool = False,
        gauge: Gauge | None = None,
        tuning: Tuning | None = None,
    ) -> None:
        self.design, self.build, self.tuning = design, build, tuning or Tuning()
        self.model = mujoco.MjModel.from_xml_string(
            mjcf(design, build, friction=friction, gauge=gauge, tuning=self.tuning)
        )
        self.data = mujoco.MjData(self.model)
        m = self.model

        def dof(hinge: str) -> int:
            return int(m.joint(hinge).dofadr[0])  # every joint is a hinge: qpos and dof addresses agree

        self.wrist, self.bar = dof("wrist"), dof("whippletree")
        self.phi = np.array([[dof(d.proximal_hinge), dof(d.tip_hinge)] for d in design.digits])
        self.cords = np.array([m.tendon(c.name).id for c in design.cords])
        self.elastics = np.array([m.tendon(f"elastic_{d.name}").id for d in design.digits])
        self.cord_length_m = m.tendon_range[self.cords, 1].copy()
        ea = np.array([c.axial_stiffness_n for c in design.cords])
        self.cord_k = ea / self.cord_length_m  # [N/m], the same rule as in the model text
        self.elastic_free_m = m.tendon_lengthspring[self.elastics, 1].copy()
        self.elastic_k = m.tendon_stiffness[self.elastics].copy()
        self.hold = m.equality("hold").id
        self.steps = 0

    # --- state

    def pose(self) -> Pose:
        q = self.data.qpos
        return Pose(theta_rad=float(q[self.wrist]), psi_rad=float(q[self.bar]), phi_rad=q[self.phi].copy())

    def set_pose(self, pose: Pose) -> None:
        """Put the hand there, at rest, and bring all of MuJoCo's derived quantities up to date."""
        mujoco.mj_resetData(self.model, self.data)
        self.data.qpos[self.wrist], self.data.qpos[self.bar] = pose.theta_rad, pose.psi_rad
        self.data.qpos[self.phi] = pose.phi_rad
        mujoco.mj_forward(self.model, self.data)

    def lengths_at(self, pose: Pose) -> Floats:
        """(tendons,) lengths at a pose [m]: kinematics only; leaves derived values there."""
        d = self.data
        q = d.qpos.copy()
        d.qpos[self.wrist], d.qpos[self.bar], d.qpos[self.phi] = pose.theta_rad, pose.psi_rad, pose.phi_rad
        self._geometry()
        d.qpos[:] = q
        return d.ten_length.copy()

    def _geometry(self) -> None:
        mujoco.mj_kinematics(self.model, self.data)
        mujoco.mj_comPos(self.model, self.data)
        mujoco.mj_tendon(self.model, self.data)

    @property
    def theta_deg(self) -> float:
        return degrees(self.data.qpos[self.wrist])

    @property
    def digits_deg(self) -> Floats:
        return np.degrees(self.data.qpos[self.phi])

    def tensions_n(self) -> Floats:
        """(c,) cord tensions that belong to the present stretch [N]."""
        return self.cord_k * np.maximum(self.data.ten_length[self.cords] - self.cord_length_m, 0.0)

    def slack_mm(self) -> float:
        """Of the cord that is nearest to taut [mm]; negative when it is stretched."""
        return float((self.cord_length_m - self.data.ten_length[self.cords]).min()) * MM

    def contacts_n(self) -> dict[tuple[str, str], float]:
        """Pads that touch now, and how hard [N]."""
        found = {}
        force = np.zeros(6)
        for k in range(self.data.ncon):
            contact = self.data.contact[k]
            if contact.dist < 0.0:
                mujoco.mj_contactForce(self.model, self.data, k, force)
                names = tuple(sorted(self.model.geom(g).name for g in contact.geom))
                found[names[0], names[1]] = float(force[0])
        return found

    # --- time

    def grip(self, theta_deg: float) -> None:
        """Take hold of the cuff, or move the held cuff, to this wrist angle."""
        self.model.eq_data[self.hold, 0] = radians(theta_deg)
        self.data.eq_active[self.hold] = 1

    def let_go(self) -> None:
        self.data.eq_active[self.hold] = 0

    def holding_nmm(self) -> float:
        """Torque of the hand that holds the cuff [N mm]; positive when it lifts. 0 when let go."""
        if not self.data.eq_active[self.hold] or self.data.ne == 0:
            return 0.0
        return float(self.data.efc_force[0]) * MM

    def advance(self, steps: int, *, wrist_deg_s: float = 0.0) -> None:
        """Let time pass; the hand that holds the cuff moves on evenly at `wrist_deg_s`."""
        if wrist_deg_s == 0.0:
            mujoco.mj_step(self.model, self.data, nstep=steps)
        else:  # in every step, so that the holding torque has no sawtooth
            target, by = self.model.eq_data[self.hold], radians(wrist_deg_s) * self.tuning.timestep_s
            for _ in range(steps):
                target[0] += by
                mujoco.mj_step(self.model, self.data)
        self.steps += steps

    # --- statics, from MuJoCo's kinematics alone

    def potential_nmm(self, q: Floats) -> float:
        """Potential energy at these joint angles: gravity, cords, elastics, stops, contacts [N mm]."""
        m, d = self.model, self.data
        d.qpos[:] = q
        self._geometry()
        height_m = d.xipos[1:, 2]
        energy = -float(m.body_mass[1:] @ height_m) * float(m.opt.gravity[2])
        energy += _springs(self.cord_k, d.ten_length[self.cords] - self.cord_length_m)
        energy += _springs(self.elastic_k, d.ten_length[self.elastics] - self.elastic_free_m)
        stop = STOP_STIFFNESS_NMM_PER_RAD / MM
        energy += _springs(stop, q - m.jnt_range[:, 1]) + _springs(stop, m.jnt_range[:, 0] - q)
        depth = np.array(
            [
                -mujoco.mj_geomDistance(m, d, int(a), int(b), 1.0, None)
                for a, b in zip(m.pair_geom1, m.pair_geom2, strict=True)
            ]
        )
        energy += _springs(CONTACT_STIFFNESS_N_PER_MM * MM, depth)
        return energy * MM

    def imbalance_deg(self, *, free_wrist: bool = True) -> float:
        """How far the wrist (or, held, the worst digit) is from the nearest stationary point of the energy.

        One Newton step with numeric derivatives of `potential_nmm`; near zero at a true rest.
        """
        q0 = self.data.qpos.copy()
        v0 = self.data.qvel.copy()
        free = np.arange(len(q0)) if free_wrist else np.delete(np.arange(len(q0)), self.wrist)
        gradient, hessian = self._derivatives(q0, free)
        # A soft direction (slack bar, shared loop) that carries no torque must not blow up the step.
        step = np.linalg.lstsq(hessian, -gradient, rcond=1e-7)[0]
        self.data.qpos[:], self.data.qvel[:] = q0, v0
        mujoco.mj_forward(self.model, self.data)
        return float(np.degrees(abs(step[self.wrist]) if free_wrist else np.abs(step).max()))

    def _derivatives(self, q0: Floats, free: NDArray[np.intp]) -> tuple[Floats, Floats]:
        h = 2e-5  # rad: the energy's own rounding over h^2 stays near 1e-5 N mm/rad2
        n = len(free)
        eye = np.zeros((n, len(q0)))
        eye[np.arange(n), free] = h
        centre = self.potential_nmm(q0)
        up = np.array([self.potential_nmm(q0 + e) for e in eye])
        down = np.array([self.potential_nmm(q0 - e) for e in eye])
        hessian = np.diag((up - 2 * centre + down) / h**2)
        for i in range(n):
            for j in range(i):
                both = self.potential_nmm(q0 + eye[i] + eye[j])
                hessian[i, j] = hessian[j, i] = (both - up[i] - up[j] + centre) / h**2
        return (up - down) / (2 * h), hessian


def _springs(stiffness: Floats | float, stretch: Floats) -> float:
    """Energy of one-sided springs."""
    return float(np.sum(0.5 * stiffness * np.maximum(stretch, 0.0) ** 2))


def path_lengths(hand: Hand, pose: Pose) -> tuple[Floats, Floats]:
    """Cord paths (c,) and elastic paths (d,) at a pose [mm], by MuJoCo's own wrapping."""
    hand.set_pose(pose)
    return hand.data.ten_length[hand.cords] * MM, hand.data.ten_length[hand.elastics] * MM


def moment_arms(hand: Hand, pose: Pose) -> tuple[Floats, Floats]:
    """d length / d angle of cords (c, nv) and elastics (d, nv) [mm]; columns: theta, psi, phi (d x 2)."""
    hand.set_pose(pose)
    m, d = hand.model, hand.data
    dense = np.zeros((m.ntendon, m.nv))
    mujoco.mju_sparse2dense(dense, d.ten_J, m.ten_J_rownnz, m.ten_J_rowadr, m.ten_J_colind)
    order = np.concatenate([[hand.wrist, hand.bar], hand.phi.ravel()])
    return dense[hand.cords][:, order] * MM, dense[hand.elastics][:, order] * MM
