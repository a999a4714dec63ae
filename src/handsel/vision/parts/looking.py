"""A kit's parts on the mat, from one photo: `look_at_parts` is what everything outside calls."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from handsel.design.model import Design
from handsel.errors import OutOfRange
from handsel.vision.camera import Lens
from handsel.vision.mat.flat import flattened
from handsel.vision.mat.patches import patches
from handsel.vision.mat.view import MatCause, MatRefused, MatView, view_of
from handsel.vision.parts.asks import title_of
from handsel.vision.parts.judging import judged
from handsel.vision.parts.kinds import Kind, kinds_of
from handsel.vision.parts.print_size import PrintScale, print_scale
from handsel.vision.parts.seen import PartMissing, PartSeen, State

Rgb = npt.NDArray[np.uint8]

_LEAST_PX_PER_MM = 1.8
_HIDES_MM = 20.0  # beyond its foot a part's picture may hide a small part
_ALIKE = 0.012  # sizes this near are one size


@dataclass(frozen=True, slots=True, kw_only=True)
class PartsSeen:
    """What one photo says of a kit's parts."""

    design: str
    scale_ratio: float  # as ordered
    side: str
    mat: str  # title of the sheet
    seen: tuple[PartSeen, ...]  # everything on the mat but the reference card
    missing: tuple[PartMissing, ...]
    expected_count: int
    print_ratio: float  # size of the mat's print against what it should be
    u_print_ratio: float
    print_told_by: tuple[str, ...]  # none: nothing told it, and no part's size is clear
    print_is_wrong: bool
    marker_count: int
    tilt_deg: float
    px_per_mm: float
    u_height_ratio: float  # of the camera's height above the mat, relative
    picture_px: tuple[int, int]  # width, height
    notes: tuple[str, ...]
    sentence: str  # what it comes to, in one sentence

    @property
    def is_right(self) -> bool:
        """Whether all that was expected is there and right, and nothing else."""
        return not self.missing and all(s.state is State.RIGHT for s in self.seen)

    def count(self, state: State) -> int:
        """How many things are said to be so."""
        return sum(s.state is state for s in self.seen)


def look_at_parts(
    pixels: Rgb,
    *,
    design: Design,
    scale_ratio: float,
    side: str,
    lens: Lens | None = None,
    bar_reading_mm: float | None = None,
    expected: Collection[str] | None = None,
    where: str = "photo",
) -> PartsSeen:
    """What lies on the mat, held against what the kit should have.

    Parameters: pixels : (h, w, 3) uint8 [-], red, green, blue, upright as shown; design, at scale 1 and right, as
        loaded; scale_ratio as ordered [-]; side as ordered, "right" or "left"; lens, what the file says of it;
        bar_reading_mm [mm], a caliper's reading of a bar on the mat; expected, names of the design's parts that
        should lie here, all printed ones when None (a small sheet takes a kit in several photos);
        where, the photo's name for messages.
    Returns: PartsSeen.
    Raises: MatRefused with its cause when the mat cannot be measured; OutOfRange for a scale, side, reading or part
        that cannot be.
    Valid for: parts lying apart on a flat mat, each on one of its faces. It advises; a person decides.
    Source: the modules it is made of.
    Checked by: unit/test_vision_parts.py, docs/studies/parts.md
    """
    import cv2

    kinds = _expected(kinds_of(design, scale_ratio, side), expected, design)
    gray = np.asarray(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY), np.uint8)
    view = view_of(gray, lens=lens, where=where)
    if view.px_per_mm < _LEAST_PX_PER_MM:
        raise MatRefused(
            MatCause.SMALL,
            f"the mat is too small in it: {view.px_per_mm:.1f} pixels a millimetre, {_LEAST_PX_PER_MM} are needed",
            where=where,
            do="Go nearer until the mat fills the picture, or send the photo at its full size.",
        )
    flat = flattened(pixels, view)
    found = patches(flat, view)
    printed, card = print_scale(gray, view, flat, found, bar_reading_mm=bar_reading_mm)
    things = [p for p in found if p is not card]
    seen, missing = judged(
        things, kinds, design=design, scale_ratio=scale_ratio, flat=flat, view=view, printed=printed
    )
    return PartsSeen(
        design=design.name,
        scale_ratio=scale_ratio,
        side=side,
        mat=view.mat.title,
        seen=seen,
        missing=missing,
        expected_count=sum(k.count for k in kinds),
        print_ratio=printed.ratio,
        u_print_ratio=printed.u_ratio,
        print_told_by=printed.told_by,
        print_is_wrong=printed.is_wrong,
        marker_count=view.marker_count,
        tilt_deg=view.tilt_deg,
        px_per_mm=view.px_per_mm,
        u_height_ratio=view.u_height_ratio,
        picture_px=(int(pixels.shape[1]), int(pixels.shape[0])),
        notes=tuple(_notes(view, printed, seen, missing)),
        sentence=_sentence(seen, missing, kinds),
    )


def _expected(kinds: tuple[Kind, ...], expected: Collection[str] | None, design: Design) -> tuple[Kind, ...]:
    """The kinds with only those copies that should be here; kinds with none stay, to be known when they lie here."""
    if expected is None:
        return kinds
    printed = {p.name: p.count for p in design.parts if p.printed}
    for name in expected:
        if name not in printed:
            raise OutOfRange(
                f'there is no printed part "{name[:40]}"',
                where=design.name,
                do=f"Its parts are {', '.join(printed)}.",
            )
    return tuple(replace(k, count=sum(printed[n] for n in k.names if n in expected)) for k in kinds)


def _notes(
    view: MatView, printed: PrintScale, seen: Sequence[PartSeen], missing: Sequence[PartMissing]
) -> list[str]:
    notes = []
    if printed.is_wrong:
        on = f" on {printed.paper} paper" if printed.paper else ""
        notes.append(
            f"The mat is printed at {100 * printed.ratio:.1f} % of its size{on} "
            f"({', '.join(printed.told_by)}). Lengths are "
            "corrected for it; print it again at 100 %, without fitting it to the page."
        )
    if not printed.is_known:
        notes.append(
            "Nothing in the photo tells at what size the mat is printed, so no part's size is clear. "
            "Show all four edges of "
            "the paper on a darker table, lay a card of bank-card size on its place, or measure a "
            "bar and give its length."
        )
    if not printed.agree:
        notes.append(
            f"{' and '.join(printed.told_by)} do not agree about the print's size; measure a bar again."
        )
    sizes = [s.scale_ratio for s in seen if s.state is State.OTHER_SCALE and s.scale_ratio is not None]
    if len(sizes) >= 3 and len(sizes) > 0.6 * len(seen) and max(sizes) - min(sizes) < 2.5 * _ALIKE:
        notes.append(
            f"Nearly all parts are {float(np.median(sizes)):.3f} times the ordered size: the kit is "
            f"printed for another scale, "
            "or the mat is. Measure a bar of the mat first."
        )
    if view.u_height_ratio > 0.03:
        notes.append(
            "The photo does not tell the camera's height well; a photo with its own notes on the lens is surer."
        )
    if missing and any(s.hides_mm > _HIDES_MM for s in seen):
        notes.append(
            "What is not seen may lie hidden behind a tall part: move that one aside, or photograph from farther away."
        )
    return notes


def _sentence(seen: Sequence[PartSeen], missing: Sequence[PartMissing], kinds: tuple[Kind, ...]) -> str:
    """What it comes to, the worst first."""
    swapped = _swapped(seen, missing)
    if swapped:
        return swapped
    said = []
    for state, words in (
        (State.MIRRORED, "{} for the other hand"),
        (State.OTHER_SCALE, "{} of another scale"),
        (State.FOREIGN, "{} not of this kit"),
        (State.EXTRA, "{} too many"),
    ):
        n = sum(s.state is state for s in seen)
        if n:
            said.append(words.format(n))
    if missing:
        said.append(f"{sum(m.count for m in missing)} not seen")
    untold = sum(s.state is State.UNTOLD for s in seen)
    if untold:
        said.append(f"{untold} that cannot be told")
    if not said:
        return f"All {sum(k.count for k in kinds)} parts are there, each as ordered."
    right = sum(s.state is State.RIGHT for s in seen)
    return f"Not as ordered yet: {', '.join(said)}; {right} right."


def _swapped(seen: Sequence[PartSeen], missing: Sequence[PartMissing]) -> str:
    """One part in another's stead, as a sentence: the commonest fault of a kit."""
    extra = Counter(s.title for s in seen if s.state is State.EXTRA)
    if not extra or not missing:
        return ""
    for title, _ in extra.most_common():
        names = next(s.names for s in seen if s.title == title)
        alike = [m for m in missing if m.names[0].rsplit("_", 1)[-1] == names[0].rsplit("_", 1)[-1]]
        if alike:
            return f"This kit has one too many of {title}, where {alike[0].title} should be."
    return ""


__all__ = ["PartMissing", "PartSeen", "PartsSeen", "State", "look_at_parts", "title_of"]
