"""What a volunteer writes down about one faulty hand, and whether the hand conforms.

Truth goes in, an answer to every question comes out: numbers with a person's errors and roundings, words by
thresholds that differ from person to person, slips, things overlooked. Which of them are then handed in is
decided last, so that a study can also ask for the others.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from faulty_builds import Recipe
from faulty_motion import Worked
from faulty_ranges import draw, ranges

SCREWS = ("thumb-side", "little-side")


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """One answer. `given`: whether it is among those that the volunteer handed in."""

    of: str
    place: str = ""
    value: float | None = None
    unit: str = ""
    method: str = ""
    answer: str = ""
    given: bool = True


class Volunteer:
    """One person with one set of instruments, eyes and habits."""

    def __init__(self, recipe: Recipe, truth: Worked, sound: Worked, rng: np.random.Generator) -> None:
        self.recipe, self.truth, self.sound, self.rng = recipe, truth, sound, rng
        self.digits = [d.name for d in recipe.design.digits]
        self.fingers = [d for d in self.digits if d != "thumb"]
        self.read, self.judge = ranges()["reading"], ranges()["judgement"]
        careless = rng.random() < self.judge["careless_share"]
        self.slip_rate = self.judge["slip_rate"] * (self.judge["careless_ratio"] if careless else 1.0)
        self.photo = rng.random() < self.read["photo_share"]
        self.caliper = rng.random() < self.read["caliper_share"]
        # A person's own bias, one for each way of reading, and a person's own idea of where yes ends.
        self.bias = {k: v["person_sd"] * rng.standard_normal() for k, v in self.read.items() if _is_way(v)}
        self.cut = {
            k: v["at"] + v["sd"] * rng.standard_normal() for k, v in self.judge.items() if isinstance(v, dict)
        }

    def record(self) -> list[Said]:
        said = [*self._numbers(), *self._words(), *self._looks()]
        missing = ranges()["missing"]
        share = 1.0
        if self.rng.random() >= missing["complete_share"]:
            share = draw(missing["answered_ratio"], self.rng)
        kept = {of: self.rng.random() < share for of in dict.fromkeys(s.of for s in said)}
        return [replace(s, given=bool(kept[s.of])) for s in said]

    # --- numbers

    def _number(self, of: str, true: float, way: str, unit: str, gross: str, place: str = "") -> Said:
        how = self.read[way]
        value = true + self.bias[way] + how["sd"] * self.rng.standard_normal()
        if self.rng.random() < self.read["gross_error_rate"]:
            value += self.read["gross_error_sd"][gross] * self.rng.standard_normal()
        value = round(round(value / how["round"]) * how["round"], 3)
        method = {"photo": "photo", "protractor": "protractor", "caliper": "caliper", "ruler": "ruler"}
        named = next((m for k, m in method.items() if k in way), "")
        return Said(of=of, place=place, value=float(value), unit=unit, method=named)

    def _numbers(self) -> Iterator[Said]:
        t, r = self.truth, self.recipe
        angle = "angle_photo" if self.photo else "angle_protractor"
        depth = "caliper" if self.caliper else "ruler"
        yield self._number("worked-rest-angle", t.worked_deg, angle, "deg", "angle_deg")
        yield self._number("lowered-rest-angle", t.lowered_deg, angle, "deg", "angle_deg")
        tilt = "tilt_photo" if self.photo else "tilt_look"
        yield self._number("whippletree-level", t.tilt_deg, tilt, "deg", "angle_deg")
        yield self._number("thumb-tip-bend", t.thumb_tip_bend_deg, "bend_protractor", "deg", "angle_deg")
        yield self._number(
            "thumb-starts-with-fingers", self.thumb_lead_deg(), "start_look", "deg", "angle_deg"
        )
        slide, pin = float(r.build.tension_slide_mm[0]), float(r.build.thumb_pin_mm[0])
        yield self._number("whippletree-flush", slide, depth, "mm", "length_mm")
        yield self._number("thumb-pin-in-line", pin, depth, "mm", "length_mm")
        for side, turned in zip(SCREWS, r.turns, strict=True):
            counted = self._number(f"tension-screw-{side}", turned, "turns", "turn", "turns")
            yield replace(counted, value=max(counted.value or 0.0, 0.0))
        for k, finger in enumerate(("index", "middle")):
            gap = self._number("tip-gap", float(t.gap_mm[k]), "gap_ruler", "mm", "length_mm", finger)
            yield Said(
                of=gap.of, place=gap.place, value=max(gap.value or 0.0, 0.0), unit="mm", method="ruler"
            )
        for of, segment in (("part-size", "proximal"), ("tip-size", "tip")):
            for d in self.digits:
                yield self._number(of, self.percent(d, segment), "percent_caliper", "percent", "percent", d)

    def thumb_lead_deg(self) -> float:
        """How much earlier than the first finger the thumb starts."""
        start = dict(zip(self.digits, self.truth.start_deg, strict=True))
        return float(start["thumb"] - max(start[f] for f in self.fingers))

    def percent(self, digit: str, segment: str) -> float:
        """Pin to pin (or pin to end) of the part that sits there, against what belongs there."""
        r = self.recipe
        ratio = r.part_percent.get(f"{digit}_{segment}", 100.0)
        if segment == "proximal" and digit in r.wrong_proximal:
            ratio *= _pin_to_pin(r, digit) / _pin_to_pin(r, digit, drawn=True)
        if segment == "tip" and digit in r.wrong_tip:
            ratio *= _tip_reach(r, digit) / _tip_reach(r, digit, drawn=True)
        return ratio

    # --- words

    def _word(self, of: str, true: str, answers: tuple[str, ...], place: str = "") -> Said:
        """The answer that belongs to what was seen, but for a slip."""
        if self.rng.random() < self.slip_rate:
            true = str(self.rng.choice([a for a in answers if a != true]))
        return Said(of=of, place=place, answer=true)

    def _yes_no(self, of: str, yes: bool, place: str = "") -> Said:
        return self._word(of, "yes" if yes else "no", ("yes", "no"), place)

    def _words(self) -> Iterator[Said]:
        t, cut = self.truth, self.cut
        at = {d: k for k, d in enumerate(self.digits)}
        slack = self.slack_mm()
        for d in self.fingers:
            word = "slack" if slack[d] > cut["slack_leg_mm"] else "taut"
            yield self._word("finger-cords-taut", word, ("taut", "slack"), d)
        word = "slack" if slack["thumb"] > cut["slack_leg_mm"] else "taut"
        yield self._word("thumb-cord-press", word, ("taut", "slack"))
        for d in self.digits:
            yield self._yes_no("digits-straight", t.bend_at_rest_deg[at[d]] <= cut["bent_at_rest_deg"], d)
        for d in self.fingers:
            others = float(np.median([t.start_deg[at[f]] for f in self.fingers if f != d]))
            ahead = float(t.start_deg[at[d]]) - others
            apart = cut["starts_apart_deg"]
            word = "early" if ahead > apart else "late" if ahead < -apart else "with"
            yield self._word("starts", word, ("late", "with", "early"), d)
        for d in self.digits:
            yield self._word("reach", self._reach(at[d]), ("hardly", "short", "full"), d)
        for d in self.fingers:
            yield self._yes_no("fingers-move-together", t.lag_deg[at[d]] <= cut["lag_deg"], d)
        yield self._word("thumb-meets-finger", self.meets(), ("index", "middle", "both", "neither"))
        for d in self.digits:
            for j, joint in enumerate(("knuckle", "tip")):
                word = self._springs_back(at[d], j)
                yield self._word("springs-back", word, ("stays", "slow", "returns"), f"{d}.{joint}")
        for d in self.digits:
            ratio = float(t.pull_ratio[at[d]])
            word = "jammed" if ratio > cut["pull_jammed_ratio"] else "smooth"
            word = "sticky" if word == "smooth" and ratio > cut["pull_heavy_ratio"] else word
            yield self._word("cord-pull", word, ("smooth", "sticky", "jammed"), d)
        for d in self.digits:
            yield self._yes_no("reopens-fully", t.left_bent_deg[at[d]] <= cut["not_reopened_deg"], d)
        yield self._yes_no("whippletree-rocks-strung", self.bar_nmm() <= cut["bar_rocks_nmm"])
        yield self._yes_no("cuff-drops-freely", self.wrist_nmm() <= cut["falls_freely_nmm"])
        yield self._yes_no("smooth-travel", not self.rough())

    def slack_mm(self) -> dict[str, float]:
        """In each digit's leg at the worked rest."""
        cords = self.recipe.design.cords
        return {
            leg.digit: float(s) for c, s in zip(cords, self.truth.leg_slack_mm, strict=True) for leg in c.legs
        }

    def _reach(self, g: int) -> str:
        bend, good = float(self.truth.reach_deg[g]), float(self.sound.reach_deg[g])
        if bend < self.cut["hardly_ratio"] * good:
            return "hardly"
        return "short" if bend < good - self.cut["not_reaching_deg"] else "full"

    def meets(self) -> str:
        index, middle = (bool(g <= self.cut["pads_meet_mm"]) for g in self.truth.gap_mm)
        if index and middle:
            return "both"
        return "index" if index else "middle" if middle else "neither"

    def _springs_back(self, g: int, j: int) -> str:
        if self.truth.stays_deg[g, j] > self.cut["stays_bent_deg"]:
            return "stays"
        late = self.truth.return_s[g, j] / self.sound.return_s[g, j]
        return "slow" if late > self.cut["returns_late_ratio"] else "returns"

    def bar_nmm(self) -> float:
        return 1e3 if self.recipe.jam_deg is not None else float(self.recipe.build.bar_friction_nmm[0])

    def wrist_nmm(self) -> float:
        """Wrist friction, as a cuff of ordinary weight would feel it."""
        return float(self.recipe.build.wrist_friction_nmm[0] / self.recipe.build.cuff_mass_ratio[0])

    def rough(self) -> bool:
        return bool(
            self.truth.pull_ratio.max() > self.cut["pull_heavy_ratio"]
            or self.recipe.build.wrist_friction_nmm[0] > self.cut["rough_wrist_nmm"]
            or self.bar_nmm() > self.cut["bar_rocks_nmm"]
        )

    # --- looks

    def _look(self, of: str, fine: bool, place: str = "", words: tuple[str, str] = ("yes", "no")) -> Said:
        """Seen or overlooked; what is fine is now and then thought not to be. Then a slip, as ever."""
        seen = fine
        if not fine and self.rng.random() < self.judge["overlook_rate"]:
            seen = True
        if fine and self.rng.random() < self.judge["imagine_rate"]:
            seen = False
        return self._word(of, words[0] if seen else words[1], words, place)

    def _looks(self) -> Iterator[Said]:
        r, cut = self.recipe, self.cut
        for d in self.digits:
            yield self._look("cord-through-hole", d not in r.in_gap, d)
        for d in self.digits:  # the printed edge of the gap, or a burr at a channel's mouth
            sharp = d in r.in_gap or (r.leg_mu_ratio[d] > 2.5 and self.rng.random() < 0.4)
            yield self._look("no-saw-edge", not sharp, d)
        for d in self.fingers:
            own = ("short", "long") if self._short(d) else ("long", "short")
            yield self._look("tip-looks", d not in r.wrong_tip, d, own)
        yield self._look("short-tips-index-little", not {"index", "little"} & r.wrong_tip)
        yield self._look("long-tips-middle-ring", not {"middle", "ring"} & r.wrong_tip)
        for d in self.digits:
            own = ("wide", "narrow") if d == "thumb" else ("narrow", "wide")
            yield self._look("proximal-looks", d not in r.wrong_proximal, d, own)
        yield self._look("thumb-proximal-on-thumb", "thumb" not in r.wrong_proximal)
        for d in self.digits:
            yield self._look("elastics-there", d not in r.elastic_gone, d)
        pull = self.elastic_pull()
        for d in self.digits:
            low = cut["elastic_feels_ratio"]
            yield self._yes_no("elastics-even", low <= pull[d] <= 1.0 / low, d)
        yield self._yes_no("tension-screws-even", abs(r.turns[0] - r.turns[1]) <= cut["uneven_screws_turn"])
        for side in SCREWS:
            yield self._look("screw-bites", side not in r.spins, side)
        knots = (*self.digits, "thumb-pin")
        for of in ("knots-tied-tight", "tails-left-long"):
            for knot in knots:
                yield self._look(of, r.slipped_mm.get(knot, 0.0) <= cut["tail_gone_mm"], knot)
        askew = max(abs(x) for x in r.askew_deg) > cut["askew_deg"]
        for of in ("cuff-symmetric", "cuff-even"):
            yield self._look(of, not askew)

    def _short(self, digit: str) -> bool:
        reach = {d: _tip_reach(self.recipe, d, drawn=True) for d in self.fingers}
        return reach[digit] < 0.5 * (min(reach.values()) + max(reach.values()))

    def elastic_pull(self) -> dict[str, float]:
        """Of each digit's elastic, straight, against the middle one of the hand."""
        b = self.recipe.build
        pull = b.elastic_stiffness_ratio[0] * b.elastic_pretension_ratio[0]
        return dict(zip(self.digits, pull / np.median(pull), strict=True))


def _is_way(v: object) -> bool:
    return isinstance(v, dict) and "person_sd" in v


def _pin_to_pin(r: Recipe, digit: str, *, drawn: bool = False) -> float:
    design = r.drawn if drawn else r.design
    own = next(d for d in design.digits if d.name == digit)
    a, b = design.hinge(own.proximal_hinge).origin_mm, design.hinge(own.tip_hinge).origin_mm
    return float(np.linalg.norm(np.subtract(a, b)))


def _tip_reach(r: Recipe, digit: str, *, drawn: bool = False) -> float:
    design = r.drawn if drawn else r.design
    own = next(d for d in design.digits if d.name == digit)
    pad = next(p for p in design.pads if p.digit == digit and p.segment == "tip")
    return (
        float(np.linalg.norm(np.subtract(pad.centre_mm, design.hinge(own.tip_hinge).origin_mm)))
        + pad.radius_mm
    )


def failures(recipe: Recipe, truth: Worked, sound: Worked) -> list[str]:
    """Characteristics of the protocol that this hand really fails, read without any error."""
    exact = Volunteer(recipe, truth, sound, np.random.default_rng(0))
    exact.cut = {k: v["at"] for k, v in exact.judge.items() if isinstance(v, dict)}
    cut, r, t = exact.cut, recipe, truth
    digits = exact.digits
    slack = exact.slack_mm()
    pull = exact.elastic_pull()
    low = cut["elastic_feels_ratio"]
    hinge = r.build.hinge_friction_nmm[0]
    found = {
        "worked-rest-angle": t.worked_deg < 30.0,
        "whippletree-level": abs(t.tilt_deg) > 5.0,
        "thumb-tip-bend": t.thumb_tip_bend_deg > 12.0,
        "thumb-starts-with-fingers": abs(exact.thumb_lead_deg()) > 5.0,
        "whippletree-flush": not -1.5 <= r.build.tension_slide_mm[0] <= 4.0,
        "thumb-pin-in-line": abs(r.build.thumb_pin_mm[0]) > 3.5,
        "tension-screws": max(r.turns) > 6.0,
        "tension-screws-even": abs(r.turns[0] - r.turns[1]) > cut["uneven_screws_turn"],
        "tension-screws-run": bool(r.spins),
        "finger-cords-taut": max(slack[f] for f in exact.fingers) > cut["slack_leg_mm"],
        "digits-straight": t.bend_at_rest_deg.max() > cut["bent_at_rest_deg"],
        "fingers-move-together": np.nanmax(t.lag_deg) > cut["lag_deg"],
        "thumb-meets-finger": exact.meets() == "neither",
        "reopens-fully": t.left_bent_deg.max() > cut["not_reopened_deg"],
        "hinges-free": hinge.max() > cut["hinge_falls_nmm"],
        "whippletree-rocks-strung": exact.bar_nmm() > cut["bar_rocks_nmm"],
        "cuff-drops-freely": exact.wrist_nmm() > cut["falls_freely_nmm"],
        "smooth-travel": exact.rough(),
        "cord-through-hole": bool(r.in_gap),
        "right-parts": bool(r.wrong_tip or r.wrong_proximal),
        "elastics": any(not low <= pull[d] <= 1.0 / low for d in digits) or bool(r.elastic_gone),
        "knots": any(s > cut["tail_gone_mm"] for s in r.slipped_mm.values()),
        "cuff-even": max(abs(x) for x in r.askew_deg) > cut["askew_deg"],
        "scale-as-ordered": any(abs(p - 100.0) > 2.0 for p in r.part_percent.values()),
    }
    return [name for name, bad in found.items() if bad]
