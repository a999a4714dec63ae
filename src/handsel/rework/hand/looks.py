"""Looks that a plan may ask for before anything is done: what was not looked at yet, and other eyes on what was.

A second look by somebody else is cheap beside a rework, and one slip in fifty answers is often what sends a plan
astray. What a second pair of eyes will probably say follows from the same simulated hands, those that bear the
first answer out weighing more, and from what two people's answers have in common (`other_eyes`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from handsel.diagnosis.catalogue import Catalogue, Observable
from handsel.diagnosis.likelihood import TOGETHER, Item, Rows, log_likelihood, rising
from handsel.diagnosis.posterior import Posterior
from handsel.rework.hand.other_eyes import next_reading, next_word

Floats = NDArray[np.float64]
Key = tuple[str, str]  # observable and place

MOST_LOOKS = 8  # followed by the search
MOST_COMBINED = 36  # combinations of answers to a few looks in one go
ANSWER_MIN = 0.1  # to read a question and give its answer, on top of the look
LEAST_BITS = 0.01
POOLED_HANDS = (
    12.0  # of all states together that count for each: chances from few hands are chance themselves
)
EDGES = np.linspace(-1.8, 1.8, 9)  # where a number may be parted, in standard deviations of what it may be


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """One thing to look at."""

    observable: Observable
    place: str
    answers: tuple[str, ...]
    again: bool  # by somebody else than before

    @property
    def key(self) -> Key:
        """What tells looks apart."""
        return self.observable.id, self.place


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Look:
    """A check as a plan can ask for it: one thing, or a few looked at in one go."""

    asked: tuple[Asked, ...]
    answers: tuple[tuple[str, ...], ...]  # of all that is asked, each combination
    minutes: float
    chance: Floats  # (answers, states)

    def excludes(self, other: Look) -> bool:
        """Whether there is no sense in the other one after this: it asks the same, or is a second round of many."""
        same = {a.key for a in self.asked} & {a.key for a in other.asked}
        return bool(same) or (len(self.asked) > 1 and len(other.asked) > 1)


def looks_for(
    p: Posterior,
    catalogue: Catalogue,
    strata: Sequence[int],
    weight: Floats,
    seen: Sequence[Item],
    done: Set[Key] = frozenset(),
) -> tuple[Look, ...]:
    """The looks that tell the states of a plan apart best for a minute.

    Parameters: p, posterior; catalogue; strata of p's rows that the states are, -1 where a state is none of
        them; weight : (states,) of the states; seen, what the posterior was weighed by: it may be looked at
        once more, by somebody else; done, looks that shall not be asked for, see `looked_twice`.
    Returns: Look, the best first, then those that take a few together: each of them alone may not be worth
        a change of plan where two that agree are.
    Raises: nothing of its own.
    Valid for: answers that are independent given the state. Of a state that no simulated hand stands for an
        answer tells nothing.
    Source: mutual information of state and answer, Shannon 1948; two people's answers as in `other_eyes`.
    Checked by: unit/test_looks.py
    """
    bench = _Hands.of(p, catalogue, strata, weight)
    # What was taken as shown with a group was not looked at by itself.
    first = {item.key: item for item in seen if not item.in_group}
    found: list[tuple[float, Look]] = []
    for look in catalogue.observables:
        for place in look.places:
            key = (look.id, place)
            if key in done:
                continue
            answers, chance = bench.answers(look, place, first.get(key))
            minutes = look.minutes + ANSWER_MIN
            bits = information(chance, weight)
            if bits >= LEAST_BITS:
                asked = Asked(observable=look, place=place, answers=answers, again=key in first)
                one = Look(
                    asked=(asked,), answers=tuple((a,) for a in answers), minutes=minutes, chance=chance
                )
                found.append((bits / minutes, one))
    found.sort(key=lambda f: (-f[0], f[1].asked[0].key))
    single = tuple(look for _, look in found[:MOST_LOOKS])
    return (*single, *_rounds(single, weight))


def _rounds(single: Sequence[Look], weight: Floats) -> tuple[Look, ...]:
    """Two, three and more looks in one go: the best one, and each time what tells most besides."""
    rounds: list[Look] = []
    left = list(single)
    best = max(left, key=lambda look: information(look.chance, weight), default=None)
    while best is not None:
        left = [look for look in left if look.asked[0].key not in {a.key for a in best.asked}]
        more = [
            joined for look in left if len((joined := _both(best, look)).answers) <= MOST_COMBINED
        ]  # fmt: skip
        best = max(more, key=lambda look: information(look.chance, weight), default=None)
        if best is not None:
            rounds.append(best)
    return tuple(rounds)


def _both(one: Look, other: Look) -> Look:
    chance = one.chance[:, None, :] * other.chance[None, :, :]
    return Look(
        asked=(*one.asked, *other.asked),
        answers=tuple((*a, *b) for a in one.answers for b in other.answers),
        minutes=one.minutes + other.minutes,
        chance=chance.reshape(-1, chance.shape[-1]),
    )


def information(chance: Floats, weight: Floats) -> float:
    """What an answer tells of the state [bits].

    Parameters: chance : (answers, states); weight : (states,), of any sum.
    Returns: bits.    Source: Shannon 1948.
    """
    joint = chance * (weight / max(float(weight.sum()), 1e-300))
    apart = joint.sum(0, keepdims=True) * joint.sum(1, keepdims=True)
    with np.errstate(divide="ignore", invalid="ignore"):
        terms = np.where(joint > 1e-12, joint * np.log2(joint / np.maximum(apart, 1e-300)), 0.0)
    return float(max(terms.sum(), 0.0))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Hands:
    """The simulated hands that stand for the states of a plan, m of them."""

    catalogue: Catalogue
    rows: Rows
    share: Floats  # (m,) of its state
    member: NDArray[np.intp]  # (m,) state
    where: Mapping[int, int]  # stratum: state
    weight: Floats  # (states,)

    @classmethod
    def of(cls, p: Posterior, catalogue: Catalogue, strata: Sequence[int], weight: Floats) -> _Hands:
        where = {s: k for k, s in enumerate(strata) if s >= 0}
        mine = np.flatnonzero(np.isin(p.rows.stratum, list(where)))
        rows = p.rows.take(mine)
        member = np.array([where[int(s)] for s in rows.stratum], dtype=np.intp)
        size = len(strata)
        total = np.bincount(member, weights=p.weight[mine], minlength=size)
        # A state that nothing seen so far speaks for is what its hands are before anything was seen.
        share = np.where(total[member] > 1e-12, p.weight[mine], 1.0)
        share = share / np.bincount(member, weights=share, minlength=size)[member]
        return cls(catalogue=catalogue, rows=rows, share=share, member=member, where=where, weight=weight)

    def answers(self, look: Observable, place: str, before: Item | None) -> tuple[tuple[str, ...], Floats]:
        """The answers that may be given, and the chance of each in each state."""
        apart = before is not None and look.kind != "look" and look.reads not in TOGETHER
        if look.kind == "number":
            first = np.exp(log_likelihood(self.catalogue, self.rows, before)) if apart and before else None
            return self._bins(look, place, before, self._borne_out(first))
        by_hand, first = next_word(self.catalogue, self.rows, look, place, before)
        share = self._borne_out(first if apart else None)
        # What a fault shows to the eye is the same for all its hands.
        table = self._means(by_hand, share, pooled=0.0 if look.kind == "look" else POOLED_HANDS)
        return look.answers_of(place), table / table.sum(0)

    def _borne_out(self, first: Floats | None) -> Floats:
        """Shares of the hands in their states; the first answer, weighed by whole strata, here tells hands apart."""
        if first is None:
            return self.share
        share = self.share * first
        whole = np.bincount(self.member, weights=share, minlength=len(self.weight))
        return np.asarray(share / np.maximum(whole, 1e-300)[self.member])

    def _means(self, by_hand: Floats, share: Floats, *, pooled: float) -> Floats:
        """Means over the hands of each state, drawn a little toward that of all: fully, where a state has none."""
        size = len(self.weight)
        table = np.stack([np.bincount(self.member, weights=share * r, minlength=size) for r in by_hand])
        square = np.bincount(self.member, weights=share * share, minlength=size)
        hands = np.where(square > 0.0, 1.0 / np.maximum(square, 1e-300), 0.0)  # effective ones
        known = self.weight * (hands > 0.0)
        known = known / known.sum() if known.sum() > 0.0 else (hands > 0.0) / max(int((hands > 0).sum()), 1)
        own = hands / np.maximum(hands + pooled, 1e-9)
        return np.asarray(own * table + (1.0 - own) * (table @ known)[:, None])

    def _bins(
        self, look: Observable, place: str, before: Item | None, share: Floats
    ) -> tuple[tuple[str, ...], Floats]:
        """A number parted in three, where that tells the states apart best."""
        x, noise = next_reading(self.rows, look, place, before)
        w = share * self.weight[self.member]
        w = w / max(float(w.sum()), 1e-300)
        middle = float(w @ x)
        wide = float(np.sqrt(w @ (x - middle) ** 2 + look.sd**2))
        edges = np.unique(np.round((middle + wide * EDGES) / look.resolution)) * look.resolution
        below = np.stack([rising(e - x, noise) for e in edges])
        best: tuple[float, tuple[float, ...], Floats] | None = None
        table = self._means(below, share, pooled=POOLED_HANDS)
        few = range(len(edges))
        for chosen in (*combinations(few, 2), *((k,) for k in few)):
            steps = np.vstack([np.zeros(table.shape[1]), table[list(chosen)], np.ones(table.shape[1])])
            parts = np.maximum(np.diff(steps, axis=0), 0.0)
            bits = information(parts, self.weight)
            if best is None or bits > best[0] + 1e-9:
                best = bits, tuple(float(edges[k]) for k in chosen), parts
        assert best is not None  # there is at least one edge
        _, cut, parts = best
        names = [f"below {cut[0]:g} {look.unit}"]
        names += [f"{a:g} to {b:g} {look.unit}" for a, b in zip(cut, cut[1:], strict=False)]
        return (*names, f"{cut[-1]:g} {look.unit} or more"), parts
