"""A ceiling that is learnt: which cause other generated hands had whose answers were alike.

A choice model: every cause at every place is a candidate, described by the answers as seen from its place
("its own digit springs back slowly", "the other fingers start with the rest", "the bar dips on its side"). The
weights are a kind's, shared by its places, so some tens of hands of a kind teach all of them. Trained on hands
with at most one fault, always asked about hands that it never saw.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from diagnosis_ceiling import answers, named, names
from diagnosis_scores import FAULTLESS
from numpy.typing import NDArray
from scipy.optimize import minimize

Floats = NDArray[np.float32]
Hand = dict[str, Any]
FOLDS = 5
PENALTY = 1e-3  # of squared weights, a hand
STEPS = (-1.5, -0.75, -0.3, 0.3, 0.75, 1.5)  # of a number, in its own standard deviations
SIDES = {"tension-screw-thumb-side": "thumb-side", "tension-screw-little-side": "little-side"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """A cause that could be named."""

    name: str
    kind: str
    place: str

    def relation(self, of: str, seen: str) -> str:
        """How the place of a look lies to this cause's place."""
        if not seen:
            return "hand"
        if not self.place:
            return "thumb" if seen.startswith("thumb") else "any"
        if seen == self.place:
            return "own"
        mine, theirs = self.place.replace(".", "-").split("-"), seen.replace(".", "-").split("-")
        if mine[0] == theirs[0]:
            return "first" if self.kind == "tips-swapped" else "digit"
        if len(mine) > 1 and mine[1] == theirs[0]:
            return "second" if self.kind == "tips-swapped" else "digit"
        loop = next((c for c in (("index", "middle"), ("ring", "little")) if mine[0] in c), ())
        if theirs[0] in loop:
            return "cord"
        return "thumb" if theirs[0] == "thumb" else "other"

    @property
    def side(self) -> float:
        """Which way the bar would dip; in or out, for the pin."""
        if self.kind == "thumb-pin-off":
            return 1.0 if self.place == "in" else -1.0
        first = self.place.replace(".", "-").split("-")[0]
        return {"index": -1.0, "middle": -1.0, "ring": 1.0, "little": 1.0}.get(first, 0.0)


def candidates(catalogue: dict[str, Any]) -> list[Candidate]:
    found = [
        Candidate(name=named(f["id"], place), kind=f["id"], place=place)
        for f in catalogue["fault"]
        for place in f.get("places", [""])
    ]
    return [*found, Candidate(name=FAULTLESS, kind=FAULTLESS, place="")]


class Describer:
    """Answers of a hand, as seen from each candidate, in numbers."""

    def __init__(self, hands: Sequence[Hand], catalogue: dict[str, Any]) -> None:
        self.candidates = candidates(catalogue)
        self.usual = {
            (o["id"], place): words
            for o in catalogue["observable"]
            for place, words in o.get("answers_at", {}).items()
        }
        values: dict[str, list[float]] = {}
        for h in hands:
            for o in answers(h):
                if "value" in o:
                    values.setdefault(self.topic(o), []).append(o["value"])
        self.centre = {of: (float(np.median(v)), float(np.std(v)) + 1e-6) for of, v in values.items()}
        self.column: dict[tuple[str, ...], int] = {("constant",): 0}

    @staticmethod
    def topic(o: dict[str, Any]) -> str:
        return "tension-screw" if o["of"] in SIDES else str(o["of"])

    def described(self, hands: Sequence[Hand]) -> Floats:
        """(hands, candidates, features)."""
        rows = [[self._one(answers(h), c) for c in self.candidates] for h in hands]
        out = np.zeros((len(hands), len(self.candidates), len(self.column)), dtype=np.float32)
        for i, by_candidate in enumerate(rows):
            for j, features in enumerate(by_candidate):
                for name, value in features.items():
                    out[i, j, self.column[name]] = value
        return out

    def _one(self, said: list[dict[str, Any]], c: Candidate) -> dict[tuple[str, ...], float]:
        found: dict[tuple[str, ...], float] = {("constant",): 1.0}
        for o in said:
            of = self.topic(o)
            relation = c.relation(of, SIDES.get(o["of"], o.get("place", "")))
            if "value" in o:
                middle, sd = self.centre[of]
                z = float(np.clip((o["value"] - middle) / sd, -4.0, 4.0))
                self._number(found, (of, relation), z)
                if of in ("whippletree-level", "thumb-pin-in-line") and c.side:
                    self._number(found, (of, "to its side"), z * c.side)
            else:
                words = self.usual.get((o["of"], o.get("place", "")))
                word = (
                    o["answer"]
                    if words is None
                    else "as it should be"
                    if o["answer"] == words[0]
                    else "wrong"
                )
                self._add(found, (of, relation, word), 1.0)
        return found

    def _number(self, found: dict[tuple[str, ...], float], name: tuple[str, ...], z: float) -> None:
        self._add(found, (*name, "z"), z)
        self._add(found, (*name, "size"), abs(z))
        for step in STEPS:
            if z > step:
                self._add(found, (*name, str(step)), 1.0)

    def _add(self, found: dict[tuple[str, ...], float], name: tuple[str, ...], value: float) -> None:
        self.column.setdefault(name, len(self.column))
        found[name] = found.get(name, 0.0) + value


def by_learning(hands: Sequence[Hand], catalogue: dict[str, Any], seed: int = 0) -> list[dict[str, float]]:
    """Probabilities of every single cause (and none) for every hand, each by a model that never saw it."""
    describer = Describer(hands, catalogue)
    x = describer.described(hands)
    kinds = sorted({c.kind for c in describer.candidates})
    kind = np.array([kinds.index(c.kind) for c in describer.candidates])
    index = {c.name: k for k, c in enumerate(describer.candidates)}
    label = np.array(
        [index[(names(h) or (FAULTLESS,))[0]] if len(names(h)) < 2 else -1 for h in hands], dtype=np.intp
    )
    fold = np.random.default_rng(seed).permutation(len(hands)) % FOLDS
    p = np.zeros(x.shape[:2])
    for f in range(FOLDS):
        train = (fold != f) & (label >= 0)
        w = _fit(x[train], label[train], kind, len(kinds))
        p[fold == f] = _chances(x[fold == f], w, kind)
    every = [c.name for c in describer.candidates]
    return [dict(zip(every, map(float, row), strict=True)) for row in p]


def _scores(x: Floats, w: Floats, kind: NDArray[np.intp]) -> Floats:
    return np.einsum("ncd,cd->nc", x, w[kind], optimize=True)


def _chances(x: Floats, w: Floats, kind: NDArray[np.intp]) -> NDArray[np.float64]:
    z = _scores(x, w, kind).astype(float)
    e = np.exp(z - z.max(1, keepdims=True))
    return np.asarray(e / e.sum(1, keepdims=True))


def _fit(x: Floats, label: NDArray[np.intp], kind: NDArray[np.intp], kinds: int) -> Floats:
    n, count, width = x.shape
    by_candidate = np.ascontiguousarray(x.transpose(1, 0, 2))  # (c, n, d)
    row = np.arange(n)

    def loss(flat: NDArray[np.float64]) -> tuple[float, NDArray[np.float64]]:
        w = flat.reshape(kinds, width).astype(np.float32)
        z = np.stack([by_candidate[c] @ w[kind[c]] for c in range(count)], 1).astype(float)
        z -= z.max(1, keepdims=True)
        p = np.exp(z)
        p /= p.sum(1, keepdims=True)
        value = -np.log(p[row, label] + 1e-300).mean() + PENALTY * float(flat @ flat)
        p[row, label] -= 1.0
        gradient = np.zeros((kinds, width))
        for c in range(count):
            gradient[kind[c]] += by_candidate[c].T @ p[:, c].astype(np.float32) / n
        return float(value), gradient.ravel() + 2 * PENALTY * flat

    found = minimize(loss, np.zeros(kinds * width), jac=True, method="L-BFGS-B", options={"maxiter": 120})
    return np.asarray(found.x.reshape(kinds, width), dtype=np.float32)
