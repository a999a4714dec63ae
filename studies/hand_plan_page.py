"""The page of the study of plans, docs/studies/plans-hand.md, from what was found hand by hand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

Z = 1.645  # one-sided 95 %
MOST_LEFT = 8  # named of what is still failed


@dataclass(frozen=True, kw_only=True)
class Run:
    """One hand and what its plan came to."""

    number: int
    faults: tuple[str, ...]
    promised_first: float  # probability that the first rework makes it conform, as the plan then said
    promised_handed: float  # and that it conforms when first handed over
    promised_minutes: float
    checks: int  # before the first rework
    first: str
    good_first: bool  # after the first rework
    good_handed: bool  # when first handed over
    reworks: int  # before it was first handed over
    minutes: float  # until it conformed, or the last resort
    fixed_minutes: float
    restring_minutes: float
    left: tuple[str, ...]  # what it still failed after the first rework
    taken_apart: bool = False  # and built again, before it was first handed over
    evenings: int = 0  # of its elastics, as a rework of their own or at the end of another


def lower(good: int, n: int) -> float:
    """Wilson's lower 95 % bound of a share."""
    p = good / n
    middle = p + Z * Z / (2 * n)
    return (middle - Z * sqrt(p * (1 - p) / n + Z * Z / (4 * n * n))) / (1 + Z * Z / n)


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What the study was asked for, and what is known of it beforehand."""

    seed: int
    hands: int
    looked_at: tuple[int, ...]  # seeds that were looked at while the method was made
    whole: bool  # the volunteers' records were complete
    simulated: int  # hands of the library
    last_title: str  # of the last resort
    most_tries: int  # reworks before it
    own_look_sees: float  # that the plan reckons with


@dataclass(frozen=True, kw_only=True)
class Share:
    """How often something came true in some hands, and what was promised."""

    name: str
    hands: int
    first: int  # good after the first rework
    handed: int  # good when first handed over
    promised_first: float
    promised_handed: float


def summary(runs: Sequence[Run]) -> list[Share]:
    """For all, one fault and two."""
    rows = []
    for name, count in (("all", None), ("one fault", 1), ("two faults", 2)):
        some = [r for r in runs if count is None or len(r.faults) == count]
        if some:
            rows.append(
                Share(
                    name=name,
                    hands=len(some),
                    first=sum(r.good_first for r in some),
                    handed=sum(r.good_handed for r in some),
                    promised_first=sum(r.promised_first for r in some) / len(some),
                    promised_handed=sum(r.promised_handed for r in some) / len(some),
                )
            )
    return rows


def report(runs: Sequence[Run], asked: Asked) -> str:
    """The page."""
    return "\n".join(
        [
            "# Plans of single hands, carried out in MuJoCo",
            "",
            *_how(runs, asked),
            "",
            *_shares(runs),
            "",
            *_minutes(runs, asked),
            "",
            *_left(runs),
            "",
            *_kinds(runs),
            "",
        ]
    )


def _how(runs: Sequence[Run], asked: Asked) -> list[str]:
    seen = ", ".join(str(s) for s in asked.looked_at)
    fresh = (
        f"Seed {asked.seed} is among those that were looked at while the method was made ({seen}): figures may flatter."
        if asked.seed in asked.looked_at
        else f"No hand of this seed was looked at while the method was made; of the seeds {seen} some were."
    )
    short = "" if len(runs) >= asked.hands else f" {asked.hands} hands were asked for."
    return [
        f"Made by `studies/hand_plan_study.py`: seed {asked.seed}, {len(runs)} hands with one or two faults, library "
        f"of {asked.simulated} simulated hands.{short} {fresh}",
        "",
        "Each hand would conform but for its faults. The plan starts from "
        + ("a volunteer's complete record." if asked.whole else "what a volunteer handed in, gaps and all.")
        + " It first asks for what nobody has looked at yet, as far as that is due or worth it, then for second looks "
        "where they pay, then for a rework. "
        "Cords are cut, tied and seated, slides turned and set with people's errors; one rework in thirty leaves its "
        "fault as it was. Reworks of cords and slides, and building a hand anew, end with setting the slides by the "
        "hand's own readings, and with a look at how the fingers close: where two see one behind, the elastics of all "
        "four are drawn to one pull, as well as people can, and the slides set again.",
        "",
        "A first try ends when the hand is first handed over. Before that, whoever reworked looks at what had not "
        "held, at what the rework touches and at what its cause showed; what does not hold is looked at by others, and "
        "if it stays so the hand is planned and reworked again. Right after the first rework is told beside it. A hand "
        "is good when nothing fails, read without error.",
    ]


def _shares(runs: Sequence[Run]) -> list[str]:
    return [
        "| hands | n | good when first handed over | lower 95 % bound | promised | good right after the first rework "
        "| lower 95 % bound | promised |",
        "| --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: |",
        *(
            f"| {s.name} | {s.hands} | {100 * s.handed / s.hands:.1f} % | {100 * lower(s.handed, s.hands):.1f} % "
            f"| {100 * s.promised_handed:.0f} % | {100 * s.first / s.hands:.1f} % "
            f"| {100 * lower(s.first, s.hands):.1f} % | {100 * s.promised_first:.0f} % |"
            for s in summary(runs)
        ),
    ]


def _minutes(runs: Sequence[Run], asked: Asked) -> list[str]:
    n = len(runs)
    spent, promised = sum(r.minutes for r in runs), sum(r.promised_minutes for r in runs)
    fixed, restring = sum(r.fixed_minutes for r in runs), sum(r.restring_minutes for r in runs)
    tries = [sum(r.reworks == k for r in runs) for k in range(1, asked.most_tries + 1)]
    apart = [r for r in runs if r.taken_apart]
    return [
        f"Reworks before a hand was first handed over: {sum(min(r.reworks, asked.most_tries) for r in runs) / n:.2f} a "
        f"hand ({', '.join(f'{k}: {count}' for k, count in enumerate(tries, 1))} hands). "
        f"{len(apart)} hands were taken apart and built again on the way, "
        f"{sum(r.first.startswith(asked.last_title) for r in apart)} of them at once, "
        f"{sum(r.reworks > asked.most_tries for r in apart)} after {asked.most_tries} reworks of which none was handed "
        f"over; {sum(r.good_handed for r in apart)} of the {len(apart)} were good when handed over. "
        f"Elastics were evened {sum(r.evenings for r in runs)} times, on {sum(r.evenings > 0 for r in runs)} hands. "
        f"Looks asked for before the first rework: {sum(r.checks for r in runs) / n:.0f} a hand, those that the "
        "volunteer had left out included.",
        "",
        f"Of the hands that were not good right after the first rework, the look before handing over saw "
        f"{_seen(runs, good=False)} (the plan reckons with {100 * asked.own_look_sees:.0f} in 100); of the good ones "
        f"it took {_seen(runs, good=True)} for not good.",
        "",
        "| minutes to a conforming hand, mean | | the plan against it |",
        "| --- | ---: | ---: |",
        f"| by the plan, all looks, settings, evenings and returns included | {spent / n:.0f} | |",
        f"| by the plan, as expected beforehand | {promised / n:.0f} | {spent / promised:.2f} |",
        f"| everything restrung first | {restring / n:.0f} | {spent / restring:.2f} |",
        f"| the protocol's reworks in their order | {fixed / n:.0f} | {spent / fixed:.2f} |",
        "",
        "A hand that comes back costs a quarter of an hour besides its looks. What the plan is compared with is "
        "treated kindly: the reworks that the protocol names for what really fails, each at the right place at once, "
        "without a look before and without a slip; the next one follows when one was not enough.",
    ]


def _seen(runs: Sequence[Run], *, good: bool) -> str:
    """How many of those that were good, or were not, after the first rework were not handed over then."""
    some = [r for r in runs if r.good_first is good]
    return f"{sum(r.reworks > 1 for r in some)} of {len(some)}"


def _left(runs: Sequence[Run]) -> list[str]:
    counts: dict[str, int] = {}
    for r in runs:
        for name in r.left:
            counts[name] = counts.get(name, 0) + 1
    most = sorted(counts.items(), key=lambda c: (-c[1], c[0]))[:MOST_LEFT]
    return [
        "What was still failed right after the first rework, most often first:",
        "",
        *([f"- {name}: {count}" for name, count in most] or ["- nothing"]),
    ]


def _kinds(runs: Sequence[Run]) -> list[str]:
    lines = [
        "By kind of fault (hands with one fault):",
        "",
        "| kind | n | good when first handed over | good right after the first rework |",
        "| --- | ---: | ---: | ---: |",
    ]
    single = [r for r in runs if len(r.faults) == 1]
    for kind in sorted({r.faults[0].split("@")[0] for r in single}):
        some = [r for r in single if r.faults[0].split("@")[0] == kind]
        handed, first = sum(r.good_handed for r in some), sum(r.good_first for r in some)
        lines.append(f"| {kind} | {len(some)} | {handed} | {first} |")
    return lines
