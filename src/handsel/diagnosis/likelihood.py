"""How likely an answer is for a simulated hand: noise of the reading, blur of the answer, slips of the person.

Between answers in logistic form, whose function needs nothing but exp: close to the normal's, with heavier
tails. Numbers by Student's t: now and then one is from the next line, or of a hand that does not quite move as
simulated, and that must not exclude the truth.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from math import lgamma, log, pi
from typing import Any
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from handsel.diagnosis.catalogue import HAND, Catalogue, Observable
from handsel.diagnosis.hands import column_of
from handsel.diagnosis.library import Library
from handsel.diagnosis.people import look_chance, slip_share, slipped
from handsel.errors import HandselError

Floats = NDArray[np.float64]

LOGISTIC_SCALE = 0.5513  # of a logistic distribution with standard deviation 1: sqrt(3) / pi
LEAST_U_SHARE = 0.3  # of the usual noise: nobody reads better than that
CANNOT_TELL = "can't tell"
# By how much the swift engine differs from the full one, and both from a printed hand (standard deviations).
MODEL_SD = {
    "worked_rest_deg": 0.5,
    "lowered_rest_deg": 0.3,
    "tilt_deg": 0.8,
    "thumb_tip_bend_deg": 2.5,
    "thumb_lead_deg": 1.2,
    "tip_gap_mm": 1.8,
    "slack_mm": 0.12,
    "thumb_slack_mm": 0.12,
    "bend_deg": 2.0,
    "start_lead_deg": 3.0,
    "reach_ratio": 0.1,
    "apart_deg": 6.0,
    "return_surplus_ratio": 0.08,
    "pull_log2": 0.2,
    "left_bent_deg": 3.0,
    "wrist_friction_ratio": 0.1,
    "roughness": 0.15,
}
# What is measured of a part that is not as drawn depends on where one measures: so much of the difference is unsure.
SIZES, SIZE_UNSURE_RATIO = ("part_size_percent", "tip_size_percent"), 0.15
# Quantities that hang together in one hand.
TOGETHER = frozenset(
    (
        "worked_rest_deg",
        "lowered_rest_deg",
        "tilt_deg",
        "start_lead_deg",  # each against the others: one that is late makes the others early
        "slide_mm",
        "pin_mm",
        "turns_thumb_side",
        "turns_little_side",
        "turns_apart",
        "thumb_tip_bend_deg",
        "thumb_lead_deg",
        "tip_gap_mm",
        "slack_mm",
        "thumb_slack_mm",
        "wrist_friction_ratio",
        "bar_friction_nmm",
    )
)
BAND, BAND_POWER = 0.5, 1.0 / 6.0  # blur between the hands of one stratum: they stand for those between them


class BadAnswer(HandselError, ValueError):
    """An answer that does not fit the look it is about."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """One answer or number about a hand."""

    of: str
    place: str = HAND
    answer: str | None = None
    value: float | None = None
    u: float | None = None  # standard uncertainty, where it is known better than the catalogue's
    in_group: bool = False  # taken as shown with a whole group, not looked at by itself
    by: str = ""  # who looked: what one person says twice counts once


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """What was seen, put in order: one look at one place."""

    look: Observable
    place: str
    answer: str | None
    value: float | None
    u: float
    in_group: bool

    @property
    def key(self) -> tuple[str, str]:
        """What tells looks apart."""
        return self.look.id, self.place


def items_of(catalogue: Catalogue, seen: Iterable[Seen]) -> tuple[Item, ...]:
    """What was seen, checked and put in order: neither order nor one person's saying a thing twice matters.

    Parameters: catalogue; seen.
    Returns: Item, one for each person's answer, readings of one thing averaged; what cannot be told is left
        out, and so is whatever the catalogue does not know (a protocol asks for more than a diagnosis needs).
    Raises: BadAnswer for a place, an answer or a number that does not fit.
    Valid for: any.    Source: own.    Checked by: properties/test_diagnosis.py
    """
    answers: dict[tuple[str, str, str, str], Item] = {}
    numbers: dict[tuple[str, str], list[tuple[float, float]]] = {}
    for s in seen:
        look = catalogue.observable(s.of)
        if look is None or s.answer == CANNOT_TELL:
            continue
        place = _place(look, s)
        if look.kind == "number":
            if s.value is None or not np.isfinite(s.value):
                raise BadAnswer("it needs a number", where=s.of, do=f"Give it in {look.unit}.")
            least = LEAST_U_SHARE * look.sd
            u = look.sd if s.u is None else float(np.hypot(s.u, least))
            numbers.setdefault((s.of, place), []).append((float(s.value), u))
            continue
        known = look.answers_of(place)
        if s.answer not in known:
            raise BadAnswer(
                f'"{str(s.answer)[:40]}" is not one of its answers',
                where=f"{s.of} {place}".strip(),
                do=f"Answer {', '.join(known)}.",
            )
        item = Item(look=look, place=place, answer=s.answer, value=None, u=0.0, in_group=s.in_group)
        before = answers.get((s.of, place, s.answer, s.by))
        if before is None or before.in_group:  # looked at by itself counts for more
            answers[s.of, place, s.answer, s.by] = item
    items = list(answers.values())
    for (of, place), readings in numbers.items():
        look = catalogue.observable(of)
        assert look is not None
        value = float(np.mean(sorted(v for v, _ in readings)))
        u = float(np.mean(sorted(u for _, u in readings)))
        spread = 1.0 if len(readings) == 1 else float(np.sqrt(0.5 + 0.5 / len(readings)))  # half is common
        items.append(Item(look=look, place=place, answer=None, value=value, u=u * spread, in_group=False))
    return tuple(sorted(items, key=lambda i: (i.look.id, i.place, i.answer or "")))


def _place(look: Observable, s: Seen) -> str:
    """The place as the catalogue writes it: index.knuckle may also be given as index-knuckle."""
    if s.place in look.places:
        return s.place
    for place in look.places:
        if place.replace(".", "-") == s.place:
            return place
    wanted = ", ".join(p for p in look.places if p) or "the whole hand"
    raise BadAnswer(f'it has no place "{s.place[:40]}"', where=s.of, do=f"It is looked at on: {wanted}.")


def rising(x: Floats, sd: Floats | float) -> Floats:
    """Logistic distribution function with mean 0 and the given standard deviation.

    Parameters: x; sd, above 0, of the same unit.    Returns: share below x [-].
    Source: definition.
    """
    with np.errstate(over="ignore"):
        return np.asarray(1.0 / (1.0 + np.exp(-x / (LOGISTIC_SCALE * sd))))


def log_density(miss: Floats, noise: Floats | float, tails: float) -> Floats:
    """Log density of a number that misses the simulated one; Student's t with `tails` degrees of freedom.

    Source: definition; `noise` is its scale, for the many tails of it as good as the standard deviation.
    """
    scale = np.asarray(noise, dtype=np.float32)
    z = np.asarray(miss, dtype=np.float32) / scale
    constant = lgamma(0.5 * (tails + 1.0)) - lgamma(0.5 * tails) - 0.5 * log(tails * pi)
    half = np.float32(0.5 * (tails + 1.0))
    return np.asarray(np.float32(constant) - np.log(scale) - half * np.log1p(z * z / np.float32(tails)))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rows:
    """Some hands of a library, with the blur that each stands for.

    seen : (columns, n); blur : (columns, s) float, by stratum; strata : (s, 2); stratum : (n,);
    severity : (n, 2), where it is known.
    """

    columns: tuple[str, ...]
    seen: NDArray[np.float32]
    blur: NDArray[np.float32]
    strata: NDArray[np.int16]
    stratum: NDArray[np.int32]
    scale_miss: float  # of the case's scale against the library's [-]
    severity: NDArray[np.float32] | None = None
    taken_from: Rows | None = None  # the whole library's
    kept: dict[Any, Any] = field(default_factory=dict, repr=False)  # of these hands, worked out once

    @property
    def whole(self) -> Rows:
        """All hands of the library."""
        return self if self.taken_from is None else self.taken_from

    def take(self, which: NDArray[np.intp]) -> Rows:
        """Some of the hands."""
        return replace(
            self,
            seen=self.seen[:, which],
            stratum=self.stratum[which],
            severity=None if self.severity is None else self.severity[which],
            taken_from=self.whole,
            kept={},
        )

    def quantity(self, name: str) -> tuple[Floats, Floats]:
        """A quantity of each hand, and its standard deviation from blur, model and scale; (n,) each."""
        k = self.columns.index(name)
        x = self.seen[k]
        blur = self.blur[k][self.stratum]
        about = name.partition("@")[0]
        own = MODEL_SD.get(about, 0.0)
        off = SIZE_UNSURE_RATIO * (x - 100.0) if about in SIZES else abs(self.scale_miss) * x
        return x, np.sqrt(blur * blur + own * own + off * off)


_ROWS: WeakKeyDictionary[Library, dict[float, Rows]] = WeakKeyDictionary()


def rows_of(library: Library, scale_ratio: float) -> Rows:
    """All hands of a library, for a hand of some scale; the same ones each time.

    Source: blur as a share of the stratum's spread that falls as a root of its number (kernel density).
    """
    known = _ROWS.setdefault(library, {})
    if scale_ratio not in known:
        band = BAND * np.maximum(library.counts, 1.0) ** -BAND_POWER
        known.clear()  # one scale at a time is asked about
        known[scale_ratio] = Rows(
            columns=library.columns,
            seen=library.seen,
            blur=(library.spread * band).astype(np.float32),
            strata=library.strata,
            stratum=library.stratum,
            scale_miss=scale_ratio / library.scale_ratio - 1.0,
            severity=library.severity,
        )
    return known[scale_ratio]


def chances(
    catalogue: Catalogue, rows: Rows, look: Observable, place: str, *, in_group: bool = False
) -> Floats:
    """Chance of each answer for each hand. Not for numbers.

    Parameters: catalogue; rows, n hands; look; place; in_group, whether it was taken as shown with a group.
    Returns: (answers, n) float [-].
    Source: ordered answers cut from a quantity with logistic blur; another answer by a slip.
    """
    if look.kind == "look":
        bad = look_chance(catalogue, rows.strata, look, place, in_group)[rows.stratum]
        return np.stack([1.0 - bad, bad])
    return slipped(clear_chances(rows, look, place), slip_share(catalogue, look, in_group))


def clear_chances(rows: Rows, look: Observable, place: str) -> Floats:
    """Chance of each answer for each hand, of someone who never slips; (answers, n).

    Source: ordered answers cut from a quantity with logistic blur; pads that meet independently of each other.
    """
    if look.kind == "meets":
        met = [
            rising(look.cuts[0] - x, np.sqrt(look.cut_sd**2 + sd * sd))
            for x, sd in (rows.quantity(f"{look.reads}@{finger}") for finger in ("index", "middle"))
        ]
        return np.stack(
            [
                met[0] * (1.0 - met[1]),
                met[1] * (1.0 - met[0]),
                met[0] * met[1],
                (1.0 - met[0]) * (1.0 - met[1]),
            ]
        )
    x, sd = rows.quantity(column_of(look, place))
    blurred = np.sqrt(look.cut_sd**2 + sd * sd)
    below = [rising(cut - x, blurred) for cut in look.cuts]
    edges = [np.zeros_like(x), *below, np.ones_like(x)]
    return np.asarray(np.maximum(np.stack([b - a for a, b in zip(edges, edges[1:], strict=False)]), 0.0))


def log_likelihood(catalogue: Catalogue, rows: Rows, item: Item) -> Floats:
    """Log of the chance (or density) of one thing seen, for each hand; (n,).

    Parameters: catalogue; rows, n hands; item.    Returns: (n,) float [-].
    Source: independent errors of reading, rounding (JCGM 100:2008 F.2.2.1), blur and model add in square.
    """
    if item.value is not None:
        x, sd = rows.quantity(column_of(item.look, item.place))
        noise = np.sqrt(item.u**2 + item.look.resolution**2 / 12.0 + sd * sd)
        return log_density(np.float32(item.value) - x, noise, catalogue.reading_tails)
    p = chances(catalogue, rows, item.look, item.place, in_group=item.in_group)
    return np.asarray(np.log(np.maximum(p[item.look.answers_of(item.place).index(item.answer or "")], 1e-6)))
