"""One assessment as text: the sentence, why, what to do, what to look at again."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from handsel.cli.terminal import signs
from handsel.data.places import shown_plain
from handsel.documents.wording import (
    COVERAGE,
    DEFERS,
    Grouped,
    decision_words,
    grouped,
    merged,
    numbers_held,
    percent,
    prediction_rows,
    reason,
    recheck_rows,
)
from handsel.errors import HandselError
from handsel.rework.result import Assessment, FixKind

FEW, FEWER = 6, 3  # entries of a list for one hand, and for each of many
COLOUR = {"release": "green", "rework": "red", "scrap part": "red", "not decided yet": "yellow"}
MARK = {"conforms": "yes", "recorded": "yes", "does not conform": "no"}


def show_answer(out: Console, path: Path, a: Assessment, *, brief: bool, show_all: bool) -> None:
    """Print an assessment: the sentence first, details after it."""
    sign = signs(out)
    most = len(a.inspection.items) + len(a.recheck) if show_all else FEWER if brief else FEW
    out.print(_plain(a.sentence, "bold"))
    decision, chance = decision_words(a)
    line = Text(f"{decision}", style=COLOUR[a.inspection.whole])
    line.append(f" {sign['dot']} {shown_plain(chance)}" if chance else "", style="default")
    out.print(line)
    hand = a.inspection.case.hand
    dot = f" {sign['dot']} "
    who = dot.join(
        (hand.code, hand.serial, f"{hand.side} hand", f"{100 * hand.scale_ratio:.0f} %", str(path))
    )
    out.print(_plain(who, "dim"))
    _reasons(out, a, sign, most)
    if brief:
        return
    _warnings(out, a, sign)
    _fix(out, a)
    _again(out, a, sign, most)
    cautions = tuple(dict.fromkeys((*a.fix.cautions, *a.cautions)))
    if cautions:
        _head(out, "Take care")
        _rows(out, [("!", c, "") for c in cautions])
    out.print()
    out.print(_plain(DEFERS, "dim"))


def _plain(text: str, style: str = "") -> Text:
    return Text(shown_plain(text), style=style)


def _head(out: Console, words: str) -> None:
    out.print()
    out.print(Text(words, style="bold"))


def _rows(out: Console, rows: Sequence[tuple[str, str, str]], *, first_style: str = "") -> None:
    """A mark, a text, and under the text what is less important."""
    table = Table.grid(padding=(0, 1))
    table.add_column(justify="right", no_wrap=True, min_width=3)
    table.add_column(overflow="fold")
    for mark, text, more in rows:
        body = _plain(text, first_style)
        if more:
            body.append("\n" + shown_plain(more), style="dim")
        table.add_row(_plain(mark), body)
    out.print(table)


def _more(out: Console, left: int, hint: str) -> None:
    if left > 0:
        out.print(Padding(_plain(f"and {left} more{hint}", "dim"), (0, 0, 0, 4), expand=False))


def _reasons(out: Console, a: Assessment, sign: dict[str, str], most: int) -> None:
    """What speaks against the hand, gravest first; for a good one, the numbers it rests on."""
    i = a.inspection
    against = [x for x in i.open_items if x.blocks or x.status == "does not conform"]
    if against:
        # What is known to be wrong says more than what nobody looked at yet.
        ordered = grouped(sorted(against, key=lambda x: x.status != "does not conform"))
        _head(out, "Why")
        _rows(
            out,
            [(sign[MARK.get(g.first.status, "open")], _titled(g), reason(g.first)) for g in ordered[:most]],
        )
        _more(out, len(ordered) - most, " (--all lists them)")
        return
    measured = numbers_held(a)
    if measured:
        _head(out, "Why")
        _rows(out, [(sign["yes"], title, because) for title, because in measured[:most]])
    others = sum(x.status == "conforms" and x.decision is None for x in i.items)
    if others:
        out.print(
            Padding(
                _plain(f"and {others} things looked at and found good", "dim"), (0, 0, 0, 4), expand=False
            )
        )


def _titled(g: Grouped) -> str:
    x = g.first
    chance = f", {percent(x.p_conform)} likely" if x.p_conform is not None and x.decision is None else ""
    return f"{g.called} ({x.severity}, {x.status}{chance})"


def _warnings(out: Console, a: Assessment, sign: dict[str, str]) -> None:
    i = a.inspection
    for step in i.out_of_order:
        _head(out, f"Out of order: {shown_plain(step.title)}")
        rows = [("", step.reason, "")]
        rows += [(sign["open"], f"can no longer be seen: {title}", "") for title in merged(step.hidden)]
        rows += [("-", way, "") for way in merged(step.ways_on)]
        _rows(out, rows)
    remarks = [*i.advisories, *a.notes]
    remarks += [
        f"The concession of {r.of} by {r.by} does not count: {r.reason}." for r in i.refused_concessions
    ]
    if a.lengths is not None and a.lengths.open_question:
        remarks.append(a.lengths.open_question)
    if remarks:
        _head(out, "To know")
        _rows(out, [("-", words, "") for words in dict.fromkeys(remarks)])


def _fix(out: Console, a: Assessment) -> None:
    if a.fix.kind is not FixKind.NOTHING:
        _head(out, "Do this")
        if a.fix.sentence not in a.sentence and a.fix.sentence not in a.fix.steps:
            out.print(Padding(_plain(a.fix.sentence), (0, 0, 0, 2), expand=False))
        _rows(out, [(f"{k}.", step, "") for k, step in enumerate(a.fix.steps, start=1)])
    rows = prediction_rows(a)
    if not rows:
        return
    after = any(x for _, _, x in rows)
    out.print()
    table = Table(box=None, padding=(0, 2), show_header=True, header_style="dim")
    table.add_column("")
    table.add_column("now", justify="right")
    if after:
        table.add_column("after the fix", justify="right")
    for what, now, then in rows:
        table.add_row(what, now, *([then] if after else []))
    out.print(table)
    p = a.fix.p_success
    chance = f" Chance that angle and thumb then conform: {percent(p)}." if p is not None and after else ""
    out.print(Padding(_plain(COVERAGE + chance, "dim"), (0, 0, 0, 2), expand=False))


def _again(out: Console, a: Assessment, sign: dict[str, str], most: int) -> None:
    if not a.recheck:
        return
    _head(out, "Then look at these again")
    entries = recheck_rows(a)
    shown = entries[: most + 2]
    reasons: set[str] = set()
    rows = []
    for title, because in shown:
        rows.append((sign["box"], title, "" if because in reasons else because))
        reasons.add(because)
    _rows(out, rows)
    _more(out, len(entries) - len(shown), " (on the page for the bench, or with --all)")


def show_unusable(err: Console, path: Path, error: HandselError) -> None:
    """Print why a case could not be assessed: what, where, what to do."""
    err.print()
    err.print(_plain(f"Could not be used: {path}", "bold red"))
    _rows(err, [("what:", error.what, ""), ("where:", error.where, ""), ("do:", error.do, "")])


def show_count(out: Console, done: Sequence[Assessment], unusable: int) -> None:
    """Print one closing line over many hands."""
    good = sum(a.conforms for a in done)
    open_ = sum(a.inspection.whole == "not decided yet" for a in done)
    said = [f"{good} good", f"{len(done) - good - open_} to be put right", f"{open_} not decided yet"]
    if unusable:
        said.append(f"{unusable} could not be used")
    n = len(done) + unusable
    out.print()
    out.print(_plain(f"{n} hands: {', '.join(said)}.", "bold"))
