"""A small library for tests: few kinds of fault, one round, made once for all tests of a run."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

from handsel.data.library_store import build_library, library_place
from handsel.data.load_design import design_path, load_design
from handsel.data.load_faults import load_faults
from handsel.data.load_protocol import load_protocol
from handsel.data.toml_file import read_toml_file
from handsel.design.placing import placed
from handsel.diagnosis.catalogue import Catalogue
from handsel.diagnosis.hands import Bench, make_bench
from handsel.diagnosis.library import Library, library_of, make_round

FEW = ("loop-long", "loop-short", "thumb-cord-long", "hinge-tight", "elastic-missing", "wrist-tight", "knot-slipped")


@lru_cache(maxsize=1)
def whole() -> Catalogue:
    return load_faults("wrist-hand-1", load_protocol())


@lru_cache(maxsize=4)
def of_kinds(*kinds: str) -> Catalogue:
    """The bundled catalogue with some of its kinds only."""
    catalogue = whole()
    return replace(
        catalogue,
        kinds=tuple(k for k in catalogue.kinds if k.id in kinds),
        together=tuple(t for t in catalogue.together if set(t.kinds) <= set(kinds)),
    )


@lru_cache(maxsize=4)
def bench_of(*kinds: str) -> Bench:
    design = placed(load_design("linden"), scale_ratio=1.0, side="right")
    return make_bench(of_kinds(*kinds) if kinds else whole(), design, 1.0)


@lru_cache(maxsize=2)
def library_with(*kinds: str) -> Library:
    bench = bench_of(*kinds)
    return library_of(bench.catalogue, [make_round(bench, 0)], 1.0)


def first_round(scale_ratio: float) -> None:
    """Make what every command and bench of this run then finds: a twelfth of linden's simulated hands of a size."""
    fingerprint = read_toml_file(design_path("linden")).sha256
    at = library_place(whole(), load_design("linden"), fingerprint, scale_ratio)
    if not at.file(0).is_file():
        build_library(at, rounds=(0,))
