"""The drawing and the page for the bench: whole, readable by machines, unmoved by hostile words."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from math import atan2, degrees, nan
from xml.etree import ElementTree

import pytest
import typst
from hypothesis import given, settings
from hypothesis import strategies as st

from handsel.documents.bench_sheet import ROOMS, TEMPLATE, _page, bench_sheet, cut
from handsel.documents.drawing import as_designed, closing_view, drawing, hand_view
from handsel.documents.drawing_closing import chosen
from handsel.documents.figure import cuff_outline, painted
from handsel.documents.figure_look import look
from handsel.documents.svg import Canvas, number
from handsel.documents.wording import (
    decision_words,
    grouped,
    interval,
    merged,
    minus,
    percent,
    prediction_rows,
    reason,
    recheck_rows,
)
from handsel.errors import Unsolved
from handsel.inspection.case import Observation
from handsel.inspection.deciding import inspect
from handsel.rework.result import FixKind, Recheck
from unit.handmade import case, estimate, made, pose, prediction, restring
from unit.handmade import load_protocol as a_protocol

SVG = "{http://www.w3.org/2000/svg}"
HOSTILE = [
    "#panic() *bold* _x_ `raw` $x^2$ = head \\ @ref <label> // gone /* gone",
    "]]><script>alert(1)</script>&\"'<",
    "w" * 4000,
    "\u202eright to left\u202c שלום עולם مرحبا",
    "line\nline\x00\x1b[31m\ttab",
    "𝔘𝔫𝔦𝔠𝔬𝔡𝔢 👋🏽 \ud7ff 汉字" * 20,
    "",
    '[#set page(height: 1cm)] #import "x.typ"',
]


def texts(svg: str) -> list[str]:
    return ["".join(t.itertext()) for t in ElementTree.fromstring(svg).iter(f"{SVG}text")]


def pages(pdf: bytes) -> int:
    """Pages by the page tree's own count; it stands uncompressed in the file."""
    counts = re.findall(rb"/Type\s*/Pages\b[^>]*?/Count\s+(\d+)", pdf) or re.findall(
        rb"/Count\s+(\d+)[^>]*?/Type\s*/Pages\b", pdf
    )
    assert counts, "no page tree found"
    return max(map(int, counts))


# ---- the drawing --------------------------------------------------------------------------------


@pytest.mark.parametrize("side", ["right", "left"])
def test_the_drawing_is_xml_with_all_that_is_asked(side):
    design, a = made(side=side)
    svg = drawing(design, a)
    said = texts(svg)
    for words in (
        "index",
        "middle",
        "ring",
        "little",
        "thumb",
        "stand",
        "30° at least",
        "over 45°: ask first",
        "36.0° after the fix",
        "22.0°",
        "read, ± 1.6° (95 %)",
        "cord, slack",
        "at rest",
        "thumb meets finger",
        "36°",
        "−18°",
    ):
        assert words in said, words
    assert "nan" not in svg.lower().replace("finance", "")
    assert "inf" not in re.sub(r"<(title|desc|style)>.*?</\1>", "", svg, flags=re.DOTALL).lower()


def test_everything_drawn_lies_in_the_picture():
    for scale_side in ("right", "left"):
        for angle in (5.0, 22.0, 36.0, 55.0):
            design, a = made(side=scale_side, angle_deg=angle, drawn_now=pose(angle))
            root = ElementTree.fromstring(drawing(design, a))
            _, _, w, h = map(float, root.attrib["viewBox"].split())
            for path in root.iter(f"{SVG}path"):
                numbers = list(map(float, re.findall(r"-?\d+(?:\.\d+)?", path.attrib["d"])))
                xs, ys = numbers[::2], numbers[1::2]
                inside = 0 <= min(xs) <= max(xs) <= w and 0 <= min(ys) <= max(ys) <= h
                assert inside, (scale_side, angle, path.attrib)
            baselines = [float(t.attrib["y"]) for t in root.iter(f"{SVG}text")]
            assert min(baselines) >= 12
            assert max(baselines) <= h - 4


def test_labels_beside_the_arc_do_not_overlap():
    """Now, after the fix and both limits within a few degrees of one another."""
    fix = replace(restring(), after=prediction(30.9))
    design, a = made(angle_deg=30.4, drawn_now=pose(30.4), drawn_after=pose(30.9), fix=fix)
    root = ElementTree.fromstring(hand_view(design, a))
    column = [
        (float(t.attrib["y"]), "".join(t.itertext()))
        for t in root.iter(f"{SVG}text")
        if t.attrib["text-anchor"] == "start" and "°" in "".join(t.itertext())
    ]
    ys = sorted(y for y, _ in column)
    assert len(ys) == 5
    assert min(b - a for a, b in zip(ys, ys[1:], strict=False)) >= 18


def bearing_deg(a: tuple[float, float], b: tuple[float, float]) -> float:
    """Direction from a to b, anticlockwise from +u."""
    return degrees(atan2(b[1] - a[1], b[0] - a[0]))


def test_angles_in_the_picture_are_the_angles_at_the_bench():
    """The cuff's near wall at 40° is the wall at 0° turned by 40° about the wrist."""
    design, _ = made()
    flat, up = (cuff_outline(look(design, pose(w), "right")) for w in (0.0, 40.0))
    turn = bearing_deg(up[6], up[7]) - bearing_deg(flat[6], flat[7])
    assert abs(turn) == pytest.approx(40.0, abs=1e-6)
    # rising toward the back of the hand: the cuff's rear end, at negative u, goes up
    assert up[6][1] > flat[6][1]


def test_slack_is_shown_by_shape_not_by_colour_alone():
    design, a = made()
    seen = look(design, a.drawn_now, "right")
    kinds = [p.kind for p in painted(seen)]
    assert kinds.count("cord slack") == 2  # the thumb cord over the wrist, and along the thumb
    tight = look(design, pose(36.0), "right")
    assert "cord slack" not in [p.kind for p in painted(tight)]
    sagging = next(p for p in painted(seen) if p.kind == "cord slack")
    thumb = [p for p in painted(tight) if p.kind == "cord"][4]
    assert len(sagging.points) > len(thumb.points)


def test_a_left_hand_is_the_mirror_image_of_a_right_one():
    views = {}
    for side in ("right", "left"):
        design, a = made(side=side)
        views[side] = [p.points for p in painted(look(design, a.drawn_now, side))]
    for right, left in zip(views["right"], views["left"], strict=True):
        for p, q in zip(sorted(right), sorted(left), strict=True):
            assert p == pytest.approx(q, abs=1e-6)


def test_without_a_solved_pose_it_says_so():
    design, a = made(
        drawn_now=None, drawn_after=None, closing=(), now=None, fix=replace(restring(), after=None)
    )
    said = texts(drawing(design, a))
    assert "no pose was solved" in said
    assert closing_view(design, a) == ""
    assert as_designed(design).wrist_deg == design.target_rest_angle_deg


def test_a_pose_that_is_no_number_is_refused_in_words():
    design, a = made(drawn_now=pose(nan))
    with pytest.raises(Unsolved, match="not a number"):
        drawing(design, a)


def test_chosen_poses_keep_both_ends():
    path = [pose(36.0 - k) for k in range(50)]
    few = chosen(path)
    assert (few[0], few[-1], len(few)) == (path[0], path[-1], 5)
    assert chosen(path[:2]) == tuple(path[:2])


@given(st.text())
def test_any_text_is_escaped(words):
    canvas = Canvas(width=10, height=10, title=words, about=words)
    canvas.text((1, 1), words)
    root = ElementTree.fromstring(canvas.svg(""))
    assert [e.tag for e in root] == [f"{SVG}title", f"{SVG}desc", f"{SVG}style", f"{SVG}text"]


def test_numbers_are_short_and_finite():
    assert [number(x) for x in (1.0, -0.001, 2.345678, 100.0, -3.5)] == ["1", "0", "2.35", "100", "-3.5"]


# ---- the page ---------------------------------------------------------------------------------------


def test_the_page_is_one_page_and_the_same_each_time():
    design, a = made()
    pdf = bench_sheet(design, a)
    assert pdf.startswith(b"%PDF-")
    assert pages(pdf) == 1
    assert pdf == bench_sheet(design, a)


def test_the_counting_of_pages_can_fail():
    two = typst.compile(b"a\n#pagebreak()\nb", format="pdf", ignore_system_fonts=True)
    assert pages(two) == 2


@pytest.mark.parametrize("words", HOSTILE)
def test_hostile_words_are_set_as_words_on_one_page(words):
    design, a = made()
    made_case = replace(case(name=words), by=words)
    a = replace(
        a,
        sentence=words,
        notes=(words,) * 30,
        cautions=(words,) * 30,
        inspection=replace(a.inspection, case=made_case),
        fix=replace(a.fix, sentence=words, steps=(words,) * 40, cautions=(words,) * 9),
        recheck=tuple(replace(r, title=words, reason=words) for r in a.recheck),
        program_version=words,
        design_version=words,
    )
    assert pages(bench_sheet(design, a)) == 1
    ElementTree.fromstring(drawing(design, a))


@settings(max_examples=6)
@given(st.text(max_size=400))
def test_any_words_make_one_page(words):
    design, a = made(sentence=words)
    a = replace(a, fix=replace(a.fix, steps=(words,) * 5))
    assert pages(bench_sheet(design, a)) == 1


def test_markup_in_a_note_is_shown_not_run():
    design, a = made(sentence="#panic() and *stars*")
    data = {"page": json.dumps(_page(design, a, ROOMS[2]))}
    shown = typst.query(TEMPLATE.read_bytes(), "strong", ignore_system_fonts=True, sys_inputs=data)
    assert json.loads(shown) == []
    assert pages(bench_sheet(design, a)) == 1  # #panic() as markup would have stopped it


def test_long_lists_say_how_much_is_left_out():
    design, a = made()
    page = _page(design, a, ROOMS[-1])
    assert len(page["recheck"]) == ROOMS[-1].recheck
    assert page["recheck_more"] + len(page["recheck"]) == len(a.recheck)
    assert page["open_more"] > 0
    assert len(page["open"]) == ROOMS[-1].open_items


def test_what_to_look_at_again_is_said_once_with_its_places():
    one = {"id": "x", "title": "The cord runs free"}
    again = [
        Recheck(place=p, reason=f"undone by: new cord ({c})", **one)
        for p, c in (("index", "index-middle"), ("ring", "ring-little"), ("index", "ring-little"))
    ]
    again.append(Recheck(id="y", title="Bar level", place="", reason="undone by: screws"))
    _, a = made(recheck=tuple(again))
    assert recheck_rows(a) == [
        ("The cord runs free (index, ring)", "undone by: new cord (index-middle, ring-little)"),
        ("Bar level", "undone by: screws"),
    ]


def test_steps_and_cautions_are_the_last_to_give_way():
    """A fix of nine steps and five cautions keeps them all, with the longest lists beside it."""
    steps = tuple(
        f"Step {k}: do this with care, half a turn at a time, and then look again." for k in range(9)
    )
    cautions = tuple(
        f"Caution {k}: something may slip; keep hands and eyes out of its line." for k in range(4)
    )
    design, a = made()
    a = replace(a, fix=replace(a.fix, steps=steps, cautions=cautions))
    fits = next(r for r in ROOMS if _pages(design, a, r) == 1)
    assert (fits.steps, fits.cautions) == (9, 5)
    assert fits.view_mm >= 100


def _pages(design, a, room):
    data = {"page": json.dumps(_page(design, a, room))}
    counted = typst.query(
        TEMPLATE.read_bytes(), "<pages>", field="value", ignore_system_fonts=True, sys_inputs=data
    )
    [pages_of] = json.loads(counted)
    return pages_of


def test_the_page_names_what_it_stands_on():
    design, a = made()
    page = _page(design, a, ROOMS[0])
    assert "abababababab" in page["record"]
    assert a.protocol_sha256[:12] in page["record"]
    assert "licensed" in page["defers"]
    assert "95" in page["coverage"]
    assert page["decision"] == "Not decided yet"
    assert page["cautions"] == ["Keep your eyes away from a loaded cord.", "Instant glue bonds skin at once."]


def test_cut_breaks_long_words_and_marks_what_is_left_out():
    assert cut("a  b\n c", 10) == "a b c"
    assert cut("x" * 100, 50).replace("\u200b", "") == "x" * 49 + "…"
    assert max(map(len, re.split("[\u200b ]", cut("y" * 400, 300)))) <= 28


# ---- wording -----------------------------------------------------------------------------------------


def test_numbers_in_words():
    assert interval(estimate(36.0, 0.8)) == "36.0° ± 1.6°"
    assert interval(estimate(-18.0, 3.0)) == "−18.0° ± 5.9°"
    assert minus("-2 mm to -1 mm") == "−2 mm to −1 mm"
    assert [percent(p) for p in (0.001, 0.5, 0.934, 0.999)] == ["under 1 %", "50 %", "93 %", "over 99 %"]


def test_a_no_is_not_shown_as_half_a_yes():
    """How often people err when they say no is not how likely a cracked cuff is whole."""
    protocol = a_protocol()
    seen = Observation(of="cuff-no-cracks", answer="no")
    hand = replace(case().hand, hold_point="parts")
    found = inspect(replace(case(), hand=hand, observations=(seen,)), protocol)
    _, a = made(inspection=found)
    assert decision_words(a) == ("Does not conform: replace a part", "not so: The cuff has no crack")
    assert "%" not in reason(found.item("cuff-no-cracks"))


def test_a_number_is_told_with_its_coverage_and_what_settles_it():
    _, a = made(angle_deg=30.4)
    conditions = ("finger-cords-taut", "digits-straight")
    good = tuple(Observation(of=c, answer="taut" if "cords" in c else "yes") for c in conditions)
    level = Observation(of="whippletree-level", value=0.0, unit="deg")
    found = inspect(replace(case(30.4), observations=(*case(30.4).observations, *good, level)), a_protocol())
    told = reason(found.item("worked-rest-angle"))
    assert told.startswith(
        "30.4° ± 1.6° (95 %), asked: at least 30°; 69 % likely. No number of further readings"
    )


def test_like_items_are_said_once_with_their_places():
    _, a = made()
    entries = grouped(a.inspection.open_items)
    assert sum(len(g.places) for g in entries) == len(a.inspection.open_items)
    assert any(g.called.endswith("(index, little, middle, ring, thumb)") for g in entries)


def test_texts_alike_but_for_their_place_are_merged():
    texts = ["knot (index): look", "knot (thumb-pin): look", "Or take it back.", "bar", "knot (index): pull"]
    assert merged(texts) == ["knot (index, thumb-pin): look", "Or take it back.", "bar", "knot (index): pull"]


def test_rows_of_now_and_after():
    _, a = made()
    rows = {w: (n, x) for w, n, x in prediction_rows(a)}
    assert rows["rest angle, worked"] == ("22.0° ± 1.6° read", "36.0° ± 1.6°")
    assert rows["thumb pin can still go back"] == ("4.5 mm", "4.5 mm")
    _, good = made(fix=replace(restring(), kind=FixKind.NOTHING, after=None))
    assert all(after == "" for _, _, after in prediction_rows(good))
    assert decision_words(a)[0] == "Not decided yet"
