"""A step out of its turn, or a rework without a card, before it is reported."""

from __future__ import annotations

from dataclasses import dataclass

from handsel.bench.hands.head import Head, head_of
from handsel.bench.hands.models import Hand
from handsel.bench.hands.once import new_client_id
from handsel.bench.hands.words import hold_point_title
from handsel.bench.work.page_bits import Option
from handsel.bench.work.planning import spoken
from handsel.bench.work.services import places_of
from handsel.data.load_steps import build_stages
from handsel.inspection.protocol import Characteristic, Protocol


@dataclass(frozen=True, slots=True, kw_only=True)
class HiddenRow:
    """Something that can no longer be seen once a step is done, and what is checked instead."""

    title: str
    instead: str
    is_critical: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class StepPage:
    """One step or rework, before it is reported."""

    head: Head
    id: str
    title: str
    how: str
    caution: str
    too_early: str  # why; empty when it is its turn
    hidden: tuple[HiddenRow, ...]
    undo: str
    again: tuple[str, ...]  # what is looked at again after it
    places: tuple[Option, ...]
    is_rework: bool
    is_final: bool
    client_id: str


def step_page(hand: Hand, id: str, protocol: Protocol) -> StepPage | None:
    """The page of one step or rework; None when there is no such thing."""
    rework, step = protocol.rework(id), protocol.step(id)
    if rework is not None:
        reached = protocol.stage(hand.hold_point)
        undone = (*rework.undoes, *rework.undoes_here, *rework.undoes_loop)
        again = [
            c.title for m in undone for c in protocol.members(m) if protocol.stage(c.hold_point) <= reached
        ]
        return StepPage(
            head=head_of(hand), id=id, title=rework.title, how=rework.how, caution=rework.caution, too_early="",
            hidden=(), undo="", again=tuple(dict.fromkeys(again)),
            places=tuple(Option(value=p, words=spoken(p)) for p in places_of(id, protocol)),
            is_rework=True, is_final=rework.irreversible, client_id=new_client_id(),
        )  # fmt: skip
    if step is None:
        return None
    too_early = ""
    if protocol.stage(step.after) >= protocol.stage(hand.hold_point):
        too_early = f"“{hold_point_title(step.after, protocol)}” comes first and is not passed yet."
    undo = protocol.rework(step.undo)
    told = next((s for stage in build_stages(protocol) for s in stage.steps if s.reports == id), None)
    return StepPage(
        head=head_of(hand), id=id, title=f"{step.title[:1].upper()}{step.title[1:]}",
        how=told.how if told is not None else "", caution=told.caution if told is not None else "",
        too_early=too_early,
        hidden=tuple(_hidden(c) for i in step.hides if (c := protocol.characteristic(i)) is not None),
        undo=undo.title if undo is not None else "", again=(), places=(), is_rework=False, is_final=False,
        client_id=new_client_id(),
    )  # fmt: skip


def _hidden(c: Characteristic) -> HiddenRow:
    instead = c.substitute.how if c.substitute is not None else ""
    return HiddenRow(title=c.title, instead=instead, is_critical=c.severity == "critical")
