"""How well the diagnosis names the causes of independent faulty hands; writes docs/studies/diagnosis.md.

    python studies/faulty_hands.py FOLDER --seed 2027 --hands 1000     (and the other study seeds)
    python studies/diagnosis_study.py FOLDER [--searches 120] [--minutes M] [--known FILE] [--out FILE]

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
from hashlib import sha256
from pathlib import Path
from time import perf_counter, process_time
from typing import Any

import diagnosis_ceiling as ceiling
import diagnosis_minutes as minutes
import mujoco
from diagnosis_learning import by_learning
from diagnosis_rates import by_rates
from diagnosis_report import Judged, report
from diagnosis_scores import FAULTLESS, Case, in_top, macro
from diagnosis_tool import Tool
from faulty_hands import hands as read_hands

from handsel.diagnosis.library import ROUNDS

ROOT = Path(__file__).parents[1]
OUT = ROOT / "docs" / "studies" / "diagnosis.md"
DATA = ROOT / "src" / "handsel" / "data"
FULL = 3000
TIMED = 60  # answers whose time is taken
Hand = dict[str, Any]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--searches", type=int, default=0, help="hands on which minutes are counted")
    parser.add_argument(
        "--minutes", type=float, default=float("inf"), help="stop asking the tool after so long"
    )
    parser.add_argument(
        "--known",
        type=Path,
        help="verdicts of an earlier page: its hands are not counted again, only told beside",
    )
    parser.add_argument(
        "--part", default="0/1", help="K/N: ask of every Nth hand only, for several at once; writes no page"
    )
    parser.add_argument("--hands", type=int, default=10**9, help="the first so many of them only")
    parser.add_argument("--rounds", type=int, default=ROUNDS, help="of the library; fewer for a quick look")
    parser.add_argument(
        "--search-rounds", type=int, help="rounds for the searches, which ask a hundred times a hand"
    )
    parser.add_argument("--ceiling-hands", type=int, default=10**9, help="the first so many for the ceilings")
    parser.add_argument("--without-learning", action="store_true", help="leave out the slowest ceiling")
    parser.add_argument("--out", type=Path, default=OUT)
    asked = parser.parse_args()
    files = sorted(asked.folder.glob("hands-*.jsonl"))
    every = list({_id(h): h for path in files for h in read_hands(path)}.values())
    hands = [h for h in every if "left_out" not in h][: asked.hands]
    tool, began = Tool(rounds=asked.rounds), perf_counter()
    searcher = Tool(rounds=asked.search_rounds) if asked.search_rounds else tool
    verdicts = kept(asked.folder / f"verdicts-{tool.key}.jsonl")
    known = set(kept(asked.known)) if asked.known else set()
    mine, of = map(int, asked.part.split("/"))
    part = sorted(hands, key=lambda h: _id(h) in known)[mine::of]
    for hand, verdict in ask_all(tool, part, verdicts, asked.folder):
        verdicts[_id(hand)] = verdict
        if perf_counter() - began > 60.0 * asked.minutes:
            break
    if of > 1:
        unknown = [h for h in hands if _id(h) not in known]
        search_all(searcher, spread_over_kinds(unknown, asked.searches)[mine::of], asked.folder)
        return
    hands = [h for h in hands if _id(h) in verdicts]
    new = [h for h in hands if _id(h) not in known]
    some = new[: asked.ceiling_hands] if asked.ceiling_hands < len(new) else hands
    ceilings = kept_ceilings(asked.folder, some, learning=not asked.without_learning)
    searched = search_all(searcher, spread_over_kinds(new, asked.searches), asked.folder)
    told = {
        name: [as_case(h, of_hand[_id(h)]) for h in new if _id(h) in of_hand]
        for name, of_hand in ceilings.items()
    }
    before = [as_case(h, verdicts[_id(h)]["said"]) for h in hands if _id(h) in known]
    text = write(
        new,
        verdicts,
        searched,
        sum("left_out" in h for h in every),
        tool,
        told,
        [*beside(before), *fewer(searcher)],
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
            answer = tool.ask(ceiling.answers(hand))
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
        tool.ask(ceiling.answers(hand), check=True)
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
    faults = ceiling.names(hand)
    return Case(true=faults, said=said, kind_of_case=hand["faults"][0]["kind"] if len(faults) == 1 else "")


def ceilings_of(hands: Sequence[Hand], *, learning: bool = True) -> dict[str, list[dict[str, float]]]:
    """What could be said of every hand by someone who knows the generator, by way of knowing."""
    catalogue, _ = tables()
    likely, flat = ceiling.by_likelihood(hands)
    rated, rated_flat = by_rates(hands, catalogue)
    found = {
        f"generator's likelihood, flattened to the power {flat:g}": likely,
        f"rates of each kind's answers, flattened to the power {rated_flat:g}": rated,
    }
    if learning:
        found["regression on other hands"] = by_learning(hands, catalogue)
    return found


def kept_ceilings(
    folder: Path, hands: Sequence[Hand], *, learning: bool
) -> dict[str, dict[str, dict[str, float]]]:
    """What `ceilings_of` says of every hand, by name and hand; kept beside the hands, since it takes minutes."""
    ids = [_id(h) for h in hands]
    path = folder / f"ceilings-{sha256(' '.join(ids).encode()).hexdigest()[:8]}-{learning:d}.json"
    if not path.exists():
        found = {
            name: {
                i: {f: round(x, 6) for f, x in p.items() if x >= 1e-5} for i, p in zip(ids, some, strict=True)
            }
            for name, some in ceilings_of(hands, learning=learning).items()
        }
        path.write_text(json.dumps(found), encoding="utf-8")
    kept_before: dict[str, dict[str, dict[str, float]]] = json.loads(path.read_text(encoding="utf-8"))
    return kept_before


def write(
    hands: Sequence[Hand],
    verdicts: dict[str, Any],
    searched: dict[str, dict[str, minutes.Search]],
    left_out: int,
    tool: Tool,
    ceilings: dict[str, list[Case]],
    also: Sequence[str] = (),
) -> str:
    """The whole report."""
    catalogue, protocol = tables()
    leaflet = ceiling.SymptomTable(catalogue, protocol)
    judged = Judged(
        tool=[as_case(h, verdicts[_id(h)]["said"]) for h in hands],
        ceilings=ceilings,
        even=[as_case(h, verdicts[_id(h)]["even"]) for h in hands],
        leaflet=[as_case(h, leaflet.said(h)) for h in hands],
        prior=ceiling.prior_of(catalogue),
        none_fits=[verdicts[_id(h)]["none_fits"] for h in hands],
        query_ms=query_ms(tool, hands[:TIMED]),
        searches={o: list(s.values()) for o, s in searched.items() if s},
        search_kinds=list(searched["tool"]),
        left_out=left_out,
        weights=as_frequent_as(hands, tool.masses()),
    )
    seeds = sorted({h["seed"] for h in hands})
    count = [sum(len(h["faults"]) == k for h in hands) for k in (1, 2, 0)]
    return report(
        judged,
        f"Written by `python studies/diagnosis_study.py FOLDER --searches {len(judged.search_kinds)}`; MuJoCo"
        f" {mujoco.mj_versionString()}, seeds {', '.join(map(str, seeds))}; {tool.about}.",
        [*setting(hands, count), *also],
    )


def fewer(searcher: Tool) -> list[str]:
    """What the searches asked, where that is not all of the library."""
    rounds = searcher.library.rounds
    return (
        [f"Minutes were counted with {rounds} of the library's {ROUNDS} rounds."] if rounds < ROUNDS else []
    )


def beside(before: Sequence[Case]) -> list[str]:
    """What the hands of an earlier page give; whoever changed the diagnosis since had read that page."""
    if not before:
        return []
    single = [c for c in before if c.kind_of_case]
    return [
        f"{len(before)} other hands, of an earlier page, are not counted below. On these: true cause first"
        f" {macro(single, in_top(1))}, among the first three {macro(single, in_top(3)).value:.1%}."
    ]


def setting(hands: Sequence[Hand], count: Sequence[int]) -> list[str]:
    short = (
        f" The full study is {FULL} hands: make them with studies/faulty_hands.py, seeds 2027 to 2029, and run this"
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
