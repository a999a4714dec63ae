"""Files as cameras, careless people and hostile ones send them, made on the spot."""

from __future__ import annotations

import io
import struct
import zlib
from typing import Any

import pillow_heif
import segno
from PIL import Image, ImageCms, ImageFilter
from PIL.TiffImagePlugin import IFDRational

SECRET = b"CAMERA-OF-SOMEBODY-54321"


def scene(width: int = 120, height: int = 80, mode: str = "RGB") -> Image.Image:
    """Left half red, right half blue, with a green top left corner: turning it shows."""
    image = Image.new("RGB", (width, height), (200, 30, 30))
    image.paste((30, 30, 200), (width // 2, 0, width, height))
    image.paste((20, 180, 20), (0, 0, width // 5, height // 4))
    return image.convert(mode)


def saved(image: Image.Image, kind: str = "JPEG", **options: Any) -> bytes:
    """The bytes of an image file."""
    out = io.BytesIO()
    image.save(out, kind, **options)
    return out.getvalue()


def with_everything(orientation: int = 1, **size: int) -> bytes:
    """A JPEG with place, camera, notes of its maker, XMP, a colour profile, a comment and a preview."""
    image = scene(**size)
    exif = Image.Exif()
    exif[0x0112] = orientation
    exif[0x010F] = SECRET.decode()
    exif[0x8769] = {
        0x920A: IFDRational(427, 100),
        0xA405: 26,
        0xA404: IFDRational(2, 1),
        0x927C: SECRET,
        0x9286: SECRET,
    }
    exif[0x8825] = {1: "N", 2: (52.0, 31.0, 12.0), 3: "E", 4: (13.0, 24.0, 36.0)}
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    xmp = b"<x:xmpmeta xmlns:x='adobe:ns:meta/'><gps>" + SECRET + b"</gps></x:xmpmeta>"
    return saved(image, exif=exif, icc_profile=profile, xmp=xmp, comment=SECRET, quality=95)


def two_in_one() -> bytes:
    """A JPEG with a second picture behind it, listed in an MPF block, as many phones write."""
    out = io.BytesIO()
    scene().save(out, "MPO", save_all=True, append_images=[Image.new("RGB", (64, 64), (250, 250, 10))])
    return out.getvalue()


def heic(image: Image.Image | None = None, **options: Any) -> bytes:
    """A HEIC file."""
    out = io.BytesIO()
    pillow_heif.from_pillow(image or scene()).save(out, quality=90, **options)
    return out.getvalue()


def _chunk(name: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))


def png_that_claims(width: int, height: int) -> bytes:
    """A small PNG whose header promises this many pixels, and whose data would even give them."""
    head = _chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 1, 0, 0, 0, 0))
    squeezer = zlib.compressobj(9)
    row = b"\0" * (width // 8 + 2)
    rows = [squeezer.compress(row * 100) for _ in range(min(height, 20_000) // 100)]
    body = b"".join(rows) + squeezer.flush()
    return b"\x89PNG\r\n\x1a\n" + head + _chunk(b"IDAT", body) + _chunk(b"IEND", b"")


def jpeg_that_claims(width: int, height: int) -> bytes:
    """A real JPEG with another size written into its header."""
    data = bytearray(saved(scene()))
    at = data.index(b"\xff\xc0")
    data[at + 5 : at + 9] = struct.pack(">HH", height, width)
    return bytes(data)


def markers(data: bytes) -> list[int]:
    """The segments of a JPEG before its pixels."""
    at, found = 2, []
    while data[at + 1] != 0xDA:
        found.append(data[at + 1])
        at += 2 + int.from_bytes(data[at + 2 : at + 4], "big")
    return found


def label(text: str, side_px: int = 320) -> Image.Image:
    """A label as printed: the square with its white border."""
    out = io.BytesIO()
    segno.make(text, error="m", micro=False).save(out, kind="png", scale=10, border=4)
    return Image.open(out).convert("L").resize((side_px, side_px), Image.Resampling.LANCZOS)


def on_a_bench(
    *texts: str,
    side_px: int = 320,
    turned_deg: float = 0,
    soft_px: float = 0,
    light: float = 1.0,
    size: tuple[int, int] = (1600, 1200),
) -> Image.Image:
    """Labels side by side on a grained bench top, as a phone's camera sees them from above."""
    grain = Image.effect_noise((size[0] // 8, size[1] // 8), 12).point(lambda v: v + 20)
    picture = grain.resize(size)
    for n, text in enumerate(texts):
        turned = label(text, side_px).rotate(
            turned_deg, expand=True, fillcolor=235, resample=Image.Resampling.BICUBIC
        )
        picture.paste(turned, (round(size[0] * (0.15 + 0.45 * n)), round(size[1] * 0.3)))
    soft = picture.filter(ImageFilter.GaussianBlur(soft_px))
    return soft.point(lambda v: v * light)
