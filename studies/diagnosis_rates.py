"""A ceiling by rates: how often each answer is given of each kind, as the generator itself would have it given.

For every kind, and for every look by how its place lies to the fault's place, the chance of each word is the
mean over the other generated hands of that kind (shares in the crowd of volunteers, with slips); of a number,
the mean of the reading errors' densities round the true values. Looks are then multiplied as if they did not
know of one another, and the product flattened by an exponent that the log score chooses. Places of a kind share
what they know, so some tens of hands a kind are enough; what is lost is what only looks together can tell.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from diagnosis_ceiling import Crowds, _errors, answers, names
from diagnosis_learning import SIDES, Candidate, Describer, candidates
from diagnosis_scores import FAULTLESS, LEAST_P

Hand = dict[str, Any]
FLATTENED = (0.3, 0.45, 0.6, 0.8, 1.0)
BACKGROUND = 1.0  # hands of any kind that every kind is given besides its own
SIDED = ("whippletree-level", "thumb-pin-in-line")


class Rates:
    """What is said of each kind, look by look."""

    def __init__(self, hands: Sequence[Hand], catalogue: dict[str, Any]) -> None:
        self.candidates = candidates(catalogue)
        self.by_name = {c.name: c for c in self.candidates}
        self.usual = {
            (o["id"], place): words
            for o in catalogue["observable"]
            for place, words in o.get("answers_at", {}).items()
        }
        crowds = Crowds(hands)
        self.slip, self.gross = crowds.slip, crowds.gross
        self.words_of = {k: len(v) for k, v in crowds.words.items()}
        self.tables: dict[tuple[str, str, str], dict[str, float]] = {}  # kind, look, relation -> words
        self.numbers: dict[tuple[str, str, str], list[tuple[float, int]]] = {}  # -> true value, hand
        self.mine: list[dict[tuple[str, str, str], dict[str, float]]] = []
        for i, h in enumerate(hands):
            own: dict[tuple[str, str, str], dict[str, float]] = {}
            some = names(h) or (FAULTLESS,)
            if len(some) == 1:
                for kind in {self.by_name[some[0]].kind, "*"}:
                    self._count(own, h, self.by_name[some[0]], kind, i)
            for key, words in own.items():
                table = self.tables.setdefault(key, {})
                for word, x in words.items():
                    table[word] = table.get(word, 0.0) + x
            self.mine.append(own)
        self.arrays = {
            k: (np.array([x for x, _ in v]), np.array([i for _, i in v])) for k, v in self.numbers.items()
        }

    def _count(
        self, own: dict[tuple[str, str, str], dict[str, float]], h: Hand, c: Candidate, kind: str, i: int
    ) -> None:
        for key, words in h["crowd"].items():
            of, _, place = key.partition("@")
            topic = Describer.topic({"of": of})
            relation = c.relation(topic, SIDES.get(of, place))
            if "true" in words:
                self.numbers.setdefault((kind, topic, relation), []).append((words["true"], i))
                if of in SIDED and c.side:
                    self.numbers.setdefault((kind, topic, "side"), []).append((words["true"] * c.side, i))
                continue
            table = own.setdefault((kind, topic, relation), {})
            for word, x in words.items():
                name = self.word(of, place, word)
                table[name] = table.get(name, 0.0) + x
            table["all"] = table.get("all", 0.0) + 1.0

    def word(self, of: str, place: str, word: str) -> str:
        words = self.usual.get((of, place))
        return word if words is None else "as it should be" if word == words[0] else "wrong"

    def log_chances(self, hand: Hand, i: int) -> np.ndarray:
        """(candidates,) of this hand's answers, the hand itself left out."""
        total = np.zeros(len(self.candidates))
        for o in answers(hand):
            of, place = o["of"], o.get("place", "")
            topic = Describer.topic(o)
            seen: dict[tuple[str, str, float], float] = {}
            for k, c in enumerate(self.candidates):
                relation, side = c.relation(topic, SIDES.get(of, place)), 1.0
                if "value" in o and of in SIDED and c.side:
                    relation, side = "side", c.side
                known = seen.get((c.kind, relation, side))
                if known is None:
                    known = self._log_chance(o, c.kind, topic, relation, side, i)
                    seen[c.kind, relation, side] = known
                total[k] += known
        return total

    def _log_chance(
        self, o: dict[str, Any], kind: str, topic: str, relation: str, side: float, i: int
    ) -> float:
        if "value" in o:
            own, any_kind = (self._density(o, k, topic, relation, side, i) for k in (kind, "*"))
        else:
            own, any_kind = (self._share(o, k, topic, relation, i) for k in (kind, "*"))
        (mean, count), (usual, _) = own, any_kind
        return float(np.log((mean * count + usual * BACKGROUND) / (count + BACKGROUND) + 1e-9))

    def _share(self, o: dict[str, Any], kind: str, topic: str, relation: str, i: int) -> tuple[float, float]:
        key = (kind, topic, relation)
        table, own = self.tables.get(key, {}), self.mine[i].get(key, {})
        word = self.word(o["of"], o.get("place", ""), o["answer"])
        count = table.get("all", 0.0) - own.get("all", 0.0)
        share = (table.get(word, 0.0) - own.get(word, 0.0)) / count if count > 0.5 else 0.5
        options = max(self.words_of.get(f"{o['of']}@{o.get('place', '')}", 2), 2)
        return (1 - self.slip) * share + self.slip / (options - 1) * (1 - share), count

    def _density(
        self, o: dict[str, Any], kind: str, topic: str, relation: str, side: float, i: int
    ) -> tuple[float, float]:
        true, hand = self.arrays.get((kind, topic, relation), (np.zeros(0), np.zeros(0, dtype=int)))
        true = true[hand != i]
        if not len(true):
            return 1e-3, 0.0
        sd, gross_sd = _errors(o)
        width = 0.5 * float(true.std()) * len(true) ** -0.2 if len(true) > 1 else sd  # between the hands
        sd, gross_sd = float(np.hypot(sd, width)), float(np.hypot(gross_sd, width))
        x = o["value"] * side
        near = np.exp(-0.5 * ((x - true) / sd) ** 2) / sd
        far = np.exp(-0.5 * ((x - true) / gross_sd) ** 2) / gross_sd
        return float(((1 - self.gross) * near + self.gross * far).mean()), float(len(true))


def by_rates(hands: Sequence[Hand], catalogue: dict[str, Any]) -> tuple[list[dict[str, float]], float]:
    """Probabilities of every single cause (and none) for every hand, from all other hands; the exponent used."""
    rates = Rates(hands, catalogue)
    every = [c.name for c in rates.candidates]
    column = {name: k for k, name in enumerate(every)}
    kinds = [c.kind for c in rates.candidates]
    prior = np.log([1.0 / kinds.count(k) for k in kinds])
    log_l = np.stack([rates.log_chances(h, i) for i, h in enumerate(hands)])
    true = [(i, column[(names(h) or (FAULTLESS,))[0]]) for i, h in enumerate(hands) if len(names(h)) < 2]
    best: tuple[float, float, np.ndarray] | None = None
    for flat in FLATTENED:
        z = prior + flat * log_l
        p = np.exp(z - z.max(1, keepdims=True))
        p /= p.sum(1, keepdims=True)
        score = float(np.mean([-np.log(max(p[i, k], LEAST_P)) for i, k in true]))
        if best is None or score < best[0]:
            best = (score, flat, p)
    assert best is not None
    return [dict(zip(every, map(float, row), strict=True)) for row in best[2]], best[1]
