"""What fitters send."""

from __future__ import annotations

from django import forms

from handsel.bench.fitting.cautions import languages
from handsel.bench.hands.once import OnceForm
from handsel.bench.work.forms import AnyIds


class ReleaseForm(OnceForm):
    """Release, on the record as the page showed it."""

    seen = forms.RegexField(r"^[0-9a-f]{64}$", label="the page")


class ClockForm(OnceForm):
    """The hand was put on, or taken off: skin is looked at some minutes later."""

    what = forms.ChoiceField(choices=[("on", "on"), ("off", "off")])


class HandOverForm(OnceForm):
    """Handed over."""

    language = forms.ChoiceField(label="the language")
    to = forms.ChoiceField(choices=[("recipient", "the wearer"), ("carer", "a carer")], label="to whom")
    call = forms.CharField(max_length=200, label="whom to call")
    gone_through = AnyIds(required=False)

    def __init__(self, *args: object, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)
        self.fields["language"].choices = languages()
