"""The causes of one hand's trouble: read by everybody, answered by inspectors and builders."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from handsel.bench.causes import forms, services
from handsel.bench.causes.asking import NoAnswer, Question, answer_of, question_for
from handsel.bench.causes.page import causes_page, drawn_map, look_region
from handsel.bench.causes.wishes import want_library
from handsel.bench.hands.casebook import protocol_kept
from handsel.bench.hands.head import hand_by, head_of
from handsel.bench.hands.models import Hand
from handsel.bench.hands.once import OnceForm, new_client_id, see
from handsel.bench.hands.traveller import last_pose
from handsel.bench.hands.views import signed_in
from handsel.bench.looking.answering import known
from handsel.bench.people.gate import needs, open_to_all
from handsel.diagnosis.likelihood import CANNOT_TELL
from handsel.documents.hand_map import MapMark


@open_to_all
@require_safe
def causes(request: HttpRequest, code: str) -> HttpResponse:
    """Why the hand is not right: by itself, or only the part of the traveller that changes."""
    hand = hand_by(code)
    k = known(hand)
    pose, _ = last_pose(k)
    person = signed_in(request)
    told = {
        "causes": causes_page(hand, k.told, k.protocol, k.inspection(), person, pose),
        "client_id": new_client_id(),
    }
    if request.GET.get("part") == "live":
        response = render(request, "causes/_causes.html", told)
        response["Cache-Control"] = "no-store"
        return response
    return render(request, "causes/causes.html", told | {"head": head_of(hand)})


@needs("inspect", "build")
@require_http_methods(["GET", "HEAD", "POST"])
def look(request: HttpRequest, code: str) -> HttpResponse:
    """One look: asked, and answered."""
    hand = hand_by(code)
    protocol = protocol_kept(hand.protocol_id)
    if request.method != "POST":
        q = question_for(request.GET.get("of", ""), request.GET.get("place", ""), protocol)
        return _ask(request, hand, q, client_id=new_client_id())
    data = forms.LookForm(request.POST).cleaned()
    q = question_for(str(data["of"]), str(data["place"]), protocol)
    try:
        given = answer_of(q, str(data["answer"]), str(data["value"]))
    except NoAnswer as error:
        return _ask(
            request,
            hand,
            q,
            client_id=str(data["client_id"]),
            error=f"{error.what[:1].upper()}{error.what[1:]}. {error.do}",
            typed=str(data["value"]),
        )
    services.answer_look(hand, q, given, person=request.user, client_id=str(data["client_id"]))
    return see(f"/h/{hand.code}/#causes")


def _ask(
    request: HttpRequest, hand: Hand, q: Question, *, client_id: str, error: str = "", typed: str = ""
) -> HttpResponse:
    return render(
        request,
        "causes/look.html",
        {
            "head": head_of(hand),
            "q": q,
            "cannot_tell": CANNOT_TELL,
            "client_id": client_id,
            "error": error,
            "typed": typed,
            "svg": _where(hand, q),
        },
    )


def _where(hand: Hand, q: Question) -> str:
    """The hand with the place of the look marked."""
    region, place = look_region(q.of, q.place, protocol_kept(hand.protocol_id))
    mark = MapMark(code="here", place=place, region=region, state="undecided")
    return drawn_map(hand.design_id, hand.scale_ratio, hand.side, None, (mark,), "Where to look")


@needs("inspect", "build")
@require_POST
def back(request: HttpRequest, code: str) -> HttpResponse:
    """An answer is taken back."""
    hand, data = hand_by(code), forms.BackForm(request.POST).cleaned()
    services.take_back(hand, int(str(data["seq"])), person=request.user, client_id=str(data["client_id"]))
    return see(f"/h/{hand.code}/#causes")


@needs("anyone")
@require_POST
def begin(request: HttpRequest, code: str) -> HttpResponse:
    """Have the simulated hands made that the diagnosis needs. Asked twice, they are made once."""
    hand = hand_by(code)
    OnceForm(request.POST).cleaned()
    want_library(hand)
    return see(f"/h/{hand.code}/#causes")
