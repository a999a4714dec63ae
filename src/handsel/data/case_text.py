"""A case as the text of a case file: what a hand's record tells, for anyone without that record."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from typing import Any

from handsel.data.case_tables import FORMAT
from handsel.inspection.case import Case
from handsel.inspection.protocol import Protocol

LONGEST = {"note": 600, "reason": 600, "answer": 60}  # as the format takes; methods and names up to 300
_UNSEEN = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029\ud800-\udfff]+")


def case_text(case: Case, protocol: Protocol) -> str:
    """The case in the format handsel-case/1; `load_case` reads it back to the same inspection.

    Parameters: case; protocol it is judged by, which says what kind of place a name is.
    Returns: TOML. Line ends and other control characters in notes become spaces, and notes are cut at what
        the format takes: nothing is judged by them.
    Raises: nothing of its own.    Valid for: cases that fit the protocol, see check_fits.
    Source: own format.    Checked by: unit/test_case_text.py
    """
    hand = case.hand
    tables: list[tuple[str, dict[str, Any]]] = [
        (
            "[hand]",
            {
                "code": hand.code,
                "serial": hand.serial,
                "design": hand.design,
                "scale_ratio": hand.scale_ratio,
                "side": hand.side,
                "hold_point": hand.hold_point,
                "target_rest_angle_deg": hand.target_rest_angle_deg,
                "latex_sensitive": hand.latex_sensitive,
            },
        ),
        ("[inspected]", {"by": case.by, "on": case.on}),
        *_observations(case, protocol),
    ]
    for g in case.accepted:
        only = [{"of": of, **_place(place, protocol)} for of, place in g.only]
        when = {"group": g.group, "by": g.by, "before": g.before, "after": g.after}
        tables.append(("[[as_shown]]", when | ({"only": only} if only else {})))
    for c in case.concessions:
        told = {"of": c.of, **_place(c.place, protocol), "by": c.by, "reason": c.reason}
        tables.append(("[[concession]]", told))
    for d in case.done:
        told = {"what": d.what, "name": d.name, "at": d.at, **_place(d.place, protocol)}
        tables.append(("[[done]]", told))
    parts = [f'format = "{FORMAT}"\n', *(_table(head, keys) for head, keys in tables)]
    return "\n".join(parts)


def _observations(case: Case, protocol: Protocol) -> Iterator[tuple[str, dict[str, Any]]]:
    for o in case.observations:
        told: dict[str, Any] = {"of": o.of, **_place(o.place, protocol)}
        if o.unit is None:
            told["answer"] = o.answer
        else:
            number = {f"readings_{o.unit}": list(o.readings)} if o.readings else {f"value_{o.unit}": o.value}
            told |= number | {f"u_{o.unit}": o.u}
        told |= {"method": o.method, "by": o.by, "note": o.note, "before": o.before, "after": o.after}
        yield "[[observation]]", told


def _place(place: str, protocol: Protocol) -> dict[str, str]:
    if not place:
        return {}
    if place in protocol.places("digit"):
        return {"digit": place}
    return {"cord": place} if place in protocol.places("cord") else {"knot": place}


def _table(head: str, keys: dict[str, Any]) -> str:
    lines = [f"{key} = {_value(key, value)}" for key, value in keys.items() if value not in (None, "", [])]
    return "\n".join([head, *lines, ""])


def _value(key: str, value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        plain = _UNSEEN.sub(" ", value).strip() or "-"
        # JSON and TOML escape quotes and backslashes alike.
        return json.dumps(plain[: LONGEST.get(key, 300)], ensure_ascii=False)
    if isinstance(value, list):
        return f"[{', '.join(_value(key, v) for v in value)}]"
    if isinstance(value, dict):
        return f"{{ {', '.join(f'{k} = {_value(k, v)}' for k, v in value.items())} }}"
    return repr(value) if isinstance(value, int | float) else str(value)
