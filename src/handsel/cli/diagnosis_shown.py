"""A diagnosis at the terminal: one sentence, causes, the looks that tell most and how to write them down."""

from __future__ import annotations

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from handsel.data.places import shown_plain
from handsel.diagnosis.catalogue import spoken
from handsel.diagnosis.result import Cause, Diagnosis, NextCheck
from handsel.diagnosis.wording import capital, next_words, percent

MOST_CAUSES = 5
LEAST_P = 0.03  # of a cause that is shown beside the likeliest
MOST_CHECKS = 3
AWAY_P = 0.1  # what was seen is this unlikely: worth a second look


def show(out: Console, d: Diagnosis, looks: int, *, show_all: bool) -> None:
    """Print a diagnosis; looks, how many answers it rests on; show_all, leave nothing out."""
    out.print(_plain(d.sentence, "bold"))
    if d.causes and not d.none_fits:
        _section(out, "", _causes(d, show_all))
    if d.next_checks and not d.certain:
        _section(out, "Look next, and write it among the case's observations", _checks(d, show_all))
    surprising = _against(d, show_all)
    if surprising.row_count:
        _section(out, "Seen, and expected if the first cause is right", surprising)
    out.print()
    share = "" if d.library_share >= 1.0 else f", {100 * d.library_share:.0f} % of them made so far"
    note = f"From {looks} answers, held against simulated hands at {100 * d.scale_ratio:.1f} %{share}."
    out.print(_plain(note, "dim"))
    advice = "It advises. A person looks, decides and says so; local rules and licensed practice come first."
    out.print(_plain(advice, "dim"))


def _section(out: Console, title: str, rows: Table) -> None:
    out.print()
    if title:
        out.print(_plain(title, "bold"))
    out.print(Padding(rows, (0, 0, 0, 2), expand=False))


def _causes(d: Diagnosis, show_all: bool) -> Table:
    """Causes, the likeliest first, and last "nothing is wrong". A hand can have two causes: no need to sum to one."""
    rows = Table.grid(padding=(0, 2))
    rows.add_column(justify="right", no_wrap=True)
    rows.add_column()
    told = [
        (c.probability, capital(c.title), _about(c))
        for k, c in enumerate(d.causes)
        if show_all or k == 0 or (k < MOST_CAUSES and c.probability >= LEAST_P)
    ]
    told.append((d.faultless_p, "Nothing is wrong", ""))
    for probability, title, about in told:
        text = _plain(title)
        if about:
            text.append(f"  {shown_plain(about)}", style="dim")
        rows.add_row(percent(probability), text)
    return rows


def _about(cause: Cause) -> str:
    """How far off it then is, with its 95 % interval."""
    s = cause.severity
    if s is None:
        return ""
    value, low, high = (f"{float(f'{x:.2g}'):g}".replace("-", "−") for x in (s.value, s.low, s.high))
    return f"about {value} {s.unit.replace('percent', '%')} ({low} to {high})"


def _checks(d: Diagnosis, show_all: bool) -> Table:
    rows = Table.grid(padding=(0, 2))
    rows.add_column()
    rows.add_column(justify="right", no_wrap=True)
    for check in d.next_checks[: None if show_all else MOST_CHECKS]:
        words = check.question or capital(next_words(check))
        where = (
            f"{capital(spoken(check.place))}: " if check.place and check.question else ""
        )
        text = _plain(f"{where}{words}")
        for line in (as_written(check), _answers(check)):
            text.append(f"\n{shown_plain(line)}" if line else "", style="dim")
        rows.add_row(text, Text(f"{check.minutes:g} min", style="dim"))
    return rows


def as_written(check: NextCheck) -> str:
    """The answer to a look as a line of a case's observations, still without what is seen.

    Parameters: check.
    Returns: TOML, with "…" where the answer goes.
    Raises: nothing.    Valid for: looks of any catalogue.    Source: own format of cases.
    Checked by: unit/test_cli_diagnose.py
    """
    place = check.place.replace(".", "-")
    key = "cord" if place in ("index-middle", "ring-little") else "digit"
    where = f'{key} = "{place}", ' if place else ""
    value = 'answer = "…"' if check.answers else f"value_{check.unit} = …"
    return f'{{ of = "{check.of}", {where}{value} }}'


def _answers(check: NextCheck) -> str:
    return f"{', '.join(check.answers[:-1])} or {check.answers[-1]}" if check.answers else ""


def _against(d: Diagnosis, show_all: bool) -> Table:
    """What was seen that the likeliest explanation would not lead one to expect."""
    rows = Table.grid()
    told = [e for e in d.predicted if e.chance and (show_all or e.chance[0] < AWAY_P)]
    for e in told if show_all else told[:MOST_CAUSES]:
        where = f", {spoken(e.place)}" if e.place else ""
        seen = f"{e.seen} {e.unit}".strip()
        rows.add_row(_plain(f"{capital(e.title)}{where}: {seen}; expected {e.expected[0]} {e.unit}".rstrip()))
    return rows


def _plain(text: str, style: str = "") -> Text:
    return Text(shown_plain(text), style=style)
