"""What comes with a photo that is to be measured, read before anything is done with it."""

from __future__ import annotations

from django import forms

from handsel.bench.measuring.kinds import OF_ONE_PHOTO

LOOSE, PADS = "loose", "pads"  # how the cards sit on the hand


class WishForm(forms.Form):
    """What comes beside a photo that is to be measured."""

    measure = forms.ChoiceField(choices=[(k, k) for k in OF_ONE_PHOTO])
    of = forms.RegexField(r"^[a-z0-9-]{1,60}\Z")
    cards = forms.ChoiceField(choices=[(LOOSE, LOOSE), (PADS, PADS)], required=False)
    rest_of = forms.RegexField(
        r"^[0-9A-Za-z_-]{8,64}\Z", required=False
    )  # photo that shows the kit's other parts
    width_mm = forms.FloatField(min_value=15.0, max_value=300.0, required=False)  # caliper across the cuff
    bar_mm = forms.FloatField(min_value=10.0, max_value=400.0, required=False)  # caliper on the scale bar


class TogetherForm(forms.Form):
    """Which photos, and whether the cards were put on afresh between them."""

    of = forms.RegexField(r"^[a-z0-9-]{1,60}\Z")
    photos = forms.RegexField(r"^[0-9A-Za-z_-]{8,64}(,[0-9A-Za-z_-]{8,64}){1,9}\Z", max_length=700)
    afresh = forms.ChoiceField(choices=[("yes", "yes"), ("no", "no")])
