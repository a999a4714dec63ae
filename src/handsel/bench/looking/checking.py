"""Whether an answer from a phone fits the hand and its protocol; if not, why not, in words."""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite

from handsel.bench.hands.models import Hand, KeptText
from handsel.bench.looking import by_photo
from handsel.bench.looking.sent import AnySent, AsShown, Observed
from handsel.bench.looking.unit_words import unit_words
from handsel.inspection.case import Case, GroupAcceptance, Observation
from handsel.inspection.protocol import CANNOT_TELL, HAND, SUBSTITUTE, Characteristic, Protocol
from handsel.inspection.rules import AnswerRule, NumberRule
from handsel.inspection.seeing import covers
from handsel.inspection.standing import Timeline


@dataclass(frozen=True, slots=True, kw_only=True)
class Refusal:
    """Why an entry is not taken, and what the person can do."""

    what: str
    do: str


AGAIN = "Open the hand again and answer it there."


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """What answers for one hand are held against."""

    hand: Hand
    protocol: Protocol
    case: Case
    timeline: Timeline
    last_done: str  # the last thing done to the hand, as observations refer to it

    def refusal(self, sent: AnySent) -> Refusal | None:
        """None when the entry may be stored."""
        if isinstance(sent, Observed):
            return self._of_protocol(sent.protocol) or self._observed(sent)
        if isinstance(sent, AsShown):
            return self._of_protocol(sent.protocol) or self._as_shown(sent)
        return None

    def _of_protocol(self, fingerprint: str) -> Refusal | None:
        if fingerprint == self.hand.protocol_id:
            return None
        if KeptText.objects.filter(pk=fingerprint, kind="protocol").exists():
            return None  # the day changed to another one meanwhile; the entry says which it was seen under
        return Refusal(what="this bench has never had the protocol that this was asked by", do=AGAIN)

    def _observed(self, sent: Observed) -> Refusal | None:
        c = self.protocol.characteristic(sent.of)
        if c is None:
            return Refusal(what="the hand is no longer asked this", do="Drop it, or keep it as a note.")
        return (
            self._not_yet(c.hold_point, c.title)
            or self._place(c, sent)
            or (_number(c, c.rule, sent) if isinstance(c.rule, NumberRule) else _answer(c, c.rule, sent))
            or self._by_photo(c, sent)
            or self._hidden(c, sent)
        )

    def _not_yet(self, hold_point: str, title: str) -> Refusal | None:
        if self.protocol.stage(hold_point) <= self.protocol.stage(self.hand.hold_point):
            return None
        at = next(h.title for h in self.protocol.hold_points if h.id == self.hand.hold_point)
        return Refusal(what=f"“{title}” is not asked yet: the hand is at “{at}”", do=AGAIN)

    def _place(self, c: Characteristic, sent: Observed) -> Refusal | None:
        if sent.place == HAND or sent.place in self.protocol.places(c.per):
            return None
        return Refusal(what=f"“{c.title}” is not asked at that place", do=AGAIN)

    def _by_photo(self, c: Characteristic, sent: Observed) -> Refusal | None:
        wrong = by_photo.wrong(c, sent, self.hand)
        return None if wrong is None else Refusal(what=wrong[0], do=wrong[1])

    def _hidden(self, c: Characteristic, sent: Observed) -> Refusal | None:
        if sent.answer == CANNOT_TELL:
            return None
        seen = Observation(of=c.id, place=sent.place, method=sent.method, after=self.last_done)
        places = self.protocol.places(c.per) if sent.place == HAND else (sent.place,)
        if any(self.timeline.stands(seen, c, place) for place in places):
            return None
        step = next((h.step.title for h in self.timeline.hiding(c, places[0])), "")
        return Refusal(
            what=f"it can no longer be seen ({step})" if step else "it can no longer be seen",
            do="Open the hand again: it offers another check instead, or the lead decides.",
        )

    def _as_shown(self, sent: AsShown) -> Refusal | None:
        stage = next((h for h in self.protocol.hold_points for g in h.groups if g.id == sent.group), None)
        if stage is None:
            return Refusal(what="there is no such group in the protocol", do=AGAIN)
        late = self._not_yet(stage.id, stage.title)
        if late is not None:
            return late
        group = GroupAcceptance(group=sent.group)
        for of, place in sent.only:
            c = self.protocol.characteristic(of)
            if c is None or not covers(group, c, place) or place not in self.protocol.places(c.per):
                return Refusal(what="part of what was taken as shown is not asked that way", do=AGAIN)
        return None


def _answer(c: Characteristic, rule: AnswerRule, sent: Observed) -> Refusal | None:
    if sent.value is not None or sent.readings or sent.unit is not None:
        return Refusal(what=f"“{c.title}” is answered in words, and a number came", do=AGAIN)
    if sent.method not in ("", SUBSTITUTE):
        return Refusal(what=f"“{c.title}” is not read by {sent.method[:30]!r}", do=AGAIN)
    return _in_words(c, rule.answers, sent)


def _in_words(c: Characteristic, answers: tuple[str, ...], sent: Observed) -> Refusal | None:
    accepted = c.rule.accepted if isinstance(c.rule, AnswerRule) else ("yes",)
    if sent.method == SUBSTITUTE:
        if c.substitute is None:
            return Refusal(what=f"“{c.title}” has no other check", do=AGAIN)
        answers, accepted = ("yes", "no"), ("yes",)
    if sent.answer == CANNOT_TELL:
        return None
    if sent.answer not in answers:
        return Refusal(what=f"“{c.title}” is answered by {', '.join(answers)} or {CANNOT_TELL}", do=AGAIN)
    if sent.answer not in accepted and sent.place == HAND and c.per != "hand":
        return Refusal(
            what=f"“{sent.answer}” does not say at which {c.per}", do="Tap the one that is not so."
        )
    return None


def _number(c: Characteristic, rule: NumberRule, sent: Observed) -> Refusal | None:
    if sent.method == SUBSTITUTE or sent.answer is not None:
        if sent.value is not None or sent.readings or sent.unit is not None:
            return Refusal(what=f"for “{c.title}” an answer and a number came together", do=AGAIN)
        return _in_words(c, (), sent)
    readings = sent.readings or ([] if sent.value is None else [sent.value])
    if not readings or (sent.readings and sent.value is not None):
        return Refusal(
            what=f"“{c.title}” needs a number", do="Read it and type it, or say that you can't tell."
        )
    if sent.unit != rule.unit:
        return Refusal(what=f"“{c.title}” is read in {unit_words(rule.unit)}", do="Type it in that unit.")
    if sent.method and sent.method not in [m.name for m in rule.methods]:
        return Refusal(what=f"“{c.title}” is not read by {sent.method[:30]!r}", do=AGAIN)
    wrong = next(
        (r for r in readings if not (isfinite(r) and rule.plausible_min <= r <= rule.plausible_max)), None
    )
    if wrong is not None:
        return Refusal(
            what=f"{wrong:g} cannot be right here; from {rule.plausible_min:g} to {rule.plausible_max:g} "
            f"{unit_words(rule.unit)} is expected",
            do="Look at the unit and the comma, and type it again.",
        )
    return None
