"""Forms that write into a record carry an id made with the page, so that what is sent twice is stored once."""

from __future__ import annotations

import secrets

from django import forms
from django.http import HttpResponse

from handsel.errors import HandselError


class NotFilledIn(HandselError, ValueError):
    """A form came without something that it needs; seen only where a browser did not ask for it itself."""


class OnceForm(forms.Form):
    """A form with its id. `cleaned` raises in words instead of showing the page again."""

    client_id = forms.RegexField(r"^[0-9A-Za-z-]{8,48}$", widget=forms.HiddenInput)

    def cleaned(self) -> dict[str, object]:
        """The fields, or NotFilledIn naming the first that does not do."""
        if self.is_valid():
            return dict(self.cleaned_data)
        name, messages = next(iter(self.errors.items()))
        raise NotFilledIn(
            f"{messages[0]}".rstrip("."),
            where=str(self.fields[name].label or name).replace("_", " ")
            if name in self.fields
            else "the form",
            do="Go back, load the page again and repeat the step.",
        )


def new_client_id() -> str:
    """An id for a form, made when its page is."""
    return secrets.token_hex(16)


def see(url: str) -> HttpResponse:
    """After something was stored: on to a page that can be loaded again without sending twice."""
    return HttpResponse(status=303, headers={"Location": url})
