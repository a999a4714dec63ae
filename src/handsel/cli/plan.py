"""`handsel plan FILE.toml`: the plan for the day, or for one hand, by what the file is."""

from __future__ import annotations

from pathlib import Path

import click


@click.command(name="plan")
@click.argument("path", type=click.Path(path_type=Path), metavar="DAY.toml|CASE.toml")
@click.option(
    "--json",
    "as_json",
    is_flag=True,
    help="Print the plan as JSON (see: handsel schema day-plan, hand-plan).",
)
@click.option(
    "--more/--no-more", default=True, help="Say also what one more helper or ten more of a spare would bring."
)
@click.option(
    "--seconds",
    type=click.FloatRange(0.1, 600),
    default=5.0,
    show_default=True,
    help="Time for the solver; the gap says what an earlier end may cost.",
)
@click.option(
    "--quick", is_flag=True, help="For one hand: make at most one round of simulated hands, if there is none."
)
@click.option(
    "--confirmed",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="For one hand: learn the causes' priors from this file of confirmed causes.",
)
def command(
    path: Path, as_json: bool, more: bool, seconds: float, quick: bool, confirmed: Path | None
) -> None:
    """Plan the day: which hands to work on, by whom and in which order, to release the most by closing.

    With a CASE.toml, as for `handsel assess`, plan that one hand: what to look at or do first, and what
    then, for the least minutes to a good hand.

    DAY.toml lists the open hands with ways to put them right, the people with their skills, the spares on
    hand, and the minutes to closing. Plan again when something changes: what is in work stays where it is.

    Exit status: 0, every hand of the file can go out or is done; 1, some are left out, or this hand needs
    work; 2, a file could not be used.
    """
    from handsel.data.case_tables import FORMAT as CASE_FORMAT
    from handsel.data.toml_file import read_toml

    if read_toml(path).get("format") == CASE_FORMAT:
        from handsel.cli.plan_hand import plan_one_hand

        plan_one_hand(path, as_json=as_json, quick=quick, confirmed=confirmed)
        return
    from handsel.cli.plan_day import plan_the_day

    plan_the_day(path, as_json=as_json, more=more, seconds=seconds)
