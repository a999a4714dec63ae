"""Independent faulty hands: one hand as volunteers might have built it, with no, one or two faults.

A hand is a recipe: the shape it really has, the shape its cords were cut for, lengths, elastics, frictions,
screws, and what an eye would see of a fault that no movement shows. Faults write themselves into the recipe;
`faulty_ranges` says how much.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from itertools import product

import faulty_shapes as shapes
import numpy as np
from faulty_ranges import draw, lognormal, ranges

from handsel.design.model import Design
from handsel.mechanics.build import Build, nominal_build

FREE_BAR = (-25.0, 25.0)


@dataclass(frozen=True, slots=True, order=True)
class Fault:
    """What is wrong, and where; the same words as the catalogue's."""

    kind: str
    place: str = ""

    def __str__(self) -> str:
        return f"{self.kind}@{self.place}" if self.place else self.kind


@dataclass(slots=True, kw_only=True)
class Recipe:
    """One hand, still being written."""

    design: Design  # as it really is
    tied_design: Design  # for which its cords have the right length
    drawn: Design  # as it should be
    build: Build
    leg_mu_ratio: dict[str, float]  # by digit, against the build's coefficient
    turns: list[float]  # of the screws, as one counts them at the heads: thumb side, little side
    faults: list[Fault] = field(default_factory=list)
    severity: dict[str, float] = field(default_factory=dict)
    jam_deg: float | None = None  # where the whippletree is stuck
    in_gap: set[str] = field(default_factory=set)  # digits
    wrong_tip: set[str] = field(default_factory=set)  # digits that carry the other length of tip
    wrong_proximal: set[str] = field(default_factory=set)  # digits
    part_percent: dict[str, float] = field(default_factory=dict)  # digit_segment -> size, 100 as ordered
    slipped_mm: dict[str, float] = field(default_factory=dict)  # by knot
    spins: set[str] = field(default_factory=set)  # thumb-side, little-side
    askew_deg: tuple[float, float] = (0.0, 0.0)  # yaw, roll of the block on the cuff
    elastic_gone: set[str] = field(default_factory=set)

    def array(self, name: str) -> np.ndarray:
        """One row of the build, to be written to."""
        return getattr(self.build, name)[0]

    def digit(self, name: str) -> int:
        return [d.name for d in self.design.digits].index(name)

    def cord(self, name: str) -> int:
        return [c.name for c in self.design.cords].index(name)

    def reshape(self, change: Callable[[Design], Design], *, tied_to_fit: bool) -> None:
        self.design = change(self.design)
        if tied_to_fit:
            self.tied_design = change(self.tied_design)


def plain_recipe(design: Design, rng: np.random.Generator) -> Recipe:
    """A hand with nothing wrong, as practised people build it."""
    s, b = ranges()["spread"], nominal_build(design, 1)
    cords, digits = len(design.cords), len(design.digits)
    shared = s["cord_template_sd_mm"] * rng.standard_normal()
    b.excess_mm[0] = shared + s["cord_own_sd_mm"] * rng.standard_normal(cords)
    b.friction_mu[0] = draw(s["cord_mu"], rng)
    b.elastic_stiffness_ratio[0] = lognormal(rng, s["elastic_stiffness_sd_log"], digits)
    b.elastic_pretension_ratio[0] *= lognormal(rng, s["elastic_pretension_sd_log"], digits)
    b.elastic_loss_ratio[0] = draw(s["elastic_loss"], rng)
    b.wrist_friction_nmm[0] = draw(s["wrist_friction_nmm"], rng)
    b.bar_friction_nmm[0] = draw(s["bar_friction_nmm"], rng)
    for i in range(digits):
        b.hinge_friction_nmm[0, i, 0] = draw(s["knuckle_friction_nmm"], rng)
        b.hinge_friction_nmm[0, i, 1] = draw(s["tip_friction_nmm"], rng)
    b.cuff_mass_ratio[0] = float(lognormal(rng, s["cuff_mass_sd_log"]))
    pin = design.slide("thumb_pin")
    b.thumb_pin_mm[0] = np.clip(s["thumb_pin_sd_mm"] * rng.standard_normal(), pin.min_mm, pin.max_mm)
    turns = 0.0
    if rng.random() < s["screws_in_share"]:
        turns = 0.5 * int(rng.integers(s["screws_in_half_turns"][0], s["screws_in_half_turns"][1] + 1))
    uneven = s["screws_uneven_sd_turn"] * rng.standard_normal(2) if turns else np.zeros(2)
    recipe = Recipe(
        design=design,
        tied_design=design,
        drawn=design,
        build=b,
        leg_mu_ratio={d.name: float(lognormal(rng, s["leg_mu_ratio_sd_log"])) for d in design.digits},
        turns=[max(turns + float(u), 0.0) for u in uneven],
    )
    _slide_follows(recipe)
    return recipe


def _slide_follows(r: Recipe, follows: tuple[float, float] = (1.0, 1.0)) -> float:
    """Where the screws take the carriage: its middle, and how much it stands askew [deg]."""
    slide = r.design.slide("tension")
    at = [
        min(t * f * (slide.pitch_mm_per_turn or 0.5), slide.max_mm)
        for t, f in zip(r.turns, follows, strict=True)
    ]
    r.build.tension_slide_mm[0] = 0.5 * (at[0] + at[1])
    return float(np.degrees(np.arctan2(at[0] - at[1], slide.screw_spacing_mm)))


def _cant(r: Recipe, cant_deg: float) -> None:
    # The thumb's side drawn back turns the carriage from x to y; the bar's axis points down.
    hinge = r.design.hinge("whippletree")
    sign = -1.0 if hinge.axis[2] < 0 else 1.0
    low, high = (x + sign * cant_deg for x in FREE_BAR)
    r.reshape(lambda d: shapes.bar_between(d, low, high), tied_to_fit=False)


# --- the kinds

Kind = Callable[[Recipe, str, dict, np.random.Generator, float], None]
KINDS: dict[str, Kind] = {}


def _kind(name: str) -> Callable[[Kind], Kind]:
    def keep(f: Kind) -> Kind:
        KINDS[name] = f
        return f

    return keep


def _length_off(r: Recipe, place: str, how: dict, rng: np.random.Generator, harder: float) -> None:
    mm = draw(how["excess_mm"], rng, harder=harder)
    r.array("excess_mm")[r.cord(cord_places(r.design)[place or "thumb"])] += mm
    r.severity["excess_mm"] = mm


for _name in ("loop-long", "loop-short", "thumb-cord-long", "thumb-cord-short"):
    KINDS[_name] = _length_off


@_kind("cord-through-gap")
def _gap(r: Recipe, place: str, how: dict, rng: np.random.Generator, harder: float) -> None:
    toward = draw(how["toward_hinge_ratio"], rng, harder=harder)
    r.reshape(
        lambda d: shapes.cord_through_gap(d, place, toward), tied_to_fit=rng.random() < how["tied_to_fit"]
    )
    r.leg_mu_ratio[place] *= draw(how["edge_mu_ratio"], rng)
    r.in_gap.add(place)
    r.severity["toward_hinge_ratio"] = toward


@_kind("tips-swapped")
def _tips(r: Recipe, place: str, how: dict, rng: np.random.Generator, harder: float) -> None:
    one, other = place.split("-")
    r.reshape(lambda d: shapes.tips_swapped(d, one, other), tied_to_fit=rng.random() < how["tied_to_fit"])
    r.wrong_tip |= {one, other}


@_kind("thumb-part-on-finger")
def _thumb_part(r: Recipe, place: str, how: dict, rng: np.random.Generator, harder: float) -> None:
    r.reshape(lambda d: shapes.proximals_exchanged(d, place), tied_to_fit=rng.random() < how["tied_to_fit"])
    rub = r.array("hinge_friction_nmm")
    finger, thumb = r.digit(place), r.digit("thumb")
    for j in range(2):
        rub[finger, j] += draw(how["finger_hinge_friction_nmm"], rng, harder=harder)
        rub[thumb, j] = draw(how["thumb_hinge_friction_nmm"], rng)
    r.wrong_proximal |= {place, "thumb"}


@_kind("hinge-tight")
def _hinge(r: Recipe, place: str, how: dict, rng: np.random.Generator, harder: float) -> None:
    digit, joint = place.split(".")
    nmm = draw(how["friction_nmm"], rng, harder=harder)
    r.array("hinge_friction_nmm")[r.digit(digit), 0 if joint == "knuckle" else 1] = nmm
    r.severity["friction_nmm"] = nmm


@_kind("elastic-missing")
def _missing(r: Recipe, place: str, how: dict, rng: np.random.Generator, harder: float) -> None:
    r.array("elastic_stiffness_ratio")[r.digit(place)] = max(draw(how["left_ratio"], rng), 1e-4)
    r.elastic_gone.add(place)


@_kind("elastic-weak")
@_kind("elastic-tight")
def _elastic(r: Recipe, place: str, how: dict, rng: np.random.Generator, harder: float) -> None:
    # Drawn at the harder end together; which of the two ratios is nearer to 1 is the milder end.
    for name in ("stiffness_ratio", "pretension_ratio"):
        (low, high) = how[name]["even"]
        u = float(rng.random())
        u = (1.0 - harder) * u if high < 1.0 else harder + (1.0 - harder) * u
        ratio = low + (high - low) * u
        r.array(f"elastic_{name}")[r.digit(place)] *= ratio
        r.severity[name] = ratio


@_kind("whippletree-jammed")
def _jammed(r: Recipe, place: str, how: dict, rng: np.random.Generator, harder: float) -> None:
    r.jam_deg = 0.0 if rng.random() < how["level_share"] else draw(how["jam_deg"], rng)
    r.severity["jam_deg"] = jam = r.jam_deg
    r.reshape(lambda d: shapes.bar_between(d, jam - 0.05, jam + 0.05), tied_to_fit=False)


@_kind("slide-pulled-in")
def _pulled(r: Recipe, place: str, how: dict, rng: np.random.Generator, harder: float) -> None:
    mm = draw(how["slide_mm"], rng, harder=harder)
    pitch = r.design.slide("tension").pitch_mm_per_turn or 0.5
    r.turns = [mm / pitch, mm / pitch]
    _slide_follows(r)
    r.severity["slide_mm"] = mm


@_kind("slide-canted")
def _canted(r: Recipe, place: str, how: dict, rng: np.random.Generator, harder: float) -> None:
    less = draw(how["less_turned_turn"], rng)
    more = less + draw(how["difference_turn"], rng, harder=harder)
    r.turns = [more, less] if rng.random() < 0.5 else [less, more]
    _cant(r, _slide_follows(r))
    r.build.bar_friction_nmm[0] = draw(how["bar_friction_nmm"], rng)
    r.severity["difference_turn"] = r.turns[0] - r.turns[1]


@_kind("screw-spins")
def _spins(r: Recipe, place: str, how: dict, rng: np.random.Generator, harder: float) -> None:
    turned = draw(how["turned_turn"], rng, harder=harder)
    follows, other = draw(how["carriage_follows_ratio"], rng), turned * draw(how["other_turned_ratio"], rng)
    thumb_side = place == "thumb-side"
    r.turns = [turned, other] if thumb_side else [other, turned]
    _cant(r, _slide_follows(r, (follows, 1.0) if thumb_side else (1.0, follows)))
    r.spins.add(place)
    r.severity["turned_turn"] = turned


@_kind("thumb-pin-off")
def _pin(r: Recipe, place: str, how: dict, rng: np.random.Generator, harder: float) -> None:
    r.build.thumb_pin_mm[0] = draw(how[f"{place}_mm"], rng)
    r.severity["pin_mm"] = float(r.build.thumb_pin_mm[0])


@_kind("knot-slipped")
def _slipped(r: Recipe, place: str, how: dict, rng: np.random.Generator, harder: float) -> None:
    mm = draw(how["slip_mm"], rng, harder=harder)
    digit = "thumb" if place == "thumb-pin" else place
    cord = r.design.cord_of(digit).name
    r.array("excess_mm")[r.cord(cord)] += mm
    r.slipped_mm[place] = mm
    r.severity["slip_mm"] = mm


@_kind("channel-friction")
def _channel(r: Recipe, place: str, how: dict, rng: np.random.Generator, harder: float) -> None:
    mu = draw(how["leg_mu"], rng, harder=harder)
    r.leg_mu_ratio[place] = mu / float(r.build.friction_mu[0])
    r.severity["leg_mu"] = mu


@_kind("wrist-tight")
def _wrist(r: Recipe, place: str, how: dict, rng: np.random.Generator, harder: float) -> None:
    r.build.wrist_friction_nmm[0] = draw(how["friction_nmm"], rng, harder=harder)
    r.severity["friction_nmm"] = float(r.build.wrist_friction_nmm[0])


@_kind("cuff-uneven")
def _cuff(r: Recipe, place: str, how: dict, rng: np.random.Generator, harder: float) -> None:
    yaw, roll = (
        float(rng.choice([-1.0, 1.0])) * draw(how[name], rng, harder=harder)
        for name in ("yaw_deg", "roll_deg")
    )
    r.reshape(lambda d: shapes.block_askew(d, yaw, roll), tied_to_fit=False)
    r.build.wrist_friction_nmm[0] *= draw(how["wrist_friction_ratio"], rng)
    r.askew_deg = (yaw, roll)
    r.severity["yaw_deg"], r.severity["roll_deg"] = yaw, roll


@_kind("part-scale")
def _part(r: Recipe, place: str, how: dict, rng: np.random.Generator, harder: float) -> None:
    segment = "proximal" if rng.random() < 0.5 else "tip"
    large = rng.random() < 0.5
    ratio = draw(how["large_ratio" if large else "small_ratio"], rng, harder=harder if large else 0.0)
    r.reshape(
        lambda d: shapes.part_sized(d, place, segment, ratio), tied_to_fit=rng.random() < how["tied_to_fit"]
    )
    if large:
        rub = r.array("hinge_friction_nmm")[r.digit(place)]
        rub[0 if segment == "proximal" else 1] += draw(how["large_friction_nmm"], rng)
    r.part_percent[f"{place}_{segment}"] = 100.0 * ratio
    r.severity["size_ratio"] = ratio


def cord_places(design: Design) -> dict[str, str]:
    """The protocol's word for each cord, by the digits it pulls: design name by place."""
    return {"-".join(leg.digit for leg in c.legs): c.name for c in design.cords}


def places(design: Design) -> dict[str, tuple[str, ...]]:
    """Where each kind can be, in the protocol's words."""
    digits = tuple(d.name for d in design.digits)
    fingers = tuple(d for d in digits if d != "thumb")
    loops = tuple("-".join(leg.digit for leg in c.legs) for c in design.cords if len(c.legs) == 2)
    short, long = _short_and_long(design, fingers)
    each: dict[str, tuple[str, ...]] = dict.fromkeys(KINDS, ("",))
    each |= dict.fromkeys(("loop-long", "loop-short"), loops)
    each |= dict.fromkeys(
        (
            "cord-through-gap",
            "elastic-missing",
            "elastic-weak",
            "elastic-tight",
            "channel-friction",
            "part-scale",
        ),
        digits,
    )
    each["tips-swapped"] = tuple(f"{a}-{b}" for a, b in product(short, long))
    each["thumb-part-on-finger"] = fingers
    each["hinge-tight"] = tuple(f"{d}.{j}" for d in digits for j in ("knuckle", "tip"))
    each["screw-spins"] = ("thumb-side", "little-side")
    each["thumb-pin-off"] = ("in", "out")
    each["knot-slipped"] = (*digits, "thumb-pin")
    return each


def _short_and_long(design: Design, fingers: tuple[str, ...]) -> tuple[list[str], list[str]]:
    """Fingers by how far their tips' pads lie beyond their last hinge."""
    reach = {}
    for p in design.pads:
        if p.segment == "tip" and p.digit in fingers:
            hinge = design.hinge(next(d.tip_hinge for d in design.digits if d.name == p.digit))
            reach[p.digit] = float(np.linalg.norm(np.subtract(p.centre_mm, hinge.origin_mm)))
    middle = 0.5 * (min(reach.values()) + max(reach.values()))
    return sorted(d for d in reach if reach[d] < middle), sorted(d for d in reach if reach[d] >= middle)


# What cannot both be said of one hand: two causes that set the same thing.
_SETS = {
    "loop-long": "length",
    "loop-short": "length",
    "thumb-cord-long": "length",
    "thumb-cord-short": "length",
    "knot-slipped": "length",
    "elastic-missing": "elastic",
    "elastic-weak": "elastic",
    "elastic-tight": "elastic",
    "cord-through-gap": "path",
    "channel-friction": "path",
    "slide-pulled-in": "screws",
    "slide-canted": "screws",
    "screw-spins": "screws",
    "whippletree-jammed": "screws",
    "thumb-part-on-finger": "parts",
    "tips-swapped": "parts",
    "part-scale": "parts",
    "thumb-pin-off": "pin",
    "wrist-tight": "wrist",
    "cuff-uneven": "wrist",
}


def go_together(design: Design, one: Fault, other: Fault) -> bool:
    """Whether one hand can have both as two separate faults."""
    a, b = _SETS.get(one.kind, one.kind), _SETS.get(other.kind, other.kind)
    if a != b:
        return True
    if a == "length":
        return _cord(design, one) != _cord(design, other)
    return a in ("elastic", "path", "hinge-tight") and one.place != other.place


def _cord(design: Design, fault: Fault) -> str:
    """The cord that a wrong length belongs to."""
    digit = "thumb" if fault.kind.startswith("thumb") or fault.place == "thumb-pin" else fault.place
    return cord_places(design).get(digit) or design.cord_of(digit).name


def with_faults(
    design: Design, faults: tuple[Fault, ...], rng: np.random.Generator, *, harder: float = 0.0
) -> Recipe:
    """One hand with these faults; `harder` leaves out that share of the mild end of each range."""
    recipe = plain_recipe(design, rng)
    for fault in faults:
        earlier, recipe.severity = recipe.severity, {}
        KINDS[fault.kind](recipe, fault.place, ranges()["kind"][fault.kind], rng, harder)
        recipe.severity = earlier | {f"{fault} {name}": x for name, x in recipe.severity.items()}
        recipe.faults.append(fault)
    return recipe


def all_faults(design: Design) -> Iterator[Fault]:
    for kind, where in places(design).items():
        for place in where:
            yield Fault(kind, place)


__all__ = [
    "Fault",
    "Recipe",
    "all_faults",
    "cord_places",
    "go_together",
    "places",
    "plain_recipe",
    "with_faults",
]
