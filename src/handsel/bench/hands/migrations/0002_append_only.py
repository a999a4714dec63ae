"""The database refuses to change or delete an entry."""

from __future__ import annotations

from typing import Any

from django.db import migrations

from handsel.bench.hands.append_only import switch


def on(apps: Any, editor: Any) -> None:
    switch(editor, "on")


def off(apps: Any, editor: Any) -> None:
    switch(editor, "off")


class Migration(migrations.Migration):
    dependencies = [("hands", "0001_initial")]
    operations = [migrations.RunPython(on, off)]
