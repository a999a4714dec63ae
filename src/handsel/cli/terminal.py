"""How text reaches the terminal: never wider than is read with ease, never a crash over a letter."""

from __future__ import annotations

import sys
from io import TextIOWrapper
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.console import Console

WIDEST, WITHOUT_TERMINAL = 96, 80


def console(*, stderr: bool = False) -> Console:
    """A rich console for plain reading: no markup, no guessing at numbers, at most WIDEST columns.

    Colour follows the terminal and NO_COLOR; in a pipe there is none and lines are 80 wide.
    """
    from rich.console import Console

    stream = sys.stderr if stderr else sys.stdout
    if isinstance(stream, TextIOWrapper):
        stream.reconfigure(errors="replace")  # an old code page shows "?", it does not stop the work
    made = Console(stderr=stderr, markup=False, highlight=False, emoji=False)
    made.width = min(made.width, WIDEST) if made.is_terminal else WITHOUT_TERMINAL
    return made


def signs(out: Console) -> dict[str, str]:
    """Marks for what holds, what does not and what is open, in letters the terminal has."""
    if (out.encoding or "").lower().replace("-", "").startswith("utf"):
        return {"yes": "✓", "no": "✗", "open": "?", "box": "☐", "dot": "·"}
    return {"yes": "+", "no": "x", "open": "?", "box": "[ ]", "dot": "-"}
