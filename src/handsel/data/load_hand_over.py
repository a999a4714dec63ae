"""From a language's file to the words of the hand-over sheet."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from handsel.data.checked import checked
from handsel.data.fields import Line, Table, Text
from handsel.data.hand_over_words import SECTIONS, HandOverWords, Section
from handsel.data.places import near
from handsel.data.toml_file import read_toml_file
from handsel.errors import BadFile

BUNDLED = Path(__file__).parent / "handover"
DRAFT = "machine-made draft, have a speaker check it"

LanguageCode = Annotated[str, Field(pattern=r"^[a-z]{2,3}(-[A-Za-z0-9]{2,8})*$", max_length=20)]


class WordsTable(Table):
    """Labels and single sentences."""

    title: Line = Field(description="Heading of the sheet, to the wearer.")
    lead: Line = Field(description="Asks to read it together and to keep it.")
    hand: Line = Field(description="Before the hand's code.")
    left: Line = Field(description="A left hand, in one word.")
    right: Line = Field(description="A right hand, in one word.")
    size: Line = Field(description="Before the scale in per cent.")
    given_on: Line = Field(description="Before the date of the hand-over.")
    look_again_on: Line = Field(description="Before the date of the next look at the hand.")
    call: Line = Field(description="Heading of the box that says whom to call.")
    call_hint: Line = Field(description="What to write there when it is empty.")
    no_latex: Line = Field(description="For a wearer who must not touch latex.")
    take_off: Line = Field(description="When to take the hand off at once.")
    agreed: Line = Field(description="Above the signatures.")
    wearer: Line = Field(description="Below the signature of wearer or carer.")
    giver: Line = Field(description="Below the signature of who hands it over.")
    date: Line = Field(description="Below the line for the date.")
    log_title: Line = Field(description="Heading of the table for the first days.")
    log_day: Line = Field(description="Column of that table: day.")
    log_minutes: Line = Field(description="Column of that table: minutes worn.")
    log_five: Line = Field(description="Column of that table: skin after five minutes.")
    log_twenty: Line = Field(description="Column of that table: marks after 20 minutes.")


class NotForTable(Table):
    """What the hand must never be used for; each goes on from the heading."""

    title: Line = Field(description="Heading.")
    climbing: Text = Field(description="Climbing.")
    cycling: Text = Field(description="Cycling and steering.")
    swimming: Text = Field(description="Swimming and deep water.")
    load: Text = Field(description="Heavy load, and load where a slip could hurt.")


class HeatTable(Table):
    """Heat softens printed parts."""

    title: Line = Field(description="Heading.")
    radiator: Text = Field(description="Radiator, stove, sun behind glass, and what happens.")
    car: Text = Field(description="A parked car.")
    hot_water: Text = Field(description="Hot water, and how to wash it instead.")


class SkinTable(Table):
    """Skin checks."""

    title: Line = Field(description="Heading.")
    five_minutes: Text = Field(description="After the first five minutes.")
    twenty_minutes: Text = Field(description="Marks after 20 minutes, and what if they stay.")
    every_day: Text = Field(description="Where to look every day.")


class WearingTable(Table):
    """The first weeks."""

    title: Line = Field(description="Heading.")
    short_spells: Text = Field(description="Wearing begins in short spells.")
    carer: Text = Field(description="A child and a grown-up.")
    small_parts: Text = Field(description="Small parts.")


class UpkeepTable(Table):
    """What wears out."""

    title: Line = Field(description="Heading.")
    elastics: Text = Field(description="Elastics and foam.")
    cords: Text = Field(description="When to stop using it.")


class LookAgainTable(Table):
    """When it is looked at again."""

    title: Line = Field(description="Heading.")
    first_day: Text = Field(description="Knots and rest angle after 24 hours.")
    follow_up: Text = Field(description="Knots and rest angle at the first follow-up.")


class LimitsTable(Table):
    """What the hand and the sheet are not."""

    text: Text = Field(
        description="No medical device, no replacement for licensed advice, local rules first."
    )


class HandOverTables(Table):
    """A language of the hand-over sheet. Every key is a sentence or word that is printed as it stands."""

    format: Literal["handsel-hand-over/1"] = Field(description="Format of this file.")
    language: LanguageCode = Field(description="Code of the language, as in de or pt-BR.")
    name: Line = Field(description="The language, as its speakers call it.")
    direction: Literal["ltr", "rtl"] = Field(description="Reading direction.")
    status: Literal["original", "checked", "machine-made draft, have a speaker check it"] = Field(
        description="Whether it was written in this language, or a speaker of it has checked every sentence."
    )
    draft: Line | None = Field(
        default=None, description="Says on the sheet, in the language, that it is a draft; only for drafts."
    )
    words: WordsTable = Field(description="Labels and single sentences.")
    not_for: NotForTable = Field(description="What it must never be used for.")
    heat: HeatTable = Field(description="Heat.")
    skin: SkinTable = Field(description="Skin checks.")
    wearing: WearingTable = Field(description="The first weeks.")
    upkeep: UpkeepTable = Field(description="What wears out.")
    look_again: LookAgainTable = Field(description="When it is looked at again.")
    limits: LimitsTable = Field(description="What it is not.")


def load_hand_over(source: str | Path = "en") -> HandOverWords:
    """The words of the hand-over sheet in one language, bundled or your own.

    Parameters: source, the code of a bundled language, or the path of a TOML file in the format
        handsel-hand-over/1 (a Path, or a text with a folder or .toml in it).
    Returns: HandOverWords, with the SHA-256 of the text.
    Raises: BadFile naming file, key, what is wrong and how to mend it; also for a draft that does not say
        so on the sheet.
    Valid for: as read_toml.    Source: own format.    Checked by: unit/test_documents_hand_over.py
    """
    path = _path(source)
    file = read_toml_file(path)
    t = checked(HandOverTables, file.data, path)
    if (t.status == DRAFT) != (t.draft is not None):
        raise BadFile(
            'a draft has the key "draft", and what was checked has not',
            where=f"{path}, draft",
            do='Say there, in the language, that it is a draft; or set status = "checked" and take it out '
            "once a speaker has read every sentence.",
        )
    return HandOverWords(
        language=t.language,
        name=t.name,
        direction=t.direction,
        draft=t.draft or "",
        words=t.words.model_dump(),
        sections=tuple(_section(t, id, keys) for id, keys in SECTIONS.items()),
        limits=t.limits.text,
        sha256=file.sha256,
    )


def bundled_languages() -> tuple[str, ...]:
    """Codes of the languages that come with the program.

    Parameters: none.    Returns: codes, sorted.    Raises: nothing of its own.
    Valid for: an installed package whose data files are whole.
    Source: the files beside this module.    Checked by: unit/test_documents_hand_over.py
    """
    return tuple(sorted(p.stem for p in BUNDLED.glob("*.toml")))


def _section(t: HandOverTables, id: str, keys: tuple[str, ...]) -> Section:
    table = getattr(t, id)
    return Section(id=id, title=table.title, items=tuple(getattr(table, key) for key in keys))


def _path(source: str | Path) -> Path:
    if isinstance(source, Path) or source.endswith(".toml") or "/" in source or "\\" in source:
        return Path(source)
    if source not in bundled_languages():
        raise BadFile(
            "the hand-over sheet does not come in this language",
            where=f"language {source[:60]!r}",
            do=f"{near(source[:60], bundled_languages())} Or give the path of a .toml file.",
        )
    return BUNDLED / f"{source}.toml"
