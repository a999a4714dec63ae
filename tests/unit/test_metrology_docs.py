"""The docstrings of metrology: their examples are true, their headings and tests are there."""

import doctest
import importlib
import inspect
import pkgutil
import re
from pathlib import Path

import pytest

import handsel.metrology

MODULES = [importlib.import_module(f"handsel.metrology.{found.name}")
           for found in pkgutil.iter_modules(handsel.metrology.__path__)]
FUNCTIONS = [(module, name, made) for module in MODULES for name, made in vars(module).items()
             if inspect.isfunction(made) and made.__module__ == module.__name__ and not name.startswith("_")]
TESTS = Path(__file__).parents[1]


def test_examples_are_true():
    results = [doctest.testmod(module) for module in MODULES]
    assert sum(result.attempted for result in results) >= 14
    assert sum(result.failed for result in results) == 0


@pytest.mark.parametrize(("module", "name", "made"), FUNCTIONS, ids=[name for _, name, _ in FUNCTIONS])
def test_every_function_says_what_a_reader_needs(module, name, made):
    text = inspect.getdoc(made)
    for heading in ("Parameters:", "Returns:", "Raises:", "Valid for:", "Source:", "Checked by:"):
        assert heading in text, f"{name} has no {heading}"
    checked_by = text.split("Checked by:")[1].split(">>>")[0]
    named = re.findall(r"\w+/test_\w+\.py", checked_by)
    assert named or "as conformance_probability" in checked_by
    assert all((TESTS / file).is_file() for file in named)


def test_there_is_something_to_read():
    assert len(FUNCTIONS) > 30
