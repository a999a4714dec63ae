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
    from handsel.vision.cuff import CuffSeen
    from handsel.vision.part_judging import PartSeen
    from handsel.vision.parts import PartsSeen
    from handsel.vision.whitening import BendSeen

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
    return {
        "head": found.sentence,
        "stop": found.sentence if wrong else "",
        "rows": rows,
        "marks": [],
        "notes": [*found.notes],
        "is_right": found.is_right,
        "print_ratio": round(found.print_ratio, 4),
        "u_print_ratio": round(found.u_print_ratio, 4),
        "print_is_wrong": found.print_is_wrong,
        "mat": found.mat,
        "in_short": found.sentence,
    }


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
    if ask.expected_mm is not None:
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
            "words": f"{number}. A pale line, {one.looks.value}",
            "yes": "It stays",
            "no": "It is none",
        }
        for number, one in enumerate(found.candidates, start=1)
    ]
    return {
        "head": found.words,
        "stop": "",
        "rows": [],
        "marks": marks,
        "notes": [_sentence(n) for n in found.notes],
        "can_tell": found.can_tell,
        "in_short": f"{len(marks)} pale {'line' if len(marks) == 1 else 'lines'} marked by photo"
        if found.can_tell
        else "the photo could not tell",
    }
