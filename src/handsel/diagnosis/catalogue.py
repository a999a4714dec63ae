"""The causes that are looked for and the looks that tell them apart, as data. Loaded and checked in `data`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations

HAND = ""  # the place of what concerns the whole hand
JOINTS = {"knuckle": "knuckle", "tip": "tip joint"}  # a digit's, as in index.tip
SPOKEN = {"thumb-pin": "the thumb pin", "thumb-side": "thumb side", "little-side": "little finger's side"}


def spoken(place: str) -> str:
    """A place as one says it.

    Parameters: place, as the catalogue writes it.    Returns: text.
    """
    digit, dot, joint = place.partition(".")
    if dot:
        return f"{digit}'s {JOINTS.get(joint, joint)}"
    return SPOKEN.get(place, place.replace("-", " and "))


@dataclass(frozen=True, slots=True, kw_only=True)
class Severity:
    """How bad a fault is when it is there: triangular between low and high, most often typical."""

    unit: str
    low: float
    typical: float
    high: float
    either_sign: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Effect:
    """What a fault does to the model, in the fixed vocabulary."""

    do: str  # add, scale, replace-point, swap-parts, friction-at, lock, remove
    to: str
    at: str  # pattern of places
    times: float
    behind_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Sign:
    """What a look shows when the fault is there."""

    of: str
    place: str  # pattern
    answer: str
    chance: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultKind:
    """A kind of fault, at one or several places."""

    id: str
    title: str  # pattern
    places: tuple[str, ...]  # (HAND,) for the whole hand
    prior: float  # of all places together
    severity: Severity | None
    effects: tuple[Effect, ...]
    signs: tuple[Sign, ...]
    where: str  # pattern: what is marked on a drawing
    also: str
    fails: str = ""  # what such a hand fails whatever its numbers are: a characteristic of the protocol


@dataclass(frozen=True, slots=True, kw_only=True)
class Observable:
    """Something a volunteer can look at, with what such looks are worth."""

    id: str
    title: str
    question: str
    kind: str  # number, answers, look, meets
    places: tuple[str, ...]
    minutes: float
    unit: str = ""
    reads: str = ""
    sd: float = 0.0
    resolution: float = 0.0
    answers: tuple[str, ...] = ()
    answers_at: Mapping[str, tuple[str, ...]] | None = None
    cuts: tuple[float, ...] = ()
    cut_sd: float = 0.0
    lapse: float = 0.0
    false_alarm: float = 0.0

    def answers_of(self, place: str) -> tuple[str, ...]:
        """The answers at a place; of a look the first is as it should be."""
        return self.answers_at[place] if self.answers_at is not None else self.answers


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """What a quantity has to be for a hand to pass its protocol. Between the two, where they are given."""

    columns: tuple[str, ...]  # quantities at their places; it is enough when one of them passes
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Together:
    """Two kinds that come together more often than by chance."""

    kinds: tuple[str, str]
    times: float
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """How ordinary hands differ."""

    cord_length_sd_mm: float
    cord_friction_mean: float
    cord_friction_sd: float
    channel_friction_sd: float
    elastic_stiffness_sd_ratio: float
    elastic_pretension_sd_ratio: float
    hinge_friction_factor: float
    wrist_friction_low_nmm: float
    wrist_friction_high_nmm: float
    tension_slide_high_mm: float
    thumb_pin_sd_mm: float
    cuff_mass_sd_ratio: float
    length_follows_route: tuple[float, float]
    cord_length_common_sd_mm: float = 0.0
    screws_uneven_sd_turn: float = 0.0
    starts_dragged_deg: tuple[float, float] = (0.0, 0.0)
    presliding_mm: tuple[float, float] = (0.0, 0.0)
    pads_meet_mm: tuple[float, float] = (0.0, 5.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One kind at one place: what a cause is."""

    index: int
    kind: FaultKind
    place: str
    title: str
    where: str
    signs: tuple[Sign, ...]  # places filled in

    @property
    def id(self) -> str:
        """As loop-long@index-middle."""
        return self.kind.id + (f"@{self.place}" if self.place else "")


@dataclass(frozen=True, kw_only=True)
class Catalogue:
    """All kinds and all looks, for one protocol."""

    id: str
    title: str
    version: str
    protocol: str
    sha256: str  # of the file's text
    physics_sha256: str  # of what the library depends on: effects, severities, spread
    spread: Spread
    kinds: tuple[FaultKind, ...]
    together: tuple[Together, ...]
    observables: tuple[Observable, ...]
    cord_of_digit: Mapping[str, str]
    limits: tuple[Limit, ...] = ()  # of the protocol, on what is simulated
    reading_tails: float = 5.0  # of numbers: degrees of freedom of Student's t
    slip_share: float = 0.02  # of looks that a careful person tells the wrong way round
    careless_share: float = 0.15  # of people
    careless_times: float = 3.0  # as many slips as a careful one
    faultless_share: float | None = None  # of hands brought for diagnosis; None: as the kinds' priors make it
    two_share: float | None = None  # with two faults

    @cached_property
    def faults(self) -> tuple[Fault, ...]:
        """Every kind at every place."""
        out: list[Fault] = []
        for kind in self.kinds:
            for place in kind.places:
                fill = self.words(place)
                out.append(
                    Fault(
                        index=len(out),
                        kind=kind,
                        place=place,
                        title=kind.title.format_map({**fill, "place": spoken(place)}),
                        where=kind.where.format_map(fill),
                        signs=tuple(
                            Sign(of=s.of, place=s.place.format_map(fill), answer=s.answer, chance=s.chance)
                            for s in kind.signs
                        ),
                    )
                )
        return tuple(out)

    @cached_property
    def pairs(self) -> tuple[tuple[int, int], ...]:
        """Pairs of faults that one hand can have, by index: those whose effects do not exclude each other."""
        claims = [_claims(f, self) for f in self.faults]
        return tuple(
            (a.index, b.index)
            for a, b in combinations(self.faults, 2)
            if not claims[a.index] & claims[b.index]
        )

    def observable(self, id: str) -> Observable | None:
        """A look by its id."""
        return next((o for o in self.observables if o.id == id), None)

    def fault(self, id: str) -> Fault | None:
        """A fault by its id, as loop-long@index-middle."""
        return next((f for f in self.faults if f.id == id), None)

    def words(self, place: str) -> dict[str, str]:
        """What stands for {place}, {first}, {second}, {digit}, {joint} and {cord} in a pattern."""
        digit, _, joint = place.partition(".")
        first, _, second = place.partition("-")
        owner = "thumb" if place == "thumb-pin" else digit
        return {
            "place": place,
            "first": first,
            "second": second,
            "digit": digit,
            "joint": joint,
            "cord": self.cord_of_digit.get(owner, place),
        }

    def times_together(self, a: Fault, b: Fault) -> float:
        """How much more often two faults come together than by chance."""
        both = sorted((a.kind.id, b.kind.id))
        return next((t.times for t in self.together if sorted(t.kinds) == both), 1.0)


GEOMETRY = ("knuckle-exit", "tip", "proximal", "part-size")
ELASTIC = ("elastic", "elastic-pull", "elastic-stiffness", "elastic-pretension")
SLIDE = ("tension-slide", "screws-apart", "screws-turned-one-follows")


def _claims(f: Fault, catalogue: Catalogue) -> frozenset[tuple[str, str]]:
    """What a fault has for itself: two with a claim in common cannot be told in one hand, or cancel out."""
    fill = catalogue.words(f.place)
    out: set[tuple[str, str]] = {("fault", f.id)}
    for e in f.kind.effects:
        at = e.at.format_map(fill)
        if e.to in GEOMETRY:
            out |= {("geometry", digit) for digit in at.split("-")}
        elif e.to in ELASTIC:
            out.add(("elastic", at))
        elif e.to in SLIDE:
            out.add(("slide", HAND))
        elif e.to == "thumb-pin":
            out.add(("pin", HAND))
        elif e.to == "cord-length":
            out.add(("cord", at))
    return frozenset(out)
