"""A bracket that carries the cuff's tag card and takes its direction from the straight back of the cuff.

As printed, seen along the cuff (y to the right, z up):        in use, turned over, on the cuff's back:

              | |  wall, the card's seat                        clip ->]________________
              | |  is in its outer face                        ________|______________  |  <- plate
              |_|                                              cuff's back ________   | |
     _______ /  |                                                               bend \\ | |  <- wall, card
    |___________|  plate; its upper face lies on the cuff                         wing || |     outside

It is alike toward both ends, so one piece serves both sides of a hand, and no measure of it depends on the
hand's scale: the card does not grow. An office clip or a rubber band holds it.
"""

from __future__ import annotations

from handsel.design import fits
from handsel.design.solids import Solid, box, cut, disc, prism, profile, rectangle, union

LENGTH_MM = 34.0  # along the cuff
PLATE_MM, DEEP_MM = (
    2.4,
    38.0,
)  # its thickness; from the wall's outer face: past the bend, 22 mm on the flat back
WALL_MM = 3.4
BELOW_MM = 13.0  # from the cuff's back down to the card's middle
SEAT_GAP_MM, SEAT_DEEP_MM = 0.15, 0.6  # air round the card, and how far its seat is let in
FILLET_MM = 3.0  # in the inner corner; no bend that is formed warm is tighter
BAND_MM = 2.5  # notch for a rubber band


def card_carrier() -> Solid:
    """The bracket as it is printed: no support, the plate's outer face on the bed.

    Parameters: none.
    Returns: a solid, x along the cuff, its lowest point at z = 0 [mm].
    Raises: nothing of its own.
    Valid for: cuffs with a straight back at least 22 mm wide beside the bend, formed round 3 mm or more.
    Source: own shape.
    Checked by: unit/test_card_carrier.py
    """
    half, seat = LENGTH_MM / 2, fits.TAG_CARD_MM / 2 + SEAT_GAP_MM
    middle = PLATE_MM + BELOW_MM
    top = middle + seat + 1.2  # a ledge below the card keeps it square
    plate = prism(rectangle((-half, half), (-DEEP_MM, 0.0), 2.0), 0.0, PLATE_MM, "z")
    edge = box((-half, half), (-6.0, 0.0), (0.0, PLATE_MM))  # square where the wall stands
    wall = prism(rectangle((-half, half), (0.0, top), 0.0), -WALL_MM, 0.0, "y")
    corner = profile(
        [
            (-WALL_MM - FILLET_MM, PLATE_MM),
            (-WALL_MM, PLATE_MM),
            (-WALL_MM, PLATE_MM + FILLET_MM),
        ]
    ) - disc(FILLET_MM, (-WALL_MM - FILLET_MM, PLATE_MM + FILLET_MM), 64)
    fillet = prism(corner, -half, half, "x")
    pocket = box((-seat, seat), (-SEAT_DEEP_MM, 1.0), (middle - seat, middle + seat))
    notches = [
        box((s * half - BAND_MM / 2, s * half + BAND_MM / 2), (-26.0, -18.0), (-1.0, PLATE_MM + 1.0))
        for s in (-1.0, 1.0)
    ]
    return cut(union([plate, edge, wall, fillet]), [pocket, *notches])
