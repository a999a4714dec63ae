"""The referee's hand with friction: pins, elastics, guides and eyelets.

Pins are MuJoCo's dry joint friction. A cord that turns by beta on a guide obeys the capstan law

    T_pulling / T_pulled <= exp(mu beta),   or   |T_a - T_b| <= (T_a + T_b) tanh(mu beta / 2),

and what slides past the guide is the change of length of everything beyond it. So each body that a leg
slides through has a tendon over the rest of the leg with dry friction on its length, whose limit follows
the present tensions and turning angles every few steps. The eyelet of a loop works likewise, on the
length of its second leg. Which way things slide, and whether they slide at all, is left to MuJoCo.

The cord's stretch is taken from the tension at its cuff end, as if no friction shortened the rest less;
with a tension of 5 N that is below 0.1 mm.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import radians

import mujoco
import numpy as np
from numpy.typing import NDArray
from referee import Hand, Pose, Tuning
from referee_xml import NO_FRICTION_N

from handsel.design.model import Design, Gauge
from handsel.mechanics.build import Build

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]


@dataclass(frozen=True, slots=True, kw_only=True)
class Station:
    """A body that one leg slides through, or an eyelet."""

    name: str
    tendon: int  # whose change of length is the slip
    upstream: int  # index of the tension on the cuff's side
    downstream: int
    fixed_turn_rad: float  # an eyelet's; elsewhere the turning is measured


class RubbingHand(Hand):
    """A hand with friction. `advance` keeps the capstan limits in step with tensions and turning angles."""

    def __init__(
        self,
        design: Design,
        build: Build,
        *,
        gauge: Gauge | None = None,
        tuning: Tuning | None = None,
        update_steps: int = 5,
    ) -> None:
        super().__init__(design, build, friction=True, gauge=gauge, tuning=tuning)
        self.update_steps = update_steps
        self.mu = float(build.friction_mu[0])
        self.loss = float(build.elastic_loss_ratio[0])
        self.stations: list[Station] = []
        self.sources: list[tuple[int, int]] = []  # (tension, cord): where a cord's own tension enters
        self.station_of: dict[int, int] = {}  # by site: the station that its bend belongs to
        self._tension_count = 0
        for c in range(len(design.cords)):
            self._lay_out(c)
        self.tension_n = np.zeros(self._tension_count)
        self._pattern: bytes = b""
        self._bends: tuple[Ints, Ints] = (np.zeros(0, np.intp), np.zeros(0, np.intp))

    # --- layout

    def _lay_out(self, c: int) -> None:
        """Tensions and stations of one cord, from the cuff outward, leg by leg."""
        cord, m = self.design.cords[c], self.model
        start = self._new_tension()
        self.sources.append((start, c))
        for i, leg in enumerate(cord.legs):
            here = start
            if i == 1:
                here = self._new_tension()
                self.stations.append(
                    Station(
                        name=f"{cord.name}, eyelet",
                        tendon=m.tendon(f"slip_{cord.name}_eyelet").id,
                        upstream=start,
                        downstream=here,
                        fixed_turn_rad=radians(cord.eyelet_turn_deg),
                    )
                )
            bodies = [p.body for p in leg.points]
            for k in range(1, len(bodies) - 1):
                if bodies[k] == bodies[0]:
                    continue
                site = m.site(f"{cord.name}_{leg.digit}_{k}").id
                self.station_of[site] = len(self.stations)
                if bodies[k + 1] != bodies[k]:
                    beyond = self._new_tension()
                    self.stations.append(
                        Station(
                            name=f"{leg.digit}, {bodies[k]}",
                            tendon=m.tendon(f"slip_{cord.name}_{leg.digit}_{bodies[k]}").id,
                            upstream=here,
                            downstream=beyond,
                            fixed_turn_rad=0.0,
                        )
                    )
                    here = beyond

    def _new_tension(self) -> int:
        self._tension_count += 1
        return self._tension_count - 1

    # --- running

    def set_pose(self, pose: Pose) -> None:
        super().set_pose(pose)
        self.update_friction()

    def advance(self, steps: int, *, wrist_deg_s: float = 0.0) -> None:
        while steps > 0:
            some = min(self.update_steps, steps)
            self.update_friction()
            super().advance(some, wrist_deg_s=wrist_deg_s)
            steps -= some

    def update_friction(self) -> None:
        """Set every friction limit from the present tensions and turning angles."""
        m, d = self.model, self.data
        rub = self.friction_forces_n()
        turns = self.turning_rad()
        cords = self.tensions_n()
        for index, c in self.sources:
            self.tension_n[index] = cords[c]
        for s, turn in zip(self.stations, turns, strict=True):
            before = self.tension_n[s.upstream]
            after = max(before - rub[s.tendon], 0.0)
            self.tension_n[s.downstream] = after
            m.tendon_frictionloss[s.tendon] = max(
                (before + after) * np.tanh(0.5 * self.mu * turn), NO_FRICTION_N
            )
        pull = self.elastic_k * np.maximum(d.ten_length[self.elastics] - self.elastic_free_m, 0.0)
        m.tendon_frictionloss[self.elastics] = np.maximum(0.5 * self.loss * pull, NO_FRICTION_N)

    def friction_forces_n(self) -> Floats:
        """(tendons,) dry friction now acting on each length; positive lengthens, so it takes tension."""
        d = self.data
        force = np.zeros(self.model.ntendon)
        rows = np.flatnonzero(d.efc_type[: d.nefc] == mujoco.mjtConstraint.mjCNSTR_FRICTION_TENDON)
        force[d.efc_id[rows]] = d.efc_force[rows]
        return force

    def turning_rad(self) -> Floats:
        """(stations,) the cord's whole turning there: bends at its holes and arcs on cylinders."""
        d = self.data
        used = int(d.ten_wrapadr[-1] + d.ten_wrapnum[-1])  # MuJoCo leaves old entries behind
        pattern = d.ten_wrapnum.tobytes() + d.wrap_obj.reshape(-1)[:used].tobytes()
        if pattern != self._pattern:  # a line has come to bear on a cylinder, or left it
            self._pattern, self._bends = pattern, self._find_bends()
        middle, owner = self._bends
        points = d.wrap_xpos.reshape(-1, 3)
        before, after = points[middle] - points[middle - 1], points[middle + 1] - points[middle]
        angle = np.arctan2(np.linalg.norm(np.cross(before, after), axis=1), np.sum(before * after, axis=1))
        fixed = np.array([s.fixed_turn_rad for s in self.stations])
        return fixed + np.bincount(owner, weights=angle, minlength=len(self.stations))

    def _find_bends(self) -> tuple[Ints, Ints]:
        """Rows of MuJoCo's list of path points at which cords turn, and the station each belongs to.

        A tangent point on a cylinder belongs to the nearest hole on the body that carries the cylinder.
        """
        m, d = self.model, self.data
        middle, owner = [], []
        for tendon in self.cords:
            first, count = int(d.ten_wrapadr[tendon]), int(d.ten_wrapnum[tendon])
            geoms = d.wrap_obj.reshape(-1)[first : first + count]
            sites = iter(
                m.wrap_objid[a]
                for a in range(m.tendon_adr[tendon], m.tendon_adr[tendon] + m.tendon_num[tendon])
                if m.wrap_type[a] == mujoco.mjtWrap.mjWRAP_SITE
            )
            path = [int(next(sites)) if g < 0 else -1 for g in geoms]  # site, or -1 on a cylinder
            for k in range(1, count - 1):
                near = [path[j] for j in sorted(range(count), key=lambda j: abs(j - k)) if path[j] >= 0]
                if path[k] < 0:
                    carrier = m.geom_bodyid[geoms[k]]
                    near = [s for s in near if m.site_bodyid[s] == carrier]
                station = self.station_of.get(near[0]) if near else None
                if station is not None:
                    middle.append(first + k)
                    owner.append(station)
        return np.array(middle, dtype=np.intp), np.array(owner, dtype=np.intp)
