"""What a rework undoes: where, through what follows it, and why."""

from __future__ import annotations

import pytest

from handsel.errors import OutOfRange
from handsel.inspection.undo import ReworkDone, in_hand_order, reinspection_set, undone_by
from inspecting import bundled


def keys(*done):
    return {(r.characteristic.id, r.place) for r in reinspection_set(done, bundled())}


def ids(*done):
    return {id for id, _ in keys(*done)}


def test_nothing_done_means_nothing_to_look_at_again():
    assert reinspection_set([], bundled()) == ()


def test_a_rework_at_a_digit_touches_that_digit_only():
    eased = keys(ReworkDone(rework="ease-hinge", place="ring"))
    assert {p for id, p in eased if id == "knuckle-hinges-free"} == {"ring"}
    everywhere = keys("ease-hinge")
    assert {p for id, p in everywhere if id == "knuckle-hinges-free"} == {
        "index",
        "middle",
        "ring",
        "little",
        "thumb",
    }


def test_a_rework_on_a_cord_touches_both_its_fingers():
    strung = keys(ReworkDone(rework="restring-loop", place="index-middle"))
    assert {p for id, p in strung if id == "cord-through-hole"} == {"index", "middle"}
    assert {p for id, p in strung if id == "knots-sealed"} == {"index", "middle"}
    assert {p for id, p in strung if id == "cords-on-their-seats"} == {"index-middle"}
    assert {p for id, p in strung if id == "hinges-free-after-sealing"} == {
        "index",
        "middle",
    }  # sealing follows


def test_a_swapped_tip_touches_its_whole_loop():
    swapped = keys(ReworkDone(rework="swap-tips", place="index"))
    assert {p for id, p in swapped if id == "cord-through-hole"} == {"index", "middle"}
    assert {p for id, p in swapped if id == "knots-sealed"} == {"index", "middle"}
    assert {p for id, p in swapped if id == "elastics-there"} == {"index"}


def test_one_of_the_thumbs_two_knots_leaves_the_other():
    sealed = keys(ReworkDone(rework="seal-knot", place="thumb"))
    assert ("knots-sealed", "thumb") in sealed
    assert ("knots-sealed", "thumb-pin") not in sealed


def test_the_thumbs_loop_holds_both_its_knots():
    swapped = keys(ReworkDone(rework="swap-tips", place="thumb"))
    assert {p for id, p in swapped if id == "knots-sealed"} == {"thumb", "thumb-pin"}


def test_conditions_of_what_is_undone_are_looked_at_again_too():
    rechecks = reinspection_set([ReworkDone(rework="ease-wrist")], bundled())
    conditions = [r for r in rechecks if r.characteristic.id == "finger-cords-taut"]
    assert [r.place for r in conditions] == ["index", "middle", "ring", "little"]
    assert "counts only when this is so" in conditions[0].reasons[0]
    assert "finger-cords-taut" not in {
        c.id for c, _ in undone_by(bundled().rework("ease-wrist"), "", bundled())
    }


def test_every_entry_has_its_reason_and_the_order_is_that_of_the_hand():
    rechecks = reinspection_set(["restring-all", "refit-strap"], bundled())
    assert all(r.reasons for r in rechecks)
    order = [c.id for c in in_hand_order(bundled())]
    positions = [order.index(r.characteristic.id) for r in rechecks]
    assert positions == sorted(positions)
    sealing = next(r for r in rechecks if r.characteristic.id == "hinges-free-after-sealing")
    assert sealing.reasons[0].startswith("undone by: Seal a knot")


def test_several_reworks_give_several_reasons():
    rechecks = reinspection_set(["turn-screws-in", "move-thumb-pin"], bundled())
    start = next(r for r in rechecks if r.characteristic.id == "thumb-starts-with-fingers")
    assert len(start.reasons) == 2


@pytest.mark.parametrize(
    "done",
    [
        "restring",
        ReworkDone(rework="ease-hinge", place="toe"),
        ReworkDone(rework="turn-screws-in", place="index"),
    ],
)
def test_unknown_rework_and_places_are_refused(done):
    with pytest.raises(OutOfRange):
        reinspection_set([done], bundled())


@pytest.mark.parametrize("rework", bundled().reworks, ids=lambda r: r.id)
def test_every_rework_has_its_result_looked_at(rework):
    cured = {c.id for c in bundled().characteristics if rework.id in c.rework}
    looked = ids(rework.id)
    missing = {id for id in cured if id not in looked}
    assert looked, "nothing would be looked at after it"
    assert not missing, (
        f"{rework.id} is said to put right {sorted(missing)}, and they are not looked at again"
    )
