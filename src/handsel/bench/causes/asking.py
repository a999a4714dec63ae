"""One look that tells causes apart: how it is asked, and what may be answered."""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite

from handsel.bench.causes.known import catalogue_for, look_title
from handsel.bench.looking.unit_words import unit_sign, unit_words
from handsel.diagnosis.catalogue import spoken
from handsel.diagnosis.likelihood import CANNOT_TELL
from handsel.errors import HandselError
from handsel.inspection.protocol import Protocol
from handsel.inspection.rules import NumberRule

# Of numbers that no inspection asks for: outside of these it is a slip, or another unit.
PLAUSIBLE = {"mm": (0.0, 200.0), "percent": (50.0, 200.0), "deg": (-180.0, 180.0), "turn": (-60.0, 60.0)}


class NoSuchLook(HandselError, LookupError):
    """Asked for a look or place that the catalogue does not have."""

    status = 404


class NoAnswer(HandselError, ValueError):
    """What came is no answer to the question."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """One look at one place, ready to be asked."""

    of: str
    place: str
    where: str  # place in words
    words: str
    how: str
    answers: tuple[str, ...]  # of a number: none
    unit: str
    unit_sign: str
    unit_words: str
    low: float
    high: float

    @property
    def is_number(self) -> bool:
        """Whether a number is typed."""
        return not self.answers

    @property
    def keyboard(self) -> str:
        """Which keys a phone offers: many number keyboards have no minus sign."""
        return "text" if self.low < 0 else "decimal"

    @property
    def hint(self) -> str:
        """From where to where a number can be."""
        return f"{self.low:g} to {self.high:g} {self.unit_words}".replace("-", "−")


def where_words(place: str) -> str:
    """A place as a person says it: "index, knuckle"."""
    return spoken(place.replace(".", ", ")) if place else ""


def question_words(of: str, question: str, title: str, protocol: Protocol) -> str:
    """How a look is asked: in the catalogue's words, or by what the protocol says of it."""
    if question:
        return question.replace(" deg", "°")
    c = protocol.characteristic(of)
    text = c.title if c is not None else title.partition(";")[0]
    return f"{text[:1].upper()}{text[1:]}" + ("" if text.endswith((".", "?")) else "?")


def question_for(of: str, place: str, protocol: Protocol) -> Question:
    """The question; NoSuchLook for what cannot be asked."""
    catalogue = catalogue_for(protocol)
    look = catalogue.observable(of) if catalogue is not None else None
    if look is None or place not in look.places:
        raise NoSuchLook(
            "this is nothing that a cause could be told by",
            where="the look",
            do="Go back to the hand and take the look that is offered there.",
        )
    c = protocol.characteristic(of)
    rule = c.rule if c is not None and isinstance(c.rule, NumberRule) else None
    low, high = PLAUSIBLE.get(look.unit, (-1e4, 1e4))
    if rule is not None:
        low, high = rule.plausible_min, rule.plausible_max
    asked = look_title(look) if look.kind == "number" and not look.question else ""
    return Question(
        of=of,
        place=place,
        where=where_words(place),
        words=asked or question_words(of, look.question, look.title, protocol),
        how=c.how if c is not None else "",
        answers=() if look.kind == "number" else look.answers_of(place),
        unit=look.unit,
        unit_sign=unit_sign(look.unit),
        unit_words=unit_words(look.unit),
        low=low,
        high=high,
    )


def answer_of(q: Question, answer: str, value: str) -> dict[str, object]:
    """What the record keeps of an answer; NoAnswer, in words, where it is none."""
    if answer == CANNOT_TELL:
        return {"answer": CANNOT_TELL}
    if not q.is_number:
        if answer not in q.answers:
            raise NoAnswer("that is not one of the answers", where=q.words, do=f"Tap {', '.join(q.answers)}.")
        return {"answer": answer}
    text = value.strip().replace(",", ".").replace("−", "-")
    try:
        number = float(text)
    except ValueError:
        raise NoAnswer(
            f"{value.strip()[:20]!r} is no number" if text else "there is no number yet",
            where=q.words,
            do=f"Read it and type it in {q.unit_words}, or say that you can't tell.",
        ) from None
    if not (isfinite(number) and q.low <= number <= q.high):
        raise NoAnswer(
            f"{number:g} cannot be right here",
            where=q.words,
            do=f"Expected is {q.hint}. Look at the unit and the comma, and type it again.",
        )
    return {"value": number, "unit": q.unit}
