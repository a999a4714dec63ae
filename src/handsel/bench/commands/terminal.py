"""What the verbs of the bench say on a terminal: lines that are read with ease, and a bar while one waits."""

from __future__ import annotations

import shutil
import sys
import textwrap
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import click

WIDEST, WITHOUT_TERMINAL = 96, 80


def say(text: str) -> None:
    """One paragraph, broken at the terminal's width; what is indented stays indented."""
    width = min(shutil.get_terminal_size().columns, WIDEST) if sys.stdout.isatty() else WITHOUT_TERMINAL
    indent = " " * (len(text) - len(text.lstrip()))
    click.echo(
        textwrap.fill(text.strip(), width, initial_indent=indent, subsequent_indent=f"{indent}  " if indent else "",
                      break_long_words=False, break_on_hyphens=False)
    )  # fmt: skip


def counted(count: int, one: str, many: str = "") -> str:
    """A number with its word."""
    return f"{count:,} {one if count == 1 else many or one + 's'}".replace(",", " ")


@contextmanager
def counting(what: str) -> Iterator[Callable[[int, int], None]]:
    """A bar on a terminal; nothing in a pipe."""
    if not sys.stderr.isatty():
        yield lambda done, steps: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(what, total=None)
        yield lambda done, steps: bar.update(task, completed=done, total=steps)
