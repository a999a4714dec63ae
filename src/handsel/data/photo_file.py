"""A photo's file opened: what it is, whether it is safe to decode, which way up it is, and what lens took it.

Everything in the file is hostile until read. The kind is told from the first bytes and never from the name; the
size is read from the header and refused before a pixel is decoded; nothing is written.
"""

from __future__ import annotations

import io
import struct
import warnings
import zlib
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from handsel.errors import BadFile

if TYPE_CHECKING:
    from PIL.Image import Image

MOST_BYTES = 60_000_000
MOST_PIXELS = 60_000_000
LEAST_SIDE_PX = 64
_EXIF, _ORIENTATION, _WIDTH, _HEIGHT, _ZOOM, _FOCAL_35 = 0x8769, 0x0112, 0xA002, 0xA003, 0xA404, 0xA405
# Longer side over shorter one of what phones and cameras take. A file without notes that has none of these shapes is a
# piece of a picture.
_SHAPES = (1.0, 5 / 4, 4 / 3, 3 / 2, 16 / 9, 2.0, 18.5 / 9, 19 / 9, 19.5 / 9, 20 / 9, 21 / 9)
_SAME_SHAPE = 0.015  # to within this share: programs that shrink a picture round its sides
_HEIF_BRANDS = {b"heic", b"heix", b"hevc", b"heim", b"heis", b"hevm", b"hevs", b"mif1", b"msf1"}

# What Pillow and the libraries under it raise for a file that is not what it says it is.
_UNREADABLE = (OSError, ValueError, SyntaxError, TypeError, LookupError, ArithmeticError, AttributeError,
               RuntimeError, MemoryError, EOFError, struct.error, zlib.error)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Photo:
    """A photo as it is shown, in shades of grey, with what its file says of the lens."""

    name: str
    gray: npt.NDArray[np.uint8]  # (h, w), read-only, orientation applied
    f35_mm: float | None  # 35 mm equivalent of the focal length; None when the file has none
    whole_picture: bool  # False when the file shows that it was cut
    zoom_ratio: float | None  # digital zoom as the camera wrote it; None when the file has none
    kind: str  # JPEG, PNG, WEBP or HEIF

    @property
    def width_px(self) -> int:
        """Across, as shown."""
        return int(self.gray.shape[1])

    @property
    def height_px(self) -> int:
        """Up and down, as shown."""
        return int(self.gray.shape[0])


def kind_of(data: bytes) -> str | None:
    """What a file is, from its first bytes.

    Parameters: data, the file or its first 16 bytes.
    Returns: JPEG, PNG, WEBP, HEIF, or None for anything else.
    Raises: nothing.
    Valid for: still pictures of phones and cameras.
    Source: the formats' own signatures.
    Checked by: unit/test_photo_file.py
    """
    if data[:3] == b"\xff\xd8\xff":
        return "JPEG"
    if data[:8] == b"\x89PNG\r\n\x1a\n":
        return "PNG"
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "WEBP"
    if data[4:8] == b"ftyp" and data[8:12] in _HEIF_BRANDS:
        return "HEIF"
    return None


def read_photo(path: Path | str) -> Photo:
    """Open a photo file.

    Parameters: path of the file.
    Returns: Photo.
    Raises: BadFile, saying what is wrong with it and what to do.
    Valid for: JPEG, PNG, WebP and HEIC up to 60 million pixels.
    Source: own rules.
    Checked by: unit/test_photo_file.py, properties/test_photo_junk.py
    """
    path = Path(path)
    return photo_from_bytes(read_bytes(path), name=path.name)


def read_bytes(path: Path) -> bytes:
    """A file's bytes, if there are not too many of them.

    Parameters: path of the file.
    Returns: the bytes.
    Raises: BadFile when it is not there, is no plain file, or is too large.
    Valid for: files on this machine.
    Source: own rules.
    Checked by: unit/test_photo_file.py
    """
    try:
        if not path.is_file():
            raise BadFile(
                "there is no such file", where=path.name, do="Check the name, or pick the photo again."
            )
        if path.stat().st_size > MOST_BYTES:
            raise BadFile(
                f"it is larger than {MOST_BYTES // 1_000_000} MB",
                where=path.name,
                do="Choose the photo itself, not a film or a raw file.",
            )
        return path.read_bytes()
    except OSError as error:
        raise BadFile(
            f"it cannot be read ({error.strerror or 'unknown reason'})",
            where=path.name,
            do="Check that you may open it.",
        ) from None


def photo_from_bytes(data: bytes, *, name: str) -> Photo:
    """A photo from the bytes of its file.

    Parameters: data, the whole file; name for messages.
    Returns: Photo, grey and upright as shown.
    Raises: BadFile for anything that is no whole photo of a sensible size.
    Valid for: as read_photo.
    Source: Exif 2.32 for orientation, focal length and the size the camera took; grey is the luma of
        ITU-R BT.601, as JPEG stores it.
    Checked by: unit/test_photo_file.py, properties/test_photo_junk.py
    """
    with opened(data, name=name, gray=True) as picture:
        kind = picture.format or ""
        f35_mm, whole, zoom = _lens(picture)
        gray = np.asarray(_gray(_upright(picture, name)), dtype=np.uint8)
    gray = np.ascontiguousarray(gray)
    gray.flags.writeable = False
    return Photo(name=name, gray=gray, f35_mm=f35_mm, whole_picture=whole, zoom_ratio=zoom, kind=kind)


def colour_from_bytes(data: bytes, *, name: str) -> Image:
    """The same photo in colour, for drawing on.

    Parameters: data, the whole file; name for messages.
    Returns: a Pillow picture in RGB, upright as shown, nothing else of the file in it.
    Raises: BadFile as photo_from_bytes.
    Valid for: as read_photo.
    Source: as photo_from_bytes.
    Checked by: unit/test_angle_overlay.py
    """
    with opened(data, name=name, gray=False) as picture:
        colour = _upright(picture, name).convert("RGB")
    colour.info.clear()
    return colour


def opened(data: bytes, *, name: str, gray: bool) -> Image:
    """The file opened and its size judged; no pixel is decoded yet.

    Parameters: data, the whole file; name for messages; gray, whether brightness is all that is wanted.
    Returns: a Pillow picture whose pixels are still to be loaded.
    Raises: BadFile.
    Valid for: as read_photo.
    Source: own rules.
    Checked by: unit/test_photo_file.py
    """
    from PIL import Image

    kind = kind_of(data)
    if kind is None:
        raise BadFile(
            "this is not a photo" if data else "the file is empty",
            where=name,
            do="Choose a photo: JPEG, HEIC, PNG or WebP.",
        )
    if kind == "HEIF":
        _register_heif()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # judged here by our own limits
            picture = Image.open(io.BytesIO(data), formats=[kind])
    except Image.DecompressionBombError:
        raise _too_large(name) from None
    except _UNREADABLE:
        raise _broken(name) from None
    _judge_size(picture, name)
    if gray and picture.mode == "YCbCr" or kind == "JPEG" and gray and picture.mode == "RGB":
        picture.draft("L", picture.size)  # the brightness of a JPEG is stored by itself
    return picture


def _judge_size(picture: Image, name: str) -> None:
    if picture.width * picture.height > MOST_PIXELS:
        picture.close()
        raise _too_large(name)
    if min(picture.size) < LEAST_SIDE_PX:
        picture.close()
        raise BadFile(
            f"it has only {picture.width} by {picture.height} pixels",
            where=name,
            do="Send the photo itself, not its preview.",
        )


def _register_heif() -> None:
    import pillow_heif

    pillow_heif.register_heif_opener(thumbnails=False)


def _too_large(name: str) -> BadFile:
    return BadFile(
        f"it unpacks to more than {MOST_PIXELS // 1_000_000} million pixels",
        where=name,
        do="Take the photo at the phone's usual size.",
    )


def _broken(name: str) -> BadFile:
    return BadFile(
        "the file is damaged or cut short",
        where=name,
        do="Send it again; if that does not help, take the photo again.",
    )


def _upright(picture: Image, name: str) -> Image:
    """Decoded and turned as shown."""
    from PIL import ImageOps

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            picture.load()
    except _UNREADABLE:
        raise _broken(name) from None
    _judge_size(picture, name)  # a HEIC file may turn out another size than its head said
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return ImageOps.exif_transpose(picture)
    except _UNREADABLE:  # the note on orientation is damaged, the picture is not
        return picture


def _gray(picture: Image) -> Image:
    """Shades of grey with 8 bits."""
    if picture.mode.startswith("I;16") or picture.mode == "I":
        from PIL import Image as Images

        return Images.fromarray((np.asarray(picture, dtype=np.uint32) >> 8).astype(np.uint8))
    if picture.mode in ("P", "PA", "LA", "RGBA", "CMYK", "LAB", "HSV"):
        picture = picture.convert("RGB")
    return picture.convert("L")


def _lens(picture: Image) -> tuple[float | None, bool, float | None]:
    """The 35 mm equivalent, whether the picture is whole, and the digital zoom, as far as the file says."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            notes = picture.getexif().get_ifd(_EXIF)
    except _UNREADABLE:
        notes = {}
    f35 = _number(notes.get(_FOCAL_35))
    width, height = _number(notes.get(_WIDTH)), _number(notes.get(_HEIGHT))
    kept = max(picture.size) / min(picture.size)
    shapes: tuple[float, ...] = () if f35 is not None else _SHAPES
    if width and height and width > 0 and height > 0:
        shapes = (max(width, height) / min(width, height),)
    whole = not shapes or any(abs(shape / kept - 1.0) < _SAME_SHAPE for shape in shapes)
    zoom = _number(notes.get(_ZOOM))
    return (
        f35 if f35 is not None and 8.0 <= f35 <= 400.0 else None,
        whole,
        zoom if zoom is not None and 1.0 <= zoom <= 50.0 else None,  # 0 says that none was used
    )


def _number(value: Any) -> float | None:
    try:
        found = float(value)
    except _UNREADABLE:
        return None
    return found if np.isfinite(found) else None
