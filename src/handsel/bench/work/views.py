"""The builder's pages."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.csrf import csrf_exempt, csrf_protect
from django.views.decorators.http import require_POST, require_safe

from handsel.bench.hands.casebook import protocol_kept, told_of
from handsel.bench.hands.head import hand_by
from handsel.bench.hands.once import OnceForm, see
from handsel.bench.people.gate import needs
from handsel.bench.photos.services import MOST_BYTES, take_in
from handsel.bench.photos.uploads import Cap
from handsel.bench.work import forms, services
from handsel.bench.work.build_page import build_page
from handsel.bench.work.card_page import card_page
from handsel.bench.work.step_page import step_page


@needs("build")
@require_safe
def build(request: HttpRequest, code: str) -> HttpResponse:
    """What to do next with a hand, and what must be true before going on."""
    return render(request, "work/build.html", {"page": build_page(hand_by(code), request.user)})


@needs("build")
@require_safe
def step(request: HttpRequest, code: str, step: str) -> HttpResponse:
    """One step or rework before it is reported: what it hides, what is checked instead."""
    hand = hand_by(code)
    page = step_page(hand, step, protocol_kept(hand.protocol_id))
    if page is None:
        raise Http404
    return render(request, "work/step.html", {"page": page})


@needs("build")
@require_POST
def did(request: HttpRequest, code: str) -> HttpResponse:
    """A step or rework was done."""
    hand, data = hand_by(code), forms.DidForm(request.POST).cleaned()
    services.report_step(
        hand,
        str(data["step"]),
        place=str(data["place"]),
        person=request.user,
        client_id=str(data["client_id"]),
    )
    return see(f"/h/{hand.code}/build/")


@needs("build")
@require_POST
def checks(request: HttpRequest, code: str) -> HttpResponse:
    """The builder's own checks."""
    hand, data = hand_by(code), forms.ChecksForm(request.POST).cleaned()
    services.self_check(hand, _texts(data["checked"]), person=request.user, client_id=str(data["client_id"]))
    return see(f"/h/{hand.code}/build/")


@needs("build")
@require_POST
def ask(request: HttpRequest, code: str) -> HttpResponse:
    """Somebody else looks at it now."""
    hand, data = hand_by(code), OnceForm(request.POST).cleaned()
    services.ask_inspection(hand, person=request.user, client_id=str(data["client_id"]))
    return see(f"/h/{hand.code}/build/")


@needs("build", "fit")
@require_POST
def take(request: HttpRequest, code: str) -> HttpResponse:
    """This person has the hand."""
    hand, data = hand_by(code), forms.TakeForm(request.POST).cleaned()
    services.take(hand, str(data["to"]), person=request.user, client_id=str(data["client_id"]))
    return see(_back(request, hand.code))


@needs("build", "fit")
@require_POST
def put_down(request: HttpRequest, code: str) -> HttpResponse:
    """Nobody has it."""
    hand, data = hand_by(code), OnceForm(request.POST).cleaned()
    services.put_down(hand, person=request.user, client_id=str(data["client_id"]))
    return see(_back(request, hand.code))


@needs("anyone")
@csrf_exempt
@require_POST
def note(request: HttpRequest, code: str) -> HttpResponse:
    """A few words, with a photo or without. The upload is capped before the form is read."""
    request.upload_handlers.insert(0, Cap(request, MOST_BYTES))
    return _note(request, code)


@csrf_protect
def _note(request: HttpRequest, code: str) -> HttpResponse:
    hand, data = hand_by(code), forms.NoteForm(request.POST, request.FILES).cleaned()
    client_id, file, photo = str(data["client_id"]), request.FILES.get("photo"), ""
    if file is not None:
        photo = f"{client_id}-photo"
        take_in(file, client_id=photo, person=request.user, hand=hand)
    services.note(hand, str(data["text"]), photo=photo, person=request.user, client_id=client_id)
    return see(_back(request, hand.code))


@needs("build")
@require_POST
def lot(request: HttpRequest, code: str) -> HttpResponse:
    """Which spool, bag or box it is made from."""
    hand, data = hand_by(code), forms.LotForm(request.POST).cleaned()
    services.use_lot(hand, data["lot"], person=request.user, client_id=str(data["client_id"]))  # type: ignore[arg-type]
    return see(f"/h/{hand.code}/build/")


@needs("build", "inspect")
@require_POST
def order(request: HttpRequest, code: str) -> HttpResponse:
    """Write the rework cards that the last answer calls for."""
    hand, data = hand_by(code), OnceForm(request.POST).cleaned()
    cards = services.order_cards(hand, person=request.user, client_id=str(data["client_id"]))
    if len(cards) == 1:
        return see(f"/h/{hand.code}/cards/{cards[0].seq}/")
    return see(f"/h/{hand.code}/build/" if request.user.may("build") else f"/h/{hand.code}/")


# ---- one card ------------------------------------------------------------------------------------------


@needs("build", "inspect", "fit")
@require_safe
def card(request: HttpRequest, code: str, seq: int) -> HttpResponse:
    """One rework card."""
    return _card(request, code, seq)


def _card(
    request: HttpRequest, code: str, seq: int, *, unticked: int = 0, ticked: tuple[str, ...] = ()
) -> HttpResponse:
    hand = hand_by(code)
    told = told_of(hand)
    page = card_page(
        hand, services.card_of(hand, told, seq), told, request.user, protocol_kept(hand.protocol_id)
    )
    for s in page.steps:
        s["done"] = s["value"] in ticked
    return render(request, "work/card.html", {"page": page, "unticked": unticked})


@needs("build", "fit")
@require_POST
def card_done(request: HttpRequest, code: str, seq: int) -> HttpResponse:
    """A card was done. Steps left without a tick are asked about once."""
    hand, data = hand_by(code), forms.CardDoneForm(request.POST).cleaned()
    found = services.card_of(hand, told_of(hand), seq)
    ticked = _texts(data["ticked"])
    unticked = len(found.what["steps"]) - len(set(ticked))
    if unticked > 0 and not data["anyway"] and found.is_open:
        return _card(request, code, seq, unticked=unticked, ticked=ticked)
    services.report_card(
        hand,
        seq,
        person=request.user,
        client_id=str(data["client_id"]),
        places=_texts(data["places"]),
        note=str(data["note"]),
    )
    return see(f"/h/{hand.code}/build/" if request.user.may("build") else f"/h/{hand.code}/")


@needs("build", "fit")
@require_POST
def card_cannot(request: HttpRequest, code: str, seq: int) -> HttpResponse:
    """A card cannot be done: back to the inspector, with the reason."""
    hand, data = hand_by(code), forms.CannotForm(request.POST).cleaned()
    services.cannot(hand, seq, person=request.user, client_id=str(data["client_id"]), why=str(data["why"]))
    return see(f"/h/{hand.code}/")


@needs("inspect")
@require_POST
def card_drop(request: HttpRequest, code: str, seq: int) -> HttpResponse:
    """An inspector finds that a card is not needed; the hand is decided again."""
    hand, data = hand_by(code), forms.CannotForm(request.POST).cleaned()
    services.cannot(
        hand, seq, person=request.user, client_id=str(data["client_id"]), why=str(data["why"]), needed=False
    )
    return see(f"/h/{hand.code}/")


def _texts(value: object) -> tuple[str, ...]:
    return tuple(str(v) for v in value) if isinstance(value, list | tuple) else ()


def _back(request: HttpRequest, code: str) -> str:
    """The page of this hand that the form was on."""
    here = request.POST.get("back", "")
    known = {"build": f"/h/{code}/build/", "fit": f"/h/{code}/fit/"}
    if here.startswith("card-") and here[5:].isascii() and here[5:].isdigit():
        return f"/h/{code}/cards/{here[5:]}/"
    return known.get(here, f"/h/{code}/")
