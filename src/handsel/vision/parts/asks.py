"""How parts are called, and which caliper reading or other look would settle what a photo leaves open."""

from __future__ import annotations

from dataclasses import replace

from handsel.design.model import Design
from handsel.vision.parts.kinds import Kind
from handsel.vision.parts.seen import Ask

# A part so wide is measured within what is asked of it; pins on a sheet of size A3 have 20 in a small photo.
_ENOUGH_PX = 30.0


def title_of(kind: Kind) -> str:
    """A kind's parts in words, the alike ones together."""
    titles = list(dict.fromkeys(kind.titles))
    if len(titles) == 1:
        return titles[0]
    heads, tails = zip(*(t.partition(", ")[::2] for t in titles), strict=True)
    if len(set(tails)) == 1 and tails[0]:
        return f"{', '.join(heads[:-1])} or {heads[-1]}, {tails[0]}"
    return " or ".join(titles)


def _dimensions(kind: Kind, design: Design) -> dict[str, tuple[str, str, float, bool]]:
    """By what is measured, of the first part that has it: name, title, length at scale 1, whether it grows."""
    found: dict[str, tuple[str, str, float, bool]] = {}
    for d in design.reference_dimensions:
        if d.part in kind.names:
            key = d.name.removeprefix(d.part).strip("_") or d.name
            found.setdefault(key, (d.name, d.title, d.nominal_mm, d.scales))
    return found


def size_ask(kind: Kind, design: Design, scale_ratio: float) -> Ask:
    """The longest of its dimensions that grows with the hand."""
    grows = [d for d in _dimensions(kind, design).values() if d[3]]
    if not grows:
        return Ask(
            what=f"Measure its longest side with a caliper: {kind.size_mm:.1f} mm as ordered.",
            expected_mm=kind.size_mm,
        )
    name, title, nominal, _ = max(grows, key=lambda d: d[2])
    expected = nominal * scale_ratio
    return Ask(
        what=f"Measure with a caliper: {title}. As ordered it is {expected:.1f} mm.",
        dimension=name,
        expected_mm=expected,
    )


def larger_ask(ask: Ask, across_px: float) -> Ask:
    """The same, or a sharper photo when so small a picture of the part is what leaves its size open."""
    if across_px > _ENOUGH_PX:
        return ask
    sharper = (
        f"It is {across_px:.0f} pixels wide in this photo: send the photo itself, not one that a messenger made "
        "smaller, or photograph from nearer."
    )
    return replace(ask, what=f"{sharper} Or: {ask.what}")


def rival_ask(kind: Kind, rival: Kind, design: Design, scale_ratio: float) -> Ask:
    """The dimension that tells two kinds apart best."""
    mine, other = _dimensions(kind, design), _dimensions(rival, design)
    shared = sorted(((abs(mine[k][2] - other[k][2]), k) for k in mine.keys() & other.keys()), reverse=True)
    if not shared or shared[0][0] * scale_ratio < 0.5:
        a, b = kind.size_mm, rival.size_mm
        if abs(a - b) < 0.5:
            return Ask(what="Turn it onto another face, and photograph it again.")
        return Ask(
            what=f"Measure its longest side with a caliper: {a:.1f} mm, or {b:.1f} mm for the other.",
            expected_mm=a,
            otherwise_mm=b,
        )
    name, title, nominal, grows = mine[shared[0][1]]
    k = scale_ratio if grows else 1.0
    a, b = nominal * k, other[shared[0][1]][2] * k
    return Ask(
        what=f"Measure with a caliper: {title}. {a:.1f} mm, or {b:.1f} mm for the other.",
        dimension=name,
        expected_mm=a,
        otherwise_mm=b,
    )


def bar_ask() -> Ask:
    return Ask(
        what="Measure a black bar of the mat with a caliper and give its length, or lay a bank-size card on its place.",
        dimension=None,
        expected_mm=100.0,
    )
