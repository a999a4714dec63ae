"""What puts which cause right, as data, and the acts that come into question for one hand."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Literal

from handsel.diagnosis.catalogue import Catalogue, Fault
from handsel.inspection.protocol import Protocol
from handsel.inspection.undo import ReworkDone

By = Literal["", "slides", "cords"]  # what works the chance out: nothing, or the model


@dataclass(frozen=True, slots=True, kw_only=True)
class Cure:
    """One kind of cause that an action cures, where, and how often."""

    fault: str
    at: str  # pattern: where the rework is done
    chance: float
    spot: str = ""  # pattern: what of that place


@dataclass(frozen=True, slots=True, kw_only=True)
class Action:
    """One rework with the causes that it cures. Minutes, skill and spares stand with the rework."""

    rework: str
    cures: tuple[Cure, ...]
    title: str = ""  # another than the rework's
    gentle: bool = False  # nothing is cut
    by: By = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class LastResort:
    """What is done when nothing else is left."""

    rework: str
    extra_minutes: float
    chance: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """How every rework of slides or cords ends: the hand is worked, read, and set by what was read."""

    undoes: str  # reworks that undo this characteristic end so
    reads: tuple[str, ...]
    looks: tuple[str, ...]  # besides, once it is set
    minutes: float
    angle_u_deg: float
    lead_u_deg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Evening:
    """Elastics set to one pull: for fingers that move apart though nothing is wrong with any of them."""

    sees: str  # the look that shows it, at each finger
    rework: str  # done at all the places of that look
    title: str
    pull_sd_ratio: float  # how unlike their pulls still are afterwards, each to their mean
    apart_share: float  # of hands with no cause of the catalogue, in which fingers move apart
    apart_deg: tuple[float, ...]  # how far the last finger is then behind
    chance: float  # that they keep together afterwards
    u_chance: float


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenLooks:
    """Which of the looks that nobody has made yet come before a rework, besides those that the protocol asks for."""

    always: tuple[str, ...]  # observables
    at_once: int  # of the others, before the plan is made again
    least_bits_per_minute: float  # that each of these tells of the cause


@dataclass(frozen=True, slots=True, kw_only=True)
class Trying:
    """What surrounds a try: the re-checks of whoever reworked, and what a hand costs that comes back."""

    own_look_sees: float  # chance that it notices what still does not hold
    failed_minutes: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Actions:
    """All actions for one catalogue and protocol."""

    id: str
    catalogue: str
    protocol: str
    actions: tuple[Action, ...]
    last_resort: LastResort
    trying: Trying
    setting: Setting
    evening: Evening
    open_looks: OpenLooks


@dataclass(frozen=True, slots=True, kw_only=True)
class Act:
    """An action at one place of one hand."""

    rework: str
    place: str
    spot: str
    gentle: bool
    by: By
    title: str
    cures: Mapping[str, float] = field(default_factory=dict)  # fault id with its place: chance

    @property
    def key(self) -> tuple[str, str, str, str]:
        """What tells acts apart."""
        return self.rework, self.place, self.spot, self.title


def acts_for(faults: Iterable[Fault], actions: Actions, catalogue: Catalogue) -> tuple[Act, ...]:
    """The acts that cure one or more of these causes.

    Parameters: faults that the hand may have; actions; catalogue, for the words of places.
    Returns: Act, each once, with all of these causes that it cures.
    Raises: nothing of its own.
    Valid for: actions that were checked against the catalogue.
    Source: own data.
    Checked by: unit/test_hand_plan.py
    """
    found: dict[tuple[str, str, str, str], tuple[Action, dict[str, float]]] = {}
    for fault in faults:
        words = catalogue.words(fault.place)
        for action in actions.actions:
            for cure in action.cures:
                if cure.fault == fault.kind.id:
                    key = (
                        action.rework,
                        cure.at.format_map(words),
                        cure.spot.format_map(words),
                        action.title,
                    )
                    found.setdefault(key, (action, {}))[1][fault.id] = cure.chance
    return tuple(
        Act(
            rework=rework,
            place=place,
            spot=spot,
            gentle=action.gentle,
            by=action.by,
            title=title,
            cures=cures,
        )
        for (rework, place, spot, title), (action, cures) in found.items()
    )


def ends_with_setting(done: Iterable[ReworkDone], actions: Actions, protocol: Protocol) -> bool:
    """Whether reworks end with reading the hand and setting it.

    Parameters: done, reworks with their places; actions; protocol.
    Returns: whether one of them undoes what the setting is about.
    Raises: nothing of its own.
    Valid for: reworks of the protocol.
    Source: the protocol's undo lists.
    Checked by: unit/test_hand_plan.py
    """
    reworks = [r for d in done if (r := protocol.rework(d.rework)) is not None]
    return any(actions.setting.undoes in (*r.undoes, *r.undoes_here) for r in reworks)


def cured_by(rework: str, place: str, actions: Actions, catalogue: Catalogue) -> tuple[tuple[str, str], ...]:
    """The causes that a rework cures where it was done, for confirming one of them.

    Parameters: rework and place of the protocol; actions; catalogue.
    Returns: pairs of fault kind and place.
    Raises: nothing of its own.
    Valid for: as acts_for.
    Source: own data.
    Checked by: unit/test_hand_plan.py
    """
    acts = acts_for(catalogue.faults, actions, catalogue)
    named = {id for a in acts if a.rework == rework and a.place in (place, "") for id in a.cures}
    return tuple((f.kind.id, f.place) for f in catalogue.faults if f.id in named)
