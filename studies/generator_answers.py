"""What the independent generator's volunteers say of many hands at once.

The observation model of `tests/independent/faulty_readings.py`, all hands in one go: the same errors, thresholds,
slips, careless people and missing answers, from the same file of ranges. A test holds the two together.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from faulty_hand import sound_hand
from faulty_ranges import ranges
from generator_hands import KNOTS, SCREWS, Table
from numpy.typing import NDArray

from handsel.design.model import Design

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Key = tuple[str, str]  # observable, place


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Answers:
    """n volunteers' records: every number and word, whether handed in or not; given : by observable (n,) bool."""

    numbers: dict[Key, Floats]
    words: dict[Key, tuple[tuple[str, ...], NDArray[np.int8]]]  # vocabulary, index into it
    given: dict[str, Bools]
    photo: Bools
    caliper: Bools


class Crowd:
    """One volunteer for each of n hands."""

    def __init__(self, design: Design, t: Table, rng: np.random.Generator) -> None:
        self.t, self.rng, self.sound = t, rng, sound_hand(design)
        self.digits = [g.name for g in design.digits]
        self.fingers = [g for g in self.digits if g != "thumb"]
        self.n = len(t["worked"])
        self.read, self.judge = ranges()["reading"], ranges()["judgement"]
        j, n = self.judge, self.n
        careless = rng.random(n) < j["careless_share"]
        self.slip = j["slip_rate"] * np.where(careless, j["careless_ratio"], 1.0)
        self.photo, self.caliper = (
            rng.random(n) < self.read["photo_share"],
            rng.random(n) < self.read["caliper_share"],
        )
        self.bias = {
            k: v["person_sd"] * rng.standard_normal(n)
            for k, v in self.read.items()
            if isinstance(v, dict) and "person_sd" in v
        }
        self.cut = {
            k: v["at"] + v["sd"] * rng.standard_normal(n) for k, v in j.items() if isinstance(v, dict)
        }

    def answers(self) -> Answers:
        numbers = dict(self._numbers())
        words = {(of, place): (known, said) for of, place, known, said in (*self._words(), *self._looks())}
        asked = dict.fromkeys(of for of, _ in (*numbers, *words))
        missing = ranges()["missing"]
        low, high = missing["answered_ratio"]["even"]
        share = np.where(
            self.rng.random(self.n) < missing["complete_share"], 1.0, self.rng.uniform(low, high, self.n)
        )
        given = {of: self.rng.random(self.n) < share for of in asked}
        return Answers(numbers=numbers, words=words, given=given, photo=self.photo, caliper=self.caliper)

    # --- numbers

    def _number(self, true: Floats, ways: Sequence[str], first: Bools, gross: str) -> Floats:
        """Read in the first way where `first` says so, else in the last."""
        out = np.empty(self.n)
        for way, mine in ((ways[0], first), (ways[-1], ~first)):
            how = self.read[way]
            value = true + self.bias[way] + how["sd"] * self.rng.standard_normal(self.n)
            far = self.rng.random(self.n) < self.read["gross_error_rate"]
            value += np.where(far, self.read["gross_error_sd"][gross] * self.rng.standard_normal(self.n), 0.0)
            out[mine] = (np.round(value / how["round"]) * how["round"])[mine]
        return out

    def _numbers(self) -> Iterator[tuple[Key, Floats]]:
        t, everyone = self.t, np.ones(self.n, dtype=bool)
        angle, depth = ("angle_photo", "angle_protractor"), ("caliper", "ruler")
        for of, true, ways, first, gross in (
            ("worked-rest-angle", "worked", angle, self.photo, "angle_deg"),
            ("lowered-rest-angle", "lowered", angle, self.photo, "angle_deg"),
            ("whippletree-level", "tilt", ("tilt_photo", "tilt_look"), self.photo, "angle_deg"),
            ("thumb-tip-bend", "tip_bend", ("bend_protractor",), everyone, "angle_deg"),
            ("thumb-starts-with-fingers", "lead", ("start_look",), everyone, "angle_deg"),
            ("whippletree-flush", "slide", depth, self.caliper, "length_mm"),
            ("thumb-pin-in-line", "pin", depth, self.caliper, "length_mm"),
        ):
            yield (of, ""), self._number(t[true][:, 0], ways, first, gross)
        for k, side in enumerate(SCREWS):
            counted = self._number(t["turns"][:, k], ("turns",), everyone, "turns")
            yield (f"tension-screw-{side}", ""), np.maximum(counted, 0.0)
        for k, finger in enumerate(("index", "middle")):
            gap = self._number(t["gap"][:, k], ("gap_ruler",), everyone, "length_mm")
            yield ("tip-gap", finger), np.maximum(gap, 0.0)
        for of, part in (("part-size", "proximal"), ("tip-size", "tip")):
            for k, d in enumerate(self.digits):
                yield (of, d), self._number(t[part][:, k], ("percent_caliper",), everyone, "percent")

    # --- words

    def _word(self, of: str, place: str, known: tuple[str, ...], true: NDArray[np.intp]):
        """The answer that belongs to what was seen, but for a slip to any of the others."""
        slips = self.rng.random(self.n) < self.slip
        other = (true + self.rng.integers(1, len(known), self.n)) % len(known)
        return of, place, known, np.where(slips, other, true).astype(np.int8)

    def _yes_no(self, of: str, place: str, yes: Bools):
        return self._word(of, place, ("yes", "no"), np.where(yes, 0, 1))

    def _words(self):
        t, cut, at = self.t, self.cut, {d: k for k, d in enumerate(self.digits)}
        for d in self.fingers:
            yield self._word(
                "finger-cords-taut", d, ("taut", "slack"), 1 * (t["slack"][:, at[d]] > cut["slack_leg_mm"])
            )
        yield self._word(
            "thumb-cord-press", "", ("taut", "slack"), 1 * (t["slack"][:, at["thumb"]] > cut["slack_leg_mm"])
        )
        for d in self.digits:
            yield self._yes_no("digits-straight", d, t["bend"][:, at[d]] <= cut["bent_at_rest_deg"])
        for k, d in enumerate(self.fingers):
            ahead, apart = t["ahead"][:, k], cut["starts_apart_deg"]
            yield self._word(
                "starts",
                d,
                ("late", "with", "early"),
                np.where(ahead > apart, 2, np.where(ahead < -apart, 0, 1)),
            )
        for d in self.digits:
            bend, good = t["reach"][:, at[d]], float(self.sound.reach_deg[at[d]])
            short = np.where(bend < good - cut["not_reaching_deg"], 1, 2)
            yield self._word(
                "reach", d, ("hardly", "short", "full"), np.where(bend < cut["hardly_ratio"] * good, 0, short)
            )
        for k, d in enumerate(self.fingers):
            yield self._yes_no("fingers-move-together", d, t["lag"][:, k] <= cut["lag_deg"])
        index, middle = (t["gap"][:, k] <= cut["pads_meet_mm"] for k in (0, 1))
        met = np.where(index & middle, 2, np.where(index, 0, np.where(middle, 1, 3)))
        yield self._word("thumb-meets-finger", "", ("index", "middle", "both", "neither"), met)
        for d in self.digits:
            for j, joint in enumerate(("knuckle", "tip")):
                late = (
                    t["return_s"][:, 2 * at[d] + j] / self.sound.return_s[at[d], j]
                    > cut["returns_late_ratio"]
                )
                stays = t["stays"][:, 2 * at[d] + j] > cut["stays_bent_deg"]
                yield self._word(
                    "springs-back",
                    f"{d}.{joint}",
                    ("stays", "slow", "returns"),
                    np.where(stays, 0, np.where(late, 1, 2)),
                )
        ratio = np.exp2(t["pull_log2"])
        for d in self.digits:
            r = ratio[:, at[d]]
            sticky = np.where(r > cut["pull_heavy_ratio"], 1, 0)
            yield self._word(
                "cord-pull",
                d,
                ("smooth", "sticky", "jammed"),
                np.where(r > cut["pull_jammed_ratio"], 2, sticky),
            )
        for d in self.digits:
            yield self._yes_no("reopens-fully", d, t["left"][:, at[d]] <= cut["not_reopened_deg"])
        stuck = t["bar"][:, 0] > cut["bar_rocks_nmm"]
        yield self._yes_no("whippletree-rocks-strung", "", ~stuck)
        yield self._yes_no("cuff-drops-freely", "", t["wrist"][:, 0] <= cut["falls_freely_nmm"])
        rough = (
            (ratio.max(1) > cut["pull_heavy_ratio"])
            | (t["wrist_rough"][:, 0] > cut["rough_wrist_nmm"])
            | stuck
        )
        yield self._yes_no("smooth-travel", "", ~rough)

    # --- looks

    def _look(self, of: str, place: str, fine: Bools, words: tuple[str, str] = ("yes", "no")):
        overlooked = self.rng.random(self.n) < self.judge["overlook_rate"]
        imagined = self.rng.random(self.n) < self.judge["imagine_rate"]
        return self._word(of, place, words, np.where(np.where(fine, ~imagined, overlooked), 0, 1))

    def _looks(self):
        t, cut, f = self.t, self.cut, self.fingers
        yes = {k: t[k] > 0.5 for k in ("in_gap", "sharp", "wrong_tip", "wrong_proximal", "gone", "spins")}
        for k, d in enumerate(self.digits):
            yield self._look("cord-through-hole", d, ~yes["in_gap"][:, k])
        for k, d in enumerate(self.digits):
            sharp = yes["in_gap"][:, k] | (yes["sharp"][:, k] & (self.rng.random(self.n) < 0.4))
            yield self._look("no-saw-edge", d, ~sharp)
        for k, d in enumerate(f):
            own = ("short", "long") if d in ("index", "little") else ("long", "short")
            yield self._look("tip-looks", d, ~yes["wrong_tip"][:, k], own)
        wrong = {d: yes["wrong_tip"][:, k] for k, d in enumerate(f)}
        yield self._look("short-tips-index-little", "", ~(wrong["index"] | wrong["little"]))
        yield self._look("long-tips-middle-ring", "", ~(wrong["middle"] | wrong["ring"]))
        for k, d in enumerate(self.digits):
            own = ("wide", "narrow") if d == "thumb" else ("narrow", "wide")
            yield self._look("proximal-looks", d, ~yes["wrong_proximal"][:, k], own)
        yield self._look("thumb-proximal-on-thumb", "", ~yes["wrong_proximal"][:, self.digits.index("thumb")])
        for k, d in enumerate(self.digits):
            yield self._look("elastics-there", d, ~yes["gone"][:, k])
        low = cut["elastic_feels_ratio"]
        for k, d in enumerate(self.digits):
            pull = t["elastic"][:, k]
            yield self._yes_no("elastics-even", d, (low <= pull) & (pull <= 1.0 / low))
        apart = np.abs(t["turns"][:, 0] - t["turns"][:, 1])
        yield self._yes_no("tension-screws-even", "", apart <= cut["uneven_screws_turn"])
        for k, side in enumerate(SCREWS):
            yield self._look("screw-bites", side, ~yes["spins"][:, k])
        for of in ("knots-tied-tight", "tails-left-long"):
            for k, knot in enumerate(KNOTS):
                yield self._look(of, knot, t["slipped"][:, k] <= cut["tail_gone_mm"])
        for of in ("cuff-symmetric", "cuff-even"):
            yield self._look(of, "", t["askew"][:, 0] <= cut["askew_deg"])
