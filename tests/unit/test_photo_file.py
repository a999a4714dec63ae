"""Photo files: what is opened, what is refused and in which words."""

from __future__ import annotations

import io
import struct
import zlib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from handsel.data.photo_file import MOST_BYTES, colour_from_bytes, kind_of, photo_from_bytes, read_photo
from handsel.errors import BadFile

SHARED = Path(__file__).parents[1] / "data" / "vision" / "shared"


def picture(width=90, height=70):
    """Darker to the right, one white corner at the top left."""
    row = np.linspace(200, 40, width).astype(np.uint8)
    image = np.repeat(np.tile(row, (height, 1))[:, :, None], 3, 2)
    image[:20, :20] = 255
    return Image.fromarray(image)


def saved(image, kind="JPEG", **how):
    out = io.BytesIO()
    image.save(out, kind, **how)
    return out.getvalue()


def with_notes(orientation=None, f35=None, size=None):
    exif = Image.Exif()
    if orientation is not None:
        exif[0x0112] = orientation
    if f35 is not None:
        exif.get_ifd(0x8769)[0xA405] = f35
    if size is not None:
        exif.get_ifd(0x8769)[0xA002], exif.get_ifd(0x8769)[0xA003] = size
    return exif


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "HEIF"])
def test_every_kind_of_photo_opens(kind):
    if kind == "HEIF":
        import pillow_heif

        pillow_heif.register_heif_opener()
    data = saved(picture(), kind)
    assert kind_of(data) == kind
    photo = photo_from_bytes(data, name="a")
    assert photo.kind == kind
    assert (photo.width_px, photo.height_px) == (90, 70)
    assert abs(int(photo.gray[60, 5]) - 191) < 8
    assert not photo.gray.flags.writeable
    assert colour_from_bytes(data, name="a").size == (90, 70)


@pytest.mark.parametrize("mode", ["L", "RGBA", "P", "CMYK", "I;16"])
def test_every_manner_of_pixel_becomes_grey(mode):
    if mode == "I;16":
        image = Image.fromarray(np.asarray(picture().convert("L")).astype(np.uint16) << 8)
    else:
        image = picture().convert(mode)
    photo = photo_from_bytes(
        saved(image, "JPEG" if mode == "CMYK" else "PNG", **({"quality": 95} if mode == "CMYK" else {})),
        name="a",
    )
    assert abs(int(photo.gray[60, 5]) - 191) < 20  # a palette is coarse
    assert photo.gray[5, 5] > 245


@pytest.mark.parametrize(
    ("orientation", "corner", "size"),
    [
        (1, (0, 0), (90, 70)),
        (3, (-1, -1), (90, 70)),
        (6, (0, -1), (70, 90)),
        (8, (-1, 0), (70, 90)),
        (2, (0, -1), (90, 70)),
    ],
)
def test_the_picture_is_turned_as_it_is_shown(orientation, corner, size):
    photo = photo_from_bytes(saved(picture(), exif=with_notes(orientation, 26), quality=95), name="a")
    assert (photo.width_px, photo.height_px) == size
    assert photo.gray[corner] > 245
    assert photo.f35_mm == 26.0


@pytest.mark.parametrize(("f35", "read"), [(26, 26.0), (0, None), (65535, None), (None, None)])
def test_a_focal_length_that_is_none_is_not_believed(f35, read):
    assert photo_from_bytes(saved(picture(), exif=with_notes(1, f35)), name="a").f35_mm == read


@pytest.mark.parametrize(
    ("size", "whole"),
    [
        ((9000, 7000), True),
        ((70, 90), True),
        ((4000, 3000), False),
        (None, True),
    ],
)
def test_a_picture_that_was_cut_is_noticed(size, whole):
    assert photo_from_bytes(saved(picture(), exif=with_notes(1, 26, size)), name="a").whole_picture is whole


@pytest.mark.parametrize(
    ("size", "whole"), [((120, 90), True), ((90, 160), True), ((200, 100), True), ((90, 70), False)]
)
def test_without_notes_a_shape_that_no_camera_takes_is_a_piece(size, whole):
    assert photo_from_bytes(saved(picture(*size)), name="a").whole_picture is whole
    assert photo_from_bytes(saved(picture(*size)), name="a").f35_mm is None


@pytest.mark.parametrize(("told", "zoom"), [(None, None), (0, None), (1, 1.0), (2.5, 2.5), (1000, None)])
def test_the_digital_zoom_is_as_it_was_noted_when_it_can_be_one(told, zoom):
    exif = with_notes(1, 26)
    if told is not None:
        exif.get_ifd(0x8769)[0xA404] = told
    assert photo_from_bytes(saved(picture(), exif=exif), name="a").zoom_ratio == zoom


def bomb(width, height):
    """A PNG of a few bytes that claims to be huge."""

    def chunk(kind, data):
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    parts = (chunk(b"IHDR", head), chunk(b"IDAT", zlib.compress(b"\0" * 1000)), chunk(b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(parts)


@pytest.mark.parametrize(("width", "height"), [(20_000, 10_000), (100_000, 100_000), (10_000, 6_001)])
def test_a_picture_of_200_million_pixels_is_refused_before_it_is_decoded(width, height):
    with pytest.raises(BadFile, match="unpacks to more than 60 million pixels"):
        photo_from_bytes(bomb(width, height), name="bomb.png")


def test_a_file_cut_short_is_refused_wherever_it_is_cut():
    whole = (SHARED / "clean-02.jpg").read_bytes()
    for share in (0.02, 0.3, 0.7, 0.98):
        with pytest.raises(BadFile, match="damaged or cut short"):
            photo_from_bytes(whole[: int(share * len(whole))], name="half.jpg")


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "the file is empty"),
        (b"%PDF-1.7", "not a photo"),
        (b"hello" * 100, "not a photo"),
        (b"GIF89a" + b"\0" * 50, "not a photo"),
        (b"\xff\xd8\xff\xe0junk", "damaged"),
        (b"\x89PNG\r\n\x1a\nxx", "damaged"),
        (b"RIFF\0\0\0\0WEBPxxxx", "damaged"),
        (b"\0\0\0\x18ftypheic" + b"\0" * 40, "damaged"),
    ],
)
def test_what_is_no_photo_says_so(data, says):
    with pytest.raises(BadFile, match=says) as refused:
        photo_from_bytes(data, name="thing")
    assert str(refused.value).startswith("thing: ")
    assert refused.value.do


def test_a_preview_is_too_small():
    with pytest.raises(BadFile, match="only 50 by 63 pixels"):
        photo_from_bytes(saved(picture(50, 63)), name="a")


def test_a_file_that_is_not_there_or_too_large(tmp_path):
    with pytest.raises(BadFile, match="no such file"):
        read_photo(tmp_path / "nothing.jpg")
    with pytest.raises(BadFile, match="no such file"):
        read_photo(tmp_path)
    big = tmp_path / "big.jpg"
    with big.open("wb") as file:
        file.truncate(MOST_BYTES + 1)
    with pytest.raises(BadFile, match="larger than 60 MB"):
        read_photo(big)


def test_the_drawing_copy_keeps_nothing_of_the_notes():
    colour = colour_from_bytes(saved(picture(), exif=with_notes(6, 26)), name="a")
    assert colour.size == (70, 90)
    assert not colour.info
    assert not dict(Image.open(io.BytesIO(saved(colour))).getexif())
