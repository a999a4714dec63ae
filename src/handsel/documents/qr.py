"""QR codes as SVG, for screens and for paper."""

from __future__ import annotations

from functools import lru_cache

from handsel.errors import OutOfRange

QUIET_MODULES = 4  # white round the code; a reader needs it to find the code at all
LONGEST = 300  # characters; more would make modules too fine for a label


def qr_svg(content: str, *, title: str = "QR code") -> str:
    """A QR code as one line of SVG, black on its own white ground so that it reads on a dark page too.

    Only presentation attributes are used, no styles, so it may stand in a page whose policy forbids them.

    Parameters: content, what a phone shall read, mostly an address; title, what a screen reader says.
    Returns: SVG text; its size is in modules, whoever shows it sets the width.
    Raises: OutOfRange for empty or overlong content.
    Valid for: 1 to 300 characters. Errors up to about 15 % of the code are mended (level M); where a
        higher level costs no more modules it is taken.
    Source: ISO/IEC 18004: four modules of quiet zone, levels of correction; the symbol by segno.
    Checked by: unit/test_documents_qr.py
    """
    rows = qr_modules(content)
    side = len(rows) + 2 * QUIET_MODULES
    runs = []
    for y, row in enumerate(rows):
        x = 0
        while x < len(row):
            length = 0
            while x + length < len(row) and row[x + length]:
                length += 1
            if length:
                runs.append(f"M{x + QUIET_MODULES} {y + QUIET_MODULES}h{length}v1h-{length}z")
            x += length or 1
    named = "".join(c for c in title if c.isprintable())
    for plain, safe in (("&", "&amp;"), ("<", "&lt;"), (">", "&gt;")):
        named = named.replace(plain, safe)
    path = f'<path fill="#000000" d="{"".join(runs)}"/>'
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {side} {side}" role="img" '
        f'shape-rendering="crispEdges"><title>{named}</title>'
        f'<rect width="{side}" height="{side}" fill="#ffffff"/>{path}</svg>'
    )


@lru_cache(maxsize=256)  # a page asks for its size first and then for its shape
def qr_modules(content: str) -> tuple[tuple[bool, ...], ...]:
    """The modules of a QR code without its quiet zone, True for dark.

    Parameters: content as qr_svg.
    Returns: rows of modules, square.    Raises: as qr_svg.    Valid for: as qr_svg.
    Source: as qr_svg.    Checked by: unit/test_documents_qr.py
    """
    import segno  # not at load: the command line draws no codes

    if not 1 <= len(content) <= LONGEST:
        raise OutOfRange(
            f"the text of the QR code has {len(content)} characters; expected 1 to {LONGEST}",
            where="QR code",
            do="Set a shorter address for this computer.",
        )
    try:
        made = segno.make(content, error="m", micro=False)
    except UnicodeEncodeError:
        raise OutOfRange(
            "the text of the QR code holds a character that cannot be written",
            where="QR code",
            do="Type the address again.",
        ) from None
    return tuple(tuple(bool(m) for m in row) for row in made.matrix)
