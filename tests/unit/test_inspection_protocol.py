"""The protocol's own questions: places, groups, order."""

from __future__ import annotations

import pytest

from handsel.errors import OutOfRange
from handsel.inspection.protocol import gravity
from handsel.inspection.rules import Advisory, ReadingMethod
from handsel.inspection.undo import in_hand_order
from inspecting import bundled


def test_places_of_each_kind():
    p = bundled()
    assert p.places("hand") == ("",)
    assert p.places("finger") == ("index", "middle", "ring", "little")
    assert p.places("digit") == (*p.places("finger"), "thumb")
    assert p.places("cord") == ("index-middle", "ring-little", "thumb")
    assert p.places("knot") == (*p.places("digit"), "thumb-pin")


def test_what_a_place_touches():
    p = bundled()
    assert p.digits_at("cord", "ring-little") == {"ring", "little"}
    assert p.digits_at("knot", "thumb-pin") == {"thumb"}
    assert p.digits_at("hand", "") == set(p.places("digit"))
    assert p.on_same_cord(frozenset({"middle"})) == {"index", "middle"}


def test_the_hand_is_turned_over_once_at_each_hold_point():
    groups = [c.held for c in in_hand_order(bundled())]
    changes = 1 + sum(a != b for a, b in zip(groups, groups[1:], strict=False))
    assert changes == len(set(groups))


def test_members_of_an_id():
    p = bundled()
    assert [c.id for c in p.members("six-knots")] == ["six-knots"]
    assert {c.held for c in p.members("strung-at-rest")} == {"strung-at-rest"}
    assert {c.hold_point for c in p.members("strung")} == {"strung"}
    assert p.members("nothing") == ()


def test_unknown_words_are_refused():
    assert [gravity(s) for s in ("critical", "major", "minor")] == [0, 1, 2]
    with pytest.raises(OutOfRange, match="Use one of: critical, major, minor"):
        gravity("grave")
    with pytest.raises(OutOfRange, match="there is no hold point 'painted'"):
        bundled().stage("painted")
    assert bundled().step("painted") is None
    assert bundled().rework("paint") is None


def test_methods_and_advisories():
    with pytest.raises(OutOfRange, match="u_common no larger"):
        ReadingMethod(name="photo", u=0.5, u_common=0.8)
    with pytest.raises(OutOfRange, match="expected 0 or more"):
        ReadingMethod(name="photo", u=0.5, u_common=-0.1)
    high = Advisory(text="high", above=45.0)
    assert [high.says(v) for v in (44.0, 45.0, 46.0)] == [False, False, True]
    assert not high.says(-100.0)
