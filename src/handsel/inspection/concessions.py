"""Concessions: a named role lets something pass that does not conform, with the reason."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from handsel.inspection.case import Case, Concession
from handsel.inspection.protocol import HAND, Protocol
from handsel.inspection.result import Item, RefusedConcession


def conceded(
    items: Iterable[Item], case: Case, protocol: Protocol
) -> tuple[list[Item], tuple[RefusedConcession, ...]]:
    """The items with the concessions that count applied, and those that do not count.

    Parameters: items of one inspection; case with its concessions; protocol.
    Returns: the items in the same order, and a RefusedConcession for each that does not count.
    Raises: nothing of its own.
    Valid for: items of this case. A concession leaves an item's status as it is.
    Source: ISO 9000:2015 3.12.5 (concession); own rule that nothing critical is ever conceded.
    Checked by: unit/test_inspection_concessions.py, properties/test_inspection.py
    """
    refused: list[RefusedConcession] = []
    granted: list[Concession] = []
    grave = {item.id for item in items if item.severity == "critical"}
    for concession in case.concessions:
        characteristic = protocol.characteristic(concession.of)
        role = concession.by.split()[0] if concession.by.split() else ""
        if concession.of in grave or (characteristic is not None and characteristic.severity == "critical"):
            why = "critical items are never conceded: put it right, or do its substitute check"
        elif role not in protocol.concession_roles:
            why = f"only {' or '.join(protocol.concession_roles)} may concede"
        elif not concession.reason.strip():
            why = "a concession needs its reason"
        else:
            granted.append(concession)
            continue
        refused.append(RefusedConcession(of=concession.of, by=concession.by, reason=why))
    by_key = {(c.of, c.place): c for c in granted}
    result = []
    for item in items:
        concession_of = by_key.get(item.key) or by_key.get((item.id, HAND))
        if item.is_open and concession_of is not None:
            item = replace(item, conceded_by=concession_of.by, concession_reason=concession_of.reason)
        result.append(item)
    return result, tuple(refused)
