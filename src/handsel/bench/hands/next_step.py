"""What comes next for a hand, for the person who looks at it: one sentence and one button."""

from __future__ import annotations

from dataclasses import dataclass

from handsel.bench.hands.models import Hand, Standing
from handsel.bench.people.models import Person
from handsel.bench.work.cards import Card


@dataclass(frozen=True, slots=True, kw_only=True)
class NextStep:
    """One sentence for everybody; a button for who may press it."""

    sentence: str
    words: str = ""  # on the button; empty: nothing for this person to press
    url: str = ""


FITTING = "fitting"


def next_step(hand: Hand, person: Person | None, *, stage: str, cards: tuple[Card, ...] = ()) -> NextStep:
    """The next step of a hand; `stage` is the title of its hold point, `cards` are the open ones."""
    if hand.practice:
        return NextStep(
            sentence="A practice hand: look at it, then see what was wrong with it.",
            words="Go on practising" if person is not None else "",
            url=f"/practice/{hand.code}/",
        )
    sentence = _sentence(hand, stage, cards)
    for right, words, path in _ways(hand, cards):
        if person is not None and person.may(right):
            return NextStep(sentence=sentence, words=words, url=f"/h/{hand.code}/{path}")
    return NextStep(sentence=sentence)


def _sentence(hand: Hand, stage: str, cards: tuple[Card, ...]) -> str:
    by = f" by {hand.held_by.called}" if hand.held_by is not None else ""
    if hand.standing == Standing.TO_PUT_RIGHT:
        if not cards:
            return "Something has to be put right: the rework cards are not written yet."
        more = f" {len(cards) - 1} more after it." if len(cards) > 1 else ""
        return f"{cards[0].title}.{more}"
    return {
        Standing.BUILDING: f"Being built up to “{stage}”; then somebody else looks at it.",
        Standing.ASKED: f"Somebody has to look at it now: “{stage}”.",
        Standing.LOOKING: f"It is being looked at{by}: “{stage}”.",
        Standing.FOR_LEAD: "The lead decides what becomes of it.",
        Standing.TO_FIT: "It is sound. The fitter tries it on together with the wearer.",
        Standing.TO_RELEASE: "Everything was looked at and is as it should be: it can be released.",
        Standing.RELEASED: "Released. It goes home once the cautions have been gone through together.",
        Standing.HANDED_OVER: "It has gone home. Knots and rest angle are looked at again after 24 hours of use.",
        Standing.SCRAPPED: "Scrapped: nobody uses it.",
    }[Standing(hand.standing)]


def _ways(hand: Hand, cards: tuple[Card, ...]) -> list[tuple[str, str, str]]:
    """For each standing, who presses what: the first right that the person has."""
    build = ("build", "To the builder's page", "build/")
    look = (
        ("fit", "Go on with the fitting", "fit/")
        if hand.hold_point == FITTING
        else ("inspect", "Look at it now", "look/")
    )
    card = [
        ("fit" if c.what.get("skill") == "fitter" else "build", "Take the rework card", f"cards/{c.seq}/")
        for c in cards[:1]
    ]
    return {
        Standing.BUILDING: [("build", "Go on building", "build/"), look],
        Standing.ASKED: [look, build],
        Standing.LOOKING: [(look[0], "Go on looking", look[2]), build],
        Standing.TO_PUT_RIGHT: [
            *card,
            build,
            ("inspect", "See the answer", "answer/"),
            ("fit", "See the answer", "answer/"),
        ],
        Standing.FOR_LEAD: [("lead", "Decide", "decide/"), ("anyone", "See the answer", "answer/")],
        Standing.TO_FIT: [("fit", "Begin the fitting", "fit/")],
        Standing.TO_RELEASE: [("fit", "Release it", "release/")],
        Standing.RELEASED: [("fit", "Hand it over", "hand-over/")],
        Standing.HANDED_OVER: [],
        Standing.SCRAPPED: [],
    }[Standing(hand.standing)]
