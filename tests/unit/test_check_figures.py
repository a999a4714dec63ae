"""The drawings of the screens: one a characteristic, safe to stand in a page, mirrored for a left hand."""

from __future__ import annotations

import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import handsel.bench
from handsel.data.figure_tables import VIEWS
from handsel.data.load_design import load_design
from handsel.data.load_figures import Figures, figures_of
from handsel.data.load_protocol import load_protocol
from handsel.data.strokes import FILLED, INKS
from handsel.design.placing import placed
from handsel.documents.check_figure import HEIGHT, WIDTH, check_figure
from handsel.documents.hand_views import figure_for, held_for, view
from handsel.documents.hold_figure import hold_figure
from handsel.documents.sketch import bounds
from unit.test_coldstart import ENV, EXAMPLE

SVG = "{http://www.w3.org/2000/svg}"
PROTOCOL = load_protocol()
GOLDEN = Path(__file__).parents[1] / "golden" / "design_1_three_digits.toml"
RIGHT = load_design("linden")
LEFT = placed(RIGHT, scale_ratio=1.0, side="left")
ALL = {c.id: check_figure(RIGHT, c, PROTOCOL) for c in PROTOCOL.characteristics}
GROUPS = [g for h in PROTOCOL.hold_points for g in h.groups]
HOSTILE = ["</title><script>alert(1)</script>", 'a "b" & c <d>', "\u202eright to left", "x\x00y\x1b[31m", ""]
# Nothing but these may stand in a page whose content policy allows no style and no script.
ELEMENTS = {"svg", "title", "g", "path", "circle", "rect", "text"}
ATTRIBUTES = {
    "class", "viewBox", "role", "fill", "stroke", "stroke-width", "stroke-dasharray", "stroke-linecap",
    "stroke-linejoin", "d", "x", "y", "cx", "cy", "r", "rx", "width", "height", "font-size", "text-anchor", "opacity",
}  # fmt: skip


def body(svg: str) -> str:
    """All but the title, which differs for every characteristic."""
    return re.sub(r"<title>.*?</title>", "", svg, flags=re.DOTALL)


def safe(svg: str) -> None:
    root = ElementTree.fromstring(svg)
    for element in root.iter():
        assert element.tag.removeprefix(SVG) in ELEMENTS
        assert set(element.attrib) <= ATTRIBUTES
    assert root[0].tag == f"{SVG}title"
    assert "url(" not in svg


@pytest.mark.parametrize("c", PROTOCOL.characteristics, ids=lambda c: c.id)
def test_each_drawing_is_small_and_safe_to_stand_in_a_page(c):
    svg = ALL[c.id]
    safe(svg)
    root = ElementTree.fromstring(svg)
    assert root.get("viewBox") == "0 0 320 200"
    assert root[0].text == c.title
    assert 1_500 < len(svg.encode()) < 7_500


def test_every_characteristic_has_a_figure_of_its_own():
    known = figures_of(PROTOCOL.id)
    assert len(PROTOCOL.characteristics) == 104
    assert {c.id for c in PROTOCOL.characteristics} == set(known.figures)
    alike = [(a, b) for a in ALL for b in ALL if a < b and body(ALL[a]) == body(ALL[b])]
    assert alike == []


@pytest.mark.parametrize("design", [RIGHT, LEFT], ids=["right", "left"])
def test_all_drawings_of_a_hand_are_soon_fetched(design):
    total = sum(len(check_figure(design, c, PROTOCOL).encode()) for c in PROTOCOL.characteristics)
    assert total < 500_000


def test_nothing_is_written_but_letters_and_numbers():
    for svg in ALL.values():
        for text in ElementTree.fromstring(svg).iter(f"{SVG}text"):
            assert re.fullmatch(r"[0-9]{1,2}[×°]?|\?", "".join(text.itertext()))


def test_good_and_bad_differ_by_shape_and_frame():
    svg = ALL["knots-tied-tight"]
    good, bad = ElementTree.fromstring(svg).findall(f"{SVG}svg")
    assert good.findall(f"{SVG}circle[@class='fig-good fig-badge']")
    assert bad.findall(f"{SVG}rect[@class='fig-bad fig-badge']")
    assert bad.findall(f"{SVG}rect[@class='fig-bad']")[0].get("stroke-dasharray")
    assert good.findall(f"{SVG}rect[@class='fig-good']")[0].get("stroke-dasharray") is None


def test_where_both_answers_are_right_none_is_marked_wrong():
    assert "fig-badge" not in ALL["thumb-cord-press"]
    assert ALL["thumb-cord-press"].count("<svg x=") == 2
    assert ALL["finger-cords-taut"].count("fig-badge") == 2


@pytest.mark.parametrize("words", HOSTILE)
def test_hostile_titles_are_escaped(words):
    c = replace(PROTOCOL.characteristics[0], title=words)
    svg = check_figure(RIGHT, c, PROTOCOL)
    safe(svg)
    assert (ElementTree.fromstring(svg)[0].text or "") == "".join(ch for ch in words if ch.isprintable())


@settings(max_examples=25)
@given(st.text(max_size=80))
def test_any_title_makes_valid_xml(words):
    safe(check_figure(RIGHT, replace(PROTOCOL.characteristics[0], title=words), PROTOCOL))


# ---- left and right -----------------------------------------------------------------------------


def hand_points(svg: str) -> list[tuple[float, float]]:
    """Centres of the rings on the hand itself, outside the boxes of details."""
    root = ElementTree.fromstring(svg)
    found = []
    for ring in [c for g in root if g.tag != f"{SVG}svg" for c in g.iter(f"{SVG}circle")]:
        found.append((float(ring.get("cx")), float(ring.get("cy"))))
    return found


@pytest.mark.parametrize("c", PROTOCOL.characteristics, ids=lambda c: c.id)
def test_a_left_hand_is_the_mirror_image_of_a_right_one(c):
    right, left = hand_points(ALL[c.id]), hand_points(check_figure(LEFT, c, PROTOCOL))
    assert len(left) == len(right)
    for (xl, yl), (xr, yr) in zip(sorted(left), sorted((WIDTH - x, y) for x, y in right), strict=True):
        assert (xl, yl) == pytest.approx((xr, yr), abs=0.11)


@pytest.mark.parametrize(
    ("name", "to_the_right"), [("palm-up", True), ("back-up", False), ("tips-toward", False)]
)
def test_the_thumb_is_where_it_is_on_a_hand(name, to_the_right):
    scene = view(name, RIGHT)
    thumb, palm = scene.places["thumb-tip"][0][0], scene.places["palm"][0][0]
    assert (thumb > palm) is to_the_right
    assert view(name, LEFT).places["thumb-tip"][0] == pytest.approx(scene.places["thumb-tip"][0])


def test_a_clock_runs_the_same_way_round_on_both_hands():
    right, left = (check_figure(d, PROTOCOL.characteristic("marks-gone"), PROTOCOL) for d in (RIGHT, LEFT))
    inner = [re.findall(r"<svg x=.*?</svg>", s) for s in (right, left)]
    assert [re.sub(r'^<svg x="[^"]*"', "", s) for s in inner[0]] == [
        re.sub(r'^<svg x="[^"]*"', "", s) for s in inner[1]
    ]


# ---- views --------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", VIEWS)
@pytest.mark.parametrize(
    "design", [RIGHT, LEFT, placed(RIGHT, scale_ratio=0.7, side="right")], ids=["r", "l", "s"]
)
def test_every_view_has_every_place_it_promises(name, design):
    scene = view(name, design)
    assert set(VIEWS[name]) <= set(scene.places)
    x0, y0, x1, y1 = bounds(scene.strokes)
    wide, high = 0.08 * (x1 - x0), 0.08 * (y1 - y0)
    for place in VIEWS[name]:
        assert scene.places[place], place
        for x, y in scene.places[place]:
            assert x0 - wide <= x <= x1 + wide, place
            assert y0 - high <= y <= y1 + high, place


def test_a_name_that_is_no_view_is_refused():
    with pytest.raises(KeyError):
        view("from-above", RIGHT)


def test_every_ring_lies_in_the_picture():
    for of, svg in ALL.items():
        for x, y in hand_points(svg):
            assert 0 < x < WIDTH, of
            assert 0 < y < HEIGHT, of


def test_one_digit_is_marked_where_one_is_asked_for():
    c = PROTOCOL.characteristic("knuckle-hinges-free")
    rings = [
        check_figure(RIGHT, c, PROTOCOL, place=p).count('class="fig-mark"') for p in ("", "index", "thumb")
    ]
    every, one, other = (
        len(hand_points(check_figure(RIGHT, c, PROTOCOL, place=p))) for p in ("", "index", "thumb")
    )
    assert rings[0] >= 1
    assert every - one == 4
    assert one == other
    assert check_figure(RIGHT, c, PROTOCOL, place="index") != check_figure(RIGHT, c, PROTOCOL, place="thumb")


# ---- protocols of your own ----------------------------------------------------------------------


def test_an_unknown_protocol_gets_a_drawing_that_suits():
    own = replace(PROTOCOL, id="our-own")
    for c in own.characteristics:
        svg = check_figure(RIGHT, c, own)
        safe(svg)
        figure = figure_for(c, figures_of(own.id))
        assert figure.detail is not None
        assert figure.detail.id == f"method-{c.method}"
    knot = figure_for(own.characteristic("knots-tight"), figures_of(own.id))
    assert (knot.at, knot.region) == (("knots",), "knot")


def test_a_new_characteristic_is_shown_as_its_group_is_held():
    c = replace(PROTOCOL.characteristic("elastics-whole"), id="a-new-one")
    figure = figure_for(c, figures_of(PROTOCOL.id))
    assert figure.view == "back-up"
    assert figure.at == ("knuckles",)


def test_drawings_of_your_own_replace_the_bundled_ones():
    bundled = figures_of(PROTOCOL.id)
    own = Figures(protocol="x", figures={}, held={}, details=bundled.details)
    c = PROTOCOL.characteristic("kit-complete")
    assert check_figure(RIGHT, c, PROTOCOL, figures=own) != ALL["kit-complete"]


@pytest.mark.parametrize(
    "design", [load_design(GOLDEN), replace(RIGHT, digits=RIGHT.digits[:4])], ids=["three digits", "no thumb"]
)
def test_hands_with_other_digits_are_drawn_too(design):
    for c in PROTOCOL.characteristics:
        safe(check_figure(design, c, PROTOCOL))
    for group in GROUPS:
        safe(hold_figure(design, group, PROTOCOL))


def test_assessing_a_hand_loads_no_drawings_of_checks(tmp_path):
    """They are for screens; a person at the command line does not wait for them."""
    probe = (
        "import sys\nfrom handsel.cli import main\n"
        "try:\n    main()\nexcept SystemExit as stop:\n    assert not stop.code\n"
        "print([m for m in sys.modules if m.startswith('handsel.')], file=sys.stderr)"
    )
    command = [sys.executable, "-c", probe, "assess", str(EXAMPLE)]
    done = subprocess.run(
        command, cwd=tmp_path, env=ENV, capture_output=True, text=True, timeout=120, check=True
    )
    loaded = set(re.findall(r"'(handsel\.[a-z_.]+)'", done.stderr))
    assert "handsel.documents.drawing" in loaded or "handsel.cli.assess" in loaded
    assert not {
        m for m in loaded if re.search(r"figure_tables|load_figures|strokes|hand_|check_figure|hold_fig", m)
    }


# ---- how it is held -----------------------------------------------------------------------------


@pytest.mark.parametrize("group", GROUPS, ids=lambda g: g.id)
def test_each_group_shows_how_the_hand_is_held(group):
    svg = hold_figure(RIGHT, group, PROTOCOL)
    safe(svg)
    assert ElementTree.fromstring(svg)[0].text == f"{group.title}. {group.how}"
    assert len(svg.encode()) < 9_000
    assert body(hold_figure(LEFT, group, PROTOCOL)) != body(svg)


def test_the_turn_is_shown_where_the_hand_is_turned_over():
    turned = {g.id for g in GROUPS if "fig-before" in hold_figure(RIGHT, g, PROTOCOL)}
    assert turned == {"dry-back-up", "strung-back-up", "finished-back-up"}


def test_a_group_of_your_own_is_held_as_its_checks_are():
    own = replace(PROTOCOL, id="our-own")
    group = next(g for g in GROUPS if g.id == "fitting-agreed")
    assert held_for(group.id, own, figures_of(own.id)).view == "together"
    safe(hold_figure(RIGHT, group, own))
    assert held_for("nowhere", own, figures_of(own.id)).view == "palm-up"


# ---- colours ------------------------------------------------------------------------------------


def test_every_ink_has_its_colour_in_the_style_sheet():
    css = (Path(handsel.bench.__file__).parent / "static" / "bench" / "figures.css").read_text(
        encoding="utf-8"
    )
    for ink in INKS:
        if ink not in ("line", "bold"):  # these take the drawing's own line
            assert re.search(rf"\.fig-{ink}\b[^{{]*{{", css), ink
    for ink in FILLED:
        assert re.search(rf"\.fig-{ink}\b[^{{]*{{\s*fill:", css), ink
    light, dark = (
        set(re.findall(r"(--fig-[a-z]+):", part)) for part in css.split("@media (prefers-color-scheme: dark)")
    )
    assert light == dark
    assert set(re.findall(r"var\((--fig-[a-z]+)\)", css)) <= light
