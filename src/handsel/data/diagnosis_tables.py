"""A diagnosis as JSON, with a published schema."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from handsel.data.fields import Table
from handsel.diagnosis.result import Diagnosis


class SeverityOut(Table):
    """How bad a fault probably is."""

    value: float = Field(description="Mean, in unit.")
    u: float = Field(description="Standard uncertainty, in unit.")
    low: float = Field(description="Lower end of the 95 % interval, in unit.")
    high: float = Field(description="Upper end of the 95 % interval, in unit.")
    unit: str = Field(description="Unit.")


class CauseOut(Table):
    """One fault."""

    fault: str = Field(description="Id with its place, as in loop-long@index-middle.")
    kind: str = Field(description="Id of its kind.")
    place: str = Field(description="Digit, cord, hinge, knot or screw; empty for the whole hand.")
    title: str = Field(description="In words.")
    probability: float = Field(description="That the hand has it, alone or with another [-].")
    severity: SeverityOut | None = Field(description="How bad; null when it is there or not.")
    where: tuple[str, ...] = Field(description="What is marked on a drawing.")


class SetOut(Table):
    """One explanation of everything seen."""

    faults: tuple[str, ...] = Field(description="Exactly these; none: nothing is wrong.")
    probability: float = Field(description="[-]")


class CheckOut(Table):
    """A look that would tell more."""

    of: str = Field(description="Id of the look.")
    place: str = Field(description="Where; empty for the whole hand.")
    title: str = Field(description="What is looked at.")
    question: str = Field(description="How it is asked.")
    answers: tuple[str, ...] = Field(description="Answers; none for a number.")
    unit: str = Field(description="Unit of a number.")
    minutes: float = Field(description="Minutes that it takes.")
    bits: float = Field(description="Expected information about which faults it is [bit].")
    bits_per_minute: float = Field(description="The same for one minute [bit/min].")


class ExpectedOut(Table):
    """One thing seen, beside what the likeliest explanations lead one to expect."""

    of: str = Field(description="Id of the look.")
    place: str = Field(description="Where.")
    title: str = Field(description="What was looked at.")
    seen: str = Field(description="Answer or number.")
    unit: str = Field(description="Unit of a number.")
    expected: tuple[str, ...] = Field(description="In each of the first explanations of `sets`.")
    chance: tuple[float, ...] = Field(description="Of this or something further off, in each of them [-].")


class DiagnosisTable(Table):
    """The diagnosis of one hand."""

    format: Literal["handsel-diagnosis/1"] = Field(description="Format of this file.")
    case: str = Field(description="The case file.")
    catalogue: str = Field(description="Id and version of the fault catalogue.")
    catalogue_sha256: str = Field(description="Fingerprint of its text.")
    sentence: str = Field(description="The answer in one sentence.")
    certain: bool = Field(description="Whether one cause, or none, is named with 90 %.")
    causes: tuple[CauseOut, ...] = Field(description="Most probable first.")
    sets: tuple[SetOut, ...] = Field(description="Explanations, most probable first.")
    faultless_probability: float = Field(description="That nothing is wrong [-].")
    none_fits: bool = Field(description="Whether nothing in the catalogue explains what was seen.")
    fit_probability: float = Field(description="Chance of a worse fit, were an explanation right [-].")
    next_checks: tuple[CheckOut, ...] = Field(description="Most information for a minute first.")
    predicted: tuple[ExpectedOut, ...] = Field(description="What was seen against what was expected.")
    effective_hands: float = Field(description="Simulated hands that bear the answer [-].")
    refined: bool = Field(description="Whether hands were drawn anew near the good ones.")
    library_share: float = Field(description="How much of the library was there [-].")
    library_scale_ratio: float = Field(description="Scale of the library [-].")


def diagnosis_table(d: Diagnosis, *, case: str, catalogue: str, catalogue_sha256: str) -> DiagnosisTable:
    """A diagnosis ready to be written as JSON.

    Parameters: d; case, name of the file; catalogue, id and version; catalogue_sha256.
    Returns: DiagnosisTable.
    Raises: nothing of its own.
    Valid for: any.    Source: own format.    Checked by: unit/test_cli_diagnose.py
    """
    return DiagnosisTable(
        format="handsel-diagnosis/1",
        case=case,
        catalogue=catalogue,
        catalogue_sha256=catalogue_sha256,
        sentence=d.sentence,
        certain=d.certain,
        causes=tuple(
            CauseOut(
                fault=c.fault.id,
                kind=c.fault.kind.id,
                place=c.fault.place,
                title=c.title,
                probability=c.probability,
                severity=None
                if c.severity is None
                else SeverityOut(
                    value=c.severity.value,
                    u=c.severity.u,
                    low=c.severity.low,
                    high=c.severity.high,
                    unit=c.severity.unit,
                ),
                where=tuple(w.strip() for w in c.fault.where.split(",")),
            )
            for c in d.causes
        ),
        sets=tuple(SetOut(faults=tuple(f.id for f in s.faults), probability=s.probability) for s in d.sets),
        faultless_probability=d.faultless_p,
        none_fits=d.none_fits,
        fit_probability=d.fit_p,
        next_checks=tuple(
            CheckOut(
                of=n.of,
                place=n.place,
                title=n.title,
                question=n.question,
                answers=n.answers,
                unit=n.unit,
                minutes=n.minutes,
                bits=n.bits,
                bits_per_minute=n.bits_per_minute,
            )
            for n in d.next_checks
        ),
        predicted=tuple(
            ExpectedOut(
                of=e.of,
                place=e.place,
                title=e.title,
                seen=e.seen,
                unit=e.unit,
                expected=e.expected,
                chance=e.chance,
            )
            for e in d.predicted
        ),
        effective_hands=d.effective_hands,
        refined=d.refined,
        library_share=d.library_share,
        library_scale_ratio=d.scale_ratio,
    )
