"""Two ways to the same lengths: the ruler that follows a line through space, and the mechanics."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsel.data.load_design import load_design
from handsel.design.model import Elastic, Leg
from handsel.design.placing import placed
from handsel.design.posing import taut_line
from handsel.mechanics.build import nominal_build
from handsel.mechanics.model import compile_model
from handsel.mechanics.paths import crossing_length, wrist_length

LINDEN = load_design("linden")
BENDS = st.lists(st.floats(-5.0, 85.0), min_size=2 * len(LINDEN.digits), max_size=2 * len(LINDEN.digits))


@settings(max_examples=40)
@given(
    scale=st.floats(0.7, 1.3),
    side=st.sampled_from(["right", "left"]),
    wrist=st.floats(-70.0, 80.0),
    tilt=st.floats(-25.0, 25.0),
    bends=BENDS,
)
def test_changes_of_length_agree(
    scale: float, side: str, wrist: float, tilt: float, bends: list[float]
) -> None:
    hand = placed(LINDEN, scale_ratio=scale, side=side)
    model = compile_model(hand, nominal_build(hand))
    phi = np.radians(np.array(bends).reshape(1, -1, 2))
    still, none = np.zeros_like(phi), np.zeros(1)
    turned = wrist_length(model.wrist, np.radians([wrist]), np.radians([tilt])).length[0]
    cord = turned - wrist_length(model.wrist, none, none).length[0]
    cord += (crossing_length(model.flexor, phi).length - crossing_length(model.flexor, still).length)[0].sum(
        -1
    )
    opener = crossing_length(model.extensor, phi).length - crossing_length(model.extensor, still).length
    angles = {"wrist": wrist, "whippletree": tilt}
    for d, pair in zip(hand.digits, phi[0], strict=True):
        angles |= {d.proximal_hinge: np.degrees(pair[0]), d.tip_hinge: np.degrees(pair[1])}

    def change(line: Leg | Elastic) -> float:
        bent = taut_line(hand, line.points, line.wraps, angles).length_mm
        return bent - taut_line(hand, line.points, line.wraps).length_mm

    for k, d in enumerate(hand.digits):
        leg = next(leg for leg in hand.cord_of(d.name).legs if leg.digit == d.name)
        assert change(leg) == pytest.approx(cord[k], abs=1e-9)
        assert change(hand.elastics[k]) == pytest.approx(opener[0, k].sum(), abs=1e-9)
