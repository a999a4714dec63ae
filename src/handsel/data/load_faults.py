"""From a fault catalogue file to the catalogue that the diagnosis works with."""

from __future__ import annotations

import json
from functools import lru_cache
from hashlib import sha256
from pathlib import Path
from string import Formatter
from typing import Annotated, Any, Literal

from pydantic import Field

from handsel.data.checked import checked
from handsel.data.fields import Id, Line, Number, Share, Table, Text, Version
from handsel.data.places import near, place, shown_plain
from handsel.data.toml_file import TomlFile, text_of_file, toml_of_text
from handsel.diagnosis.catalogue import (
    HAND,
    Catalogue,
    Effect,
    FaultKind,
    Limit,
    Observable,
    Severity,
    Sign,
    Spread,
    Together,
)
from handsel.diagnosis.hands import column_of
from handsel.errors import BadFile
from handsel.inspection.protocol import Protocol
from handsel.inspection.rules import NumberRule

BUNDLED = Path(__file__).parent / "faults"
PLACE = r"^[a-z][a-z0-9]*([-.][a-z0-9]+)*$"
PATTERN = r"^[a-z0-9{}.-]*$"
Placed = Annotated[str, Field(pattern=PLACE, max_length=40)]
Pattern = Annotated[str, Field(pattern=PATTERN, max_length=60)]
Positive = Annotated[Number, Field(gt=0, le=10_000)]
Small = Annotated[Number, Field(ge=0, le=20)]
Minutes = Annotated[Number, Field(gt=0, le=120)]
WORDS = ("place", "first", "second", "digit", "joint", "cord")

# What each word of the vocabulary may be done to.
TARGETS: dict[str, tuple[str, ...]] = {
    "add": (
        "cord-length",
        "tension-slide",
        "thumb-pin",
        "elastic-pretension",
        "screws-apart",
        "screws-turned-one-follows",
        "block-turn",
        "block-roll",
    ),
    "scale": ("elastic-stiffness", "elastic-pull", "part-size"),
    "replace-point": ("knuckle-exit",),
    "swap-parts": ("tip", "proximal"),
    "friction-at": ("hinge", "channel", "wrist", "whippletree"),
    "lock": ("whippletree",),
    "remove": ("elastic",),
}


class SeverityTable(Table):
    """How bad it is when it is there."""

    unit: Annotated[Line, Field(max_length=40)] = Field(description="Unit, for reading.")
    low: Number = Field(description="Least that still spoils a hand.")
    typical: Number = Field(description="Most often.")
    high: Number = Field(description="Worst that is met.")
    either_sign: bool = Field(default=False, description="Half of them count negative.")


class EffectTable(Table):
    """What it does to the model of the hand."""

    do: Literal["add", "scale", "replace-point", "swap-parts", "friction-at", "lock", "remove"] = Field(
        description="The kind of change."
    )
    to: Id = Field(description="What is changed, as in cord-length.")
    at: Pattern = Field(default="", description="Where, with {place} or {cord} for the fault's own.")
    times: Number = Field(default=1.0, description="How much, for one unit of severity.")
    behind_mm: Number = Field(
        default=0.0,
        description="For a replaced point: so far behind the hinge at scale 1, the severity below it [mm]; 0: "
        "the severity is the share of the straight way from the hole to the hinge.",
    )


class SignTable(Table):
    """What a look shows."""

    of: Id = Field(description="Id of the look.")
    place: Pattern = Field(default="", description="Where, with {place}, {first} or {second}.")
    answer: Annotated[Line, Field(max_length=60)] = Field(description="The answer that shows it.")
    chance: Share = Field(description="How often a person sees it when it is there.")


class FaultTable(Table):
    """A kind of fault."""

    id: Id = Field(description="Id, as in loop-long.")
    title: Line = Field(
        description="What is wrong, in words that follow 'most likely'; {place} is filled in."
    )
    places: Annotated[tuple[Placed, ...], Field(max_length=40)] = Field(
        default=(), description="Where it can be; left out: the whole hand."
    )
    prior: Annotated[Number, Field(gt=0, lt=0.5)] = Field(
        description="Share of hands brought for diagnosis that have it, all places together."
    )
    severity: SeverityTable | None = Field(default=None, description="How bad; left out: there or not.")
    effect: Annotated[tuple[EffectTable, ...], Field(min_length=1, max_length=6)] = Field(
        description="What it does to the model."
    )
    shows: Annotated[tuple[SignTable, ...], Field(max_length=10)] = Field(
        default=(), description="Looks that show it."
    )
    where: Annotated[Line, Field(max_length=100)] = Field(description="What is marked on the drawing.")
    fails: Pattern = Field(
        default="",
        description="Characteristic that such a hand fails whatever its numbers; {joint} is filled in.",
    )
    also: Text | None = Field(default=None, description="Causes that are counted as this one, and why.")


class TogetherTable(Table):
    """Kinds that come together more often than by chance."""

    kinds: tuple[Id, Id] = Field(description="The two kinds; the same one twice for two places.")
    times: Positive = Field(description="How many times as often.")
    why: Text = Field(description="Why.")


class ObservableTable(Table):
    """Something a volunteer can look at."""

    id: Id = Field(description="Id; of a characteristic of the protocol where there is one.")
    title: Line = Field(description="What is looked at.")
    question: Text | None = Field(default=None, description="How it is asked.")
    kind: Literal["number", "answers", "look", "meets"] = Field(description="What an answer is.")
    places: Annotated[tuple[Placed, ...], Field(max_length=40)] = Field(default=(), description="Where.")
    minutes: Minutes = Field(description="Minutes that it takes, for one place.")
    unit: Annotated[Line, Field(max_length=20)] = Field(default="", description="Unit of a number.")
    reads: Annotated[str, Field(max_length=40)] = Field(default="", description="Quantity behind it.")
    sd: Annotated[Number, Field(ge=0, le=1000)] = Field(default=0.0, description="Of one reading.")
    resolution: Annotated[Number, Field(ge=0, le=100)] = Field(default=0.0, description="Written down in.")
    answers: Annotated[tuple[Line, ...], Field(max_length=6)] = Field(default=(), description="The answers.")
    answers_at: dict[str, tuple[Line, Line]] | None = Field(default=None, description="By place.")
    cuts: Annotated[tuple[Number, ...], Field(max_length=5)] = Field(
        default=(), description="Between answers."
    )
    cut_sd: Annotated[Number, Field(ge=0, le=1000)] = Field(default=0.0, description="Their blur.")
    lapse: Share = Field(
        default=0.0, description="Share of a careful person's answers that are another one altogether."
    )
    false_alarm: Share = Field(default=0.0, description="Seen where nothing is.")


class SpreadTable(Table):
    """How ordinary hands differ."""

    cord_length_sd_mm: Positive = Field(description="Length of each cord [mm].")
    cord_length_common_sd_mm: Annotated[Number, Field(ge=0, le=100)] = Field(
        default=0.0, description="Besides, what all cords of a hand have in common [mm]."
    )
    cord_friction_mean: Positive = Field(description="Friction of cord on guides [-].")
    cord_friction_sd: Positive = Field(description="Between hands [-].")
    channel_friction_sd: Positive = Field(description="Between channels of a hand [-].")
    elastic_stiffness_sd_ratio: Positive = Field(description="Stiffness of elastics [-].")
    elastic_pretension_sd_ratio: Positive = Field(description="Strain with the digit straight [-].")
    hinge_friction_factor: Annotated[Number, Field(ge=1, le=10)] = Field(description="Factor of hinges [-].")
    wrist_friction_low_nmm: Positive = Field(description="Wrist hinge, from [N mm].")
    wrist_friction_high_nmm: Positive = Field(description="Wrist hinge, to [N mm].")
    tension_slide_high_mm: Positive = Field(description="Screws not quite forward, up to [mm].")
    thumb_pin_sd_mm: Positive = Field(description="Thumb pin [mm].")
    cuff_mass_sd_ratio: Positive = Field(description="Mass of the cuff [-].")
    length_follows_route: tuple[Share, Share] = Field(
        description="How much of a wrong route's length the stringer made up for, from and to [-]."
    )
    screws_uneven_sd_turn: Annotated[Number, Field(ge=0, le=10)] = Field(
        default=0.0, description="Each screw that is in a little [turn]."
    )
    starts_dragged_deg: tuple[Small, Small] = Field(
        default=(0.0, 0.0), description="Fingers' starts by slow mechanics within this are seen as one [deg]."
    )
    presliding_mm: tuple[Small, Small] = Field(
        default=(0.0, 0.0), description="Cord over which a channel's friction builds up [mm]."
    )
    pads_meet_mm: tuple[Small, Small] = Field(
        default=(0.0, 5.0), description="Pads that miss by less than this pinch all the same [mm]."
    )


class MistakesTable(Table):
    """Mistakes of the people who look."""

    reading_tails: Annotated[Number, Field(ge=2, le=100)] = Field(
        description="Of numbers, degrees of freedom of Student's t: the fewer, the more of them go far astray [-]."
    )
    slip_share: Annotated[Number, Field(gt=0, le=0.2)] = Field(
        description="Of looks, told the wrong way round by a careful person [-]."
    )
    careless_share: Annotated[Number, Field(gt=0, lt=0.5)] = Field(description="Of people, careless [-].")
    careless_times: Annotated[Number, Field(ge=1, le=10)] = Field(
        description="How many times as many slips a careless person makes [-]."
    )


class BroughtTable(Table):
    """The hands that are brought for diagnosis."""

    faultless_share: Annotated[Number, Field(gt=0, lt=1)] = Field(description="With no fault [-].")
    two_share: Annotated[Number, Field(gt=0, lt=1)] = Field(description="With two faults [-].")


class FaultTables(Table):
    """A fault catalogue."""

    format: Literal["handsel-faults/1"] = Field(description="Format of this file.")
    id: Id = Field(description="Name of the file without its ending.")
    title: Line = Field(description="What it is for.")
    version: Version = Field(description="Version.")
    protocol: Id = Field(description="The protocol that it goes with.")
    prior_source: Text = Field(description="Where the priors come from.")
    spread: SpreadTable = Field(description="How ordinary hands differ.")
    mistakes: MistakesTable | None = Field(default=None, description="Mistakes of the people who look.")
    brought: BroughtTable | None = Field(default=None, description="The hands that are brought.")
    fault: Annotated[tuple[FaultTable, ...], Field(min_length=1, max_length=100)] = Field(
        description="The kinds of fault."
    )
    together: Annotated[tuple[TogetherTable, ...], Field(max_length=100)] = Field(
        default=(), description="Kinds that come together."
    )
    observable: Annotated[tuple[ObservableTable, ...], Field(min_length=1, max_length=200)] = Field(
        description="What can be looked at."
    )


def load_faults(source: str | Path, protocol: Protocol) -> Catalogue:
    """A fault catalogue, bundled or your own, held against its protocol.

    Parameters: source, the name of a bundled catalogue, or the path of a TOML file in the format
        handsel-faults/1 (a Path, or a text with a folder or .toml in it); protocol that it goes with.
    Returns: Catalogue.
    Raises: BadFile naming file, table, key, what is wrong and how to mend it.
    Valid for: as read_toml.
    Source: own format; its JSON Schema is `handsel schema faults`.
    Checked by: unit/test_load_faults.py
    """
    path = _path(source)
    file, tables = _tables(path)
    _check(tables, file.data, path, protocol)
    looks = tuple(_observable(t) for t in tables.observable)
    limits = _limits(looks, protocol)
    return Catalogue(
        id=tables.id,
        title=tables.title,
        version=tables.version,
        protocol=tables.protocol,
        sha256=file.sha256,
        physics_sha256=_physics(tables, limits),
        spread=Spread(**tables.spread.model_dump()),
        kinds=tuple(_kind(t) for t in tables.fault),
        together=tuple(Together(kinds=t.kinds, times=t.times, why=t.why) for t in tables.together),
        observables=looks,
        limits=limits,
        cord_of_digit={d.id: d.cord for d in protocol.digits},
        **(tables.mistakes.model_dump() if tables.mistakes else {}),
        **(tables.brought.model_dump() if tables.brought else {}),
    )


def faults_text(source: str | Path) -> str:
    """The text of a fault catalogue, as a hand's record keeps it; its fingerprint is the catalogue's.

    Parameters: source, as load_faults.
    Returns: text, checked to be a catalogue's tables.
    Raises: as load_faults.    Valid for: as load_faults.
    Source: own format.    Checked by: unit/test_load_faults.py
    """
    return _tables(_path(source))[0].text


def _tables(path: Path) -> tuple[TomlFile, FaultTables]:
    return _tables_in(text_of_file(path), str(path))


@lru_cache(maxsize=4)  # asked for with every new hand, and nobody changes the tables
def _tables_in(text: str, where: str) -> tuple[TomlFile, FaultTables]:
    file = toml_of_text(text, shown_plain(where))
    return file, checked(FaultTables, file.data, Path(where))


def _path(source: str | Path) -> Path:
    if isinstance(source, Path) or "/" in source or "\\" in source or source.endswith(".toml"):
        return Path(source)
    path = BUNDLED / f"{source}.toml"
    if not path.is_file():
        known = [p.stem for p in BUNDLED.glob("*.toml")]
        what = f'there is no bundled fault catalogue "{shown_plain(source[:60])}"'
        raise BadFile(what, where="fault catalogue", do=near(source, known))
    return path


def _kind(t: FaultTable) -> FaultKind:
    return FaultKind(
        id=t.id,
        title=t.title,
        places=t.places or (HAND,),
        prior=t.prior,
        severity=Severity(**t.severity.model_dump()) if t.severity else None,
        effects=tuple(Effect(**e.model_dump()) for e in t.effect),
        signs=tuple(Sign(**s.model_dump()) for s in t.shows),
        where=t.where,
        also=t.also or "",
        fails=t.fails,
    )


def _observable(t: ObservableTable) -> Observable:
    given = t.model_dump()
    given["places"] = t.places or (HAND,)
    given["question"] = t.question or ""
    return Observable(**given)


def _limits(looks: tuple[Observable, ...], protocol: Protocol) -> tuple[Limit, ...]:
    """What the protocol asks of the quantities that are simulated."""
    out = []
    for o in looks:
        c = protocol.characteristic(o.id)
        if c is None or not o.reads:
            continue
        low: float | None = None
        high: float | None = None
        if isinstance(c.rule, NumberRule):
            if c.rule.limits is None:
                continue
            low, high = c.rule.limits.low, c.rule.limits.high
        elif set(c.rule.accepted) >= set(o.answers):
            continue
        elif o.kind == "meets":
            columns = tuple(f"{o.reads}@{finger}" for finger in ("index", "middle"))
            out.append(Limit(columns=columns, low=None, high=o.cuts[0]))
            continue
        else:
            edges = (None, *o.cuts, None)
            good = [k for k, answer in enumerate(o.answers) if answer in c.rule.accepted]
            low, high = edges[good[0]], edges[good[-1] + 1]
        out += [Limit(columns=(column_of(o, place),), low=low, high=high) for place in o.places]
    return tuple(out)


def _physics(t: FaultTables, limits: tuple[Limit, ...]) -> str:
    """Fingerprint of what simulated hands depend on: no prior, no rate, no text."""
    kept: dict[str, Any] = {
        "spread": t.spread.model_dump(),
        "faults": [
            [
                f.id,
                f.places,
                f.severity.model_dump() if f.severity else None,
                [e.model_dump() for e in f.effect],
                bool(f.fails),
            ]
            for f in t.fault
        ],
        "reads": sorted({(o.reads, o.places) for o in t.observable if o.reads}),
        "limits": [[limit.columns, limit.low, limit.high] for limit in limits],
    }
    return sha256(json.dumps(kept, sort_keys=True).encode()).hexdigest()


def _check(t: FaultTables, data: dict[str, Any], path: Path, protocol: Protocol) -> None:
    """What the schema cannot say: names that must be known, patterns, order of numbers."""

    def bad(loc: tuple[str | int, ...], what: str, do: str) -> BadFile:
        return BadFile(what, where=place(path, data, loc), do=do)

    if t.protocol != protocol.id:
        raise bad(("protocol",), f'it goes with "{t.protocol}", not "{protocol.id}"', "Name that protocol.")
    for key, ids in (("fault", [f.id for f in t.fault]), ("observable", [o.id for o in t.observable])):
        for i, id in enumerate(ids):
            if id in ids[:i]:
                raise bad((key, i, "id"), f'"{id}" stands twice', "Give each its own id.")
    if t.brought and t.brought.faultless_share + t.brought.two_share >= 1.0:
        raise bad(("brought", "two_share"), "nothing is left for hands with one fault", "Lower it.")
    looks = {o.id: o for o in t.observable}
    kinds = {f.id for f in t.fault}
    for i, f in enumerate(t.fault):
        s = f.severity
        if s and not s.low <= s.typical <= s.high:
            raise bad(("fault", i, "severity"), "low, typical and high are not in order", "Order them.")
        for j, e in enumerate(f.effect):
            if e.to not in TARGETS[e.do]:
                raise bad(
                    ("fault", i, "effect", j, "to"),
                    f'"{e.do}" cannot be done to "{e.to}"',
                    near(e.to, TARGETS[e.do]),
                )
            _pattern(e.at, ("fault", i, "effect", j, "at"), bad)
        for j, sign in enumerate(f.shows):
            loc = ("fault", i, "shows", j)
            look = looks.get(sign.of)
            if look is None or look.kind != "look":
                do = near(sign.of, [o for o, x in looks.items() if x.kind == "look"])
                raise bad((*loc, "of"), f'"{sign.of}" is no look of this catalogue', do)
            _pattern(sign.place, (*loc, "place"), bad)
        for pattern, key in ((f.title, "title"), (f.where, "where"), (f.fails, "fails")):
            _pattern(pattern, ("fault", i, key), bad)
        for place_ in f.places or (HAND,):
            named = f.fails.replace("{joint}", place_.partition(".")[2])
            if named and protocol.characteristic(named) is None:
                do = near(named, [c.id for c in protocol.characteristics])
                raise bad(("fault", i, "fails"), f'"{named}" is no characteristic of the protocol', do)
    for i, together in enumerate(t.together):
        for kind in together.kinds:
            if kind not in kinds:
                raise bad(("together", i, "kinds"), f'there is no fault "{kind}"', near(kind, kinds))
    for i, o in enumerate(t.observable):
        _check_look(o, ("observable", i), bad)


def _check_look(o: ObservableTable, loc: tuple[str | int, ...], bad: Any) -> None:
    if o.kind != "look" and not o.reads:
        raise bad((*loc, "reads"), "no quantity stands behind it", "Name one, or make it a look.")
    if o.kind == "number" and o.sd <= 0:
        raise bad((*loc, "sd"), "a number needs its sd", "Give the standard deviation of one reading.")
    if o.kind == "answers" and len(o.cuts) != len(o.answers) - 1:
        raise bad((*loc, "cuts"), f"{len(o.answers)} answers need {len(o.answers) - 1} cuts", "Give as many.")
    if o.kind in ("answers", "meets") and (o.cut_sd <= 0 or list(o.cuts) != sorted(o.cuts)):
        raise bad((*loc, "cuts"), "cuts must rise and cut_sd be more than 0", "Order them; give the blur.")
    if o.kind == "look" and not (o.answers_at or len(o.answers) == 2):
        raise bad((*loc, "answers"), "a look has two answers", "Give what it should be first.")
    if o.answers_at is not None and set(o.answers_at) != set(o.places):
        raise bad((*loc, "answers_at"), "it does not name exactly the places", "Give answers for each place.")


def _pattern(text: str, loc: tuple[str | int, ...], bad: Any) -> None:
    try:
        names = {name for _, name, spec, how in Formatter().parse(text) if name is not None or spec or how}
    except ValueError:
        raise bad(loc, "its braces do not pair", "Write {place} with both braces.") from None
    for name in names:
        if name not in WORDS:
            raise bad(loc, f'"{{{name}}}" is not known', f"Use one of: {', '.join(WORDS)}.")
