"""A worker's trial piece: it answers, and the libraries it needs are read from the disk before the first hand."""

from __future__ import annotations

from datetime import date
from io import BytesIO
from time import perf_counter
from typing import Any

from handsel import __version__
from handsel.inspection.case import Case, HandRecord, Observation

DESIGN, PROTOCOL = "linden", "wrist-hand-1"
SHALLOW = (
    ("thumb-starts-with-fingers", 0.5, "deg"),
    ("whippletree-level", 0.5, "deg"),
    ("worked-rest-angle", 28.5, "deg"),
    ("lowered-rest-angle", 28.6, "deg"),
    ("thumb-tip-bend", 1.0, "deg"),
    ("whippletree-flush", 0.1, "mm"),
    ("tension-screw-thumb-side", 0.0, "turn"),
    ("tension-screw-little-side", 0.0, "turn"),
    ("thumb-pin-in-line", 0.2, "mm"),
)


def run(payload: dict[str, Any]) -> dict[str, Any]:
    """Do the trial piece of a kind of worker."""
    begun = perf_counter()
    said = {"answer": _mechanics, "photo": _photo, "measure": _reading}[payload["warm"]]()
    return {"said": said, "seconds": round(perf_counter() - begun, 2)}


def _mechanics() -> str:
    """A shallow hand: the worker has to find the turns that put it right."""
    from handsel.data.load_design import load_design
    from handsel.data.load_protocol import load_protocol
    from handsel.rework.assessment import assess

    case = Case(
        name="trial",
        hand=HandRecord(
            code="R-000", serial="H-0000", design=DESIGN, scale_ratio=1.1, side="right", hold_point="strung"
        ),
        by="the checklist",
        on=date(2026, 1, 1),
        observations=(
            Observation(of="thumb-cord-press", answer="taut", by="trial"),
            *(Observation(of=of, value=value, unit=unit, by="trial") for of, value, unit in SHALLOW),
        ),
    )
    found = assess(
        case,
        load_protocol(PROTOCOL),
        load_design(DESIGN),
        design_sha256="",
        protocol_sha256="",
        program_version=__version__,
    )
    return found.sentence


def _reading() -> str:
    """A picture without cards, looked at by the process that reads angles: it has to say that there are none."""
    import json
    from pathlib import Path
    from tempfile import TemporaryDirectory

    from PIL import Image

    from handsel.bench.measuring.working import SEEING
    from handsel.bench.photos.apart import told_apart

    with TemporaryDirectory() as folder:
        source = Path(folder) / "trial"
        Image.linear_gradient("L").resize((1600, 1200)).save(source, "JPEG", quality=85)
        told = told_apart(SEEING, json.dumps({"what": "angle"}), source, Path(folder) / "drawn")
    if "cause" not in told:
        raise OSError(told.get("refused", "it did not look"))
    return f"a picture without cards: {told['cause']}"


def _photo() -> str:
    """A picture written and read again by the same library that develops photographs."""
    from PIL import Image

    picture = Image.effect_noise((1600, 1200), 60)
    held = BytesIO()
    picture.save(held, "JPEG", quality=85)
    held.seek(0)
    with Image.open(held) as again:
        again.load()
        return f"{again.width} by {again.height} pixels read"
