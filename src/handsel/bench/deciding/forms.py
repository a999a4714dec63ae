"""The lead's forms about one hand."""

from __future__ import annotations

from django import forms

from handsel.bench.days.forms import SentOnce


class Deciding(SentOnce):
    """Made from a record of this length."""

    seen_count = forms.IntegerField(min_value=1, max_value=10_000_000, widget=forms.HiddenInput)


class ConcedeForm(Deciding):
    """Let one thing at one place pass."""

    of = forms.CharField(max_length=60)
    place = forms.CharField(max_length=60, required=False)
    reason = forms.CharField(max_length=2_000, required=False)


class TakeBackForm(Deciding):
    """Take a concession back."""

    seq = forms.IntegerField(min_value=1, max_value=10_000_000)


class ScrapForm(Deciding):
    """Give a hand up."""

    reason = forms.CharField(max_length=2_000, required=False)
    sure = forms.ChoiceField(choices=(("", ""), ("yes", "yes")), required=False)
