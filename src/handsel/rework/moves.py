"""Which move of both slides, or which new cords, bring a hand nearest to its target."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from handsel.design.model import Cord, Design, Slide
from handsel.mechanics.build import nominal_build
from handsel.mechanics.draws import Draws
from handsel.mechanics.excess import LengthPosterior, held_from, worked_from
from handsel.mechanics.model import compile_model
from handsel.mechanics.taut_map import ALONE_MM, MEAN_MM

Floats = NDArray[np.float64]

# Own choices, made with trials of the mechanics; common practice gives no figures for them.
ALLOWED_TURNS = 4.0  # pulled in by more than this, cords are replaced: the rest is for their settling
HALF_TURN, PIN_STEP_MM = 0.5, 0.5
GRID_SLACK = 0.3  # of a step: where the slides stand is itself a little unsure
THUMB_AIM_DEG = -1.5  # the thumb a little after the fingers, so that the fingers' cords stay taut
TURN_COST_DEG2 = 0.3  # a turn forward is worth this much of squared distance to the target
PIN_COST_DEG2 = 0.05  # per square millimetre out of line
LEAVE_DEG2 = 0.8  # a pin move that gains less is not worth loosening it
TURN_SD, PIN_SD_MM = 0.06, 0.3  # how exactly turns and pin are set
MODEL_SD_DEG = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What the hand should be brought to, from the protocol and the case."""

    target_deg: float
    least_deg: float
    most_deg: float
    lead_limit_deg: float
    tilt_limit_deg: float
    pin_low_mm: float
    pin_high_mm: float
    accept_p: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Outcome:
    """A hand after a move, one value for each guess of the posterior."""

    turns: float  # of both screws, + in
    pin_mm: float  # + pulled in
    new_cords: tuple[int, ...]  # replaced, in the design's order
    excess_mm: Floats
    tension_mm: Floats
    thumb_pin_mm: Floats
    worked_deg: Floats
    lowered_deg: Floats
    lead_deg: Floats
    bar_deg: Floats
    tilt_deg: Floats
    p_success: float
    p_level: float


def tension_slide(design: Design) -> Slide:
    """The slide that carries the whippletree."""
    return next(s for s in design.slides if s.body == "whippletree")


def pin_slide(design: Design) -> Slide:
    """The slide that carries the thumb tension pin."""
    return next(s for s in design.slides if s.body == "thumb_pin")


class Chooser:
    """Moves weighed over one posterior; the same draws for each, so that they compare."""

    def __init__(
        self,
        design: Design,
        found: LengthPosterior,
        wanted: Wanted,
        *,
        thumb_aim_deg: float = THUMB_AIM_DEG,
    ) -> None:
        self.design, self.found, self.wanted = design, found, wanted
        self.thumb_aim_deg = thumb_aim_deg
        self.n = len(found.weight)
        rng = Draws(11)
        self.turn_error, self.pin_error, self.model_error = rng.normal(3, self.n)
        self.cut_error = 2.0 * rng.uniform(self.n, len(design.cords)) - 1.0
        self.seat_error = rng.normal(self.n, len(design.cords))
        self.held_anew = held_from(rng.uniform(self.n))
        self.tension, self.pin = tension_slide(design), pin_slide(design)
        self.pitch = self.tension.pitch_mm_per_turn or 0.5
        self.tension_now = float(found.weight @ found.tension_mm)
        self.pin_now = float(found.weight @ found.thumb_pin_mm)
        self.turns_now = (self.tension_now - self.tension.min_mm) / self.pitch

    @property
    def slides_in_order(self) -> bool:
        """Whether both slides stand where a finished hand may have them."""
        w = self.wanted
        return (
            self.turns_now <= ALLOWED_TURNS + HALF_TURN
            and w.pin_low_mm - PIN_STEP_MM <= self.pin_now <= w.pin_high_mm + PIN_STEP_MM
        )

    def stay(self) -> Outcome:
        """The hand as it is."""
        return self.after(0.0, 0.0)

    def adjusted(self) -> Outcome:
        """The best move of both slides, the screws within what is allowed."""
        turns = self._best_turns(self.found.excess_mm)
        return self.after(turns, self._best_pin(self.found.excess_mm, turns))

    def restrung(self) -> Iterator[Outcome]:
        """Each choice of cords to replace, fewest first, with the slides set as well as can be."""
        cords = range(len(self.design.cords))
        for count in range(1, len(self.design.cords) + 1):
            for chosen in combinations(cords, count):
                excess = self._with_new(chosen)
                loops = any(c in self.found.map.loops for c in chosen)
                # New loops are cut for the screws at their forward end.
                turns = self._forward() if loops else self._best_turns(excess)
                new_thumb = self.found.map.alone in chosen
                in_line = 0.0 if abs(self.pin_now) < 2 * PIN_STEP_MM else _on_grid(-self.pin_now)
                pin = in_line if new_thumb else self._best_pin(excess, turns)
                yield self.after(turns, pin, chosen)

    def after(self, turns: float, pin_mm: float, new: tuple[int, ...] = ()) -> Outcome:
        """What a move brings, executed as people execute it.

        Parameters: turns of both screws, + in; pin_mm [mm], + pulled in; new, cords replaced.
        Returns: Outcome over the posterior's guesses.
        """
        f, w = self.found, self.wanted
        excess = self._with_new(new) if new else f.excess_mm
        tension, pin = self._slides(turns, pin_mm)
        if new and not self._stays(turns):
            tension = np.maximum(tension, self.tension.min_mm)
        bar, tilt = f.map.bar(excess, tension)
        thumb = f.map.thumb(excess, pin)
        # A changed hand is worked again, and whether friction then keeps the thumb bent is open anew: in
        # the referee, thumbs that sprang back at a lead of 5 to 9 degrees stayed bent at 1 to 4.
        moved = bool(new) or not self._stays(turns) or abs(pin_mm) > 1e-9
        held = self.held_anew if moved else f.held_ratio
        worked = worked_from(bar, thumb, held) + MODEL_SD_DEG * self.model_error
        lead = thumb - bar
        good = (worked >= w.least_deg) & (worked <= w.most_deg) & (np.abs(lead) <= w.lead_limit_deg)
        return Outcome(
            turns=turns + 0.0,  # no negative nought in records
            pin_mm=pin_mm,
            new_cords=new,
            excess_mm=excess,
            tension_mm=tension,
            thumb_pin_mm=pin,
            worked_deg=worked,
            lowered_deg=np.maximum(bar, thumb) - 0.06,
            lead_deg=lead,
            bar_deg=bar,
            tilt_deg=tilt,
            p_success=min(1.0, float(f.weight @ good)),
            p_level=min(1.0, float(f.weight @ (np.abs(tilt) <= w.tilt_limit_deg))),
        )

    def finished_mm(self, cord: int) -> float:
        """Finished length of a new cord: on target with the screws forward and the pin in line."""
        return nominal_length_mm(self.design, cord) + self._aim_mm(cord)

    def turn_choices(self) -> Floats:
        """Turns of both screws that can be asked for, in half turns, forward ones included.

        Screws that stand in further than is allowed come all the way forward, or cords are replaced.
        """
        last = min(ALLOWED_TURNS, (self.tension.max_mm - self.tension.min_mm) / self.pitch)
        first = self._forward()
        if self.turns_now > ALLOWED_TURNS + HALF_TURN:
            return np.array([first])
        count = int(np.floor((last - self.turns_now - first) / HALF_TURN + GRID_SLACK))
        return np.asarray(first + HALF_TURN * np.arange(max(count, 0) + 1), dtype=np.float64)

    def _forward(self) -> float:
        """Half turns that bring the screws to their forward end, or just short of it."""
        return -_on_grid(self.turns_now, HALF_TURN)

    def _stays(self, turns: float) -> bool:
        return abs(turns) < 1e-9

    def _slides(self, turns: float, pin_mm: float) -> tuple[Floats, Floats]:
        """Both slides after a move; what is left alone is where it was."""
        tension, pin = self.found.tension_mm, self.found.thumb_pin_mm
        if not self._stays(turns):
            tension = tension + self.pitch * (turns + TURN_SD * self.turn_error)
            tension = np.clip(tension, self.tension.min_mm, self.tension.max_mm)
        if abs(pin_mm) > 1e-9:
            pin = np.clip(pin + pin_mm + PIN_SD_MM * self.pin_error, self.pin.min_mm, self.pin.max_mm)
        return tension, pin

    def _best_turns(self, excess: Floats) -> float:
        """Nearest to the target in the mean square, forward preferred.

        The cost is convex in the turns and moves with the loops' length, so a hand with longer loops
        is never told to turn in less.
        """
        choices, costs = self.turn_choices(), []
        for turns in choices:
            bar, _ = self.found.map.bar(excess, self._slides(float(turns), 0.0)[0])
            off = self.found.weight @ (bar - self.wanted.target_deg) ** 2
            costs.append(off + TURN_COST_DEG2 * max(self.turns_now + turns, 0.0))
        return float(choices[int(np.argmin(costs))])

    def _best_pin(self, excess: Floats, turns: float) -> float:
        """The pin move after which the thumb starts just after the fingers."""
        low = max(self.pin.min_mm, self.wanted.pin_low_mm + PIN_STEP_MM)
        high = min(self.pin.max_mm, self.wanted.pin_high_mm - PIN_STEP_MM)
        steps = PIN_STEP_MM * np.arange(
            np.ceil((low - self.pin_now) / PIN_STEP_MM - GRID_SLACK),
            np.floor((high - self.pin_now) / PIN_STEP_MM + GRID_SLACK) + 1.0,
        )
        bar, _ = self.found.map.bar(excess, self._slides(turns, 0.0)[0])

        def cost(move: float) -> float:
            lead = self.found.map.thumb(excess, self._slides(0.0, move)[1]) - bar
            off = self.found.weight @ np.clip(lead - self.thumb_aim_deg, -10.0, 10.0) ** 2
            return float(off + PIN_COST_DEG2 * (self.pin_now + move) ** 2)

        if not len(steps):
            return 0.0
        best = float(min(steps, key=lambda move: cost(float(move))))
        if not low - 2 * PIN_STEP_MM <= self.pin_now <= high + 2 * PIN_STEP_MM:
            return best
        return best if cost(best) < cost(0.0) - LEAVE_DEG2 else 0.0

    def _with_new(self, cords: tuple[int, ...]) -> Floats:
        """The guesses with some cords replaced: cut and knotted as well as people do it."""
        excess = self.found.excess_mm.copy()
        for c in cords:
            cord = self.design.cords[c]
            seating = cord.u_knot_seating_mm * np.sqrt(cord.knot_count) * self.seat_error[:, c]
            excess[:, c] = self._aim_mm(c) + cord.cut_tolerance_mm * self.cut_error[:, c] + seating
        return excess

    def _aim_mm(self, cord: int) -> float:
        """Excess at which a new cord puts the hand on its target, slides at zero."""
        table = self.found.map
        if cord == table.alone:
            wanted, axis = self.wanted.target_deg + self.thumb_aim_deg, ALONE_MM
            guess = np.zeros((len(axis), len(self.design.cords)))
            guess[:, cord] = axis
            angle = table.thumb(guess, np.zeros(len(axis)))
        else:
            wanted, axis = self.wanted.target_deg, MEAN_MM
            guess = np.zeros((len(axis), len(self.design.cords)))
            guess[:, list(table.loops)] = axis[:, None]
            angle, _ = table.bar(guess, np.zeros(len(axis)))
        return float(np.interp(wanted, angle[::-1], axis[::-1]))


def nominal_length_mm(design: Design, cord: int) -> float:
    """Length of a cord between its ends, knots drawn tight, that rests at the design's target.

    Parameters: design, placed; cord, its index.
    Returns: length [mm].
    Raises: nothing of its own.
    Valid for: slides at zero, digits straight, bar level.
    Source: the engine's own length, from its spring rate EA / length.
    Checked by: unit/test_fix.py
    """
    model = compile_model(design, nominal_build(design, 1))
    return float(design.cords[cord].axial_stiffness_n / model.cord_stiffness[0, cord])


def cut_length_mm(cord: Cord, finished_mm: float) -> float:
    """Length to cut a cord to: its knots give a little in the first closings, and need their tails.

    Parameters: cord; finished_mm [mm], wanted once the knots have seated.
    Returns: length [mm].
    Raises: nothing of its own.
    Valid for: knots tied as on the trial pieces behind the design's numbers.
    Source: sum; seating is taken off beforehand, because it makes the cord longer.
    Checked by: unit/test_fix.py
    """
    return finished_mm - cord.knot_count * cord.knot_seating_mm + cord.tail_mm


def _on_grid(x: float, step: float = PIN_STEP_MM) -> float:
    return float(np.round(x / step) * step) + 0.0
