"""Fingers that move apart though no cause is there: how probable that is, and what evening their elastics brings.

The pulls of ordinary elastics differ by more than a whippletree can hide. No cause of the catalogue stands for that:
each elastic is as it should be, only not as its neighbours are. Here it is a state of its own beside the causes, made
from the simulated hands without a fault.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from handsel.design.model import Design
from handsel.diagnosis.catalogue import Catalogue, Spread
from handsel.diagnosis.hands import NONE, column_of
from handsel.diagnosis.likelihood import Item, Rows
from handsel.diagnosis.ordinary import ordinary_hands
from handsel.diagnosis.people import people
from handsel.diagnosis.posterior import Posterior
from handsel.diagnosis.words import log_word, of_one_thing
from handsel.mechanics.digit_curves import digit_tables
from handsel.mechanics.draws import Draws
from handsel.mechanics.swift_hand import looks
from handsel.rework.hand.actions import Evening

Floats = NDArray[np.float64]

UNEVEN = "elastics-uneven"  # among the causes of a plan
MOST_HANDS = 20  # sound ones that are made uneven, for each finger and size


@dataclass(frozen=True, slots=True, kw_only=True)
class Evened:
    """What the model says of ordinary hands whose fingers move apart, before and after their elastics were evened."""

    hands: int
    apart: int  # of them
    together: int  # of those that were apart, once evened
    apart_deg: tuple[float, ...]  # middles of thirds: how far the last finger is behind

    @property
    def chance(self) -> float:
        """That fingers which move apart keep together afterwards."""
        return self.together / max(self.apart, 1)

    @property
    def u_chance(self) -> float:
        """Its standard uncertainty: how many hands it was counted on; never none at all."""
        p = (self.together + 1.0) / (self.apart + 2.0)
        return sqrt(p * (1.0 - p) / (self.apart + 3.0))


def evened(
    design: Design, spread: Spread, *, limit_deg: float, pull_sd_ratio: float, hands: int, draws: Draws
) -> Evened:
    """Ordinary hands without a fault, closed; their elastics evened as people do it, and closed again.

    Parameters: design, placed; spread of ordinary hands; limit_deg, further behind than that a finger moves
        apart [deg]; pull_sd_ratio, of the pulls afterwards, against their middle [-]; hands; draws.
    Returns: Evened.
    Raises: nothing of its own.
    Valid for: as swift_hand.looks. An elastic is drawn further or let back, its rubber stays: what is evened is the
        pull on a straight finger.
    Source: own rule on the swift mechanics.
    Checked by: unit/test_evening.py; other mechanics: independent/test_faulty_rework.py
    """
    tables = digit_tables((design,))
    fingers = [i for i, g in enumerate(design.digits) if g.name != "thumb"]
    made = ordinary_hands(design, spread, hands, draws).build
    before = looks(design, tables, made).apart_deg[:, fingers].max(1)
    apart = before > limit_deg
    stiffness = made.build.elastic_stiffness_ratio
    pretension = made.build.elastic_pretension_ratio.copy()
    middle = np.median((stiffness * pretension)[:, fingers], axis=1)[:, None]
    error = np.exp(pull_sd_ratio * draws.normal(hands, len(fingers)))
    pretension[:, fingers] = middle * error / stiffness[:, fingers]
    now = replace(made, build=replace(made.build, elastic_pretension_ratio=pretension))
    after = looks(design, tables, now).apart_deg[:, fingers].max(1)
    thirds = np.quantile(before[apart], (1 / 6, 1 / 2, 5 / 6)) if apart.any() else np.zeros(3)
    return Evened(
        hands=hands,
        apart=int(apart.sum()),
        together=int((apart & (after <= limit_deg)).sum()),
        apart_deg=tuple(float(x) for x in thirds),
    )


def with_uneven(
    p: Posterior, catalogue: Catalogue, evening: Evening, seen: Sequence[Item]
) -> Posterior | None:
    """The posterior with one more stratum, the last: hands with no cause whose fingers move apart.

    Parameters: p; catalogue; evening; seen, what p was weighed by.
    Returns: Posterior; None where nobody saw fingers apart, or no hand stands for a sound one.
    Raises: nothing of its own.
    Valid for: one finger behind, the other three alike; all else as in a sound hand.
    Source: Bayes' theorem for one more hypothesis, whose hands differ from the sound ones in one quantity.
    Checked by: unit/test_evening.py
    """
    look = catalogue.observable(evening.sees)
    told = [i for i in seen if i.look is look and i.answer is not None]
    sound = np.flatnonzero((p.rows.strata[p.rows.stratum] == NONE).all(axis=1))
    if look is None or not len(sound) or all(i.answer == look.answers_of(i.place)[0] for i in told):
        return None
    likely = sound[np.argsort(-p.weight[sound], kind="stable")[:MOST_HANDS]]
    uneven = _made_uneven(p.rows, likely, [column_of(look, place) for place in look.places], evening)
    told_uneven = _chance_told(catalogue, uneven, told)
    told_sound = _chance_told(catalogue, p.rows.take(sound), told)
    odds = float(told_uneven.mean() / told_sound.mean()) * evening.apart_share / (1.0 - evening.apart_share)
    own = np.tile(p.weight[likely], len(told_uneven) // len(likely)) * told_uneven
    own = own / own.sum() if own.sum() > 0.0 else np.full(len(own), 1.0 / len(own))
    return _joined(p, uneven, own, float(p.weight[sound].sum()) * odds)


def _made_uneven(rows: Rows, which: NDArray[np.intp], columns: Sequence[str], evening: Evening) -> Rows:
    """Copies of some hands, in each of which one finger is behind the mean of the others, in a stratum of their own."""
    at = [rows.columns.index(c) for c in columns]
    made = []
    for last in at:
        for behind_deg in evening.apart_deg:
            seen = rows.seen[:, which].copy()
            seen[at] = -behind_deg / (len(at) - 1)  # each is before a mean that the last one draws down
            seen[last] = behind_deg
            made.append(seen)
    source = int(rows.stratum[which[0]])
    count = len(made) * len(which)
    severity = None if rows.severity is None else np.tile(rows.severity[which], (len(made), 1))
    return replace(
        rows,
        seen=np.concatenate(made, axis=1),
        blur=np.concatenate([rows.blur, rows.blur[:, [source]]], axis=1),
        strata=np.concatenate([rows.strata, rows.strata[[source]]]),
        stratum=np.full(count, len(rows.strata), dtype=np.int32),
        severity=severity,
        taken_from=rows.whole,
        kept={},
    )


def _chance_told(catalogue: Catalogue, rows: Rows, told: Sequence[Item]) -> Floats:
    """Chance of what was told of these fingers, by careful and careless people together, for each hand; (n,)."""
    total = np.zeros(len(rows.stratum))
    for person, (share, _) in enumerate(people(catalogue)):
        log = np.zeros(len(rows.stratum))
        for said in of_one_thing(told):
            log += log_word(catalogue, rows, said, person)
        total += share * np.exp(log)
    return total


def _joined(p: Posterior, uneven: Rows, own: Floats, more: float) -> Posterior:
    """Both together, weighed to one."""
    whole = 1.0 + more
    severity = np.zeros((len(own), 2), dtype=np.float32)
    rows = replace(
        uneven,
        seen=np.concatenate([p.rows.seen, uneven.seen], axis=1),
        stratum=np.concatenate([p.rows.stratum, uneven.stratum]),
        severity=None if p.rows.severity is None else np.concatenate([p.rows.severity, severity]),
    )
    return replace(
        p,
        rows=rows,
        severity=np.concatenate([p.severity, severity]),
        weight=np.concatenate([p.weight, more * own]) / whole,
        by_set=np.append(p.by_set, more) / whole,
        by_fault=p.by_fault / whole,
    )
