"""The whole hand with its marks: each at its place, told apart by shape, never on top of one another."""

from __future__ import annotations

import re
from dataclasses import replace
from math import nan
from pathlib import Path
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsel.data.figure_tables import REGIONS
from handsel.data.load_design import load_design
from handsel.data.load_figures import figures_of
from handsel.data.load_protocol import load_protocol
from handsel.design.placing import placed
from handsel.documents.drawing import as_designed
from handsel.documents.hand_map import GRAVEST, HEIGHT, MOST_IN_ROW, WIDTH, MapMark, hand_map
from handsel.errors import Unsolved

SVG = "{http://www.w3.org/2000/svg}"
GOLDEN = Path(__file__).parents[1] / "golden" / "design_1_three_digits.toml"
RIGHT = load_design("linden")
LEFT = placed(RIGHT, scale_ratio=1.0, side="left")
PROTOCOL = load_protocol()


def mark(code: str = "S1", place: str = "", region: str = "wrist", state: str = "conforms") -> MapMark:
    return MapMark(code=code, place=place, region=region, state=state)


def drawn(*marks: MapMark, side: str = "right", title: str = "") -> ElementTree.Element:
    design = RIGHT if side == "right" else LEFT
    return ElementTree.fromstring(hand_map(design, as_designed(design), marks, side=side, title=title))


def texts(root: ElementTree.Element) -> dict[str, tuple[float, float]]:
    return {"".join(t.itertext()): (float(t.get("x")), float(t.get("y"))) for t in root.iter(f"{SVG}text")}


def spots(root: ElementTree.Element) -> list[tuple[float, float]]:
    """Where marks are tied to the hand."""
    found = root.iter(f"{SVG}circle")
    return [(float(c.get("cx")), float(c.get("cy"))) for c in found if c.get("class") == "fig-markdot"]


def all_marks(hold_point: str) -> list[MapMark]:
    figures = figures_of(PROTOCOL.id).figures
    checks = [c for c in PROTOCOL.characteristics if c.hold_point == hold_point]
    return [
        mark(f"X{k}", place, figures[c.id].region, GRAVEST[k % 5])
        for k, c in enumerate(checks)
        for place in PROTOCOL.places(c.per)
    ]


def test_a_mark_is_tied_to_its_place():
    assert len(spots(drawn(mark(region="tip", place="index")))) == 1
    index, little = (spots(drawn(mark(region="tip", place=p)))[0] for p in ("index", "little"))
    thumb, wrist = spots(drawn(mark(region="tip", place="thumb")))[0], spots(drawn(mark()))[0]
    assert thumb[1] < index[1] < little[1]  # seen from the palm, fingers to the left, the thumb is uppermost
    assert wrist[1] < thumb[1]  # in the view from the side, above


@pytest.mark.parametrize("region", REGIONS)
def test_every_region_has_a_place(region):
    assert "S1" in texts(drawn(mark(region=region)))


def test_each_state_has_a_shape_of_its_own():
    shapes = set()
    for state in GRAVEST:
        svg = hand_map(RIGHT, as_designed(RIGHT), [mark(state=state)], side="right")
        shapes.add(re.sub(r' (class|fill|stroke|stroke-width)="[^"]*"', "", svg))
    assert len(shapes) == len(GRAVEST)


def test_many_at_one_place_share_the_gravest_mark_with_a_count():
    one = [mark("A1"), mark("B2", state="does not conform"), mark("C3", state="not seen")]
    assert set(texts(drawn(*one))) == {"B2", "+2"}
    assert set(texts(drawn(*(replace(m, region="paper") for m in one)))) == {"B2", "+2"}
    assert set(texts(drawn(*(replace(m, region="tip", place="ring") for m in one)))) == {"B2 +2"}


def test_the_knot_at_the_thumb_pin_lies_at_the_thumb_pin():
    assert spots(drawn(mark(region="knot", place="thumb-pin"))) == spots(drawn(mark(region="thumb-pin")))


@pytest.mark.parametrize("hold_point", [h.id for h in PROTOCOL.hold_points])
@pytest.mark.parametrize("side", ["right", "left"])
@pytest.mark.parametrize("before", ["", "ST-"])
def test_words_do_not_lie_on_one_another(hold_point, side, before):
    root = drawn(*(replace(m, code=before + m.code) for m in all_marks(hold_point)), side=side)
    boxes = []
    for t in root.iter(f"{SVG}text"):
        size, n = float(t.get("font-size")), len("".join(t.itertext()))
        x, y, wide = float(t.get("x")), float(t.get("y")), 0.58 * size * n
        left = x - {"start": 0.0, "middle": 0.5, "end": 1.0}[t.get("text-anchor")] * wide
        boxes.append((left, y - 0.72 * size, left + wide, y))
    assert boxes
    for k, a in enumerate(boxes):
        assert a[0] >= -1.0
        assert a[2] <= WIDTH + 1.0
        assert 0.0 <= a[1] < a[3] <= HEIGHT
        for b in boxes[k + 1 :]:
            assert a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1], (a, b)


@settings(max_examples=20, deadline=None)
@given(
    st.lists(
        st.tuples(st.text(max_size=9), st.text(max_size=6), st.text(max_size=6), st.sampled_from(GRAVEST)),
        max_size=30,
    )
)
def test_any_marks_make_a_map(many):
    root = drawn(*(mark(*m) for m in many))
    assert len(list(root.iter(f"{SVG}text"))) >= (1 if many else 0)


def test_no_more_marks_in_a_row_than_find_room():
    regions = (
        "wrist",
        "block",
        "bar",
        "screw-thumb-side",
        "thumb-pin",
        "cuff",
        "angle",
        "grip",
        "hand",
        "elastic",
        "cord",
    )
    root = drawn(*(mark(f"M{k}", region=r) for k, r in enumerate(regions)))
    shown = [t for t in texts(root) if t.startswith("M")]
    more = sum(int(t.text) for t in root.iter(f"{SVG}text") if t.text and t.text.startswith("+"))
    assert len(shown) == MOST_IN_ROW
    assert len(shown) + more == len(regions)


def test_a_left_hand_is_the_mirror_image_of_a_right_one():
    marks = all_marks("strung")
    right, left = drawn(*marks), drawn(*marks, side="left")
    for (xr, yr), (xl, yl) in zip(spots(right), spots(left), strict=True):
        assert (WIDTH - xr, yr) == pytest.approx((xl, yl), abs=0.11)
    assert [t.text for t in right.iter(f"{SVG}text")] == [t.text for t in left.iter(f"{SVG}text")]


def test_the_pose_is_the_one_measured():
    lower = replace(as_designed(RIGHT), wrist_deg=5.0)
    assert hand_map(RIGHT, lower, [], side="right") != hand_map(RIGHT, as_designed(RIGHT), [], side="right")
    slack = replace(as_designed(RIGHT), taut=(True, False, True))
    assert hand_map(RIGHT, slack, [], side="right") != hand_map(RIGHT, as_designed(RIGHT), [], side="right")


def test_a_pose_that_is_no_number_is_refused():
    with pytest.raises(Unsolved):
        hand_map(RIGHT, replace(as_designed(RIGHT), wrist_deg=nan), [], side="right")


def test_a_hand_with_three_digits_is_mapped_too():
    design = load_design(GOLDEN)
    marks = [mark(f"M{k}", place="middle", region=r) for k, r in enumerate(REGIONS)]
    root = ElementTree.fromstring(hand_map(design, as_designed(design), marks, side="right"))
    assert len(spots(root)) > 8


def test_hostile_words_are_only_words():
    root = drawn(mark(code="<b>&\x00"), title='</title><script src="x">')
    assert {e.tag.removeprefix(SVG) for e in root.iter()} <= {"svg", "title", "g", "path", "circle", "text"}
    assert root[0].text == '</title><script src="x">'
    assert "<b>&" in texts(root)
