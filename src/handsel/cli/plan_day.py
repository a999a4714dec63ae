"""The plan for the day, computed and printed."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from pathlib import Path

import click
from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from handsel.cli.terminal import console, signs
from handsel.data.day_plan_tables import day_plan_table
from handsel.data.load_day_plan import load_day
from handsel.data.places import shown_plain
from handsel.errors import HandselError
from handsel.rework.day.model import Chosen, Day, DayPlan, OneMore, Person, Stint

ALL_OUT, SOME_LEFT = 0, 1


def plan_the_day(path: Path, *, as_json: bool, more: bool, seconds: float) -> None:
    """Read a day's file, plan it, and print the plan."""
    file = load_day(path)
    _keep_output_to_ourselves()
    try:
        from handsel.rework.day.more import what_more_brings
        from handsel.rework.day.plan import plan_day

        plan = plan_day(file.day, seconds=seconds)
        brings = what_more_brings(file.day, plan, seconds=seconds / 2.0) if more else ()
    except ModuleNotFoundError as missing:
        raise HandselError(
            f"the solver is not installed: {missing.name}",
            where="plan",
            do='Install it once with: pip install "handsel[planning]"',
        ) from None
    if as_json:
        click.echo(day_plan_table(file.day, plan, brings, file.done).model_dump_json(indent=2))
    else:
        _show(console(), file.day, plan, brings, file.done)
    sys.exit(SOME_LEFT if plan.left_out else ALL_OUT)


def _keep_output_to_ourselves() -> None:
    """Send what the solver's library prints nowhere: now and then a line of its own, amid our JSON.

    It writes to the process's output itself, past Python, and as late as at the end; so from here on only
    our own stream leads out.
    """
    try:
        real = sys.stdout.fileno() == 1
    except (OSError, ValueError):
        return  # a test's or another program's stand-in
    if not real:
        return
    sys.stdout.flush()
    ours, nowhere = os.dup(1), os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1)
    os.close(nowhere)
    sys.stdout = os.fdopen(ours, "w", buffering=1, encoding=sys.stdout.encoding, errors="replace")


def _plain(text: str, style: str = "") -> Text:
    return Text(shown_plain(text), style=style)


def _head(out: Console, words: str) -> None:
    out.print()
    out.print(Text(words, style="bold"))


def _show(out: Console, day: Day, plan: DayPlan, more: Sequence[OneMore], notes: Sequence[str]) -> None:
    out.print(_plain(plan.sentence, "bold"))
    dot = signs(out)["dot"]
    bound = (
        "no plan brings more"
        if plan.gap_ratio < 0.005
        else f"the best possible plan brings at most {100 * plan.gap_ratio:.0f} % more"
    )
    out.print(_plain(f"{len(day.people)} people {dot} {len(day.hands)} hands {dot} {bound}", "dim"))
    for person in day.people:
        _person(out, day, plan, person)
    if plan.chosen:
        _head(out, "Why these")
        _rows(out, [(c.hand.called, c.reason) for c in plan.chosen])
    if plan.left_out:
        _head(out, "Not before closing")
        _rows(out, [(x.hand.called, x.reason) for x in plan.left_out])
    if notes:
        _head(out, "Nothing to plan")
        _rows(out, [("-", n) for n in notes])
    if more:
        _head(out, "One more helper, or more spares")
        _rows(out, [("-", m.sentence) for m in more])
    out.print()
    words = "A plan is advice: whoever leads the day decides, and hurry is no reason to skip a caution."
    out.print(_plain(words, "dim"))


def _rows(out: Console, rows: Sequence[tuple[str, str]]) -> None:
    table = Table.grid(padding=(0, 1))
    table.add_column(no_wrap=True)
    table.add_column(overflow="fold")
    for name, text in rows:
        table.add_row(_plain(f"  {name}"), _plain(text))
    out.print(table)


def _person(out: Console, day: Day, plan: DayPlan, person: Person) -> None:
    stints = plan.work_of(person.id)
    skills = ", ".join(s for s in sorted(person.skills) if s not in person.id)
    _head(out, f"{person.id.capitalize()}{f' ({skills})' if skills else ''}")
    if not stints:
        out.print(Padding(_plain("nothing in this plan", "dim"), (0, 0, 0, 2), expand=False))
        return
    by_serial = {c.hand.serial: c for c in plan.chosen}
    table = Table.grid(padding=(0, 2))
    for justify in ("right", "left"):
        table.add_column(justify=justify, no_wrap=True)
    table.add_column(overflow="fold")
    for stint in stints:
        c = by_serial[stint.serial]
        times = f"{stint.start_min:.0f}-{stint.end_min:.0f} min"
        table.add_row(_plain(f"  {times}"), _plain(c.hand.called), _plain(_what(c, stint)))
    out.print(table)


def _what(c: Chosen, stint: Stint) -> str:
    if stint.kind == "recheck":
        return "look at it again"
    spares = ", ".join(f"{n} {name}" for name, n in c.way.spares.items() if n)
    return f"{c.way.title.rstrip('.')}{f' (takes {spares})' if spares else ''}"
