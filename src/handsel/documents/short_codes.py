"""Short codes: S12 for the twelfth thing looked at when strung. The same on paper and on every screen."""

from __future__ import annotations

from handsel.inspection.protocol import Characteristic, Protocol

# Letters that a pen or a poor print does not turn into a digit or into each other.
CLEAR = "PDSFTABCEGHJKLMNRUVWXYZ"


def in_order(protocol: Protocol) -> tuple[Characteristic, ...]:
    """All characteristics in the order of work: hold points, then how the hand is held, then as written.

    Parameters: protocol.    Returns: characteristics, each once.    Raises: nothing.
    Valid for: any protocol that was loaded.    Source: own rule.
    Checked by: unit/test_documents_short_codes.py
    """
    groups = [g.id for h in protocol.hold_points for g in h.groups]
    return tuple(c for g in groups for c in protocol.characteristics if c.held == g)


def hold_point_letters(protocol: Protocol) -> dict[str, str]:
    """The letter of each hold point: its own first letter, or the next of its title that is still free.

    Parameters: protocol.    Returns: letters by id of the hold point, all different.    Raises: nothing.
    Valid for: any number of hold points; past the letters there are, two letters together.
    Source: own rule.    Checked by: unit/test_documents_short_codes.py
    """
    letters: dict[str, str] = {}
    pairs = (a + b for a in CLEAR for b in CLEAR)
    for h in protocol.hold_points:
        wished = [c for c in (h.id + h.title).upper() if c in CLEAR]
        free = next((c for c in (*wished, *CLEAR) if c not in letters.values()), "")
        letters[h.id] = free or next(pairs)
    return letters


def short_codes(protocol: Protocol) -> dict[str, str]:
    """The short code of every characteristic: letter of its hold point and its number there, "S12".

    Parameters: protocol.
    Returns: codes by id of the characteristic, in the order of work; the same protocol text gives the
        same codes, and a protocol that only adds at the end of a hold point keeps them.
    Raises: nothing.    Valid for: any protocol that was loaded.
    Source: own rule.    Checked by: unit/test_documents_short_codes.py
    """
    letters = hold_point_letters(protocol)
    counted: dict[str, int] = {}
    codes = {}
    for c in in_order(protocol):
        counted[c.hold_point] = counted.get(c.hold_point, 0) + 1
        codes[c.id] = f"{letters[c.hold_point]}{counted[c.hold_point]}"
    return codes
