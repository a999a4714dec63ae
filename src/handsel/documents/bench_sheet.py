"""The page for the bench: one sheet of A4 that says what was found, what to do and what to look at again."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from handsel.design.model import Design
from handsel.documents.drawing import closing_view, hand_view
from handsel.documents.svg import PAGE_FONT, printable
from handsel.documents.wording import (
    COVERAGE,
    DEFERS,
    decision_words,
    grouped,
    numbers_held,
    percent,
    prediction_rows,
    recheck_rows,
    why,
)
from handsel.errors import Unsolved
from handsel.rework.result import Assessment, FixKind

TEMPLATE = Path(__file__).with_name("bench_sheet.typ")
LONGEST_WORD = 28  # longer ones may break anywhere


@dataclass(frozen=True, slots=True, kw_only=True)
class _Room:
    """How much is shown; the next smaller one is tried while the text still needs a second page."""

    steps: int
    recheck: int
    open_items: int
    cautions: int
    text: int  # characters of one entry
    view_mm: int
    strip_mm: int


# Drawing and lists give way first; the steps and the cautions last.
ROOMS = (
    _Room(steps=9, recheck=16, open_items=9, cautions=5, text=170, view_mm=176, strip_mm=176),
    _Room(steps=9, recheck=12, open_items=6, cautions=5, text=160, view_mm=155, strip_mm=165),
    _Room(steps=9, recheck=10, open_items=5, cautions=5, text=150, view_mm=130, strip_mm=140),
    _Room(steps=9, recheck=8, open_items=3, cautions=5, text=130, view_mm=112, strip_mm=118),
    _Room(steps=9, recheck=6, open_items=2, cautions=5, text=120, view_mm=104, strip_mm=0),
    _Room(steps=6, recheck=4, open_items=2, cautions=4, text=90, view_mm=90, strip_mm=0),
    _Room(steps=4, recheck=3, open_items=2, cautions=2, text=60, view_mm=70, strip_mm=0),
)


def bench_sheet(design: Design, assessment: Assessment) -> bytes:
    """The page for the bench as PDF, always one sheet of A4, the same on every computer.

    Parameters: design, placed at the hand's scale and side; assessment of that hand.
    Returns: PDF.
    Raises: Unsolved when the page cannot be set, or a pose holds something that is no number.
    Valid for: any assessment and any words in it: text goes in as data and is never read as markup.
    Source: own layout; the typesetter's embedded fonts only.    Checked by: unit/test_documents.py
    """
    import typst

    template = TEMPLATE.read_bytes()
    for room in ROOMS:
        data = {"page": json.dumps(_page(design, assessment, room))}
        try:
            counted = typst.query(
                template, "<pages>", field="value", ignore_system_fonts=True, sys_inputs=data
            )
            if json.loads(counted) == [1]:
                made = typst.compile(
                    template, format="pdf", ignore_system_fonts=True, sys_inputs=data, timestamp=0
                )
                return bytes(made)
        except typst.TypstError as error:
            raise Unsolved(
                f"the page could not be set: {error}",
                where=assessment.inspection.case.name,
                do="Use the text on the screen, keep the case file, and report this.",
            ) from error
    raise Unsolved(
        "the page does not fit on one sheet",
        where=assessment.inspection.case.name,
        do="Use the text on the screen, keep the case file, and report this.",
    )


def _page(design: Design, a: Assessment, room: _Room) -> dict[str, Any]:
    """Everything that the template sets, as plain data."""
    case, fix = a.inspection.case, a.fix
    hand = case.hand
    decision, chance = decision_words(a)
    steps = fix.steps or (() if fix.kind is FixKind.NOTHING else (fix.sentence,))
    again = _again(recheck_rows(a))
    known = {r.id for r in a.recheck}
    left = [x for x in a.inspection.open_items if x.id not in known or x.status == "does not conform"]
    open_items = [(g.called, f"{g.first.severity}, {why(g.first)}") for g in grouped(left)]
    cautions = list(dict.fromkeys((*fix.cautions, *a.cautions)))
    return {
        "title": cut(f"{hand.code} {hand.serial}", 80),
        "hand": cut(f"{hand.code} · {hand.serial} · {hand.side} hand · {100 * hand.scale_ratio:.0f} %", 90),
        "seen": cut(f"{_stage(a)} · inspected {case.on.isoformat()} by {case.by}", 90),
        "sentence": cut(a.sentence, 3 * room.text),
        "decision": decision,
        "chance": cut(chance, room.text),
        "fix": "" if fix.sentence in a.sentence else cut(fix.sentence, 2 * room.text),
        "steps": [cut(s, 2 * room.text) for s in steps[: room.steps] if s != fix.sentence],
        "steps_more": max(0, len(steps) - room.steps),
        "facts": [{"what": w, "now": n, "after": x} for w, n, x in prediction_rows(a)],
        "coverage": COVERAGE + (_success(a)),
        "rests": _entries(numbers_held(a), 10, room.text) if a.conforms else [],
        "recheck": _entries(again, room.recheck, room.text),
        "recheck_more": max(0, len(again) - room.recheck),
        "open": _entries(open_items, room.open_items, room.text),
        "open_more": max(0, len(open_items) - room.open_items),
        "cautions": [cut(c, 2 * room.text) for c in cautions[: room.cautions]],
        "cautions_more": max(0, len(cautions) - room.cautions),
        "view": hand_view(design, a, font=PAGE_FONT),
        "strip": closing_view(design, a, font=PAGE_FONT) if room.strip_mm else "",
        "view_mm": room.view_mm,
        "strip_mm": room.strip_mm,
        "defers": DEFERS,
        "record": cut(
            f"design {a.design_name} {a.design_version} ({a.design_sha256[:12]}) · protocol {a.protocol_id} "
            f"({a.protocol_sha256[:12]}) · handsel {a.program_version} · case {case.name}",
            200,
        ),
    }


def _stage(a: Assessment) -> str:
    stages = a.inspection.protocol.hold_points
    return next((h.title for h in stages if h.id == a.inspection.case.hand.hold_point), "")


def _success(a: Assessment) -> str:
    if a.fix.p_success is None or a.fix.after is None:
        return ""
    return f" Chance that angle and thumb then conform: {percent(a.fix.p_success)}."


def _again(rows: Sequence[tuple[str, str]]) -> list[tuple[str, str]]:
    """Rows with a reason said once: the same reason is not repeated under every title."""
    said: set[str] = set()
    found = []
    for title, reason in rows:
        found.append((title, "" if reason in said else reason))
        said.add(reason)
    return found


def _entries(rows: Sequence[tuple[str, str]], most: int, length: int) -> list[dict[str, str]]:
    return [{"title": cut(title, length + 50), "why": cut(reason, length)} for title, reason in rows[:most]]


def cut(text: str, length: int) -> str:
    """Text fit for a narrow column: printable, not longer than asked, its longest words breakable.

    Parameters: text, any; length, characters kept [-].
    Returns: text, with an ellipsis where something was left out.
    Raises: nothing.    Valid for: any text, right-to-left and hostile ones too.
    Source: own rule.    Checked by: unit/test_documents.py
    """
    plain = printable(" ".join(text.split()))
    if len(plain) > length:
        plain = plain[: length - 1].rstrip() + "…"
    return " ".join(_breakable(word) for word in plain.split(" "))


def _breakable(word: str) -> str:
    """Zero-width spaces every few letters in a word that is wider than a column may be."""
    if len(word) <= LONGEST_WORD:
        return word
    step = 12
    return "\u200b".join(word[k : k + step] for k in range(0, len(word), step))
