"""The hand as a whole: the decision, its one sentence, and what else is worth a word."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from handsel.inspection.case import Case
from handsel.inspection.protocol import Protocol
from handsel.inspection.result import Item, OutOfOrder, Whole
from handsel.inspection.standing import Timeline

# Common practice: a hand rests at 30 to about 45 degrees.
_PRACTICE_DEG = (30.0, 45.0)


def whole_decision(items: Iterable[Item], protocol: Protocol) -> Whole:
    """The decision for the hand as a whole, from the items that stand in its way.

    Parameters: items of one inspection; protocol.
    Returns: "scrap part" before "rework" before "not decided yet" before "release".
    Raises: nothing of its own.
    Valid for: items with concessions already applied.
    Source: ISO 9000:2015 3.12 (rework, scrap, release); minor items never stand in the way.
    Checked by: unit/test_inspection_deciding.py, properties/test_inspection.py
    """
    blocking = [item for item in items if item.blocks]
    wrong = [item for item in blocking if item.status == "does not conform"]
    if any(_only_scrap_helps(item, protocol) for item in wrong):
        return "scrap part"
    if wrong:
        return "rework"
    return "not decided yet" if blocking else "release"


def _only_scrap_helps(item: Item, protocol: Protocol) -> bool:
    ways = [rework for id in item.rework if (rework := protocol.rework(id)) is not None]
    return bool(ways) and all(way.scraps_part for way in ways)


def advisories(items: Iterable[Item], case: Case) -> tuple[str, ...]:
    """What is worth a word and decides nothing.

    Parameters: items of one inspection; case.
    Returns: sentences.
    Raises: nothing of its own.
    Valid for: any case.
    Source: common practice: a hand rests at 30 to about 45 degrees.
    Checked by: published/test_common_practice.py
    """
    said = [f"{item.called}: {text}" for item in items for text in item.advisories]
    target = case.hand.target_rest_angle_deg
    low, high = _PRACTICE_DEG
    if target is not None and not low <= target <= high:
        said.append(
            f"The recipient's rest angle of {target:g}° lies outside the {low:g}° to {high:g}° of common "
            "practice: the lead decides which holds, and writes the reason down."
        )
    return tuple(said)


def out_of_order(items: Iterable[Item], timeline: Timeline, protocol: Protocol) -> tuple[OutOfOrder, ...]:
    """The steps that came too early, and the ways on from there.

    Parameters: items of one inspection; timeline of its case; protocol.
    Returns: OutOfOrder for each such step; with ways on wherever something is hidden.
    Raises: nothing of its own.
    Valid for: protocols whose hidden characteristics have substitute checks, as the loader demands.
    Source: own rule: nobody is left without a next step.
    Checked by: unit/test_inspection_order.py
    """
    items = tuple(items)
    found = []
    for done in timeline.steps:
        if not done.too_early:
            continue
        hidden = [item for item in items if item.id in done.step.hides and item.status == "not seen"]
        ways = [f"{item.called}: {item.to_check}" for item in hidden if not item.conceded_by]
        if any(item.severity != "critical" and not item.conceded_by for item in hidden):
            ways.append("Or the lead concedes what is not critical, with the reason.")
        undo = protocol.rework(done.step.undo)
        if hidden and undo is not None:
            ways.append(f"Or take the step back: {undo.title}.")
        found.append(
            OutOfOrder(
                step=done.step.id,
                title=done.step.title,
                reason=done.too_early,
                hidden=tuple(item.called for item in hidden),
                ways_on=tuple(ways),
            )
        )
    return tuple(found)


def sentence_for(
    whole: Whole, open_items: Sequence[Item], check: Item | None, released_to: str, protocol: Protocol
) -> str:
    """The decision in one sentence or two, for the person at the bench.

    Parameters: whole decision; open_items, gravest first; check to make next, if any; released_to,
        where the hand may go; protocol.
    Returns: text.
    Raises: nothing of its own.
    Valid for: items of one inspection.
    Source: own wording.
    Checked by: unit/test_inspection_deciding.py
    """
    blocking = [item for item in open_items if item.blocks]
    if whole == "release":
        left = len(open_items)
        minor = f" {left} minor remark{'s' if left != 1 else ''} left." if left else ""
        return f"Sound as far as it was due: it may go on to {released_to}.{minor}"
    if whole == "not decided yet":
        first = check or blocking[0]
        checks = "1 check is" if len(blocking) == 1 else f"{len(blocking)} checks are"
        return f"Not decided yet: {checks} open. Next: {first.called}. {first.to_check or first.reason}"
    wrong = [item for item in blocking if item.status == "does not conform"]
    if whole == "scrap part":
        wrong = [item for item in wrong if _only_scrap_helps(item, protocol)]
    first = wrong[0]
    rework = protocol.rework(first.rework[0]) if first.rework else None
    start = "Do not use this part" if whole == "scrap part" else "Not yet"
    do = f" {rework.title}." if rework is not None else ""
    more = f" {len(wrong) - 1} more after that." if len(wrong) > 1 else ""
    return f"{start}: “{first.called}” is not so{f' ({first.shown})' if first.shown else ''}.{do}{more}"
