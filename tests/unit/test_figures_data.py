"""Drawings as data: the language of strokes, the bundled files, and what is refused in which words."""

from __future__ import annotations

from math import hypot
from pathlib import Path
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsel.data.figure_tables import REGIONS, VIEWS, View
from handsel.data.load_figures import bundled_figures, figures_of, figures_path, load_figures, strangers
from handsel.data.load_protocol import load_protocol
from handsel.data.strokes import BadStroke, band, moved, stroke, strokes
from handsel.errors import BadFile

DETAILS = """format = "handsel-details/1"
[[stamp]]
id = "dot-pair"
strokes = ["dot o -4 0 2", "dot o 4 0 2"]
[[detail]]
id = "hinge"
both = ["part M 10 10 L 90 10 L 90 40 Z"]
good = ["@dot-pair 50 60"]
bad = ["mark> M 10 80 L 60 80"]
"""
FIGURES = """format = "handsel-figures/1"
protocol = "two-checks"
[[held]]
of = "held"
view = "palm-up"
[[figure]]
of = "one"
view = "palm-up"
at = ["knuckles"]
region = "knuckle"
detail = "hinge"
"""


def written(folder: Path, figures: str = FIGURES, details: str = DETAILS) -> tuple[Path, Path]:
    (folder / "own.toml").write_text(figures, encoding="utf-8")
    (folder / "own-details.toml").write_text(details, encoding="utf-8")
    return folder / "own.toml", folder / "own-details.toml"


def said(folder: Path, **texts: str) -> str:
    with pytest.raises(BadFile) as refused:
        load_figures(*written(folder, **texts))
    return str(refused.value)


# ---- strokes ------------------------------------------------------------------------------------


def test_a_path_is_read_step_by_step():
    k = stroke("cord> M 1 2 L 3 4 5 6 Q 7 8 9 10")
    assert (k.ink, k.heads) == ("cord", ">")
    assert k.steps == (("M", (1, 2)), ("L", (3, 4)), ("L", (5, 6)), ("Q", (7, 8, 9, 10)))


def test_a_stamp_is_placed_turned_and_scaled():
    (k,) = strokes(("@one 100 50 90 2",), {"one": ("line M 0 0 L 10 0",)})
    assert [c for _, v in k.steps for c in v] == pytest.approx([100, 50, 100, 70])


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("part", "too few words"),
        ("purple M 1 2 L 3 4", "ink"),
        ("part L 1 2 L 3 4", "begins with M"),
        ("part M 1 2 l 3 4", "in capitals"),
        ("part M 1 2 L 3", "2 numbers"),
        ("part M 1 2 L 3 nan", "far outside"),
        ("part M 1 2 L 3 1e9", "far outside"),
        ("part M 1 2 L 3 four", "no number"),
        ("part M 1 2", "two steps"),
        ("part M 0 0 A 4 5 0 0 1 9 9", "equal radii"),
        ("part M 0 0 A 4 4 0 2 1 9 9", "equal radii"),
        ("dot o 1 2 0", "more than 0"),
        ("part = 0 0 9 1 0 2", "within the other"),
        ("mark> M 0 0 L 5 5 Z", "ends in"),
        ("ink t 4 4 <b>", "letter"),
        ("ink t 4 4 words", "letter"),
        ('part M 1 2 L 3 4"/><script>', "is no command|no number|numbers are wanted"),
    ],
)
def test_what_is_no_stroke_is_refused_in_words(line, says):
    with pytest.raises(BadStroke, match=says):
        stroke(line)


@pytest.mark.parametrize(
    ("line", "stamps", "says"),
    [
        ("@none 1 2", {"one": ()}, "no stamp"),
        ("@one 1", {"one": ()}, "has a place"),
        ("@one 1 2 0 0", {"one": ()}, "more than 0"),
        ("@one 1 2", {"one": ("@one 0 0",)}, "three deep"),
    ],
)
def test_what_is_no_stamp_is_refused_in_words(line, stamps, says):
    with pytest.raises(BadStroke, match=says):
        strokes((line,), stamps)


@given(st.text(max_size=40))
def test_any_text_is_a_stroke_or_is_refused(text):
    try:
        found = strokes((text,), {"one": ("dot o 0 0 1",)})
    except BadStroke:
        return
    assert found


far = st.floats(-200, 200)
radius = st.floats(1, 30)


@given(far, far, radius, far, far, radius)
def test_a_band_touches_both_discs(x1, y1, r1, x2, y2, r2):
    if hypot(x2 - x1, y2 - y1) <= abs(r1 - r2) + 1e-6:
        return
    steps = dict(enumerate(band(x1, y1, r1, x2, y2, r2)))
    for k, (x, y, r) in {0: (x1, y1, r1), 1: (x1, y1, r1), 2: (x2, y2, r2), 3: (x2, y2, r2)}.items():
        px, py = steps[k][1][-2:]
        assert hypot(px - x, py - y) == pytest.approx(r, abs=1e-6)


def test_an_arc_runs_the_other_way_round_in_a_mirror():
    k = stroke("line M 0 0 A 5 5 0 0 1 10 0")
    mirrored = moved(k, lambda x, y: (-x, y), 1.0, flips=True)
    assert mirrored.steps[1] == ("A", (5, 5, 0, 0, 0, -10, 0))
    assert moved(mirrored, lambda x, y: (-x, y), 1.0, flips=True) == k


# ---- files --------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", bundled_figures())
def test_bundled_drawings_and_their_protocol_agree(name):
    assert strangers(load_figures(name), load_protocol(name)) == ()


def test_strangers_are_named():
    own = figures_of("two-checks")
    assert own.figures == {}
    said = strangers(own, load_protocol())
    assert '"kit-complete" has no figure.' in said
    assert any("group" in s for s in said)
    protocol = load_protocol()
    fewer = type(protocol)(
        **{
            f: getattr(protocol, f)
            for f in protocol.__dataclass_fields__
            if protocol.__dataclass_fields__[f].init and f != "characteristics"
        },
        characteristics=protocol.characteristics[1:],
    )
    assert strangers(figures_of(protocol.id), fewer) == (
        'The protocol has no characteristic "kit-complete".',
    )


def test_every_bundled_detail_is_used_or_stands_for_a_method():
    known = figures_of("wrist-hand-1")
    used = {f.detail.id for f in known.figures.values() if f.detail}
    assert {d for d in known.details if not d.startswith("method-")} == used


def test_every_method_has_a_drawing_for_characteristics_without_one():
    methods = ("look", "press", "count", "caliper", "scale", "photo", "pull", "protractor", "move", "ask")
    assert {f"method-{m}" for m in methods} <= set(figures_of("wrist-hand-1").details)


def test_drawings_of_your_own_are_read(tmp_path):
    own = load_figures(*written(tmp_path))
    figure = own.figures["one"]
    assert figure.detail is not None
    assert [k.ink for k in figure.detail.good] == ["part", "dot", "dot"]
    assert [k.ink for k in figure.detail.bad] == ["part", "mark"]
    assert own.held["held"].view == "palm-up"


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('at = ["knuckles"]', 'at = ["knuckels"]', 'Did you mean "knuckles"'),
        ('at = ["knuckles"]', 'at = ["block"]', 'the view "palm-up" has no place "block"'),
        ('detail = "hinge"', 'detail = "hing"', 'Did you mean "hinge"'),
        ('view = "palm-up"\nat', 'view = "palm-down"\nat', "palm-up"),
        ('region = "knuckle"', 'region = "nose"', "knuckle"),
        ('region = "knuckle"\n', "", '"region" is missing'),
        ('detail = "hinge"', 'detail = "hinge"\nscript = "x"', '"script" is not known here'),
        ('detail = "hinge"', 'detail = "hinge"\nalso = ["part M 1"]', "also 1"),
        (
            '[[figure]]\nof = "one"',
            '[[held]]\nof = "held"\nview = "palm-up"\n[[figure]]\nof = "one"',
            "stands twice",
        ),
        ('format = "handsel-figures/1"', 'format = "handsel-figures/9"', "handsel-figures/1"),
    ],
)
def test_a_wrong_figure_is_refused_in_words(tmp_path, old, new, says):
    assert old in FIGURES
    words = said(tmp_path, figures=FIGURES.replace(old, new))
    assert says in words
    assert "own.toml" in words


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("Q", "", None),
        ('"part M 10 10 L 90 10 L 90 40 Z"', '"part M 10 10 L 90"', 'detail 1 "hinge", both 1'),
        ("@dot-pair 50 60", "@dot-pear 50 60", 'no stamp "dot-pear"'),
        ('strokes = ["dot o -4 0 2", "dot o 4 0 2"]', 'strokes = ["@dot-pair 0 0"]', "three deep"),
        ('good = ["@dot-pair 50 60"]', "good = [3]", "good"),
        (
            '[[detail]]\nid = "hinge"',
            '[[detail]]\nid = "empty"\n[[detail]]\nid = "hinge"',
            "it draws nothing",
        ),
        ("[[detail]]", '[[stamp]]\nid = "dot-pair"\nstrokes = []\n[[detail]]', "stands twice"),
    ],
)
def test_a_wrong_detail_is_refused_in_words(tmp_path, old, new, says):
    if says is None:
        assert load_figures(*written(tmp_path, details=DETAILS.replace(old, new))).details
        return
    assert old in DETAILS
    words = said(tmp_path, details=DETAILS.replace(old, new, 1))
    assert says in words
    assert "own-details.toml" in words


def test_an_unknown_name_gets_a_suggestion():
    with pytest.raises(BadFile, match="wrist-hand-1"):
        load_figures("wrist-hand-2")
    assert figures_path(Path("x.toml")) == Path("x.toml")


def test_views_and_regions_are_named_once():
    assert set(get_args(View)) == set(VIEWS)
    assert len(set(REGIONS)) == len(REGIONS)
    for name, places in VIEWS.items():
        assert len(set(places)) == len(places), name
