"""Papers of many hands at once: labels and travellers."""

from __future__ import annotations

from handsel.bench.days.models import Day
from handsel.bench.hands.casebook import protocol_kept
from handsel.bench.hands.models import Hand
from handsel.bench.papers.naming import on_paper
from handsel.data.load_labels import bundled_label_grids, load_label_grid
from handsel.documents.label_sheet import HandLabel, label_sheet
from handsel.documents.traveller import Traveller, travellers
from handsel.errors import OutOfRange

MOST = 300  # hands in one PDF
USUAL_GRID = "63.5x38.1-a4"


def chosen(day: Day | None, said: str) -> list[Hand]:
    """The hands that an address names: "all", "new" (nothing done yet), or codes with commas between.

    Raises OutOfRange when there is none or they are too many for one file.
    """
    hands = Hand.objects.select_related("design", "protocol", "day").defer("design__text", "protocol__text")
    if said in ("all", "new"):
        hands = hands.filter(day=day, practice="")
        hands = hands.filter(entry_count=1) if said == "new" else hands
    else:
        hands = hands.filter(
            code__in=[c.strip().upper().replace("-", "") for c in said.split(",")][: MOST + 1]
        )
    found = list(hands.order_by("pk")[: MOST + 1])
    if not found:
        none = "no hand is new: each has something on record" if said == "new" else "there is no such hand"
        raise OutOfRange(none, where="papers", do="Choose others, or begin a hand first.")
    if len(found) > MOST:
        raise OutOfRange(
            f"there are more than {MOST} hands",
            where="papers",
            do="Print the new ones, or choose them by code.",
        )
    return found


def labels_pdf(hands: list[Hand], base: str, *, grid: str, start: int) -> bytes:
    """One label for each hand."""
    if grid not in bundled_label_grids():
        raise OutOfRange(
            f"there is no label grid {grid[:40]!r}", where="labels", do="Choose one of the list."
        )
    return label_sheet([HandLabel(hand=on_paper(h, base)) for h in hands], load_label_grid(grid), start=start)


def travellers_pdf(hands: list[Hand], base: str) -> bytes:
    """One traveller for each hand, from the hold point on that it has reached."""
    papers = []
    for hand in hands:
        protocol = protocol_kept(hand.protocol_id)
        start = hand.hold_point if protocol.stage(hand.hold_point) else ""
        papers.append(Traveller(hand=on_paper(hand, base), protocol=protocol, from_hold_point=start))
    return travellers(papers)
