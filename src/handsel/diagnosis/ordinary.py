"""Hands on paper before they are worked out: as ordinary ones differ, with nothing wrong yet."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from handsel.design.model import Design
from handsel.diagnosis.catalogue import Spread
from handsel.mechanics.build import nominal_build
from handsel.mechanics.draws import Draws
from handsel.mechanics.swift_cords import SwiftBuild

Floats = NDArray[np.float64]

LEAST_MU, LEAST_PRETENSION = 0.03, 0.02
SHARES = 4  # even numbers that each hand has for what its faults leave open


@dataclass(slots=True, kw_only=True, eq=False)
class Sheet:
    """Arrays of n hands while faults are put in: what is built, and what is counted and measured on it."""

    build: SwiftBuild
    screw_turns: Floats  # (n, 2) thumb side, little side, as counted
    size_percent: Floats  # (n, d) proximal part
    tip_percent: Floats  # (n, d)
    share: Floats  # (n, SHARES) even: which part of a digit it is, and the like


def ordinary_hands(design: Design, s: Spread, n: int, draws: Draws) -> Sheet:
    """n hands with nothing wrong, each a little different.

    Parameters: design, placed; s, how ordinary hands differ; n; draws.
    Returns: Sheet.
    Raises: nothing of its own.
    Valid for: one design and scale.
    Source: the catalogue's spread.    Checked by: unit/test_library.py
    """
    d, cords = len(design.digits), len(design.cords)
    b = nominal_build(design, n)
    mu = np.maximum(s.cord_friction_mean + s.cord_friction_sd * draws.normal(n), LEAST_MU)
    channel = np.maximum(mu[:, None] + s.channel_friction_sd * draws.normal(n, d), LEAST_MU)
    forward = draws.uniform(n) * 3.0  # one in three is not quite forward
    slide = np.where(forward < 1.0, forward * s.tension_slide_high_mm, 0.0)
    low, high = s.wrist_friction_low_nmm, s.wrist_friction_high_nmm
    follow = s.length_follows_route
    build = replace(
        b,
        excess_mm=s.cord_length_sd_mm * draws.normal(n, cords)
        + s.cord_length_common_sd_mm * draws.normal(n)[:, None],
        tension_slide_mm=slide,
        thumb_pin_mm=s.thumb_pin_sd_mm * draws.normal(n),
        friction_mu=channel,
        elastic_stiffness_ratio=np.exp(s.elastic_stiffness_sd_ratio * draws.normal(n, d)),
        elastic_pretension_ratio=np.maximum(
            b.elastic_pretension_ratio + s.elastic_pretension_sd_ratio * draws.normal(n, d), LEAST_PRETENSION
        ),
        wrist_friction_nmm=low + (high - low) * draws.uniform(n),
        hinge_friction_nmm=b.hinge_friction_nmm * s.hinge_friction_factor ** draws.normal(n, d, 2),
        cuff_mass_ratio=1.0 + s.cuff_mass_sd_ratio * draws.normal(n),
    )
    pitch = design.slide("tension").pitch_mm_per_turn or 1.0
    turns = slide[:, None] / pitch + np.where(slide > 0.0, s.screws_uneven_sd_turn, 0.0)[
        :, None
    ] * draws.normal(n, 2)
    return Sheet(
        build=SwiftBuild(
            build=build,
            variant=np.zeros((n, d), dtype=np.intp),
            follows_ratio=follow[0] + (follow[1] - follow[0]) * _one_or_other(draws.uniform(n, d)),
            eyelet_mu=mu,
            block_turn_deg=np.zeros(n),
            block_roll_deg=np.zeros(n),
            locked_tilt_deg=np.zeros(n),
            dragged_deg=between(s.starts_dragged_deg, draws.uniform(n)),
            meet_mm=between(s.pads_meet_mm, draws.uniform(n)),
            presliding_mm=between(s.presliding_mm, draws.uniform(n)),
        ),
        screw_turns=turns,
        size_percent=np.full((n, d), 100.0),
        tip_percent=np.full((n, d), 100.0),
        share=draws.uniform(n, SHARES),
    )


def between(ends: tuple[float, float], share: Floats) -> Floats:
    """Values at even shares of the way from one end to the other; as `share`.

    Parameters: ends; share, from 0 to 1.    Returns: values, in the ends' unit.
    """
    return np.asarray(ends[0] + (ends[1] - ends[0]) * share)


def _one_or_other(share: Floats) -> Floats:
    """Two in five cut their cords to the board, two in five tie them to what is there; the others are between."""
    return np.clip(2.5 * share - 0.75, 0.0, 1.0)
