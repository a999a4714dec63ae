"""What is said of the plan of a hand: its first words, and what is not cut."""

from __future__ import annotations

from collections.abc import Sequence

from handsel.diagnosis.catalogue import spoken
from handsel.rework.hand.belief import Belief
from handsel.rework.hand.result import AskedLook, HandPlan, PlanStep
from handsel.rework.hand.troubleshoot import Solver
from handsel.rework.words import listed, small

NAMED_LOOKS = 3  # of a first check: more are told by what they are about
WORTH_SAYING = 0.05  # share of the hands that a cut would put right
SETTING = (
    "then close it five times, read it, and set screws and thumb pin by that; if a finger then stays behind the "
    "others, set the elastics of all four to one pull, and screws and pin once more"
)  # how a rework ends whose step says that it sets the hand


def in_words(asked: Sequence[AskedLook]) -> tuple[tuple[AskedLook, str], ...]:
    """What is asked, each question once, with all places that it is about in words.

    Parameters: asked.    Returns: the first look of each question and its places, "" for the whole hand.
    Raises: nothing.    Valid for: any.    Source: own.    Checked by: unit/test_hand_plan.py
    """
    places: dict[tuple[str, bool], list[AskedLook]] = {}
    for a in asked:
        places.setdefault((a.of, a.again), []).append(a)
    return tuple((same[0], listed([spoken(a.place) for a in same if a.place])) for same in places.values())


def begin(first: PlanStep) -> str:
    """What to do or look at first; many looks by what they are about, few with their places.

    Parameters: first, step of a plan.    Returns: a sentence.    Raises: nothing.
    Valid for: any step.    Source: own wording.    Checked by: unit/test_hand_plan.py
    """
    title = f"{first.title[:1].upper()}{first.title[1:]}".rstrip(".")
    looks = in_words(first.asked)
    if not looks:
        return f"{title}."
    if len(looks) > NAMED_LOOKS:
        return f"{title} ({len(first.asked)} looks, {max(first.minutes, 1.0):.0f} min)."
    said = "; ".join(f"{a.title} ({where})" if where else a.title for a, where in looks)
    who = "Have somebody else check first" if all(a.again for a in first.asked) else "Check first"
    return f"{who}: {said}."


def sentence(plan: HandPlan) -> str:
    """The plan in a few sentences: what comes first, what then most likely, and what is to be expected.

    Parameters: plan.    Returns: sentences.    Raises: nothing.
    Valid for: any plan.    Source: own wording.    Checked by: unit/test_hand_plan.py
    """
    rework = plan.first_rework()
    likely = "" if rework is plan.first else f" Then most likely: {small(rework.title).rstrip('.')}."
    return (
        f"{begin(plan.first)}{likely} About {plan.expected_minutes:.0f} minutes to a good hand are expected; the first "
        f"rework makes it good {round(100 * plan.p_first_try)} times in 100."
    )


def kept(belief: Belief, solver: Solver) -> str:
    """What is not cut or spent, in a sentence, where somebody might have done so.

    Parameters: belief; solver of its problem.    Returns: a sentence, or nothing.    Raises: nothing.
    Valid for: before anything is done.    Source: own rule.    Checked by: unit/test_hand_plan.py
    """
    b = belief.problem.weight
    allowed = solver.admissible(b, solver.all_acts)
    held = [
        k
        for k, s in enumerate(belief.steps)
        if not allowed[k] and solver.cures[k] @ b > WORTH_SAYING * b.sum()
    ]
    if not held:
        return ""
    title = belief.steps[held[0]].title
    return (
        f"Nothing is cut yet: “{title}” would cure causes that something gentler cures too, "
        "so the gentler comes first."
    )
