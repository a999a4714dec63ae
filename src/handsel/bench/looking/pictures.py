"""The drawings of one hold point as one file, made once and kept by the phone for good."""

from __future__ import annotations

import gzip
import json
from functools import lru_cache
from threading import Lock

from handsel.bench.hands.casebook import design_placed, protocol_kept
from handsel.documents.check_figure import check_figure
from handsel.documents.hold_figure import hold_figure

_one_at_a_time = Lock()


def pictures(protocol: str, design: str, side: str, hold_point: str) -> tuple[bytes, bytes]:
    """JSON of {"checks": {id: svg}, "held": {group: svg}} of one hold point; plain and packed.

    Drawings depend on side and design, not on the scale: one file serves every hand of a day. When the hall
    opens, many phones ask for the same file at once: it is drawn for the first one.
    """
    with _one_at_a_time:
        return _drawn(protocol, design, side, hold_point)


def draw_ahead(protocol: str, design: str) -> None:
    """Draw everything of a day before the first phone asks."""
    for stage in protocol_kept(protocol).hold_points:
        for side in ("right", "left"):
            pictures(protocol, design, side, stage.id)


@lru_cache(maxsize=40)
def _drawn(protocol: str, design: str, side: str, hold_point: str) -> tuple[bytes, bytes]:
    asked = protocol_kept(protocol)
    placed = design_placed(design, 1.0, side)
    stages = [h for h in asked.hold_points if h.id == hold_point]
    groups = {g.id: g for h in stages for g in h.groups}
    told = {
        "checks": {c.id: check_figure(placed, c, asked) for c in asked.characteristics if c.held in groups},
        "held": {g.id: hold_figure(placed, g, asked) for g in groups.values()},
    }
    plain = json.dumps(told, separators=(",", ":")).encode()
    return plain, gzip.compress(plain, compresslevel=9, mtime=0)
