"""Laws of the distance of an outline from its mirror image."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsel.vision.cuff.curves import even
from handsel.vision.cuff.mirror import mirrored


@settings(max_examples=25, deadline=None)
@given(
    degrees=st.floats(-80, 80),
    x=st.floats(-500, 500),
    scale=st.floats(0.2, 20),
    lean=st.floats(-8, 8),
    longer=st.floats(-6, 6),
)
def test_turned_moved_enlarged_or_mirrored_it_is_as_lopsided_as_before(degrees, x, scale, lean, longer):
    corners = np.array([[-35.0 - lean, 28.0 + longer], [-32.0, 0.0], [32.0, 0.0], [36.0, 28.0]])
    line = even(corners, 120)
    before = mirrored(line)
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    moved = line[::-1] * [-1.0, 1.0] @ np.array([[c, s], [-s, c]]) * scale + [x, -x]
    assert mirrored(moved).largest == pytest.approx(scale * before.largest, rel=1e-3, abs=1e-4 * scale)
    assert (before.gaps >= 0).all()
