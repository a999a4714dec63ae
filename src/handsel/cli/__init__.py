"""The command `handsel`: arguments in, text out.

A verb's module is imported only when that verb is called, so `handsel --help` answers at once.
"""

from __future__ import annotations

import sys
from importlib import import_module

import click

from handsel import __version__
from handsel.errors import HandselError

# verb -> module that holds it as `command`, and the line that `handsel --help` shows for it
COMMANDS: dict[str, tuple[str, str]] = {
    "serve": (
        "handsel.bench.commands.serve",
        "Run the bench: pages for this computer and the phones around it.",
    ),
    "ready": ("handsel.bench.commands.ready", "Go through what a hall needs before it opens."),
    "lead": ("handsel.bench.commands.lead", "Let a lead in whose passphrase is lost."),
    "verify": ("handsel.bench.commands.verify", "Hold all records against their fingerprints."),
    "backup": ("handsel.bench.commands.backup", "Copy all records and photos into one file."),
    "restore": ("handsel.bench.commands.restore", "Bring a backup back into a folder."),
    "export": ("handsel.bench.commands.export", "Write everything on record as JSON, tables and case files."),
    "import": ("handsel.bench.commands.import_", "Read an export into a bench."),
    "angle": ("handsel.cli.angle", "Read the rest angle from photos of hands with both cards."),
    "assess": ("handsel.cli.assess", "Judge finished hands, and say how to put them right."),
    "bend": ("handsel.cli.bend", "Mark what may be stress whitening in close photos of bends."),
    "cuff": ("handsel.cli.cuff", "Measure how symmetric formed cuffs are, from photos that look into them."),
    "plan": ("handsel.cli.plan", "Plan the day: which hands to work on, by whom, before closing."),
    "diagnose": ("handsel.cli.diagnose", "Name the probable causes of what was seen, and what to look at next."),
    "design": ("handsel.cli.design", "Check a design file, or show what a design is made of."),
    "print": ("handsel.cli.print", "Write tag cards, inspection mats and a card carrier for a printer."),
    "parts": ("handsel.cli.parts", "Hold a photo of a kit on the mat against what was ordered."),
    "protocol": ("handsel.cli.protocol", "Show what is checked, when and how."),
    "schema": ("handsel.cli.schema", "Print the JSON Schema of a file format."),
}

BAD_INPUT = 2  # exit status; 0 is conforming, 1 not conforming or undecided


class Verbs(click.Group):
    """A group whose verbs are looked up in COMMANDS and imported one at a time."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        command = import_module(COMMANDS[cmd_name][0]).command
        if not isinstance(command, click.Command):
            raise TypeError(f"{COMMANDS[cmd_name][0]}.command is no click command")
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        rows = [(verb, line) for verb, (_, line) in COMMANDS.items()]
        if rows:
            with formatter.section("Commands"):
                formatter.write_dl(rows)


@click.group(cls=Verbs, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="handsel")
def handsel() -> None:
    """Inspect, diagnose and put right wrist-driven printed hands.

    Exit status: 0 conforming, 1 not conforming or undecided, 2 bad input.
    """


def main() -> None:
    """What the installed command `handsel` runs: errors meant for a person come without a trace."""
    try:
        handsel(prog_name="handsel")
    except HandselError as error:
        click.echo(str(error), err=True)
        sys.exit(BAD_INPUT)
