"""How the uncertainty of what went in becomes the uncertainty of what comes out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import product
from math import hypot, inf, isinf, sqrt
from typing import Any

import numpy as np

from handsel.errors import OutOfRange
from handsel.metrology.arrays import (
    FloatArray,
    Matrix,
    Vector,
    checked_correlation,
    checked_covariance,
    vector,
)
from handsel.metrology.checks import degrees_of_freedom, number
from handsel.metrology.quantity import Quantity

# Takes each input as one argument; gives one number, or a sequence of numbers for several outputs.
Model = Callable[..., Any]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Propagation:
    """Several outputs computed together, and how they hang together."""

    values: FloatArray           # (m,) outputs
    covariance: FloatArray       # (m, m) their covariance
    sensitivities: FloatArray    # (m, n) d output / d input

    @property
    def u(self) -> FloatArray:
        """(m,) standard uncertainties of the outputs."""
        return np.sqrt(np.diag(self.covariance))

    @property
    def correlation(self) -> FloatArray:
        """(m, m) correlation coefficients [-]; nan beside an output that has no uncertainty."""
        with np.errstate(invalid="ignore", divide="ignore"):
            found: FloatArray = self.covariance / np.outer(self.u, self.u)
        return found


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Propagated:
    """One output as a quantity, and how much each input contributes to its u."""

    quantity: Quantity
    sensitivities: FloatArray    # (n,) d output / d input
    contributions: FloatArray    # (n,) |sensitivity| * u of each input, in the unit of the output


def first_order(model: Model, values: Vector, covariance: Matrix, *,
                sensitivities: Matrix | None = None) -> Propagation:
    """The law of propagation of uncertainty for one or more outputs of the same inputs.

    Parameters: model, called as model(*values); values : (n,) float, best estimates; covariance :
        (n, n) float of the inputs; sensitivities : (m, n) float, or None to find them by
        differences over a fraction of each u.
    Returns: Propagation.
    Raises: OutOfRange for a covariance that is not one, nan, or a model that answers with nan.
    Valid for: models near linear within a few u; see second_order and monte_carlo otherwise.
    Source: JCGM 100:2008 5.2.2 (13) and H.2.3 (H.9), C = J V J'.
    Checked by: published/test_metrology_impedance.py
    """
    x = vector(values, "values")
    v = checked_covariance(covariance, x.size)
    y = _outputs(model, x)
    if sensitivities is None:
        jacobian = _sensitivities(model, x, np.sqrt(np.diag(v)), y.size)
    else:
        jacobian = np.atleast_2d(np.asarray(sensitivities, dtype=float))
        if jacobian.shape != (y.size, x.size) or not np.isfinite(jacobian).all():
            raise OutOfRange(f"sensitivities have shape {jacobian.shape} or hold no numbers; expected "
                             f"{(y.size, x.size)}", where="propagation", do="Give one per output and input.")
    return Propagation(values=_read_only(y), covariance=_read_only(jacobian @ v @ jacobian.T),
                       sensitivities=_read_only(jacobian))


def propagate(model: Model, inputs: Sequence[Quantity], *, unit: str, origin: str,
              correlation: Matrix | None = None, sensitivities: Vector | None = None) -> Propagated:
    """One output of several quantities, as a quantity with its degrees of freedom.

    Parameters: model, called as model(*values); inputs; unit and origin of the output;
        correlation : (n, n) float [-] of the inputs, or None for independent ones; sensitivities :
        (n,) float, or None to find them by differences.
    Returns: Propagated. dof by Welch-Satterthwaite; when inputs are correlated that formula does
        not hold, and the smallest dof of the contributing inputs stands in for it.
    Raises: OutOfRange for no inputs, a correlation matrix that is not one, nan.
    Valid for: models near linear within a few u.
    Source: JCGM 100:2008 5.1.2 (10), 5.2.2 (16), G.4.1 (G.2b).
    Checked by: published/test_metrology_end_gauge.py, properties/test_metrology.py
    """
    if not inputs:
        raise OutOfRange("there are no inputs", where=origin, do="Give at least one quantity.")
    u = np.array([q.u for q in inputs])
    r = np.eye(u.size) if correlation is None else checked_correlation(correlation, u.size)
    given = None if sensitivities is None else np.atleast_2d(vector(sensitivities, "sensitivities"))
    found = first_order(model, [q.value for q in inputs], r * np.outer(u, u), sensitivities=given)
    if found.values.size != 1:
        raise OutOfRange(f"the model gives {found.values.size} outputs; expected one", where=origin,
                         do="Use first_order for several outputs.")
    contributions = np.abs(found.sensitivities[0]) * u
    dofs = [q.dof for q in inputs]
    correlated = bool(np.any(r != np.eye(u.size)))
    dof = (min((d for d, part in zip(dofs, contributions, strict=True) if part > 0), default=inf)
           if correlated else welch_satterthwaite(contributions, dofs))
    combined = float(found.u[0]) if correlated else hypot(*contributions)
    quantity = Quantity(value=float(found.values[0]), u=combined, dof=dof, unit=unit, origin=origin)
    return Propagated(quantity=quantity, sensitivities=_read_only(found.sensitivities[0].copy()),
                      contributions=_read_only(contributions))


def welch_satterthwaite(contributions: Vector, dofs: Sequence[float]) -> float:
    """Effective degrees of freedom of a root sum of squares.

    Parameters: contributions : (n,) float, |sensitivity| * u of each input in one unit; dofs : (n,)
        [-], infinity for what is known.
    Returns: effective dof [-], not truncated; infinite when every contribution is known.
    Raises: OutOfRange for different lengths, negative contributions, dof below 1.
    Valid for: independent inputs.
    Source: JCGM 100:2008 G.4.1 (G.2b).
    Checked by: published/test_metrology_end_gauge.py
    >>> round(welch_satterthwaite([5.8, 3.9, 6.7], [24, 5, 8]), 2)
    25.45
    """
    where = "effective degrees of freedom"
    parts = [number(c, "contribution", where=where, low=0.0) for c in contributions]
    nus = [degrees_of_freedom(d, where=where) for d in dofs]
    if len(parts) != len(nus) or not parts:
        raise OutOfRange(f"{len(parts)} contributions and {len(nus)} dof", where=where,
                         do="Give one dof for each contribution.")
    total = hypot(*parts)
    if total == 0:
        return inf
    # Each share is at most 1, so nothing overflows however small the unit makes the numbers.
    slack = sum((part / total) ** 4 / nu for part, nu in zip(parts, nus, strict=True) if not isinf(nu))
    # Mathematically never below the smallest dof; the maximum only removes rounding noise.
    return max(1.0 / slack, min(nus)) if slack > 0 else inf


def second_order(model: Model, inputs: Sequence[Quantity], *, unit: str, origin: str) -> Quantity:
    """One output with the next terms of the series, where the first order sees nothing or too little.

    Parameters: model, called as model(*values), one output; inputs, independent; unit and origin
        of the output.
    Returns: Quantity at the model's value, its u with the second-order terms; dof as first order.
    Raises: OutOfRange for no inputs, nan, or second-order terms that make the variance negative.
    Valid for: independent, near normal inputs; derivatives by differences over one u, exact for
        polynomials up to the third power.
    Source: JCGM 100:2008 5.1.2 note, sum of (f_ij^2/2 + f_i f_ijj) u_i^2 u_j^2; H.1.7.
    Checked by: published/test_metrology_end_gauge.py
    """
    first = propagate(model, inputs, unit=unit, origin=origin)
    x, u = np.array([q.value for q in inputs]), np.array([q.u for q in inputs])

    def at(**steps: int) -> float:
        """The model with inputs i and j moved by so many u."""
        point = x.copy()
        for place, name in ((i, "i"), (j, "j")):
            point[place] += steps.get(name, 0) * u[place]
        return float(_outputs(model, point)[0])

    slopes, extra = first.sensitivities * u, 0.0
    for i, j in product(range(u.size), repeat=2):
        if i == j:
            mixed = at(i=1) - 2 * at() + at(i=-1)
            third = 0.5 * (at(i=2) - at(i=-2)) - (at(i=1) - at(i=-1))
        else:
            mixed = (at(i=1, j=1) - at(i=1, j=-1) - at(i=-1, j=1) + at(i=-1, j=-1)) / 4
            third = 0.5 * ((at(i=1, j=1) - 2 * at(i=1) + at(i=1, j=-1))
                           - (at(i=-1, j=1) - 2 * at(i=-1) + at(i=-1, j=-1)))
        extra += 0.5 * mixed ** 2 + slopes[i] * third
    variance = first.quantity.u ** 2 + extra
    if variance < 0:
        raise OutOfRange("second-order terms outweigh the first", where=origin, do="Use monte_carlo instead.")
    return Quantity(value=first.quantity.value, u=sqrt(variance), dof=first.quantity.dof, unit=unit,
                    origin=origin)


def _outputs(model: Model, x: FloatArray) -> FloatArray:
    y = np.atleast_1d(np.asarray(model(*(float(value) for value in x)), dtype=float))
    if y.ndim != 1 or not np.isfinite(y).all():
        raise OutOfRange("the model gives no plain number near these inputs", where="propagation",
                         do="Keep the inputs and a few u around them where the model is defined.")
    return y


def _sensitivities(model: Model, x: FloatArray, u: FloatArray, m: int) -> FloatArray:
    """(m, n) derivatives by central differences at two steps, extrapolated to a step of zero."""
    jacobian = np.empty((m, x.size))
    for i in range(x.size):
        # A step tied to u suits any unit; an exact input has none, so its own size must do.
        step = u[i] / 8 if u[i] > 0 else 1e-4 * (abs(x[i]) or 1.0)
        slopes = []
        for h in (step, step / 2):
            up, down = x.copy(), x.copy()
            up[i] += h
            down[i] -= h
            # The step as the floating numbers made it, not as it was meant.
            slopes.append((_outputs(model, up) - _outputs(model, down)) / (up[i] - down[i] or inf))
        jacobian[:, i] = (4 * slopes[1] - slopes[0]) / 3
    return jacobian


def _read_only(array: FloatArray) -> FloatArray:
    array.flags.writeable = False
    return array
