"""One independent faulty hand from a seed: built, worked, read and written as a line of JSON."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from functools import cache
from typing import Any

import numpy as np
from faulty_builds import Fault, Recipe, all_faults, go_together, places, with_faults
from faulty_motion import Worked, as_designed, work
from faulty_ranges import ranges
from faulty_readings import Said, Volunteer, failures

from handsel.design.model import Design

TRIES = 12


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Made:
    """A hand with its truth and its record."""

    seed: int
    number: int
    recipe: Recipe
    truth: Worked
    said: tuple[Said, ...]
    fails: tuple[str, ...]
    tries: int  # how often it was drawn until it failed something (or, faultless, nothing)


@cache
def sound_hand(design: Design) -> Worked:
    """What people mean by a good hand."""
    return work(as_designed(design))


def which_faults(design: Design, rng: np.random.Generator, number: int) -> tuple[Fault, ...]:
    """None, one or two; kinds take turns, so that every kind comes as often as every other."""
    mix = ranges()["mix"]
    what = rng.random()
    if what < mix["faultless_share"]:
        return ()
    kinds = list(places(design))
    first = _somewhere(design, kinds[number % len(kinds)], rng)
    if what >= mix["faultless_share"] + mix["pair_share"]:
        return (first,)
    others = [f for f in all_faults(design) if f != first and go_together(design, first, f)]
    kind = str(rng.choice(sorted({f.kind for f in others})))
    second = [f for f in others if f.kind == kind]
    return (first, second[int(rng.integers(len(second)))])


def _somewhere(design: Design, kind: str, rng: np.random.Generator) -> Fault:
    where = places(design)[kind]
    return Fault(kind, where[int(rng.integers(len(where)))])


def make(
    design: Design, seed: int, number: int, faults: tuple[Fault, ...] | None = None, *, harder: float = 0.0
) -> Made:
    """The hand of this seed and number, always the same one; `harder` leaves out the mild end to begin with.

    Drawn again, each time without more of the mild end of its severities, until it fails something that the
    protocol asks for; a faultless one until it fails nothing.
    """
    rng = np.random.default_rng([seed, number])
    faults = which_faults(design, rng, number) if faults is None else faults
    sound = sound_hand(design)
    for k in range(TRIES):
        recipe = with_faults(design, faults, rng, harder=min(harder + 0.1 * k, 0.8) if faults else 0.0)
        truth = work(recipe)
        fails = failures(recipe, truth, sound)
        if truth.settled and bool(fails) == bool(faults):
            break
    else:
        raise RuntimeError(f"hand {seed}/{number}, {[str(f) for f in faults]}: not drawn in {TRIES} tries")
    said = Volunteer(recipe, truth, sound, rng).record()
    return Made(
        seed=seed,
        number=number,
        recipe=recipe,
        truth=truth,
        said=tuple(said),
        fails=tuple(fails),
        tries=k + 1,
    )


def as_line(made: Made) -> dict[str, Any]:
    """What is written of a hand: numbers and words only."""
    b = made.recipe.build
    return {
        "seed": made.seed,
        "number": made.number,
        "faults": [{"kind": f.kind, "place": f.place} for f in made.recipe.faults],
        "severity": {k: round(v, 3) for k, v in made.recipe.severity.items()},
        "fails": list(made.fails),
        "tries": made.tries,
        "observations": [{k: v for k, v in asdict(s).items() if v not in ("", None)} for s in made.said],
        "truth": {k: _plain(v) for k, v in asdict(made.truth).items()},
        "build": {
            "excess_mm": np.round(b.excess_mm[0], 3).tolist(),
            "cord_mu": round(float(b.friction_mu[0]), 4),
            "leg_mu_ratio": {d: round(r, 3) for d, r in made.recipe.leg_mu_ratio.items()},
            "slide_mm": round(float(b.tension_slide_mm[0]), 3),
            "pin_mm": round(float(b.thumb_pin_mm[0]), 3),
            "turns": [round(t, 3) for t in made.recipe.turns],
            "elastic_stiffness_ratio": np.round(b.elastic_stiffness_ratio[0], 3).tolist(),
            "elastic_pretension_ratio": np.round(b.elastic_pretension_ratio[0], 4).tolist(),
            "wrist_nmm": round(float(b.wrist_friction_nmm[0]), 2),
            "bar_nmm": round(float(b.bar_friction_nmm[0]), 2),
            "hinge_nmm": np.round(b.hinge_friction_nmm[0], 2).tolist(),
        },
    }


def _plain(v: Any) -> Any:
    """Rounded; what is not a number becomes nothing."""
    if isinstance(v, np.ndarray):
        return [_plain(x) for x in v.tolist()]
    if isinstance(v, list):
        return [_plain(x) for x in v]
    if isinstance(v, float):
        return round(v, 3) if np.isfinite(v) else None
    return v
