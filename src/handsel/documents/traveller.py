"""The traveller on paper: what the screens ask, in the same order and with the same short codes.

When the power fails it is filled in by pen. Codes and ticks stand side by side along the left edge, and
one box passes a whole group, so that a hold point is typed in again by its exceptions and its numbers.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from handsel.documents.paper import HandOnPaper, fitted, shown_code, typeset
from handsel.documents.short_codes import hold_point_letters, in_order, short_codes
from handsel.documents.wording import minus
from handsel.errors import OutOfRange
from handsel.inspection.protocol import CANNOT_TELL, HAND, Characteristic, Protocol, Step
from handsel.inspection.rules import NumberRule

LOT_KINDS = ("filament", "cord", "elastic", "foam", "pins")  # what a hand is made of, to write lots beside
YES_NO = ("yes", "no")
UNIT_WORDS = {"deg": "°", "percent": "%", "turn": "turns"}  # as a person writes them


@dataclass(frozen=True, slots=True, kw_only=True)
class Traveller:
    """One hand's traveller: the whole protocol, or from one hold point on."""

    hand: HandOnPaper
    protocol: Protocol
    from_hold_point: str = ""  # "" for the whole protocol

    def __post_init__(self) -> None:
        if self.from_hold_point:
            self.protocol.stage(self.from_hold_point)  # refuses one that the protocol does not have


def travellers(papers: Sequence[Traveller]) -> bytes:
    """Travellers of one or many hands in one PDF of A5 pages, each hand beginning on a page of its own.

    Parameters: papers, at least one.
    Returns: PDF.
    Raises: OutOfRange when there is none; Unsolved when the page cannot be set.
    Valid for: any protocol that was loaded; pages are numbered hand by hand.
    Source: own layout.    Checked by: unit/test_documents_traveller.py
    """
    if not papers:
        raise OutOfRange("there is no hand to print", where="travellers", do="Choose at least one hand.")
    forms: dict[tuple[str, str, str], int] = {}
    pages: list[dict[str, Any]] = []
    hands = []
    for p in papers:
        # Hands of the same protocol share its text: a day's travellers stay small to hand over.
        key = (p.protocol.id, p.protocol.sha256, p.from_hold_point)
        if key not in forms:
            forms[key] = len(pages)
            pages.append(_form(p.protocol, p.from_hold_point))
        hands.append({**p.hand.on_page(), "form": forms[key]})
    title = shown_code(papers[0].hand.code) if len(papers) == 1 else f"Travellers of {len(papers)} hands"
    data = {"title": title, "forms": pages, "hands": hands, "lots": list(LOT_KINDS)}
    return typeset("traveller.typ", data, where="traveller", tagged=False)


def _form(protocol: Protocol, from_hold_point: str) -> dict[str, Any]:
    """The part of a traveller that is alike for every hand of the protocol."""
    first = protocol.stage(from_hold_point) if from_hold_point else 0
    codes, letters = short_codes(protocol), hold_point_letters(protocol)
    ordered = in_order(protocol)
    points = []
    for h in protocol.hold_points[first:]:
        groups = []
        for g in h.groups:
            rows = [_row(c, codes[c.id], protocol) for c in ordered if c.held == g.id]
            if rows:
                groups.append({"title": fitted(g.title, 70), "how": fitted(g.how, 260), "rows": rows})
        points.append(
            {
                "letter": letters[h.id],
                "title": fitted(h.title, 40),
                "before": fitted(h.before, 200),
                "groups": groups,
                "steps": [fitted(s.title, 70) for s in _then(protocol, h.id)],
            }
        )
    return {"points": points, "digits": list(protocol.places("digit"))}


def _then(protocol: Protocol, hold_point: str) -> tuple[Step, ...]:
    return tuple(s for s in protocol.steps if s.after == hold_point)


def _row(c: Characteristic, code: str, protocol: Protocol) -> dict[str, Any]:
    """One characteristic: what is asked, and the boxes that suit the kind of its answer."""
    places = [fitted(p.replace("-", " "), 24, word=16) for p in protocol.places(c.per) if p != HAND]
    row: dict[str, Any] = {
        "code": code,
        "title": fitted(c.title, 200),
        "severity": c.severity,
        "only_if": "only where latex must be kept away" if c.applies_if == "latex_sensitive" else "",
        "places": places,
    }
    if isinstance(c.rule, NumberRule):
        unit = UNIT_WORDS.get(c.rule.unit, c.rule.unit)
        asked = "" if c.rule.limits is None else minus(str(c.rule.limits)).replace(c.rule.unit, unit)
        methods = [fitted(m.name, 24) for m in c.rule.methods]
        return row | {
            "kind": "number",
            "unit": fitted(unit, 12),
            "asked": fitted(_once(asked, unit), 60),
            "methods": methods if len(methods) > 1 else [],
        }
    if c.rule.answers == YES_NO:
        return row | {"kind": "places" if places else "yes-no"}
    answers = [fitted(a, 40) for a in c.rule.answers if a != CANNOT_TELL]
    return row | {"kind": "answers", "answers": answers}


def _once(limits: str, unit: str) -> str:
    """A range with its unit said once: "98 to 102 %"."""
    low, found, high = limits.partition(" to ")
    return f"{low.removesuffix(unit).rstrip()} to {high}" if found and unit and unit != "°" else limits
