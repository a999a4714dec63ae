"""`handsel serve`: the bench on this computer, for the phones around it."""

from __future__ import annotations

from pathlib import Path

import click


def default_folder() -> Path:
    """Where records lie when nobody says otherwise."""
    return Path.home() / "handsel"


data_option = click.option(
    "--data",
    envvar="HANDSEL_DATA",
    type=click.Path(file_okay=False, path_type=Path),
    default=default_folder,
    metavar="DIR",
    help="Folder for everything the day writes. [default: handsel in your home folder]",
)


@click.command(name="serve")
@data_option
@click.option(
    "--port", type=click.IntRange(0, 65535), default=8000, show_default=True, help="0: any free port."
)
@click.option("--host", default="", metavar="NUMBER", help="Listen at this address of the computer only.")
@click.option("--solo", is_flag=True, help="For a maker alone: this computer only, nobody signs in.")
@click.option(
    "--demo", is_flag=True, help="Fill an empty folder with an invented build day to try things on."
)
@click.option(
    "--https-proxy", is_flag=True, help="A proxy on this computer adds HTTPS; see the README before using it."
)
@click.option("--address", default="", metavar="URL", help="What phones open, if not this computer's number.")
def command(
    data: Path, port: int, host: str, solo: bool, demo: bool, https_proxy: bool, address: str
) -> None:
    """Run the bench: pages for the lead on this computer and for everybody else on their phones.

    Everything is kept in one folder; nothing is fetched from elsewhere. Ctrl-C ends it.
    """
    from handsel.bench.serve import Wish, serve

    if address and not address.startswith(("http://", "https://")):
        raise click.BadParameter("begin it with http:// or https://", param_hint="--address")
    if solo and (host or https_proxy or address):
        raise click.UsageError(
            "--solo is for this computer only: leave --host, --address and --https-proxy out."
        )
    wish = Wish(
        folder=data.expanduser().absolute(),
        port=port,
        host=host,
        solo=solo,
        demo=demo,
        https_proxy=https_proxy,
        address=address,
    )
    serve(wish, lambda line: click.echo(line))
