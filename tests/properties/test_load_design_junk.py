"""Whatever is done to a design file, loading it gives a design or says what is wrong: nothing else."""

import copy
import tomllib
from collections.abc import Callable
from datetime import date
from math import inf, isfinite, nan
from pathlib import Path
from typing import Any

import numpy as np
from hypothesis import event, given, settings
from hypothesis import strategies as st

from handsel.data.design_text import design_from_text, design_text
from handsel.data.load_design import design_from_data, load_design
from handsel.design.check import check_design
from handsel.design.model import Design
from handsel.design.placing import placed
from handsel.errors import BadFile
from handsel.mechanics.build import nominal_build
from handsel.mechanics.model import compile_model

SAVED = Path(__file__).parents[1] / "golden" / "design_1_three_digits.toml"
TEXT = SAVED.read_text(encoding="utf-8")
GOOD = tomllib.loads(TEXT)

JUNK = st.one_of(
    st.sampled_from(
        [None, True, "", "palm", "index", "wrist", "\x1b[2J", [], {}, [[]], nan, inf, -inf, date(2026, 1, 1)]
    ),
    st.sampled_from([0, -1, 1e-300, 1e300, 10**400, 1 << 20_000, -0.0, 25.4, 90.0, -12.0, 1e-9]),
    st.floats(-500.0, 500.0),
    st.integers(-3, 300),
    st.text(max_size=8),
    st.lists(st.floats(-50.0, 50.0), max_size=4),
    st.recursive(
        st.integers(), lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner), max_leaves=5
    ),
)


def branches(data: Any, at: tuple[str | int, ...] = ()) -> list[tuple[str | int, ...]]:
    """The way to every key and list entry of the tree."""
    items = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    return [way for k, v in items for way in ((*at, k), *branches(v, (*at, k)))]


WAYS = branches(GOOD)


@st.composite
def damage(draw: st.DrawFn) -> dict[str, Any]:
    """The good tables with one to three keys taken out, replaced, doubled, renamed or swapped."""
    data = copy.deepcopy(GOOD)
    for _ in range(draw(st.integers(1, 3))):
        way = draw(st.sampled_from(WAYS))
        owner: Any = data
        try:
            for step in way[:-1]:
                owner = owner[step]
            here = owner[way[-1]]
        except (KeyError, IndexError, TypeError):
            continue  # an earlier blow took this branch away
        if not isinstance(owner, dict | list):
            continue
        kind = draw(st.sampled_from(["out", "junk", "double", "rename", "elsewhere"]))
        if kind == "out":
            del owner[way[-1]]
        elif kind == "junk":
            owner[way[-1]] = draw(JUNK)
        elif kind == "elsewhere":
            owner[way[-1]] = copy.deepcopy(at(GOOD, draw(st.sampled_from(WAYS))))
        elif kind == "double" and isinstance(owner, list):
            owner.append(copy.deepcopy(here))
        elif kind == "rename" and isinstance(owner, dict):
            owner[draw(st.text(max_size=6))] = owner.pop(way[-1])
    return data


def at(data: Any, way: tuple[str | int, ...]) -> Any:
    for step in way:
        data = data[step]
    return data


def held_up(design: Design) -> None:
    """What was let in works: it can be placed, checked, made ready to solve, written and read again."""
    hand = placed(design, scale_ratio=design.scale_max_ratio, side="left")
    assert all(isfinite(line.value) for line in check_design(hand))
    with np.errstate(divide="raise", over="raise", invalid="ignore"):  # what is not finite is found below
        model = compile_model(hand, nominal_build(hand))
    assert np.isfinite(model.cord_free_mm).all()
    assert np.isfinite(model.elastic_free_mm).all()
    assert design_from_text(design_text(design), where="record") == design


def outcome(load: Callable[[], Design]) -> Design | BadFile:
    """Anything but these two fails the test by itself."""
    try:
        return load()
    except BadFile as error:
        return error


def in_words(error: BadFile, where: str) -> None:
    assert error.where.startswith(where)
    assert error.what
    assert error.do
    assert str(error).isprintable()
    assert len(str(error)) < 2_000


@settings(max_examples=150)
@given(damage())
def test_damaged_tables_give_a_design_or_a_reason(data: dict[str, Any]) -> None:
    result = outcome(lambda: design_from_data(data, "hurt.toml"))
    event(type(result).__name__)
    if isinstance(result, BadFile):
        in_words(result, "hurt.toml")
    else:
        held_up(result)


@settings(max_examples=60)
@given(st.data())
def test_damaged_text_gives_a_design_or_a_reason(tmp_path_factory: Any, data: st.DataObject) -> None:
    start = data.draw(st.integers(0, len(TEXT)))
    end = data.draw(st.integers(start, min(len(TEXT), start + 40)))
    path = tmp_path_factory.getbasetemp() / "hurt.toml"
    path.write_text(TEXT[:start] + data.draw(st.text(max_size=10)) + TEXT[end:], encoding="utf-8")
    result = outcome(lambda: load_design(path))
    if isinstance(result, BadFile):
        in_words(result, str(path))
    else:
        held_up(result)


@given(st.binary(max_size=300))
def test_random_bytes_give_a_reason(tmp_path_factory: Any, raw: bytes) -> None:
    path = tmp_path_factory.getbasetemp() / "noise.toml"
    path.write_bytes(raw)
    result = outcome(lambda: load_design(path))
    assert isinstance(result, BadFile)  # 300 bytes are no design
    in_words(result, str(path))
