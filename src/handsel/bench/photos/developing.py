"""Turns one upload into two clean pictures, in a process of its own.

    python -m handsel.bench.photos.developing KIND RAW FULL THUMB

Decoders read whatever a stranger's file says, so this process has no database, no network to speak of,
a bound on memory and on time, and prints one line of JSON: the numbers of the picture, or the reason
why it was refused. If it dies, that is a refusal too.
"""

from __future__ import annotations

import io
import json
import math
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TypeAlias

Picture: TypeAlias = Any  # an image of Pillow, which is imported where it is used: it is slow to start

MOST_PIXELS = 60_000_000
LONG_SIDE_PX = 4000
THUMB_SIDE_PX = 480
MEMORY_BYTES = 2 << 30
CPU_S = 40
FORMATS = {"jpeg": "JPEG", "png": "PNG", "webp": "WEBP", "heic": "HEIF"}
EXIF_IFD, FOCAL_MM, ZOOM, FOCAL_35_MM = 0x8769, 0x920A, 0xA404, 0xA405
TAKEN_WIDTH, TAKEN_HEIGHT, CUT_RATIO = 0xA002, 0xA003, 0.015

# What Pillow and the libraries under it raise for files that are not what they say.
UNREADABLE = (
    OSError, EOFError, ValueError, SyntaxError, TypeError, LookupError, ArithmeticError, AttributeError, RuntimeError,
)  # fmt: skip


class Refused(Exception):
    """Why this upload becomes no picture, and what to do."""

    def __init__(self, what: str, do: str) -> None:
        super().__init__(what)
        self.what, self.do = what, do


class NotStored(Exception):
    """The disk would not take the result: no fault of the picture."""


def develop(kind: str, source: Path, full: Path, thumb: Path) -> dict[str, Any]:
    """Write both pictures; give the numbers that a measurement needs later."""
    from PIL import Image, ImageOps

    Image.MAX_IMAGE_PIXELS = None  # held against our own limit, in our own words, as soon as it is known
    with unreadable_refused():
        image = opened(kind, source)
        check_size(image.size)
        numbers = lens_numbers(image)
        image.load()
        upright = ImageOps.exif_transpose(image)
        source_size = upright.size
        picture = bare(on_white(in_srgb(shrunk(upright, LONG_SIDE_PX))))
    try:
        picture.save(full, "JPEG", quality=90)
        bare(shrunk(picture, THUMB_SIDE_PX)).save(thumb, "JPEG", quality=80)
    except OSError as error:
        raise NotStored(error.errno or 0) from None
    for written in (full, thumb):
        must_be_bare(written.read_bytes())
    return {
        "width_px": picture.width,
        "height_px": picture.height,
        "source_width_px": source_size[0],
        "source_height_px": source_size[1],
        **numbers,
    }


@contextmanager
def unreadable_refused() -> Iterator[None]:
    """Turns what decoders raise into a refusal in words."""
    try:
        yield
    except UNREADABLE as error:
        if "truncated" in str(error).lower() or isinstance(error, EOFError):
            raise Refused("the file is cut short", "Send the photo again.") from None
        raise Refused(
            "the picture in it cannot be read", "Take the photo again, or send it as JPEG."
        ) from None


def opened(kind: str, source: Path) -> Picture:
    """The picture with only its header read, by the decoder for what it is and no other."""
    from PIL import Image

    if kind == "heic":
        import pillow_heif

        pillow_heif.register_heif_opener(thumbnails=False)
    return Image.open(source, formats=[FORMATS[kind]])


def check_size(size: tuple[int, int]) -> None:
    """Hold the header's size against the limit, before a single pixel is made room for."""
    width, height = size
    if width * height > MOST_PIXELS:
        raise Refused(
            f"it has {width * height / 1e6:.0f} million pixels; {MOST_PIXELS / 1e6:.0f} million are taken",
            "Set the camera to a smaller size and take it again.",
        )
    if width < 1 or height < 1:
        raise Refused("it has no pixels", "Take the photo again.")


def lens_numbers(image: Picture) -> dict[str, float | None]:
    """Focal lengths and zoom from the header, where they are there and can be true."""
    exif = image.getexif().get_ifd(EXIF_IFD)
    return {
        "focal_length_mm": _number(exif.get(FOCAL_MM), 0.3, 2000),
        # Of a picture that was cut it would say another angle of view than it has.
        "focal_length_35mm_mm": None
        if _was_cut(exif, image.size)
        else _number(exif.get(FOCAL_35_MM), 3, 5000),
        "digital_zoom_ratio": _number(exif.get(ZOOM), 1, 200),
    }


def _was_cut(exif: Any, size: tuple[int, int]) -> bool:
    """Whether the camera took another shape of picture than this one, as far as the file says."""
    taken = [_number(exif.get(key), 1, 1e6) for key in (TAKEN_WIDTH, TAKEN_HEIGHT)]
    if taken[0] is None or taken[1] is None or min(size) < 1:
        return False
    shape = max(taken[0], taken[1]) / min(taken[0], taken[1])
    return abs(shape / (max(size) / min(size)) - 1.0) >= CUT_RATIO


def _number(value: Any, low: float, high: float) -> float | None:
    try:
        number = float(value)
    except (TypeError, ValueError, ArithmeticError):
        return None
    return round(number, 4) if math.isfinite(number) and low <= number <= high else None


def shrunk(image: Picture, side_px: int) -> Picture:
    """At most this long on its long side; never enlarged."""
    from PIL import Image

    longest = max(image.size)
    if longest <= side_px:
        return image
    if image.mode not in ("RGB", "L", "RGBA", "LA", "CMYK"):
        image = in_plain_mode(image)
    size = tuple(max(1, round(n * side_px / longest)) for n in image.size)
    return image.resize((size[0], size[1]), Image.Resampling.LANCZOS, reducing_gap=3.0)


def in_plain_mode(image: Picture) -> Picture:
    """Eight bits a channel, from whatever it was."""
    if image.mode.startswith("I"):  # 16 bits of grey
        wide = image.convert("I")
        return wide.point(lambda value: value * (1 / 257)).convert("L")
    if image.mode == "F":
        return image.convert("L")
    if image.mode in ("P", "PA") or "transparency" in image.info:
        return image.convert("RGBA")
    return image if image.mode in ("RGB", "L", "RGBA", "LA", "CMYK") else image.convert("RGB")


def in_srgb(image: Picture) -> Picture:
    """Colours as every screen takes them, so that the profile can be left out."""
    from PIL import ImageCms

    profile = image.info.get("icc_profile")
    image = in_plain_mode(image)
    if profile and image.mode in ("RGB", "RGBA", "L", "CMYK"):
        try:
            alpha = image.getchannel("A") if image.mode == "RGBA" else None
            changed = ImageCms.profileToProfile(
                image.convert("RGB") if alpha is not None else image,
                ImageCms.ImageCmsProfile(io.BytesIO(profile)),
                ImageCms.createProfile("sRGB"),
                outputMode="RGB",
            )
        except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
            changed = None  # a broken profile, or one for other channels: the bare numbers are the next best
        if changed is not None:
            if alpha is not None:
                changed.putalpha(alpha)
            return changed
    return image if image.mode in ("RGBA", "LA") else image.convert("RGB")


def on_white(image: Picture) -> Picture:
    """What is see-through becomes white paper."""
    if image.mode not in ("RGBA", "LA"):
        return image
    from PIL import Image

    paper = Image.new("RGBA", image.size, "white")
    paper.alpha_composite(image.convert("RGBA"))
    return paper.convert("RGB")


def bare(image: Picture) -> Picture:
    """The pixels and nothing else: no comment, place, camera or preview comes along."""
    from PIL import Image

    clean = Image.new(image.mode, image.size)
    clean.paste(image)
    return clean


def must_be_bare(data: bytes) -> None:
    """Look at the file as written: nothing but what a decoder needs may stand before the pixels."""
    at = 2
    while data[at] == 0xFF and data[at + 1] != 0xDA:
        marker, length = data[at + 1], int.from_bytes(data[at + 2 : at + 4], "big")
        jfif = marker == 0xE0 and length == 16
        if (0xE0 <= marker <= 0xEF and not jfif) or marker == 0xFE:
            raise Refused("its hidden notes could not be taken out", "Send a photo from another phone.")
        at += 2 + length
    if data[at : at + 2] != b"\xff\xda" or not data.endswith(b"\xff\xd9"):
        raise Refused("it could not be written as a clean picture", "Take the photo again.")


def bound(cpu_s: int = CPU_S) -> None:
    """Limits on this process; where the system has none, the limit on pixels must do."""
    try:
        import resource
    except ImportError:  # Windows
        return
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    resource.setrlimit(resource.RLIMIT_CPU, (cpu_s, cpu_s))
    if sys.platform != "darwin":  # where the limit on address space is not kept
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))


def main() -> None:
    """What the worker starts."""
    kind, source, full, thumb = sys.argv[1:]
    tell(lambda: develop(kind, Path(source), Path(full), Path(thumb)))


def tell(work: Callable[[], dict[str, Any]], *, cpu_s: int = CPU_S) -> None:
    """Do the work within bounds and print its one line of JSON."""
    bound(cpu_s)
    try:
        told = work()
    except Refused as refused:
        told = {"refused": refused.what, "do": refused.do}
    except NotStored as error:
        told = {"disk": error.args[0]}
    except MemoryError:
        told = {"refused": "it takes too much memory to open", "do": "Take it again at a smaller size."}
    sys.stdout.write(json.dumps(told))


if __name__ == "__main__":
    main()
