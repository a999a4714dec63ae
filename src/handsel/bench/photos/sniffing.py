"""What a file is, told by its first bytes and never by its name."""

from __future__ import annotations

SNIFF_BYTES = 4096
_HEIC = frozenset((b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx"))
_HEIF_GENERAL = frozenset((b"mif1", b"msf1"))


def kind_of(start: bytes) -> str:
    """One of "jpeg", "png", "webp", "heic"; empty when it is no photograph that is taken here."""
    if start.startswith(b"\xff\xd8\xff"):
        return "jpeg"
    if start.startswith(b"\x89PNG\r\n\x1a\n"):
        return "png"
    if start[:4] == b"RIFF" and start[8:12] == b"WEBP":
        return "webp"
    if start[4:8] == b"ftyp":
        return _heif(start)
    return ""


def _heif(start: bytes) -> str:
    size = int.from_bytes(start[:4], "big")
    brands = {start[i : i + 4] for i in range(8, min(max(size, 12), len(start)), 4) if i != 12}
    if brands & _HEIC:
        return "heic"
    # The general brand alone may hold other codings too; the decoder has the last word.
    return "heic" if start[8:12] in _HEIF_GENERAL and b"avif" not in brands else ""


def called(start: bytes) -> str:
    """What it looks like instead, for the person who sent it."""
    head = start[:512].lstrip().lower()
    if not start:
        return "it is empty"
    if start[4:8] == b"ftyp":
        return "it is a film, or a kind of picture that is not taken here"
    if head.startswith((b"<svg", b"<?xml")) or b"<svg" in head:
        return "it is a drawing file (SVG)"
    if head.startswith((b"<!doctype", b"<html", b"<script")):
        return "it is a web page"
    for sign, word in (
        (b"%PDF", "a PDF"),
        (b"PK\x03\x04", "a zip file or office document"),
        (b"GIF8", "a GIF"),
        (b"BM", "a bitmap file (BMP)"),
        (b"II*\x00", "a TIFF or camera raw file"),
        (b"MM\x00*", "a TIFF or camera raw file"),
        (b"\x1a\x45\xdf\xa3", "a film"),
    ):
        if start.startswith(sign):
            return f"it is {word}"
    return "it is no kind of picture that is known here"
