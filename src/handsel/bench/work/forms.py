"""What builders send."""

from __future__ import annotations

from typing import Any

from django import forms

from handsel.bench.days.models import Lot
from handsel.bench.hands.once import OnceForm


class AnyIds(forms.MultipleChoiceField):
    """Several words of which each is checked by the service, not here."""

    def valid_value(self, value: str) -> bool:
        """Whatever is short enough to be an id."""
        return len(value) <= 60


class DidForm(OnceForm):
    """A step or rework was done."""

    step = forms.CharField(max_length=60)
    place = forms.CharField(max_length=40, required=False)


class ChecksForm(OnceForm):
    """The builder's own checks."""

    checked = AnyIds(required=False)


class CardDoneForm(OnceForm):
    """A rework card was done."""

    ticked = AnyIds(required=False)
    places = AnyIds(required=False)
    note = forms.CharField(max_length=1000, required=False)
    anyway = forms.BooleanField(required=False)


class CannotForm(OnceForm):
    """A rework card cannot be done, or is not needed."""

    why = forms.CharField(max_length=500, label="the reason")


class NoteForm(OnceForm):
    """A few words and perhaps a photo."""

    text = forms.CharField(max_length=1000, required=False)

    def clean(self) -> dict[str, Any]:
        """One of both has to be there."""
        data: dict[str, Any] = super().clean() or {}
        if not data.get("text") and not self.files.get("photo"):
            raise forms.ValidationError("There is neither a word nor a photo in the note.")
        return data


class LotForm(OnceForm):
    """Which spool, bag or box this hand is made from."""

    lot = forms.ModelChoiceField(Lot.objects.all(), label="the lot")


class TakeForm(OnceForm):
    """Who has the hand now."""

    to = forms.ChoiceField(choices=[(x, x) for x in ("build", "look", "put right", "fit")])
