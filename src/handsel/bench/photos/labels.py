"""A label photographed instead of typed: which code is on it? The picture is read once and not kept.

It is no photo on record, so it has no row of its own: the job that reads it holds all there is to know.
"""

from __future__ import annotations

import re
from typing import Any

from handsel.bench.hands.codes import BadCode, read_code, shown
from handsel.bench.hands.models import Hand
from handsel.bench.jobs.models import Job
from handsel.bench.on_disk import fingerprint
from handsel.bench.photos import places
from handsel.bench.photos.apart import told_apart

# The hall's number may have changed since the label was printed: of its address only this end counts.
END = re.compile(r"/l/([^/?#]+)/?$", re.IGNORECASE)
TYPE_IT = "type the six characters"


def key_of(client_id: str) -> str:
    """What a label's picture is known by; the stroke keeps it apart from every id of a photo."""
    return f"label/{client_id}"


def read(payload: dict[str, Any]) -> dict[str, Any]:
    """Read the codes and delete the picture, whatever came of it. Other texts are nobody's business."""
    source = places.upload(payload["sha256"], payload["label"])
    try:
        if not source.is_file() or fingerprint(source) != payload["sha256"]:
            return {"refused": "the picture was lost on the disk", "do": f"Take it again, or {TYPE_IT}."}
        told = told_apart("reading", payload["kind"], source)
    finally:
        source.unlink(missing_ok=True)
    if "refused" in told:
        return {"refused": told["refused"], "do": told["do"]}
    codes = {code for text in told["texts"] if (code := code_in(text))}
    return {"codes": sorted(codes), "square_count": len(told["texts"])}


def code_in(text: str) -> str:
    """The code of a hand in what a square says; empty when it is none of our labels."""
    end = END.search(text.strip())
    try:
        return read_code(end[1]) if end else ""
    except BadCode:
        return ""


def told_of(job: Job) -> dict[str, Any]:
    """What became of it, for the page that waits."""
    said: dict[str, Any] = {"photo": job.payload["label"].partition("/")[2]}
    if job.state in (Job.QUEUED, Job.WORKING):
        return said | {"state": "stored"}
    result = job.result or {}
    if job.error:
        return said | _refused(job.error["what"], f"Take it again, or {TYPE_IT}.")
    if "refused" in result:
        return said | _refused(result["refused"], result["do"])
    here = Hand.objects.filter(code__in=result["codes"]).order_by("code").values_list("code", flat=True)
    hands = [{"code": shown(code), "url": f"/l/{code}/"} for code in here]
    if len(hands) == 1:
        return said | {"state": "ready"} | hands[0]
    if hands:
        return said | {"state": "several", "what": "More than one label is in the picture", "hands": hands}
    if result["codes"]:
        return said | _refused(
            "no hand on this bench has this code", "Look at the label again, or ask the lead."
        )
    if result["square_count"]:
        return said | _refused(
            "this is not one of our labels", f"Photograph the label of the hand, or {TYPE_IT}."
        )
    return said | _refused("no code was found", f"Go nearer, or {TYPE_IT}.")


def _refused(what: str, do: str) -> dict[str, str]:
    return {"state": "refused", "what": what[:1].upper() + what[1:], "do": do}
