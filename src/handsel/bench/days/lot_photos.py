"""Photos of bags: a lot keeps the id its photo was sent by; the picture is served under its fingerprint."""

from __future__ import annotations

from collections.abc import Sequence

from handsel.bench.days.models import Lot
from handsel.bench.photos.models import Photo, State


def photos_of(lots: Sequence[Lot]) -> dict[int, str]:
    """Addresses of the small pictures by lot; those that are not ready yet are left out. One query."""
    ids = {lot.photo_client_id: lot.pk for lot in lots if lot.photo_client_id}
    if not ids:
        return {}
    ready = Photo.objects.filter(client_id__in=ids, state=State.READY).only(
        "client_id", "sha256", "thumb_sha256"
    )
    return {ids[p.client_id]: f"/photos/{p.thumb_sha256 or p.sha256}.jpg" for p in ready}
