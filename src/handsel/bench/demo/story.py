"""The demo day as data: who is there, what lies on the tables, and how far each hand has come.

All of it is invented. Numbers of a hand in good order stand in GOOD; a hand says only what differs.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

TITLE = "Millbrook library build day"
PLACE = "Reading room, first floor"
OPENED_MIN, CLOSES_MIN = 250, 210  # minutes before now, and after

LOTS = (
    ("filament", "PLA, bone white, spool 3", None),
    ("filament", "PLA, leaf green, spool 1", None),
    ("cord", "braided cord 1.0 mm, reel B", None),
    ("elastic", "round elastic 2.0 mm, bag 7", 24),
    ("foam", "foam sheet 3 mm, pack 2", 3),
    ("pins", "pins and M3 screws, tray 5", 40),
    ("glue", "thin glue, bottle 2", 2),
    ("printer", "printer 4 by the window", None),
)

GOOD: Mapping[str, float | str] = {
    "scale-as-ordered": 100.1,
    "part-mass": 101.0,
    "bare-fit-tried": "outline",
    "thumb-meets-finger": "index",
    "thumb-starts-with-fingers": 0.5,
    "thumb-cord-press": "taut",
    "whippletree-level": 0.4,
    "worked-rest-angle": 36.1,
    "lowered-rest-angle": 36.3,
    "thumb-tip-bend": 1.0,
    "whippletree-flush": 0.1,
    "tension-screw-thumb-side": 0.0,
    "tension-screw-little-side": 0.0,
    "thumb-pin-in-line": 0.2,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Story:
    """One hand: ordered how, and what has become of it.

    `passed` hold points are behind it; at the next one `ends` says what happened last: "building", "taken",
    "asked", "looking", "decided" (with what `differs` makes of it), "cards", "released", "handed over", "scrapped".
    """

    recipient: str
    side: str
    scale_ratio: float
    passed: int
    ends: str
    begun_min: int  # minutes before now
    since_min: int
    differs: Mapping[str, float | str] = field(default_factory=dict)
    note: str = ""
    target_deg: float | None = None
    latex_sensitive: bool = False


SHALLOW = {
    "worked-rest-angle": 28.5,
    "lowered-rest-angle": 28.6,
}
STORIES = (
    Story(recipient="R-002", side="right", scale_ratio=1.1, passed=5, ends="handed over", begun_min=245, since_min=40),
    Story(recipient="R-003", side="left", scale_ratio=1.15, passed=5, ends="released", begun_min=240, since_min=25),
    Story(recipient="R-005", side="right", scale_ratio=1.2, passed=5, ends="decided", begun_min=235, since_min=12),
    Story(
        recipient="R-006", side="left", scale_ratio=1.1, passed=4, ends="decided", begun_min=230, since_min=33,
        latex_sensitive=True,
    ),
    Story(recipient="R-008", side="right", scale_ratio=1.0, passed=3, ends="asked", begun_min=215, since_min=17),
    Story(
        recipient="R-009", side="right", scale_ratio=1.1, passed=2, ends="cards", begun_min=205, since_min=28,
        differs=SHALLOW, note="Strung to the template on the wall.",
    ),
    Story(recipient="R-014", side="right", scale_ratio=1.1, passed=2, ends="asked", begun_min=195, since_min=31),
    Story(recipient="R-015", side="left", scale_ratio=1.25, passed=2, ends="looking", begun_min=170, since_min=4),
    Story(
        recipient="R-017", side="right", scale_ratio=1.1, passed=1, ends="cards", begun_min=150, since_min=14,
        differs={"thumb-proximal-on-thumb": "no"}, note="It is on the index finger.",
    ),
    Story(recipient="R-018", side="left", scale_ratio=0.9, passed=1, ends="taken", begun_min=130, since_min=9),
    Story(
        recipient="R-020", side="right", scale_ratio=1.15, passed=0, ends="decided", begun_min=110, since_min=22,
        differs={"cuff-no-cracks": "no"}, note="10 mm long, at the left bend of the cuff.",
    ),
    Story(
        recipient="R-021", side="left", scale_ratio=1.3, passed=0, ends="scrapped", begun_min=100, since_min=65,
        differs={"cuff-no-cracks": "no", "no-pores": "no"}, note="Porous right through: the nozzle was worn.",
    ),
    Story(
        recipient="R-026", side="left", scale_ratio=1.1, passed=2, ends="cards", begun_min=140, since_min=19,
        differs={
            "worked-rest-angle": 32.7, "lowered-rest-angle": 35.4, "whippletree-level": -9.5,
            "thumb-tip-bend": 2.0, "thumb-starts-with-fingers": 2.5,
        },
    ),
    Story(
        recipient="R-027", side="right", scale_ratio=1.1, passed=2, ends="cards", begun_min=135, since_min=11,
        # what a tight knuckle of the ring finger does: it stays bent, and its cord pulls the bar askew
        differs={
            "fingers-move-together@ring": "no", "reopens-fully@ring": "no", "digits-straight@ring": "no",
            "worked-rest-angle": 33.5, "lowered-rest-angle": 35.9, "whippletree-level": 5.5,
        },
    ),
    Story(recipient="R-023", side="right", scale_ratio=0.95, passed=0, ends="asked", begun_min=45, since_min=6),
    Story(recipient="R-024", side="left", scale_ratio=1.05, passed=0, ends="building", begun_min=15, since_min=15),
)  # fmt: skip
