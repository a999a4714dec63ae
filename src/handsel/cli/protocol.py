"""`handsel protocol show [NAME]`: how an inspection is done, in the order of doing it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from handsel.errors import HandselError

if TYPE_CHECKING:
    from rich.console import Console

    from handsel.inspection.protocol import Characteristic, Group, HoldPoint, Protocol


@click.group(name="protocol", context_settings={"help_option_names": ["-h", "--help"]})
def command() -> None:
    """Show what is checked, when and how."""


@command.command(name="show")
@click.argument("name", default="wrist-hand-1", metavar="[NAME|FILE]")
@click.option("--hold-point", metavar="ID", help="Only this hold point, as in strung.")
def show(name: str, hold_point: str | None) -> None:
    """Show a protocol: its hold points, and each check with how to look and what is good."""
    from handsel.cli.terminal import console
    from handsel.data.load_protocol import load_protocol

    protocol = load_protocol(name)
    out = console()
    stages = _stages(protocol, hold_point)
    minutes = sum(c.minutes * len(protocol.places(c.per)) for c in protocol.characteristics)
    out.print(f"{protocol.title}", style="bold")
    out.print(
        f"{protocol.id}, version {protocol.version}: {len(protocol.characteristics)} checks at "
        f"{len(protocol.hold_points)} hold points, about {minutes:.0f} minutes in all."
    )
    for stage in stages:
        number = protocol.hold_points.index(stage) + 1
        out.print(f"\n\n{number}. {stage.title.upper()}   hold point {stage.id}", style="bold")
        out.print(stage.before)
        for group in stage.groups:
            _group(out, protocol, group)


def _stages(protocol: Protocol, wanted: str | None) -> tuple[HoldPoint, ...]:
    from handsel.data.places import near, shown_plain

    if wanted is None:
        return protocol.hold_points
    found = tuple(h for h in protocol.hold_points if h.id == wanted)
    if not found:
        what = f'there is no hold point called "{shown_plain(wanted[:60])}"'
        raise HandselError(what, where=protocol.id, do=near(wanted, [h.id for h in protocol.hold_points]))
    return found


def _group(out: Console, protocol: Protocol, group: Group) -> None:
    from rich.padding import Padding
    from rich.text import Text

    out.print(Text(f"\n{group.title}", style="bold"))
    out.print(Text(f"{group.how}  [{group.id}]", style="dim"))
    for c in protocol.characteristics:
        if c.held != group.id:
            continue
        out.print(Padding(Text(c.title), (1, 0, 0, 2), expand=False))
        out.print(Padding(Text(c.how, style="dim"), (0, 0, 0, 4), expand=False))
        out.print(Padding(Text(f"{c.id}, good: {_good(c)}"), (0, 0, 0, 4), expand=False))
        if c.caution:
            out.print(Padding(Text(f"! {c.caution}", style="bold"), (0, 0, 0, 4), expand=False))


def _good(c: Characteristic) -> str:
    """What is good, how grave it is otherwise, and how long the look takes."""
    from handsel.inspection.rules import AnswerRule

    rule = c.rule
    if isinstance(rule, AnswerRule):
        good = " or ".join(rule.accepted) if rule.decides else f"note {' or '.join(rule.answers)}"
    else:
        good = str(rule.limits) if rule.limits is not None else f"note the number in {rule.unit}"
    each = f" for each {c.per}" if c.per != "hand" else ""
    return f"{good}{each}; {c.severity}; {c.method}, {c.minutes:g} min"
