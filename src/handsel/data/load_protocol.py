"""From a protocol file to the protocol that the inspection works with."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import Any

from handsel.data.checked import checked
from handsel.data.places import near, shown_plain
from handsel.data.protocol_rules import Sheet, check_protocol, number_of
from handsel.data.protocol_tables import CharacteristicTable, NumberTable, ProtocolTables, ReworkTable
from handsel.data.toml_file import text_of_file, toml_of_text
from handsel.errors import BadFile
from handsel.inspection.protocol import (
    Characteristic,
    DigitPlace,
    Group,
    HoldPoint,
    KnotPlace,
    Protocol,
    Rework,
    Step,
)
from handsel.inspection.rules import Advisory, AnswerRule, NumberRule, ReadingMethod, Substitute
from handsel.metrology.decision import Limits

BUNDLED = Path(__file__).parent / "protocols"


def load_protocol(source: str | Path = "wrist-hand-1") -> Protocol:
    """A protocol, bundled or your own, checked against itself.

    Parameters: source, the name of a bundled protocol, or the path of a TOML file in the format
        handsel-protocol/1 (a Path, or a text with a folder or .toml in it).
    Returns: Protocol, with the SHA-256 of its text.
    Raises: BadFile naming file, table, key, what is wrong and how to mend it.
    Valid for: as read_toml.
    Source: own format; its JSON Schema is protocol_schema().
    Checked by: unit/test_load_protocol.py
    """
    path = protocol_path(source)
    return _protocol_in(text_of_file(path), str(path))


def protocol_text(source: str | Path = "wrist-hand-1") -> str:
    """The text of a protocol, as a hand's record keeps it; `protocol_from_text` reads it back.

    Parameters: source, as load_protocol.
    Returns: text, checked to be a protocol.
    Raises: as load_protocol.    Valid for: as load_protocol.
    Source: own format.    Checked by: unit/test_load_protocol.py
    """
    path = protocol_path(source)
    text = text_of_file(path)
    _protocol_in(text, str(path))
    return text


def protocol_from_text(text: str, *, where: str) -> Protocol:
    """The protocol that a record keeps as text; checked as a file is.

    Parameters: text, as from `protocol_text`; where, the record's name, for messages.
    Returns: Protocol.    Raises: BadFile when the text is not a protocol.
    Valid for: as read_toml.    Source: own format.    Checked by: unit/test_load_protocol.py
    """
    return _protocol_in(text, where)


def bundled_protocols() -> tuple[str, ...]:
    """Names of the protocols that come with the program.

    Parameters: none.
    Returns: names, sorted.
    Raises: nothing of its own.
    Valid for: an installed package whose data files are whole.
    Source: the files beside this module.
    Checked by: unit/test_load_protocol.py
    """
    return tuple(sorted(p.stem for p in BUNDLED.glob("*.toml")))


def protocol_path(source: str | Path) -> Path:
    """The file that a name or path means.

    Parameters: source as load_protocol.
    Returns: path of the file; it need not exist when a path was given.
    Raises: BadFile for a bare name that is not bundled.
    Valid for: names without folder and ending.
    Source: own rule.
    Checked by: unit/test_load_protocol.py
    """
    if isinstance(source, Path) or source.endswith(".toml") or "/" in source or "\\" in source:
        return Path(source)
    if source not in bundled_protocols():
        raise BadFile(
            "there is no bundled protocol of this name",
            where=f"protocol {source[:60]!r}",
            do=f"{near(source[:60], bundled_protocols())} Or give the path of a .toml file.",
        )
    return BUNDLED / f"{source}.toml"


def protocol_schema() -> dict[str, Any]:
    """The JSON Schema of a protocol file.

    Parameters: none.
    Returns: the schema as a dict, ready to be written as JSON.
    Raises: nothing of its own.
    Valid for: handsel-protocol/1.
    Source: made from the tables of protocol_tables.
    Checked by: unit/test_load_protocol.py
    """
    return ProtocolTables.model_json_schema()


@lru_cache(maxsize=16)  # the same few texts are asked for again and again, and nobody can change a Protocol
def _protocol_in(text: str, where: str) -> Protocol:
    path, file = Path(where), toml_of_text(text, shown_plain(where))
    tables = checked(ProtocolTables, file.data, path)
    check_protocol(Sheet(tables=tables, data=file.data, path=path))
    return _protocol_of(tables, file.sha256)


def _protocol_of(t: ProtocolTables, text_sha256: str) -> Protocol:
    stage_of = {g.id: h.id for h in t.hold_point for g in h.group}
    return Protocol(
        id=t.id,
        title=t.title,
        version=t.version,
        sha256=text_sha256,
        designs=t.designs,
        target_rest_angle_deg=t.target_rest_angle_deg,
        accept_p={"critical": t.accept_p.critical, "major": t.accept_p.major, "minor": t.accept_p.minor},
        group_miss_factor=t.group_miss_factor,
        concession_roles=t.concession_roles,
        digits=tuple(DigitPlace(id=d.id, cord=d.cord, is_thumb=d.thumb) for d in t.digit),
        knots=tuple(KnotPlace(id=k.id, digit=k.digit) for k in t.knot),
        hold_points=tuple(
            HoldPoint(
                id=h.id,
                title=h.title,
                before=h.before,
                groups=tuple(Group(**g.model_dump()) for g in h.group),
            )
            for h in t.hold_point
        ),
        steps=tuple(Step(**x.model_dump()) for x in t.step),
        characteristics=tuple(_characteristic(c, t, stage_of[c.held]) for c in t.characteristic),
        reworks=tuple(_rework(r) for r in t.rework),
        fault_words=dict(t.faults),
        sources=dict(t.sources),
    )


def _characteristic(c: CharacteristicTable, t: ProtocolTables, hold_point: str) -> Characteristic:
    number = number_of(c)
    rule: AnswerRule | NumberRule
    if number is not None:
        rule = _number(*number)
    else:
        rule = AnswerRule(answers=c.answers, accepted=c.accept or ("yes",))
    prior = t.prior_nonconforming if c.prior_nonconforming is None else c.prior_nonconforming
    return Characteristic(
        id=c.id,
        title=c.title,
        how=c.how,
        why=c.why,
        hold_point=hold_point,
        held=c.held,
        method=c.method,
        severity=c.severity,
        minutes=c.minutes,
        miss_rate=c.miss_rate,
        false_alarm_rate=c.false_alarm_rate,
        prior_nonconforming=prior,
        rule=rule,
        photo_limits=None if c.photo_max_mm is None else Limits(high=c.photo_max_mm, unit="mm"),
        per=c.per,
        faults=c.faults,
        rework=c.rework,
        caution=c.caution or "",
        counts_only_if=c.counts_only_if,
        substitute=None if c.substitute is None else Substitute(**c.substitute.model_dump()),
        applies_if=c.applies_if or "",
        reads=c.reads or "",
        source=c.source,
        rates_source=c.rates_source or t.rates_source,
    )


def _number(unit: str, n: NumberTable) -> NumberRule:
    limited = n.min is not None or n.max is not None
    return NumberRule(
        unit=unit,
        limits=Limits(low=n.min, high=n.max, unit=unit) if limited else None,
        plausible_min=n.plausible[0],
        plausible_max=n.plausible[1],
        methods=tuple(ReadingMethod(**m.model_dump()) for m in n.methods),
        advisories=tuple(Advisory(**a.model_dump() | {"rework": a.rework or ""}) for a in n.advisory),
        step=n.step,
        step_what=n.step_what or "",
    )


def _rework(r: ReworkTable) -> Rework:
    return Rework(**r.model_dump() | {"caution": r.caution or ""})
