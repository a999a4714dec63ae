"""A hand as papers name it, and a PDF as a browser takes it."""

from __future__ import annotations

from datetime import datetime

from django.http import HttpResponse
from django.utils import timezone

from handsel.bench.hands.models import Hand, KeptText
from handsel.documents.paper import HandOnPaper, TextOnPaper


def on_paper(hand: Hand, base: str) -> HandOnPaper:
    """The hand with the address that its label opens; `base` is where phones reach this bench."""
    return HandOnPaper(
        code=hand.code,
        url=f"{base}/l/{hand.code}/",
        recipient=hand.recipient_code,
        serial=hand.serial,
        side="left" if hand.side == "left" else "right",
        scale_ratio=hand.scale_ratio,
        design=_text(hand.design),
        protocol=_text(hand.protocol),
        target_rest_angle_deg=hand.target_rest_angle_deg,
        latex_sensitive=hand.latex_sensitive is not False,  # not known counts as sensitive, as in the checks
    )


def _text(kept: KeptText) -> TextOnPaper:
    return TextOnPaper(name=kept.name, version=kept.version, sha256=kept.sha256)


def moment_of(at: str) -> datetime:
    """A record's moment in the hall's own time."""
    return timezone.localtime(datetime.fromisoformat(at))


def inline_pdf(data: bytes, name: str) -> HttpResponse:
    """A PDF that opens in the browser and is saved under a name of its own."""
    response = HttpResponse(data, content_type="application/pdf")
    response.headers["Content-Disposition"] = f'inline; filename="{name}.pdf"'
    return response
