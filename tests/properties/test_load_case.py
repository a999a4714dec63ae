"""Whatever a case file holds, it is read or refused with BadFile, and never anything else."""

from __future__ import annotations

import tomllib
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsel.data.load_case import load_case
from handsel.errors import BadFile, HandselError
from handsel.inspection.deciding import inspect
from inspecting import CASES, bundled

GOOD = (CASES / "good_hand.toml").read_bytes()
LINES = GOOD.decode().split("\n")


def outcome(raw: bytes) -> str:
    with TemporaryDirectory() as folder:
        path = Path(folder) / "hand.toml"
        path.write_bytes(raw)
        try:
            return inspect(load_case(path), bundled()).whole
        except HandselError as error:
            refused = error
    assert "hand.toml" in refused.where
    assert refused.what
    assert refused.do
    return "refused" if isinstance(refused, BadFile) else "does not fit"


@given(st.binary(max_size=300))
@settings(max_examples=150)
def test_noise(raw):
    try:
        known = bool(tomllib.loads(raw.decode()))
    except ValueError:
        known = False
    assert outcome(raw) == "refused" or known


@given(st.integers(0, len(GOOD) - 1), st.integers(0, 255))
@settings(max_examples=150)
def test_one_byte_changed(position, byte):
    changed = bytearray(GOOD)
    changed[position] = byte
    assert outcome(bytes(changed)) in (
        "refused",
        "does not fit",
        "release",
        "not decided yet",
        "rework",
        "scrap part",
    )


@given(st.sets(st.integers(0, len(LINES) - 1), min_size=1, max_size=6))
@settings(max_examples=100)
def test_lines_lost(lost):
    kept = "\n".join(line for i, line in enumerate(LINES) if i not in lost)
    assert outcome(kept.encode()) in ("refused", "does not fit", "release", "not decided yet")


values = st.recursive(
    st.none() | st.booleans() | st.integers(-10, 10**20) | st.floats() | st.text(max_size=8),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(["of", "by", "x"]), inner, max_size=3)
    ),
    max_leaves=5,
)


def toml(value) -> str:
    if value is None:
        return '""'
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float):
        return {"inf": "inf", "-inf": "-inf", "nan": "nan"}.get(str(value), repr(value))
    if isinstance(value, str):
        return (
            '"'
            + "".join(
                c if c.isalnum() else f"\\U{ord(c):08x}" for c in value if not 0xD800 <= ord(c) <= 0xDFFF
            )
            + '"'
        )
    if isinstance(value, list):
        return "[" + ", ".join(map(toml, value)) + "]"
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{k} = {toml(v)}" for k, v in value.items()) + " }"
    return str(value)


@given(
    st.sampled_from(
        [
            "of",
            "answer",
            "digit",
            "digits",
            "value_deg",
            "readings_deg",
            "u_deg",
            "method",
            "by",
            "note",
            "before",
            "after",
        ]
    ),
    values,
)
@settings(max_examples=200)
def test_any_value_for_any_key(key, value):
    text = (
        GOOD.decode()
        + f"\n[[observation]]\n{key} = {toml(value)}\n"
        + ("" if key == "of" else 'of = "six-knots"\n')
    )
    assert outcome(text.encode()) in ("refused", "does not fit", "release", "not decided yet", "rework")


@pytest.mark.parametrize("bom", [b"", b"\xef\xbb\xbf"])
@pytest.mark.parametrize("end", [b"\n", b"\r\n"])
def test_files_from_other_systems_are_read(bom, end):
    assert outcome(bom + GOOD.replace(b"\n", end)) == "release"
