"""Normal and Student distributions in our own few lines: scipy.stats costs two seconds at start."""

from __future__ import annotations

from functools import lru_cache
from math import copysign, erfc, exp, floor, inf, isinf, isnan, lgamma, log, log1p, sqrt
from statistics import NormalDist

from handsel.errors import OutOfRange
from handsel.metrology.checks import degrees_of_freedom, number

_STANDARD = NormalDist()
# Above this the log-gamma differences lose digits faster than the expansion in 1/dof does.
_MANY_DOF = 1e5


def normal_cdf(z: float) -> float:
    """Probability that a standard normal variable is at most z.

    Parameters: z [-]; minus and plus infinity allowed.
    Returns: probability [-], accurate far into the lower tail (no 1 - 0.999... is taken).
    Raises: OutOfRange for nan.
    Valid for: all z.
    Source: definition by the complementary error function.
    Checked by: properties/test_metrology.py against scipy.stats.norm
    >>> round(normal_cdf(1.40), 4)
    0.9192
    """
    if isnan(z):
        raise OutOfRange("z is nan; expected a number", where="normal distribution",
                         do="Look for a missing number among the inputs.")
    return 0.5 * erfc(-z / sqrt(2.0))


def normal_quantile(p: float) -> float:
    """The z below which a standard normal variable falls with probability p.

    Parameters: p [-], between 0 and 1, neither reached.
    Returns: z [-].
    Raises: OutOfRange for p at or outside 0 and 1.
    Valid for: all such p.
    Source: Wichura, algorithm AS 241, as in Python's statistics module.
    Checked by: published/test_metrology_coverage.py, properties/test_metrology.py
    >>> round(normal_quantile(0.95), 3)
    1.645
    """
    return _STANDARD.inv_cdf(number(p, "p", where="normal quantile", above=0.0, below=1.0,
                                    do="Give a probability as a fraction, 0.95 for 95 %."))


def incomplete_beta(a: float, b: float, x: float) -> float:
    """Regularised incomplete beta function I_x(a, b).

    Parameters: a, b [-] above 0; x [-] from 0 to 1.
    Returns: I_x(a, b) [-], from 0 to 1.
    Raises: OutOfRange outside those bounds.
    Valid for: a, b up to about 1e5; beyond, log-gamma differences lose digits.
    Source: DLMF 8.17.22 continued fraction, evaluated by Lentz's method; 8.17.4 for the
        reflection that keeps it on the side where it converges fast.
    Checked by: properties/test_metrology.py against scipy.special.betainc
    """
    where = "incomplete beta"
    a, b = number(a, "a", where=where, above=0.0), number(b, "b", where=where, above=0.0)
    x = number(x, "x", where=where, low=0.0, high=1.0)
    if x in (0.0, 1.0):
        return x
    front = exp(lgamma(a + b) - lgamma(a) - lgamma(b) + a * log(x) + b * log1p(-x))
    if x < (a + 1.0) / (a + b + 2.0):
        return front * _beta_fraction(a, b, x) / a
    return 1.0 - front * _beta_fraction(b, a, 1.0 - x) / b


def _beta_fraction(a: float, b: float, x: float) -> float:
    """Continued fraction of the incomplete beta function, modified Lentz evaluation."""
    tiny = 1e-300

    def away_from_zero(value: float) -> float:
        return value if abs(value) > tiny else copysign(tiny, value)

    c, d = 1.0, 1.0 / away_from_zero(1.0 - (a + b) * x / (a + 1.0))
    total = d
    for m in range(1, 20_000):
        even = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m))
        odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
        for term in (even, odd):
            d = 1.0 / away_from_zero(1.0 + term * d)
            c = away_from_zero(1.0 + term / c)
            total *= c * d
        if abs(c * d - 1.0) < 1e-15:
            return total
    raise OutOfRange(f"incomplete beta did not settle at a={a:g}, b={b:g}, x={x:g}",
                     where="incomplete beta", do="Use fewer degrees of freedom, or infinitely many.")


def student_cdf(t: float, dof: float) -> float:
    """Probability that a Student variable with dof degrees of freedom is at most t.

    Parameters: t [-]; dof [-], 1 or more, infinity gives the normal distribution.
    Returns: probability [-].
    Raises: OutOfRange for nan or dof below 1.
    Valid for: fractional dof too. Above 1e5 dof an expansion in 1/dof is used, error below 1e-9.
    Source: Abramowitz and Stegun 26.7.1 with 26.5.27 (beta form); 26.7.8 for very many dof.
    Checked by: properties/test_metrology.py against scipy.stats.t
    """
    dof = degrees_of_freedom(dof, where="Student distribution")
    if isinf(dof) or isinf(t) or isnan(t):
        return normal_cdf(t)
    if dof > _MANY_DOF:
        return normal_cdf(t * (1.0 - 0.25 / dof) / sqrt(1.0 + t * t / (2.0 * dof)))
    # x is written so that neither form cancels: near t = 0 the centre form is used.
    if t * t < dof:
        half = 0.5 * incomplete_beta(0.5, 0.5 * dof, t * t / (dof + t * t))
        return 0.5 + copysign(half, t)
    tail = 0.5 * incomplete_beta(0.5 * dof, 0.5, dof / (dof + t * t))
    return 1.0 - tail if t > 0 else tail


def student_quantile(p: float, dof: float) -> float:
    """The t below which a Student variable with dof degrees of freedom falls with probability p.

    Parameters: p [-], between 0 and 1, neither reached; dof [-], 1 or more, infinity is normal.
    Returns: t [-].
    Raises: OutOfRange outside those bounds.
    Valid for: fractional dof too; the caller truncates where a table look-up is meant.
    Source: inverse of student_cdf by bisection, which cannot diverge.
    Checked by: published/test_metrology_coverage.py, properties/test_metrology.py
    >>> round(student_quantile(0.975, 16), 2)
    2.12
    """
    p = number(p, "p", where="Student quantile", above=0.0, below=1.0,
               do="Give a probability as a fraction, 0.95 for 95 %.")
    dof = degrees_of_freedom(dof, where="Student quantile")
    return normal_quantile(p) if isinf(dof) else _student_quantile(p, dof)


# A day asks for the same few coverages and degrees of freedom thousands of times.
@lru_cache(maxsize=1024)
def _student_quantile(p: float, dof: float) -> float:
    if p == 0.5:
        return 0.0
    if p > 0.5:
        return -_student_quantile(1.0 - p, dof)
    high, low = 0.0, -2.0
    while student_cdf(low, dof) > p:
        high, low = low, 2.0 * low
    for _ in range(200):
        middle = 0.5 * (low + high)
        if middle in (low, high):
            break
        low, high = (middle, high) if student_cdf(middle, dof) < p else (low, middle)
    return 0.5 * (low + high)


def truncated_dof(dof: float) -> float:
    """Degrees of freedom cut to a whole number, as a table of t would be entered.

    Parameters: dof [-], 1 or more, infinity stays.
    Returns: the whole number below [-]; rounding noise of 1e-9 does not cost a whole degree.
    Raises: OutOfRange below 1.
    Valid for: effective degrees of freedom of a combined uncertainty.
    Source: JCGM 100:2008 G.4.1 note 1: truncated to the next lower integer.
    Checked by: published/test_metrology_end_gauge.py
    """
    dof = degrees_of_freedom(dof, where="degrees of freedom")
    return inf if isinf(dof) else float(floor(dof * (1.0 + 1e-9)))


def coverage_factor(dof: float = inf, *, coverage: float = 0.95) -> float:
    """The k that turns a standard uncertainty into an interval with the stated coverage.

    Parameters: dof [-], truncated before the look-up; coverage [-], between 0 and 1.
    Returns: k [-], two-sided.
    Raises: OutOfRange outside those bounds.
    Valid for: a result that is normal, or Student when its scatter was estimated.
    Source: JCGM 100:2008 G.3.4 and Table G.2.
    Checked by: published/test_metrology_coverage.py
    >>> round(coverage_factor(16.7, coverage=0.99), 2)
    2.92
    """
    coverage = number(coverage, "coverage", where="coverage factor", above=0.0, below=1.0,
                      do="Give the coverage as a fraction, 0.95 for 95 %.")
    return student_quantile(0.5 + 0.5 * coverage, truncated_dof(dof))
