"""Numbers and names that the checklist asks for."""

from __future__ import annotations

import re

from django import forms


class LengthField(forms.Field):
    """A length as a caliper or a person types it: a comma will do, and the unit may stand behind it."""

    def to_python(self, value: object) -> float | None:
        text = str(value or "").strip().lower().removesuffix("mm").strip().replace(",", ".")
        if not text:
            return None
        if not re.fullmatch(r"\d{1,4}(\.\d{1,4})?", text):
            raise forms.ValidationError("A length in millimetres, such as 149.8.")
        return float(text)


class ScaleBarForm(forms.Form):
    """Both bars, as measured."""

    across = LengthField(error_messages={"required": "Measure this bar too."})
    along = LengthField(error_messages={"required": "Measure this bar too."})


class BackupForm(forms.Form):
    """Where the backup goes."""

    folder = forms.CharField(
        label="Folder for the backup", max_length=280, help_text="As the file manager shows it."
    )
