"""The page docs/studies/parts.md from what parts_study.py judged: tables, and what they do not show."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable
from textwrap import fill

import numpy as np

SMALL_PX, OF_PHONE = 2000, "-8mp"  # longer side of a small photo; what the photo itself is called beside it
WITH_BAR = " +bar"  # what a photo is called when a bar's length is given with it
# Seeds of layouts that nobody looked at while the method was made. The later ones were planned for its last round.
FIRST_UNSEEN = frozenset((7, 12, 14, 16, 19, 21, 24, 31, 33, 38))
FIRST_FRESH, FIRST_LATE, FIRST_NEW = 41, 61, 111
CLEAN, HARD = ("clean", "fresh-clean", "fresh-white", "tidy"), ("hard", "fresh-hard", "late-hard")
STATES = {
    "right": "right",
    "mirrored": "for the other hand",
    "rescaled": "another scale",
    "foreign": "not of this kit",
}
FLAT = 0.99  # cosine to the flat side, from which a part lies as the sheet asks
HEAD = (
    "| photos | number | things | told truly | open | said falsely | wrong called right | not seen |",
    "|---|---|---|---|---|---|---|---|",
)


def outcome(row: dict, result: dict) -> str:
    """right: said truly; open: not told; wrong: said falsely; and the worst, a wrong part called right."""
    if row["said"] == "cannot tell":
        return "open"
    want = STATES.get(row["state"], "")
    if row["said"] == want and (row["named"] or row["state"] == "foreign"):
        return "right"
    # Of several alike any one may be called the one too many.
    if row["said"] == "one too many" and row["named"] and set(row["names"]) & set(result["extra"]):
        return "right"
    if row["said"] == "right":
        return "right" if row["named"] and row["state"] == "right" else "called right"
    return "wrong"


def line(name: str, results: list[dict]) -> str:
    """A row of a table: what was said of all things in some photos."""
    count = Counter(outcome(r, x) for x in results for r in x["rows"])
    return _line(name, len(results), count, sum(len(x["unseen"]) for x in results))


def _line(name: str, photos: int, count: Counter, unseen: int) -> str:
    n = count.total() + unseen
    share = f"{100.0 * count['right'] / n:.1f} %" if n else "-"
    said = f"{count['open']} | {count['wrong']} | {count['called right']}"
    return f"| {name} | {photos} | {n} | {share} | {said} | {unseen} |"


def table(rows: Iterable[tuple[str, list[dict]]]) -> list[str]:
    """A table without the rows that have no photos."""
    return [*HEAD, *(line(name, results) for name, results in rows if results), ""]


def report(results: list[dict], texts: Callable[[str], str]) -> str:
    """The page. `texts` gives what is written by hand, by its name."""
    every = [r for r in results if "rows" in r]
    read = [r for r in every if not r["name"].endswith(WITH_BAR)]
    lines = [
        texts("head"),
        "",
        *_asked(every),
        texts("late"),
        "",
        *_late(every),
        texts("changed"),
        "",
        *_main(read),
        texts("fresh"),
        "",
        *_fresh(every),
        texts("unseen"),
        "",
        *_first_unseen(read),
        *_laid(read),
        *_by(read, "colour", "By colour"),
        *_by(read, "light", "By light"),
        *_by(read, "scale", "By scale"),
        *_sizes(read),
        *_prints(read),
        "## Photos refused",
        "",
        *([f"- {r['name']}: {r['refused']}" for r in results if "refused" in r] or ["none"]),
        "",
        *_each(every),
        texts("open"),
        "",
    ]
    return "\n".join(_filled(one) for one in lines)


def _filled(text: str) -> str:
    """Paragraphs and tables by hand, with lines that are not too long."""
    done = []
    for part in text.strip("\n").split("\n"):
        done.append(part if part.startswith(("|", "#", "-")) else fill(part, 120, break_on_hyphens=False))
    return "\n".join(done)


def _kind(read: list[dict], start: str | tuple[str, ...], *, phone: bool, white: bool | None = None) -> list:
    return [
        r
        for r in read
        if r["name"].startswith(start)
        and r["name"].endswith(OF_PHONE) == phone
        and r["seed"] < FIRST_FRESH
        and (white is None or (r["colour"] == "white") == white)
    ]


def _asked(every: list[dict]) -> list[str]:
    """What the program is to be held to: photos themselves, clean ones as the sheet asks, and hard ones."""
    photos = [r for r in every if r["name"].removesuffix(WITH_BAR).endswith(OF_PHONE)]
    told = [r for r in photos if r["print_told"] and not r["name"].endswith(WITH_BAR)]
    silent = [r for r in photos if not r["print_told"]]
    tidy = [r for r in told if r["name"].startswith("tidy")]
    return table(
        [
            ("**clean, as the sheet asks**", tidy),
            ("coloured and black ones among them", [r for r in tidy if r["colour"] != "white"]),
            ("white ones among them", [r for r in tidy if r["colour"] == "white"]),
            ("clean, in any pose", [r for r in told if r["name"].startswith(CLEAN) and r not in tidy]),
            ("**hard**", [r for r in told if r["name"].startswith(HARD)]),
            ("with faults", [r for r in told if "wrong" in r["name"]]),
            ("paper on a table as light, so that nothing tells the print's size", silent),
            ("those with a bar's length given, as is asked", [r for r in photos if r["name"].endswith(WITH_BAR)]),
        ]
    )


def _late(every: list[dict]) -> list[str]:
    """The layouts of the latest round, made small too."""
    late = [r for r in every if r["seed"] >= FIRST_LATE]
    measured = [r for r in late if r["name"].endswith(WITH_BAR)]
    rows = []
    for phone, size in ((True, "the photo itself"), (False, "made small by a messenger")):
        mine = [r for r in late if r["name"].endswith(OF_PHONE) == phone and r not in measured]
        rows += [
            (f"clean, as the sheet asks, {size}", [r for r in mine if r["name"].startswith("tidy")]),
            (f"hard, {size}", [r for r in mine if r["name"].startswith("late-hard")]),
        ]
    new = [r for r in late if r["seed"] >= FIRST_NEW and r not in measured]
    rows += [
        ("of these, planned after the last mend and judged once: clean", [r for r in new if "tidy" in r["name"]]),
        ("of these, planned after the last mend and judged once: hard", [r for r in new if "hard" in r["name"]]),
        ("those in which nothing told the print's size, with a bar's length given", measured),
    ]
    return table(rows)


def _main(read: list[dict]) -> list[str]:
    rows = []
    for phone, size in ((True, "the photo itself"), (False, "made small by a messenger")):
        rows += [
            (f"**clean**, coloured and black, {size}", _kind(read, "clean", phone=phone, white=False)),
            (f"clean, white parts on white paper, {size}", _kind(read, "clean", phone=phone, white=True)),
            (f"**hard**, {size}", _kind(read, "hard", phone=phone)),
            (f"missing, extra, foreign, mirrored, other sizes, {size}", _kind(read, "wrong", phone=phone)),
        ]
    sheet = _kind(read, ("print", "card", "covered"), phone=False)
    rows.append(("mat printed wrongly, card on it, markers covered, made small", sheet))
    first = [r for r in read if r["seed"] < FIRST_FRESH]
    phone = [r for r in first if r["name"].endswith(OF_PHONE)]
    both = {r["name"].removesuffix(OF_PHONE) for r in phone}
    return table(
        [
            *rows,
            ("all, made small", [r for r in first if r not in phone]),
            ("the layouts of which both were judged, made small", [r for r in first if r["name"] in both]),
            ("the same layouts, the photo itself", phone),
        ]
    )


def _fresh(read: list[dict]) -> list[str]:
    fresh = [r for r in read if FIRST_FRESH <= r["seed"] < FIRST_LATE]
    measured = [r for r in fresh if r["name"].endswith(WITH_BAR)]
    rows = []
    for phone, size in ((True, "the photo itself"), (False, "made small by a messenger")):
        mine = [r for r in fresh if r["name"].endswith(OF_PHONE) == phone and r not in measured]
        rows += [
            (f"clean, coloured and black, {size}", [r for r in mine if r["name"].startswith("fresh-clean")]),
            (f"white on white by a window, {size}", [r for r in mine if r["name"].startswith("fresh-white")]),
            (f"hard, {size}", [r for r in mine if r["name"].startswith("fresh-hard")]),
            (f"with faults, {size}", [r for r in mine if r["name"].startswith("fresh-wrong")]),
            (f"**all, {size}**", mine),
        ]
    rows.append(("those in which nothing told the print's size, with a bar's length given", measured))
    return table(rows)


def _first_unseen(read: list[dict]) -> list[str]:
    small = [r for r in read if r["seed"] < FIRST_FRESH and not r["name"].endswith(OF_PHONE)]
    return table(
        [
            ("looked at from the first", [r for r in small if r["seed"] not in FIRST_UNSEEN]),
            ("only judged at first", [r for r in small if r["seed"] in FIRST_UNSEEN]),
        ]
    )


def _laid(read: list[dict]) -> list[str]:
    """Parts on their flat side, as the sheet asks, and parts on other faces."""
    lines = ["## By how it lies", "", *HEAD]
    photos = [r for r in read if r["name"].endswith(OF_PHONE)]
    sets = (
        ("clean, the photo itself", [r for r in photos if r["name"].startswith(CLEAN)]),
        ("hard, the photo itself", [r for r in photos if r["name"].startswith(HARD)]),
        ("all photos, small ones too", read),
    )
    for title, known in sets:
        for name, flat in (
            ("flat side down, as the sheet asks", True),
            ("on another face, or on end", False),
        ):
            count = Counter(
                outcome(x, r) for r in known for x in r["rows"] if (x.get("flat", 1) > FLAT) == flat
            )
            unseen = sum((f > FLAT) == flat for r in known for f in r["unseen_flat"])
            if count or unseen:
                lines.append(_line(f"{title}: {name}", len(known), count, unseen))
    return [*lines, ""]


def _by(read: list[dict], key: str, title: str) -> list[str]:
    values = sorted({r[key] for r in read}, key=str)
    return [f"## {title}", "", *table((str(v), [r for r in read if r[key] == v]) for v in values)]


def _sizes(read: list[dict]) -> list[str]:
    sure = [(r, x) for x in read for r in x["rows"] if r["said"] == "right"]
    sized = [r for r, _ in sure if r.get("scale")]
    if not sized:
        return []
    off = np.array([r["scale"] - r["ratio"] for r in sized])
    z = off / np.array([r["u"] for r in sized])
    return [
        "## Sizes and confidence",
        "",
        f"Of {len(sure)} parts called right, mean confidence {np.mean([r['p'] for r, _ in sure]):.3f}; "
        f"{100 * np.mean([outcome(r, x) == 'right' for r, x in sure]):.1f} % were. Size against truth: mean "
        f"{100 * np.mean(off):+.2f} %, 95 % within {100 * np.quantile(np.abs(off), 0.95):.2f} %; rms of error / u "
        f"{np.sqrt(np.mean(np.square(z))):.2f}.",
        "",
    ]


def _prints(read: list[dict]) -> list[str]:
    lines = [
        "## The print's size",
        "",
        "| photo | printed at | found | u | told by | called wrong |",
        "|---|---|---|---|---|---|",
    ]
    for r in read:
        if r["print"] != 1.0 or "card" in r["name"]:
            lines.append(
                f"| {r['name']} | {r['print']:.3f} | {r['print_ratio']:.4f} | {r['u_print']:.4f} | "
                f"{', '.join(r['print_told'])} | {'yes' if r['print_wrong'] else 'no'} |"
            )
    good = [r for r in read if r["print"] == 1.0]
    silent = ", ".join(r["name"] for r in read if not r["print_told"]) or "none"
    return [
        *lines,
        "",
        f"Photos in which nothing told it, so that no part was called right: {silent}.",
        "",
        f"Of {len(good)} photos of a mat printed as drawn, {sum(r['print_wrong'] for r in good)} were called wrong; "
        f"the ratio was off by {100 * np.max([abs(r['print_ratio'] - 1) for r in good], initial=0):.2f} % at most.",
        "",
    ]


def _each(read: list[dict]) -> list[str]:
    lines = [
        "## Each photo",
        "",
        "Names that end in -8mp are the photo itself.",
        "",
        "| photo | things | said | told truly | open | said falsely | wrong called right |",
        "|---|---|---|---|---|---|---|",
    ]
    for r in sorted(read, key=lambda r: (r["seed"] >= FIRST_FRESH, r["name"])):
        c = Counter(outcome(x, r) for x in r["rows"])
        lines.append(
            f"| {r['name']} | {r['count']} | {r['sentence']} | {c['right']} | {c['open']} | {c['wrong']} | "
            f"{c['called right']} |"
        )
    seconds = {
        kind: np.median([r["seconds"] for r in read if (r["colour"] == "white") == white] or [np.nan])
        for kind, white in (("coloured", False), ("white", True))
    }
    return [
        *lines,
        "",
        f"Processor time per photo on a busy machine: median {seconds['coloured']:.0f} s, white parts "
        f"{seconds['white']:.0f} s; the first of a scale some seconds more for the solids.",
        "",
    ]
