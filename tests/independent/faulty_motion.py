"""A volunteer's hands on one faulty hand, in MuJoCo with friction: what really happens when it is worked.

In this order, without putting the hand back in between, so that a digit that has stuck stays stuck:

    lift the cuff, let it down            lowered rest
    close it slowly as far as it goes     which digit starts when, lags, reaches; thumb tip; pads' gaps
    open it, cuff up to 60 deg            which digits stay bent
    press it until the digits move,       worked rest, tilt, slack of each cord
    let it up slowly
    with the cords slack, bend each       how long each joint takes to come back, or where it stays
    joint by 45 deg and let go

Cords rub by the capstan law, each digit's leg with its own coefficient. One full closing stands for the five
of the protocol: nothing in the model wears in. Pulling a cord at the block is reckoned by statics from
MuJoCo's moment arms and turning angles. The mismatches with a real hand that are left: dry friction in MuJoCo
creeps a little (`test_faulty_hands` says how little), and a cord's stretch is taken from its cuff end.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import degrees, radians

import mujoco
import numpy as np
from faulty_builds import Recipe
from numpy.typing import NDArray
from referee import Hand, Pose, Tuning
from referee_friction import RubbingHand
from referee_motion import WITH_FRICTION, all_moved, settle
from referee_xml import NO_FRICTION_N

from handsel.design.model import Design
from handsel.mechanics.build import Build, nominal_build

Floats = NDArray[np.float64]

UP_DEG, DOWN_DEG = 60.0, -60.0  # lifted well above; as far down as a wrist goes
STARTED_DEG = 3.0
DRIVE = replace(WITH_FRICTION, release_deg_s=4.0, patience_s=3.0)
CLOSING_DEG_S, OPENING_DEG_S = 40.0, 120.0
BENT_BY_HAND_DEG, HOME_DEG, WATCH_S = 45.0, 8.0, 0.4
NEAR_MM = 1.0
NOSLIP_ITERATIONS = 4  # 20 move nothing by 0.003 deg or more, and cost a quarter of the time
_TENDON_FRICTION = int(mujoco.mjtConstraint.mjCNSTR_FRICTION_TENDON)  # comparing with the enum itself is slow


class FaultyHand(RubbingHand):
    """The recipe's hand. Each leg has its own coefficient of friction."""

    def __init__(self, recipe: Recipe) -> None:
        build = _cut(recipe)
        super().__init__(recipe.design, build, tuning=Tuning(noslip_iterations=NOSLIP_ITERATIONS))
        self.recipe = recipe
        self.mu_of = np.array([self._mu(s.name) for s in self.stations])
        self._fixed_turn = np.array([s.fixed_turn_rad for s in self.stations])
        self._slips = np.array([s.tendon for s in self.stations], dtype=np.intp)
        self._cords_by_source = np.array([c for _, c in self.sources], dtype=np.intp)
        self._at_source = np.array([k for k, _ in self.sources], dtype=np.intp)

    def _mu(self, station: str) -> float:
        digit = station.split(",")[0]
        return self.mu * self.recipe.leg_mu_ratio.get(digit, 1.0)  # an eyelet has the plain one

    def update_friction(self) -> None:
        m, d = self.model, self.data
        if not hasattr(self, "mu_of"):
            return
        pull = self.elastic_k * np.maximum(d.ten_length[self.elastics] - self.elastic_free_m, 0.0)
        m.tendon_frictionloss[self.elastics] = np.maximum(0.5 * self.loss * pull, NO_FRICTION_N)
        tension, at_cuff = self.tension_n, self.tensions_n()
        if not at_cuff.any():  # nothing rubs
            tension[:] = 0.0
            m.tendon_frictionloss[self._slips] = NO_FRICTION_N
            return
        rub = self.friction_forces_n()
        share = np.tanh(0.5 * self.mu_of * self.turning_rad())
        tension[self._at_source] = at_cuff[self._cords_by_source]
        for k, s in enumerate(self.stations):
            before = tension[s.upstream]
            after = before - rub[s.tendon]
            after = after if after > 0.0 else 0.0
            tension[s.downstream] = after
            m.tendon_frictionloss[s.tendon] = max((before + after) * share[k], NO_FRICTION_N)

    def friction_forces_n(self) -> Floats:
        """As in the base class, quicker: it is asked for hundreds of times a hand."""
        d, force = self.data, np.zeros(self.model.ntendon)
        kinds = d.efc_type[: d.nefc]
        rows = np.flatnonzero(kinds == _TENDON_FRICTION)
        force[d.efc_id[rows]] = d.efc_force[rows]
        return force

    def turning_rad(self) -> Floats:
        d = self.data
        used = int(d.ten_wrapadr[-1] + d.ten_wrapnum[-1])
        pattern = d.ten_wrapnum.tobytes() + d.wrap_obj.reshape(-1)[:used].tobytes()
        if pattern != self._pattern:
            self._pattern, self._bends = pattern, self._find_bends()
        middle, owner = self._bends
        x = d.wrap_xpos.reshape(-1, 3)[:used].T
        at = x[:, middle]
        (a, b, c), (e, f, g) = at - x[:, middle - 1], x[:, middle + 1] - at
        across = np.sqrt((b * g - c * f) ** 2 + (c * e - a * g) ** 2 + (a * f - b * e) ** 2)
        angle = np.arctan2(across, a * e + b * f + c * g)
        return self._fixed_turn + np.bincount(owner, weights=angle, minlength=len(self.stations))

    def start(self, theta_deg: float) -> None:
        """Straight, at rest, at this wrist angle; a stuck whippletree where it is stuck."""
        self.set_pose(
            Pose(
                theta_rad=radians(theta_deg),
                psi_rad=radians(self.recipe.jam_deg or 0.0),
                phi_rad=np.zeros_like(self.phi, dtype=float),
            )
        )


def _cut(recipe: Recipe) -> Build:
    """The build with its cords cut for the shape that they were tied for."""
    if recipe.tied_design is recipe.design or _same_lines(recipe.tied_design, recipe.design):
        return recipe.build
    tied = Hand(recipe.tied_design, recipe.build).cord_length_m
    real = Hand(recipe.design, recipe.build).cord_length_m
    return replace(recipe.build, excess_mm=recipe.build.excess_mm + (tied - real)[None, :] * 1e3)


def _same_lines(one: Design, other: Design) -> bool:
    def origins(d: Design) -> list[tuple[float, float, float]]:
        return [h.origin_mm for h in d.hinges]

    return one.cords == other.cords and origins(one) == origins(other)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Worked:
    """What is true of one hand. Digits in the design's order; bends are both joints together [deg]."""

    lowered_deg: float
    worked_deg: float
    tilt_deg: float  # at the worked rest
    bend_at_rest_deg: Floats  # (d,) at the worked rest
    leg_slack_mm: Floats  # (c,) in each leg at the worked rest
    start_deg: Floats  # (d,) wrist angle at which each digit starts to close; DOWN_DEG - 30 if never
    thumb_tip_bend_deg: float  # when the fingers are about to move
    gap_mm: Floats  # (2,) nearest that the thumb's pad comes to index and middle
    met_deg: float  # wrist angle at the first meeting, DOWN_DEG when there is none
    reach_deg: Floats  # (d,) bend at the meeting, else at the end
    lag_deg: Floats  # (d,) behind the mean of the other fingers when those are half way; nan for the thumb
    left_bent_deg: Floats  # (d,) cuff up again
    return_s: Floats  # (d, 2) time a joint bent by hand takes to come home; WATCH_S if it does not
    stays_deg: Floats  # (d, 2) where it then is
    pull_ratio: Floats  # (d,) force that draws the digit against the same elastic in a sound channel
    settled: bool
    sim_s: float


def work(recipe: Recipe) -> Worked:
    """Everything that a volunteer does with one hand."""
    hand = FaultyHand(recipe)
    lowered, still_1 = _lowered(hand)
    closing = _close(hand)
    left = _open(hand)
    still_2 = _worked(hand)
    digits, legs = hand.digits_deg, np.array([len(c.legs) for c in recipe.design.cords])
    rest = dict(
        worked_deg=hand.theta_deg,
        tilt_deg=degrees(hand.data.qpos[hand.bar]),
        bend_at_rest_deg=digits.sum(1),
        leg_slack_mm=(hand.cord_length_m - hand.data.ten_length[hand.cords]) * 1e3 / legs,
    )
    sim_s = float(hand.data.time)
    return_s, stays = _bent_by_hand(hand)
    return Worked(
        lowered_deg=lowered,
        **rest,
        **closing,
        left_bent_deg=left,
        return_s=return_s,
        stays_deg=stays,
        pull_ratio=pulls(hand),
        settled=still_1 and still_2,
        sim_s=sim_s,
    )


def _carry(hand: FaultyHand, to_deg: float, deg_s: float, chunk: int, look=None) -> None:
    """Carry the held cuff evenly to an angle; `look` is called after every chunk and may say stop."""
    theta = hand.theta_deg
    hand.grip(theta)
    way = 1.0 if to_deg > theta else -1.0
    by = deg_s * chunk * hand.tuning.timestep_s
    while (to_deg - theta) * way > 1e-9:
        some = min(by, abs(to_deg - theta))
        hand.advance(max(1, round(chunk * some / by)), wrist_deg_s=way * deg_s)
        theta += way * some
        if look is not None and look():
            return
    hand.grip(to_deg)


def _lowered(hand: FaultyHand) -> tuple[float, bool]:
    """Let down slowly from well above, and let go as soon as something carries the cuff."""
    hand.start(UP_DEG)
    hand.grip(UP_DEG)
    hand.advance(10)
    weight = _pushed_nmm(hand)
    if weight > 0.0:  # it has to be pushed down: its own pin carries it
        hand.let_go()
        return hand.theta_deg, settle(hand, DRIVE)[1]
    while hand.theta_deg > DOWN_DEG:
        free = hand.slack_mm() > NEAR_MM
        speed = DRIVE.free_deg_s if free else DRIVE.release_deg_s
        hand.advance(5, wrist_deg_s=-speed)
        if not free and hand.slack_mm() < 0.2 and hand.holding_nmm() <= 0.0:
            break
    hand.let_go()
    still = settle(hand, DRIVE)[1]
    return hand.theta_deg, still


def _pushed_nmm(hand: FaultyHand) -> float:
    """Torque that it takes to move the slack cuff down by a degree; positive when it must be pushed."""
    _carry(hand, hand.theta_deg - 1.0, DRIVE.release_deg_s, 5)
    return -hand.holding_nmm()


def _close(hand: FaultyHand) -> dict:
    """Close as far as it goes, watching."""
    names = [d.name for d in hand.design.digits]
    thumb = names.index("thumb")
    fingers = [k for k in range(len(names)) if k != thumb]
    first = hand.digits_deg.sum(1)
    pads = [hand.model.geom(f"pad_{n}_tip").id for n in ("thumb", "index", "middle")]
    radius = hand.model.geom_size[pads, 0] * 1e3
    rows: list[tuple] = []

    def look() -> bool:
        at = hand.data.geom_xpos[pads] * 1e3
        gaps = np.linalg.norm(at[1:] - at[0], axis=1) - radius[0] - radius[1:]
        q = hand.data.qpos
        rows.append((degrees(q[hand.wrist]), *np.degrees(q[hand.phi]).ravel(), *gaps))
        return False

    look()
    _carry(hand, DOWN_DEG, CLOSING_DEG_S, 10, look)
    hand.advance(50)
    look()
    table = np.array(rows)
    theta, phi, gap = table[:, 0], table[:, 1 : 1 + 2 * len(names)].reshape(len(rows), -1, 2), table[:, -2:]
    bend = phi.sum(2)
    start = np.array([_crossing(theta, bend[:, g] - first[g], STARTED_DEG) for g in range(len(names))])
    begun = max(int(np.argmax(theta <= max(start[fingers].max(), DOWN_DEG))) - 1, 0)
    met = np.flatnonzero(gap.min(1) <= 0.0)
    end = int(met[0]) if len(met) else len(theta) - 1
    return dict(
        start_deg=start,
        thumb_tip_bend_deg=float(phi[begun, thumb, 1]),
        gap_mm=np.maximum(gap[: len(theta)].min(0), 0.0),
        met_deg=float(theta[end]) if len(met) else DOWN_DEG,
        reach_deg=bend[end],
        lag_deg=_lags(bend[: end + 1], fingers, len(names)),
    )


def _crossing(theta: Floats, moved: Floats, level: float) -> float:
    """Wrist angle at which a digit has first moved by so much, linear between looks."""
    above = np.flatnonzero(moved >= level)
    if not len(above):
        return DOWN_DEG - 30.0
    k = int(above[0])
    if k == 0:
        return float(theta[0])
    share = (level - moved[k - 1]) / (moved[k] - moved[k - 1])
    return float(theta[k - 1] + share * (theta[k] - theta[k - 1]))


def _lags(bend: Floats, fingers: list[int], count: int) -> Floats:
    """How far each finger is behind when the others have come half way to where they end."""
    found = np.full(count, np.nan)
    for f in fingers:
        others = bend[:, [g for g in fingers if g != f]].mean(1)
        half = int(np.argmax(others >= 0.5 * others[-1]))
        found[f] = others[half] - bend[half, f]
    return found


def _open(hand: FaultyHand) -> Floats:
    _carry(hand, UP_DEG, OPENING_DEG_S, 10)
    hand.advance(60)
    return hand.digits_deg.sum(1)


def _worked(hand: FaultyHand) -> bool:
    """Pressed down until every digit just moves, then let up slowly until the hand need not hold it."""
    _down_to_taut(hand)
    _carry(hand, DOWN_DEG, 20.0, 5, lambda: all_moved(hand))
    _carry(hand, 84.0, DRIVE.release_deg_s, 5, lambda: hand.holding_nmm() >= 0.0)
    hand.let_go()
    return settle(hand, DRIVE)[1]


def _down_to_taut(hand: FaultyHand) -> None:
    if hand.slack_mm() > NEAR_MM:
        _carry(hand, DOWN_DEG, DRIVE.free_deg_s, 5, lambda: hand.slack_mm() <= NEAR_MM)


def _bent_by_hand(hand: FaultyHand) -> tuple[Floats, Floats]:
    """Every knuckle, then every tip, bent with all cords slack, and let go: digits do not know each other."""
    m, d = hand.model, hand.data
    m.tendon_range[hand.cords, 1] += 0.2  # nobody pulls
    hand.cord_length_m = m.tendon_range[hand.cords, 1].copy()
    took, stays = np.zeros((2, len(hand.phi))), np.zeros((2, len(hand.phi)))
    for joint in range(2):
        hand.start(UP_DEG)
        hand.grip(UP_DEG)
        d.qpos[hand.phi[:, joint]] = radians(BENT_BY_HAND_DEG)
        mujoco.mj_forward(m, d)
        home = np.full(len(hand.phi), WATCH_S)
        steps = round(WATCH_S / hand.tuning.timestep_s / 5)
        for k in range(steps):
            hand.advance(5)
            at = np.degrees(d.qpos[hand.phi[:, joint]])
            home = np.where((at < HOME_DEG) & (home == WATCH_S), (k + 1) * WATCH_S / steps, home)
            if np.all(home < WATCH_S):
                break
        took[joint], stays[joint] = home, np.degrees(d.qpos[hand.phi[:, joint]])
    return took.T, stays.T


def pulls(hand: FaultyHand) -> Floats:
    """(d,) Force at the block that draws each digit, against the same elastic in a sound channel.

    Statics at a hand half closed by hand: each joint asks for elastic and hinge friction over its cord's arm,
    times what the bends before it eat; the digit follows when the worse joint does.
    """
    design, m, d = hand.design, hand.model, hand.data
    sound_mu = design.cords[0].friction_mu
    asked = np.zeros((2, len(hand.phi)))
    for share in (0.05, 0.5):
        hand.start(30.0)
        d.qpos[hand.phi] = radians(90.0) * share
        mujoco.mj_forward(m, d)
        dense = np.zeros((m.ntendon, m.nv))
        mujoco.mju_sparse2dense(dense, d.ten_J, m.ten_J_rownnz, m.ten_J_rowadr, m.ten_J_colind)
        turn = dict(zip((s.name for s in hand.stations), hand.turning_rad(), strict=True))
        elastic_n = hand.elastic_k * np.maximum(d.ten_length[hand.elastics] - hand.elastic_free_m, 0.0)
        for i, digit in enumerate(design.digits):
            c = next(k for k, cord in enumerate(design.cords) if cord.name == design.cord_of(digit.name).name)
            stations = [turn[k] for k in (f"{digit.name}, palm", f"{digit.name}, {digit.name}_proximal")]
            mu = hand.mu * hand.recipe.leg_mu_ratio[digit.name]
            pull, plain = 0.0, 0.0
            for j, joint in enumerate(hand.phi[i]):
                own = abs(dense[hand.elastics[i], joint]) * elastic_n[i] * 1e3
                arm = max(abs(dense[hand.cords[c], joint]) * 1e3, 0.5)
                bends = sum(stations[: j + 1])
                rub = float(m.dof_frictionloss[joint]) * 1e3
                sound = design.hinge((digit.proximal_hinge, digit.tip_hinge)[j]).friction_nmm
                pull = max(pull, (own + rub) / arm * np.exp(mu * bends))
                plain = max(plain, (max(own, 5.0) + sound) / arm * np.exp(sound_mu * bends))
            asked[0, i], asked[1, i] = max(asked[0, i], pull), max(asked[1, i], plain)
    return asked[0] / asked[1]


def as_designed(design: Design) -> Recipe:
    """The hand exactly as drawn: what people mean by a good hand."""
    return Recipe(
        design=design,
        tied_design=design,
        drawn=design,
        build=nominal_build(design, 1),
        leg_mu_ratio={d.name: 1.0 for d in design.digits},
        turns=[0.0, 0.0],
    )
