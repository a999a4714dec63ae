"""The look of the bench: contrast in every light, nothing inline, every fragment as its page describes it."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from pathlib import Path
from types import SimpleNamespace

import pytest
from django import forms
from django.template.loader import get_template, render_to_string

BENCH = Path(__file__).parents[2] / "src" / "handsel" / "bench"
STATIC, PARTS = BENCH / "static" / "bench", BENCH / "templates" / "bench" / "parts"
OURS = ("handsel.css", "controls.css", "parts.css", "drawing.css", "wall.css")
PAGE = Path(__file__).parents[2] / "docs" / "visual-language.md"
TEMPLATES = sorted(BENCH.rglob("templates/**/*.html"))
STANDINGS = {
    "building": "on the bench",
    "asked": "waiting to be looked at",
    "looking": "being looked at",
    "to put right": "to put right",
    "for the lead": "for the lead",
    "ready to fit": "ready to fit",
    "released": "released",
    "handed over": "handed over",
    "scrapped": "scrapped",
}
VERDICTS = {
    "conforms": "conforms",
    "does not conform": "not",
    "undecided": "undecided",
    "not seen": "unseen",
}


def part(fragment: str, /, **told: object) -> str:
    return str(render_to_string(f"bench/parts/{fragment}.html", told))


# ---- colour -------------------------------------------------------------------------------------


def themes() -> dict[str, dict[str, str]]:
    """Each block of tokens, laid over the one for day."""
    text = (STATIC / "handsel.css").read_text(encoding="utf-8")
    blocks = [
        dict(re.findall(r"--([\w-]+):\s*(#[0-9a-f]{6})", body))
        for body in re.findall(r"\{([^{}]*--paper:\s*#[0-9a-f]{6}[^{}]*)\}", text)
    ]
    names = ("day", "night by device", "night", "bright hall", "bright hall by device", "dark hall by device")
    assert len(blocks) == len(names), "a theme was added or lost: name it here"
    return {name: {**blocks[0], **block} for name, block in zip(names, blocks, strict=True)}


def contrast(a: str, b: str) -> float:
    """WCAG 2.2: ratio of relative luminances, each raised by 0.05."""

    def light(colour: str) -> float:
        parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
        line = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
        return 0.2126 * line[0] + 0.7152 * line[1] + 0.0722 * line[2]

    high, low = sorted((light(a), light(b)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_the_contrast_measure_gives_the_standards_own_ends() -> None:
    # WCAG 2.2, definition of contrast ratio: from 1 (same) to 21 (black on white).
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0, rel=1e-12)
    assert contrast("#777777", "#777777") == pytest.approx(1.0, rel=1e-12)
    # The grey that is often quoted as the lightest to pass 4.5 on white, and the next lighter, which does not.
    assert contrast("#767676", "#ffffff") >= 4.5 > contrast("#777777", "#ffffff")


@pytest.mark.parametrize("theme", sorted(themes()))
def test_words_and_edges_can_be_read_in_every_light(theme: str) -> None:
    t = themes()[theme]
    grounds = ("paper", "sheet")
    for ground in (*grounds, "bone", "cord-wash", "elastic-wash", "carbon-wash"):
        assert contrast(t["ink"], t[ground]) >= 7.0, ("ink", ground)
    assert contrast(t["on-ink"], t["ink"]) >= 7.0
    for voice in ("pencil", "cord-text", "elastic-text", "carbon-text"):
        for ground in grounds:
            least = 7.0 if voice == "pencil" else 6.0
            assert contrast(t[voice], t[ground]) >= least, (voice, ground)
    for edge in ("line", "cord", "elastic", "carbon"):  # edges of controls, focus, drawn state: 1.4.11
        for ground in grounds:
            assert contrast(t[edge], t[ground]) >= 3.0, (edge, ground)
    assert contrast(t["cord-text"], t["cord-wash"]) >= 4.5


def test_a_theme_chosen_by_hand_is_the_one_that_the_device_would_give() -> None:
    t = themes()
    assert t["night"] == t["night by device"]
    assert t["bright hall"] == t["bright hall by device"]


# ---- nothing inline, nothing from elsewhere -------------------------------------------------------


class _Inline(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        names = dict(attrs)
        if tag == "style" or (
            tag == "script" and "src" not in names and names.get("type") != "application/json"
        ):
            self.found.append(f"<{tag}>")
        self.found += [f"{tag} {n}" for n in names if n == "style" or re.fullmatch(r"on[a-z]+", n)]
        for name in ("href", "src", "action"):
            if re.match(r"(https?:)?//|data:|javascript:", names.get(name) or ""):
                self.found.append(f"{tag} {name}={names[name]}")


def test_the_search_for_inline_things_finds_them() -> None:
    seen = _Inline()
    seen.feed('<p style="x" onclick="y"></p><script>1</script><img src="//elsewhere/x.png">')
    assert len(seen.found) == 4


@pytest.mark.parametrize("path", TEMPLATES, ids=[str(p.relative_to(BENCH)) for p in TEMPLATES])
def test_no_template_writes_style_or_script_into_a_page(path: Path) -> None:
    seen = _Inline()
    seen.feed(re.sub(r"\{#.*?#\}|\{%.*?%\}", "", path.read_text(encoding="utf-8"), flags=re.S))
    assert seen.found == []


@pytest.mark.parametrize("name", OURS)
def test_style_sheets_fetch_only_our_own_typefaces(name: str) -> None:
    text = (STATIC / name).read_text(encoding="utf-8")
    assert "@import" not in text
    for address in re.findall(r"url\(\s*[\"']?([^)\"']+)", text):
        assert (STATIC / address).is_file(), address
    assert text.count("{") == text.count("}")


def test_the_typefaces_come_with_their_licence() -> None:
    assert "SIL OPEN FONT LICENSE" in (STATIC / "fonts" / "OFL.txt").read_text(encoding="utf-8")
    for face in (STATIC / "fonts").glob("*.woff2"):
        assert face.read_bytes()[:4] == b"wOF2"


# ---- fragments ----------------------------------------------------------------------------------------


def drawn() -> set[str]:
    return set(re.findall(r'<symbol id="s-([\w-]+)"', (PARTS / "shapes.html").read_text(encoding="utf-8")))


def shapes_in(html: str) -> list[str]:
    return re.findall(r'<use href="#s-([\w-]*)"', html)


@pytest.mark.parametrize("standing", STANDINGS)
def test_where_a_hand_stands_is_told_by_word_and_by_a_shape_of_its_own(standing: str) -> None:
    html = part("standing", standing=standing)
    assert STANDINGS[standing] in html
    assert len(shapes_in(html)) == 1
    assert shapes_in(html)[0] in drawn()


def test_no_two_standings_share_a_shape() -> None:
    assert len({shapes_in(part("standing", standing=s))[0] for s in STANDINGS}) == len(STANDINGS)


@pytest.mark.parametrize("verdict", VERDICTS)
@pytest.mark.parametrize("big", [False, True])
def test_what_a_check_gave_is_told_by_word_and_shape(verdict: str, *, big: bool) -> None:
    html = part("verdict", verdict=verdict, big=big, sentence="The cuff drags.")
    assert verdict in html.lower()
    assert shapes_in(html) == [VERDICTS[verdict]]
    assert ("The cuff drags." in html) is big


def test_words_from_outside_are_escaped() -> None:
    bad = '<b>&"'
    pages = [
        part("standing", standing="asked", words=bad),
        part("verdict", verdict="conforms", words=bad),
        part("tag", code=bad),
        part("big_button", words=bad, small=bad),
        part("number", name="m", label=bad, unit=bad, value=bad, error=bad),
        part("notice", kind="stop", head=bad, text=bad),
        part("choices", legend=bad, name="n", options=[{"value": bad, "words": bad}]),
    ]
    assert all("<b>" not in p.replace("<b>&lt;b&gt;", "") and "&lt;b&gt;&amp;&quot;" in p for p in pages)


def test_every_shape_that_a_template_names_is_drawn() -> None:
    named = {
        n
        for p in TEMPLATES
        for n in re.findall(r'(?:with|\s)shape="([\w-]+)"|href="#s-([\w-]+)"', p.read_text(encoding="utf-8"))
        for n in n
        if n
    }
    assert named, "no template names a shape: the search is wrong"
    assert named <= drawn()


def test_a_row_of_hands_says_where_why_who_and_how_long() -> None:
    row = SimpleNamespace(
        code="K7M-4QX", url="/h/K7M4QX/", standing="for the lead", blocks="sealed too early", who="inspector 2",
        waited="41 min", waited_long=True,
    )  # fmt: skip
    html = part("hand_row", row=row)
    for word in (
        "K7M-4QX",
        "/h/K7M4QX/",
        "for the lead",
        "sealed too early",
        "inspector 2",
        "41 min",
        "is-long",
    ):
        assert word in html


def test_a_number_is_asked_with_its_unit_its_keyboard_and_its_error() -> None:
    html = part(
        "number", name="mass", label="Mass", unit="g", unit_words="grams", hint="Dry.", error="Too much."
    )
    assert 'inputmode="decimal"' in html
    assert 'aria-describedby="mass-hint mass-wrong"' in html
    assert 'aria-invalid="true"' in html
    assert "in grams" in html


def test_a_form_field_shows_label_hint_and_error() -> None:
    class Asked(forms.Form):
        place = forms.CharField(label="Place", help_text="The hall.", required=False)
        closes = forms.TimeField(label="Closes at")

    asked = Asked({"closes": "soon"})
    html = part("field", field=asked["place"]) + part("field", field=asked["closes"])
    assert "if you know it" in html
    assert "The hall." in html
    assert html.count("is-wrong") == 1
    assert 'role="alert"' in html


def test_choices_keep_what_was_chosen_and_can_be_many() -> None:
    options = [{"value": "a", "words": "Free"}, {"value": "b", "words": "Sticks", "disabled": True}]
    one = part("choices", legend="Wrist", name="w", options=options, chosen="a", columns=2)
    many = part("choices", legend="Wrist", name="w", options=options, chosen=["a", "b"], many=True)
    assert (one.count('type="radio"'), one.count(" checked"), one.count(" disabled")) == (2, 1, 1)
    assert (many.count('type="checkbox"'), many.count(" checked")) == (2, 2)
    assert "choices-2" in one


def test_steps_can_be_ticked_or_only_read() -> None:
    steps = [
        {"words": "Feed the cord", "done": True, "value": "1"},
        {"words": "Tie", "next": True, "value": "2"},
    ]
    ticked = part("steps", steps=steps, name="done")
    assert (ticked.count("checkbox"), ticked.count(" checked"), ticked.count("is-next")) == (2, 1, 1)
    assert "checkbox" not in part("steps", steps=steps)


def test_the_line_of_hold_points_says_in_words_what_its_knots_show() -> None:
    stations = [
        {"title": t, "state": s, "count": n}
        for t, s, n in (
            ("Parts", "passed", 4),
            ("Dry fit", "stopped", 0),
            ("Strung", "here", ""),
            ("Fitting", "ahead", None),
        )
    ]
    html = part("stations", stations=stations)
    for words in ("passed", "held here", "here now", "still to come"):
        assert words in html
    assert html.count('aria-current="step"') == 1
    assert html.count('class="count"') == 2  # zero hands is a count, nothing is not


@pytest.mark.parametrize("kind", ["calm", "warning", "stop", "done"])
def test_a_notice_has_a_shape_and_is_read_out(kind: str) -> None:
    html = part("notice", kind=kind, head="Stay connected", text="No internet is needed.")
    assert shapes_in(html)
    assert ("alert" in html) is (kind in ("warning", "stop"))
    assert "No internet is needed." in html


def test_the_error_page_can_be_shown_with_nothing_at_all() -> None:
    html = get_template("bench/error.html").render()  # no request, no person, no database
    assert "What to do" in html
    assert 'href="/static/bench/handsel.css"' in html
    told = {
        "title": "Not here",
        "what": "No such hand",
        "where": "label",
        "do": "Look again",
        "back_url": "/day/",
    }
    html = get_template("bench/error.html").render(told)
    assert all(word in html for word in told.values())


def test_the_frame_says_who_is_signed_in_unless_a_maker_works_alone() -> None:
    signed = render_to_string("bench/base.html", {"person": "inspector 2", "solo": False})
    alone = render_to_string("bench/base.html", {"person": "maker", "solo": True})
    assert 'href="/switch/"' in signed
    assert "inspector 2" in signed
    assert "/switch/" not in alone
    assert "data-unsent" in alone


def test_the_page_on_the_look_names_only_classes_that_exist() -> None:
    styled = set(
        re.findall(
            r"\.([a-z][\w-]*)",
            "".join((STATIC / n).read_text(encoding="utf-8") for n in (*OURS, "figures.css")),
        )
    )
    text = PAGE.read_text(encoding="utf-8")
    shown = {c for value in re.findall(r'class="([^"{]+)"', text) for c in value.split()}
    listed = set(re.findall(r"`\.([a-z][\w-]*)`", text))
    assert shown, "the page shows no markup: the search is wrong"
    assert shown | listed <= styled
