"""What became of a measurement, for the phone that waits and for the page that is opened again."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from math import sqrt
from typing import Any

from handsel.bench.hands.casebook import protocol_kept
from handsel.bench.hands.chain import stamp
from handsel.bench.hands.models import Hand
from handsel.bench.measuring import saying
from handsel.bench.measuring.judging import judged
from handsel.bench.measuring.kinds import ANGLE, ANGLES, PARTS
from handsel.bench.measuring.models import Measurement, State
from handsel.bench.photos import derived
from handsel.bench.photos.models import Photo
from handsel.bench.photos.models import State as PhotoState
from handsel.bench.photos.queries import picture_url
from handsel.vision.rest_angle.two_lines import (
    EDGE_SD_DEG,
    PLACING_SD_RATIO,
    SHORTEST_RATIO,
    DrawnAngle,
    u_obliquity_deg,
)

MOST_PHOTOS = 8  # of one kit
K = 2  # the coverage factor that is said beside every ±


def told(m: Measurement) -> dict[str, Any]:
    """Everything a script needs to show it."""
    said: dict[str, Any] = {
        "key": m.key,
        "kind": m.kind,
        "of": m.of,
        "photo": m.photo.client_id,
        "state": m.state,
    }
    if m.state in (State.REFUSED, State.FAILED):
        said |= {"reason": m.reason, "do": m.do, "cause": (m.result or {}).get("cause", "")}
    if m.state != State.MEASURED:
        return said
    result: dict[str, Any] = m.result or {}
    said |= {"overlay": _overlay(m), "notes": result.get("notes", []), "took_ms": m.took_ms}
    if m.kind in (ANGLE, ANGLES):
        said |= _angle(m, result)
    else:
        said["seen"] = saying.of_kit(_kit(m)) if m.kind == PARTS else result
    return said


def last_of(hand: Hand, *, since: str) -> dict[str, dict[str, Any]]:
    """For each check of a hand what its last photo said, if it was taken since the hand was last changed."""
    found = Measurement.objects.filter(hand=hand).select_related("photo", "hand").order_by("pk")
    last = {m.of: m for m in found if stamp(m.asked_at) > since}
    return {of: told(m) for of, m in last.items()}


@lru_cache(maxsize=1)
def lines_by_hand() -> dict[str, Any]:
    """What the phone needs to say how sure drawn lines are, while they are drawn and without the network."""
    steps = range(-60, 121, 5)
    return {
        "placing_ratio": PLACING_SD_RATIO,
        "edges_deg": round(sqrt(2.0) * EDGE_SD_DEG, 4),
        "slant_from_deg": steps[0],
        "slant_step_deg": steps.step,
        "slant_deg": [round(u_obliquity_deg(float(a)), 3) for a in steps],
        "shortest_ratio": SHORTEST_RATIO,
    }


def lines_told(hand: Hand, of: str, found: DrawnAngle) -> dict[str, Any]:
    """What drawn lines say, before anybody has taken it."""
    value, u = round(found.rest_angle_deg, 1), max(round(found.u_rest_angle_deg + 0.0049, 2), 0.01)
    protocol = protocol_kept(hand.protocol_id)
    c = protocol.characteristic(of)
    said = {
        "state": State.MEASURED,
        "kind": "lines",
        "of": of,
        "notes": [],
        **_number_told(value, u, found.contributions),
    }
    if c is not None:
        said["judged"] = judged(c, protocol, value, u, dict(found.contributions)).as_data()
    return said


def _number_told(value: float, u: float, contributions: Mapping[str, float]) -> dict[str, Any]:
    return {
        "value": value,
        "u": u,
        "shown": f"{value:.1f}°".replace("-", "−"),
        "spread": f"± {K * u:.1f}°",
        "k": K,
        "contributions": [
            {"name": name, "u": round(part, 2)}
            for name, part in sorted(contributions.items(), key=lambda item: -item[1])
            if part >= 0.005
        ],
    }


def reading_of(m: Measurement) -> tuple[float, float]:
    """Value and standard uncertainty as they go on record: rounded as they are shown, the doubt never down."""
    result: dict[str, Any] = m.result or {}
    return round(result["value"], 1), max(round(result["u"] + 0.0049, 2), 0.01)


def _angle(m: Measurement, result: dict[str, Any]) -> dict[str, Any]:
    value, u = reading_of(m)
    protocol = protocol_kept(m.hand.protocol_id)
    c = protocol.characteristic(m.of)
    said = _number_told(value, u, result["contributions"])
    if c is not None:
        said["judged"] = judged(c, protocol, value, u, result["contributions"]).as_data()
    for name in ("view_side", "fingers_point", "obliquity_deg", "photos", "afresh", "each"):
        if result.get(name) is not None:
            said[name] = result[name]
    if m.kind == ANGLE:
        said["cards"] = m.asked.get("cards", "")
        said["alt"] = (
            f"The photo with a line along the palm and a line along the cuff drawn on it, {said['shown']} apart"
        )
    return said


def _overlay(m: Measurement) -> str:
    """Where the picture is; empty once the photo was erased."""
    if not m.overlay_sha256:
        return ""
    shown = Photo.objects.filter(
        client_id=derived.name_of(m.photo.client_id, m.kind), state=PhotoState.READY
    ).exists()
    return picture_url(m.overlay_sha256) if shown else ""


def _kit(m: Measurement) -> list[dict[str, Any]]:
    """What the photos of one kit say, oldest first: a photo may be of the rest of an earlier one."""
    photos, seen = [m.result or {}], {m.pk}
    before = m.asked.get("rest_of")
    while before and len(photos) < MOST_PHOTOS:
        other = Measurement.objects.filter(
            key=f"{PARTS}/{before}", hand=m.hand_id, state=State.MEASURED
        ).first()
        if other is None or other.pk in seen:
            break
        photos.insert(0, other.result or {})
        seen.add(other.pk)
        before = other.asked.get("rest_of")
    return photos


def in_short(m: Measurement) -> str:
    """What was seen in one line, as the record keeps it beside a person's own answer."""
    result: dict[str, Any] = saying.of_kit(_kit(m)) if m.kind == PARTS else m.result or {}
    return str(result.get("in_short", ""))[:300]
