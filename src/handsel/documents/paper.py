"""What all papers share: the hand as a paper names it, text made fit to be set, and the typesetter."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from math import isfinite
from pathlib import Path
from typing import Any, Literal

from handsel.documents.qr import qr_svg
from handsel.errors import OutOfRange, Unsolved

FOLDER = Path(__file__).parent
FONTS = FOLDER / "fonts"  # what the typesetter does not bring along
JOINERS = "\u200b\u200c\u200d"  # may break here, do not join, join: harmless, and some scripts need them
CODE_LENGTH = 6
BREAK_EVERY = 6  # letters


@dataclass(frozen=True, slots=True, kw_only=True)
class TextOnPaper:
    """A design or a protocol by its name, version and the fingerprint of its text."""

    name: str
    version: str
    sha256: str

    def short(self) -> str:
        """Name, version and the first twelve figures of the fingerprint."""
        return f"{fitted(self.name, 40)} {fitted(self.version, 16)} ({fitted(self.sha256[:12], 12)})"


@dataclass(frozen=True, slots=True, kw_only=True)
class HandOnPaper:
    """One hand as every paper names it."""

    code: str  # six characters, the last one a check character
    url: str  # what its QR code opens
    recipient: str  # a code, never a name
    serial: str
    side: Literal["left", "right"]
    scale_ratio: float
    design: TextOnPaper
    protocol: TextOnPaper
    target_rest_angle_deg: float | None = None
    latex_sensitive: bool = False

    def __post_init__(self) -> None:
        if not (len(self.code) == CODE_LENGTH and self.code.isascii() and self.code.isalnum()):
            raise OutOfRange(
                f"the code is {self.code[:20]!r}; expected six letters and digits",
                where="a hand on paper",
                do="Take the code from the hand's label, without the hyphen.",
            )
        if not (isfinite(self.scale_ratio) and 0 < self.scale_ratio < 10):
            raise OutOfRange(
                f"the scale is {self.scale_ratio:g}; expected a ratio such as 1.15",
                where=f"hand {shown_code(self.code)}",
                do="Give the scale as a ratio, 1.15 for 115 %.",
            )

    def scale(self) -> str:
        """The scale in per cent."""
        return f"{100.0 * self.scale_ratio:.4g} %"

    def on_page(self) -> dict[str, Any]:
        """What the templates set of a hand."""
        target = self.target_rest_angle_deg
        return {
            "code": shown_code(self.code),
            "qr": qr_svg(self.url, title=f"QR code of hand {shown_code(self.code)}"),
            "recipient": fitted(self.recipient, 24, word=12),
            "serial": fitted(self.serial, 40, word=14),
            "side": self.side,
            "scale": self.scale(),
            "design": self.design.short(),
            "protocol": self.protocol.short(),
            "target": "" if target is None or not isfinite(target) else f"{target:.3g}°",
            "latex": self.latex_sensitive,
        }


def shown_code(code: str) -> str:
    """A hand's code as people read it aloud: two times three characters.

    Parameters: code, six characters.    Returns: "K7M-2QX".    Raises: nothing.
    Valid for: codes of six; others are left whole.    Source: own rule.
    Checked by: unit/test_documents_paper.py
    >>> shown_code("k7m2qx")
    'K7M-2QX'
    """
    return f"{code[:3]}-{code[3:]}".upper() if len(code) == CODE_LENGTH else code


def fitted(text: str, length: int, *, word: int = 20) -> str:
    """Text on one line, not longer than asked, in which no word is too wide for its column.

    Parameters: text, any; length, characters kept [-]; word, the longest that is left whole; a longer one
        may break at every few of its letters [-].
    Returns: text, with an ellipsis where something was left out.
    Raises: nothing.    Valid for: any text, right-to-left and hostile ones too.
    Source: own rule.    Checked by: unit/test_documents_paper.py
    """
    plain = safe(" ".join(text.split()))
    if len(plain) > length:
        plain = plain[: length - 1].rstrip() + "…"
    step = min(word, BREAK_EVERY)
    return " ".join(
        "\u200b".join(w[k : k + step] for k in range(0, len(w), step)) if len(w) > word else w
        for w in plain.split(" ")
    )


def safe(text: str) -> str:
    """Text without control characters, lone surrogates and marks that turn the reading direction.

    Parameters: text, any.    Returns: text.    Raises: nothing.    Valid for: any text.
    Source: own rule.    Checked by: unit/test_documents_paper.py
    """
    return "".join(c for c in text if c.isprintable() or c in JOINERS)


def moment(at: datetime | None) -> str:
    """A time as it is written on every paper, in the day's own clock: "2026-11-25 14:05".

    Parameters: at, or None when it is not known.    Returns: text, "" for None.    Raises: nothing.
    Valid for: any time; the caller has put it into local time.    Source: ISO 8601, to the minute.
    Checked by: unit/test_documents_paper.py
    """
    return "" if at is None else f"{at:%Y-%m-%d %H:%M}"


def typeset(template: str, page: Mapping[str, Any], *, where: str, tagged: bool = True) -> bytes:
    """A template of this folder filled with data, as PDF; the same bytes for the same data.

    Words go in as data and are never read as markup. Whatever the caller let through, no control
    character reaches the typesetter.

    Parameters: template, file name; page, plain data; where, the paper as the user knows it; tagged,
        whether the PDF says what is a heading and what a table. A form for the pen is read by nobody's
        screen reader, and without tags fifty of them take 2 MB instead of 11.
    Returns: PDF.
    Raises: Unsolved when the page cannot be set.
    Valid for: the templates beside this module, with embedded fonts and those of the folder fonts.
    Source: own layout.    Checked by: unit/test_documents_paper.py
    """
    import typst  # not at load: only who prints needs it

    try:
        made = typst.compile(
            FOLDER / template,
            root=FOLDER,
            font_paths=[FONTS],
            ignore_system_fonts=True,
            format="pdf",
            sys_inputs={"page": json.dumps(_made_safe(page))},
            timestamp=0,
            pdf_tags=tagged,
        )
    except typst.TypstError as error:
        raise Unsolved(
            f"the page could not be set: {error}",
            where=where,
            do="Use what the screen shows, and report this.",
        ) from error
    if not isinstance(made, bytes):  # a list of pages comes for pictures only
        raise Unsolved("no PDF came back", where=where, do="Use what the screen shows, and report this.")
    return made


def _made_safe(value: Any) -> Any:
    if isinstance(value, str):
        return safe(value)
    if isinstance(value, Mapping):
        return {key: _made_safe(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_made_safe(inner) for inner in value]
    return value
