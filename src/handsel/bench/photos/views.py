"""Photos: sent by phones, shown to people who are signed in, erased by the lead."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.csrf import csrf_exempt, csrf_protect
from django.views.decorators.http import require_POST, require_safe

from handsel.bench.hands.codes import read_code
from handsel.bench.hands.models import Hand
from handsel.bench.jobs.models import Job
from handsel.bench.measuring import asking
from handsel.bench.people.gate import needs, wants_json
from handsel.bench.photos import labels, places, queries, services
from handsel.bench.photos.models import Photo, State
from handsel.bench.photos.uploads import Cap

A_PAGE = 60


# Without the exemption the form would be read, with all its megabytes, before anyone asked who sends it.
@needs("anyone")
@csrf_exempt
@require_POST
def take(request: HttpRequest) -> HttpResponseBase:
    """A phone sends a photo."""
    request.upload_handlers.insert(0, Cap(request, services.MOST_BYTES))
    return _receive(request)


@csrf_protect
def _receive(request: HttpRequest) -> HttpResponseBase:
    file = _photo_in(request)
    hand = None
    if request.POST.get("hand"):
        hand = Hand.objects.filter(code=read_code(request.POST["hand"])).first()
        if hand is None:
            raise services.NotTaken(
                "it is for a hand that is not here", do="Check the code on the label.", status=404
            )
    person = request.user
    wish = asking.wish_in(request.POST, person=person, hand=hand)
    photo, _ = services.take_in(
        file,
        client_id=request.POST.get("client_id", ""),
        person=person,
        hand=hand,
        then=None if wish is None else lambda new: asking.ask(new, wish, person),
    )
    if wants_json(request) or not request.POST.get("next", "").startswith("/"):
        return JsonResponse(queries.told(photo), status=202)
    return HttpResponse(status=303, headers={"Location": safe_next(request.POST["next"])})


def _photo_in(request: HttpRequest) -> Any:
    file = request.FILES.get("photo")
    if file is None:
        raise services.NotTaken("no photo came with it", do="Choose a photo and send it.", status=400)
    return file


@needs("anyone")
@csrf_exempt  # as above
@require_POST
def take_label(request: HttpRequest) -> HttpResponseBase:
    """A phone sends a picture of a label, to be read and forgotten."""
    request.upload_handlers.insert(0, Cap(request, services.MOST_BYTES))
    return _receive_label(request)


@csrf_protect
def _receive_label(request: HttpRequest) -> HttpResponseBase:
    job = services.take_label(
        _photo_in(request), client_id=request.POST.get("client_id", ""), person=request.user
    )
    return JsonResponse(labels.told_of(job), status=202)


@needs("anyone")
@require_safe
def label(request: HttpRequest, client_id: str) -> HttpResponseBase:
    """Which hand a photographed label leads to; only for who sent it."""
    job = get_object_or_404(Job, key=labels.key_of(client_id), payload__by=request.user.pk)
    response = JsonResponse(labels.told_of(job))
    response["Cache-Control"] = "no-store"
    return response


def safe_next(path: str) -> str:
    """A path of this bench, never another host."""
    return "/" if path.startswith(("//", "/\\")) or not path.isprintable() else path


@needs("lead")
@require_safe
def all_photos(request: HttpRequest) -> HttpResponseBase:
    """Which photos there are, newest first, for the lead."""
    of = Photo.objects.select_related("hand", "taken_by", "erased_by")
    page = Paginator(of, A_PAGE).get_page(request.GET.get("page"))
    return render(request, "photos/all.html", {"page": page})


@needs("anyone")
@require_safe
def state(request: HttpRequest, client_id: str) -> HttpResponseBase:
    """What became of a photo: for a script its state, for a person the picture and its story."""
    photo = get_object_or_404(
        Photo.objects.select_related("hand", "taken_by", "erased_by"), client_id=client_id
    )
    if "text/html" not in request.headers.get("Accept", ""):
        response: HttpResponseBase = JsonResponse(queries.told(photo))
    else:
        response = render(request, "photos/one.html", _one(photo, EraseForm()))
    response["Cache-Control"] = "no-store"
    return response


@needs("anyone")
@require_safe
def picture(request: HttpRequest, fingerprint: str) -> HttpResponseBase:
    """The kept JPEG. Its address is its content's fingerprint, so a browser may keep it for good."""
    shown = list(queries.showing(fingerprint).values_list("state", flat=True))
    if not shown:
        raise Http404
    if State.READY not in shown:
        raise services.NotTaken("this photo was erased", do="What was recorded with it stays.", status=410)
    try:
        data = places.kept(fingerprint).read_bytes()  # a few megabytes at most: we wrote it
    except FileNotFoundError:
        raise services.NotTaken(
            "its file is missing on the lead's laptop", do="The lead can fetch it from a backup.", status=404
        ) from None
    response = HttpResponse(data, content_type="image/jpeg")
    response["Content-Disposition"] = f'inline; filename="{fingerprint[:16]}.jpg"'
    response["Cache-Control"] = "private, max-age=31536000, immutable"
    response["X-Content-Type-Options"] = "nosniff"
    return response


class EraseForm(forms.Form):
    """Why a photo goes. The reason is kept, the picture is not."""

    because = forms.CharField(max_length=200, label="Why it goes")


@needs("lead")
@require_POST
def erase(request: HttpRequest, client_id: str) -> HttpResponseBase:
    """The lead deletes a picture; sent twice, it is gone once."""
    photo = get_object_or_404(Photo, client_id=client_id)
    form = EraseForm(request.POST)
    if not form.is_valid() and photo.state != State.ERASED:
        return render(request, "photos/one.html", _one(photo, form))
    services.erase(photo, person=request.user, because=form.cleaned_data.get("because", ""))
    return redirect("photo-state", client_id=client_id)


def _one(photo: Photo, form: EraseForm) -> dict[str, Any]:
    return {
        "photo": photo,
        "form": form,
        "can_go": photo.state in (State.STORED, State.READY),
        "large": queries.picture_url(photo.sha256) if photo.state == State.READY else "",
    }
