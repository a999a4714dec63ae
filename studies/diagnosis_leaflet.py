"""How well causes are named without thinking: by a list of symptoms and what they may mean, as on a leaflet."""

from __future__ import annotations

from typing import Any

from diagnosis_hands import Hand, answers, named
from diagnosis_scores import FAULTLESS

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
