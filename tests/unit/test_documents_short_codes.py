"""Short codes: in the order of work, each once, and the same wherever they are shown."""

from __future__ import annotations

from dataclasses import replace

from handsel.documents.short_codes import hold_point_letters, in_order, short_codes
from unit.papers import load_protocol


def test_codes_of_the_bundled_protocol():
    codes = short_codes(load_protocol())
    assert codes["kit-complete"] == "P1"
    assert codes["thumb-tip-on-thumb"] == "D1"
    assert codes["cord-through-hole"] == "S1"
    assert codes["thumb-starts-with-fingers"] == "S12"
    assert codes["knots-tight"] == "F1"
    assert codes["skin-sound-before"] == "T1"
    assert codes["knows-whom-to-call"] == "T17"


def test_every_characteristic_has_one_code_of_its_own_in_the_order_of_work():
    protocol = load_protocol()
    codes = short_codes(protocol)
    assert list(codes) == [c.id for c in in_order(protocol)]
    assert sorted(codes) == sorted(c.id for c in protocol.characteristics)
    assert len(set(codes.values())) == len(codes)
    stages = [protocol.stage(c.hold_point) for c in in_order(protocol)]
    assert stages == sorted(stages)


def test_characteristics_written_in_another_order_follow_their_groups():
    protocol = load_protocol()
    turned = replace(protocol, characteristics=tuple(reversed(protocol.characteristics)))
    held = [c.held for c in in_order(turned)]
    assert list(dict.fromkeys(held)) == [g.id for h in protocol.hold_points for g in h.groups]
    assert short_codes(turned)["lots-noted"] == "P1"


def test_something_added_at_the_end_of_a_hold_point_leaves_the_other_codes():
    protocol = load_protocol()
    one = replace(protocol.characteristics[-1], id="one-more")
    longer = replace(protocol, characteristics=(*protocol.characteristics, one))
    assert short_codes(longer) == {**short_codes(protocol), "one-more": "T18"}


def test_letters_stay_apart_however_many_hold_points_there_are():
    protocol = load_protocol()
    points = tuple(replace(protocol.hold_points[4], id=f"fitting-{k}") for k in range(60))
    letters = hold_point_letters(replace(protocol, hold_points=points))
    assert len(set(letters.values())) == 60
    assert not set("IOQ") & set("".join(letters.values()))  # taken for 1 and 0
