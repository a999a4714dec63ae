"""One photo in the many ways in which it is handed in: it reads within what it states, or is refused for its cause."""

from __future__ import annotations

import io
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image, ImageEnhance

from handsel.data.photo_file import photo_from_bytes
from handsel.errors import BadFile
from handsel.vision.camera import Lens
from handsel.vision.rest_angle.reading import measure_rest_angle
from handsel.vision.rest_angle.refused import Cause, PhotoRefused

SHOT = Path(__file__).parents[1] / "data" / "vision" / "shared" / "clean-03.jpg"
TRUTH_DEG, F35_MM = 30.32, 26
_TURNED = {
    2: Image.Transpose.FLIP_LEFT_RIGHT, 3: Image.Transpose.ROTATE_180, 4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE, 6: Image.Transpose.ROTATE_90, 7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_270,
}  # fmt: skip


@pytest.fixture(scope="module")
def shown():
    with Image.open(SHOT) as picture:
        return picture.convert("RGB")


def notes(*, f35_mm=F35_MM, zoom=None, size=None, orientation=None):
    """What a phone writes beside the picture."""
    exif = Image.Exif()
    of_camera = exif.get_ifd(0x8769)
    for tag, value in (
        (0xA405, f35_mm),
        (0xA404, zoom),
        *zip((0xA002, 0xA003), size or (None, None), strict=True),
    ):
        if value is not None:
            of_camera[tag] = value
    if orientation is not None:
        exif[0x0112] = orientation
    return exif


def saved(picture, kind="JPEG", **how):
    file = io.BytesIO()
    picture.save(file, kind, **({"quality": 92} | how if kind == "JPEG" else how))
    return file.getvalue()


def read(data):
    photo = photo_from_bytes(data, name="photo.jpg")
    lens = Lens(f35_mm=photo.f35_mm, whole_picture=photo.whole_picture, zoom_ratio=photo.zoom_ratio)
    return measure_rest_angle(photo.gray, lens=lens, card_turn_sd_deg=0.0)


def holds(found):
    return found.low_deg <= TRUTH_DEG <= found.high_deg and found.u_rest_angle_deg < 0.6


@pytest.mark.parametrize("orientation", range(1, 9))
def test_any_way_of_storing_it_turned_is_undone(shown, orientation):
    stored = shown.transpose(_TURNED[orientation]) if orientation in _TURNED else shown
    found = read(saved(stored, exif=notes(orientation=orientation)))
    assert holds(found)
    assert found.picture_px == shown.size


@pytest.mark.parametrize(
    "made",
    [
        lambda p: saved(p.resize((800, 600), Image.Resampling.LANCZOS), quality=60),
        lambda p: saved(p, progressive=True),
        lambda p: saved(p.convert("L")),
        lambda p: saved(p.convert("CMYK")),
        lambda p: saved(p.convert("RGBA"), "PNG", compress_level=1),
        lambda p: saved(p.quantize(256), "PNG", compress_level=1),
        lambda p: saved(
            Image.fromarray(np.asarray(p.convert("L")).astype(np.uint16) * 257), "PNG", compress_level=1
        ),
        lambda p: saved(ImageEnhance.Brightness(p).enhance(2.6)),
        lambda p: saved(p, quality=20),
    ],
    ids=[
        "by a messenger",
        "progressive",
        "grey",
        "CMYK",
        "see-through",
        "few colours",
        "16 bits",
        "too bright",
        "coarse",
    ],
)
def test_any_kind_of_file_is_read_with_the_lens_left_open(shown, made):
    found = read(made(shown))
    assert holds(found)
    assert any("does not say its focal length" in note for note in found.notes)


@pytest.mark.parametrize("f35_mm", [0, 1, 500, 65535])
def test_a_focal_length_that_no_camera_has_is_none(shown, f35_mm):
    assert holds(read(saved(shown, exif=notes(f35_mm=f35_mm))))


@pytest.mark.parametrize("f35_mm", [10, 39, 52, 77])
def test_a_focal_length_of_another_lens_is_found_out(shown, f35_mm):
    found = read(saved(shown, exif=notes(f35_mm=f35_mm)))
    assert holds(found)
    assert any("does not suit" in note for note in found.notes)


@pytest.mark.parametrize("share", [0.97, 0.9, 0.7])
@pytest.mark.parametrize("told", ["nothing", "the tag", "the tag and the length"])
def test_a_piece_of_the_picture_with_the_whole_ones_focal_length(shown, share, told):
    """A picture that was cut, or zoomed by the camera, which says so in one way or the other."""
    width, height = shown.size
    kept = round(width * share), round(height * share)
    left, top = (width - kept[0]) // 2, (height - kept[1]) // 2
    piece = shown.crop((left, top, left + kept[0], top + kept[1]))
    if told == "nothing":
        data = saved(piece, exif=notes())
    else:
        f35_mm = F35_MM if told == "the tag" else round(F35_MM / share)
        data = saved(
            piece.resize(shown.size, Image.Resampling.BICUBIC), exif=notes(f35_mm=f35_mm, zoom=1 / share)
        )
    assert holds(read(data))


def test_a_side_that_was_cut_off_leaves_the_middle_open(shown):
    width, height = shown.size
    piece = shown.crop((width // 5, 0, width, height))
    for data in (saved(piece, exif=notes(size=shown.size)), saved(piece)):  # by its notes; without any by its shape
        found = read(data)
        assert holds(found)
        assert any("was cut" in note for note in found.notes)


@pytest.mark.parametrize("stretch", [(1.04, 1.0), (1.0, 1.04)], ids=["wider", "taller"])
@pytest.mark.parametrize("told", ["nothing", "the length", "the length and the size"])
def test_a_picture_that_was_fitted_into_a_frame(shown, stretch, told):
    """Stretched in one direction by a program that keeps what the camera wrote, or none of it."""
    wide, high = (round(n * by) for n, by in zip(shown.size, stretch, strict=True))
    kept = {"nothing": None, "the length": notes(), "the length and the size": notes(size=shown.size)}[told]
    assert holds(read(saved(shown.resize((wide, high), Image.Resampling.BICUBIC), **({"exif": kept} if kept else {}))))


def shaken(picture, length_px):
    return Image.fromarray(cv2.filter2D(np.asarray(picture), -1, np.eye(length_px) / length_px))


@pytest.mark.parametrize(
    ("made", "cause"),
    [
        (lambda p: p.transpose(Image.Transpose.FLIP_LEFT_RIGHT), Cause.MIRRORED),
        (lambda p: p.transpose(Image.Transpose.ROTATE_180), Cause.UPSIDE_DOWN),
        (lambda p: p.transpose(Image.Transpose.ROTATE_90), Cause.UPSIDE_DOWN),
        (lambda p: shaken(p.resize((800, 600)), 13), Cause.BLURRED),
    ],
    ids=["a selfie", "upside down", "on its side", "shaken"],
)
def test_what_cannot_be_read_is_refused_for_its_own_cause(shown, made, cause):
    with pytest.raises(PhotoRefused) as refused:
        read(saved(made(shown)))
    assert refused.value.cause is cause
    assert refused.value.do


def test_two_hands_in_one_photo_are_told(shown):
    both = Image.new("RGB", (shown.width * 2, shown.height))
    both.paste(shown, (0, 0))
    both.paste(shown, (shown.width, 0))
    with pytest.raises(PhotoRefused, match="is there 2 times") as refused:
        read(saved(both))
    assert refused.value.cause is Cause.DOUBLED


@pytest.mark.parametrize("kind", ["TIFF", "GIF", "BMP"])
def test_other_kinds_of_pictures_are_refused_with_those_that_are_read(shown, kind):
    with pytest.raises(BadFile, match="JPEG, HEIC, PNG or WebP"):
        read(saved(shown.resize((200, 150)), kind))
