"""From a file of actions to what the plan of a hand works with: which rework cures which cause."""

from __future__ import annotations

from pathlib import Path
from string import Formatter
from typing import Annotated, Any, Literal

from pydantic import Field

from handsel.data.checked import checked
from handsel.data.fault_tables import PATTERN, WORDS
from handsel.data.fields import Id, Line, Number, Table, Text
from handsel.data.places import near, place
from handsel.data.toml_file import read_toml
from handsel.diagnosis.catalogue import Catalogue
from handsel.errors import BadFile
from handsel.inspection.protocol import Protocol
from handsel.rework.hand.actions import Action, Actions, Cure, Evening, LastResort, OpenLooks, Setting, Trying

BUNDLED = Path(__file__).parent / "faults"
Chance = Annotated[Number, Field(gt=0, le=1)]
Pattern = Annotated[str, Field(pattern=PATTERN, max_length=60)]


class CureTable(Table):
    """One kind of cause that an action cures."""

    fault: Id = Field(description="Kind of cause, of the catalogue.")
    at: Pattern = Field(
        description="Where the rework is done: {place}, {digit}, {joint}, {cord}, {first} or {second} of the "
        "cause; empty for the whole hand."
    )
    spot: Pattern = Field(default="", description="What of that place, where it has more than one.")
    chance: Chance = Field(description="Probability that it cures such a cause [-].")


class ActionTable(Table):
    """One rework with the causes that it cures."""

    rework: Id = Field(description="Rework of the protocol; minutes, skill and spares stand there.")
    title: Line | None = Field(
        default=None, description="What to do, where the rework's own title is too wide."
    )
    gentle: Annotated[bool, Field(strict=True)] = Field(
        default=False, description="true: nothing is cut. What it cures is never cut for."
    )
    by: Literal["slides", "cords"] | None = Field(
        default=None, description="Its chance follows from the hand's readings by the model."
    )
    cures: Annotated[tuple[CureTable, ...], Field(min_length=1, max_length=60)] = Field(description="Causes.")


class LastResortTable(Table):
    """What is done when nothing else is left."""

    rework: Id = Field(description="Rework of the protocol.")
    extra_minutes: Annotated[Number, Field(ge=0, le=600)] = Field(
        description="On top of the rework and of what follows it [min]."
    )
    chance: Chance = Field(description="Probability that the hand then conforms [-].")


class TryingTable(Table):
    """What surrounds a try."""

    own_look_sees: Annotated[Number, Field(ge=0, le=1)] = Field(
        description="Whoever reworked makes the protocol's re-checks before handing over: chance that this notices "
        "what still does not hold [-]."
    )
    failed_minutes: Annotated[Number, Field(ge=0, le=600)] = Field(
        description="What a hand costs that is handed over and comes back, besides its looks [min]."
    )


class SettingTable(Table):
    """How every rework of slides or cords ends."""

    undoes: Id = Field(description="Reworks that undo this characteristic end with the setting.")
    reads: Annotated[tuple[Id, ...], Field(min_length=1, max_length=40)] = Field(
        description="What is read, of the catalogue's observables."
    )
    looks: Annotated[tuple[Id, ...], Field(max_length=40)] = Field(
        default=(), description="What is looked at besides when that is done, likewise."
    )
    minutes: Annotated[Number, Field(ge=0, le=120)] = Field(
        description="Readings and one move of the slides [min]."
    )
    angle_u_deg: Annotated[Number, Field(gt=0, le=20)] = Field(
        description="Standard uncertainty of reading where the fingers start [deg]."
    )
    lead_u_deg: Annotated[Number, Field(gt=0, le=20)] = Field(
        description="Standard uncertainty of reading how much earlier the thumb starts [deg]."
    )


class EveningTable(Table):
    """Elastics set to one pull, for fingers that move apart though none of the causes is there."""

    sees: Id = Field(description="The look that shows it at each finger, of the catalogue's observables.")
    rework: Id = Field(description="Rework of the protocol, done at each place of that look.")
    title: Line = Field(description="What to do.")
    pull_sd_ratio: Annotated[Number, Field(gt=0, le=1)] = Field(
        description="Standard deviation of the pulls afterwards, each against their mean [-]."
    )
    apart_share: Annotated[Number, Field(gt=0, lt=1)] = Field(
        description="Share of hands with none of the causes, in which fingers move apart [-]."
    )
    apart_deg: Annotated[tuple[Number, ...], Field(min_length=1, max_length=9)] = Field(
        description="How far the last finger is behind in such hands, each as frequent as the others [deg]."
    )
    chance: Chance = Field(description="Probability that the fingers then keep together [-].")
    u_chance: Annotated[Number, Field(ge=0, le=1)] = Field(description="Its standard uncertainty [-].")


class OpenLooksTable(Table):
    """Which of the looks that nobody has made yet come before a rework, besides those that the protocol asks for."""

    always: Annotated[tuple[Id, ...], Field(max_length=40)] = Field(
        description="Observables that are always among them: what they show is seen in no movement."
    )
    at_once: Annotated[int, Field(strict=True, ge=1, le=200)] = Field(
        description="Most of the others, before the plan is made again."
    )
    least_bits_per_minute: Annotated[Number, Field(ge=0, le=10)] = Field(
        description="What each of these has to tell of the cause [bit/min]."
    )


class ActionsFile(Table):
    """A whole file of actions."""

    format: Literal["handsel-actions/1"] = Field(description="Kind and version of this file.")
    id: Id = Field(description="Name of the file's content.")
    catalogue: Id = Field(description="Fault catalogue that the causes are of.")
    protocol: Id = Field(description="Protocol that the reworks are of.")
    source: Text = Field(description="Where the chances come from.")
    last_resort: LastResortTable = Field(description="What is done when nothing else is left.")
    trying: TryingTable = Field(description="What surrounds a try.")
    setting: SettingTable = Field(description="How every rework of slides or cords ends.")
    evening: EveningTable = Field(description="Elastics set to one pull.")
    open_looks: OpenLooksTable = Field(description="What nobody has looked at yet.")
    action: Annotated[tuple[ActionTable, ...], Field(min_length=1, max_length=200)] = Field(
        description="Actions."
    )


def load_actions(source: str | Path, catalogue: Catalogue, protocol: Protocol) -> Actions:
    """The actions in a file, checked against the catalogue and the protocol that they name.

    Parameters: source, the path of a TOML file in the format handsel-actions/1, or the name of a bundled
        one; catalogue; protocol.
    Returns: Actions.
    Raises: BadFile naming file, action, key, what is wrong and how to mend it.
    Valid for: as read_toml.
    Source: own format; `handsel schema actions` prints it.
    Checked by: unit/test_hand_plan.py
    """
    path = BUNDLED / f"{source}.toml" if isinstance(source, str) and "." not in source else Path(source)
    data = read_toml(path)
    file = checked(ActionsFile, data, path)
    _check(file, data, path, catalogue, protocol)
    return Actions(
        id=file.id,
        catalogue=file.catalogue,
        protocol=file.protocol,
        actions=tuple(
            Action(
                rework=a.rework,
                title=a.title or "",
                gentle=a.gentle,
                by=a.by or "",
                cures=tuple(Cure(fault=c.fault, at=c.at, spot=c.spot, chance=c.chance) for c in a.cures),
            )
            for a in file.action
        ),
        last_resort=LastResort(
            rework=file.last_resort.rework,
            extra_minutes=file.last_resort.extra_minutes,
            chance=file.last_resort.chance,
        ),
        trying=Trying(**file.trying.model_dump()),
        setting=Setting(**file.setting.model_dump()),
        evening=Evening(**file.evening.model_dump()),
        open_looks=OpenLooks(**file.open_looks.model_dump()),
    )


def _check(
    file: ActionsFile, data: dict[str, Any], path: Path, catalogue: Catalogue, protocol: Protocol
) -> None:
    def bad(loc: tuple[str | int, ...], what: str, do: str) -> BadFile:
        return BadFile(what, where=place(path, data, loc), do=do)

    for key, name in (("catalogue", catalogue.id), ("protocol", protocol.id)):
        if getattr(file, key) != name:
            raise bad(
                (key,), f'it is for "{getattr(file, key)}", not for "{name}"', "Use the pair that fits."
            )
    reworks = [r.id for r in protocol.reworks]
    kinds = {k.id: k for k in catalogue.kinds}
    if file.last_resort.rework not in reworks:
        what = f'the protocol has no rework "{file.last_resort.rework}"'
        raise bad(("last_resort", "rework"), what, near(file.last_resort.rework, reworks))
    if protocol.characteristic(file.setting.undoes) is None:
        what = f'the protocol has no characteristic "{file.setting.undoes}"'
        known = [c.id for c in protocol.characteristics]
        raise bad(("setting", "undoes"), what, near(file.setting.undoes, known))
    looks = [o.id for o in catalogue.observables]
    named = {
        ("setting", "reads"): file.setting.reads,
        ("setting", "looks"): file.setting.looks,
        ("open_looks", "always"): file.open_looks.always,
    }
    for section, some in named.items():
        for i, of in enumerate(some):
            if of not in looks:
                raise bad((*section, i), f'the catalogue has no look "{of}"', near(of, looks))
    _check_evening(file.evening, catalogue, protocol, bad)
    for i, action in enumerate(file.action):
        rework = protocol.rework(action.rework)
        if rework is None:
            what = f'the protocol has no rework "{action.rework}"'
            raise bad(("action", i, "rework"), what, near(action.rework, reworks))
        for j, cure in enumerate(action.cures):
            loc = ("action", i, "cures", j)
            if cure.fault not in kinds:
                what = f'the catalogue has no cause "{cure.fault}"'
                raise bad((*loc, "fault"), what, near(cure.fault, kinds))
            for key in ("at", "spot"):
                _words(getattr(cure, key), (*loc, key), bad)
            for where in kinds[cure.fault].places:
                at = cure.at.format_map(catalogue.words(where))
                if at and at not in protocol.places(rework.per):
                    what = f'"{rework.id}" cannot be done at "{at}"'
                    do = f"Use a pattern that gives one of: {', '.join(protocol.places(rework.per)) or 'no place'}."
                    raise bad((*loc, "at"), what, do)
    cured = {c.fault for a in file.action for c in a.cures}
    missing = [k for k in kinds if k not in cured]
    if missing:
        raise bad(
            ("action",), f'no action cures "{missing[0]}"', "Add one, or what cannot be cured by rework."
        )


def _check_evening(evening: EveningTable, catalogue: Catalogue, protocol: Protocol, bad: Any) -> None:
    look = catalogue.observable(evening.sees)
    if look is None:
        looks = [o.id for o in catalogue.observables]
        raise bad(
            ("evening", "sees"), f'the catalogue has no look "{evening.sees}"', near(evening.sees, looks)
        )
    rework = protocol.rework(evening.rework)
    if rework is None:
        reworks = [r.id for r in protocol.reworks]
        what = f'the protocol has no rework "{evening.rework}"'
        raise bad(("evening", "rework"), what, near(evening.rework, reworks))
    elsewhere = [p for p in look.places if p not in protocol.places(rework.per)]
    if elsewhere or look.kind != "answers":
        what = f'"{rework.id}" cannot be done where "{look.id}" is looked at'
        raise bad(
            ("evening", "rework"), what, "Name a rework of single digits, and a look at them by answers."
        )


def _words(pattern: str, loc: tuple[str | int, ...], bad: Any) -> None:
    try:
        named = [name for _, name, _, _ in Formatter().parse(pattern) if name is not None]
    except ValueError:
        raise bad(
            loc, f"its brackets do not pair: {pattern}", "Write words in brackets, as in {place}."
        ) from None
    unknown = [n for n in named if n not in WORDS]
    if unknown:
        raise bad(loc, f'there is no word "{unknown[0]}" for places', f"Use one of: {', '.join(WORDS)}.")
