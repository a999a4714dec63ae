"""Measurements: what became of one, and several photos read together. Asked for with the photo's upload."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponseBase, JsonResponse
from django.shortcuts import get_object_or_404
from django.views.decorators.http import require_POST, require_safe

from handsel.bench.hands.head import bare_hand_by
from handsel.bench.looking.by_photo import drawn_angle
from handsel.bench.looking.sent import read_lines
from handsel.bench.measuring import asking, telling
from handsel.bench.measuring.forms import TogetherForm
from handsel.bench.measuring.models import Measurement
from handsel.bench.people.gate import needs
from handsel.bench.photos.models import Photo

MOST_LINES_BYTES = 20_000


def _told(m: Measurement, status: int = 200) -> HttpResponseBase:
    response = JsonResponse(telling.told(m), status=status)
    response["Cache-Control"] = "no-store"
    return response


@needs("inspect", "fit")
@require_safe
def state(request: HttpRequest, kind: str, client_id: str) -> HttpResponseBase:
    """What was seen on a photo, or that it is still being read."""
    m = get_object_or_404(
        Measurement.objects.select_related("photo", "hand"), key=asking.key_of(kind, client_id)
    )
    return _told(m)


@needs("inspect", "fit")
@require_POST
def together(request: HttpRequest, code: str) -> HttpResponseBase:
    """Several photos of one hand made one reading; asked twice, it is worked out once."""
    hand = bare_hand_by(code)
    form = TogetherForm(request.POST)
    if not form.is_valid():
        raise asking.NotAsked("which photos belong together was not understood", do="Load the page again.")
    m = asking.ask_together(
        hand,
        form.cleaned_data["photos"].split(","),
        of=form.cleaned_data["of"],
        afresh=form.cleaned_data["afresh"] == "yes",
        person=request.user,
    )
    return _told(m, status=202)


@needs("inspect", "fit")
@require_POST
def ask(request: HttpRequest, client_id: str) -> HttpResponseBase:
    """Have a photo measured that came without being asked for it; it is read from the picture as it was kept."""
    photo = get_object_or_404(Photo.objects.select_related("hand"), client_id=client_id)
    wish = asking.wish_in(request.POST, person=request.user, hand=photo.hand)
    if wish is None:
        raise asking.NotAsked("this check is not asked by photo", do="Open the hand again.")
    return _told(asking.ask(photo, wish, request.user), status=202)


@needs("inspect", "fit")
@require_POST
def lines(request: HttpRequest, code: str) -> HttpResponseBase:
    """What lines drawn on a photo say and what that means against the limit; nothing is recorded."""
    hand = bare_hand_by(code)
    if int(request.headers.get("Content-Length") or 0) > MOST_LINES_BYTES:
        raise asking.NotAsked("these are more lines than anybody draws", do="Draw them again.", status=413)
    of, drawn = read_lines(request.body)
    return JsonResponse(telling.lines_told(hand, of, drawn_angle(drawn)))
