"""`handsel print cards|mat|carrier`: what the photo measurements need, as files for a printer."""

from __future__ import annotations

from pathlib import Path

import click

from handsel.errors import BadFile

PDF_MARK, FILE_MARKS = b"%PDF-", {"stl": b"binary STL", "3mf": b"PK\x03\x04"}


@click.group(name="print", context_settings={"help_option_names": ["-h", "--help"]})
def command() -> None:
    """Print tag cards and inspection mats for measuring with photos.

    Print at 100 %, then measure the black bar on the sheet: only a print of the right size measures.
    """


@command.command(name="cards")
@click.option("--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True)
@click.option(
    "--out", type=click.Path(path_type=Path), metavar="FILE", help="Usually handsel-cards-PAPER.pdf, here."
)
def cards(paper: str, out: Path | None) -> None:
    """Write the tag cards for the rest angle: cards, where they go, carriers to fold."""
    from handsel.documents.card_sheet import card_sheet

    path = out or Path(f"handsel-cards-{paper}.pdf")
    _write(path, card_sheet(paper), PDF_MARK)
    _say(path, "Three pages: cards to cut and fold, where they go on the hand, carriers to fold.", bar=True)


@command.command(name="mat")
@click.option("--paper", type=click.Choice(["a4", "letter", "a3"]), default="a4", show_default=True)
@click.option(
    "--out", type=click.Path(path_type=Path), metavar="FILE", help="Usually handsel-mat-PAPER.pdf, here."
)
def mat(paper: str, out: Path | None) -> None:
    """Write the inspection mat for loose parts, and how they are photographed on it."""
    from handsel.documents.mat_sheet import mat_sheet

    path = out or Path(f"handsel-mat-{paper}.pdf")
    _write(path, mat_sheet(paper), PDF_MARK)
    _say(path, "Two pages: the mat, and how parts are laid and photographed on it.", bar=True)


@command.command(name="carrier")
@click.option("--format", "fmt", type=click.Choice(["3mf", "stl"]), default="3mf", show_default=True)
@click.option(
    "--out", type=click.Path(path_type=Path), metavar="FILE", help="Usually handsel-card-carrier.3mf, here."
)
def carrier(fmt: str, out: Path | None) -> None:
    """Write the bracket that carries the cuff's card, for a slicer, in millimetres.

    It lies on the cuff's straight back, wall and card outside, and serves both sides and every scale.
    """
    from handsel.data.carrier_file import carrier_file

    path = out or Path(f"handsel-card-carrier.{fmt}")
    _write(path, carrier_file(fmt), FILE_MARKS[fmt])
    _say(path, "Print it as it lies, without support. An office clip or a rubber band holds it.", bar=False)


def _write(path: Path, data: bytes, mark: bytes) -> None:
    """The file, never over something of another kind."""
    try:
        if path.is_file():
            with path.open("rb") as file:
                if file.read(len(mark)) not in (mark, b""):
                    raise BadFile(
                        "there is a file of another kind by this name",
                        where=str(path),
                        do="Choose another name with --out.",
                    )
        path.write_bytes(data)
    except OSError as error:
        raise BadFile(
            f"it cannot be written: {error.strerror or 'unknown reason'}",
            where=str(path),
            do="Choose a name with --out in a folder that you may write to.",
        ) from None


def _say(path: Path, what: str, *, bar: bool) -> None:
    from handsel.cli.terminal import console

    out = console()
    out.print(str(path), style="bold")
    out.print(f"  {what}")
    if bar:
        out.print("  Print at 100 % (“actual size”), then measure the black bar: 99.5 to 100.5 mm.")
