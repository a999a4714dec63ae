"""Hands of the independent generator by the ten thousand: its own recipes, worked by the swift engine.

What the generator itself takes half a second for, in MuJoCo, is done here in some milliseconds: the recipe is drawn by
the generator's own code, its shape put together digit by digit from a grid of shapes, and what the swift engine
says of it is corrected by what MuJoCo said otherwise of another hand with the same fault. That keeps the mismatch of
the two engines in, as it comes, tails included. Hands are drawn again as the generator does until they fail
something, or nothing. Only ceilings are made of these hands; no diagnosis sees them.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace
from functools import cache, reduce
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "independent"))

import faulty_shapes as shapes
from faulty_builds import Fault, Recipe, with_faults
from faulty_hand import TRIES, sound_hand, which_faults
from faulty_ranges import ranges
from faulty_readings import Volunteer
from swift_against_referee import recipe_of
from swift_hands import DRAGGED_DEG, PRESLIDING_MM

from handsel.design.model import Design
from handsel.mechanics.build import Build
from handsel.mechanics.digit_curves import DigitTables, digit_tables
from handsel.mechanics.swift_cords import as_drawn
from handsel.mechanics.swift_hand import Looks, looks

Floats = NDArray[np.float64]
Table = dict[str, Floats]  # by quantity: (hands, places)

GAPS = tuple(
    np.arange(0.45, 0.851, 0.05).round(3)
)  # the grid's steps: half of one moves no reading by its own noise
SIZES = tuple(np.concatenate([np.arange(0.86, 0.941, 0.02), np.arange(1.06, 1.141, 0.02)]).round(3))
ALIKE = 10  # hands of one kind that are nearest in how far their pads miss
NEAREST = 4  # hands of the other engine whose joints come back alike: one of them is taken
KNOTS = ("index", "middle", "ring", "little", "thumb", "thumb-pin")
SCREWS = ("thumb-side", "little-side")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shapes:
    """The grid of shapes, each at every digit it can be at: tables, and which variant is which."""

    design: Design
    tables: DigitTables
    number: dict[tuple[Any, ...], int]


@cache
def all_shapes(design: Design) -> Shapes:
    """Made once."""
    digits = [g.name for g in design.digits]
    fingers = [g for g in digits if g != "thumb"]
    made: dict[tuple[Any, ...], Design] = {(): design}

    def each(change: Callable[[Design, str], Design]) -> Design:
        return reduce(change, digits, design)

    for toward in GAPS:
        made["gap", toward] = each(lambda d, g, x=toward: shapes.cord_through_gap(d, g, x))
    for segment in ("proximal", "tip"):
        for ratio in SIZES:
            made[segment, ratio] = each(lambda d, g, s=segment, x=ratio: shapes.part_sized(d, g, s, x))
    for one in fingers:
        made["thumb's", one] = shapes.proximals_exchanged(design, one)
        for other in fingers:
            if one < other:
                made["tips", one, other] = shapes.tips_swapped(design, one, other)
    return Shapes(
        design=design, tables=digit_tables(tuple(made.values())), number={k: i for i, k in enumerate(made)}
    )


def _variants(s: Shapes, r: Recipe) -> tuple[list[int], list[float]]:
    """Of each digit: which shape it has, and how much of its other cord length was made up for."""
    variant, follows = [], []
    severity = {name.rpartition(" ")[0]: x for name, x in r.severity.items()}
    for g in (d.name for d in s.design.digits):
        key: tuple[Any, ...] = ()
        if g in r.wrong_tip:
            key = ("tips", *sorted(r.wrong_tip))
        elif g in r.wrong_proximal:
            key = ("thumb's", next(x for x in r.wrong_proximal if x != "thumb"))
        elif g in r.in_gap:
            key = ("gap", _near(GAPS, severity[f"cord-through-gap@{g}"]))
        for segment in ("proximal", "tip"):
            if f"{g}_{segment}" in r.part_percent:
                key = (segment, _near(SIZES, r.part_percent[f"{g}_{segment}"] / 100.0))
        variant.append(s.number[key])
        follows.append(float(bool(key) and _drawn_alike(r.tied_design, r.design, g)))
    return variant, follows


def _near(grid: Sequence[float], x: float) -> float:
    return float(min(grid, key=lambda y: abs(y - x)))


def _drawn_alike(one: Design, other: Design, digit: str) -> bool:
    """Whether a digit's cord runs the same way in both: then it was tied to what is there."""

    def line(d: Design) -> Any:
        own = next(g for g in d.digits if g.name == digit)
        leg = next(leg for c in d.cords for leg in c.legs if leg.digit == digit)
        return leg.points, d.hinge(own.tip_hinge).origin_mm

    return bool(line(one) == line(other))


def worked(design: Design, recipes: Sequence[Recipe]) -> Looks:
    """The swift engine's looks at hands with any faults, many at a time."""
    s = all_shapes(design)
    names = [g.name for g in design.digits]
    variant, follows = zip(*(_variants(s, r) for r in recipes), strict=True)
    mu = np.array([float(r.build.friction_mu[0]) for r in recipes])
    build = Build(
        **{f.name: np.concatenate([getattr(r.build, f.name) for r in recipes]) for f in fields(Build)}
    )
    build = replace(
        build,
        friction_mu=mu[:, None] * [[r.leg_mu_ratio[g] for g in names] for r in recipes],
        bar_locked=np.array([r.jam_deg is not None for r in recipes]),
    )
    askew = np.array([r.askew_deg for r in recipes])
    hand = replace(
        as_drawn(design, build),
        variant=np.array(variant, dtype=np.intp),
        follows_ratio=np.array(follows),
        eyelet_mu=mu,
        block_turn_deg=-askew[:, 0],  # the bar's axis points down, the yaw's up
        block_roll_deg=askew[:, 1],
        locked_tilt_deg=np.array([r.jam_deg or 0.0 for r in recipes]),
        dragged_deg=np.full(len(recipes), DRAGGED_DEG),
        meet_mm=np.zeros(len(recipes)),  # hard pads
        presliding_mm=np.full(len(recipes), PRESLIDING_MM),
    )
    return looks(design, s.tables, hand)


# --- what both engines say of a hand, in the same words

MOVED = ("worked", "lowered", "tilt", "tip_bend", "lead", "gap", "slack", "bend", "reach", "left", "pull_log2",
         "ahead", "lag")  # fmt: skip

BY_DIGIT, BY_FINGER = ("slack", "bend", "reach", "left", "pull_log2"), ("ahead", "lag")
NEVER_BELOW_0 = ("gap", "slack", "left")


def _of_swift(design: Design, s: Looks) -> Table:
    fingers = [k for k, g in enumerate(design.digits) if g.name != "thumb"]
    out = dict(
        worked=s.worked_rest_deg[:, None], lowered=s.lowered_rest_deg[:, None], tilt=s.tilt_deg[:, None],
        tip_bend=s.thumb_tip_bend_deg[:, None], lead=s.thumb_lead_deg[:, None], gap=s.tip_gap_mm,
        slack=np.maximum(s.slack_mm, 0.0), bend=s.bend_deg, reach=s.reach_deg, left=s.left_bent_deg,
        pull_log2=s.pull_log2, ahead=s.start_lead_deg[:, fingers], lag=s.apart_deg[:, fingers],
    )  # fmt: skip
    return {k: np.asarray(v, dtype=float) for k, v in out.items()} | {
        "surplus": s.return_nmm.reshape(len(s.tilt_deg), -1)
    }


def _of_referee(design: Design, truths: Sequence[dict[str, Any]]) -> Table:
    names = [g.name for g in design.digits]
    thumb = names.index("thumb")
    fingers = [k for k in range(len(names)) if k != thumb]
    legs = [names.index(leg.digit) for c in design.cords for leg in c.legs]
    of_leg = [k for k, c in enumerate(design.cords) for _ in c.legs]

    def column(name: str) -> Floats:
        return np.array([t[name] for t in truths], dtype=float)

    start, slack = column("start_deg"), np.maximum(column("leg_slack_mm"), 0.0)
    by_digit = np.zeros((len(truths), len(names)))
    by_digit[:, legs] = slack[:, of_leg]
    ahead = np.stack(
        [start[:, f] - np.median(start[:, [g for g in fingers if g != f]], axis=1) for f in fingers], 1
    )
    return dict(
        worked=column("worked_deg")[:, None], lowered=column("lowered_deg")[:, None],
        tilt=column("tilt_deg")[:, None], tip_bend=column("thumb_tip_bend_deg")[:, None],
        lead=(start[:, thumb] - start[:, fingers].max(1))[:, None], gap=column("gap_mm"), slack=by_digit,
        bend=column("bend_at_rest_deg"), reach=column("reach_deg"), left=column("left_bent_deg"),
        pull_log2=np.log2(column("pull_ratio")), ahead=ahead, lag=column("lag_deg")[:, fingers],
        return_s=column("return_s").reshape(len(truths), -1), stays=column("stays_deg").reshape(len(truths), -1),
    )  # fmt: skip


class Mismatch:
    """What MuJoCo says otherwise than the swift engine, hand by hand, of hands that both have worked."""

    def __init__(self, design: Design, lines: Sequence[dict[str, Any]]) -> None:
        recipes = [recipe_of(design, line) for line in lines]
        self.names = [g.name for g in design.digits]
        ours, theirs = (
            _of_swift(design, worked(design, recipes)),
            _of_referee(design, [x["truth"] for x in lines]),
        )
        self.off = {k: theirs[k] - ours[k] for k in MOVED}
        self.gap = ours["gap"].min(1)
        self.surplus, self.return_s, self.stays = ours["surplus"], theirs["return_s"], theirs["stays"]
        self.of_kind: dict[str, list[int]] = {}
        self.digit = [self._digit(r.faults[0]) if r.faults else None for r in recipes]
        for i, r in enumerate(recipes):
            for name in self._groups(r.faults):
                self.of_kind.setdefault(name, []).append(i)

    def _digit(self, f: Fault) -> int | None:
        first = f.place.replace(".", "-").split("-")[0]
        return self.names.index(first) if first in self.names else None

    def _groups(self, faults: Sequence[Fault]) -> list[str]:
        """A hand with two faults is like those with its first: that is what is kept of it."""
        if not faults:
            return ["faultless", "any"]
        f = faults[0]
        thumbs = self._digit(f) == self.names.index("thumb")
        return [f"{f.kind}{' thumb' if thumbs else ''}", "any"]

    def put_on(self, recipes: Sequence[Recipe], ours: Table, rng: np.random.Generator) -> Table:
        """The swift engine's looks as MuJoCo might have had them."""
        donor = np.empty(len(recipes), dtype=np.intp)
        swap = np.tile(np.arange(len(self.names)), (len(recipes), 1))
        for i, r in enumerate(recipes):
            fault = r.faults[int(rng.integers(len(r.faults)))] if r.faults else None
            donor[i] = self._donor(fault, float(ours["gap"][i].min()), rng)
            mine, theirs = self._digit(fault) if fault else None, self.digit[donor[i]]
            if mine is not None and theirs is not None:
                swap[i, [mine, theirs]] = swap[i, [theirs, mine]]
        out = {}
        for k in MOVED:
            off = self.off[k][donor]
            if k in BY_DIGIT:
                off = np.take_along_axis(off, swap, axis=1)
            elif k in BY_FINGER:
                off = np.take_along_axis(off, self._fingers(swap), axis=1)
            out[k] = ours[k] + np.nan_to_num(off)
        for k in NEVER_BELOW_0:
            out[k] = np.maximum(out[k], 0.0)
        out["return_s"], out["stays"] = self._coming_back(ours["surplus"], rng)
        return out

    def _donor(self, fault: Fault | None, gap_mm: float, rng: np.random.Generator) -> int:
        """A hand with the same fault, as near to a pinch: whether pads just meet decides what else is seen."""
        groups = self._groups([fault] if fault else [])
        some = np.array(self.of_kind.get(groups[0]) or self.of_kind[groups[-1]])
        near = np.argsort(np.abs(self.gap[some] - gap_mm))[:ALIKE]
        return int(some[near[int(rng.integers(len(near)))]])

    def _fingers(self, swap: NDArray[np.intp]) -> NDArray[np.intp]:
        """The same of the fingers alone: the thumb swaps with none of them."""
        thumb = self.names.index("thumb")
        kept = np.delete(swap, thumb, axis=1)
        own = np.arange(len(self.names) - 1)
        position = np.where(kept > thumb, kept - 1, kept)
        return np.where(kept == thumb, own[None, :], position)

    def _coming_back(self, surplus: Floats, rng: np.random.Generator) -> tuple[Floats, Floats]:
        """How long each joint takes, and where it stays: of a joint in MuJoCo with much the same surplus."""
        took, stays = np.empty_like(surplus), np.empty_like(surplus)
        for j in range(surplus.shape[1]):
            order = np.argsort(self.surplus[:, j])
            at = np.searchsorted(self.surplus[order, j], surplus[:, j]) + rng.integers(
                -NEAREST // 2, NEAREST // 2, len(surplus)
            )
            pick = order[np.clip(at, 0, len(order) - 1)]
            took[:, j], stays[:, j] = self.return_s[pick, j], self.stays[pick, j]
        return took, stays


# --- what the recipe itself says


def _of_recipe(design: Design, r: Recipe, exact: Volunteer) -> dict[str, list[float]]:
    names = [g.name for g in design.digits]
    fingers = [g for g in names if g != "thumb"]
    exact.recipe = r
    pull = exact.elastic_pull()
    return dict(
        slide=[float(r.build.tension_slide_mm[0])], pin=[float(r.build.thumb_pin_mm[0])], turns=list(r.turns),
        proximal=[exact.percent(g, "proximal") for g in names], tip=[exact.percent(g, "tip") for g in names],
        bar=[exact.bar_nmm()], wrist=[exact.wrist_nmm()], wrist_rough=[float(r.build.wrist_friction_nmm[0])],
        hinge=[float(r.build.hinge_friction_nmm[0].max())], in_gap=[g in r.in_gap for g in names],
        sharp=[r.leg_mu_ratio[g] > 2.5 for g in names], wrong_tip=[g in r.wrong_tip for g in fingers],
        wrong_proximal=[g in r.wrong_proximal for g in names], gone=[g in r.elastic_gone for g in names],
        elastic=[pull[g] for g in names], spins=[side in r.spins for side in SCREWS],
        slipped=[r.slipped_mm.get(k, 0.0) for k in KNOTS], askew=[max(abs(x) for x in r.askew_deg)],
        scaled=[max((abs(p - 100.0) for p in r.part_percent.values()), default=0.0)],
    )  # fmt: skip


def fails(t: Table, sound: Any) -> NDArray[np.bool_]:
    """Whether hands fail anything that the protocol asks for, as `faulty_readings.failures` has it; (n,)."""
    cut = {k: v["at"] for k, v in ranges()["judgement"].items() if isinstance(v, dict)}
    low = cut["elastic_feels_ratio"]
    bad = [
        t["worked"] < 30.0, np.abs(t["tilt"]) > 5.0, t["tip_bend"] > 12.0, np.abs(t["lead"]) > 5.0,
        (t["slide"] < -1.5) | (t["slide"] > 4.0), np.abs(t["pin"]) > 3.5, t["turns"] > 6.0,
        np.abs(t["turns"][:, :1] - t["turns"][:, 1:]) > cut["uneven_screws_turn"], t["spins"] > 0,
        t["finger_slack"] > cut["slack_leg_mm"], t["bend"] > cut["bent_at_rest_deg"], t["lag"] > cut["lag_deg"],
        t["gap"].min(1, keepdims=True) > cut["pads_meet_mm"], t["left"] > cut["not_reopened_deg"],
        t["hinge"] > cut["hinge_falls_nmm"], t["bar"] > cut["bar_rocks_nmm"], t["wrist"] > cut["falls_freely_nmm"],
        t["pull_log2"] > np.log2(cut["pull_heavy_ratio"]), t["wrist_rough"] > cut["rough_wrist_nmm"],
        t["in_gap"] > 0, t["wrong_tip"] > 0, t["wrong_proximal"] > 0, (t["elastic"] < low) | (t["elastic"] > 1.0 / low),
        t["gone"] > 0, t["slipped"] > cut["tail_gone_mm"], t["askew"] > cut["askew_deg"], t["scaled"] > 2.0,
    ]  # fmt: skip
    return np.asarray(np.any(np.concatenate(bad, axis=1), axis=1))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Hands:
    """Many hands: their faults by name, and what is true of them."""

    faults: list[tuple[str, ...]]
    table: Table


def drawn_hands(design: Design, mismatch: Mismatch, seed: int, numbers: Sequence[int]) -> Hands:
    """The hands of a seed and some numbers, drawn as the generator draws them; those never drawn well are left out."""
    rng = np.random.default_rng([seed, 1])
    sound = sound_hand(design)
    exact = Volunteer(with_faults(design, (), rng), sound, sound, rng)
    streams = {k: np.random.default_rng([seed, k]) for k in numbers}
    faults = {k: which_faults(design, streams[k], k) for k in numbers}
    left, done = list(numbers), []
    for tries in range(TRIES):
        harder = min(0.1 * tries, 0.8)
        recipes = [
            with_faults(design, faults[k], streams[k], harder=harder if faults[k] else 0.0) for k in left
        ]
        seen = mismatch.put_on(recipes, _of_swift(design, worked(design, recipes)), rng)
        own = [_of_recipe(design, r, exact) for r in recipes]
        table = seen | {k: np.array([o[k] for o in own], dtype=float) for k in own[0]}
        names = [g.name for g in design.digits]
        table["finger_slack"] = np.delete(table["slack"], names.index("thumb"), axis=1)
        good = fails(table, sound) == np.array([bool(r.faults) for r in recipes])
        done.append(({k: v[good].astype(np.float32) for k, v in table.items()},
                     [tuple(map(str, r.faults)) for r, yes in zip(recipes, good, strict=True) if yes]))  # fmt: skip
        left = [k for k, yes in zip(left, good, strict=True) if not yes]
        if not left:
            break
    return joined([Hands(faults=f, table=t) for t, f in done if f])


def joined(some: Sequence[Hands]) -> Hands:
    return Hands(
        faults=[f for h in some for f in h.faults],
        table={k: np.concatenate([h.table[k] for h in some]) for k in some[0].table},
    )
