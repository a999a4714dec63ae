"""The forms of a day. What a form cannot know, a service says in its own words."""

from __future__ import annotations

import secrets
from typing import Any

from django import forms

from handsel.bench.days.models import Lot
from handsel.data.load_protocol import bundled_protocols

SIDES = (("left", "left"), ("right", "right"))


def fresh_id() -> str:
    """The id that makes a form sent twice be stored once."""
    return secrets.token_hex(16)


class SentOnce(forms.Form):
    """A form that carries its own id."""

    client_id = forms.RegexField(r"^[0-9a-f]{32}$", widget=forms.HiddenInput)
    stale = "This page sent something that is not understood. Load it again and repeat the step."

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["client_id"].initial = fresh_id
        self.fields["client_id"].error_messages = {"required": self.stale, "invalid": self.stale}


class HandForm(SentOnce):
    """One hand: code, side, scale; the rest may follow."""

    recipient_code = forms.CharField(
        label="Recipient's code",
        max_length=16,
        help_text="From the order card, as in R-014. Never a name.",
        widget=forms.TextInput(
            {
                "autocapitalize": "characters",
                "autocomplete": "off",
                "spellcheck": "false",
                "class": "code-input",
            }
        ),
    )
    side = forms.ChoiceField(label="Side", choices=SIDES, widget=forms.RadioSelect)
    scale_percent = forms.DecimalField(
        label="Scale",
        min_value=10,
        max_value=400,
        max_digits=5,
        decimal_places=1,
        widget=forms.TextInput({"inputmode": "decimal", "autocomplete": "off"}),
    )
    target_rest_angle_deg = forms.DecimalField(
        label="Rest angle asked for",
        required=False,
        min_value=0,
        max_value=90,
        max_digits=4,
        decimal_places=1,
        help_text="Only where the recipient's wrist asks for another than the protocol's.",
        widget=forms.TextInput({"inputmode": "decimal", "autocomplete": "off"}),
    )
    latex = forms.ChoiceField(
        label="Latex",
        required=False,
        choices=(("", "not known"), ("yes", "must be kept away"), ("no", "no matter")),
    )

    @property
    def latex_sensitive(self) -> bool | None:
        """None: not known, and then treated as sensitive."""
        return {"yes": True, "no": False}.get(self.cleaned_data.get("latex", ""))


class HandsForm(SentOnce):
    """Several hands, pasted."""

    lines = forms.CharField(
        label="One hand a line",
        max_length=20_000,
        help_text="Code, side, scale in per cent, as in: R-014 left 110",
        widget=forms.Textarea({"rows": 6, "spellcheck": "false", "autocomplete": "off"}),
    )


class DetailsForm(forms.Form):
    """What a day is called, where it is, until when, and where its labels lead."""

    title = forms.CharField(label="Title", max_length=80)
    place = forms.CharField(label="Place", max_length=80, required=False)
    closes = forms.TimeField(
        label="The hall closes at",
        required=False,
        input_formats=("%H:%M", "%H:%M:%S", "%H.%M"),
        widget=forms.TimeInput({"type": "time"}, format="%H:%M"),
    )
    address = forms.CharField(
        label="Address that labels lead to",
        max_length=200,
        required=False,
        help_text="A number or a name with its port, as phones in the hall reach this laptop: 192.168.1.5:8000",
        widget=forms.TextInput({"autocapitalize": "none", "autocomplete": "off", "spellcheck": "false"}),
    )


class LotForm(SentOnce):
    """A spool, bag, box or printer."""

    kind = forms.ChoiceField(label="What", choices=Lot.KINDS)
    name = forms.CharField(
        label="Name or number", max_length=80, required=False, help_text="What stands on it; or take a photo."
    )
    note = forms.CharField(label="Note", max_length=200, required=False)
    spares_count = forms.IntegerField(
        label="How many are there",
        required=False,
        min_value=0,
        max_value=100_000,
        widget=forms.TextInput({"inputmode": "numeric", "autocomplete": "off"}),
    )
    photo_client_id = forms.RegexField(r"^[0-9a-f]{32}$", required=False, widget=forms.HiddenInput)


class SparesForm(forms.Form):
    """How many are left of a lot."""

    spares_count = forms.IntegerField(required=False, min_value=0, max_value=100_000)


class ProtocolForm(forms.Form):
    """Another protocol for hands that are begun from now on."""

    bundled = forms.ChoiceField(label="One that comes with the program", required=False, choices=())
    file = forms.FileField(
        label="Or a file of your own",
        required=False,
        max_length=200,
        help_text="A TOML file. It is checked before anything changes.",
        widget=forms.ClearableFileInput({"accept": ".toml,text/plain"}),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        names = [(n, n) for n in bundled_protocols()]
        self.fields["bundled"].choices = [("", "choose"), *names]

    def clean(self) -> dict[str, Any]:
        """Exactly one of the two."""
        cleaned: dict[str, Any] = super().clean() or {}
        if not self.errors and bool(cleaned.get("bundled")) == bool(cleaned.get("file")):
            raise forms.ValidationError("Choose either one of the list or a file.")
        return cleaned
