"""What comes from the pages about causes."""

from __future__ import annotations

from django import forms

from handsel.bench.hands.once import OnceForm


class LookForm(OnceForm):
    """One answer to one look."""

    of = forms.SlugField(max_length=60)
    place = forms.RegexField(r"^[a-z0-9.-]{0,40}$", required=False)
    answer = forms.CharField(max_length=40, required=False)
    value = forms.CharField(max_length=20, required=False)


class BackForm(OnceForm):
    """Which answer is taken back."""

    seq = forms.IntegerField(min_value=1, max_value=10_000_000)


class LearnedBackForm(OnceForm):
    """Which learned cause counts no more, and why."""

    number = forms.IntegerField(min_value=1, max_value=10_000_000)
    reason = forms.CharField(
        label="Why it counts no more", max_length=300, error_messages={"required": "Say why in a few words."}
    )
