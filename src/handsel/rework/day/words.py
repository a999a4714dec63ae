"""Why a hand is worked on and why another is not, a sentence each, and the day in one."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from handsel.rework.day.model import INSPECTOR, Chosen, Day, LeftOut, OpenHand, Person, Way
from handsel.rework.day.solving import Prices
from handsel.rework.words import listed

FEW = 3


def minutes_words(minutes: float) -> str:
    """So many minutes, rounded."""
    count = round(minutes)
    return f"{count} minute{'' if count == 1 else 's'}"


def hands_words(count: int) -> str:
    """So many hands."""
    return f"{count} hand{'' if count == 1 else 's'}"


def day_sentence(day: Day, chosen: Sequence[Chosen], left: Sequence[LeftOut], expected: float) -> str:
    """The whole plan in one sentence."""
    if not day.hands:
        return "No hand is open."
    if not chosen:
        return f"None of the {hands_words(len(day.hands))} can be put right and looked at before closing."
    last = max(c.end_min for c in chosen)
    work = (
        f"Work on {len(chosen)} of {hands_words(len(day.hands))}"
        if left
        else ("Work on all hands" if len(chosen) > 1 else "Work on the one hand")
    )
    going = (
        f"about {expected:.1f} are" if len(chosen) > 1 else f"it is {round(100 * expected)} % likely to be"
    )
    return (
        f"{work}: {going} good at the first try, the last one {minutes_words(last)} from now, "
        f"{minutes_words(day.closing_min - last)} before closing."
    )


def with_reasons(day: Day, chosen: Sequence[Chosen], prices: Prices) -> tuple[Chosen, ...]:
    """The hands worked on, each with its sentence.

    Parameters: day; chosen; prices of what is scarce.
    Returns: Chosen with their reasons.
    Raises: nothing of its own.
    Valid for: one plan.
    Source: own wording; what decides is the worth for the minutes and spares at their prices.
    Checked by: unit/test_day_plan.py
    """
    return tuple(replace(c, reason=_chosen_reason(day, c, prices)) for c in chosen)


def _chosen_reason(day: Day, c: Chosen, prices: Prices) -> str:
    hand, way, work = c.hand, c.way, c.hand.in_work
    if work is not None:
        doing = "is looking at it" if work.looking else "has it in work"
        return f"{work.by.capitalize()} {doing} already, {minutes_words(work.minutes_left)} more."
    said = [_grave(day, hand)] if _grave(day, hand) else []
    said.append(f"{round(100 * way.p_success)} % likely to be good after {_effort(way)}")
    other = _other_way(hand, way)
    if other:
        said.append(other)
    thin = [name for name in way.spares if prices.spare.get(name, 0.0) > 1e-9 and way.spares[name]]
    if thin:
        said.append(f"worth its {thin[0]}, of which there are few")
    text = "; ".join(said)
    return f"{text[:1].upper()}{text[1:]}."


def _grave(day: Day, hand: OpenHand) -> str:
    if hand.waiting == "here":
        return "its recipient is waiting here"
    if hand.waiting == "appointed":
        return "its recipient has an appointment"
    if hand.severity == "critical" and day.severity_weight["critical"] > day.severity_weight["major"]:
        return "what is open on it could hurt someone"
    return ""


def _effort(way: Way) -> str:
    if way.minutes <= 0:
        return f"{minutes_words(way.recheck_minutes)} of an inspector, with nothing left to change"
    look = f" and {round(way.recheck_minutes)} of an inspector" if way.recheck_minutes > 0 else ""
    return f"{minutes_words(way.minutes)} of work{look}"


def _other_way(hand: OpenHand, way: Way) -> str:
    others = [w for w in hand.ways if w.id != way.id]
    if not others:
        return ""
    other = max(others, key=lambda w: w.p_success)
    if other.p_success > way.p_success and other.minutes + other.recheck_minutes > (
        way.minutes + way.recheck_minutes
    ):
        return f"“{other.title}” would be surer but takes {minutes_words(other.minutes)}"
    if way.p_success > other.p_success:
        return f"“{other.title}” would hold less often"
    return ""


def left_reason(day: Day, hand: OpenHand, chosen: Sequence[Chosen], prices: Prices) -> LeftOut:
    """Why a hand is not worked on.

    Parameters: day; hand; chosen, what is worked on; prices of what is scarce.
    Returns: LeftOut. What rules all of its ways out comes first (skill, spares, time); else what its ways
        use is needed more elsewhere, and the scarcest of that is named.
    Raises: nothing of its own.
    Valid for: a hand that is not in the plan.
    Source: own rule.
    Checked by: unit/test_day_plan.py
    """
    if hand.in_work is not None:
        return LeftOut(
            hand=hand,
            cause="time",
            reason=f"{hand.in_work.by.capitalize()} has it in work, but it cannot be finished and looked at "
            "again before closing. Put it aside with a note of what is done.",
        )
    found = [_ruled_out(day, hand, w) for w in hand.ways]
    if all(f is not None for f in found):
        # The way that comes furthest says it best.
        rank = ("time", "inspector", "spares", "skill")
        cause, reason = min((f for f in found if f is not None), key=lambda f: rank.index(f[0]))
        return LeftOut(hand=hand, cause=cause, reason=reason)
    way = next(w for w, f in zip(hand.ways, found, strict=True) if f is None)
    return _others_first(day, hand, way, chosen, prices)


def _ruled_out(day: Day, hand: OpenHand, way: Way) -> tuple[str, str] | None:
    """What rules a way out whatever else is done; None when nothing does."""
    for name, count in way.spares.items():
        if count > day.spares.get(name, 0):
            have = day.spares.get(name, 0)
            there = "there is none" if have == 0 else f"there are {have}"
            return "spares", f"It needs {count} of “{name}”, and {there} on hand."
    able = [p for p in day.people if p.can(way.skill)] if way.minutes > 0 else []
    if way.minutes > 0 and not able:
        return "skill", f"Nobody here today is {_a(way.skill)}, whom “{way.title}” needs."
    eyes = [p for p in day.people if p.can(INSPECTOR)]
    if way.recheck_minutes > 0 and not _other_pair(day, able, eyes, way):
        if eyes and day.other_eyes:
            return "inspector", "Nobody but whoever would do the rework could look at it again."
        return "inspector", "There is no inspector to look at it again."
    if not _in_time(day, able, eyes, way):
        all_ = way.minutes + way.wait_minutes + way.recheck_minutes
        return "time", (
            f"It takes {minutes_words(all_)} from start to finish, longer than the people for it are "
            f"here before closing in {minutes_words(day.closing_min)}."
        )
    return None


def _other_pair(day: Day, able: Iterable[Person], eyes: Sequence[Person], way: Way) -> bool:
    if way.minutes <= 0 or not day.other_eyes:
        return bool(eyes)
    return any(p.id != q.id for p in able for q in eyes)


def _in_time(day: Day, able: Sequence[Person], eyes: Sequence[Person], way: Way) -> bool:
    if way.minutes <= 0:
        return any(q.from_min + way.recheck_minutes <= day.until(q) for q in eyes) or way.recheck_minutes <= 0
    for p in able:
        end = p.from_min + way.minutes
        if end > day.until(p):
            continue
        if way.recheck_minutes <= 0:
            return True
        for q in eyes:
            if day.other_eyes and q.id == p.id:
                continue
            if max(end + way.wait_minutes, q.from_min) + way.recheck_minutes <= day.until(q):
                return True
    return False


def _others_first(day: Day, hand: OpenHand, way: Way, chosen: Sequence[Chosen], prices: Prices) -> LeftOut:
    cost = {name: count * prices.spare.get(name, 0.0) for name, count in way.spares.items()}
    builders = [prices.person.get(p.id, 0.0) for p in day.people if p.can(way.skill)]
    eyes = [prices.person.get(p.id, 0.0) for p in day.people if p.can(INSPECTOR)]
    cost[way.skill or "builder"] = way.minutes * min(builders, default=0.0)
    cost[INSPECTOR] = way.recheck_minutes * min(eyes, default=0.0)
    scarcest = max(cost, key=lambda n: cost[n])
    ahead = _ahead(day, hand, way, chosen, scarcest)
    names = (
        f" ({listed([h.called for h in ahead])} for one)"
        if len(ahead) == 1
        else (f" ({listed([h.called for h in ahead])} among them)" if ahead else "")
    )
    if cost[scarcest] <= 1e-9:
        why = f"No gap is long enough for it between the hands that bring more for their minutes{names}."
    elif scarcest in way.spares:
        why = f"The {day.spares.get(scarcest, 0)} of “{scarcest}” go to hands that bring more{names}."
    elif scarcest == INSPECTOR:
        why = (
            f"The inspectors' minutes go to hands that bring more for them{names}; "
            f"this one asks for {round(way.recheck_minutes)}."
        )
    else:
        why = (
            f"The {scarcest}s' minutes go to hands that bring more for them{names}; "
            f"this one asks for {round(way.minutes)}."
        )
    return LeftOut(hand=hand, cause="others first", reason=why)


def _ahead(day: Day, hand: OpenHand, way: Way, chosen: Sequence[Chosen], what: str) -> list[OpenHand]:
    """A few hands that use the same thing and weigh more for it."""

    def use(w: Way) -> float:
        if w.spares.get(what):
            return float(w.spares[what])
        return w.recheck_minutes if what == INSPECTOR else w.minutes if w.skill == what else 0.0

    mine = day.weight(hand) * way.p_success / max(use(way), 1e-9)
    using = [c for c in chosen if use(c.way) > 0 and c.hand.in_work is None]
    rates = [(day.weight(c.hand) * c.way.p_success / use(c.way), c.hand) for c in using]
    better = sorted((r for r in rates if r[0] >= mine), key=lambda r: -r[0])
    return [h for _, h in better[:FEW]]


def _a(skill: str) -> str:
    return f"an {skill}" if skill[:1] in "aeiou" else f"a {skill}"
