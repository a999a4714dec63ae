"""The programme of a day solved: which hands it takes, what no plan can exceed, and what is scarce."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from handsel.rework.day.programme import Column, Programme

Floats = NDArray[np.float64]
GAP_RATIO = 0.002  # at which the solver may stop


@dataclass(frozen=True, slots=True, kw_only=True)
class Pick:
    """A hand that the programme takes: its way, and who does it and looks at it."""

    serial: str
    way: str
    by: str | None
    looked_at_by: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Picked:
    """The programme's answer."""

    picks: tuple[Pick, ...]
    bound: float  # weighed releases that no plan can exceed
    finished: bool  # False: stopped by the time limit; the bound still holds


@dataclass(frozen=True, slots=True, kw_only=True)
class Prices:
    """What a little more of each thing would be worth, from the programme's dual."""

    person: Mapping[str, float]  # weighed releases for one more minute of this person
    spare: Mapping[str, float]  # for one more piece


def solved(p: Programme, *, seconds: float) -> Picked:
    """The best choice found within a time, and the bound.

    Parameters: p, the programme; seconds, that the solver may take.
    Returns: Picked.    Raises: nothing of its own.
    Valid for: a day whose rows fit together; each day's do, since what is begun may go on.
    Source: branch and cut by scipy's milp (HiGHS).
    Checked by: unit/test_day_plan.py, properties/test_day_plan.py
    """
    from scipy.optimize import Bounds, LinearConstraint, milp

    if not p.columns:
        return Picked(picks=(), bound=0.0, finished=True)
    worth = np.array([c.worth for c in p.columns])
    low = np.array([1.0 if p.forced(c) else 0.0 for c in p.columns])
    answer = milp(
        -worth,
        integrality=np.ones(len(worth)),
        bounds=Bounds(low, np.ones(len(worth))),
        constraints=LinearConstraint(_matrix(p), p.rows.low, p.rows.high),
        options={"time_limit": seconds, "mip_rel_gap": GAP_RATIO},
    )
    most = float(worth[[c.kind == "rework" or c.way.minutes <= 0 for c in p.columns]].sum())
    bound = most if answer.mip_dual_bound is None else -float(answer.mip_dual_bound)
    x = answer.x if answer.x is not None else np.zeros(len(worth))
    return Picked(picks=_picks(p, np.asarray(x)), bound=min(bound, most), finished=answer.status == 0)


def priced(p: Programme) -> Prices:
    """What one more minute of each person and one more of each spare would be worth.

    Parameters: p, the programme.
    Returns: Prices; empty where there is nothing to choose.    Raises: nothing of its own.
    Valid for: little more; with whole hands to be won or lost it is a hint.
    Source: marginals of the relaxed programme, by scipy's linprog (HiGHS).
    Checked by: unit/test_day_plan.py
    """
    from scipy.optimize import linprog

    if not p.columns:
        return Prices(person={}, spare={})
    rows, matrix = p.rows, _matrix(p)
    equal = np.array([low == high for low, high in zip(rows.low, rows.high, strict=True)])
    high = np.array(rows.high)
    bounds = [(1.0 if p.forced(c) else 0.0, 1.0) for c in p.columns]
    answer = linprog(
        -np.array([c.worth for c in p.columns]),
        A_ub=matrix[~equal],
        b_ub=high[~equal],
        A_eq=matrix[equal] if equal.any() else None,
        b_eq=high[equal] if equal.any() else None,
        bounds=bounds,
        method="highs",
    )
    person: dict[str, float] = {}
    spare: dict[str, float] = {}
    if answer.status == 0:
        about = [a for a, same in zip(rows.about, equal, strict=True) if not same]
        for (kind, name), marginal in zip(about, answer.ineqlin.marginals, strict=True):
            where = {"person": person, "spare": spare}.get(kind)
            if where is not None:
                where[name] = where.get(name, 0.0) - float(marginal)
    return Prices(person=person, spare=spare)


def _matrix(p: Programme) -> Any:
    from scipy.sparse import csr_matrix

    shape = (len(p.rows.low), len(p.columns))
    return csr_matrix((p.rows.value, (p.rows.at, p.rows.column)), shape=shape)


def _picks(p: Programme, x: Floats) -> tuple[Pick, ...]:
    found: dict[int, dict[str, Column]] = {}
    for column, on in zip(p.columns, x > 0.5, strict=True):
        if on:
            found.setdefault(column.hand, {})[column.kind] = column
    return tuple(
        Pick(
            serial=p.day.hands[k].serial,
            way=next(iter(kinds.values())).way.id,
            by=kinds["rework"].person.id if "rework" in kinds else None,
            looked_at_by=kinds["recheck"].person.id if "recheck" in kinds else None,
        )
        for k, kinds in found.items()
    )
