"""How the hand rests and closes, now and after a move: numbers with intervals, and poses to draw."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from handsel.design.model import Design
from handsel.mechanics.build import nominal_build
from handsel.mechanics.closing import MEET_MM, SLACK_LEAD_DEG, Path, closed_angle, closing_path, opening_path
from handsel.mechanics.model import Model, compile_model
from handsel.mechanics.rest import TAUT_N
from handsel.rework.moves import Outcome, pin_slide, tension_slide
from handsel.rework.result import Estimate, PoseDrawn, Prediction

Floats = NDArray[np.float64]

CLOSE_STEP_DEG = 4.0
CLOSE_STAGES_DEG = (16.0, 4.0, -8.0, -20.0)  # looked at after each; the last is far past any use
STEP_U_DEG = 0.3  # what the coarse steps cost, against steps of 2 degrees
POSES = 6


def estimate(values: Floats, weight: Floats, unit: str) -> Estimate:
    """Mean, standard uncertainty and 95 % interval of weighed guesses.

    Parameters: values, weight : (n,) float; unit.
    Returns: Estimate.
    Raises: nothing of its own.
    Valid for: hundreds of guesses.
    Source: JCGM 101:2008 7.6, 7.7 (interval with equal tails).
    Checked by: unit/test_fix.py
    """
    mean = float(weight @ values)
    order = np.argsort(values)
    share = np.cumsum(weight[order])
    at = [min(int(np.searchsorted(share, p)), len(values) - 1) for p in (0.025, 0.975)]
    low, high = (float(x) for x in values[order][at])
    return Estimate(
        value=mean, u=float(np.sqrt(weight @ (values - mean) ** 2)), low=low, high=high, unit=unit
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Closings:
    """Closing paths of the hand now (if it was asked for) and after, and how unsure their ends are."""

    path: Path
    row_before: int  # of the path; the same as `row_after` when nothing moves
    row_after: int
    u_closed_deg: float


def closings(design: Design, weight: Floats, now: Outcome, after: Outcome) -> Closings:
    """Close the mean hand, before and after the move, and after it with more friction too.

    Parameters: design, placed; weight : (n,) float [-]; now, after, outcomes.
    Returns: Closings.
    Raises: nothing of its own.
    Valid for: as closing_path.
    Source: closing_path of the engine; friction's part by one more run at mu + u(mu).
    Checked by: unit/test_assessment.py
    """
    hands = [after, after] if after is now else [after, after, now]
    means = [(weight @ h.excess_mm, weight @ h.tension_mm, weight @ h.thumb_pin_mm) for h in hands]
    build = nominal_build(design, len(hands))
    mu = build.friction_mu.copy()
    mu[1] += design.cords[0].u_friction_mu
    model = compile_model(
        design,
        replace(
            build,
            friction_mu=mu,
            excess_mm=np.array([m[0] for m in means]),
            tension_slide_mm=np.array([m[1] for m in means]),
            thumb_pin_mm=np.array([m[2] for m in means]),
        ),
    )
    path = _until_closed(model)
    ends = closed_angle(path, MEET_MM)
    friction = float(ends[1] - ends[0]) if np.isfinite(ends[:2]).all() else 3.0
    return Closings(
        path=path,
        row_before=len(hands) - 1 if after is not now else 0,
        row_after=0,
        u_closed_deg=float(np.hypot(friction, STEP_U_DEG)),
    )


def _until_closed(model: Model) -> Path:
    """The closing path as far as it is needed; until the pads meet nothing touches, so without contact."""
    path = closing_path(model, to_deg=CLOSE_STAGES_DEG[0], step_deg=CLOSE_STEP_DEG, contact=False)
    for to_deg in CLOSE_STAGES_DEG[1:]:
        if np.isfinite(closed_angle(path, MEET_MM)).all():
            break
        # The walk goes on from where it ended; it is the same whether the wrist bends or opens.
        on = opening_path(model, path, to_deg=to_deg, step_deg=CLOSE_STEP_DEG, contact=False)
        joined: dict[str, Any] = {
            f.name: np.concatenate([getattr(path, f.name), getattr(on, f.name)[:, 1:]], axis=1)
            for f in fields(Path)
            if not f.name.startswith("last_")
        }
        path = replace(on, **joined)
    return path


def predict(design: Design, weight: Floats, hand: Outcome, closing: Closings, row: int) -> Prediction:
    """How a hand rests and closes, with 95 % intervals.

    Parameters: design, placed; weight : (n,) float [-]; hand, an outcome; closing and its row.
    Returns: Prediction. Where the fingers start decides where they close, degree for degree.
    Raises: nothing of its own.
    Valid for: friction and elastics near the design's.
    Source: the posterior's guesses; JCGM 100 for joining the closing angle's parts.
    Checked by: unit/test_fix.py, unit/test_assessment.py
    """
    tension, pin = tension_slide(design), pin_slide(design)
    at, at_pin = float(weight @ hand.tension_mm), float(weight @ hand.thumb_pin_mm)
    closed = float(closed_angle(closing.path, MEET_MM)[row])
    closed_at = None
    if np.isfinite(closed):
        u = float(
            np.hypot(closing.u_closed_deg, np.sqrt(weight @ (hand.bar_deg - weight @ hand.bar_deg) ** 2))
        )
        closed_at = Estimate(value=closed, u=u, low=closed - 1.96 * u, high=closed + 1.96 * u, unit="deg")
    return Prediction(
        worked_rest_angle_deg=estimate(hand.worked_deg, weight, "deg"),
        lowered_rest_angle_deg=estimate(hand.lowered_deg, weight, "deg"),
        thumb_lead_deg=estimate(hand.lead_deg, weight, "deg"),
        closed_wrist_deg=closed_at,
        screw_turns_left=max(0.0, (tension.max_mm - at) / (tension.pitch_mm_per_turn or 0.5)),
        thumb_pin_left_mm=max(0.0, pin.max_mm - at_pin),
    )


def rest_drawn(
    label: str, weight: Floats, hand: Outcome, closing: Closings, row: int, taut: Floats
) -> PoseDrawn:
    """The hand at rest after working, for the drawing; the thumb is bent where it starts first."""
    wrist, path = float(weight @ hand.worked_deg), closing.path
    digits = path.phi_deg.shape[2]
    phi = np.zeros((digits, 2))
    if weight @ hand.lead_deg > 0.5:  # between where the thumb starts and the fingers do, it alone has bent
        order = np.argsort(path.wrist_deg[row])
        at = path.wrist_deg[row][order]
        phi = np.array(
            [[np.interp(wrist, at, path.phi_deg[row][order, g, j]) for j in (0, 1)] for g in range(digits)]
        )
    return PoseDrawn(
        label=label,
        wrist_deg=wrist,
        tilt_deg=float(weight @ hand.tilt_deg),
        phi_deg=tuple((float(a), float(b)) for a, b in phi),
        tension_slide_mm=float(weight @ hand.tension_mm),
        thumb_pin_mm=float(weight @ hand.thumb_pin_mm),
        taut=tuple(bool(t >= 0.5) for t in taut),
    )


def closing_drawn(weight: Floats, hand: Outcome, closing: Closings, row: int) -> tuple[PoseDrawn, ...]:
    """A few poses from rest to closed, evenly over the wrist's way."""
    path = closing.path
    wrist = path.wrist_deg[row]
    closed = float(closed_angle(path, MEET_MM)[row])
    last = closed if np.isfinite(closed) else float(wrist[-1])
    order = np.argsort(wrist)
    poses = []
    for k, at in enumerate(np.linspace(wrist[0] - SLACK_LEAD_DEG, last, POSES)):

        def there(y: Floats, at: float = float(at)) -> float:
            return float(np.interp(at, wrist[order], y[order]))

        label = (
            "at rest"
            if k == 0
            else "closed"
            if k == POSES - 1 and np.isfinite(closed)
            else f"wrist at {at:.0f}°"
        )
        phi = path.phi_deg[row]
        tension = path.cord_tension_n[row]
        poses.append(
            PoseDrawn(
                label=label,
                wrist_deg=float(at),
                tilt_deg=there(path.tilt_deg[row]),
                phi_deg=tuple((there(phi[:, g, 0]), there(phi[:, g, 1])) for g in range(phi.shape[1])),
                tension_slide_mm=float(weight @ hand.tension_mm),
                thumb_pin_mm=float(weight @ hand.thumb_pin_mm),
                taut=tuple(there(tension[:, c]) > TAUT_N for c in range(tension.shape[1])),
            )
        )
    return tuple(poses)
