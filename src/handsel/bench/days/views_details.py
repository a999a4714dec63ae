"""Everything about the day that can wait: place, closing time, address, lots, printers, protocol."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from handsel.bench.days import lots as lot_services
from handsel.bench.days import protocols
from handsel.bench.days.forms import DetailsForm, LotForm, ProtocolForm, SparesForm, fresh_id
from handsel.bench.days.lot_photos import photos_of
from handsel.bench.days.models import Day, Lot
from handsel.bench.days.queries import current_day
from handsel.bench.days.services import change_details
from handsel.bench.days.views_day import see_other
from handsel.bench.hands.models import Hand
from handsel.bench.people.gate import needs
from handsel.bench.phone_address import base_for_phones
from handsel.data.toml_file import MAX_BYTES
from handsel.errors import HandselError


def _said(error: HandselError) -> str:
    return f"{error.what[:1].upper()}{error.what[1:]}. {error.do}"


@needs("lead")
@require_http_methods(["GET", "POST"])
def details(request: HttpRequest) -> HttpResponse:
    """Title, place, closing time, address."""
    day = current_day()
    if day is None:
        return see_other("/day/")
    closes = timezone.localtime(day.closes_at).time() if day.closes_at else None
    known = {"title": day.title, "place": day.place, "closes": closes, "address": day.address}
    form = DetailsForm(request.POST) if request.method == "POST" else DetailsForm(initial=known)
    if request.method == "POST" and form.is_valid():
        try:
            change_details(day, **form.cleaned_data)
        except HandselError as error:
            form.add_error("address", _said(error))
        else:
            return see_other("/day/details/?kept=1")
    here = base_for_phones(request)
    return _details_page(request, day, form=form, here=here)


def _details_page(request: HttpRequest, day: Day, **told: object) -> HttpResponse:
    lots = list(Lot.objects.filter(day=day).order_by("used_up_at", "kind", "added_at"))
    photos = photos_of(lots)
    context = {
        "day": day,
        "kept": "kept" in request.GET,
        "form": DetailsForm(),
        "lot_form": LotForm(),
        "photo_id": fresh_id(),
        "lots": [{"lot": lot, "photo_url": photos.get(lot.pk, "")} for lot in lots],
        "few": lot_services.FEW,
        **told,
    }
    return render(request, "days/details.html", context)


@needs("lead")
@require_POST
def lot_add(request: HttpRequest) -> HttpResponse:
    """A new lot."""
    day = current_day()
    if day is None:
        return see_other("/day/")
    form = LotForm(request.POST)
    if form.is_valid():
        try:
            lot_services.add_lot(day, person=request.user, **form.cleaned_data)
        except HandselError as error:
            form.add_error("name", _said(error))
        else:
            return see_other("/day/details/?kept=1#lots")
    closes = timezone.localtime(day.closes_at).time() if day.closes_at else None
    known = {"title": day.title, "place": day.place, "closes": closes, "address": day.address}
    return _details_page(
        request,
        day,
        lot_form=form,
        form=DetailsForm(initial=known),
        here=base_for_phones(request),
        lot_open=True,
    )


@needs("lead")
@require_POST
def lot_change(request: HttpRequest, pk: int) -> HttpResponse:
    """How many are left, or that nothing is."""
    lot = get_object_or_404(Lot, pk=pk)
    if "used_up" in request.POST:
        lot_services.use_up(lot, is_used_up=request.POST["used_up"] == "yes")
    else:
        form = SparesForm(request.POST)
        if not form.is_valid():
            return render(request, "days/lot_wrong.html", {"lot": lot, "form": form})
        lot_services.count_spares(lot, form.cleaned_data["spares_count"])
    return see_other("/day/details/?kept=1#lots")


@needs("lead")
@require_http_methods(["GET", "POST"])
def protocol(request: HttpRequest) -> HttpResponse:
    """The protocol of the day: change it for new hands."""
    day = current_day()
    if day is None:
        return see_other("/day/")
    form = ProtocolForm(request.POST, request.FILES) if request.method == "POST" else ProtocolForm()
    if request.method == "POST" and form.is_valid():
        chosen, file = form.cleaned_data["bundled"], form.cleaned_data["file"]
        try:
            kept = (
                protocols.keep_bundled(chosen)
                if chosen
                else protocols.keep_uploaded(file.read(MAX_BYTES + 1), name=file.name)
            )
            protocols.set_protocol(day, kept)
        except HandselError as error:
            form.add_error("file" if file else "bundled", f"{error.where}: {_said(error)}")
        else:
            return see_other("/day/protocol/?kept=1")
    return _protocol_page(request, day, form=form)


def _protocol_page(request: HttpRequest, day: Day, **told: object) -> HttpResponse:
    others = protocols.others_of(day)
    context = {
        "day": day,
        "others": others,
        "form": ProtocolForm(),
        "kept": "kept" in request.GET,
        "stay": (),
        **told,
    }
    return render(request, "days/protocol.html", context)


@needs("lead")
@require_POST
def move(request: HttpRequest) -> HttpResponse:
    """Judge one running hand, or all, by the day's protocol from now on."""
    day = current_day()
    if day is None:
        return see_other("/day/")
    code = request.POST.get("hand", "")
    if code:
        hand = get_object_or_404(Hand, code=code[:6], day=day)
        protocols.move_over(hand, day.protocol, person=request.user)
        return see_other("/day/protocol/?kept=1")
    _, stay = protocols.move_all(day, person=request.user)
    if stay:
        return _protocol_page(request, day, stay=stay)
    return see_other("/day/protocol/?kept=1")
