"""Every import in src/handsel points inward, and the core knows no clock, no database and no paths.

The rule and its reasons: docs/decisions/0003-import-order.md. Nothing is skipped: imports inside functions,
under `if TYPE_CHECKING`, in `try`, relative ones and import_module calls are all read.
"""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

SRC = Path(__file__).parents[2] / "src"
ORDER = ["errors", "metrology", "design", "mechanics", "vision", "inspection", "diagnosis", "rework",
         "sizing", "lessons", "data", "documents", "cli", "bench"]
OUTERMOST = {"cli", "bench"}           # side by side: neither may import the other
CORE = set(ORDER[:ORDER.index("data")])

# Outside packages by the part that may import them; the heavy ones only inside a function.
LIGHT = {
    "core": {"numpy"},
    "data": {"numpy", "pydantic", "pydantic_core", "annotated_types"},
    "documents": {"numpy", "typst", "segno"},
    "cli": {"click", "rich", "numpy", "pydantic"},
    "bench": {"django", "django_htmx", "click", "rich", "pydantic", "pydantic_core", "segno"},
}
HEAVY = {
    "core": {"scipy", "trimesh", "manifold3d", "networkx", "lxml", "PIL", "cv2"},
    "data": {"PIL", "pillow_heif"},
    "documents": {"PIL"},
    "cli": set(),
    "bench": {"PIL", "pillow_heif", "waitress", "numpy"},
}
CLOCK_MODULES = {"time", "sched", "timeit"}
FILE_MODULES = {"os", "io", "pathlib", "shutil", "glob", "tempfile", "fileinput", "mmap"}
OUTSIDE_MODULES = {"sqlite3", "dbm", "socket", "http", "urllib", "subprocess", "ctypes", "multiprocessing"}


@dataclass(frozen=True)
class Import:
    target: str         # full dotted name
    line: int
    at_load: bool       # runs when the module is imported, not when a function is called


def part_of(module: str) -> str:
    """handsel.mechanics.rest -> mechanics; the package itself -> ''."""
    return (module.split(".") + [""])[1]


def kind_of(part: str) -> str:
    return "core" if part in CORE or part == "" else part


def module_name(path: Path, root: Path) -> str:
    parts = path.relative_to(root).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def walk(node: ast.AST, at_load: bool = True) -> Iterator[tuple[ast.AST, bool]]:
    """Every node, and whether it runs when the module is imported."""
    yield node, at_load
    inside = at_load and not isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda)
    if isinstance(node, ast.If) and isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING":
        inside = False                      # read by the type checker only; the order still counts
    for child in ast.iter_child_nodes(node):
        yield from walk(child, inside)


def imports_in(tree: ast.AST, package: str) -> Iterator[Import]:
    """All imports of a module; package is what a relative import starts from."""
    for node, at_load in walk(tree):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield Import(alias.name, node.lineno, at_load)
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                up = package.split(".")[:len(package.split(".")) - node.level + 1]
                base = ".".join([*up, base]) if base else ".".join(up)
            for alias in node.names:          # `from handsel import mechanics` names a part too
                yield Import(f"{base}.{alias.name}" if base == "handsel" else base, node.lineno, at_load)


def faults(source: str, module: str, *, is_package: bool = False) -> list[str]:
    """What is wrong with one module's imports, in words."""
    tree = ast.parse(source)
    part = part_of(module)
    kind = kind_of(part)
    found = []
    if part and part not in ORDER:
        return [f"{module}: {part} has no place in the order; add it to ORDER and to the decision record"]
    for imp in imports_in(tree, module if is_package else module.rpartition(".")[0]):
        if complaint := fault_of(imp, part, kind):
            found.append(f"{module}:{imp.line} imports {imp.target}: {complaint}")
    if kind == "core":
        found += [f"{module}:{line} {what}" for line, what in calls_outward(tree)]
    return found


def fault_of(imp: Import, part: str, kind: str) -> str | None:
    top = imp.target.split(".")[0]
    if top == "handsel":
        target = part_of(imp.target)
        if target not in ORDER:
            return None                     # the package itself: __version__
        if target == part:
            return None
        if not part:
            return "the package itself imports no part, or every import of it would load that part"
        if part in OUTERMOST and target in OUTERMOST:
            return "cli and bench never import each other"
        return "it stands further out" if ORDER.index(target) > ORDER.index(part) else None
    if top == "__future__":
        return None
    if top in sys.stdlib_module_names:
        if kind == "core" and top in CLOCK_MODULES:
            return "the core has no clock; pass the time in"
        if kind == "core" and top in FILE_MODULES:
            return "the core takes parsed data, no paths"
        if kind == "core" and top in OUTSIDE_MODULES | {"importlib"}:
            return "the core reaches nothing outside itself"
        return None
    if top in LIGHT[kind]:
        return None
    if top in HEAVY[kind]:
        return "slow to start; import it inside the function that needs it" if imp.at_load else None
    return f"{top} has no place in {part or 'the package itself'}"


def calls_outward(tree: ast.AST) -> Iterator[tuple[int, str]]:
    """Calls in the core that reach a clock, a file or a hidden import."""
    for node in ast.walk(tree):
        called = node.func if isinstance(node, ast.Call) else None
        if isinstance(called, ast.Attribute) and called.attr == "today":
            yield node.lineno, "calls .today(): the core has no clock; pass today in"
        if isinstance(node, ast.Attribute) and node.attr in {"now", "utcnow"}:
            # also when handed on uncalled, as a default factory for instance
            yield node.lineno, f"uses .{node.attr}: the core has no clock; pass it in"
        if isinstance(node, ast.Name) and node.id in {"open", "__import__", "eval", "exec", "input", "print"}:
            yield node.lineno, f"uses {node.id}: the core reaches nothing outside itself"


def test_every_import_points_inward():
    files = sorted((SRC / "handsel").rglob("*.py"))
    assert len(files) > 10, "the sources were not found"
    found = []
    for path in files:
        source = path.read_text(encoding="utf-8")
        found += faults(source, module_name(path, SRC), is_package=path.name == "__init__.py")
    assert not found, "\n" + "\n".join(found)


def test_every_folder_has_a_place_in_the_order():
    here = {p.stem for p in (SRC / "handsel").iterdir() if p.is_dir() or p.suffix == ".py"}
    assert here - {"__init__", "__main__", "__pycache__"} <= set(ORDER)


def test_within_the_core_folders_and_modules_take_from_each_other_in_one_direction():
    takes: dict[str, set[str]] = {}
    for path in sorted((SRC / "handsel").rglob("*.py")):
        module = module_name(path, SRC)
        if part_of(module) not in CORE or path.name == "__init__.py":
            continue
        own = ".".join(module.split(".")[:3])  # a module of the part, or a folder in it
        targets = {i.target for i in imports_in(ast.parse(path.read_text(encoding="utf-8")), module)}
        takes.setdefault(own, set()).update(
            t for t in (".".join(t.split(".")[:3]) for t in targets if t.startswith("handsel.")) if t != own
        )
    assert {"handsel.vision.parts", "handsel.vision.edges", "handsel.rework.hand"} <= set(takes)
    assert list(TopologicalSorter(takes).static_order())  # raises CycleError and names the circle


@pytest.mark.parametrize(("module", "source", "says"), [
    ("handsel.mechanics.rest", "from handsel.inspection.protocol import Protocol", "further out"),
    ("handsel.mechanics.rest", "import handsel.data.load_design", "further out"),
    ("handsel.mechanics.rest", "from handsel import rework", "further out"),
    ("handsel.mechanics.rest", "from ..rework import plan", "further out"),
    ("handsel.errors", "from handsel.metrology.limits import Limits", "further out"),
    ("handsel.mechanics.rest", "def f():\n    from handsel.cli import main", "further out"),
    ("handsel.mechanics.rest", "if TYPE_CHECKING:\n    from handsel.bench import models", "further out"),
    ("handsel.cli.assess", "from handsel.bench import models", "each other"),
    ("handsel.bench.views", "import handsel.cli", "each other"),
    ("handsel", "from handsel.mechanics import rest", "every import"),
    ("handsel.telepathy.read", "import math", "no place in the order"),
    ("handsel.inspection.judging", "import django.db", "no place"),
    ("handsel.inspection.judging", "from django.utils import timezone", "no place"),
    ("handsel.inspection.judging", "import sqlite3", "nothing outside"),
    ("handsel.inspection.judging", "import time", "no clock"),
    ("handsel.inspection.judging", "from time import monotonic", "no clock"),
    ("handsel.inspection.judging", "from datetime import datetime\nx = datetime.now()", "no clock"),
    ("handsel.inspection.judging", "import datetime as d\nx = d.date.today()", "no clock"),
    ("handsel.inspection.judging", "field(default_factory=datetime.datetime.utcnow)", "no clock"),
    ("handsel.inspection.judging", "from pathlib import Path", "no paths"),
    ("handsel.inspection.judging", "x = open('a')", "nothing outside"),
    ("handsel.inspection.judging", "import importlib", "nothing outside"),
    ("handsel.inspection.judging", "x = __import__('django')", "nothing outside"),
    ("handsel.inspection.judging", "import pydantic", "no place"),
    ("handsel.mechanics.rest", "from scipy.optimize import brentq", "slow to start"),
    ("handsel.mechanics.rest", "class A:\n    import trimesh", "slow to start"),
    ("handsel.mechanics.rest", "import mujoco", "no place"),
    ("handsel.data.load_design", "import click", "no place"),
    ("handsel.documents.page", "import matplotlib.pyplot", "no place"),
])
def test_an_outward_import_is_seen(module, source, says):
    found = faults(source, module)
    assert len(found) >= 1
    assert says in found[0]


@pytest.mark.parametrize(("module", "source"), [
    ("handsel.mechanics.rest", "import numpy as np\nfrom handsel.errors import Unsolved"),
    ("handsel.mechanics.rest", "from handsel.mechanics import model\nfrom .paths import Curve"),
    ("handsel.rework.fix", "def f():\n    from scipy.optimize import milp\n    return milp"),
    ("handsel.data.load", "import pydantic, pathlib\nfrom handsel.design.model import Design"),
    ("handsel.cli.assess", "import time, click\nfrom handsel.documents.page import page"),
    ("handsel.cli.assess", "from handsel import __version__"),
    ("handsel.inspection.judging", "def due(today: date) -> bool:\n    return today > limit"),
])
def test_an_inward_import_passes(module, source):
    assert faults(source, module) == []
