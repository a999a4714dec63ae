"""The plan for one hand, worked out from its case and printed."""

from __future__ import annotations

import sys
from pathlib import Path

import click
from rich.console import Console
from rich.padding import Padding
from rich.text import Text

from handsel.cli.terminal import console
from handsel.data.hand_plan_tables import hand_plan_table
from handsel.data.library_store import build_library, library_place, load_library, lower_priority
from handsel.data.load_actions import load_actions
from handsel.data.load_case import load_case
from handsel.data.load_confirmed import load_confirmed
from handsel.data.load_design import design_from_data, design_path
from handsel.data.load_faults import load_faults
from handsel.data.load_protocol import load_protocol
from handsel.data.places import shown_plain
from handsel.data.toml_file import read_toml_file
from handsel.diagnosis.library import Library
from handsel.diagnosis.posterior import with_priors
from handsel.rework.hand.advice import Advice, advise
from handsel.rework.hand.result import HandPlan, PlanStep, Turn
from handsel.rework.hand.words import SETTING, in_words
from handsel.rework.learning import learned_priors

NOTHING, SOMETHING = 0, 1
ENOUGH_ROUNDS = 4  # of the simulated hands; what is missing is made here
MOST_TURNS = 4  # of the likeliest, under each step
SURE_P = 0.995  # of a turn: not worth a figure
LEAST_SHOWN, DEEPEST = 0.05, 2  # turns shown, and steps after the first; --json has all


def plan_one_hand(path: Path, *, as_json: bool, quick: bool, confirmed: Path | None) -> None:
    """Read a case, plan its hand, and print the plan."""
    case, protocol = load_case(path), load_protocol()
    catalogue = load_faults("wrist-hand-1", protocol)
    actions = load_actions("wrist-hand-1-actions", catalogue, protocol)
    if confirmed is not None:
        own = {k.id: k.prior for k in catalogue.kinds}
        entries = load_confirmed(confirmed, catalogue=catalogue.id)
        learned = learned_priors(own, entries, catalogue_version=catalogue.version)
        catalogue = with_priors(catalogue, learned.priors)
    source = design_path(case.hand.design)
    file = read_toml_file(source)
    design = design_from_data(file.data, source)
    at = library_place(catalogue, design, file.sha256, case.hand.scale_ratio)

    def hands() -> Library:
        library = load_library(at)
        enough = 1 if quick else ENOUGH_ROUNDS
        if library is None or library.rounds < enough:
            click.echo("simulating hands of this size, once: about a minute ...", err=True)
            lower_priority()
            library = build_library(at, rounds=tuple(range(enough)))
        return library

    advice = advise(case, protocol, design, catalogue, actions, hands)
    if as_json:
        told = hand_plan_table(advice, f"{case.hand.code} ({case.hand.serial})")
        click.echo(told.model_dump_json(indent=2))
    else:
        _show(console(), advice)
    sys.exit(NOTHING if advice.released else SOMETHING)


def _plain(text: str, style: str = "") -> Text:
    return Text(shown_plain(text), style=style)


def _show(out: Console, advice: Advice) -> None:
    out.print(_plain(advice.sentence, "bold"))
    if advice.plan is not None:
        out.print()
        _show_plan(out, advice.plan)
    out.print(_plain("A plan is advice: a person looks, decides and says so.", "dim"))


def _show_plan(out: Console, plan: HandPlan) -> None:
    _step(out, plan.first, 0, "")
    out.print()
    said = (
        f"In the protocol's order the reworks would take {plan.fixed_order_minutes:.0f} minutes, everything "
        f"restrung first {plan.restring_minutes:.0f}, the best order without a check "
        f"{plan.no_check_minutes:.0f}. Minutes include the inspector's, and a quarter of an hour for each "
        "try that fails."
    )
    out.print(_plain(said, "dim"))
    if plan.kept:
        out.print(_plain(plan.kept, "dim"))
    own = (
        "Before it is handed over, look at what did not hold, at what the rework touches and at what its cause "
        "showed; what does not hold then, others look at too. So "
        f"{round(100 * plan.p_handed_over)} hands in 100 are good when they are handed over."
    )
    out.print(_plain(own, "dim"))


def _step(out: Console, step: PlanStep, depth: int, on: str) -> None:
    lead = f"{on}: " if on else ""
    minutes = f"{step.minutes:.0f}" if step.minutes >= 1.0 else f"{step.minutes:.1f}"
    if step.kind == "check":
        _line(out, depth, f"{lead}check first", f"{minutes} min", bold=depth == 0)
        for asked, where in in_words(step.asked):
            words = f"{where}: {asked.question}" if where else asked.question
            _line(out, depth + 1, words, "somebody else" if asked.again else "")
    else:
        cuts = ", cuts" if step.way is not None and step.way.cuts else ""
        told = f"{minutes} min, {round(100 * step.p_conforms)} % good after it{cuts}"
        _line(out, depth, f"{lead}{step.title}.", told, bold=depth == 0)
        if step.sets:
            _line(out, depth + 1, "", SETTING)
    if step.lengths is not None:
        angle = step.lengths.worked_rest_angle_deg
        told = f"worked rest angle then {angle.value:.1f}° (95 %: {angle.low:.1f}° to {angle.high:.1f}°)"
        _line(out, depth + 1, "", told)
    likely_first = sorted(step.then, key=lambda t: -t.probability)
    for turn in likely_first[:MOST_TURNS]:
        _turn(out, turn, depth)


def _line(out: Console, depth: int, words: str, dim: str = "", *, bold: bool = False) -> None:
    text = _plain(words, "bold" if bold else "")
    if dim:
        text.append(shown_plain(f"  {dim}" if words else dim), style="dim")
    out.print(Padding(text, (0, 0, 0, 2 * depth), expand=False))


def _turn(out: Console, turn: Turn, depth: int) -> None:
    if turn.probability < LEAST_SHOWN or turn.on == "conforms":
        return
    answers = turn.on.split(", ")
    on = f"all {answers[0]}" if len(answers) > 1 and len(set(answers)) == 1 else turn.on
    share = f"{on} ({round(100 * turn.probability)} %)" if turn.probability < SURE_P else "then"
    if turn.step is not None and depth < DEEPEST:
        _step(out, turn.step, depth + 1, share)
