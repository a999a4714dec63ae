"""The cord lengths behind a hand's readings: the inverse problem, by weighing guesses.

Guesses of the three excess lengths, the slides and the thumb's stiction are drawn from what is
known beforehand, then led step by step to what the readings allow. Three things make this harder
than it looks: a slack cord shows only a bound; one rest angle stands for two kinds of hand; and
a hand whose thumb starts before its fingers rests, after working, anywhere from the fingers' angle
(its thumb stays bent by friction) to the thumb's.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from handsel.design.model import Design
from handsel.mechanics.draws import Draws
from handsel.mechanics.taut_map import TautMap, taut_map
from handsel.metrology.quantity import Quantity

Floats = NDArray[np.float64]
Readings = Mapping[str, Quantity | str]

WORKED, LOWERED, TILT = "worked_rest_angle_deg", "lowered_rest_angle_deg", "whippletree_tilt_deg"
BEND, LEAD = "thumb_tip_bend_deg", "thumb_start_minus_fingers_deg"
FRONT, PIN = "whippletree_front_mm", "thumb_pin_mm"
SCREWS = ("tension_screw_thumb_side_turn", "tension_screw_little_side_turn")
TAUT, SLACK = "taut", "slack"

# Known beforehand of the excess lengths. Own estimates: share, what all cords of a hand have in
# common, and what each has of its own [mm]. A hand tied by volunteers is mostly within 4 mm; now and
# then the template was wrong, or one cord slipped.
KINDS = ((0.80, 3.0, 2.6), (0.12, 9.0, 3.5), (0.08, 3.5, 9.0))
# A hand whose thumb starts first rests, worked, at the fingers' angle or at the thumb's, seldom
# between. In engine runs the elastics decide which; here either is taken to be as likely.
HELD_NONE, HELD_BETWEEN = 0.45, 0.10
WRIST_STUCK_SHARE = 0.05  # a tight wrist pin keeps the lowered cuff up
SLIP_OF_PEN_SHARE = 0.005
BEND_ELSEWHERE = 0.2  # the thumb gives at another hinge than by its design's numbers
PRESS_ERROR = 0.05  # a fingertip's wrong word
PRESS_FEELS_DEG, PRESS_BLUR_DEG = 0.6, 0.25  # slack that a fingertip begins to feel, in wrist angle

PARTICLES, MOVES, SEED = 1600, 5, 20
TEMPERATURES = (0.02, 0.1, 0.3, 0.6, 1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Slides:
    """Where both slides stand, with standard uncertainties; unread ones count as at zero."""

    tension_mm: float
    u_tension_mm: float
    thumb_pin_mm: float
    u_thumb_pin_mm: float
    tension_known: bool
    pin_known: bool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LengthPosterior:
    """What the readings allow: n guesses with weights, and what each guess means for the hand.

    excess_mm : (n, c) float [mm]; weight : (n,), sums to 1; tension_mm, thumb_pin_mm : (n,) float
    [mm]; held_ratio : (n,) how much of the thumb's lead friction keeps bent after working;
    bar_deg, thumb_deg : (n,) float [deg] where loops and thumb cord come taut; tilt_deg, worked_deg,
    lowered_deg, lead_deg : (n,) float [deg].
    """

    map: TautMap
    excess_mm: Floats
    weight: Floats
    tension_mm: Floats
    thumb_pin_mm: Floats
    held_ratio: Floats
    bar_deg: Floats
    thumb_deg: Floats
    tilt_deg: Floats
    worked_deg: Floats
    lowered_deg: Floats
    lead_deg: Floats
    misfits: tuple[str, ...]  # readings that no lengths explain together with the others
    wrist_stuck: bool  # the lowered angle is better explained by a tight wrist hinge

    @property
    def agrees(self) -> bool:
        """Whether some lengths explain all readings within their uncertainty."""
        return not self.misfits

    def taut_probability(self) -> Floats:
        """Probability that each cord is taut at rest, worked; (c,) in the design's order."""
        loops_slack = self.worked_deg - self.bar_deg > PRESS_FEELS_DEG
        thumb_slack = self.worked_deg - self.thumb_deg > PRESS_FEELS_DEG
        taut = np.empty(self.excess_mm.shape[1])
        taut[list(self.map.loops)] = self.weight @ ~loops_slack
        taut[self.map.alone] = self.weight @ ~thumb_slack
        return taut


def slides_of(design: Design, readings: Readings) -> Slides:
    """Where the slides stand, from what was read of them.

    Parameters: design, placed; readings by observable.
    Returns: Slides; turns and the bar's distance to the front are weighed by 1 / u^2.
    Raises: nothing of its own.
    Valid for: positions within the slides' travel; what is read beyond counts as its end.
    Source: JCGM 100:2008 5.2 for the weighing; pitch from the design.
    Checked by: unit/test_excess.py
    """
    tension = next(s for s in design.slides if s.body == "whippletree")
    pin = next(s for s in design.slides if s.body == "thumb_pin")
    found: list[tuple[float, float]] = []
    turns = [q for name in SCREWS if isinstance(q := readings.get(name), Quantity)]
    if turns and tension.pitch_mm_per_turn is not None:
        u = float(np.hypot.reduce([q.u for q in turns])) / len(turns)
        found.append(
            (
                tension.pitch_mm_per_turn * sum(q.value for q in turns) / len(turns),
                tension.pitch_mm_per_turn * u,
            )
        )
    front, at_pin = readings.get(FRONT), readings.get(PIN)
    if isinstance(front, Quantity):
        found.append((front.value, front.u))
    weights = [1.0 / max(u, 0.02) ** 2 for _, u in found]
    mean = sum(w * x for w, (x, _) in zip(weights, found, strict=True)) / sum(weights) if found else 0.0
    pin_mm, u_pin = (at_pin.value, at_pin.u) if isinstance(at_pin, Quantity) else (0.0, 0.0)
    return Slides(
        tension_mm=min(max(mean, tension.min_mm), tension.max_mm),
        u_tension_mm=float(sum(weights) ** -0.5) if found else 0.0,
        thumb_pin_mm=min(max(pin_mm, pin.min_mm), pin.max_mm),
        u_thumb_pin_mm=u_pin,
        tension_known=bool(found),
        pin_known=isinstance(at_pin, Quantity),
    )


def estimate_lengths(design: Design, readings: Readings, slides: Slides) -> LengthPosterior:
    """How much too long or short each cord is, from what was read of a hand at rest.

    Parameters: design, placed; readings by observable, any of them missing, numbers as Quantity in
        degrees, presses as "taut" or "slack"; slides, where they stand.
    Returns: LengthPosterior. The excess is what works now: knots seated so far are part of it.
    Raises: NotThisKind for a design with other than two loops on the bar and one cord alone.
    Valid for: a bar that rocks and hinges that are free. The same readings give the same answer.
    Source: sequential Monte Carlo with tempering (Del Moral, Doucet and Jasra 2006, from memory):
        reweight by a part of the likelihood, resample, move by Metropolis steps.
    Checked by: unit/test_excess.py, properties/test_excess.py
    """
    table, rng = taut_map(design), Draws(SEED)
    state = _drawn(rng, slides, len(design.cords))
    like = _log_likelihood(table, readings, state, design)
    before = 0.0
    for temperature in TEMPERATURES:
        share = np.exp((temperature - before) * (like - like.max()))
        picked = _systematic(share / share.sum(), rng)
        state, like = state[picked], like[picked]
        state, like = _moved(table, readings, state, like, temperature, slides, design, rng)
        before = temperature
    return _posterior(table, readings, state, design)


def worked_from(bar_deg: Floats, thumb_deg: Floats, held_ratio: Floats) -> Floats:
    """Worked rest angle: the fingers' where they start first, else between theirs and the thumb's.

    Parameters: bar_deg, thumb_deg : (...) float [deg], taut angles; held_ratio : (...) float [-].
    Returns: (...) float [deg].
    Valid for: free hinges and elastics that straighten the fingers.
    Source: own runs of the engine with friction; cords give some hundredths of a degree under load.
    Checked by: unit/test_taut_map.py
    """
    lead = thumb_deg - bar_deg
    return np.where(lead > 0.0, thumb_deg - 0.08 - held_ratio * lead, bar_deg - 0.03)


# A guess is a row: the excesses, then tension slide, thumb pin, and stiction in 0..1.
def _drawn(rng: Draws, slides: Slides, cords: int) -> Floats:
    upto = np.cumsum([share for share, _, _ in KINDS])[:-1]
    kind = np.searchsorted(upto, rng.uniform(PARTICLES), side="right")
    common, own = (np.array([k[j] for k in KINDS])[kind][:, None] for j in (1, 2))
    excess = common * rng.normal(PARTICLES, 1) + own * rng.normal(PARTICLES, cords)
    at = np.array([slides.tension_mm, slides.thumb_pin_mm])
    u = np.array([slides.u_tension_mm, slides.u_thumb_pin_mm])
    return np.hstack([excess, at + u * rng.normal(PARTICLES, 2), rng.uniform(PARTICLES, 1)])


def _log_prior(state: Floats, slides: Slides) -> Floats:
    excess = state[:, :-3]
    cords = excess.shape[1]
    density = np.zeros(len(state))
    for share, common, own in KINDS:  # normal, with covariance own^2 I + common^2 J
        sum_part = common**2 / (own**2 + cords * common**2)
        square = ((excess**2).sum(-1) - sum_part * excess.sum(-1) ** 2) / own**2
        density += share / (own ** (cords - 1) * np.sqrt(own**2 + cords * common**2)) * np.exp(-0.5 * square)
    result = np.log(np.maximum(density, 1e-300))
    known = ((-3, slides.tension_mm, slides.u_tension_mm), (-2, slides.thumb_pin_mm, slides.u_thumb_pin_mm))
    for column, at, u in known:
        if u > 0.0:
            result = result - 0.5 * ((state[:, column] - at) / u) ** 2
    return np.asarray(np.where((state[:, -1] >= 0.0) & (state[:, -1] <= 1.0), result, -np.inf))


def held_from(chance: Floats) -> Floats:
    """How much of the thumb's lead friction keeps bent after working, as often as it does.

    Parameters: chance : (...) float [-], even in 0..1.
    Returns: (...) float [-], mostly 0 or 1.
    Valid for: hands of which nothing more is known.
    Source: own estimate, see HELD_NONE.
    Checked by: independent/test_closed_loop.py
    """
    return np.clip((chance - HELD_NONE) / HELD_BETWEEN, 0.0, 1.0)


def _held(state: Floats) -> Floats:
    return held_from(state[:, -1])


def _moved(
    table: TautMap,
    readings: Readings,
    state: Floats,
    like: Floats,
    temperature: float,
    slides: Slides,
    design: Design,
    rng: Draws,
) -> tuple[Floats, Floats]:
    """Metropolis steps that keep the tempered posterior; every other one also redraws the stiction."""
    prior = _log_prior(state, slides)
    n, k = state.shape
    free = np.ones(k - 1)  # slides that were not read stay where they are taken to be
    free[-2:] = [slides.u_tension_mm > 0.0, slides.u_thumb_pin_mm > 0.0]
    for move in range(MOVES):
        # Steps of several sizes along the spread there is now: narrow valleys and far modes both.
        spread = np.linalg.cholesky(np.cov(state[:, :-1].T) + 1e-8 * np.eye(k - 1))
        step = (0.9, 0.5, 0.2, 0.7, 0.1)[move % 5]
        tried = state.copy()
        tried[:, :-1] += step * rng.normal(n, k - 1) @ spread.T * free
        if move % 2 == 0:
            tried[:, -1] = rng.uniform(n)
        tried_prior = _log_prior(tried, slides)
        tried_like = _log_likelihood(table, readings, tried, design)
        ratio = temperature * (tried_like - like) + tried_prior - prior
        taken = np.log1p(-rng.uniform(n)) < ratio
        state = np.where(taken[:, None], tried, state)
        like, prior = np.where(taken, tried_like, like), np.where(taken, tried_prior, prior)
    return state, like


def _systematic(weight: Floats, rng: Draws) -> NDArray[np.intp]:
    n = len(weight)
    return np.minimum(
        np.searchsorted(np.cumsum(weight), (np.arange(n) + float(rng.uniform(1)[0])) / n), n - 1
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Predicted:
    """What each guess would show."""

    bar: Floats
    thumb: Floats
    tilt: Floats
    worked: Floats
    lowered: Floats
    bend: Floats  # of the thumb's tip, by the design's own elastics
    bend_most: Floats  # if tip and knuckle change parts


def _predict(table: TautMap, state: Floats) -> _Predicted:
    excess, tension, pin = state[:, :-3], state[:, -3], state[:, -2]
    bar, tilt = table.bar(excess, tension)
    thumb = table.thumb(excess, pin)
    knuckle, tip = table.thumb_bend(bar, thumb)
    return _Predicted(
        bar=bar,
        thumb=thumb,
        tilt=tilt,
        worked=worked_from(bar, thumb, _held(state)),
        lowered=np.maximum(bar, thumb) - 0.06,
        bend=tip,
        bend_most=tip + 1.3 * knuckle,
    )


def _expected(p: _Predicted) -> dict[str, tuple[Floats, Floats]]:
    """Each number's expectation, and the model's own standard uncertainty of it [deg]."""
    some = np.full_like(p.bar, 0.15)
    # A bar whose loops hang slack stays where it was left.
    loose = np.clip(p.worked - p.bar - 0.3, 0.0, 4.0)
    lead = p.thumb - p.bar
    return {
        WORKED: (p.worked, some),
        LOWERED: (p.lowered, some),
        TILT: (p.tilt, 1.0 + 0.8 * loose),
        BEND: (p.bend, 1.0 + 0.15 * p.bend),
        LEAD: (lead, 0.5 + 0.05 * np.abs(lead)),
    }


def _log_likelihood(table: TautMap, readings: Readings, state: Floats, design: Design) -> Floats:
    p = _predict(table, state)
    total = np.zeros(len(state))
    for name, (expected, u_model) in _expected(p).items():
        q = readings.get(name)
        if not isinstance(q, Quantity):
            continue
        u = np.sqrt(q.u**2 + u_model**2)
        density = np.exp(-0.5 * ((q.value - expected) / u) ** 2) / (u * np.sqrt(2.0 * np.pi))
        if name == LOWERED:  # a tight wrist keeps it anywhere above
            above = np.where(q.value > expected, 1.0 / 60.0, 0.0)
            density = (1.0 - WRIST_STUCK_SHARE) * density + WRIST_STUCK_SHARE * above
        if name == BEND:  # a stiffer or weaker elastic lets the other hinge give first
            within = (q.value > -2.0 * u) & (q.value < p.bend_most + 2.0 * u)
            density = (1.0 - BEND_ELSEWHERE) * density + BEND_ELSEWHERE * within / (p.bend_most + 4.0 * u)
        total += np.log((1.0 - SLIP_OF_PEN_SHARE) * density + SLIP_OF_PEN_SHARE / 100.0)
    for c, cord in enumerate(design.cords):
        said = [readings.get(f"press_{leg.digit}") for leg in cord.legs]
        words = [w for w in said if w in (TAUT, SLACK)]
        if words:  # both legs of a loop are one cord: one piece of evidence
            own = p.thumb if c == table.alone else p.bar
            # Nobody says whether it was pressed after working or after lowering: one is as likely.
            feels_taut = 0.5 * (_feels_taut(p.worked - own) + _feels_taut(p.lowered - own))
            taut = PRESS_ERROR + (1.0 - 2.0 * PRESS_ERROR) * feels_taut
            share = sum(w == TAUT for w in words) / len(words)
            total += share * np.log(taut) + (1.0 - share) * np.log(1.0 - taut)
    return total


def _feels_taut(slack_deg: Floats) -> Floats:
    return np.asarray(0.5 * (1.0 - np.tanh(0.5 * (slack_deg - PRESS_FEELS_DEG) / PRESS_BLUR_DEG)))


def _posterior(table: TautMap, readings: Readings, state: Floats, design: Design) -> LengthPosterior:
    p, n = _predict(table, state), len(state)
    misfits, stuck = [], False
    for name, (expected, u_model) in _expected(p).items():
        q = readings.get(name)
        if not isinstance(q, Quantity):
            continue
        z = (q.value - expected) / np.sqrt(q.u**2 + u_model**2)
        elsewhere = name == BEND and -5.0 < q.value < np.median(p.bend_most) + 5.0
        if np.abs(np.median(z)) > 3.0 and not elsewhere:
            if name == LOWERED and np.median(z) > 0.0:
                stuck = True
            else:
                misfits.append(name)
    arrays = {
        "excess_mm": state[:, :-3],
        "weight": np.full(n, 1.0 / n),
        "tension_mm": state[:, -3],
        "thumb_pin_mm": state[:, -2],
        "held_ratio": _held(state),
        "bar_deg": p.bar,
        "thumb_deg": p.thumb,
        "tilt_deg": p.tilt,
        "worked_deg": p.worked,
        "lowered_deg": p.lowered,
        "lead_deg": p.thumb - p.bar,
    }
    for array in arrays.values():
        array.flags.writeable = False
    return LengthPosterior(map=table, misfits=tuple(misfits), wrist_stuck=stuck, **arrays)
