"""In which order open items are shown, worked on, and checked."""

from __future__ import annotations

from dataclasses import replace

from handsel.inspection.deciding import inspect
from handsel.inspection.ordering import rework_undoes
from inspecting import answer, bundled, number, sound_case, with_, without


def ids(items):
    return [i.id for i in items]


def test_open_items_come_gravest_first():
    case = with_(
        sound_case("finished"),
        answer("clean", "no"),
        answer("six-knots", "no"),
        answer("no-screw-ends", "no"),
    )
    found = inspect(case, bundled())
    assert ids(found.open_items) == ["no-screw-ends", "six-knots", "clean"]


def test_work_follows_the_hold_points_and_what_undoes_what():
    # Restringing undoes the knots: a knot mended first would be mended twice.
    case = with_(sound_case("strung"), answer("six-knots", "no"), number("worked-rest-angle", 22.0, "deg"))
    found = inspect(case, bundled())
    assert found.item("worked-rest-angle").rework[0] == "restring-all"
    assert ids(found.work_order) == ["worked-rest-angle", "six-knots"]
    mild = with_(sound_case("strung"), answer("six-knots", "no"), number("worked-rest-angle", 28.0, "deg"))
    # A turn of the screws undoes no knot, but a knot tied again undoes the angle.
    assert ids(inspect(mild, bundled()).work_order) == ["six-knots", "worked-rest-angle"]


def test_rework_that_runs_in_a_circle_is_ordered_all_the_same():
    case = with_(sound_case("strung"), answer("cords-not-crossed", "no"), answer("six-knots", "no"))
    found = inspect(case, bundled())
    first, second = found.open_items
    assert second.key in rework_undoes(first, bundled())
    assert first.key in rework_undoes(second, bundled())
    assert sorted(ids(found.work_order)) == ["cords-not-crossed", "six-knots"]


def test_the_undo_set_of_an_item_is_that_of_its_own_place():
    case = with_(
        sound_case("dry-fit"),
        *(
            answer("knuckle-hinges-free", "no" if d == "ring" else "yes", d)
            for d in ("index", "middle", "ring", "little", "thumb")
        ),
    )
    undone = rework_undoes(inspect(case, bundled()).item("knuckle-hinges-free", "ring"), bundled())
    assert ("tip-hinges-free", "ring") in undone
    assert ("tip-hinges-free", "index") not in undone
    sound = inspect(sound_case("dry-fit"), bundled()).item("knuckle-hinges-free", "ring")
    assert rework_undoes(sound, bundled()) == frozenset()


def test_the_next_check_is_of_the_gravest_kind_and_then_what_finds_most_per_minute():
    case = without(sound_case("finished"), "no-screw-ends", "labelled", "clean")
    check = inspect(case, bundled()).next_check
    assert check.item.id == "no-screw-ends"
    assert check.how == bundled().characteristic("no-screw-ends").how
    assert check.reason.startswith("critical")
    case = without(sound_case("finished"), "glue-dry", "labelled")  # 0.06 / 0.3 min, 0.08 / 0.2 min
    assert inspect(case, bundled()).next_check.item.id == "labelled"


def test_a_check_that_needed_rework_would_undo_is_left_for_later():
    case = without(with_(sound_case("strung"), answer("six-knots", "no")), "worked-rest-angle", "no-saw-edge")
    found = inspect(case, bundled())
    assert found.whole == "rework"
    assert found.next_check.item.id == "no-saw-edge"


def test_minor_checks_come_last_of_all():
    case = without(sound_case("finished"), "clean")
    assert inspect(case, bundled()).next_check.item.id == "clean"
    case = without(sound_case("finished"), "clean", "labelled")
    assert inspect(case, bundled()).next_check.item.id == "labelled"


def test_an_undecided_number_is_settled_as_the_metrology_says():
    found = inspect(with_(sound_case(), number("worked-rest-angle", 30.4, "deg", u=0.8)), bundled())
    assert found.whole == "not decided yet"
    assert found.next_check.how == found.item("worked-rest-angle").settling.sentence
    assert "Move it 2 steps" in found.sentence


def test_a_condition_that_fails_is_put_right_before_anything_is_read_again():
    case = with_(
        sound_case(),
        *(
            answer("digits-straight", "no" if d == "ring" else "yes", d)
            for d in ("index", "middle", "ring", "little", "thumb")
        ),
    )
    found = inspect(replace(case), bundled())
    assert found.whole == "rework"
    assert found.next_check is None
