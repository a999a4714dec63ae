"""`handsel ready`: the checklist before the hall opens, in the terminal."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from handsel.bench.commands.folder import open_records
from handsel.bench.commands.serve import data_option

SIGNS = {"good": "[x]", "care": "[?]", "bad": "[!]", "open": "[ ]"}


@click.command(name="ready")
@data_option
def command(data: Path) -> None:
    """Go through the points that a hall needs before it opens.

    What only a person can see is ticked on the lead's page /ready/, which shows the same list.

    Exit status: 0, nothing is out of order; 1, something is.
    """
    folder = open_records(data)
    from handsel.bench.addresses import lan_addresses
    from handsel.bench.days.queries import current_day
    from handsel.bench.folder_lock import running
    from handsel.bench.ready.finding import BAD
    from handsel.bench.ready.queries import checklist

    server = running(folder)
    day, numbers = current_day(), lan_addresses()
    port = server["port"] if server else 8000
    base = (
        day.address
        if day is not None and day.address
        else f"http://{numbers[0] if numbers else 'localhost'}:{port}"
    )
    found = checklist(base)
    click.echo(
        f"The bench is {'running at ' + str(server['address']) if server else 'not running: start handsel serve'}.\n"
    )
    for point in found:
        click.echo(f"{SIGNS[point.state]} {point.title}: {point.said}")
        if point.do:
            click.echo(f"      {point.do}")
    bad = sum(point.state == BAD for point in found)
    left = sum(point.state == "open" for point in found)
    click.echo(f"\n[x] in order   [?] look at this   [!] not in order: {bad}   [ ] not done yet: {left}")
    sys.exit(1 if bad else 0)
