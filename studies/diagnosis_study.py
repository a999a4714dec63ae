"""How well the diagnosis names the causes of independent faulty hands; writes docs/studies/diagnosis.md.

    python studies/faulty_hands.py FOLDER --seed 2027 --hands 1000     (and the other study seeds)
    python studies/faulty_hands.py FOLDER --seed 2031 --hands 650      (and 2032: looked at when the method stands)
    python studies/diagnosis_ceiling.py FOLDER/ceiling --development OTHER_FOLDER
    python studies/diagnosis_study.py FOLDER [--searches 120] [--minutes M] [--out FILE]

What the tool says of each hand is kept beside the hands, under the hash of catalogue and library, so a run
that was stopped goes on, and a changed tool is asked anew.
"""

from __future__ import annotations

import argparse
import json
import sys
import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from functools import partial
from pathlib import Path
from time import perf_counter, process_time
from typing import Any

import diagnosis_minutes as minutes
import mujoco
import numpy as np
from diagnosis_ceiling import Learnt, learnt_before
from diagnosis_hands import Hand, answers, names
from diagnosis_leaflet import SymptomTable, prior_of
from diagnosis_report import Judged, report
from diagnosis_scores import FAULTLESS, LEAST_P, Case
from diagnosis_tool import Tool
from faulty_hands import hands as read_hands

from handsel.diagnosis.library import ROUNDS

ROOT = Path(__file__).parents[1]
OUT = ROOT / "docs" / "studies" / "diagnosis.md"
DATA = ROOT / "src" / "handsel" / "data"
FULL = 3000
TIMED = 60  # answers whose time is taken
DEVELOPED_ON = 900  # hands of the development seeds
UNSEEN = (2031, 2032)  # seeds whose hands were made and looked at only when the method stood
HOW_COUNTED = (
    "Counted is what a user reads. First: what the sentence begins with, a cause or that nothing is wrong, by one rule"
    " for every hand (nothing is wrong where no single cause is as likely; below a quarter nothing is named). Among the"
    ' first three or four: the ranked list of causes, in which "nothing is wrong" has no rank. Until this page it had'
    " one; what comes out so stands below as well. The ceiling is counted in the same way."
)
MINUTES_FROM = (
    2030,
    2031,
)  # seeds on which minutes are counted: of neither were they known when the method was made


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--searches", type=int, default=0, help="hands on which minutes are counted")
    parser.add_argument(
        "--minutes", type=float, default=float("inf"), help="stop asking the tool after so long"
    )
    parser.add_argument(
        "--part", default="0/1", help="K/N: ask of every Nth hand only, for several at once; writes no page"
    )
    parser.add_argument("--hands", type=int, default=10**9, help="the first so many of them only")
    parser.add_argument("--rounds", type=int, default=ROUNDS, help="of the library; fewer for a quick look")
    parser.add_argument(
        "--search-rounds", type=int, help="rounds for the searches, which ask a hundred times a hand"
    )
    parser.add_argument(
        "--ceiling", type=Path, help="folder of diagnosis_ceiling.py; FOLDER/ceiling if not given"
    )
    parser.add_argument("--out", type=Path, default=OUT)
    asked = parser.parse_args()
    at = (asked.ceiling or asked.folder / "ceiling") / "learnt.npz"
    if not at.exists():
        parser.error(f"there is no {at}: run studies/diagnosis_ceiling.py first")
    files = sorted(asked.folder.glob("hands-*.jsonl"))
    every = list({_id(h): h for path in files for h in read_hands(path)}.values())
    hands = [h for h in every if "left_out" not in h][: asked.hands]
    tool, began = Tool(rounds=asked.rounds), perf_counter()
    searcher = Tool(rounds=asked.search_rounds) if asked.search_rounds else tool
    verdicts = kept(asked.folder / f"verdicts-{tool.key}.jsonl")
    mine, of = map(int, asked.part.split("/"))
    for hand, verdict in ask_all(tool, hands[mine::of], verdicts, asked.folder):
        verdicts[_id(hand)] = verdict
        if perf_counter() - began > 60.0 * asked.minutes:
            break
    # Of these seeds there may be none yet.
    new = [h for h in hands if h["seed"] in MINUTES_FROM] or hands
    if of > 1:
        search_all(searcher, spread_over_kinds(new, asked.searches)[mine::of], asked.folder)
        return
    hands = [h for h in hands if _id(h) in verdicts]
    searched = search_all(searcher, spread_over_kinds(new, asked.searches), asked.folder)
    rounds = f" --search-rounds {asked.search_rounds}" if asked.search_rounds else ""
    text = write(
        hands,
        verdicts,
        searched,
        sum("left_out" in h for h in every),
        tool,
        learnt_before(at),
        how=f"FOLDER --searches {asked.searches}{rounds}",
        also=fewer(searcher),
    )
    asked.out.parent.mkdir(parents=True, exist_ok=True)
    asked.out.write_text(text, encoding="utf-8")
    print(text)


def _id(hand: Hand) -> str:
    return f"{hand['seed']}/{hand['number']}"


def kept(path: Path) -> dict[str, Any]:
    """What was said before, by hand; a half-written last line is not."""
    if not path.exists():
        return {}
    rows = [json.loads(x) for x in path.read_text(encoding="utf-8").split("\n")[:-1]]
    return {r["hand"]: r for r in rows}


def ask_all(
    tool: Tool, hands: Sequence[Hand], have: dict[str, Any], folder: Path
) -> Iterator[tuple[Hand, dict[str, Any]]]:
    with (folder / f"verdicts-{tool.key}.jsonl").open("a", encoding="utf-8") as out:
        for hand in hands:
            if _id(hand) in have:
                continue
            answer = tool.ask(answers(hand))
            row = {
                "hand": _id(hand),
                "said": {f: round(p, 6) for f, p in answer.said.items() if p >= 1e-5},
                "even": {f: round(p, 6) for f, p in answer.even.items() if p >= 1e-5},
                "none_fits": answer.none_fits,
            }
            out.write(json.dumps(row) + "\n")
            out.flush()
            yield hand, row


def query_ms(tool: Tool, hands: Sequence[Hand]) -> list[float]:
    """What an answer with its next check costs a processor that has nothing else to do [ms]."""
    spent = []
    for hand in hands:
        began = process_time()
        tool.ask(answers(hand), check=True)
        spent.append(1e3 * (process_time() - began))
    return spent


def spread_over_kinds(hands: Sequence[Hand], count: int) -> list[Hand]:
    """Hands with one fault, kinds in turn."""
    by_kind: dict[str, list[Hand]] = {}
    for h in hands:
        if len(h["faults"]) == 1:
            by_kind.setdefault(h["faults"][0]["kind"], []).append(h)
    turns = [some[k] for k in range(count) for some in by_kind.values() if k < len(some)]
    return turns[:count]


def search_all(tool: Tool, hands: Sequence[Hand], folder: Path) -> dict[str, dict[str, minutes.Search]]:
    """Both orders for every hand; by order, then by hand."""
    path = folder / f"searches-{tool.key}.jsonl"
    have, clock = kept(path), clock_of()

    def ask(said: Sequence[dict[str, Any]], check: bool) -> tuple[dict[str, float], tuple[str, str] | None]:
        answer = tool.quick(said, check=check)
        return answer.said, answer.next_check

    with path.open("a", encoding="utf-8") as out:
        for hand in hands:
            if _id(hand) in have:
                continue
            row = {
                "hand": _id(hand),
                "tool": asdict(minutes.by_next_check(hand, partial(ask, check=True), clock)),
                "fixed": asdict(minutes.by_fixed_order(hand, partial(ask, check=False), clock)),
            }
            have[_id(hand)] = row
            out.write(json.dumps(row) + "\n")
            out.flush()
    return {
        order: {_id(h): minutes.Search(**have[_id(h)][order]) for h in hands} for order in ("tool", "fixed")
    }


def tables() -> tuple[dict[str, Any], dict[str, Any]]:
    """Catalogue and protocol as they are written."""
    return tuple(  # type: ignore[return-value]
        tomllib.loads((DATA / folder / "wrist-hand-1.toml").read_text(encoding="utf-8"))
        for folder in ("faults", "protocols")
    )


def clock_of() -> minutes.Times:
    return minutes.times(*tables())


def as_frequent_as(hands: Sequence[Hand], masses: dict[str, float]) -> list[float]:
    """Weights that give no fault, each single kind, and all pairs together their prior mass; mean 1."""

    def group(h: Hand) -> str:
        return {0: FAULTLESS, 1: h["faults"][0]["kind"] if h["faults"] else ""}.get(len(h["faults"]), "two")

    groups = [group(h) for h in hands]
    count = {g: groups.count(g) for g in set(groups)}
    raw = [masses[g] / count[g] for g in groups]
    return [w * len(raw) / sum(raw) for w in raw]


def as_case(hand: Hand, said: dict[str, float]) -> Case:
    faults = names(hand)
    return Case(true=faults, said=said, kind_of_case=hand["faults"][0]["kind"] if len(faults) == 1 else "")


def ceilings(learnt: Learnt, hands: Sequence[Hand], verdicts: dict[str, Any]) -> dict[str, list[Case]]:
    """What someone could say who knows the generator, and what both together could."""
    said = learnt.said(hands)
    both = [together(p, verdicts[_id(h)]["even"]) for h, p in zip(hands, said, strict=True)]
    return {
        "what is learnt from the generator": [as_case(h, p) for h, p in zip(hands, said, strict=True)],
        "that, and this diagnosis, together": [as_case(h, p) for h, p in zip(hands, both, strict=True)],
    }


def together(one: dict[str, float], other: dict[str, float]) -> dict[str, float]:
    """The geometric mean of two that were told the same."""
    return {f: float(np.sqrt(max(p, LEAST_P) * max(other.get(f, 0.0), LEAST_P))) for f, p in one.items()}


def write(
    hands: Sequence[Hand],
    verdicts: dict[str, Any],
    searched: dict[str, dict[str, minutes.Search]],
    left_out: int,
    tool: Tool,
    learnt: Learnt,
    *,
    how: str,
    also: Sequence[str] = (),
) -> str:
    """The whole report."""
    catalogue, protocol = tables()
    leaflet = SymptomTable(catalogue, protocol)
    judged = Judged(
        tool=[as_case(h, verdicts[_id(h)]["said"]) for h in hands],
        ceilings=ceilings(learnt, hands, verdicts),
        even=[as_case(h, verdicts[_id(h)]["even"]) for h in hands],
        leaflet=[as_case(h, leaflet.said(h)) for h in hands],
        prior=prior_of(catalogue),
        none_fits=[verdicts[_id(h)]["none_fits"] for h in hands],
        query_ms=query_ms(tool, hands[:TIMED]),
        searches={o: list(s.values()) for o, s in searched.items() if s},
        search_kinds=list(searched["tool"]),
        left_out=left_out,
        weights=as_frequent_as(hands, tool.masses()),
        unseen=[h["seed"] in UNSEEN for h in hands],
        learnt=learning(learnt),
    )
    seeds = sorted({h["seed"] for h in hands})
    count = [sum(len(h["faults"]) == k for h in hands) for k in (1, 2, 0)]
    return report(
        judged,
        f"Written by `python studies/diagnosis_study.py {how}`; MuJoCo"
        f" {mujoco.mj_versionString()}, seeds {', '.join(map(str, seeds))}; {tool.about}.",
        [*setting(hands, count), *seen_before(hands), HOW_COUNTED, *also],
    )


def fewer(searcher: Tool) -> list[str]:
    """What the searches asked, where that is not all of the library."""
    rounds = searcher.library.rounds
    return (
        [f"Minutes were counted with {rounds} of the library's {ROUNDS} rounds."] if rounds < ROUNDS else []
    )


def seen_before(hands: Sequence[Hand]) -> list[str]:
    """Who had looked at which hands when the method was made."""
    new = sum(h["seed"] in UNSEEN for h in hands)
    seeds = " and ".join(str(x) for x in UNSEEN if any(h["seed"] == x for h in hands))
    return [
        f"{len(hands) - new} of the hands are of seeds whose figures, kind by kind, stood on earlier pages: whoever"
        f" changed the diagnosis since had read them. {new} are of seed {seeds}, made and looked at when the method"
        f" stood, and not before: their figures stand beside. The diagnosis was developed on {DEVELOPED_ON} others."
    ]


def learning(learnt: Learnt) -> str:
    """How far the learnt ceiling has come."""
    number, drawn, known = learnt.course[-1]
    earlier = next((r, a) for r, a, _ in learnt.course if r >= number // 2)
    return (
        f"Learnt from {learnt.hands} hands drawn by the generator's own code and worked by the swift engine with"
        f" MuJoCo's differences put on, each answered by {number} volunteers. Its log score is {drawn:.3f} of drawn"
        f" hands kept back (after {earlier[0]} volunteers {earlier[1]:.3f}) and {known:.3f} of {DEVELOPED_ON} hands in"
        " MuJoCo that only lent their differences. It is a ceiling from below, as everything learnt is; so is"
        " the mean of it and this diagnosis, and the higher of the two counts."
    )


def setting(hands: Sequence[Hand], count: Sequence[int]) -> list[str]:
    short = (
        f" The full study is {FULL} hands: make them with studies/faulty_hands.py, seeds 2027 to 2032, and run this"
        " again; what is there is kept."
        if len(hands) < FULL
        else ""
    )
    given = [sum(o["given"] for o in h["observations"]) / len(h["observations"]) for h in hands]
    return [
        f"{len(hands)} hands from tests/independent, linden at scale 1, made in MuJoCo with friction: {count[0]}"
        f" with one fault (kinds even), {count[1]} with two, {count[2]} faultless. Ranges, thresholds and slips"
        f" in faulty_hands.toml were written before the catalogue and the diagnosis.{short}",
        "Wordings of the questions (what counts as lagging, sticky, met) were agreed after a development sample of 80"
        " other hands; hands, severities, errors and thresholds stayed as they were.",
        "Severities are drawn until the hand fails something of the protocol:"
        f" {sum(h['tries'] == 1 for h in hands) / len(hands):.0%} at the first draw.",
        f"A volunteer hands in {sum(given) / len(given):.0%} of the answers; a quarter of them all. Each"
        " answer is a slip in 2.5 % (of 15 % of people: 7.5 %), each number a gross error in 1 %.",
    ]


if __name__ == "__main__":
    sys.exit(main())
