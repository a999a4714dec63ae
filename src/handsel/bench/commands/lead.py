"""`handsel lead`: a new passphrase for the lead, from the computer that holds the records."""

from __future__ import annotations

from pathlib import Path

import click

from handsel.bench.commands.folder import open_records
from handsel.bench.commands.serve import data_option
from handsel.errors import HandselError


@click.command(name="lead")
@data_option
@click.option("--new-passphrase", is_flag=True, help="Make one and show it this once; the old one ends.")
@click.option("--number", type=click.IntRange(1), help="Which lead, if there are several.")
def command(data: Path, new_passphrase: bool, number: int | None) -> None:
    """Say who leads; with --new-passphrase, let a lead in whose words are lost."""
    open_records(data)
    from handsel.bench.people.models import Person
    from handsel.bench.people.services import first_lead, renew_secret

    leads = list(Person.objects.filter(is_lead=True, is_active=True))
    if not new_passphrase:
        for lead in leads:
            click.echo(f"{lead.called}{f' ({lead.name})' if lead.name else ''}")
        click.echo("A lost passphrase is replaced with: handsel lead --new-passphrase")
        return
    if not leads:
        click.echo(f"There was no lead; there is one now. Passphrase:\n\n    {first_lead()}\n")
        return
    if number is None and len(leads) > 1:
        raise HandselError(
            f"there are {len(leads)} leads: {', '.join(str(p.number) for p in leads)}",
            where="lead",
            do="Say which one with --number.",
        )
    chosen = next((p for p in leads if number in (None, p.number)), None)
    if chosen is None:
        raise HandselError(f"no lead has the number {number}", where="lead", do="handsel lead lists them.")
    click.echo(f"New passphrase of {chosen.called}, shown this once:\n\n    {renew_secret(chosen)}\n")
    click.echo("The old one no longer counts, and this lead's open sign-ins have ended.")
