"""What to do with one hand: what is plain first, then the plan by its probable causes, or nothing at all."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from handsel.design.model import Design
from handsel.diagnosis.catalogue import Catalogue
from handsel.diagnosis.fitting import NONE_FITS_P, fit_probability
from handsel.diagnosis.from_case import seen_in_case
from handsel.diagnosis.hands import NONE
from handsel.diagnosis.library import Library
from handsel.diagnosis.likelihood import Item, items_of
from handsel.diagnosis.posterior import Posterior, posterior
from handsel.inspection.case import Case, Observation
from handsel.inspection.protocol import Protocol
from handsel.rework.day.model import Way
from handsel.rework.hand.actions import Actions
from handsel.rework.hand.eyes import looked_twice
from handsel.rework.hand.length_ways import length_ways
from handsel.rework.hand.plain import PlainWork, is_strung, plain_work
from handsel.rework.hand.plan import plan_hand
from handsel.rework.hand.result import HandPlan
from handsel.rework.hand.way import way_of_plan
from handsel.rework.ways import RANK, way_of_reworks
from handsel.rework.words import listed, small

LIKELIER_THAN_NOT = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """What to do with a hand, as far as what was seen of it says."""

    sentence: str
    plain: Way | None  # what the inspection says by itself must be done; None: nothing
    plan: HandPlan | None  # by probable causes; None: nothing that was seen asks for one
    released: bool  # nothing is to be done, and all that was due is seen to hold
    open_minutes: float  # for looks that are due and still stand between the hand and its release [min]

    @property
    def way(self) -> Way | None:
        """All of it as one way that the day can plan with; None where nothing is to be put right."""
        after = way_of_plan(self.plan) if self.plan is not None else None
        return (
            _both(self.plain, after) if self.plain is not None and after is not None else self.plain or after
        )


def advise(
    case: Case,
    protocol: Protocol,
    design: Design,
    catalogue: Catalogue,
    actions: Actions,
    library: Callable[[], Library],
) -> Advice:
    """What to do with one hand for the least minutes until it conforms.

    Parameters: case; protocol; design at scale 1, right side; catalogue; actions; library, gives the simulated
        hands of its size, and is called only where a cause has to be searched for.
    Returns: Advice.
    Raises: BadCase for a case that does not fit the protocol; BadAnswer for an answer that a look does not take;
        OutOfRange for actions that do not fit the protocol.
    Valid for: as plan_hand. Of a hand that passes its protocol so far, looks that only tell causes apart ask for a
        search as well, once they make a fault likelier than not.
    Source: own rule; plan_hand for the search.
    Checked by: unit/test_advice.py
    """
    lengths = length_ways(case, protocol, design, actions.setting)
    work = plain_work(case, protocol, {o.id for o in catalogue.observables}, lengths)
    plain = _plain_way(work, protocol)
    plan = None
    if is_strung(protocol, case.hand.hold_point) and (work.search or _own_looks(case, protocol)):
        hands = library()
        items, p = _weighed(case, protocol, catalogue, hands)
        if work.search or _speak_against(case, protocol, catalogue, hands, sound_p(p)):
            plan = plan_hand(
                p,
                catalogue,
                actions,
                protocol,
                hold_point=case.hand.hold_point,
                lengths=lengths,
                none_fits=bool(fit_probability(catalogue, p.rows, p.weight, items) < NONE_FITS_P),
                seen=items,
                done=looked_twice(case),
            )
    released = plain is None and plan is None and work.inspection.whole == "release"
    return Advice(
        sentence=_sentence(work, plain, plan),
        plain=plain,
        plan=plan,
        released=released,
        open_minutes=work.inspection.open_minutes,
    )


def sound_p(p: Posterior) -> float:
    """Probability that the hand has none of the catalogue's faults [-].

    Parameters: p, posterior of a diagnosis.
    Returns: probability.
    Raises: nothing.    Valid for: any posterior.    Source: sum over the sets of faults.
    Checked by: unit/test_advice.py
    """
    return float(p.by_set[(p.rows.strata == NONE).all(axis=1)].sum())


def _weighed(
    case: Case, protocol: Protocol, catalogue: Catalogue, hands: Library
) -> tuple[tuple[Item, ...], Posterior]:
    items = items_of(catalogue, seen_in_case(case, protocol, catalogue))
    return items, posterior(hands, catalogue, items, scale_ratio=case.hand.scale_ratio)


def _own_looks(case: Case, protocol: Protocol) -> tuple[Observation, ...]:
    """Looks that only tell causes apart: the protocol does not ask for them."""
    return tuple(o for o in case.observations if protocol.characteristic(o.of) is None)


def _speak_against(
    case: Case, protocol: Protocol, catalogue: Catalogue, hands: Library, p_sound: float
) -> bool:
    """Whether those looks make a fault likelier than not, of a hand that passes its protocol so far."""
    own = _own_looks(case, protocol)
    less = replace(case, observations=tuple(o for o in case.observations if o not in own))
    return p_sound < min(sound_p(_weighed(less, protocol, catalogue, hands)[1]), LIKELIER_THAN_NOT)


def _plain_way(work: PlainWork, protocol: Protocol) -> Way | None:
    if not work.reworks:
        return None
    return way_of_reworks(work.reworks, protocol, hold_point=work.inspection.case.hand.hold_point, id="plain")


def _sentence(work: PlainWork, plain: Way | None, plan: HandPlan | None) -> str:
    """All of it in a few sentences."""
    found = work.inspection
    if plain is None and plan is not None:
        return plan.sentence
    if plain is not None:
        wrong = listed([f"“{i.called}”" for i in work.items])
        does = "does not hold" if len(work.items) == 1 else "do not hold"
        first = f"{plain.title.rstrip('.')}: {wrong} {does}. About {plain.minutes + plain.recheck_minutes:.0f} minutes."
        return first if plan is None else f"{first} After that: {small(plan.sentence)}"
    if found.whole == "release":
        return f"Nothing is to be put right. {found.sentence}"
    check = found.next_check
    next_one = f" Next, “{check.item.called}”: {check.how}" if check is not None else ""
    return (
        "Nothing that was looked at has to be put right. What is still to be looked at takes about "
        f"{max(found.open_minutes, 1.0):.0f} minutes.{next_one}"
    )


def _both(first: Way, then: Way) -> Way:
    spares = dict(first.spares)
    for name, count in then.spares.items():
        spares[name] = spares.get(name, 0) + count
    return replace(
        then,
        title=f"{first.title}; then: {small(then.title)}",
        minutes=first.minutes + then.minutes,
        skill=max((s for s in (first.skill, then.skill) if s), key=RANK.index, default=""),
        recheck_minutes=first.recheck_minutes + then.recheck_minutes,
        wait_minutes=first.wait_minutes + then.wait_minutes,
        p_success=first.p_success * then.p_success,
        spares=spares,
        cuts=first.cuts or then.cuts,
    )
