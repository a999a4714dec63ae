"""One hand written as a MuJoCo model, from the design and the build alone.

Nothing here comes from `handsel.mechanics` except the description of a build and the three stand-in
stiffnesses: bodies, hinges, routes and cylinders go to MuJoCo as they stand in the design, and MuJoCo
finds lengths, tangents, arcs and moment arms by its own code.

Units in the model are SI (m, kg, s, N); everything that leaves this folder is mm, N, N mm, degrees.

A cord is a spatial tendon with an upper limit, so it only ever pulls. MuJoCo makes a limit soft: with
impedance `imp`, direct reference stiffness `kappa` [1/s2] and the inverse inertia `a` that it estimates
for the constraint at compile time, a limit that has settled pushes with

    force = kappa / ((1 - imp) a) * violation

so `imp` can be chosen to give exactly the wanted stiffness EA/L, while the time constant 1/sqrt(kappa)
is chosen for the stability of the time step. Stops and pad contacts are made the same way.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import radians

import mujoco
import numpy as np
from numpy.typing import NDArray

from handsel.design.model import CUFF, PALM, Design, Gauge, Hinge, Leg, RoutePoint, Wrap
from handsel.mechanics.build import (
    CONTACT_STIFFNESS_N_PER_MM,
    GRAVITY_N_PER_G,
    STOP_STIFFNESS_NMM_PER_RAD,
    Build,
)

Floats = NDArray[np.float64]
M_PER_MM = 1e-3
GYRATION_MM = 10.0  # of every body: inertia has no say in where a hand comes to rest
NO_FRICTION_N = 1e-9  # MuJoCo leaves out a friction that is exactly nothing
STIFF_FRICTION = 'solreffriction="0.004 1" solimpfriction="0.9999 0.9999 1"'  # hardly creeps when it holds
MIN_IMPEDANCE, MAX_IMPEDANCE = 1e-4, 0.9999  # MuJoCo clips outside these


@dataclass(frozen=True, slots=True, kw_only=True)
class Tuning:
    """How the model is integrated; nothing in it moves an equilibrium. Chosen by the sweep in benchmarks/."""

    timestep_s: float = 0.002
    armature_kgm2: float = 2e-5
    digit_damping_nms: float = 1e-3
    wrist_damping_nms: float = 3e-2
    bar_damping_nms: float = 1e-3
    limit_time_s: float = 0.008  # 1/sqrt(kappa) of cords, stops and contacts
    noslip_iterations: int = 20  # in a model with friction only


def mjcf(
    design: Design,
    build: Build,
    *,
    friction: bool = False,
    gauge: Gauge | None = None,
    tuning: Tuning | None = None,
) -> str:
    """The model of one hand as MuJoCo XML: gravity on, palm fixed and level, wrist free.

    Parameters: design, placed (scale and side applied); build, one row; friction, pins and cords rub;
        gauge, a test cylinder lying against the palm; tuning, of the integration.
    Returns: XML text for `mujoco.MjModel.from_xml_string`.
    Raises: ValueError when the build is not one row, or a loop's two legs start at different points.
    """
    if len(build) != 1:
        raise ValueError(f"one hand at a time: the build has {len(build)} rows")
    writer = _Writer(design, build, friction, gauge, tuning or Tuning())
    level = writer.at_slides(0.0, 0.0).compile()
    nominal_m, straight_m = _nominal_lengths(design, level)
    shifted = writer.at_slides(float(build.tension_slide_mm[0]), float(build.thumb_pin_mm[0]))
    shifted.set_lines(nominal_m, straight_m)
    shifted.set_limits(shifted.compile())
    return shifted.text()


def _nominal_lengths(design: Design, model: mujoco.MjModel) -> tuple[Floats, Floats]:
    """Cord paths at the target rest angle and elastic paths, digits straight, bar level, slides zero [m]."""
    data = mujoco.MjData(model)
    data.qpos[model.joint("wrist").qposadr[0]] = radians(design.target_rest_angle_deg)
    mujoco.mj_forward(model, data)
    cords = np.array([data.tendon(c.name).length[0] for c in design.cords])
    elastics = np.array([data.tendon(f"elastic_{e.digit}").length[0] for e in design.elastics])
    return cords, elastics


def flexion_back(design: Design, hinge: Hinge) -> Floats:
    """Unit vector toward the back of the joint, straight digit: away from where flexion carries the digit."""
    digit = next(d for d in design.digits if hinge.name in (d.proximal_hinge, d.tip_hinge))
    along = np.subtract(design.hinge(digit.tip_hinge).origin_mm, design.hinge(digit.proximal_hinge).origin_mm)
    palmward = np.cross(hinge.axis, along)
    return -palmward / np.linalg.norm(palmward)


class _Writer:
    """Collects the elements of one model."""

    def __init__(
        self, design: Design, build: Build, friction: bool, gauge: Gauge | None, tuning: Tuning
    ) -> None:
        self.design, self.build, self.friction, self.gauge, self.tuning = (
            design,
            build,
            friction,
            gauge,
            tuning,
        )
        self.shift = {s.body: np.zeros(3) for s in design.slides}
        self.sites: dict[str, list[str]] = {b.name: [] for b in design.bodies}
        self.hinge_of = {h.child: h for h in design.hinges}
        self.tendons: list[str] = []
        self.lines: dict[str, str] = {}  # further attributes of a tendon, by name
        self.limits: dict[str, str] = {}  # further attributes of a joint, by name
        self.pair_soft: dict[tuple[str, str], str] = {}
        self._draw_lines()

    def at_slides(self, tension_mm: float, thumb_pin_mm: float) -> _Writer:
        """The same writer for the same hand with its slides at these positions."""
        other = _Writer(self.design, self.build, self.friction, self.gauge, self.tuning)
        travel = {"tension": tension_mm, "thumb_pin": thumb_pin_mm}
        other.shift = {s.body: travel[s.name] * np.asarray(s.direction) for s in self.design.slides}
        return other

    def compile(self) -> mujoco.MjModel:
        return mujoco.MjModel.from_xml_string(self.text())

    # --- frames: each body's frame lies in its hinge, axes as the palm's when the hand is straight

    def frame_mm(self, body: str) -> Floats:
        """Origin of a body's own frame in the straight hand, slides at zero."""
        if body == PALM:
            return np.zeros(3)
        hinge = self.hinge_of.get(body) or self.hinge_of[CUFF]  # what has no hinge rides on the cuff
        return np.asarray(hinge.origin_mm, dtype=float)

    def local(self, body: str, point_mm: Sequence[float] | Floats) -> str:
        return vec((np.asarray(point_mm) - self.frame_mm(body)) * M_PER_MM)

    def add_site(self, body: str, point_mm: Sequence[float] | Floats, name: str) -> str:
        self.sites[body].append(f'<site name="{name}" pos="{self.local(body, point_mm)}"/>')
        return name

    # --- lines

    def _draw_lines(self) -> None:
        design = self.design
        self._wrap_cylinders()
        for cord in design.cords:
            legs = []
            for leg in cord.legs:
                parts = self._route(f"{cord.name}_{leg.digit}", leg.points, leg.wraps)
                legs.append(parts)
                if self.friction:
                    self._slip_tendons(leg, f"{cord.name}_{leg.digit}", parts)
            if len(legs) == 2:
                if cord.legs[0].points[0] != cord.legs[1].points[0]:
                    raise ValueError(f"{cord.name}: its legs do not share an eyelet")
                path = [*reversed(legs[0]), *legs[1][1:]]
                if self.friction:
                    self._slip(f"slip_{cord.name}_eyelet", legs[1])
            else:
                path = legs[0]
            self._tendon(cord.name, path)
        for elastic in design.elastics:
            name = f"elastic_{elastic.digit}"
            self._tendon(name, self._route(name, elastic.points, elastic.wraps))

    def _wrap_cylinders(self) -> None:
        """Sites that say on which side of its cylinder a line passes: three radii out, on the parent body."""
        barrel = self.design.wrist_barrel_radius_mm
        wrist = self.design.hinge("wrist")
        self.barrel_side = self.add_site(
            PALM, np.asarray(wrist.origin_mm) + (0, 0, 3 * max(barrel, 1.0)), "side_barrel"
        )
        self.cylinders = {PALM: [self._cylinder(PALM, "barrel", wrist, barrel)] if barrel else []}

    def _cylinder(self, body: str, name: str, hinge: Hinge, radius_mm: float) -> str:
        return (
            f'<geom name="{name}" type="cylinder" size="{radius_mm * M_PER_MM!r} 0.02" '
            f'pos="{self.local(body, hinge.origin_mm)}" zaxis="{vec(hinge.axis)}" class="guide"/>'
        )

    def _route(self, name: str, points: tuple[RoutePoint, ...], wraps: tuple[Wrap, ...]) -> list[str]:
        """Sites of one route in order, a cylinder between the two points that it lies between."""
        sites = [self.add_site(p.body, p.at_mm, f"{name}_{k}") for k, p in enumerate(points)]
        parts = sites[:1]
        for k in range(1, len(points)):
            before, after = points[k - 1].body, points[k].body
            if before != PALM and after == PALM and self.design.wrist_barrel_radius_mm:
                parts.append(f"barrel/{self.barrel_side}")
            for wrap in wraps:
                hinge = self.design.hinge(wrap.hinge)
                if (hinge.parent, hinge.child) == (before, after):
                    parts.append(self._wrap(name, hinge, wrap))
            parts.append(sites[k])
        return [p if "/" in p else f"{p}/" for p in parts]

    def _wrap(self, name: str, hinge: Hinge, wrap: Wrap) -> str:
        cylinder = f"{name}_{hinge.name}"
        self.cylinders.setdefault(hinge.parent, []).append(
            self._cylinder(hinge.parent, cylinder, hinge, wrap.radius_mm)
        )
        outward = flexion_back(self.design, hinge) * (1.0 if wrap.side == "back" else -1.0)
        out_mm = np.asarray(hinge.origin_mm) + 3 * wrap.radius_mm * outward
        return f"{cylinder}/{self.add_site(hinge.parent, out_mm, f'side_{cylinder}')}"

    def _tendon(self, name: str, path: Iterable[str]) -> None:
        steps = []
        for part in path:
            where, side = part.split("/")
            steps.append(f'<geom geom="{where}" sidesite="{side}"/>' if side else f'<site site="{where}"/>')
        self.tendons.append(f'<spatial name="{name}" {{{name}}}>{"".join(steps)}</spatial>')
        self.lines.setdefault(name, "")

    def _slip_tendons(self, leg: Leg, name: str, parts: list[str]) -> None:
        """What lies beyond each body that the leg slides through: its change of length is the slip there.

        Places on one body share one slip, so there is one tendon a body: palm, then proximal part. The
        knot's own body is left out, nothing slides there.
        """
        sites = [k for k, part in enumerate(parts) if part.endswith("/")]
        bodies = [p.body for p in leg.points]
        for i in range(1, len(bodies) - 1):
            if bodies[i] != bodies[i + 1] and bodies[i] != bodies[0]:
                self._slip(f"slip_{name}_{bodies[i]}", parts[sites[i] :])

    def _slip(self, name: str, parts: list[str]) -> None:
        self._tendon(name, parts)
        self.lines[name] = (
            f'frictionloss="{NO_FRICTION_N!r}" {STIFF_FRICTION}'  # follows the tension as it runs
        )

    # --- stiffnesses, once lengths and inverse inertias are known

    def set_lines(self, nominal_m: Floats, straight_m: Floats) -> None:
        design, build = self.design, self.build
        self.cord_k: dict[str, float] = {}
        for c, cord in enumerate(design.cords):
            length = nominal_m[c] + build.excess_mm[0, c] * M_PER_MM
            self.cord_k[cord.name] = cord.axial_stiffness_n / length
            self.lines[cord.name] = f'limited="true" range="0 {float(length)!r}"'
        digits = [d.name for d in design.digits]
        for e, elastic in enumerate(design.elastics):
            i = digits.index(elastic.digit)
            free = straight_m[e] / (1 + build.elastic_pretension_ratio[0, i])
            k = elastic.axial_stiffness_n * build.elastic_stiffness_ratio[0, i] / free
            rub = f'frictionloss="{NO_FRICTION_N!r}" {STIFF_FRICTION}' if self.friction else ""
            self.lines[f"elastic_{elastic.digit}"] = (
                f'springlength="0 {float(free)!r}" stiffness="{float(k)!r}" {rub}'
            )

    def set_limits(self, probe: mujoco.MjModel) -> None:
        stop = STOP_STIFFNESS_NMM_PER_RAD * M_PER_MM
        for hinge in self.design.hinges:
            a = probe.dof_invweight0[probe.joint(hinge.name).dofadr[0]]
            self.limits[hinge.name] = self._soft("solreflimit", "solimplimit", stop, float(a))
        for cord in self.design.cords:
            a = float(probe.tendon_invweight0[probe.tendon(cord.name).id])
            self.lines[cord.name] += " " + self._soft("solreflimit", "solimplimit", self.cord_k[cord.name], a)
        contact = CONTACT_STIFFNESS_N_PER_MM / M_PER_MM
        for one, other, body_1, body_2 in self.pairs():
            a = sum(float(probe.body_invweight0[probe.body(b).id, 0]) for b in (body_1, body_2))
            self.pair_soft[one, other] = self._soft("solref", "solimp", contact, a)

    def _soft(self, ref: str, imp: str, stiffness: float, inverse_inertia: float) -> str:
        """Attributes of a limit that settles at force = stiffness * violation; see the head of this file."""
        stiffness, inverse_inertia = float(stiffness), float(inverse_inertia)
        kappa = self.tuning.limit_time_s**-2
        impedance = 1 - kappa / (stiffness * inverse_inertia)
        if impedance < MIN_IMPEDANCE:  # already softer than the time constant asks for: keep the stiffness
            impedance = 0.5
            kappa = 0.5 * stiffness * inverse_inertia
        if impedance > MAX_IMPEDANCE:  # a shorter time constant would be needed: keep the stiffness
            impedance = MAX_IMPEDANCE
            kappa = (1 - MAX_IMPEDANCE) * stiffness * inverse_inertia
        damping = 2 * kappa**0.5 * impedance  # MuJoCo divides it by the impedance: critical
        return f'{ref}="{-kappa!r} {-damping!r}" {imp}="{impedance!r} {impedance!r} 1"'

    # --- contact

    def pairs(self) -> list[tuple[str, str, str, str]]:
        """Pads that can touch: names of two geoms and of their bodies."""
        thumb = ("pad_thumb_tip", "thumb_tip")
        found = [(thumb[0], f"pad_{d}_tip", thumb[1], f"{d}_tip") for d in ("index", "middle")]
        found += [(f"pad_{d.name}_tip", "palm", f"{d.name}_tip", "world") for d in self.design.digits]
        if self.gauge is not None:
            found += [
                (f"pad_{p.digit}_{p.segment}", "gauge", f"{p.digit}_{p.segment}", "world")
                for p in self.design.pads
            ]
        return found

    # --- text

    def text(self) -> str:
        t = self.tuning
        pairs = "".join(
            f'<pair geom1="{a}" geom2="{b}" condim="1" {self.pair_soft.get((a, b), "")}/>'
            for a, b, _, _ in self.pairs()
        )
        world = self._contents(PALM) + self._palm() + self._gauge()
        world += "".join(self._body(child) for child in self._children(PALM))
        return (
            f'<mujoco model="{self.design.name}"><compiler angle="radian" autolimits="true"/>'
            f'<option timestep="{t.timestep_s!r}" gravity="0 0 {-GRAVITY_N_PER_G * 1e3!r}"'
            ' integrator="implicitfast" solver="Newton" tolerance="1e-12" iterations="50" jacobian="dense"'
            f' noslip_iterations="{t.noslip_iterations if self.friction else 0}" noslip_tolerance="0"/>'
            '<default><default class="guide">'
            '<geom contype="0" conaffinity="0" group="3"/></default></default>'
            f"<worldbody>{world}</worldbody><contact>{pairs}</contact>"
            f"<tendon>{''.join(self.tendons).format_map(self.lines)}</tendon>"
            '<equality><joint name="hold" joint1="wrist" polycoef="0 0 0 0 0" active="false"'
            f' solref="{max(2 * t.timestep_s, 0.006)!r} 1" solimp="0.999 0.999 1"/></equality></mujoco>'
        )

    def _children(self, parent: str) -> list[str]:
        on_hinges = [h.child for h in self.design.hinges if h.parent == parent]
        riders = [b.name for b in self.design.bodies if b.name != PALM and b.name not in self.hinge_of]
        return on_hinges + (riders if parent == CUFF else [])

    def _body(self, name: str) -> str:
        parent = self.hinge_of[name].parent if name in self.hinge_of else CUFF
        pos = self.frame_mm(name) - self.frame_mm(parent) + self.shift.get(name, np.zeros(3))
        return (
            f'<body name="{name}" pos="{vec(pos * M_PER_MM)}">{self._inertial(name)}{self._joint(name)}'
            f"{self._contents(name)}{''.join(self._body(b) for b in self._children(name))}</body>"
        )

    def _inertial(self, name: str) -> str:
        body = self.design.body(name)
        ratio = float(self.build.cuff_mass_ratio[0]) if name == CUFF else 1.0
        mass = (body.printed_mass_g + body.hardware_mass_g) * ratio * 1e-3
        inertia = mass * (GYRATION_MM * M_PER_MM) ** 2
        at = self.local(name, body.com_mm)
        return f'<inertial pos="{at}" mass="{mass!r}" diaginertia="{vec([inertia] * 3)}"/>'

    def _joint(self, name: str) -> str:
        if name not in self.hinge_of:
            return ""
        hinge, t = self.hinge_of[name], self.tuning
        low, high = radians(hinge.min_deg), radians(hinge.max_deg)
        damping = {CUFF: t.wrist_damping_nms, "whippletree": t.bar_damping_nms}.get(name, t.digit_damping_nms)
        if name == "whippletree" and self.build.bar_locked[0]:
            low, high = -1e-9, 1e-9
        rub = ""
        if self.friction:
            rub = f'frictionloss="{self._friction_nmm(hinge) * M_PER_MM!r}" {STIFF_FRICTION}'
        return (
            f'<joint name="{hinge.name}" type="hinge" axis="{vec(hinge.axis)}" range="{low!r} {high!r}" '
            f'armature="{t.armature_kgm2!r}" damping="{damping!r}" {rub} {self.limits.get(hinge.name, "")}/>'
        )

    def _friction_nmm(self, hinge: Hinge) -> float:
        build = self.build
        if hinge.child == CUFF:
            return float(build.wrist_friction_nmm[0])
        if hinge.child == "whippletree":
            return float(build.bar_friction_nmm[0])
        for i, digit in enumerate(self.design.digits):
            for j, own in enumerate((digit.proximal_hinge, digit.tip_hinge)):
                if own == hinge.name:
                    return float(build.hinge_friction_nmm[0, i, j])
        return 0.0

    def _contents(self, body: str) -> str:
        pads = "".join(
            f'<geom name="pad_{p.digit}_{p.segment}" type="sphere" size="{p.radius_mm * M_PER_MM!r}" '
            f'mass="0" pos="{self.local(body, p.centre_mm)}" contype="0" conaffinity="0"/>'
            for p in self.design.pads
            if f"{p.digit}_{p.segment}" == body
        )
        return "".join(self.cylinders.get(body, [])) + pads + "".join(self.sites[body])

    def _palm(self) -> str:
        """A block whose lower face is the palm's inner surface and whose front face is where it ends."""
        deep_mm = 100.0
        low, front = self.design.palm_plane_z_mm, self.design.palm_front_x_mm
        return (
            f'<geom name="palm" type="box" size="{vec([deep_mm * M_PER_MM] * 3)}" '
            f'pos="{self.local(PALM, (front - deep_mm, 0, low + deep_mm))}" contype="0" conaffinity="0"/>'
        )

    def _gauge(self) -> str:
        if self.gauge is None:
            return ""
        centre = (
            np.asarray(self.gauge.against_mm) + np.asarray(self.gauge.normal) * self.gauge.diameter_mm / 2
        )
        return (
            f'<geom name="gauge" type="capsule" size="{self.gauge.diameter_mm / 2 * M_PER_MM!r} 0.15" '
            f'pos="{self.local(PALM, centre)}" zaxis="{vec(self.gauge.axis)}" contype="0" conaffinity="0"/>'
        )


def vec(values: Iterable[float]) -> str:
    return " ".join(repr(float(v)) for v in values)
