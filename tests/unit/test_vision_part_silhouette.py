"""What a body hides of the paper, from its mesh's own edges."""

from __future__ import annotations

import numpy as np
import pytest

from handsel.design.solids import prism, rectangle
from handsel.vision.parts.silhouette import ring_area_mm2, silhouette, skin_of

CUBE = skin_of(prism(rectangle((-5.0, 5.0), (-5.0, 5.0)), 0.0, 10.0, "z"))


def test_a_cube_from_above_shows_its_top_larger_by_its_nearness() -> None:
    seen = silhouette(CUBE, np.array([0.0, 0.0, 100.0]))
    assert ring_area_mm2(seen) == pytest.approx((10.0 * 100.0 / 90.0) ** 2, rel=2e-3)


def test_a_cube_from_aside_hides_its_foot_and_what_its_top_covers() -> None:
    seen = silhouette(CUBE, np.array([60.0, 0.0, 100.0]))
    # The foot's near edge at x = 5; the top's far edge is thrown to -5 + (-5 - 60) / 9.
    assert seen[:, 0].max() == pytest.approx(5.0, abs=0.05)
    assert seen[:, 0].min() == pytest.approx(-5.0 - 65.0 / 9.0, abs=0.05)


def test_every_edge_lies_between_two_faces() -> None:
    assert len(CUBE.edges) == len(CUBE.normals) * 3 // 2
    assert (CUBE.faces[:, 0] != CUBE.faces[:, 1]).all()
