"""Random hands for the comparison, frictionless: scale, cut lengths, elastics, slides, weight of the cuff."""

from __future__ import annotations

from dataclasses import replace
from math import cos, sin

import numpy as np
from referee import Hand, moment_arms
from referee_motion import rest_lowered

from handsel.design.model import Design
from handsel.mechanics.build import GRAVITY_N_PER_G, Build, nominal_build

EXCESS_MM = (-3.0, 6.0)  # cords are cut long more often than short
SLIDE_MM = {"tension": (0.0, 6.0), "thumb_pin": (-3.0, 4.0)}
ELASTIC_RATIO = (0.6, 1.4)
PRETENSION_RATIO = (0.3, 1.5)  # against the design's; the weakest bend under the weight of the cuff
CUFF_RATIO = (0.5, 2.0)


def referee_variations(design: Design, n: int, seed: int) -> list[tuple[float, Build]]:
    """n hands with random scale and random departures from the design.

    Parameters: design, at scale 1; n; seed.
    Returns: (scale_ratio, Build of one row) pairs, frictionless and without elastic loss.
    """
    random = np.random.default_rng(seed)
    found = []
    for _ in range(n):
        scale = float(random.uniform(design.scale_min_ratio, design.scale_max_ratio))
        plain = nominal_build(design, 1, frictionless=True)
        forward = random.uniform() < 0.4  # as common practice wants it
        build = replace(
            plain,
            excess_mm=random.uniform(*EXCESS_MM, plain.excess_mm.shape),
            tension_slide_mm=np.zeros(1) if forward else random.uniform(*SLIDE_MM["tension"], 1),
            thumb_pin_mm=random.uniform(*SLIDE_MM["thumb_pin"], 1),
            elastic_stiffness_ratio=random.uniform(*ELASTIC_RATIO, plain.elastic_stiffness_ratio.shape),
            elastic_pretension_ratio=plain.elastic_pretension_ratio
            * random.uniform(*PRETENSION_RATIO, plain.elastic_pretension_ratio.shape),
            cuff_mass_ratio=random.uniform(*CUFF_RATIO, 1),
        )
        found.append((scale, build))
    return found


def cuff_weight_nmm(design: Design, theta_rad: float) -> float:
    """Torque of all that rides on the wrist hinge, pulling the cuff down [N mm]: masses times arms."""
    riders = [design.body(name) for name in ("cuff", "whippletree", "thumb_pin")]
    return -sum(
        (b.printed_mass_g + b.hardware_mass_g)
        * GRAVITY_N_PER_G
        * (b.com_mm[0] * cos(theta_rad) + b.com_mm[2] * sin(theta_rad))
        for b in riders
    )


def two_rest_builds(design: Design) -> list[Build]:
    """Hands that may rest in two places: both loops long, the thumb cord short, soft elastics stretched far.

    Let down, the straight thumb carries the cuff; pressed and let up, the bent thumb, whose cord has a longer
    arm by then, cannot lift it that far again. For that the cuff has to weigh a little less than what makes a
    straight thumb yield, so its weight is chosen by the moment arms that the referee measures.
    """
    plain = nominal_build(design, 1, frictionless=True)
    thumb = [d.name for d in design.digits].index("thumb")
    cord = next(k for k, c in enumerate(design.cords) if c.legs[0].digit == "thumb")
    found = []
    for stiffness, pretension in ((0.2, 0.5), (0.3, 0.5), (0.4, 0.4)):
        soft = replace(
            plain,
            excess_mm=np.where([len(c.legs) == 2 for c in design.cords], 8.0, -2.0)[None, :],
            elastic_stiffness_ratio=np.full_like(plain.elastic_stiffness_ratio, stiffness),
            elastic_pretension_ratio=np.full_like(plain.elastic_pretension_ratio, pretension),
        )
        hand = Hand(design, soft)
        rest = rest_lowered(hand)
        cords, elastics = moment_arms(hand, rest.pose)
        joints = slice(2 + 2 * thumb, 4 + 2 * thumb)
        pull = design.elastics[thumb].axial_stiffness_n * stiffness * pretension
        sags_nmm = (
            hand.data.qfrc_bias[hand.phi[thumb]] * 1e3
        )  # the thumb's own weight, against flexion if positive
        yields_n = float(np.min((pull * elastics[thumb, joints] + sags_nmm) / -cords[cord, joints]))
        for share in (0.8, 0.9, 0.95):
            heavier = np.array([share * yields_n / float(rest.tension_n[cord])])
            found.append(replace(soft, cuff_mass_ratio=heavier))
    return found
