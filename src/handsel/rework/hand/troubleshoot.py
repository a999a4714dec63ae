"""The cheapest way to a sound thing: try, look, decide, with what is wrong known by its chances only.

States are what may be wrong; a belief is a weight for each. An act costs minutes and takes a state to
soundness or to another state; whether it is sound is seen afterwards. A check costs minutes and its answer
tells states apart. When nothing else pays, the last resort ends it. Values are expected minutes times the
belief's weight, so that beliefs need not be made to sum to one.

    V(b) = min over acts a of    minutes_a |b| + again |b T_a| + V(b T_a)    T_a: what stays wrong, and how
           min over checks c of  minutes_c |b| + sum over answers o of V(b x chance of o)
           last resort           minutes_L |b|
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

GENTLE_CHANCE = 0.75  # a gentle act that cures a state with at least this chance comes before any cut for it
CUT_SHARE = 0.1  # a cut is let only where at most this share of what it cures could be cured gently
PARTLY = 0.5  # what it is worth to take one of two faults away, when acts are ranked
WIDE_ACTS, WIDE_CHECKS = 4, 3  # followed further down


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Problem:
    """n states, a acts, k checks."""

    weight: Floats  # (n,) of each state before anything is done
    act_minutes: Floats  # (a,) with the look afterwards [min]
    stays: Floats  # (a, n, n) chance to be in state j after the act, from i, and not sound
    gentle: Bools  # (a,)
    check_minutes: Floats  # (k,) [min]
    answers: tuple[Floats, ...]  # k of (answers, n): chance of each answer in each state
    last_minutes: float
    excludes: Bools | None = None  # (a, a): once the first is done the second is not, besides itself
    check_excludes: Bools | None = None  # (k, k): once the first is made the second is not, besides itself
    # (a,) or one for all: what a try that fails costs besides; below 0 where it spares the look afterwards [min]
    again_minutes: Floats | float = 0.0

    @property
    def cures(self) -> Floats:
        """(a, n) chance that an act makes a state sound."""
        return np.asarray(1.0 - self.stays.sum(2))


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """What to do at a belief."""

    kind: str  # "act", "check" or "last"
    index: int
    value: float  # expected minutes times the belief's weight


class Solver:
    """Depth-limited search over acts and checks, above a simple policy that values what is beyond."""

    def __init__(self, problem: Problem) -> None:
        self.p = problem
        self.cures = problem.cures
        moved = 1.0 - np.stack([np.diag(t) for t in problem.stays]) if len(problem.stays) else self.cures
        self.progress = self.cures + PARTLY * (moved - self.cures)
        count = len(problem.act_minutes)
        self.again = np.broadcast_to(np.asarray(problem.again_minutes, dtype=np.float64), (count,))
        self.dear = problem.act_minutes + np.maximum(self.again, 0.0)
        self.all_acts = np.ones(count, dtype=bool)
        also = np.zeros((count, count), dtype=bool) if problem.excludes is None else problem.excludes
        self.open_after = ~(also | np.eye(count, dtype=bool))
        looks = len(problem.check_minutes)
        same = (
            np.zeros((looks, looks), dtype=bool) if problem.check_excludes is None else problem.check_excludes
        )
        self.checks_after = ~(same | np.eye(looks, dtype=bool))
        self.all_checks = np.ones(looks, dtype=bool)

    def admissible(self, belief: Floats, left: Bools) -> Bools:
        """Acts that may be done: untried, and no cut for what something gentle cures.

        Returns: (a + 1,) bool, the last one for the last resort.
        """
        allowed, last = self._admissible(belief[None, :], left[None, :])
        return np.append(allowed[0], last[0])

    def _admissible(self, beliefs: Floats, left: Bools) -> tuple[Bools, Bools]:
        """For m beliefs at once: (m, a) acts, and (m,) the last resort."""
        gentle = left & self.p.gentle
        best = np.where(gentle[:, :, None], self.cures, 0.0).max(1, initial=0.0)
        soft = np.where(best >= GENTLE_CHANCE, beliefs, 0.0)
        gain = beliefs @ self.cures.T
        by_hand = soft @ self.cures.T
        allowed = left & (self.p.gentle | (by_hand <= CUT_SHARE * gain + 1e-15)) & (gain > 1e-12)
        last = (soft.sum(1) <= CUT_SHARE * beliefs.sum(1)) | ~(allowed & gentle).any(1)
        return allowed, last

    def simple(self, belief: Floats, left: Bools) -> tuple[int | None, Floats]:
        """The act that the simple policy does next, None for the last resort; and what a gain takes by each act."""
        best, ratio = self._simple(belief[None, :], left[None, :])
        return (int(best[0]) if best[0] >= 0 else None), ratio[0]

    def _simple(self, beliefs: Floats, left: Bools) -> tuple[NDArray[np.intp], Floats]:
        """For m beliefs at once: (m,) the act, -1 for the last resort, and (m, a) minutes for a gain."""
        allowed, last = self._admissible(beliefs, left)
        gain = beliefs @ self.progress.T
        cost = self.dear * beliefs.sum(1)[:, None]
        ratio = np.full(gain.shape, np.inf)
        np.divide(cost, gain, out=ratio, where=allowed & (gain > 1e-12))
        if not len(self.dear):
            return np.full(len(beliefs), -1, dtype=np.intp), ratio
        best = ratio.argmin(1)
        least = ratio[np.arange(len(best)), best]
        return np.where(np.isfinite(least) & ~(last & (least >= self.p.last_minutes)), best, -1), ratio

    def simple_value(self, belief: Floats, left: Bools) -> float:
        """Expected minutes of the simple policy: least minutes for what is gained, then the last resort."""
        return float(self.simple_values(belief[None, :], left[None, :])[0])

    def simple_values(self, beliefs: Floats, left: Bools) -> Floats:
        """For m beliefs at once, (m, n) with (m, a) acts left: (m,) expected minutes of the simple policy."""
        total = np.zeros(len(beliefs))
        going = np.flatnonzero(beliefs.sum(1) > 1e-12)
        b, open_ = beliefs[going], left[going]
        while len(going):
            weight = b.sum(1)
            act, _ = self._simple(b, open_)
            on = act >= 0
            total[going[~on]] += self.p.last_minutes * weight[~on]
            going, open_, act, weight = going[on], open_[on], act[on], weight[on]
            b = np.einsum("mi,mij->mj", b[on], self.p.stays[act])
            rest = b.sum(1)
            total[going] += self.p.act_minutes[act] * weight + self.again[act] * rest
            wrong = rest > 1e-12
            going, b, open_ = going[wrong], b[wrong], (open_ & self.open_after[act])[wrong]
        return total

    def choose(self, belief: Floats, left: Bools, checks: Bools, depth: int) -> Choice:
        """The best thing to do, looking so many steps ahead.

        With depth 0 it is the simple policy's value. Each more step can only better it: the simple
        policy's own next act is always among those compared.
        """
        weight = belief.sum()
        if weight <= 1e-12:
            return Choice(kind="last", index=-1, value=0.0)
        first, ratio = self.simple(belief, left)
        allowed = self.admissible(belief, left)
        options: list[Choice] = []
        if allowed[-1]:
            options.append(Choice(kind="last", index=-1, value=float(self.p.last_minutes * weight)))
        acts = [int(a) for a in np.argsort(ratio)[:WIDE_ACTS] if np.isfinite(ratio[a])]
        if first is not None and first not in acts:
            acts.append(first)
        for a in acts:
            options.append(Choice(kind="act", index=a, value=self._after_act(belief, left, checks, a, depth)))
        for c, value in self._checks(belief, left, checks, depth):
            options.append(Choice(kind="check", index=c, value=value))
        if not options:  # nothing gains anything
            return Choice(kind="last", index=-1, value=float(self.p.last_minutes * weight))
        return min(options, key=lambda o: (o.value, o.kind, o.index))

    def _after_act(self, belief: Floats, left: Bools, checks: Bools, act: int, depth: int) -> float:
        rest, fewer = belief @ self.p.stays[act], left & self.open_after[act]
        spent = float(self.p.act_minutes[act] * belief.sum() + self.again[act] * rest.sum())
        return spent + self._value(rest, fewer, checks, depth - 1)

    def _after_check(self, belief: Floats, left: Bools, checks: Bools, check: int, depth: int) -> float:
        fewer = checks & self.checks_after[check]
        spent = float(self.p.check_minutes[check] * belief.sum())
        if depth <= 1:
            return spent + float(self._told(belief, left, check).sum())
        return spent + sum(
            self._value(belief * chance, left, fewer, depth - 1) for chance in self.p.answers[check]
        )

    def _told(self, belief: Floats, left: Bools, check: int) -> Floats:
        """What the simple policy takes after each answer of a check."""
        beliefs = belief * self.p.answers[check]
        return self.simple_values(beliefs, np.broadcast_to(left, (len(beliefs), len(left))))

    def _value(self, belief: Floats, left: Bools, checks: Bools, depth: int) -> float:
        if belief.sum() <= 1e-12:
            return 0.0
        if depth <= 0:
            return self.simple_value(belief, left)
        return self.choose(belief, left, checks, depth).value

    def _checks(self, belief: Floats, left: Bools, checks: Bools, depth: int) -> list[tuple[int, float]]:
        """Checks with their values; all of them one step ahead, the best few further."""
        open_ = np.flatnonzero(checks)
        if not len(open_):
            return []
        beliefs = np.vstack([belief * self.p.answers[c] for c in open_])
        values = self.simple_values(beliefs, np.broadcast_to(left, (len(beliefs), len(left))))
        begins = np.cumsum([0, *(len(self.p.answers[c]) for c in open_[:-1])])
        told = np.add.reduceat(values, begins) + self.p.check_minutes[open_] * belief.sum()
        near = list(zip(open_, told, strict=True))
        near.sort(key=lambda f: f[1])
        if depth <= 1:
            return [(int(c), float(value)) for c, value in near[:1]]
        return [
            (int(c), min(float(value), self._after_check(belief, left, checks, int(c), depth)))
            for c, value in near[:WIDE_CHECKS]
        ]


def fixed_order_value(solver: Solver, belief: Floats, order: Sequence[int]) -> float:
    """Expected minutes when acts are tried in a given order until it is sound, then the last resort."""
    total = 0.0
    for act in order:
        if belief.sum() <= 1e-12:
            break
        if solver.cures[act] @ belief <= 1e-12:
            continue
        total += float(solver.p.act_minutes[act] * belief.sum())
        belief = belief @ solver.p.stays[act]
        total += float(solver.again[act] * belief.sum())
    return float(total + solver.p.last_minutes * belief.sum())
