"""Several photos of one hand read as one: what each said is on record already, so no picture is opened again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from handsel.bench.measuring.models import Measurement, State
from handsel.errors import HandselError


@dataclass(frozen=True, slots=True, kw_only=True)
class One:
    """What one photo said, as far as it matters for all of them."""

    rest_angle_deg: float
    contributions: Mapping[str, float]


def read(m: Measurement) -> dict[str, Any]:
    """One reading of all photos, or why they are not of one hand at rest."""
    from handsel.vision.rest_angle.fusing import fuse
    from handsel.vision.rest_angle.refused import PhotoRefused

    found = Measurement.objects.filter(
        key__in=[f"angle/{name}" for name in m.asked["photos"]], hand=m.hand_id, state=State.MEASURED
    ).order_by("pk")
    ones = [One(rest_angle_deg=f.result["value"], contributions=f.result["contributions"]) for f in found]
    try:
        fused = fuse(ones, placed_afresh=m.asked["afresh"])
    except PhotoRefused as refused:
        return {"refused": refused.what, "do": refused.do, "cause": refused.cause.value}
    except HandselError as error:
        return {"refused": error.what, "do": error.do, "cause": "no reading"}
    return {
        "value": round(fused.rest_angle_deg, 4),
        "u": round(fused.u_rest_angle_deg, 4),
        "low": round(fused.low_deg, 3),
        "high": round(fused.high_deg, 3),
        "contributions": {k: round(v, 4) for k, v in fused.contributions.items()},
        "photos": list(m.asked["photos"]),
        "afresh": m.asked["afresh"],
        "each": [round(one.rest_angle_deg, 2) for one in ones],
        "notes": list(fused.notes),
    }
