"""Public functions of the core say what goes in, what comes out, in which unit, and where a formula is from.

What is read, with ast and without importing anything. Of every public class, function and method:
- it has a docstring, unless it is a function of one statement used in its own part only;
- a formula (a power, a root, a trigonometric or exponential function) has its `Source:`, in every part whose
  numbers someone will act on;
Of every function that another part of the program imports, the surface of its own part:
- if it takes anything it has `Parameters:` and names each one there; if it returns anything, `Returns:`.
Wherever it is written:
- a unit in brackets after a name agrees with the unit that the name ends in: `rise_mm : (n,) float [mm]`; so
  do the unit after `Returns:` and the function's name, and a comment behind a field of a dataclass;
- what stands before a colon at the start of a line under `Parameters:` is a parameter;
- a test file named under `Checked by:` exists.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from unit.test_imports import CORE, SRC, module_name, part_of

ROOT = Path(__file__).parents[2]
HEADINGS = ("Parameters", "Returns", "Raises", "Valid for", "Source", "Checked by")
HEADING = re.compile(rf"(?:^|\s{{2,}})({'|'.join(HEADINGS)}):", re.MULTILINE)

# Name ending -> how its unit may be written in brackets. The longest ending that fits counts.
UNITS = {
    "mm": {"mm"}, "mm2": {"mm2", "mm^2", "mm²"}, "mm3": {"mm3", "mm^3", "mm³"},
    "um": {"um", "µm"}, "m": {"m"},
    "deg": {"deg", "°"}, "rad": {"rad"}, "turns": {"turn", "turns", "-"},
    "n": {"N"}, "nmm": {"N mm", "N·mm", "Nmm", "N*mm"}, "n_per_mm": {"N/mm"},
    "nmm_per_rad": {"N mm/rad", "N·mm/rad", "Nmm/rad"},
    "mm_per_turn": {"mm/turn"}, "deg_per_mm": {"deg/mm", "°/mm"}, "mm_per_rad": {"mm/rad"},
    "mpa": {"MPa"}, "g": {"g"}, "kg": {"kg"},
    "g_per_mm3": {"g/mm3", "g/mm^3", "g/mm³"}, "g_per_cm3": {"g/cm3", "g/cm^3", "g/cm³"},
    "s": {"s"}, "min": {"min"}, "minutes": {"min"}, "c": {"°C", "C", "degC"},
    "px": {"px"}, "px_per_mm": {"px/mm"}, "mm_per_px": {"mm/px"},
    "ratio": {"-", "1"}, "count": {"-", "1"},
}
KNOWN_UNITS = set().union(*UNITS.values())
FORMULA_CALLS = {
    "sin", "cos", "tan", "asin", "acos", "atan", "atan2", "arcsin", "arccos", "arctan", "arctan2",
    "exp", "expm1", "log", "log1p", "log10", "sqrt", "hypot", "erf", "erfc", "gamma", "lgamma",
}

SHAPES_ONLY = {"errors", "design"}       # parts whose powers and roots shape things and judge nothing

Function = ast.FunctionDef | ast.AsyncFunctionDef


@dataclass(frozen=True)
class Sections:
    """A docstring cut at its headings; '' holds what stands before the first."""

    texts: dict[str, str]

    @classmethod
    def of(cls, doc: str) -> Sections:
        pieces = HEADING.split(doc)
        return cls({"": pieces[0]} | dict(zip(pieces[1::2], pieces[2::2], strict=True)))

    def __contains__(self, heading: str) -> bool:
        return bool(self.texts.get(heading, "").strip())

    def __getitem__(self, heading: str) -> str:
        return self.texts.get(heading, "")


def unit_of(name: str) -> set[str] | None:
    """Units that a name's ending allows; None when it ends in no unit."""
    words = name.split("_")
    for start in range(1, len(words)):            # longest ending first; a bare `n` or `c` is no unit
        if (allowed := UNITS.get("_".join(words[start:]))) is not None:
            return allowed
    return None


def bracketed(text: str) -> str | None:
    """The first bracket that holds a unit, before the clause or sentence ends."""
    clause = re.split(r";|\.\s|\n\s*\n", text)[0]
    inside = [b.strip() for b in re.findall(r"\[([^\[\]]+)\]", clause)]
    return next((b for b in inside if b in KNOWN_UNITS), None)


def disagreement(name: str, text: str) -> str | None:
    allowed, written = unit_of(name), bracketed(text)
    if allowed and written and written not in allowed:
        return f"{name} is said to be in [{written}]"
    return None


def parameters(node: Function) -> list[str]:
    spec = node.args
    named = [*spec.posonlyargs, *spec.args, *spec.kwonlyargs, *filter(None, [spec.vararg, spec.kwarg])]
    return [a.arg for a in named if a.arg not in {"self", "cls"}]


def returns_nothing(node: Function) -> bool:
    return isinstance(node.returns, ast.Constant) and node.returns.value is None


def has_formula(node: Function) -> bool:
    for inner in ast.walk(node):
        if isinstance(inner, ast.BinOp) and isinstance(inner.op, ast.Pow):
            return True
        if isinstance(inner, ast.Call):
            called = inner.func
            name = called.attr if isinstance(called, ast.Attribute) else getattr(called, "id", "")
            if name in FORMULA_CALLS:
                return True
    return False


def mentions(text: str, names: list[str]) -> Iterator[tuple[str, str]]:
    """Each parameter that the text names, with what follows up to the next one named."""
    found = sorted((m.start(), m.end(), n) for n in names for m in re.finditer(rf"\b{re.escape(n)}\b", text))
    for k, (_, end, name) in enumerate(found):
        yield name, text[end:found[k + 1][0] if k + 1 < len(found) else None]


def function_faults(node: Function, *, surface: bool, formulas: bool) -> Iterator[str]:
    doc = ast.get_docstring(node)
    if not doc:
        if surface or len(node.body) > 1:
            yield "has no docstring"
        return
    said, names = Sections.of(doc), parameters(node)
    if surface:
        if names and "Parameters" not in said:
            yield "takes something, but has no Parameters:"
        elif missing := [n for n in names if not re.search(rf"\b{re.escape(n)}\b", said["Parameters"])]:
            yield f"does not name {', '.join(missing)} under Parameters:"
        if not returns_nothing(node) and "Returns" not in said:
            yield "returns something, but has no Returns:"
    if (surface or formulas) and has_formula(node) and "Source" not in said:
        yield "holds a formula, but has no Source:"
    yield from unit_faults(node, said, names)
    for path in re.findall(r"\b\w+/test_\w+\.py", said["Checked by"]):
        if not (ROOT / "tests" / path).exists():
            yield f"names {path} under Checked by:, and there is no such file"


def unit_faults(node: Function, said: Sections, names: list[str]) -> Iterator[str]:
    for name, text in mentions(said["Parameters"], names):
        if wrong := disagreement(name, text):
            yield wrong
    for name in re.findall(r"^\s*(\w+)\s*:\s", said["Parameters"], re.MULTILINE):
        if name not in names:
            yield f"describes {name}, which is no parameter"
    if wrong := disagreement(node.name, said["Returns"]):
        yield f"returns what its name does not say: {wrong}"


def field_faults(node: ast.ClassDef, lines: list[str]) -> Iterator[str]:
    for field in node.body:
        if isinstance(field, ast.AnnAssign) and isinstance(field.target, ast.Name):
            _, _, comment = lines[(field.end_lineno or field.lineno) - 1].partition("#")
            if wrong := disagreement(field.target.id, comment):
                yield f"{wrong} in its comment"


def faults(source: str, module: str, taken: set[tuple[str, str]]) -> list[str]:
    """What is missing or contradictory in one module, in words; taken: what other parts import."""
    lines, found = source.splitlines(), []
    formulas = module.split(".")[1] not in SHAPES_ONLY
    for node in ast.parse(source).body:
        if isinstance(node, Function) and not node.name.startswith("_"):
            seen = function_faults(node, surface=(module, node.name) in taken, formulas=formulas)
            found += [f"{module}:{node.lineno} {node.name} {f}" for f in seen]
        if isinstance(node, ast.ClassDef):
            found += [f"{module}:{node.lineno} {node.name}: {f}" for f in field_faults(node, lines)]
        if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
            if not ast.get_docstring(node):
                found.append(f"{module}:{node.lineno} {node.name} has no docstring")
            methods = [m for m in node.body if isinstance(m, Function) and not m.name.startswith("_")]
            found += [f"{module}:{m.lineno} {node.name}.{m.name} has no docstring" for m in methods
                      if len(m.body) > 1 and not ast.get_docstring(m)]
    return found


def taken_by(source: str, module: str) -> set[tuple[str, str]]:
    """(module, name) of all that this module imports from other parts, or reads off an imported module."""
    tree, taken, modules = ast.parse(source), set(), {}
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("handsel"):
            for alias in node.names:
                taken.add((node.module, alias.name))
                modules[alias.asname or alias.name] = f"{node.module}.{alias.name}"
        if isinstance(node, ast.Import):
            modules |= {alias.asname: alias.name for alias in node.names if alias.asname}
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id in modules:
            taken.add((modules[node.value.id], node.attr))
    return {(m, n) for m, n in taken if part_of(m) != part_of(module)}


def sources() -> dict[str, str]:
    files = sorted((SRC / "handsel").rglob("*.py"))
    found = {module_name(path, SRC): path.read_text(encoding="utf-8") for path in files}
    assert len(found) > 10, "the sources were not found"
    return found


def test_the_core_says_what_it_takes_and_returns():
    taken = set().union(*(taken_by(text, module) for module, text in sources().items()))
    found = [f for module, text in sources().items() if part_of(module) in CORE
             for f in faults(text, module, taken)]
    assert not found, "\n" + "\n".join(found)


def test_another_part_makes_a_function_surface():
    text = "from handsel.mechanics.rest import rest_worked\nfrom handsel.mechanics import paths\npaths.wrap()"
    assert {("handsel.mechanics.rest", "rest_worked"), ("handsel.mechanics.paths", "wrap")} <= taken_by(
        text, "handsel.rework.fix")
    assert taken_by(text, "handsel.mechanics.energy") == set()


GOOD = '''
def rise_mm(run_mm: float, slope_deg: float, *, times: int) -> float:
    """Rise of a slope.

    Parameters: run_mm : float [mm], along the ground; slope_deg [deg]; times, how often.
    Returns: rise [mm].    Raises: nothing of its own.
    Source: definition of the tangent.
    Checked by: unit/test_docstrings.py
    """
    return times * run_mm * tan(radians(slope_deg))
'''


MODULE = "handsel.sizing.slope"
SURFACE = {(MODULE, "rise_mm")}


def test_a_full_docstring_passes():
    assert faults(GOOD, MODULE, SURFACE) == []


def test_within_its_part_a_function_may_say_less():
    brief = GOOD.replace("Parameters: ", "").replace("Returns: ", "")
    assert len(faults(brief, MODULE, SURFACE)) == 2
    assert faults(brief, MODULE, set()) == []


@pytest.mark.parametrize(("change", "to", "says"), [
    ("Parameters: ", "Takes: ", "no Parameters:"),
    ("Returns: rise [mm].", "", "no Returns:"),
    ("Source: definition of the tangent.", "", "no Source:"),
    ("Source: definition of the tangent.", "Source:", "no Source:"),
    ("; times, how often", "", "does not name times"),
    ("run_mm : float [mm]", "run_mm : float [deg]", "run_mm is said to be in [deg]"),
    ("slope_deg [deg]", "slope_deg [rad]", "slope_deg is said to be in [rad]"),
    ("Returns: rise [mm]", "Returns: rise [N]", "rise_mm is said to be in [N]"),
    ("times, how often", "times, how often;\n        height : float [mm]", "height, which is no parameter"),
    ("test_docstrings.py", "test_nowhere.py", "no such file"),
])
def test_a_gap_is_seen(change, to, says):
    assert GOOD.count(change) == 1
    found = faults(GOOD.replace(change, to), MODULE, SURFACE)
    assert any(says in f for f in found), found


@pytest.mark.parametrize(("source", "says"), [
    ("def f() -> None:\n    a = 1\n    print(a)", "has no docstring"),
    ("class A:\n    x_mm: float", "A has no docstring"),
    ("class A:\n    '''One.'''\n    def f(self):\n        x = 1\n        return x", "A.f has no docstring"),
    ("class A:\n    '''One.'''\n    x_mm: float  # width [N]", "x_mm is said to be in [N] in its comment"),
])
def test_a_gap_outside_functions_is_seen(source, says):
    assert any(says in f for f in faults(source, MODULE, set()))


@pytest.mark.parametrize(("name", "unit"), [
    ("u_length_mm", "mm"), ("stiffness_n_per_mm", "N/mm"), ("moment_nmm", "N mm"),
    ("scale_px_per_mm", "px/mm"), ("share_ratio", "-"), ("rest_angle_deg", "deg"),
])
def test_the_longest_ending_counts(name, unit):
    assert unit in (unit_of(name) or set())
