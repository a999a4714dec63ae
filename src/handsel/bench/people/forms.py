"""What people type about themselves and others."""

from __future__ import annotations

from django import forms


def plain(name: str) -> str:
    """A first name on one line, without characters that cannot be seen or that turn the text round."""
    return " ".join("".join(c for c in name if c.isprintable()).split())


class JoinForm(forms.Form):
    """A first name, or nothing: then a number will do."""

    client_id = forms.RegexField(regex=r"^[0-9a-f]{32}$", widget=forms.HiddenInput)
    name = forms.CharField(
        label="Your first name",
        required=False,
        max_length=40,
        widget=forms.TextInput(attrs={"autocomplete": "given-name", "autocapitalize": "words"}),
    )

    def clean_name(self) -> str:
        return plain(self.cleaned_data["name"])


class WordsForm(forms.Form):
    """The lead's passphrase."""

    words = forms.CharField(
        label="The lead's six words",
        max_length=200,
        widget=forms.PasswordInput(
            attrs={"autocomplete": "current-password", "autocapitalize": "none", "spellcheck": "false"}
        ),
    )


class NameForm(forms.Form):
    """A name as the lead corrects it."""

    name = forms.CharField(label="First name", required=False, max_length=40)

    def clean_name(self) -> str:
        return plain(self.cleaned_data["name"])
