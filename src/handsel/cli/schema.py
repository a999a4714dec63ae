"""`handsel schema NAME`: the published format of a file, for editors and other programs."""

from __future__ import annotations

import json

import click


@click.command(name="schema")
@click.argument("name")
def command(name: str) -> None:
    """Print the JSON Schema of a format: design, protocol, case or assessment."""
    from handsel.data.schemas import schema

    click.echo(json.dumps(schema(name), indent=2, ensure_ascii=False))
