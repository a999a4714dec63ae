"""How well the same observations could be read at best, and how well without thinking.

A ceiling knows what no diagnosis can know: the generator. `by_likelihood` weighs every other generated hand by the
probability that the volunteer's answers would have been given of it, under the generator's own reading errors,
slips and thresholds; with some tens of hands of a cause that is a coarse sample of its severities, so the weights
are flattened by one exponent, chosen by the log score. `diagnosis_rates` and `diagnosis_learning` are two other
ways from the same hands, which share what they know between the places of a kind. The best of them counts, and
even that stands below what someone could say who had the generator's hands without end.

`SymptomTable` is the other end: a list of symptoms and what they may mean, as on a leaflet.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from diagnosis_scores import FAULTLESS, LEAST_P
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "independent"))

from faulty_ranges import ranges

Floats = NDArray[np.float64]
Hand = dict[str, Any]
FLATTENED = (0.15, 0.3, 0.5, 0.75, 1.0)


def names(hand: Hand) -> tuple[str, ...]:
    return tuple(named(f["kind"], f["place"]) for f in hand["faults"])


def named(kind: str, place: str) -> str:
    """A cause as the diagnosis writes it."""
    return f"{kind}@{place}" if place else kind


def answers(hand: Hand, *, all_of_them: bool = False) -> list[dict[str, Any]]:
    return [o for o in hand["observations"] if all_of_them or o["given"]]


def key(o: dict[str, Any]) -> str:
    return f"{o['of']}@{o.get('place', '')}"


# --- the generator's own likelihood


def _ways() -> dict[str, tuple[str, ...]]:
    """Which ways of reading a number can be read in, by observable; the recorded method tells which it was."""
    angle, depth = ("angle_photo", "angle_protractor"), ("caliper", "ruler")
    return {
        "worked-rest-angle": angle,
        "lowered-rest-angle": angle,
        "whippletree-level": ("tilt_photo", "tilt_look"),
        "thumb-tip-bend": ("bend_protractor",),
        "thumb-starts-with-fingers": ("start_look",),
        "whippletree-flush": depth,
        "thumb-pin-in-line": depth,
        "tension-screw-thumb-side": ("turns",),
        "tension-screw-little-side": ("turns",),
        "tip-gap": ("gap_ruler",),
        "part-size": ("percent_caliper",),
        "tip-size": ("percent_caliper",),
    }


GROSS = {"deg": "angle_deg", "mm": "length_mm", "turn": "turns", "percent": "percent"}


def _errors(o: dict[str, Any]) -> tuple[float, float]:
    """Standard deviation of a reading, ordinary and gross."""
    reading = ranges()["reading"]
    ways = _ways()[o["of"]]
    way = next((w for w in ways if o.get("method") and o["method"] in w), ways[-1])
    how = reading[way]
    sd = float(np.sqrt(how["sd"] ** 2 + how["person_sd"] ** 2 + how["round"] ** 2 / 12))
    return sd, float(np.hypot(sd, reading["gross_error_sd"][GROSS[o["unit"]]]))


def _normal(x: float, at: Floats, sd: float) -> Floats:
    return np.asarray(np.exp(-0.5 * ((x - at) / sd) ** 2) / sd)


class Crowds:
    """What the generator's volunteers would say of every hand, as arrays over hands."""

    def __init__(self, hands: Sequence[Hand]) -> None:
        judge = ranges()["judgement"]
        usual = judge["slip_rate"] * (1 + judge["careless_share"] * (judge["careless_ratio"] - 1))
        self.slip = usual + 0.5 * judge["imagine_rate"]
        self.gross = ranges()["reading"]["gross_error_rate"]
        keys = hands[0]["crowd"]
        self.true = {
            k: np.array([h["crowd"][k]["true"] for h in hands]) for k, v in keys.items() if "true" in v
        }
        self.words: dict[str, dict[str, Floats]] = {}
        for k in keys:
            if k in self.true:
                continue
            vocabulary = {w for h in hands for w in h["crowd"][k]}
            vocabulary |= {o["answer"] for h in hands for o in h["observations"] if key(o) == k}
            slips = self.slip / max(len(vocabulary) - 1, 1)
            for w in vocabulary:
                said = np.array([h["crowd"][k].get(w, 0.0) for h in hands])
                self.words.setdefault(k, {})[w] = np.log((1 - self.slip) * said + slips * (1 - said))

    def log_likelihood(self, hand: Hand) -> Floats:
        """(hands,) of this hand's answers, had they been given of each of the others."""
        total = np.zeros(len(next(iter(self.true.values()))))
        for o in answers(hand):
            k = key(o)
            if k in self.true:
                sd, gross_sd = _errors(o)
                near = (1 - self.gross) * _normal(o["value"], self.true[k], sd)
                total += np.log(near + self.gross * _normal(o["value"], self.true[k], gross_sd) + 1e-12)
            else:
                total += self.words[k][o["answer"]]
        return total


def by_likelihood(hands: Sequence[Hand]) -> tuple[list[dict[str, float]], float]:
    """Probabilities of every fault for every hand, from all the other hands, and the exponent used."""
    crowds, faults = Crowds(hands), [names(h) or (FAULTLESS,) for h in hands]
    every = sorted({f for some in faults for f in some})
    column = {f: k for k, f in enumerate(every)}
    is_so = np.zeros((len(hands), len(every)))
    for i, some in enumerate(faults):
        is_so[i, [column[f] for f in some]] = 1.0
    # Every cause counts alike, however often it was drawn: its places share what its kind has.
    log_l = np.stack([crowds.log_likelihood(h) for h in hands])
    np.fill_diagonal(log_l, -np.inf)
    best: tuple[float, float, Floats] | None = None
    for flat in FLATTENED:
        w = np.exp(flat * (log_l - log_l.max(1, keepdims=True)))
        p = (w @ is_so) / w.sum(1, keepdims=True)
        score = float(
            np.mean([-np.log(max(p[i, column[some[0]]], LEAST_P)) for i, some in enumerate(faults)])
        )
        if best is None or score < best[0]:
            best = (score, flat, p)
    assert best is not None
    _, flat, p = best
    return [dict(zip(every, map(float, row), strict=True)) for row in p], flat


# --- a leaflet

# The protocol's words for what a failed check may mean, in the catalogue's kinds.
KIND_OF = {
    "finger-loop-long": "loop-long",
    "finger-loop-short": "loop-short",
    "tip-swapped": "tips-swapped",
    "part-swapped": "thumb-part-on-finger",
    "elastic-over-tight": "elastic-tight",
    "thumb-pin-out-of-line": "thumb-pin-off",
    "part-wrong-scale": "part-scale",
    "wrist-pin-tight": "wrist-tight",
}
# What the protocol does not ask: as anyone would list it.
ALSO = {
    "starts": ("loop-long", "loop-short", "hinge-tight", "elastic-tight", "channel-friction", "knot-slipped"),
    "reach": ("loop-long", "thumb-cord-long", "hinge-tight", "elastic-tight", "channel-friction"),
    "springs-back": ("hinge-tight", "elastic-weak", "elastic-missing"),
    "cord-pull": ("channel-friction", "hinge-tight", "cord-through-gap"),
    "tip-gap": ("thumb-cord-long", "tips-swapped", "thumb-part-on-finger"),
    "part-size": ("part-scale", "thumb-part-on-finger"),
    "tip-size": ("part-scale", "tips-swapped"),
}
FINE = {"yes", "taut", "with", "full", "returns", "smooth", "index", "middle", "both", "none"}
LIMITS = {
    "thumb-starts-with-fingers": (-5.0, 5.0),
    "whippletree-level": (-5.0, 5.0),
    "worked-rest-angle": (30.0, 45.0),
    "thumb-tip-bend": (-90.0, 12.0),
    "whippletree-flush": (-1.5, 4.0),
    "tension-screw-thumb-side": (0.0, 6.0),
    "tension-screw-little-side": (0.0, 6.0),
    "thumb-pin-in-line": (-3.5, 3.5),
    "tip-gap": (0.0, 5.0),
    "part-size": (98.0, 102.0),
    "tip-size": (98.0, 102.0),
}


class SymptomTable:
    """Prior times a fixed factor for every symptom seen that is listed for the cause, at its own place."""

    FACTOR = 6.0

    def __init__(self, catalogue: dict[str, Any], protocol: dict[str, Any]) -> None:
        self.listed: dict[str, set[str]] = {of: set(kinds) for of, kinds in ALSO.items()}
        for c in protocol["characteristic"]:
            some = {KIND_OF.get(f, f) for f in c.get("faults", [])}
            self.listed.setdefault(c["id"], set()).update(some)
        for fault in catalogue["fault"]:
            for shown in fault.get("shows", []):
                self.listed.setdefault(shown["of"], set()).add(fault["id"])
        self.usual = {
            (o["id"], place): words[0]
            for o in catalogue["observable"]
            for place, words in o.get("answers_at", {}).items()
        }
        self.prior = prior_of(catalogue)

    def said(self, hand: Hand) -> dict[str, float]:
        p = dict(self.prior)
        for o in answers(hand):
            if not self.symptom(o):
                continue
            for fault in p:
                kind, _, where = fault.partition("@")
                if kind in self.listed.get(o["of"], ()) and _same_place(where, o.get("place", "")):
                    p[fault] *= self.FACTOR
                elif fault == FAULTLESS:
                    p[fault] /= self.FACTOR
        total = sum(p.values())
        return {f: x / total for f, x in p.items()}

    def symptom(self, o: dict[str, Any]) -> bool:
        if "value" in o:
            low, high = LIMITS.get(o["of"], (-1e9, 1e9))
            return not low <= o["value"] <= high
        usual = self.usual.get((o["of"], o.get("place", "")))
        return bool(o["answer"] != usual) if usual else o["answer"] not in FINE


def _same_place(fault: str, seen: str) -> bool:
    if not fault or not seen:
        return True
    return bool(set(fault.replace(".", "-").split("-")) & set(seen.replace(".", "-").split("-")))


def prior_of(catalogue: dict[str, Any], faultless: float = 0.1) -> dict[str, float]:
    """The catalogue's priors over single causes and none."""
    every = {
        named(f["id"], place): f["prior"] / len(f.get("places", [""]))
        for f in catalogue["fault"]
        for place in f.get("places", [""])
    }
    total = sum(every.values())
    return {f: (1 - faultless) * p / total for f, p in every.items()} | {FAULTLESS: faultless}
