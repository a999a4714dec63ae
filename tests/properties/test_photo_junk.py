"""Whatever bytes come, a photo is opened or refused in words; nothing else happens."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from handsel.data.photo_file import colour_from_bytes, photo_from_bytes
from handsel.errors import HandselError

SIGNATURES = (b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"RIFF\x10\0\0\0WEBP", b"\0\0\0\x18ftypheic", b"")


def small_files():
    """One whole file of each kind, with notes in it."""
    import pillow_heif

    pillow_heif.register_heif_opener()
    y, x = np.mgrid[0:80, 0:100]
    image = Image.fromarray(np.stack([x * 2, y * 3, x + y], -1).astype(np.uint8))
    exif = Image.Exif()
    exif[0x0112] = 6
    exif.get_ifd(0x8769)[0xA405] = 26
    files = []
    for kind in ("JPEG", "PNG", "WEBP", "HEIF"):
        out = io.BytesIO()
        image.save(out, kind, exif=exif.tobytes())
        files.append(out.getvalue())
    return files


FILES = small_files()
SHARED = (Path(__file__).parents[1] / "data" / "vision" / "shared" / "field-05.jpg").read_bytes()


def opened_or_refused(data):
    refusal = None
    try:
        photo = photo_from_bytes(data, name="junk")
    except HandselError as error:
        refusal = error
    if refusal is not None:
        assert refusal.what
        assert refusal.do
        return
    assert photo.gray.dtype == np.uint8
    assert photo.gray.ndim == 2
    assert min(photo.gray.shape) >= 64
    assert photo.f35_mm is None or 8.0 <= photo.f35_mm <= 400.0
    colour_from_bytes(data, name="junk")


@given(st.sampled_from(SIGNATURES), st.binary(max_size=300))
@settings(max_examples=150, deadline=None)
def test_any_bytes_after_a_signature(start, rest):
    opened_or_refused(start + rest)


@given(
    st.sampled_from(range(len(FILES))),
    st.lists(st.tuples(st.floats(0, 1), st.integers(0, 255)), min_size=1, max_size=12),
)
@settings(max_examples=200, deadline=None)
def test_a_photo_with_bytes_changed(which, changes):
    data = bytearray(FILES[which])
    for share, value in changes:
        data[int(share * (len(data) - 1))] = value
    opened_or_refused(bytes(data))


@given(st.sampled_from(range(len(FILES))), st.floats(0, 1), st.floats(0, 1))
@settings(max_examples=120, deadline=None)
def test_a_photo_with_a_piece_gone_or_doubled(which, a, b):
    data = FILES[which]
    low, high = sorted((int(a * len(data)), int(b * len(data))))
    opened_or_refused(data[:low] + data[high:])
    opened_or_refused(data[:high] + data[low:])


@given(st.lists(st.tuples(st.floats(0, 0.02), st.integers(0, 255)), min_size=1, max_size=6))
@settings(max_examples=25, deadline=None)
def test_a_large_photo_with_its_head_changed(changes):
    data = bytearray(SHARED)
    for share, value in changes:
        data[int(share * (len(data) - 1))] = value
    opened_or_refused(bytes(data))
