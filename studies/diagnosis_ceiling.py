"""How well the same answers could be read by someone who knows the generator: the ceiling of the diagnosis study.

    python studies/diagnosis_ceiling.py FOLDER --development FOLDER_WITH_HANDS [--slices 10] [--rounds 36]

What could be said at best is the probability of each fault given the answers, under the generator's own ranges,
reading errors, thresholds, slips and missing answers. With more than a hundred answers no weighing of drawn hands by
their likelihood gets there: of forty thousand hands one or two would carry all the weight. So the probability is
learnt: from hands drawn by the generator's own code (`generator_hands`), each answered anew by another volunteer
in every round (`generator_answers`), a network of three layers learns the one function of the answers that has the
best logarithmic score, which is that probability. It never sees a hand of the study, nor the diagnosis.

What it finds is a ceiling from below: more hands, rounds and layers can only raise it. How much is left is told by the
score on hands kept back, round by round, and by what is gained when it is put together with the diagnosis.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from diagnosis_hands import Hand, names
from diagnosis_scores import FAULTLESS, LEAST_P
from faulty_builds import all_faults
from faulty_hands import hands as read_hands
from generator_answers import Answers, Crowd, Key
from generator_hands import Hands, Mismatch, drawn_hands, joined
from numpy.typing import NDArray

from handsel.data.load_design import load_design
from handsel.design.model import Design

Floats = NDArray[np.float32]

SEED = 900  # of the drawn hands: none of the generator's published ones
SLICE = 4000  # hands in one file
KEPT_BACK = 2000
LAYERS = (512, 512, 256)
BATCH, FASTEST, WARM_STEPS, DECAY = 256, 2e-3, 500, 1e-3
FIRST_MOMENT, SECOND_MOMENT = 0.9, 0.999  # Adam's own
LOOK_EVERY = 3  # rounds
RARE_LOGIT = -4.0  # where every fault starts: one in fifty
# Where the numbers mostly lie and how far they go from there: middle and scale for the network.
USUAL = {
    "worked-rest-angle": (37.0, 3.0),
    "lowered-rest-angle": (38.0, 4.0),
    "whippletree-level": (0.0, 3.0),
    "thumb-tip-bend": (1.0, 3.0),
    "thumb-starts-with-fingers": (-1.0, 3.0),
    "whippletree-flush": (0.3, 0.6),
    "thumb-pin-in-line": (0.0, 0.8),
    "tension-screw-thumb-side": (0.5, 0.6),
    "tension-screw-little-side": (0.5, 0.6),
    "tip-gap": (2.0, 3.0),
    "part-size": (100.0, 1.2),
    "tip-size": (100.0, 1.2),
}
BY_PHOTO = ("worked-rest-angle", "lowered-rest-angle", "whippletree-level")
BY_CALIPER = ("whippletree-flush", "thumb-pin-in-line")


# --- answers as numbers


def as_numbers(a: Answers) -> Floats:
    """(n, inputs): each number near and far, each word for itself; nothing where nothing was handed in."""
    columns: list[NDArray[np.generic]] = []
    for (of, _), x in a.numbers.items():
        middle, scale = USUAL[of]
        z = (x - middle) / scale
        columns += [np.where(a.given[of], f, 0.0) for f in (np.clip(z, -4.0, 4.0) / 2.0, np.tanh(z / 3.0))]
    for (of, _), (known, said) in a.words.items():
        columns += [a.given[of] & (said == k) for k in range(len(known))]
    columns += [a.given[of] for of in dict.fromkeys(of for of, _ in a.numbers)]
    for way, read in ((a.photo, BY_PHOTO), (a.caliper, BY_CALIPER)):
        known_way = np.any([a.given[of] for of in read], axis=0)
        columns.append(np.where(known_way, np.where(way, 1.0, -1.0), 0.0))
    return np.stack(columns, axis=1).astype(np.float32)


@dataclass(frozen=True, slots=True, kw_only=True)
class Questions:
    """What is asked, in the order of the network's inputs."""

    numbers: tuple[Key, ...]
    words: tuple[tuple[Key, tuple[str, ...]], ...]

    @classmethod
    def of(cls, a: Answers) -> Questions:
        return cls(numbers=tuple(a.numbers), words=tuple((k, known) for k, (known, _) in a.words.items()))

    def written(self, hands: Sequence[Hand]) -> Answers:
        """What the volunteers of these hands wrote."""
        said = [{(o["of"], o.get("place", "")): o for o in h["observations"]} for h in hands]
        keys = (*self.numbers, *(k for k, _ in self.words))

        def column(key: Key, name: str) -> list[Any]:
            return [s[key].get(name, "") for s in said]

        return Answers(
            numbers={k: np.array(column(k, "value"), dtype=float) for k in self.numbers},
            words={
                k: (known, np.array([known.index(x) for x in column(k, "answer")], dtype=np.int8))
                for k, known in self.words
            },
            given={of: np.array(column((of, place), "given"), dtype=bool) for of, place in reversed(keys)},
            photo=np.array([x == "photo" for x in column((BY_PHOTO[0], ""), "method")]),
            caliper=np.array([x == "caliper" for x in column((BY_CALIPER[0], ""), "method")]),
        )


def wanted(causes: Sequence[str], faults: Sequence[tuple[str, ...]]) -> Floats:
    """(n, causes): 1 for what a hand has."""
    at = {c: k for k, c in enumerate(causes)}
    out = np.zeros((len(faults), len(causes)), dtype=np.float32)
    for i, some in enumerate(faults):
        out[i, [at[f] for f in some or (FAULTLESS,)]] = 1.0
    return out


# --- what learns


class Network:
    """Layers that keep what is above nothing; then two answers: which cause it is, and of each whether it is there.

    The second is the ceiling's. The first, of which all causes share one, teaches rare causes sooner.
    """

    def __init__(self, weights: list[Floats], offsets: list[Floats]) -> None:
        self.weights, self.offsets = weights, offsets
        self.causes = offsets[-1].shape[0] // 2
        self._moments = [(np.zeros_like(p), np.zeros_like(p)) for p in (*weights, *offsets)]
        self._steps = 0

    @classmethod
    def fresh(
        cls, inputs: int, causes: int, rng: np.random.Generator, layers: tuple[int, ...] = LAYERS
    ) -> Network:
        sizes = (inputs, *layers)
        gain = [2.0] * len(layers) + [0.3]
        shapes = [*zip(sizes, sizes[1:], strict=False), (sizes[-1], 2 * causes)]
        weights = [
            (rng.standard_normal(s) * np.sqrt(g / s[0])).astype(np.float32)
            for s, g in zip(shapes, gain, strict=True)
        ]
        offsets = [np.zeros(s[1], dtype=np.float32) for s in shapes]
        offsets[-1][causes:] = RARE_LOGIT
        return cls(weights, offsets)

    def _forward(self, x: Floats) -> tuple[list[Floats], Floats]:
        layers = [x]
        for w, b in zip(self.weights[:-1], self.offsets[:-1], strict=True):
            layers.append(np.maximum(layers[-1] @ w + b, 0.0))
        return layers, layers[-1] @ self.weights[-1] + self.offsets[-1]

    def _answers(self, z: Floats) -> tuple[Floats, Floats]:
        one = np.exp(z[:, : self.causes] - z[:, : self.causes].max(1, keepdims=True))
        return one / one.sum(1, keepdims=True), 1.0 / (1.0 + np.exp(-z[:, self.causes :]))

    def there(self, x: Floats) -> Floats:
        """(n, causes) probability that each is there; the last: that none is."""
        return self._answers(self._forward(x)[1])[1]

    def learn(self, x: Floats, y: Floats, rate: float) -> None:
        """One step of Adam (Kingma and Ba 2015, from memory) with decaying weights."""
        layers, z = self._forward(x)
        one, there = self._answers(z)
        back = np.concatenate([one - y / y.sum(1, keepdims=True), there - y], axis=1) / len(x)
        by_weight: list[Floats] = []
        by_offset: list[Floats] = []
        for k in reversed(range(len(self.weights))):
            by_weight.insert(0, layers[k].T @ back)
            by_offset.insert(0, back.sum(0))
            if k:
                back = (back @ self.weights[k].T) * (layers[k] > 0.0)
        self._steps += 1
        shrunk = [1.0 - m**self._steps for m in (FIRST_MOMENT, SECOND_MOMENT)]
        for w in self.weights:
            w *= 1.0 - rate * DECAY
        steps = zip((*self.weights, *self.offsets), (*by_weight, *by_offset), self._moments, strict=True)
        for p, slope, (first, second) in steps:
            first += (1.0 - FIRST_MOMENT) * (slope - first)
            second += (1.0 - SECOND_MOMENT) * (slope * slope - second)
            p -= rate * (first / shrunk[0]) / (np.sqrt(second / shrunk[1]) + 1e-8)


def log_score(there: Floats, faults: Sequence[tuple[str, ...]], causes: Sequence[str]) -> float:
    """Of hands with one fault, as in `diagnosis_scores`."""
    at = {c: k for k, c in enumerate(causes)}
    some = [there[i, at[f[0]]] for i, f in enumerate(faults) if len(f) == 1]
    return float(-np.log(np.maximum(some, LEAST_P)).mean())


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Learnt:
    """A network that has learnt, and how it went."""

    network: Network
    questions: Questions
    causes: tuple[str, ...]
    hands: int
    course: tuple[
        tuple[int, float, float], ...
    ]  # round, log score of drawn hands kept back, of development hands

    def said(self, hands: Sequence[Hand]) -> list[dict[str, float]]:
        """Probability of every fault, and of none, for each hand."""
        there = self.network.there(as_numbers(self.questions.written(hands)))
        return [dict(zip(self.causes, map(float, row), strict=True)) for row in there]

    def keep(self, path: Path) -> None:
        weights = {f"weight{k}": w for k, w in enumerate(self.network.weights)}
        offsets = {f"offset{k}": b for k, b in enumerate(self.network.offsets)}
        about = json.dumps(
            {
                "causes": self.causes,
                "hands": self.hands,
                "course": self.course,
                "numbers": self.questions.numbers,
                "words": self.questions.words,
            }
        )
        np.savez(path, about=np.array(about), **weights, **offsets)


def learnt_before(path: Path) -> Learnt:
    with np.load(path, allow_pickle=False) as f:
        about = json.loads(str(f["about"]))
        layers = range(sum(name.startswith("weight") for name in f.files))
        network = Network([f[f"weight{k}"] for k in layers], [f[f"offset{k}"] for k in layers])
    return Learnt(
        network=network,
        questions=Questions(
            numbers=tuple(map(tuple, about["numbers"])),
            words=tuple((tuple(key), tuple(known)) for key, known in about["words"]),
        ),
        causes=tuple(about["causes"]),
        hands=about["hands"],
        course=tuple((int(r), float(a), float(b)) for r, a, b in about["course"]),
    )


def learn(design: Design, drawn: Hands, development: Sequence[Hand], rounds: int) -> Iterator[Learnt]:
    """What is learnt so far, every few rounds."""
    rng = np.random.default_rng(SEED)
    causes = (*map(str, all_faults(design)), FAULTLESS)
    back = Hands(faults=drawn.faults[:KEPT_BACK], table={k: v[:KEPT_BACK] for k, v in drawn.table.items()})
    rest = {k: v[KEPT_BACK:] for k, v in drawn.table.items()}
    y = wanted(causes, drawn.faults[KEPT_BACK:])
    kept_back = Crowd(design, back.table, rng).answers()
    questions = Questions.of(kept_back)
    x_back, x_known = as_numbers(kept_back), as_numbers(questions.written(development))
    network = Network.fresh(x_back.shape[1], len(causes), rng)
    batches = len(y) // BATCH
    course: list[tuple[int, float, float]] = []
    for number in range(rounds):
        x, order = as_numbers(Crowd(design, rest, rng).answers()), rng.permutation(len(y))
        for k in range(batches):
            some, step = order[k * BATCH : (k + 1) * BATCH], number * batches + k
            slower = 0.5 * (1.0 + np.cos(np.pi * step / (rounds * batches)))
            network.learn(x[some], y[some], FASTEST * min(1.0, (step + 1) / WARM_STEPS) * slower)
        if number % LOOK_EVERY == LOOK_EVERY - 1 or number == rounds - 1:
            course.append(
                (
                    number + 1,
                    log_score(network.there(x_back), back.faults, causes),
                    log_score(network.there(x_known), [names(h) for h in development], causes),
                )
            )
            yield Learnt(
                network=network, questions=questions, causes=causes, hands=len(y), course=tuple(course)
            )


def slices(design: Design, mismatch: Mismatch, folder: Path, count: int) -> Hands:
    """Drawn hands, kept in files: what is there is not drawn again."""
    folder.mkdir(parents=True, exist_ok=True)
    found = []
    for k in range(count):
        path = folder / f"slice-{k:03d}.npz"
        if not path.exists():
            made = drawn_hands(design, mismatch, SEED, range(SLICE * k, SLICE * (k + 1)))
            beside = folder / "unfinished.npz"
            np.savez(beside, faults=np.array(["+".join(f) for f in made.faults]), **made.table)
            beside.rename(path)
            print(f"{path.name}: {len(made.faults)} hands", flush=True)
        with np.load(path, allow_pickle=False) as f:
            faults = [tuple(x.split("+")) if x else () for x in f["faults"].tolist()]
            found.append(Hands(faults=faults, table={q: f[q] for q in f.files if q != "faults"}))
    return joined(found)


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("folder", type=Path, help="where drawn hands and what was learnt are kept")
    parser.add_argument(
        "--development", type=Path, required=True, help="folder with hands that may be looked at"
    )
    parser.add_argument("--slices", type=int, default=10, help=f"of {SLICE} hands")
    parser.add_argument("--rounds", type=int, default=36, help="that every hand is answered anew")
    asked = parser.parse_args()
    design = load_design("linden")
    lines = [h for path in sorted(asked.development.glob("hands-*.jsonl")) for h in read_hands(path)]
    known = [h for h in lines if "truth" in h]
    drawn = slices(design, Mismatch(design, known), asked.folder, asked.slices)
    for learnt in learn(design, drawn, known, asked.rounds):
        learnt.keep(asked.folder / "learnt.npz")
        number, drawn_score, known_score = learnt.course[-1]
        print(
            f"round {number}: log score {drawn_score:.3f} of drawn hands, {known_score:.3f} of development hands",
            flush=True,
        )


if __name__ == "__main__":
    main()
