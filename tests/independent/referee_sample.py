"""Random hands for the comparison, frictionless: scale, cut lengths, elastics, slides, weight of the cuff."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from handsel.design.model import Design
from handsel.mechanics.build import Build, nominal_build

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
