"""Why a hand is not right, as its traveller shows it: one sentence, causes, and the one look that tells most."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

from handsel.bench.causes.asking import question_words, where_words
from handsel.bench.causes.diagnosing import Found, Progress, can_be_diagnosed, find, progress
from handsel.bench.causes.known import catalogue_for, look_title
from handsel.bench.causes.wishes import hand_plan_key, is_coming
from handsel.bench.hands.casebook import Told, design_placed, out_of_force
from handsel.bench.hands.models import Hand, Standing
from handsel.bench.hands.words import answer_words, characteristic_words
from handsel.bench.jobs.models import Job
from handsel.bench.looking.unit_words import unit_sign
from handsel.bench.people.models import Person
from handsel.data.load_figures import figures_of
from handsel.diagnosis.catalogue import Fault
from handsel.diagnosis.result import Cause, Diagnosis, Expected, NextCheck
from handsel.diagnosis.wording import capital, percent
from handsel.documents.drawing import as_designed
from handsel.documents.hand_map import MapMark, hand_map
from handsel.documents.hand_views import figure_for
from handsel.documents.wording import minus
from handsel.inspection.protocol import Protocol
from handsel.inspection.result import Inspection
from handsel.rework.result import PoseDrawn

SHOWN, OTHERS, COMPARED = 4, 3, 3  # causes, other looks, explanations side by side
MOST_SEEN = 8
LEAST_SHOWN = 0.005  # of a cause: two in a hundred would leave out one second fault in twenty
PEGS = 5  # a probability as knots on a thread
LETTERS = "ABCDEFGH"
ODD = 0.05  # what was seen is this unlikely in an explanation: it speaks against it
MAY_ANSWER = ("inspect", "build")
WORDS = ((0.9, "almost certain"), (0.6, "likely"), (0.25, "possible"), (0.0, "less likely"))


@dataclass(frozen=True, slots=True, kw_only=True)
class CauseRow:
    """One cause."""

    letter: str  # as on the drawing
    title: str
    percent: str
    word: str
    pegs: tuple[bool, ...]  # as many are tied as the probability has fifths
    much: str  # how bad, where that can be said


@dataclass(frozen=True, slots=True, kw_only=True)
class LookRow:
    """A look that would tell more."""

    words: str
    where: str
    small: str  # on the button's second line
    url: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ExpectedCell:
    """What one explanation leads one to expect."""

    heading: str
    words: str
    is_odd: bool  # what was seen speaks against it


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenRow:
    """One thing seen, beside what each explanation leads one to expect."""

    title: str
    seen: str
    expected: tuple[ExpectedCell, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class AnsweredRow:
    """One answer that was given to find the cause."""

    seq: int
    words: str
    who: str
    may_take_back: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class CausesPage:
    """All that is shown of a hand's causes."""

    code: str
    state: str  # "known", "making" or "not yet"
    sentence: str = ""
    none_fits: bool = False
    causes: tuple[CauseRow, ...] = ()
    nothing: str = ""  # how likely it is that nothing is wrong, where that is worth saying
    svg: str = ""
    next: LookRow | None = None
    others: tuple[LookRow, ...] = ()
    headings: tuple[str, ...] = ()  # of the explanations compared
    seen: tuple[SeenRow, ...] = ()
    odd: tuple[str, ...] = ()  # what surprises most, where nothing fits
    seen_more: int = 0  # rows left out
    answered: tuple[AnsweredRow, ...] = ()
    plan: str = ""  # the quickest way, in a sentence
    rests_on: str = ""
    dropped: tuple[str, ...] = ()
    there: int = 0
    total: int = 0
    may_answer: bool = False
    may_begin: bool = False


def causes_page(
    hand: Hand,
    told: tuple[Told, ...],
    protocol: Protocol,
    inspection: Inspection,
    person: Person | None,
    pose: PoseDrawn | None,
) -> CausesPage | None:
    """What is shown on the traveller; None for a hand of which nothing is known to be wrong."""
    if not is_of_interest(hand, protocol, inspection):
        return None
    made = progress(hand)
    if made is None:
        return None
    found = find(hand, told, protocol)
    if found is None:
        return CausesPage(
            code=hand.code,
            state="not yet",
            there=made.there,
            total=made.total,
            may_begin=person is not None and not is_coming(hand),
        )
    return _page(hand, told, protocol, person, pose, found, made)


def is_of_interest(hand: Hand, protocol: Protocol, inspection: Inspection) -> bool:
    """Strung, still open, and something the catalogue could explain does not conform."""
    if hand.standing in (Standing.RELEASED, Standing.HANDED_OVER, Standing.SCRAPPED):
        return False
    if not can_be_diagnosed(protocol, hand.hold_point):
        return False
    catalogue = catalogue_for(protocol)
    return any(
        x.status == "does not conform"
        and (
            protocol.characteristic(x.id) is None  # found by the mechanics
            or (catalogue is not None and catalogue.observable(x.id) is not None)
        )
        for x in inspection.items
    ) or (
        # Cord lengths are judged by the mechanics, and only the decision keeps what they found.
        hand.standing in (Standing.TO_PUT_RIGHT, Standing.FOR_LEAD)
    )


def _page(
    hand: Hand,
    told: tuple[Told, ...],
    protocol: Protocol,
    person: Person | None,
    pose: PoseDrawn | None,
    found: Found,
    made: Progress,
) -> CausesPage:
    d = found.diagnosis
    shown = [c for c in d.causes if c.probability >= LEAST_SHOWN][:SHOWN]
    may = person is not None and any(person.may(right) for right in MAY_ANSWER)
    looks = tuple(_look_row(hand, c, protocol) for c in d.next_checks)
    is_open = d.none_fits or not d.certain
    letters = {c.fault.id: letter for c, letter in zip(shown, LETTERS, strict=False)}
    headings = tuple(_heading(f.faults, letters) for f in d.sets[:COMPARED])
    seen = tuple(_seen_row(e, found, headings) for e in d.predicted[:MOST_SEEN])  # the most telling first
    return CausesPage(
        code=hand.code,
        state="known" if made.there >= made.total else "making",
        sentence=_sentence(d),
        none_fits=d.none_fits,
        causes=tuple(_cause_row(c, letter) for c, letter in zip(shown, LETTERS, strict=False)),
        nothing=percent(d.faultless_p) if d.faultless_p >= LEAST_SHOWN else "",
        svg=_drawn(hand, pose, tuple(_marks(shown))),
        next=looks[0] if looks and is_open else None,
        others=looks[1 : 1 + OTHERS] if is_open else looks[:OTHERS],
        headings=headings,
        seen=seen,
        odd=tuple(f"{r.title}: {r.seen}" for r in seen[:3]) if d.none_fits else (),
        seen_more=max(0, len(d.predicted) - MOST_SEEN),
        answered=_answered(told, protocol, person),
        plan=_plan(hand),
        rests_on=_rests_on(d, len(found.seen)),
        dropped=found.dropped,
        there=made.there,
        total=made.total,
        may_answer=may,
    )


def _plan(hand: Hand) -> str:
    """What is best done first, once a worker has found out."""
    job = Job.objects.filter(key=hand_plan_key(hand), state=Job.DONE).values_list(
        "result__sentence", flat=True
    )
    return str(job.first() or "")


def _sentence(d: Diagnosis) -> str:
    """The diagnosis in a sentence. Of a hand that was refused, "nothing is wrong" would be no answer."""
    if not d.says_nothing_wrong:
        return d.sentence.partition(" Next: ")[0]  # the look to do next is the button
    return (
        f"No single cause stands out: by what was seen, nothing would be broken or mixed up "
        f"({percent(d.faultless_p)}). Read once more what did not conform; if it stays so, the rework card says "
        "what to do."
    )


def _heading(faults: Sequence[Fault], letters: Mapping[str, str]) -> str:
    """An explanation by the letters of its causes, which are short enough for a column."""
    if not faults:
        return "If nothing is wrong"
    return "If " + " and ".join(letters.get(f.id, f.title) for f in faults)


def _cause_row(c: Cause, letter: str) -> CauseRow:
    s = c.severity
    # Two figures say enough of something so roughly known.
    much = "" if s is None else f"about {_two(s.value)} {s.unit}, {_two(s.low)} to {_two(s.high)}"
    tied = max(1, round(c.probability * PEGS)) if c.probability >= LEAST_SHOWN else 0
    return CauseRow(
        letter=letter,
        title=capital(c.title),
        percent=percent(c.probability),
        word=next(word for least, word in WORDS if c.probability >= least),
        pegs=tuple(k < tied for k in range(PEGS)),
        much=much,
    )


def _two(value: float) -> str:
    return minus(f"{value:.2g}")


def _look_row(hand: Hand, c: NextCheck, protocol: Protocol) -> LookRow:
    where = where_words(c.place)
    return LookRow(
        words=question_words(c.of, c.question, c.title, protocol),
        where=where,
        small=f"{capital(where)}. Takes {minutes_words(c.minutes)}."
        if where
        else f"Takes {minutes_words(c.minutes)}.",
        url=f"/h/{hand.code}/causes/look/?of={c.of}" + (f"&place={c.place}" if c.place else ""),
    )


def minutes_words(minutes: float) -> str:
    """How long a look takes, roughly."""
    if minutes < 0.4:
        return "a few seconds"
    return "half a minute" if minutes < 0.8 else "a minute" if minutes < 1.5 else f"{minutes:.0f} minutes"


def _seen_row(e: Expected, found: Found, headings: tuple[str, ...]) -> SeenRow:
    look = found.catalogue.observable(e.of)
    title = look_title(look) if look is not None else e.title
    where = where_words(e.place)
    unit = unit_sign(e.unit)
    with_unit = f"{unit}" if unit == "°" else f" {unit}" if unit else ""
    return SeenRow(
        title=f"{title} ({where})" if where else title,
        seen=f"{minus(e.seen) if e.unit else e.seen}{with_unit}",
        expected=tuple(
            ExpectedCell(
                heading=heading, words=f"{minus(x) if e.unit else x}{with_unit}", is_odd=chance < ODD
            )
            for heading, x, chance in zip(headings, e.expected, e.chance, strict=False)
        ),
    )


def _answered(told: tuple[Told, ...], protocol: Protocol, person: Person | None) -> tuple[AnsweredRow, ...]:
    gone = out_of_force(told)
    return tuple(
        AnsweredRow(
            seq=t.seq,
            words=f"{characteristic_words(t.what['of'], t.what.get('place', ''), protocol)}: "
            f"{answer_words(t.what, protocol)}",
            who=t.by["called"],
            may_take_back=person is not None and (person.is_lead or person.number == t.by["number"]),
        )
        for t in reversed(told)
        if t.kind == "observed" and t.is_for_causes and t.seq not in gone
    )


def _rests_on(d: Diagnosis, count: int) -> str:
    made = "" if d.library_share >= 1.0 else f", of which {100 * d.library_share:.0f} % are made so far"
    return (
        f"From {count} answer{'' if count == 1 else 's'}, held against simulated hands at "
        f"{100 * d.scale_ratio:.3g} %{made}."
    )


# ---- where on the drawing ----------------------------------------------------------------------------

_REGIONS = {
    ("slide", "tension"): ("bar", ""),
    ("slide", "thumb-pin"): ("thumb-pin", ""),
    ("knot", "thumb-pin"): ("thumb-pin", ""),
    ("screw", "thumb-side"): ("screw-thumb-side", ""),
    ("screw", "little-side"): ("screw-little-side", ""),
    ("hinge", "wrist"): ("wrist", ""),
    ("whippletree", ""): ("bar", ""),
    ("cuff", ""): ("cuff", ""),
}
_PARTS = {"tip": "tip", "proximal": "proximal", "knot": "knot", "elastic": "proximal", "cord": "proximal"}


def region_of(where: str) -> tuple[str, str]:
    """Where a place of the catalogue stands on the hand's drawing: region and digit."""
    part, _, name = where.strip().partition(" ")
    fixed = _REGIONS.get((part, name))
    if fixed is not None:
        return fixed
    if part == "hinge":
        digit, _, joint = name.partition(".")
        return ("tip-hinge" if joint == "tip" else "knuckle"), digit
    return _PARTS.get(part, "hand"), name


def look_region(of: str, place: str, protocol: Protocol) -> tuple[str, str]:
    """Where a look is made, on the hand's drawing."""
    c = protocol.characteristic(of)
    digit, _, joint = place.partition(".")
    if c is not None:
        return figure_for(c, figures_of(protocol.id)).region, digit
    if place in ("thumb-side", "little-side"):
        return f"screw-{place}", ""
    if place == "thumb-pin":
        return "thumb-pin", ""
    if joint:
        return ("tip-hinge" if joint == "tip" else "knuckle"), digit
    return ("tip" if of.startswith("tip") or of == "reach" else "proximal") if digit else "hand", digit


def _marks(causes: list[Cause]) -> list[MapMark]:
    marks = []
    for c, letter in zip(causes, LETTERS, strict=False):
        for where in c.fault.where.split(","):
            region, place = region_of(where)
            state = "does not conform" if c.probability >= 0.6 else "undecided"
            marks.append(MapMark(code=letter, place=place, region=region, state=state))  # type: ignore[arg-type]
    return marks


def _drawn(hand: Hand, pose: PoseDrawn | None, marks: tuple[MapMark, ...]) -> str:
    return drawn_map(hand.design_id, hand.scale_ratio, hand.side, pose, marks, "Where the causes would be")


@lru_cache(maxsize=128)
def drawn_map(
    design: str, scale_ratio: float, side: str, pose: PoseDrawn | None, marks: tuple[MapMark, ...], title: str
) -> str:
    """The hand with these marks, remembered."""
    placed = design_placed(design, scale_ratio, side)
    return hand_map(placed, pose or as_designed(placed), marks, side=side, title=title)
