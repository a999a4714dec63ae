"""What a photo can be measured for, and which checks of a protocol it helps with."""

from __future__ import annotations

from handsel.inspection.protocol import Characteristic
from handsel.inspection.rules import NumberRule

ANGLE, ANGLES, PARTS, CUFF, BEND = "angle", "angles", "parts", "cuff", "bend"
OF_ONE_PHOTO = (ANGLE, PARTS, CUFF, BEND)
SLOW = (PARTS, CUFF, BEND)  # some seconds or many, in a worker of their own
PHOTO = "photo"  # the method, as protocols name it
_ANGLES = ("worked_rest_angle_deg", "lowered_rest_angle_deg")
# A yes/no check has nothing in it that says what a photo of it could show, so it is known by its name.
_HELPED = {
    "kit-complete": PARTS,
    "cuff-symmetric": CUFF,
    "cuff-no-white-line": BEND,
    "joint-no-white-line": BEND,
}


def job_kind(kind: str) -> str:
    """Which worker measures it."""
    return "measure-slow" if kind in SLOW else "measure"


def kind_for(c: Characteristic) -> str:
    """What a photo taken at this check is measured for; empty where it is only a picture."""
    if isinstance(c.rule, NumberRule):
        by_photo = any(m.name == PHOTO for m in c.rule.methods)
        return ANGLE if by_photo and c.reads in _ANGLES and c.rule.unit == "deg" else ""
    return _HELPED.get(c.id, "")
