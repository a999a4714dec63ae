"""The one sentence that comes first, in hand words."""

from __future__ import annotations

from collections.abc import Sequence

from handsel.diagnosis.catalogue import spoken
from handsel.diagnosis.result import (
    CERTAIN,
    NAMED_P,
    Cause,
    Expected,
    FaultSet,
    NextCheck,
    nothing_wrong_first,
)

LIKELY = 0.6
UNITS = {"percent": "%", "turn": "turns"}  # as one says them
AGAIN_P = 0.001  # a reading this far off what is said first is a slip of the pen more often than not


def sentence_of(
    causes: Sequence[Cause],
    sets: Sequence[FaultSet],
    faultless_p: float,
    none_fits: bool,
    checks: Sequence[NextCheck],
    seen: Sequence[Expected] = (),
) -> str:
    """One sentence for a tired volunteer, what to read again, and where to look next when it is still open.

    Parameters: causes, sets, most probable first; faultless_p [-]; none_fits; checks, best first; seen, beside what
        the likeliest explanation leads one to expect.
    Returns: text.
    """
    again = read_again(seen)
    then = f"{again} Next: {next_words(checks[0])}." if checks else again
    if none_fits:
        return (
            "None of the known causes fits what was seen: read again what surprises most, and show the hand to "
            "the lead."
        )
    if nothing_wrong_first(faultless_p, causes[0].probability if causes else 0.0):
        return _nothing_wrong(causes, faultless_p, again, then)
    best = sets[0] if sets else None
    if best is not None and len(best.faults) == 2 and best.probability >= NAMED_P:
        a, b = sorted(best.faults, key=lambda f: -probability(causes, f.id))
        if min(probability(causes, a.id), probability(causes, b.id)) >= LIKELY:
            sure = all(probability(causes, f.id) >= CERTAIN for f in best.faults)
            return f"Two things: {a.title}, and {b.title}." + (again if sure else then)
    if not causes:
        return f"It is open what is wrong.{then}"
    first = causes[0]
    if first.probability >= CERTAIN:
        return f"{capital(first.title)}.{again}"
    if first.probability >= LIKELY:
        return f"Most likely {first.title} ({percent(first.probability)}).{then}"
    if first.probability >= NAMED_P:
        second = causes[1] if len(causes) > 1 else None
        if second is None or faultless_p > second.probability:
            return f"Perhaps {first.title}, perhaps nothing is wrong ({percent(faultless_p)}).{then}"
        return f"Perhaps {first.title}, perhaps {second.title}.{then}"
    return f"It is still open what is wrong.{then}"


def _nothing_wrong(causes: Sequence[Cause], faultless_p: float, again: str, then: str) -> str:
    """No cause is as likely as that nothing is wrong; how sure that is."""
    if faultless_p >= CERTAIN:
        return f"Nothing is wrong that these looks could show.{again}"
    if faultless_p >= LIKELY:
        return f"Probably nothing is wrong ({percent(faultless_p)}).{then}"
    if causes and causes[0].probability >= NAMED_P:
        return f"Perhaps nothing is wrong ({percent(faultless_p)}), perhaps {causes[0].title}.{then}"
    return f"Perhaps nothing is wrong ({percent(faultless_p)}); if something is, it is open what.{then}"


def read_again(seen: Sequence[Expected]) -> str:
    """The reading that fits the likeliest explanation so badly that it should be read again before anything is done.

    Only numbers: a word that is out of place has few others that it could have been, and slips are weighed already.

    Parameters: seen, beside what each explanation leads one to expect.    Returns: a sentence with a space before it,
        or nothing.
    """
    numbers = [e for e in seen if e.unit and e.chance and e.chance[0] < AGAIN_P]
    if not numbers:
        return ""
    worst = min(numbers, key=lambda e: (e.chance[0], e.of, e.place))
    where = f" ({spoken(worst.place)})" if worst.place else ""
    value = f"{worst.seen} {UNITS.get(worst.unit, worst.unit)}"
    return f" {capital(_short(worst.title))}{where}, {value}, does not go with that: read it again."


def probability(causes: Sequence[Cause], id: str) -> float:
    """Of a fault among the causes; 0 when it is not among them."""
    return next((c.probability for c in causes if c.fault.id == id), 0.0)


def next_words(check: NextCheck) -> str:
    """What to look at next, as part of a sentence.

    Parameters: check.    Returns: text.
    """
    where = f" ({spoken(check.place)})" if check.place else ""
    return _short(check.title) + where


def _short(title: str) -> str:
    """What a look is called, without how it is done."""
    return title.partition(";")[0]


def percent(p: float) -> str:
    """A probability as one says it: never 0 % or 100 %.

    Parameters: p [-].    Returns: text.
    """
    return f"{min(max(round(100 * p), 1), 99)} %"


def capital(text: str) -> str:
    """With a capital letter at the beginning.

    Parameters: text.    Returns: text.
    """
    return text[:1].upper() + text[1:]
