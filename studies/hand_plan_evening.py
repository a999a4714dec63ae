"""What evening the elastics brings by the model, for the file of actions; docs/studies/plans-evening.md.

    python studies/hand_plan_evening.py [--hands 2000]

Ordinary hands without a fault are drawn and closed; where a finger is further behind than the protocol lets it be, the
elastics of all four are drawn to one pull with people's errors. About half a minute.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from handsel.data.load_actions import load_actions
from handsel.data.load_design import load_design
from handsel.data.load_faults import load_faults
from handsel.data.load_protocol import load_protocol
from handsel.diagnosis.hands import column_of
from handsel.mechanics.draws import Draws
from handsel.rework.hand.evening import Evened, evened

OUT = Path(__file__).parents[1] / "docs" / "studies" / "plans-evening.md"
PART = 500
PULL_SD_RATIOS = (0.04, 0.08, 0.12)


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--hands", type=int, default=2000)
    asked = ask.parse_args()
    protocol = load_protocol()
    catalogue = load_faults("wrist-hand-1", protocol)
    evening = load_actions("wrist-hand-1-actions", catalogue, protocol).evening
    look = catalogue.observable(evening.sees)
    columns = {column_of(look, place) for place in look.places} if look is not None else set()
    limit_deg = next(x.high for x in catalogue.limits if x.high is not None and set(x.columns) <= columns)
    rows = []
    for sd in PULL_SD_RATIOS:
        parts = [
            evened(
                load_design("linden"),
                catalogue.spread,
                limit_deg=limit_deg,
                pull_sd_ratio=sd,
                hands=PART,
                draws=Draws(100 + k),
            )
            for k in range(max(asked.hands // PART, 1))
        ]
        rows.append((sd, _together(parts)))
        print(rows[-1], flush=True)
    OUT.write_text(_page(rows, limit_deg), encoding="utf-8")


def _together(parts: list[Evened]) -> Evened:
    apart = sum(p.apart for p in parts)
    behind = [sum(p.apart * p.apart_deg[k] for p in parts) / max(apart, 1) for k in range(3)]
    return Evened(
        hands=sum(p.hands for p in parts),
        apart=apart,
        together=sum(p.together for p in parts),
        apart_deg=tuple(behind),
    )


def _page(rows: list[tuple[float, Evened]], limit_deg: float) -> str:
    e = rows[0][1]
    behind = ", ".join(f"{x:.1f}" for x in e.apart_deg)
    return "\n".join(
        [
            "# Elastics set to one pull, by the model",
            "",
            f"Made by `studies/hand_plan_evening.py`: {e.hands} ordinary hands without a fault. In {e.apart} of them "
            f"({100 * e.apart / e.hands:.0f} in 100) a finger is more than {limit_deg:.0f} degrees behind the others "
            f"half way; the middles of the thirds of these lie at {behind} degrees. Their elastics are drawn to one "
            "pull, as well as people can: how well changes what comes of it.",
            "",
            "| pulls afterwards, standard deviation | fingers then keep together | standard uncertainty |",
            "| ---: | ---: | ---: |",
            *(f"| {100 * sd:.0f} % | {100 * r.chance:.1f} % | {100 * r.u_chance:.1f} % |" for sd, r in rows),
            "",
        ]
    )


if __name__ == "__main__":
    main()
