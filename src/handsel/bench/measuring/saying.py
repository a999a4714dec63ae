"""What was seen on a photo that helps a yes or no, as lines for a person: one form for all kinds.

head       what it comes to, in one sentence
stop       why nothing should be strung yet; empty when there is no such reason
rows       one thing each: words, a smaller line, and one of the statuses of a check
marks      places that a person confirms or dismisses: id, words, what yes and no are called
in_short   what the record keeps beside the person's own answer
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from handsel.metrology.decision import Decision
    from handsel.vision.bend.whitening import BendSeen
    from handsel.vision.cuff.measuring import CuffSeen
    from handsel.vision.parts.looking import PartsSeen
    from handsel.vision.parts.seen import PartSeen

_SURE = ("for the other hand", "another scale", "one too many", "not of this kit")
_STATUS = {"right": "conforms", "cannot tell": "undecided"}


def of_parts(found: PartsSeen) -> dict[str, Any]:
    """A kit on the mat. The early stop is said only where something is seen to be wrong, not where it is unclear."""
    rows = [_part(number, one) for number, one in enumerate(found.seen, start=1)]
    # What is wrong first, what is right last; the numbers on the picture stay.
    rows.sort(key=lambda row: ("does not conform", "undecided", "conforms").index(row["status"]))
    for gone in found.missing:
        times = f"{gone.count} times " if gone.count > 1 else ""
        rows.insert(
            0,
            {
                "words": f"{_capital(gone.title)}: {times}not seen",
                "small": "It may be the one that could not be told." if gone.may_be_there else "",
                "status": "undecided" if gone.may_be_there else "not seen",
            },
        )
    wrong = any(one.state.value in _SURE for one in found.seen)
    kinds: dict[tuple[str, ...], dict[str, Any]] = {}
    for names, title, right, gone_count in [
        *((one.names, one.title, 1, 0) for one in found.seen if one.state.value == "right"),
        *((gone.names, gone.title, 0, gone.count) for gone in found.missing),
    ]:
        kind = kinds.setdefault(names, {"names": list(names), "title": title, "right": 0, "missing": 0})
        kind["right"] += right
        kind["missing"] += gone_count
    return {
        "head": found.sentence,
        "stop": found.sentence if wrong else "",
        "rows": rows,
        "marks": [],
        "notes": [*found.notes],
        "is_right": found.is_right,
        "kinds": list(kinds.values()),
        "print_ratio": round(found.print_ratio, 4),
        "u_print_ratio": round(found.u_print_ratio, 4),
        "print_is_wrong": found.print_is_wrong,
        "mat": found.mat,
        "in_short": found.sentence,
    }


def of_kit(photos: list[dict[str, Any]]) -> dict[str, Any]:
    """A kit that took several photos: a part is missing only when it is on none of them."""
    if len(photos) < 2:
        return photos[-1]
    rows, right, gone, many = [], 0, 0, 0
    for number, one in enumerate(photos, start=1):
        rows += [
            row | {"words": f"Photo {number}, {row['words']}"} for row in one["rows"] if not _is_missing(row)
        ]
    for kind in photos[-1]["kinds"]:
        seen = [k["right"] for one in photos for k in one["kinds"] if k["names"] == kind["names"]]
        expected, count = kind["right"] + kind["missing"], sum(seen)
        right += min(count, expected)
        gone += max(expected - count, 0)
        many += max(count - expected, 0)
        if count < expected:
            times = f"{expected - count} times " if expected - count > 1 else ""
            words = f"{_capital(kind['title'])}: {times}on none of the photos"
            rows.append({"words": words, "small": "", "status": "not seen"})
        elif count > expected:
            words = f"{_capital(kind['title'])}: {count} on all photos together, and {expected} ordered"
            small = "Or one part is on two of the photos."
            rows.append({"words": words, "small": small, "status": "undecided"})
    rows.sort(key=lambda row: _ORDER.index(row["status"]))
    stop = next((one["stop"] for one in photos if one["stop"]), "")
    told = [f"{right} right"]
    told += [f"{gone} not seen"] if gone else []
    told += [f"{many} too many, or photographed twice"] if many else []
    told += [f"{n} not as ordered"] if (n := sum(r["status"] == "does not conform" for r in rows)) else []
    told += [f"{n} that cannot be told"] if (n := _untold(rows)) else []
    head = f"On {len(photos)} photos together: {', '.join(told)}."
    return photos[-1] | {"head": head, "stop": stop, "rows": rows, "in_short": stop or head}


_ORDER = ("not seen", "does not conform", "undecided", "conforms")


def _is_missing(row: dict[str, Any]) -> bool:
    return not row["words"][:1].isdigit()


def _untold(rows: list[dict[str, Any]]) -> int:
    return sum(row["status"] == "undecided" and row["words"].startswith("Photo") for row in rows)


def _part(number: int, one: PartSeen) -> dict[str, Any]:
    state = one.state.value
    small = [one.reason] if one.reason else []
    if one.scale_ratio is not None and one.u_scale_ratio is not None and state == "another scale":
        small.append(
            f"{100 * one.scale_ratio:.1f} ± {200 * one.u_scale_ratio:.1f} % of the ordered size (k = 2)"
        )
    if one.ask is not None:
        small.append(_asked(one))
    return {
        "words": f"{number}. {_capital(one.title)}: {state}",
        "small": " ".join(_sentence(s) for s in small),
        "status": _STATUS.get(state, "does not conform"),
    }


def _asked(one: PartSeen) -> str:
    ask = one.ask
    if ask is None:
        return ""
    told = _capital(ask.what)
    if ask.expected_mm is not None and " mm" not in told:
        told += f": {ask.expected_mm:.1f} mm if it is right"
        told += f", {ask.otherwise_mm:.1f} mm if not" if ask.otherwise_mm is not None else ""
    return told


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _sentence(text: str) -> str:
    return _capital(text) + ("" if text.endswith((".", "!")) else ".")


def of_cuff(found: CuffSeen, decision: Decision | None) -> dict[str, Any]:
    """A cuff's left against its right, in millimetres, with what the photo alone says of the limit."""
    read = f"Left and right differ by {found.asymmetry_mm:.1f} ± {2 * found.u_asymmetry_mm:.1f} mm (k = 2)"
    rows = []
    if decision is not None:
        _, _, chance = str(decision).partition("; ")
        rows.append(
            {
                "words": f"{_capital(decision.verdict.value)}: {decision.limits} is asked",
                "small": _sentence(f"It is {chance}, by this photo alone"),
                "status": decision.verdict.value,
            }
        )
    if found.words:
        rows.append(
            {
                "words": _sentence(found.words),
                "small": "Left and right as in the picture.",
                "status": "undecided",
            }
        )
    came = {"width": "the width you measured", "card": "the card", "mat": "the mat"}[found.scale_from]
    return {
        "head": read + ".",
        "stop": "",
        "rows": rows,
        "marks": [],
        "notes": [*(_sentence(n) for n in found.notes), f"Millimetres from {came}."],
        "asymmetry_mm": round(found.asymmetry_mm, 3),
        "u_asymmetry_mm": round(found.u_asymmetry_mm, 3),
        "contributions": {k: round(v, 4) for k, v in found.contributions.items()},
        "in_short": f"{read.lower()}; {decision.verdict.value} by photo" if decision else read.lower(),
    }


def of_bend(found: BendSeen) -> dict[str, Any]:
    """Pale lines to confirm or to dismiss; where a photo cannot tell, that is said and nothing is marked."""
    marks = [
        {
            "id": str(number),
            "words": f"{number}. A pale line: {one.looks.value}",
            "yes": "Still there: white",
            "no": "Gone, or no line",
        }
        for number, one in enumerate(found.candidates, start=1)
    ]
    notes = [_sentence(n) for n in found.notes]
    if marks:
        notes = ["Wipe each place and turn the part before you answer; both answers go on record.", *notes]
    return {
        "head": found.words,
        "stop": "",
        "rows": [],
        "marks": marks,
        "notes": notes,
        "can_tell": found.can_tell,
        "in_short": f"{len(marks)} pale {'line' if len(marks) == 1 else 'lines'} marked by photo"
        if found.can_tell
        else "the photo could not tell",
    }
