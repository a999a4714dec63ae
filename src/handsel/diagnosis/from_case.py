"""What a case file says, as the diagnosis takes it."""

from __future__ import annotations

import numpy as np

from handsel.diagnosis.catalogue import HAND, Catalogue
from handsel.diagnosis.likelihood import Seen
from handsel.inspection.case import Case, Observation
from handsel.inspection.protocol import Characteristic, Protocol
from handsel.inspection.rules import NumberRule
from handsel.inspection.standing import Timeline


def seen_in_case(case: Case, protocol: Protocol, catalogue: Catalogue) -> tuple[Seen, ...]:
    """What was seen of a hand that the catalogue knows of.

    What was seen before a rework counts no more once the rework undid it; answers taken as shown with a
    group are marked, and one given by itself replaces them.

    Parameters: case; protocol that it is judged by; catalogue.
    Returns: Seen, in no special order.
    Raises: nothing of its own; `diagnose` refuses answers that do not fit.
    Valid for: cases that name looks of the catalogue beside characteristics of the protocol.
    Source: own.    Checked by: unit/test_from_case.py
    """
    time = Timeline(case, protocol)
    own = [
        o
        for o in case.observations
        if catalogue.observable(o.of) is not None and _stands(o, time, case, protocol)
    ]
    said = {(o.of, o.place) for o in own}
    everywhere = {o.of for o in own if o.place == HAND}
    out = [s for o in own for s in _seen(o, protocol, catalogue)]
    for group in case.accepted:
        for c in protocol.characteristics:
            if group.group not in (c.hold_point, c.held) or c.id in everywhere:
                continue
            out += [
                s
                for s in _as_shown(c, protocol, catalogue, group.by)
                if (c.id, s.place) not in said
                and (not group.only or (c.id, s.place) in group.only or (c.id, HAND) in group.only)
                and time.stands(group, c, s.place)
            ]
    return tuple(out)


def _stands(o: Observation, time: Timeline, case: Case, protocol: Protocol) -> bool:
    """Whether no rework has undone it since. Of a look that the protocol does not know, any rework does."""
    c = protocol.characteristic(o.of)
    if c is not None:
        places = [o.place] if o.place in protocol.places(c.per) else protocol.places(c.per)
        return all(time.stands(o, c, place) for place in places)
    reworked = [k for k, d in enumerate(case.done, start=1) if protocol.rework(d.what) is not None]
    names = [d.called for d in case.done]
    after = names.index(o.after) + 1 if o.after in names else 0
    return not reworked or reworked[-1] <= after


def _reading_u(o: Observation, protocol: Protocol, usual: float) -> tuple[float, float]:
    """Standard uncertainty of one reading and the part that all readings share: of its method, where one is named.

    Half of the usual error is taken as the same each time where nothing better is known.
    """
    c = protocol.characteristic(o.of)
    if c is not None and isinstance(c.rule, NumberRule) and o.method:
        method = next((m for m in c.rule.methods if m.name == o.method), None)
        if method is not None:
            return method.u, method.u_common
    return usual, usual * 0.5**0.5


def _seen(o: Observation, protocol: Protocol, catalogue: Catalogue) -> list[Seen]:
    look = catalogue.observable(o.of)
    if look is None:
        return []
    if look.kind == "number":
        values = o.readings or ((o.value,) if o.value is not None else ())
        if not values:
            return []
        u = o.u
        if u is None:
            one, common = _reading_u(o, protocol, look.sd)
            u = float(np.sqrt(common**2 + (one**2 - common**2) / len(values)))
        return [Seen(of=o.of, place=o.place, value=float(np.mean(values)), u=u)]
    if o.answer is None:
        return []
    places = (
        [p for p in look.places if p != HAND] if o.place == HAND and HAND not in look.places else [o.place]
    )
    if len(places) > 1:  # one answer for all places: it says so of each only when all is well
        good = {p: look.answers_of(p)[0] for p in places}
        if o.answer not in good.values():
            return []
        return [Seen(of=o.of, place=p, answer=o.answer, in_group=True, by=o.by) for p in places]
    return [Seen(of=o.of, place=places[0], answer=o.answer, by=o.by)]


def _as_shown(c: Characteristic, protocol: Protocol, catalogue: Catalogue, by: str) -> list[Seen]:
    """A characteristic taken as shown with its group: as it should be, at each place."""
    look = catalogue.observable(c.id)
    if look is None or c.severity == "critical" or isinstance(c.rule, NumberRule) or look.kind == "number":
        return []
    if len(c.rule.accepted) != 1:
        return []
    answer = c.rule.accepted[0]
    return [
        Seen(of=c.id, place=p, answer=answer, in_group=True, by=by)
        for p in protocol.places(c.per)
        if p in look.places and answer in look.answers_of(p)
    ]
