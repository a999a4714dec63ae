"""How likely an answer is for a simulated hand: noise of the reading, blur of the answer, slips of the person.

Everywhere in logistic form, whose function and density need nothing but exp: close to the normal's, with
heavier tails.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from handsel.diagnosis.catalogue import HAND, Catalogue, Observable
from handsel.diagnosis.hands import column_of
from handsel.diagnosis.library import Library
from handsel.errors import HandselError

Floats = NDArray[np.float64]

LOGISTIC_SCALE = 0.5513  # of a logistic distribution with standard deviation 1: sqrt(3) / pi
NOWHERE = np.float32(1e-7)  # density left for what no person would write down
LEAST_U_SHARE = 0.3  # of the usual noise: nobody reads better than that
GROUP_TIMES = 2.0  # slips are so much more frequent where a whole group was taken as shown
GROUP_SEES, GROUP_ALARMS = 0.7, 0.3  # of what is seen, and of false alarms, where a group is taken as shown
CANNOT_TELL = "can't tell"
# By how much the swift engine differs from the full one, and both from a printed hand (standard deviations).
MODEL_SD = {
    "worked_rest_deg": 0.6,
    "lowered_rest_deg": 0.3,
    "tilt_deg": 1.0,
    "thumb_tip_bend_deg": 3.0,
    "thumb_lead_deg": 1.2,
    "tip_gap_mm": 2.5,
    "slack_mm": 0.15,
    "thumb_slack_mm": 0.15,
    "bend_deg": 2.0,
    "start_lead_deg": 6.0,
    "reach_ratio": 0.1,
    "apart_deg": 8.0,
    "return_surplus_ratio": 0.08,
    "pull_log2": 0.3,
    "left_bent_deg": 3.0,
    "wrist_friction_ratio": 0.1,
    "roughness": 0.15,
}
# Of what the mechanics have a part in, so much counts as independent news: the hands of a library are few and such
# looks overlap. Found on simulated hands kept apart from the library, where 1 made probabilities too bold. What is
# seen of a part by itself (a knot, a size) overlaps with nothing and counts in full.
WORTH = 0.6
BY_ITSELF = frozenset(("part_size_percent", "tip_size_percent"))
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
    """What was seen, checked and put in order: neither order nor saying a thing twice matters.

    Parameters: catalogue; seen.
    Returns: Item, readings of one thing averaged; what cannot be told is left out, and so is whatever
        the catalogue does not know (a protocol asks for more than a diagnosis needs).
    Raises: BadAnswer for a place, an answer or a number that does not fit.
    Valid for: any.    Source: own.    Checked by: properties/test_diagnosis.py
    """
    answers: dict[tuple[str, str, str], Item] = {}
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
        before = answers.get((s.of, place, s.answer))
        if before is None or before.in_group:  # looked at by itself counts for more
            answers[s.of, place, s.answer] = item
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

    Source: definition.
    """
    with np.errstate(over="ignore"):
        return np.asarray(1.0 / (1.0 + np.exp(-x / (LOGISTIC_SCALE * sd))))


def density(x: Floats | np.float32, sd: Floats | float, astray_share: float, astray_times: float) -> Floats:
    """Normal density with mean 0, mixed with readings gone astray.

    Source: definition.
    """
    sd = np.asarray(sd, dtype=np.float32)
    out = NOWHERE / sd + np.zeros(np.broadcast(x, sd).shape, dtype=np.float32)
    for share, times in ((1.0 - astray_share, 1.0), (astray_share, astray_times)):
        s = sd * np.float32(times)
        z = np.asarray(x, dtype=np.float32) / s
        out += np.float32(share / np.sqrt(2.0 * np.pi)) * np.exp(np.float32(-0.5) * z * z) / s
    return np.asarray(out, dtype=np.float64)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rows:
    """Some hands of a library, with the blur that each stands for.

    seen : (columns, n); blur : (columns, n) float, None for none; strata : (s, 2); stratum : (n,).
    """

    columns: tuple[str, ...]
    seen: NDArray[np.float32]
    blur: NDArray[np.float32]  # (columns, s), by stratum
    strata: NDArray[np.int16]
    stratum: NDArray[np.int32]
    scale_miss: float  # of the case's scale against the library's [-]

    def of_strata(self, which: NDArray[np.bool_]) -> Rows:
        """The hands of some strata."""
        return self.take(np.flatnonzero(which[self.stratum]))

    def take(self, which: NDArray[np.intp]) -> Rows:
        """Some of the hands."""
        return replace(self, seen=self.seen[:, which], stratum=self.stratum[which])

    def quantity(self, name: str) -> tuple[Floats, Floats]:
        """A quantity of each hand, and its standard deviation from blur, model and scale; (n,) each."""
        k = self.columns.index(name)
        x = self.seen[k]
        blur = self.blur[k][self.stratum]
        own = MODEL_SD.get(name.partition("@")[0], 0.0)
        far = abs(self.scale_miss) * np.abs(x)
        return x, np.sqrt(blur * blur + own * own + far * far)


def rows_of(library: Library, scale_ratio: float) -> Rows:
    """All hands of a library, for a hand of some scale.

    Source: blur as a share of the stratum's spread that falls as a root of its number (kernel density).
    """
    band = BAND * np.maximum(library.counts, 1.0) ** -BAND_POWER
    return Rows(
        columns=library.columns,
        seen=library.seen,
        blur=(library.spread * band).astype(np.float32),
        strata=library.strata,
        stratum=library.stratum,
        scale_miss=scale_ratio / library.scale_ratio - 1.0,
    )


def chances(
    catalogue: Catalogue, rows: Rows, look: Observable, place: str, *, in_group: bool = False
) -> Floats:
    """Chance of each answer for each hand. Not for numbers.

    Parameters: catalogue; rows, n hands; look; place; in_group, whether it was taken as shown with a group.
    Returns: (answers, n) float [-].
    Source: ordered answers cut from a quantity with logistic blur, mixed with lapses.
    """
    lapse = min(look.lapse * (GROUP_TIMES if in_group else 1.0), 0.5)
    known = look.answers_of(place)
    if look.kind == "look":
        bad = look_chance(catalogue, rows.strata, look, place, in_group)[rows.stratum]
        return np.stack([1.0 - bad, bad])
    if look.kind == "meets":
        met = [
            rising(look.cuts[0] - x, np.sqrt(look.cut_sd**2 + sd * sd))
            for x, sd in (rows.quantity(f"{look.reads}@{finger}") for finger in ("index", "middle"))
        ]
        clean = np.stack(
            [
                met[0] * (1.0 - met[1]),
                met[1] * (1.0 - met[0]),
                met[0] * met[1],
                (1.0 - met[0]) * (1.0 - met[1]),
            ]
        )
    else:
        x, sd = rows.quantity(column_of(look, place))
        blurred = np.sqrt(look.cut_sd**2 + sd * sd)
        below = [rising(cut - x, blurred) for cut in look.cuts]
        edges = [np.zeros_like(x), *below, np.ones_like(x)]
        clean = np.stack([b - a for a, b in zip(edges, edges[1:], strict=False)])
    return np.asarray((1.0 - lapse) * np.maximum(clean, 0.0) + lapse / len(known))


def look_chance(
    catalogue: Catalogue, strata: NDArray[np.int16], look: Observable, place: str, in_group: bool
) -> Floats:
    """Chance that a look is told to show what should not be, for each stratum; (s,)."""
    bad = look.answers_of(place)[1]
    hidden = np.ones(len(catalogue.faults) + 1)  # the last one: no fault
    for f in catalogue.faults:
        for sign in f.signs:
            if sign.of == look.id and sign.place == place and sign.answer == bad:
                chance = sign.chance * (GROUP_SEES if in_group else 1.0)
                hidden[f.index] *= 1.0 - chance
    false_alarm = look.false_alarm * (GROUP_ALARMS if in_group else 1.0)
    clear = (1.0 - false_alarm) * hidden[strata[:, 0]] * hidden[strata[:, 1]]
    slip = catalogue.slip_share
    return np.asarray(slip + (1.0 - 2.0 * slip) * (1.0 - clear))


def log_likelihood(catalogue: Catalogue, rows: Rows, item: Item) -> Floats:
    """Log of the chance (or density) of one thing seen, for each hand; (n,).

    Source: independent errors of reading, rounding (JCGM 100:2008 F.2.2.1), blur and model add in square.
    """
    if item.value is not None:
        x, sd = rows.quantity(column_of(item.look, item.place))
        noise = np.sqrt(item.u**2 + item.look.resolution**2 / 12.0 + sd * sd)
        share, times = catalogue.reading_astray_share, catalogue.reading_astray_times
        return np.asarray(np.log(density(np.float32(item.value) - x, noise, share, times)))
    p = chances(catalogue, rows, item.look, item.place, in_group=item.in_group)
    return np.asarray(np.log(np.maximum(p[item.look.answers_of(item.place).index(item.answer or "")], 1e-6)))


def log_likelihoods(
    catalogue: Catalogue, rows: Rows, items: Sequence[Item], local: Floats | None = None
) -> Floats:
    """Sum over all things seen, for weighing hands; (n,).

    What hangs together (angles, tilt, slack, slides) is taken hand by hand; the rest as `local_terms` has it,
    of these rows or as given.
    """
    by_set = local_terms(catalogue, rows, items) if local is None else local
    total = by_set[rows.stratum]
    for item in items:
        if item.look.kind != "look" and item.look.reads in TOGETHER:
            total = total + WORTH * log_likelihood(catalogue, rows, item)
    return np.asarray(total)


def local_terms(catalogue: Catalogue, rows: Rows, items: Sequence[Item]) -> Floats:
    """Log chance of what depends on the faults and not on the single hand, for each stratum; (s,).

    That is what a fault shows to the eye, and what was seen of single digits: it depends on little but the
    faults and that digit's own ordinary differences. The latter is averaged over the hands of a stratum, digit
    by digit: the accidents of single simulated hands do not decide. What two faults do to it is put together
    from what each does alone, of which there are many more hands.

    Parameters: catalogue; rows, with hands of no fault and of each fault alone; items.
    Returns: (s,) float [-].
    Source: independence of the digits given the faults; log p(AB) = log p(A) + log p(B) - log p(none).
    """
    size = len(rows.strata)
    total = np.zeros(size)
    alone = rows.of_strata(rows.strata[:, 1] < 0)
    count = np.maximum(np.bincount(alone.stratum, minlength=size), 1)
    apart: dict[tuple[str, bool], Floats] = {}
    for item in items:
        if item.look.kind == "look":
            bad = look_chance(catalogue, rows.strata, item.look, item.place, item.in_group)
            is_good = item.answer == item.look.answers_of(item.place)[0]
            total += np.log(1.0 - bad if is_good else bad)
        elif item.look.reads not in TOGETHER:
            one = log_likelihood(catalogue, alone, item)
            key = (item.place.partition(".")[0], item.look.reads in BY_ITSELF)
            apart[key] = apart[key] + one if key in apart else one
    first, second = _single_strata(rows.strata)
    for (_, in_full), one in apart.items():
        top = float(one.max())
        mean = np.bincount(alone.stratum, weights=np.exp(one - top), minlength=size) / count
        known = np.log(np.maximum(mean, 1e-30)) + top
        total += (1.0 if in_full else WORTH) * (known[first] + known[second] - known[0])
    return total


def _single_strata(strata: NDArray[np.int16]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """For each stratum those of its first and of its second fault alone; the faultless one where it has none."""
    alone = {int(a): k for k, (a, b) in enumerate(strata) if b < 0}
    where = np.zeros(int(strata.max()) + 2, dtype=np.intp)
    for fault, k in alone.items():
        where[fault] = k
    return where[strata[:, 0]], where[strata[:, 1]]
