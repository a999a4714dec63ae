"""Answers that rest on a photo: what the photo said is looked up here and never taken from the phone."""

from __future__ import annotations

from typing import Any

from handsel.bench.hands.models import Hand
from handsel.bench.looking.sent import Drawn, Lines, Observed
from handsel.bench.measuring import telling
from handsel.bench.measuring.kinds import ANGLE, ANGLES, PHOTO, kind_for
from handsel.bench.measuring.models import Measurement, State
from handsel.bench.photos.models import Photo
from handsel.errors import HandselError
from handsel.inspection.protocol import Characteristic
from handsel.vision.rest_angle.two_lines import DrawnAngle, TwoLines, angle_of_lines

AGAIN = "Open the hand again, and take the photo there."
STEP_DEG = 0.051  # numbers are shown to a tenth
MARKS = ("confirmed", "dismissed")
Wrong = tuple[str, str]


def wrong(c: Characteristic, sent: Observed, hand: Hand) -> Wrong | None:
    """Why an answer cannot rest on its photo, and what to do; None when it can, or rests on none."""
    if sent.photo is not None:
        of = Photo.objects.filter(client_id=sent.photo).values_list("hand_id", flat=True).first()
        if of is not None and of != hand.pk:
            return "the photo that goes with it is of another hand", AGAIN
    if sent.measured is not None and sent.lines is not None:
        return "it says both that a photo was read and that lines were drawn", AGAIN
    if any(said not in MARKS for _, said in sent.marks) or (sent.marks and sent.measured is None):
        return "what is said of the marked places was not understood", AGAIN
    if sent.lines is not None:
        return _wrong_lines(c, sent, sent.lines)
    return None if sent.measured is None else _wrong_reading(c, sent, hand)


def _wrong_lines(c: Characteristic, sent: Observed, lines: Lines) -> Wrong | None:
    if kind_for(c) != ANGLE or sent.photo is None or sent.method != PHOTO or sent.value is None:
        return f"“{c.title}” is not read from lines", AGAIN
    try:
        found = drawn_angle(lines)
    except HandselError as error:
        return error.what, error.do
    if abs(found.rest_angle_deg - sent.value) > STEP_DEG:
        return (
            f"the lines make {found.rest_angle_deg:.1f}°, and {sent.value:g}° came",
            "Type it as your own reading.",
        )
    return None


def _wrong_reading(c: Characteristic, sent: Observed, hand: Hand) -> Wrong | None:
    m = _measurement(sent)
    if m is None or m.hand_id != hand.pk or m.photo.client_id != sent.photo:
        return "nothing was read from such a photo of this hand", AGAIN
    if m.of != c.id and m.kind in (ANGLE, ANGLES):
        return "the photo was taken for another reading", AGAIN
    if m.state != State.MEASURED:
        return "nothing could be read from that photo", "Type your own reading."
    if m.kind not in (ANGLE, ANGLES):
        return None if sent.answer is not None else ("a photo of it is answered in words", AGAIN)
    value, _ = telling.reading_of(m)
    if sent.value is None or sent.method != PHOTO or abs(sent.value - value) > STEP_DEG:
        return f"the photo says {value:g}°, and something else came", "Type it as your own reading."
    return None


def added(sent: Observed) -> dict[str, Any]:
    """What the record says beside the answer: how sure the reading is and why, and what was seen."""
    if sent.lines is not None:
        found = drawn_angle(sent.lines)
        return {
            "u": max(round(found.u_rest_angle_deg + 0.0049, 2), 0.01),
            "u_from": {name: round(u, 2) for name, u in found.contributions.items()},
        }
    m = None if sent.measured is None else _measurement(sent)
    if m is None:
        return {}
    result: dict[str, Any] = m.result or {}
    if m.kind in (ANGLE, ANGLES):
        _, u = telling.reading_of(m)
        return {"u": u, "u_from": {k: round(v, 2) for k, v in result["contributions"].items()}}
    saw = telling.in_short(m)
    return {"saw": saw} if saw else {}


def drawn_angle(lines: Lines) -> DrawnAngle:
    """The angle that drawn lines make."""
    width, height = lines.size
    return angle_of_lines([_two(one) for one in lines.drawn], size_px=(width, height))


def _two(one: Drawn) -> TwoLines:
    (a, b), (c, d) = one.palm, one.cuff
    return TwoLines(
        palm=((a[0], a[1]), (b[0], b[1])),
        cuff=((c[0], c[1]), (d[0], d[1])),
    )


def _measurement(sent: Observed) -> Measurement | None:
    return Measurement.objects.select_related("photo").filter(key=sent.measured).first()
