"""Risks of a whole process: how many bad ones pass, how many good ones are turned away."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import erfc, lgamma, log, pi, sqrt

import numpy as np

from handsel.errors import OutOfRange
from handsel.metrology.arrays import FloatArray
from handsel.metrology.checks import number, same_unit
from handsel.metrology.distributions import normal_cdf
from handsel.metrology.guard import acceptance_limits
from handsel.metrology.limits import Limits

# Gauss-Legendre on panels no wider than the prior or the measurement asks for: 16 points a panel
# integrate a normal bump of one standard deviation per panel to machine precision.
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(16)
_erfc = np.frompyfunc(erfc, 1, 1)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Prior:
    """How the true values of a process are spread before any is measured."""

    name: str
    pdf: Callable[[FloatArray], FloatArray]    # density, per unit
    edges: FloatArray                          # (m,) panel edges over all that matters, rising
    unit: str

    def __post_init__(self) -> None:
        edges = np.array(self.edges, dtype=float)      # a copy: the caller's array stays theirs
        if edges.ndim != 1 or edges.size < 2 or not np.isfinite(edges).all() or (np.diff(edges) <= 0).any():
            raise OutOfRange("edges must be two or more rising numbers", where=self.name,
                             do="Give panel edges from the least to the greatest value that matters.")
        edges.flags.writeable = False
        object.__setattr__(self, "edges", edges)
        points, weights = _panels(edges)
        density = np.asarray(self.pdf(points), dtype=float)
        if density.shape != points.shape or not (density >= 0).all():
            raise OutOfRange("the density is negative or no number somewhere", where=self.name,
                             do="Give a density written with numpy, 0 or more everywhere.")
        total = float(weights @ density)
        if abs(total - 1) > 1e-5:
            raise OutOfRange(f"the density holds {total:.6g} between its edges; expected 1", where=self.name,
                             do="Widen the edges, or divide the density by its area.")


def normal_prior(mean: float, sd: float, *, unit: str) -> Prior:
    """True values spread normally.

    Parameters: mean and sd, in unit; sd above 0.
    Returns: Prior.
    Raises: OutOfRange otherwise.
    Valid for: a process that is steady.
    Source: definition.
    Checked by: published/test_metrology_risk.py
    """
    mean = number(mean, "mean", where="normal prior")
    sd = number(sd, "sd", where="normal prior", above=0.0)

    def pdf(x: FloatArray) -> FloatArray:
        found: FloatArray = np.exp(-0.5 * ((x - mean) / sd) ** 2) / (sd * sqrt(2 * pi))
        return found

    return Prior(name=f"normal({mean:g}, {sd:g})", pdf=pdf, edges=mean + sd * np.linspace(-12, 12, 49),
                 unit=unit)


def gamma_prior(shape: float, rate: float, *, unit: str) -> Prior:
    """True values that cannot be negative, such as an error of form.

    Parameters: shape [-], 1 or more; rate, per unit, above 0. The mean is shape / rate.
    Returns: Prior.
    Raises: OutOfRange otherwise.
    Valid for: shape of 1 or more; below, the density has a pole at 0.
    Source: definition; JCGM 106:2012 9.5.4 uses shape 4, rate 4 per micrometre.
    Checked by: published/test_metrology_risk.py
    """
    shape = number(shape, "shape", where="gamma prior", low=1.0)
    rate = number(rate, "rate", where="gamma prior", above=0.0)
    scale = shape * log(rate) - lgamma(shape)

    def pdf(x: FloatArray) -> FloatArray:
        found: FloatArray = np.exp(scale + (shape - 1) * np.log(np.maximum(x, 1e-300)) - rate * x)
        return found

    end = (shape + 12 * sqrt(shape) + 40) / rate
    # Panels that halve toward 0 follow the root-like start of a shape between 1 and 2.
    edges = np.concatenate([[0.0], end / 128 * 0.5 ** np.arange(20, 0, -1), np.linspace(end / 128, end, 128)])
    return Prior(name=f"gamma({shape:g}, {rate:g})", pdf=pdf, edges=edges, unit=unit)


@dataclass(frozen=True, slots=True, kw_only=True)
class GlobalRisk:
    """Shares of a whole process, of everything that is measured unless said otherwise."""

    consumer: float                  # does not conform and is accepted [-]
    producer: float                  # conforms and is rejected [-]
    p_nonconforming: float           # does not conform [-]
    p_accepted: float                # is accepted [-]

    @property
    def consumer_of_accepted(self) -> float:
        """Share of the accepted that does not conform [-]; nan when nothing is accepted."""
        return self.consumer / self.p_accepted if self.p_accepted > 0 else float("nan")


def global_risk(prior: Prior, u: float, limits: Limits, acceptance: Limits | None = None) -> GlobalRisk:
    """How often a process is wrongly accepted or rejected by one kind of measurement.

    Parameters: prior of the true values; u of the measurement, the same for all, in their unit;
        limits of the true value; acceptance, limits of the result, None for the same limits.
    Returns: GlobalRisk.
    Raises: OutOfRange when units differ or u is negative.
    Valid for: normal measurement error independent of the true value. Integrals are good to about
        1e-9 for the priors made here.
    Source: JCGM 106:2012 9.5.2 (consumer, producer); accepted share by the same integral.
    Checked by: published/test_metrology_risk.py, properties/test_metrology.py
    """
    accept = limits if acceptance is None else acceptance
    same_unit((prior.unit, limits.unit, accept.unit), where=prior.name)
    u = number(u, "u", where=prior.name, low=0.0)
    low, high = limits.bounds
    # Panels end where an integrand jumps (the limits) and are fine where it is steep (acceptance).
    ends = [np.array([x]) for x in (low, high) if np.isfinite(x)]
    ends += [x + u * np.arange(-9.0, 9.5, 0.5) for x in accept.bounds if np.isfinite(x)]
    edges = np.unique(np.clip(np.concatenate([prior.edges, *ends]), prior.edges[0], prior.edges[-1]))
    points, weights = _panels(edges)
    mass = weights * prior.pdf(points)
    accepted = _p_result_within(points, u, accept)
    conforming = (points >= low) & (points <= high)
    return GlobalRisk(consumer=float(mass @ (accepted * ~conforming)),
                      producer=float(mass @ ((1 - accepted) * conforming)),
                      p_nonconforming=float(mass @ ~conforming), p_accepted=float(mass @ accepted))


def acceptance_for_consumer_risk(prior: Prior, u: float, limits: Limits, risk: float) -> Limits:
    """The widest acceptance limits, guarded alike on each side, that keep the consumer's risk.

    Parameters: prior, u, limits as in global_risk; risk [-], the greatest share of everything
        measured that may be accepted though it does not conform.
    Returns: acceptance Limits; wider than the limits when the risk asked for allows it.
    Raises: OutOfRange when no acceptance limits reach the risk.
    Valid for: as global_risk.
    Source: JCGM 106:2012 9.5.4 (bearings), solved by halving.
    Checked by: published/test_metrology_risk.py
    """
    risk = number(risk, "risk", where=prior.name, above=0.0, below=1.0)
    span = float(prior.edges[-1] - prior.edges[0]) + 9 * u
    low, high = limits.bounds
    tight = min(span, 0.5 * (high - low) * (1 - 1e-9))
    loose = -span

    def moved(w: float) -> Limits:
        return acceptance_limits(limits, abs(w), r=1.0 if w > 0 else -1.0)

    def reached(w: float) -> float:
        return global_risk(prior, u, limits, moved(w)).consumer

    if reached(tight) > risk:
        raise OutOfRange(f"even the narrowest acceptance leaves more than a risk of {risk:g}",
                         where=prior.name, do="Measure with a smaller uncertainty, or improve the process.")
    if reached(loose) <= risk:
        return moved(loose)
    for _ in range(60):
        middle = 0.5 * (tight + loose)
        tight, loose = (middle, loose) if reached(middle) <= risk else (tight, middle)
    return moved(tight)


@dataclass(frozen=True, slots=True, kw_only=True)
class Capability:
    """How well a process fits its limits."""

    cp: float                 # width of the limits / 6 sd [-]; infinity with one limit
    cpk: float                # distance to the nearer limit / 3 sd [-]
    p_outside: float          # share outside the limits [-]


def capability(mean: float, sd: float, limits: Limits) -> Capability:
    """Capability of a normal process against its limits.

    Parameters: mean and sd of the process, in the unit of the limits, sd above 0; limits.
    Returns: Capability.
    Raises: OutOfRange otherwise.
    Valid for: a steady, normal process whose mean and sd are known well.
    Source: definition: Cp = (high - low) / 6 sd, Cpk = min(high - mean, mean - low) / 3 sd.
    Checked by: published/test_metrology_risk.py
    >>> round(capability(10, 0.4, Limits(low=9, high=11, unit="mm")).cpk, 4)
    0.8333
    """
    mean = number(mean, "mean", where="capability")
    sd = number(sd, "sd", where="capability", above=0.0)
    low, high = limits.bounds
    return Capability(cp=(high - low) / (6 * sd), cpk=min(high - mean, mean - low) / (3 * sd),
                      p_outside=normal_cdf((low - mean) / sd) + normal_cdf((mean - high) / sd))


def _panels(edges: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Integration points and weights over all panels, each (16 (m - 1),)."""
    half = 0.5 * np.diff(edges)
    middle = 0.5 * (edges[1:] + edges[:-1])
    points: FloatArray = (middle[:, None] + half[:, None] * _NODES).ravel()
    weights: FloatArray = (half[:, None] * _WEIGHTS).ravel()
    return points, weights


def _p_result_within(true_values: FloatArray, u: float, accept: Limits) -> FloatArray:
    """Probability of a result within the acceptance limits for each true value."""
    low, high = accept.bounds
    if u == 0:
        return ((true_values >= low) & (true_values <= high)).astype(float)
    scale = u * sqrt(2)
    below = np.asarray(_erfc((true_values - low) / scale), dtype=float)
    above = np.asarray(_erfc((high - true_values) / scale), dtype=float)
    found: FloatArray = np.clip(1.0 - 0.5 * (below + above), 0.0, 1.0)
    return found
