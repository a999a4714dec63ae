"""What a record says, in words: one line for an entry, by role and number, never by name."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from handsel.bench.causes.known import catalogue_for, look_title
from handsel.bench.hands.casebook import FOR_CAUSES, Told
from handsel.bench.work.planning import spoken
from handsel.documents.wording import minus
from handsel.inspection.protocol import Protocol
from handsel.inspection.rules import NumberRule

UNITS = {"deg": "°", "percent": " %", "mm": " mm", "turn": " turns", "g": " g", "N": " N"}


def entry_words(t: Told, protocol: Protocol) -> str:
    """One entry as a sentence without its full stop."""
    say = _SAY.get(t.kind)
    return say(t.what, protocol) if say is not None else t.kind


def characteristic_words(of: str, place: str, protocol: Protocol) -> str:
    """A characteristic at its place, as people call it."""
    c = protocol.characteristic(of)
    title = c.title if c is not None else _other_title(of, protocol)
    return f"{title} ({spoken(place)})" if place else title


def _other_title(of: str, protocol: Protocol) -> str:
    """What no inspection asks for: found by the mechanics, or looked at to find a cause."""
    if of.startswith("cord-"):
        return "Finger loops and thumb cord"
    catalogue = catalogue_for(protocol)
    look = catalogue.observable(of) if catalogue is not None else None
    return look_title(look) if look is not None else of


def answer_words(w: dict[str, Any], protocol: Protocol) -> str:
    """What was answered or read, with its unit."""
    if w.get("answer") is not None:
        return str(w["answer"])
    values = list(w.get("readings") or ()) or [w.get("value")]
    c = protocol.characteristic(w["of"])
    unit = w.get("unit") or (c.rule.unit if c is not None and isinstance(c.rule, NumberRule) else "")
    told = [minus(f"{v:g}") for v in values if isinstance(v, int | float)]
    sign = UNITS.get(unit, f" {unit}" if unit else "")
    # Only a reading that says itself how sure it is has this: from a photo, or from lines drawn on one.
    spread = f" ± {2 * w['u']:.1f}{sign} (k = 2)" if isinstance(w.get("u"), int | float) else ""
    by = ", from drawn lines" if w.get("lines") else ", from a photo" if w.get("measured") else ""
    return f"{', '.join(told)}{sign}{spread}{by}" if told else "no answer"


def as_it_should_be(w: dict[str, Any], protocol: Protocol) -> bool:
    """False for an answer that a sound hand does not get; a number is judged with its uncertainty elsewhere."""
    c = protocol.characteristic(w["of"])
    if c is None or w.get("from") == FOR_CAUSES or isinstance(c.rule, NumberRule) or w.get("answer") is None:
        return True
    return w["answer"] in c.rule.accepted


def hold_point_title(id: str, protocol: Protocol) -> str:
    """What a hold point is called."""
    return next((h.title for h in protocol.hold_points if h.id == id), id)


def work_title(id: str, protocol: Protocol) -> str:
    """What a build step or a rework is called."""
    rework, step = protocol.rework(id), protocol.step(id)
    return rework.title if rework is not None else step.title if step is not None else id


def _begun(w: dict[str, Any], p: Protocol) -> str:
    return f"Begun: {w['side']} hand at {100 * w['scale_ratio']:.4g} % for {w['recipient']}"


def _observed(w: dict[str, Any], p: Protocol) -> str:
    note = f". {w['note']}" if w.get("note") else ""
    why = "To find the cause: " if w.get("from") == FOR_CAUSES else ""
    return f"{why}{characteristic_words(w['of'], w.get('place', ''), p)}: {answer_words(w, p)}{note}"


def _as_shown(w: dict[str, Any], p: Protocol) -> str:
    titles = {g.id: g.title for h in p.hold_points for g in h.groups}
    titles |= {h.id: h.title for h in p.hold_points}
    return f"All as shown: {titles.get(w['group'], w['group'])}"


def _did(w: dict[str, Any], p: Protocol) -> str:
    place = f" ({spoken(w['place'])})" if w.get("place") else ""
    what = f"{work_title(w['what'], p)}{place}"
    return f"Put right: {what}" if w.get("is_rework") else f"Done: {what}"


def _taken(w: dict[str, Any], p: Protocol) -> str:
    return f"Took it to {w.get('to') or 'work on it'}"


def _conceded(w: dict[str, Any], p: Protocol) -> str:
    return f"Let pass: {characteristic_words(w['of'], w.get('place', ''), p)}. Reason: {w['reason']}"


def _changed(w: dict[str, Any], p: Protocol) -> str:
    name = {
        "recipient_code": "recipient",
        "scale_ratio": "scale",
        "target_rest_angle_deg": "rest angle asked for [deg]",
        "latex_sensitive": "latex must be kept away",
    }.get(w["field"], str(w["field"]))
    old, new = ({True: "yes", False: "no", None: "not known"}.get(w[key], w[key]) for key in ("old", "new"))
    return f"Changed: {name}, from {old} to {new}"


def _judged_by(w: dict[str, Any], p: Protocol) -> str:
    t = w["protocol"]
    return f"From here on judged by {t['name']} {t['version']}"


def _learned(w: dict[str, Any], p: Protocol) -> str:
    catalogue = catalogue_for(p)
    id = f"{w['fault']}@{w['place']}" if w.get("place") else str(w["fault"])
    found = catalogue.fault(id) if catalogue is not None else None
    return f"Proved by its cure: {found.title if found is not None else id} ({work_title(w['rework'], p)})"


_SAY: dict[str, Callable[[dict[str, Any], Protocol], str]] = {
    "begun": _begun,
    "observed": _observed,
    "as-shown": _as_shown,
    "withdrawn": lambda w, p: f"Took back entry {w['seq']}: {w.get('reason') or 'no reason given'}",
    "did": _did,
    "self-checked": lambda w, p: f"Checked by the builder: {characteristic_words(w['of'], w['place'], p)}",
    "asked": lambda w, p: f"Asked for “{hold_point_title(w['hold_point'], p)}” to be looked at",
    "decided": lambda w, p: str(w["sentence"]),
    "ordered": lambda w, p: f"Rework card: {w['title']}",
    "taken": _taken,
    "put-down": lambda w, p: "Put it down",
    "conceded": _conceded,
    "scrapped": lambda w, p: f"Scrapped: {w['reason']}",
    "released": lambda w, p: "Released",
    "handed-over": lambda w, p: f"Handed over to the {w['to']}, sheet in {w['language']}",
    "noted": lambda w, p: f"Note: {w['text'] or 'a photo'}",
    "lot-used": lambda w, p: f"Made with {w['kind']} {w['name'] or '(see its photo)'}",
    "changed": _changed,
    "judged-by": _judged_by,
    "learned": _learned,
}
