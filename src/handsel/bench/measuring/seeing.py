"""Measures one photo in a process of its own, as bounded as the one that develops.

    python -m handsel.bench.measuring.seeing TASK SOURCE OVERLAY
    python -m handsel.bench.measuring.seeing --wait     (the three as a JSON list on standard input, when they come)

TASK is JSON: what to look for, and what is known of hand and lens. One line of JSON is printed: what was seen, or
why nothing was; where something was, the photo with it drawn on is written to OVERLAY.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeAlias

from handsel.bench.measuring import saying
from handsel.bench.photos.developing import NotStored, Refused, must_be_bare, tell
from handsel.errors import HandselError

if TYPE_CHECKING:
    from handsel.data.photo_file import Photo as PhotoFile
    from handsel.vision.camera import Lens

Picture: TypeAlias = Any  # an image of Pillow
OVERLAY_PX = 1600
WHERE = "the photo"


@dataclass(frozen=True, slots=True, kw_only=True)
class Sent:
    """The file, and what is known of the lens beside what it says itself."""

    data: bytes
    task: Mapping[str, Any]

    def lens(self, photo: PhotoFile) -> Lens:
        """What the file says, or, where it was made clean before, what it said when it came."""
        from handsel.vision.camera import Lens

        if "f35_mm" in self.task:
            return Lens(f35_mm=self.task["f35_mm"], zoom_ratio=self.task.get("zoom_ratio"))
        return Lens(f35_mm=photo.f35_mm, whole_picture=photo.whole_picture, zoom_ratio=photo.zoom_ratio)

    def pixels(self) -> tuple[Any, Lens]:
        """All of it in colour, (h, w, 3) uint8, and the lens."""
        import numpy as np

        from handsel.data.photo_file import colour_from_bytes, photo_from_bytes

        photo = photo_from_bytes(self.data, name=WHERE)
        lens = self.lens(photo)
        return np.asarray(colour_from_bytes(self.data, name=WHERE), dtype=np.uint8), lens

    def colour(self) -> Picture:
        """In colour and upright, no larger than an overlay needs."""
        from PIL import ImageOps

        from handsel.data.photo_file import colour_from_bytes, opened

        picture = opened(self.data, name=WHERE, gray=False)
        if picture.format != "JPEG":
            return colour_from_bytes(self.data, name=WHERE)
        picture.draft("RGB", (OVERLAY_PX, OVERLAY_PX))  # a JPEG unpacks to a half or a quarter at a gain
        picture.load()
        return ImageOps.exif_transpose(picture).convert("RGB")


def angle(sent: Sent, overlay: Path) -> dict[str, Any]:
    """The rest angle from two cards."""
    from handsel.data.photo_file import photo_from_bytes
    from handsel.documents.angle_overlay import angle_overlay
    from handsel.vision.rest_angle.reading import CARD_TURN_SD_DEG, measure_rest_angle

    photo = photo_from_bytes(sent.data, name=WHERE)
    found = measure_rest_angle(
        photo.gray,
        lens=sent.lens(photo),
        card_turn_sd_deg=0.0 if sent.task.get("cards") == "pads" else CARD_TURN_SD_DEG,
        where=WHERE,
    )
    keep(angle_overlay(sent.colour(), found), overlay)
    return {
        "value": round(found.rest_angle_deg, 4),
        "u": round(found.u_rest_angle_deg, 4),
        "low": round(found.low_deg, 3),
        "high": round(found.high_deg, 3),
        "contributions": {k: round(v, 4) for k, v in found.contributions.items()},
        "fingers_point": found.fingers_point,
        "view_side": found.view_side(sent.task.get("side")),
        "obliquity_deg": round(found.obliquity_deg, 1),
        "f35_mm": round(found.f35_mm, 1),
        "side_px": round(found.side_px, 1),
        "misfit": round(found.misfit, 2),
        "notes": list(found.notes),
        "picture_px": list(found.picture_px),
    }


def parts(sent: Sent, overlay: Path) -> dict[str, Any]:
    """A kit's parts on the mat, held against what was ordered."""
    from PIL import Image

    from handsel.data.design_text import design_from_text
    from handsel.documents.parts_overlay import parts_overlay
    from handsel.vision.parts.looking import look_at_parts

    design = design_from_text(
        Path(sent.task["design_file"]).read_text(encoding="utf-8"), where="the hand's design"
    )
    pixels, lens = sent.pixels()
    found = look_at_parts(
        pixels,
        design=design,
        scale_ratio=sent.task["scale_ratio"],
        side=sent.task["side"],
        lens=lens,
        bar_reading_mm=sent.task.get("bar_mm"),
        where=WHERE,
    )
    keep(parts_overlay(Image.fromarray(pixels), found), overlay)
    return saying.of_parts(found)


def cuff(sent: Sent, overlay: Path) -> dict[str, Any]:
    """How far a formed cuff is from its own mirror image, against the protocol's limit."""
    from PIL import Image

    from handsel.documents.cuff_overlay import cuff_overlay
    from handsel.metrology.limits import Limits
    from handsel.vision.cuff.measuring import judge_cuff, look_at_cuff

    pixels, lens = sent.pixels()
    found = look_at_cuff(pixels, lens=lens, width_mm=sent.task.get("width_mm"), where=WHERE)
    most_mm = sent.task.get("most_mm")
    limits = None if most_mm is None else Limits(high=most_mm, unit="mm")
    decision = None if limits is None else judge_cuff(found, limits, accept_p=sent.task["accept_p"])
    keep(cuff_overlay(Image.fromarray(pixels), found, limits=limits, decision=decision), overlay)
    return saying.of_cuff(found, decision)


def bend(sent: Sent, overlay: Path) -> dict[str, Any]:
    """Pale lines along a bend, each a question to a person."""
    from PIL import Image

    from handsel.documents.bend_overlay import bend_overlay
    from handsel.vision.bend.whitening import look_at_bend

    pixels, _ = sent.pixels()
    found = look_at_bend(pixels, where=WHERE)
    keep(bend_overlay(Image.fromarray(pixels), found), overlay)
    return saying.of_bend(found)


def keep(jpeg: bytes, overlay: Path) -> None:
    """Write the picture that is shown, after making sure that it holds pixels and nothing else."""
    must_be_bare(jpeg)
    try:
        overlay.write_bytes(jpeg)
    except OSError as error:
        raise NotStored(error.errno or 0) from None


WAYS: dict[str, Callable[[Sent, Path], dict[str, Any]]] = {
    "angle": angle,
    "parts": parts,
    "cuff": cuff,
    "bend": bend,
}
CPU_S, SLOW_CPU_S = 40, 200


def look(task: Mapping[str, Any], source: Path, overlay: Path) -> dict[str, Any]:
    """Do what is asked; what cannot be seen is told as a refusal with its cause."""
    try:
        return WAYS[task["what"]](Sent(data=source.read_bytes(), task=task), overlay)
    except HandselError as error:
        return {
            "refused": error.what,
            "do": error.do,
            "cause": str(getattr(error, "cause", "not a usable photo")),
        }
    except (ArithmeticError, LookupError, TypeError, ValueError, OSError) as error:
        # A file that the decoders took and the sums did not: the photo's fault or ours, and no reading either way.
        print(f"{type(error).__name__}: {error}", file=sys.stderr)
        raise Refused("it could not be measured", "Take the photo again.") from None


def waited_for() -> list[str]:
    """Read the libraries first, then what is wanted. Nothing comes any more: the worker is gone, and so is this."""
    import PIL.JpegImagePlugin  # noqa: F401

    import handsel.documents.angle_overlay  # noqa: F401
    from handsel.vision.finding import get_ready

    get_ready()

    line = sys.stdin.readline()
    if not line:
        sys.exit(0)
    words: list[str] = json.loads(line)
    return words


def main() -> None:
    """What the worker starts."""
    task, source, overlay = waited_for() if sys.argv[1:] == ["--wait"] else sys.argv[1:]
    told = json.loads(task)
    cpu_s = CPU_S if told["what"] == "angle" else SLOW_CPU_S
    tell(lambda: look(told, Path(source), Path(overlay)), cpu_s=cpu_s)


if __name__ == "__main__":
    main()
