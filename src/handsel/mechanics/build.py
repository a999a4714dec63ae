"""How one physical hand, or a batch of them, differs from the design it was built to."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from handsel.design.model import Design

Floats = NDArray[np.float64]

# Stand-ins for things that hardly give: stiff enough not to matter, soft enough to solve.
STOP_STIFFNESS_NMM_PER_RAD = 1.0e5
CONTACT_STIFFNESS_N_PER_MM = 20.0
GRAVITY_N_PER_G = 9.80665e-3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Build:
    """Lengths, settings and friction of n hands of one design, one scale, one side.

    A cord's length is its path with the wrist at the design's target rest angle, digits straight,
    bar level and slides at zero, plus its excess.

    Shapes: n hands, c cords, d digits, all in the design's order.
    """

    excess_mm: Floats  # (n, c) cord too long: positive
    tension_slide_mm: Floats  # (n,)
    thumb_pin_mm: Floats  # (n,)
    friction_mu: Floats  # (n,) cord on guides, 0 for a frictionless hand; (n, d) where channels differ
    elastic_stiffness_ratio: Floats  # (n, d) against the design
    elastic_pretension_ratio: Floats  # (n, d) strain with the digit straight
    elastic_loss_ratio: Floats  # (n,)
    wrist_friction_nmm: Floats  # (n,)
    bar_friction_nmm: Floats  # (n,)
    hinge_friction_nmm: Floats  # (n, d, 2) proximal, tip
    cuff_mass_ratio: Floats  # (n,) against the design
    bar_locked: NDArray[np.bool_]  # (n,) whippletree jammed level

    def __len__(self) -> int:
        return len(self.excess_mm)

    def take(self, rows: NDArray[np.intp] | NDArray[np.bool_]) -> Build:
        """The same hands, a selection of them."""
        return Build(**{f.name: getattr(self, f.name)[rows] for f in fields(self)})


def nominal_build(design: Design, n: int = 1, *, frictionless: bool = False) -> Build:
    """n hands exactly as designed.

    Parameters: design, placed; n, how many; frictionless also takes out the elastics' loss: for
        comparing with a frictionless referee only.
    Returns: Build of n equal rows.
    """
    cords, digits = len(design.cords), len(design.digits)
    hinges = np.array(
        [
            [design.hinge(d.proximal_hinge).friction_nmm, design.hinge(d.tip_hinge).friction_nmm]
            for d in design.digits
        ]
    )
    on = 0.0 if frictionless else 1.0
    return Build(
        excess_mm=np.zeros((n, cords)),
        tension_slide_mm=np.zeros(n),
        thumb_pin_mm=np.zeros(n),
        friction_mu=np.full(n, on * design.cords[0].friction_mu),
        elastic_stiffness_ratio=np.ones((n, digits)),
        elastic_pretension_ratio=np.tile([e.pretension_ratio for e in design.elastics], (n, 1)),
        elastic_loss_ratio=np.full(n, on * design.elastics[0].loss_ratio),
        wrist_friction_nmm=np.full(n, on * design.hinge("wrist").friction_nmm),
        bar_friction_nmm=np.full(n, on * design.hinge("whippletree").friction_nmm),
        hinge_friction_nmm=on * np.tile(hinges, (n, 1, 1)),
        cuff_mass_ratio=np.ones(n),
        bar_locked=np.zeros(n, dtype=bool),
    )
