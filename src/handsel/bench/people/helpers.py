"""The lead's page of people: who is here, what they may do."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_GET, require_http_methods

from handsel.bench.people import queries, services
from handsel.bench.people.forms import NameForm
from handsel.bench.people.gate import needs
from handsel.bench.people.models import Person
from handsel.bench.people.views import see_other
from handsel.errors import HandselError

RIGHTS = (
    {"value": "may_build", "words": "Builds", "small": "works on hands"},
    {"value": "may_inspect", "words": "Inspects", "small": "looks at hands"},
    {"value": "may_fit", "words": "Fits", "small": "fits, releases, hands over"},
    {"value": "is_lead", "words": "Leads", "small": "may do everything"},
)


@needs("lead")
@require_GET
def people(request: HttpRequest) -> HttpResponseBase:
    """Who is here?"""
    rows = queries.people_rows(request.user)
    told = {"rows": [r for r in rows if r.is_active], "gone": [r for r in rows if not r.is_active]}
    return render(request, "people/people.html", told)


@needs("lead")
@require_http_methods(["GET", "POST"])
def person(request: HttpRequest, number: int) -> HttpResponseBase:
    """One person: name, rights, secret, sending away."""
    someone = get_object_or_404(Person, number=number)
    form = NameForm(request.POST if "name" in request.POST else None, initial={"name": someone.name})
    if request.method == "GET":
        return _page(request, someone, form)
    do = request.POST.get("do", "")
    if do == "name" and not form.is_valid():
        return _page(request, someone, form)
    try:
        secret = _change(request, someone, form, do)
    except services.StillNeeded as error:
        return _page(request, someone, form, error=error)
    if secret is not None:
        told = {"secret": secret, "for_whom": someone, "goes_on_to": f"/people/{number}/", "by_lead": True}
        return render(request, "people/shown_once.html", told)
    return see_other("/people/" if do == "send away" else f"/people/{number}/")


def _change(request: HttpRequest, someone: Person, form: NameForm, do: str) -> str | None:
    if do == "name":
        someone.name = form.cleaned_data["name"]
        someone.save(update_fields=["name"])
    elif do == "forget name":
        services.forget_name(someone)
    elif do == "rights":
        ticked = request.POST.getlist("right")
        return services.change_rights(someone, **{r["value"]: r["value"] in ticked for r in RIGHTS})
    elif do == "send away":
        services.set_active(someone, False)
    elif do == "let in again":
        services.set_active(someone, True)
    elif do == "new secret" and (someone.is_lead or someone.may_fit):
        return services.renew_secret(someone)
    elif do == "end sign-ins" and not (someone.is_lead or someone.may_fit):
        services.end_sign_ins(someone)
    else:
        raise HandselError("that is nothing to do here", where=someone.called, do="Load the page again.")
    return None


def _page(
    request: HttpRequest, someone: Person, form: NameForm, *, error: HandselError | None = None
) -> HttpResponseBase:
    told: dict[str, Any] = {
        "someone": someone,
        "form": form,
        "rights": RIGHTS,
        "has": [r["value"] for r in RIGHTS if getattr(someone, r["value"])],
        "holds": queries.held_by(someone),
        "is_self": someone.pk == request.user.pk,
        "error": error,
    }
    return render(request, "people/person.html", told)
