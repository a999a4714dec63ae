"""What is done to hands and their texts."""

from __future__ import annotations

import re
from datetime import datetime
from hashlib import sha256

from django.db import IntegrityError, transaction
from django.utils import timezone

from handsel.bench.causes.known import CATALOGUE, catalogue_for
from handsel.bench.days.models import Day
from handsel.bench.hands.casebook import design_kept, protocol_kept
from handsel.bench.hands.chain import New, append
from handsel.bench.hands.codes import new_code
from handsel.bench.hands.models import Hand, KeptText
from handsel.bench.people.models import Person
from handsel.data.design_text import design_text
from handsel.data.fields import CODE
from handsel.data.load_design import load_design
from handsel.data.load_faults import faults_text
from handsel.data.load_protocol import load_protocol, protocol_text
from handsel.errors import HandselError, OutOfRange
from handsel.inspection.protocol import Protocol


def keep_protocol(source: str) -> KeptText:
    """The text of a protocol, kept under its fingerprint."""
    protocol, text = load_protocol(source), protocol_text(source)
    kept, _ = KeptText.objects.get_or_create(
        sha256=protocol.sha256,
        defaults={"kind": "protocol", "name": protocol.id, "version": protocol.version, "text": text},
    )
    return kept


def keep_design(source: str) -> KeptText:
    """The text of a design, kept under its fingerprint."""
    design = load_design(source)
    text = design_text(design)
    kept, _ = KeptText.objects.get_or_create(
        sha256=sha256(text.encode("ascii")).hexdigest(),
        defaults={"kind": "design", "name": design.name, "version": design.version, "text": text},
    )
    return kept


def keep_catalogue(protocol: Protocol) -> KeptText | None:
    """The text of the fault catalogue that goes with a protocol, kept under its fingerprint; None where none does."""
    catalogue = catalogue_for(protocol)
    if catalogue is None:
        return None
    about = {"kind": "catalogue", "name": catalogue.id, "version": catalogue.version}
    kept = KeptText.objects.filter(pk=catalogue.sha256).first()
    return kept or KeptText.objects.create(sha256=catalogue.sha256, text=faults_text(CATALOGUE), **about)


def begin_hand(
    *,
    day: Day,
    recipient_code: str,
    side: str,
    scale_ratio: float,
    person: Person,
    client_id: str | None = None,
    target_rest_angle_deg: float | None = None,
    latex_sensitive: bool | None = None,
    practice: str = "",
    at: datetime | None = None,
) -> Hand:
    """Begin a hand: code, side and scale are enough. Sent twice with one client id, it is begun once."""
    recipient_code = recipient_code.strip().upper()
    check_order(day, recipient_code, side, scale_ratio)
    at = at or timezone.now()
    protocol = protocol_kept(day.protocol_id)
    with transaction.atomic():
        if client_id:
            again = Hand.objects.filter(entries__client_id=client_id).first()
            if again is not None:
                return again
        hand = _new_hand(
            day=day,
            recipient_code=recipient_code,
            side=side,
            scale_ratio=scale_ratio,
            target_rest_angle_deg=target_rest_angle_deg,
            latex_sensitive=latex_sensitive,
            practice=practice,
            begun_at=at,
            since=at,
            design=day.design,
            protocol=day.protocol,
            hold_point=protocol.hold_points[0].id,
        )
        catalogue = keep_catalogue(protocol)
        what = {
            "recipient": recipient_code,
            "serial": hand.serial,
            "side": side,
            "scale_ratio": scale_ratio,
            "target_rest_angle_deg": target_rest_angle_deg,
            "latex_sensitive": latex_sensitive,
            "practice": practice,
            "design": _text_told(day.design),
            "protocol": _text_told(day.protocol),
            "catalogue": None if catalogue is None else _text_told(catalogue),
        }
        new = New(kind="begun", what=what, client_id=client_id) if client_id else New(kind="begun", what=what)
        append(hand, [new], person=person, at=at)
    return hand


def _text_told(kept: KeptText) -> dict[str, str]:
    return {"name": kept.name, "version": kept.version, "sha256": kept.sha256}


def _new_hand(**columns: object) -> Hand:
    count = Hand.objects.count()
    for _ in range(50):
        count += 1
        try:
            with transaction.atomic():
                return Hand.objects.create(code=new_code(), serial=f"H-{count:04d}", **columns)
        except IntegrityError:  # a code or number that is taken: the next one
            continue
    raise HandselError("no free code was found", where="the new hand", do="Try once more.")


def check_order(day: Day, recipient_code: str, side: str, scale_ratio: float) -> None:
    """Refuse, in words, what is no order for a hand of this day."""
    if not re.fullmatch(CODE, recipient_code) or len(recipient_code) > 16:
        raise OutOfRange(
            "the recipient's code is not of the form R-014",
            where="the new hand",
            do="Use letters, a dash and a number; never a name.",
        )
    if side not in ("left", "right"):
        raise OutOfRange("the side is missing", where="the new hand", do="Choose left or right.")
    design = design_kept(day.design_id)
    low, high = design.scale_min_ratio, design.scale_max_ratio
    if not low <= scale_ratio <= high:
        raise OutOfRange(
            f"the scale is {100 * scale_ratio:.0f} %; this design goes from {100 * low:.0f} to {100 * high:.0f} %",
            where="the new hand",
            do="Type the scale on the order card, in per cent.",
        )


def judge_by(hand: Hand, protocol: KeptText, *, person: Person, at: datetime | None = None) -> None:
    """From now on judge a hand by another protocol. What was recorded before keeps the one it was seen under."""
    if protocol.kind != "protocol" or protocol.pk == hand.protocol_id:
        return
    with transaction.atomic():
        Hand.objects.filter(pk=hand.pk).update(protocol=protocol)
        hand.protocol = protocol
        append(hand, [New(kind="judged-by", what={"protocol": _text_told(protocol)})], person=person, at=at)
