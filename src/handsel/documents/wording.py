"""The same few phrases wherever an assessment is shown: numbers with their spread, decisions, notes."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from handsel.inspection.result import Item
from handsel.metrology.decision import Action, Settling
from handsel.metrology.quantity import Quantity, expanded, plus_minus, with_unit
from handsel.rework.result import Assessment, Estimate

DEFERS = (
    "This judges the hand, not the person who will wear it. Local rules and people licensed to judge "
    "come first; it does not show that anything conforms to a law or standard. If your eyes disagree "
    "with it, stop and have someone else look."
)
COVERAGE = "± holds the true value in 95 of 100 such hands."
WHOLE = {
    "release": "Conforms",
    "rework": "Does not conform: rework",
    "scrap part": "Does not conform: replace a part",
    "not decided yet": "Not decided yet",
}


def interval(e: Estimate) -> str:
    """A computed value with half its 95 % interval, the unit last; whoever prints it says the coverage.

    Parameters: e.    Returns: "36.0° ± 1.6°".    Raises: nothing for a finite estimate.
    Valid for: any unit.    Source: JCGM 100:2008 7.2.6.    Checked by: unit/test_documents.py
    """
    half = (e.high - e.low) / 2.0
    if e.unit == "deg":  # an angle of a hand is never read finer than a tenth
        return minus(f"{round(e.value, 1) + 0.0:.1f}° ± {half:.1f}°")
    return minus(plus_minus(e.value, half, e.unit) if half > 0.0 else with_unit(f"{e.value:g}", e.unit))


def reading(q: Quantity) -> str:
    """A reading with half its 95 % interval; whoever prints it says the coverage.

    Parameters: q.    Returns: text such as "28.5° ± 1.6°".    Raises: nothing of its own.
    Valid for: any unit.    Source: JCGM 100:2008 6.2.1, 7.2.6.    Checked by: unit/test_documents.py
    """
    half = expanded(q).U
    if q.unit in ("deg", "mm", "percent", "turn"):
        sign = {"deg": "°", "percent": " %"}.get(q.unit, f" {q.unit}")
        return minus(f"{round(q.value, 1) + 0.0:.1f}{sign} ± {half:.1f}{sign}")
    return minus(plus_minus(q.value, half, q.unit))


def minus(text: str) -> str:
    """Text with a real minus sign before its numbers."""
    return re.sub(r"(?<![\w)])-(?=\d)", "−", text)


def percent(p: float) -> str:
    """A probability in whole per cent that never claims certainty.

    Parameters: p [-].    Returns: text such as "93 %".    Raises: nothing.    Valid for: 0 to 1.
    Source: own rule.    Checked by: unit/test_documents.py
    """
    if p >= 0.995:
        return "over 99 %"
    return "under 1 %" if p < 0.005 else f"{100.0 * p:.0f} %"


def decision_words(a: Assessment) -> tuple[str, str]:
    """The decision in a few words, and what it rests on, with the probability where a number decided.

    Parameters: a.    Returns: decision and ground, the ground "" when there is none to name.
    Raises: nothing.    Valid for: any assessment.    Source: own rule: the open item that weighs most
        speaks for a hand that does not pass, the least certain one for a hand that does.
    Checked by: unit/test_documents.py
    """
    i = a.inspection
    whole = WHOLE[i.whole]
    if a.conforms:
        sure = [x for x in i.items if _told_by_number(x) and x.status == "conforms"]
        if not sure:
            return whole, ""
        least = min(sure, key=lambda x: x.p_conform or 0.0)
        return whole, f"least certain: {least.called}, {percent(least.p_conform or 0.0)}"
    wanted = ("undecided", "not seen") if i.whole == "not decided yet" else ("does not conform",)
    heavy = [x for x in i.open_items if x.status in wanted and x.severity != "minor"]
    number = next((x for x in heavy if _told_by_number(x)), None)
    if number is not None and number.severity == heavy[0].severity:
        return whole, f"{number.called}: {percent(number.p_conform or 0.0)} likely"
    if i.whole == "not decided yet":
        n = sum(x.blocks for x in i.open_items)
        return whole, f"{n} {'check' if n == 1 else 'checks'} open"
    return whole, f"not so: {grouped(heavy)[0].called}" if heavy else ""


def _told_by_number(x: Item) -> bool:
    """Whether its probability says how near it is, not how often people err when they say no."""
    return x.p_conform is not None and (x.decision is not None or x.hold_point == "")


def reason(x: Item) -> str:
    """Why an item stands as it does, numbers with their 95 % interval.

    Parameters: x.    Returns: text.    Raises: nothing.    Valid for: any item.
    Source: the item's decision.    Checked by: unit/test_documents.py
    """
    if x.decision is None or x.p_conform is None:
        return minus(x.reason)
    d = x.decision
    limits = minus(str(d.limits)).replace(" percent", " %")
    text = f"{reading(d.quantity)} (95 %), asked: {limits}; {percent(x.p_conform)} likely"
    return text if x.settling is None else f"{text}. {_settled(x.settling)}"


def _settled(s: Settling) -> str:
    """What settles it. How far to move is said by the fix, for both slides at once."""
    if s.action is not Action.MOVE_CLEAR:
        return s.sentence
    if s.readings is None:
        because = f": {s.never_because}" if s.never_because else ""
        return (
            f"No number of further readings settles it{because}. Move it clear of the limit, then read again"
        )
    return "Moving it clear of the limit, and reading again after it, settles it soonest"


@dataclass(frozen=True, slots=True, kw_only=True)
class Grouped:
    """Items that are alike but for their place, said once."""

    first: Item
    places: tuple[str, ...]

    @property
    def called(self) -> str:
        """Title with its places, for a list."""
        named = ", ".join(p for p in self.places if p)
        return f"{self.first.title} ({named})" if named else self.first.title


def grouped(items: Sequence[Item]) -> tuple[Grouped, ...]:
    """The same finding at several places as one entry, at the place of its first.

    Parameters: items, in the order to keep.    Returns: entries.    Raises: nothing.
    Valid for: any items.    Source: own rule.    Checked by: unit/test_documents.py
    """
    found: dict[tuple[str, str, str], list[Item]] = {}
    for x in items:
        found.setdefault((x.id, x.status, x.reason), []).append(x)
    return tuple(Grouped(first=same[0], places=tuple(x.place for x in same)) for same in found.values())


def merged(texts: Sequence[str]) -> list[str]:
    """Texts that differ only in the place in their brackets as one, with all places: "knot (index, ring)".

    Parameters: texts.    Returns: texts, each at the place of its first.    Raises: nothing.
    Valid for: any texts.    Source: own rule.    Checked by: unit/test_documents.py
    """
    found: dict[tuple[str, str], list[str]] = {}
    for text in texts:
        match = re.match(r"(.+?) \(([a-z-]+)\)(.*)$", text, re.DOTALL)
        key = (match[1], match[3]) if match else (text, "")
        found.setdefault(key, []).append(match[2] if match else "")
    return [f"{a} ({', '.join(at)}){b}" if any(at) else a for (a, b), at in found.items()]


def why(x: Item) -> str:
    """The reason of an open item as the end of a line: no capital at its start.

    Parameters: x.    Returns: text.    Raises: nothing.    Valid for: any item.
    Source: own wording.    Checked by: unit/test_documents.py
    """
    text = reason(x) or x.status
    return text[:1].lower() + text[1:]


def prediction_rows(a: Assessment) -> Sequence[tuple[str, str, str]]:
    """What was found and what the fix will bring: what, now, after; "" where not known.

    Parameters: a.    Returns: rows of texts.    Raises: nothing.    Valid for: any assessment.
    Source: the assessment.    Checked by: unit/test_documents.py
    """
    now, after = a.now, a.fix.after
    if now is None and after is None:
        return ()
    read = a.inspection.readings.get("worked_rest_angle_deg")

    def both(what: str, pick: str) -> tuple[str, str, str]:
        values = [getattr(p, pick) if p is not None else None for p in (now, after)]
        return (what, *(interval(v) if v is not None else "–" for v in values))  # type: ignore[return-value]

    rows = [both("rest angle, worked", "worked_rest_angle_deg")]
    if isinstance(read, Quantity):
        rows[0] = (rows[0][0], f"{reading(read)} read", rows[0][2])
    rows += [
        both("rest angle, lowered", "lowered_rest_angle_deg"),
        both("thumb starts before fingers", "thumb_lead_deg"),
    ]
    if any(p is not None and p.closed_wrist_deg is not None for p in (now, after)):
        rows.append(both("thumb meets finger at", "closed_wrist_deg"))
    turns = [
        f"{round(2.0 * p.screw_turns_left) / 2.0:g} turns" if p is not None else "–" for p in (now, after)
    ]
    pins = [minus(f"{p.thumb_pin_left_mm:.1f} mm") if p is not None else "–" for p in (now, after)]
    rows += [
        ("screws can still go in", turns[0], turns[1]),
        ("thumb pin can still go back", pins[0], pins[1]),
    ]
    return rows if after is not None else [(w, n, "") for w, n, _ in rows]


def recheck_rows(a: Assessment) -> list[tuple[str, str]]:
    """What to look at again, one row for each title, with all its places and reasons.

    Parameters: a.    Returns: title and reason of each row.    Raises: nothing.
    Valid for: any assessment.    Source: own rule.    Checked by: unit/test_documents.py
    """
    rows: dict[str, tuple[dict[str, None], dict[str, None]]] = {}  # places and reasons, each once, in order
    for r in a.recheck:
        places, reasons = rows.setdefault(r.title, ({}, {}))
        places[r.place] = None
        reasons[r.reason] = None
    return [
        (
            f"{title} ({', '.join(filter(None, places))})" if any(places) else title,
            "; ".join(merged(list(reasons))),
        )
        for title, (places, reasons) in rows.items()
    ]


def numbers_held(a: Assessment) -> list[tuple[str, str]]:
    """The numbers a sound hand stands on: the worked rest angle, then the least certain first.

    Parameters: a.    Returns: title and reason of each.    Raises: nothing.    Valid for: any assessment.
    Source: the inspection.    Checked by: unit/test_documents.py
    """
    numbers = [x for x in a.inspection.items if x.decision is not None and x.status == "conforms"]
    numbers.sort(key=lambda x: (x.id != "worked-rest-angle", x.p_conform or 0.0))
    return [(x.called, reason(x)) for x in numbers]
