"""Propagation by drawing: where the model bends too much for a formula."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import inf, isinf, pi, sqrt

import numpy as np

from handsel.errors import OutOfRange
from handsel.metrology.arrays import FloatArray, Matrix, checked_correlation
from handsel.metrology.checks import number
from handsel.metrology.propagation import Model
from handsel.metrology.quantity import Quantity


class Shape(StrEnum):
    """The distribution an input is drawn from; its u is the standard deviation but for STUDENT."""

    NORMAL = "normal"
    STUDENT = "Student"            # scaled by u, so its standard deviation is wider than u
    RECTANGULAR = "rectangular"
    TRIANGULAR = "triangular"
    ARCSINE = "arcsine"            # what swings to and fro


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MonteCarlo:
    """The output of a drawing."""

    quantity: Quantity      # mean and standard deviation of the draws
    low: float              # interval with coverage, equal tails, in the unit of the output
    high: float
    coverage: float         # [-]
    draws: FloatArray       # (draws,) sorted outputs


def monte_carlo(model: Model, inputs: Sequence[Quantity], *, unit: str, origin: str, seed: int,
                draws: int = 100_000, shapes: Sequence[Shape] | None = None,
                correlation: Matrix | None = None,
                coverage: float = 0.95) -> MonteCarlo:
    """The distribution of one output, by drawing the inputs and computing the model each time.

    Parameters: model, called once with one (draws,) array for each input, so written with numpy;
        inputs; unit and origin of the output; seed [-], the same seed gives the same answer;
        draws [-], from 1000 to 10 million; shapes, one for each input, NORMAL when None;
        correlation : (n, n) float [-], for normal inputs only; coverage [-].
    Returns: MonteCarlo; its quantity has infinitely many degrees of freedom, since the scatter of
        the inputs was taken as known or drawn as Student.
    Raises: OutOfRange for no inputs, a Student input with 2 or fewer dof (its variance is
        infinite), a correlated input that is not normal, a model that answers with nan.
    Valid for: any model that is defined wherever the inputs may fall. u is repeatable to about
        1 / sqrt(2 draws).
    Source: JCGM 101:2008 6.4 (draws), 7.6 (estimate and u), 7.7 (interval).
    Checked by: published/test_metrology_end_gauge.py, properties/test_metrology.py
    """
    if not inputs:
        raise OutOfRange("there are no inputs", where=origin, do="Give at least one quantity.")
    count = int(number(draws, "draws", where=origin, low=1000, high=1e7))
    coverage = number(coverage, "coverage", where=origin, above=0.0, below=1.0)
    forms = [Shape.NORMAL] * len(inputs) if shapes is None else [Shape(shape) for shape in shapes]
    if len(forms) != len(inputs):
        raise OutOfRange(f"{len(forms)} shapes for {len(inputs)} inputs", where=origin, do="Give one each.")
    rng = np.random.default_rng(seed)
    columns = [_standard_draws(q, form, rng, count) for q, form in zip(inputs, forms, strict=True)]
    if correlation is not None:
        columns = _correlated(columns, forms, checked_correlation(correlation, len(inputs)), origin)
    y = np.asarray(model(*(q.value + q.u * z for q, z in zip(inputs, columns, strict=True))), dtype=float)
    if y.shape != (count,) or not np.isfinite(y).all():
        raise OutOfRange(f"the model gives shape {y.shape} or gaps for {count} draws", where=origin,
                         do="Write it with numpy for one array per input, defined wherever they may fall.")
    y = np.sort(y)
    y.flags.writeable = False
    low, high = np.quantile(y, [0.5 - 0.5 * coverage, 0.5 + 0.5 * coverage])
    quantity = Quantity(value=float(y.mean()), u=float(y.std(ddof=1)), dof=inf, unit=unit, origin=origin)
    return MonteCarlo(quantity=quantity, low=float(low), high=float(high), coverage=coverage, draws=y)


def _standard_draws(q: Quantity, form: Shape, rng: np.random.Generator, count: int) -> FloatArray:
    """(count,) draws about 0, to be multiplied by u."""
    if form is Shape.STUDENT and not isinf(q.dof):
        if q.dof <= 2:
            raise OutOfRange(f"a Student input with {q.dof:g} degrees of freedom has no finite u",
                             where=q.origin, do="Give it another shape, or read more often.")
        return rng.standard_t(q.dof, count)
    if form is Shape.RECTANGULAR:
        return rng.uniform(-sqrt(3.0), sqrt(3.0), count)
    if form is Shape.TRIANGULAR:
        return rng.triangular(-sqrt(6.0), 0.0, sqrt(6.0), count)
    if form is Shape.ARCSINE:
        return sqrt(2.0) * np.sin(rng.uniform(-0.5 * pi, 0.5 * pi, count))
    return rng.standard_normal(count)


def _correlated(columns: list[FloatArray], forms: list[Shape], r: FloatArray,
                origin: str) -> list[FloatArray]:
    """Mixes independent normal draws so that they correlate as asked; the others must stand alone."""
    alone = np.abs(r - np.eye(len(forms))).max(axis=1) == 0
    for form, free in zip(forms, alone, strict=True):
        if not free and form is not Shape.NORMAL:
            raise OutOfRange(f"a {form} input cannot be drawn with a correlation", where=origin,
                             do="Make correlated inputs normal, or write the correlation into the model.")
    # Eigenvectors, not Cholesky: a correlation of exactly 1 is legal and singular.
    strength, axes = np.linalg.eigh(r)
    mixed = (axes * np.sqrt(np.clip(strength, 0.0, None))) @ axes.T @ np.vstack(columns)
    return [column if free else row for column, row, free in zip(columns, mixed, alone, strict=True)]
