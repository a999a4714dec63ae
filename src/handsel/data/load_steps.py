"""The steps of building a hand, in words for a first-timer: read from a file beside the protocol's."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from handsel.data.checked import checked
from handsel.data.fields import Id, Line, Number, Table, Text
from handsel.data.toml_file import read_toml
from handsel.errors import BadFile
from handsel.inspection.protocol import Protocol

BUNDLED = Path(__file__).parent / "steps"


@dataclass(frozen=True, slots=True, kw_only=True)
class BuildStep:
    """One thing to do on the way to a hold point."""

    id: str
    title: str
    how: str
    caution: str = ""
    reports: str = ""  # build step of the protocol that this one is recorded as
    minutes: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class BuildStage:
    """What is done on the way to one hold point, in order."""

    hold_point: str
    intro: str
    steps: tuple[BuildStep, ...]


class StepTable(Table):
    """One step."""

    id: Id = Field(description="Name of the step, once in the file.")
    title: Line = Field(description="What to do, in a few words.")
    how: Text = Field(description="How, in words for someone who does it for the first time.")
    caution: Text = Field(default="", description="What could hurt, and how it does not.")
    reports: str = Field(
        default="", description="Build step of the protocol that is recorded once it is done."
    )
    minutes: Annotated[Number, Field(ge=0, le=600)] = Field(
        default=0.0, description="How long it takes [min]."
    )


class StageTable(Table):
    """The steps up to one hold point."""

    hold_point: Id = Field(description="Hold point of the protocol that these steps lead to.")
    intro: Text = Field(description="What comes of this stage.")
    step: tuple[StepTable, ...] = Field(description="The steps in order.")


class StepsTables(Table):
    """The whole file."""

    format: Literal["handsel-steps/1"] = Field(description="Format of this file.")
    protocol: Id = Field(description="Protocol that these steps belong to.")
    stage: tuple[StageTable, ...] = Field(description="Stages in order.")


def build_stages(protocol: Protocol) -> tuple[BuildStage, ...]:
    """How to build a hand that is judged by a protocol, one stage for each hold point.

    Parameters: protocol; its own file of steps is taken where there is one.
    Returns: BuildStage for every hold point, in order; without a file, with the protocol's own steps.
    Raises: BadFile when the file does not fit the protocol.
    Valid for: any protocol.    Source: own format handsel-steps/1.    Checked by: unit/test_load_steps.py
    """
    path = BUNDLED / f"{protocol.id}.toml"
    if not path.is_file():
        return tuple(_bare(protocol, h.id) for h in protocol.hold_points)
    return load_build_steps(path, protocol)


def load_build_steps(path: Path, protocol: Protocol) -> tuple[BuildStage, ...]:
    """A file of build steps, held against its protocol.

    Parameters: path of a TOML file; protocol that it belongs to.
    Returns: as build_stages.
    Raises: BadFile naming file, key, what is wrong and how to mend it.
    Valid for: as read_toml.    Source: as build_stages.    Checked by: unit/test_load_steps.py
    """
    tables = _tables(path)
    stages = [h.id for h in protocol.hold_points]
    _must(
        [s.hold_point for s in tables.stage] == stages,
        path,
        "the stages are not the hold points of the protocol in their order",
        f"Write one stage for each of: {', '.join(stages)}.",
    )
    ids = [step.id for stage in tables.stage for step in stage.step]
    twice = next((i for i in ids if ids.count(i) > 1), "")
    _must(not twice, path, f"the step {twice!r} is there twice", "Give one of them another name.")
    reported = [step.reports for stage in tables.stage for step in stage.step if step.reports]
    unknown = next((r for r in reported if protocol.step(r) is None), "")
    _must(
        not unknown,
        path,
        f"{unknown!r} is no build step of the protocol",
        f"Use one of: {', '.join(s.id for s in protocol.steps)}.",
    )
    missing = next((s.id for s in protocol.steps if reported.count(s.id) != 1), "")
    _must(
        not missing,
        path,
        f"the protocol's step {missing!r} is not reported exactly once",
        f'Write reports = "{missing}" at one step.',
    )
    return tuple(
        BuildStage(
            hold_point=s.hold_point,
            intro=s.intro,
            steps=tuple(BuildStep(**step.model_dump()) for step in s.step),
        )
        for s in tables.stage
    )


@lru_cache(maxsize=8)
def _tables(path: Path) -> StepsTables:
    return checked(StepsTables, read_toml(path), path)


def _bare(protocol: Protocol, hold_point: str) -> BuildStage:
    """For a protocol that nobody wrote instructions for: its own steps, each in the stage after its hold point."""
    at = protocol.stage(hold_point)
    steps = [s for s in protocol.steps if protocol.stage(s.after) == at - 1]
    words = {s.id: f"{s.title[:1].upper()}{s.title[1:]}" for s in steps}
    return BuildStage(
        hold_point=hold_point,
        intro=protocol.hold_points[at].before,
        steps=tuple(
            BuildStep(id=s.id, title=words[s.id], how=f"{words[s.id]}.", reports=s.id) for s in steps
        ),
    )


def _must(true: bool, path: Path, what: str, do: str) -> None:
    if not true:
        raise BadFile(what, where=str(path), do=do)
