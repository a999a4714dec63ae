"""Sizes that stay the same whatever the scale of a hand: bought items, and gaps that a printer needs.

A hand printed at 115 % still takes M3 screws, the same cord and the same elastic, and two printed
faces still need the same air between them. So these sizes are here and not among the measures of a
part, which grow with the hand.

Source: M3 clearance hole, medium fit, 3.4 mm: ISO 273 (from memory; a fact of the trade). M3 socket
head 5.5 mm wide, 3 mm high: ISO 4762 (from memory). The rest are choices of our own, see
docs/decisions/.
"""

from __future__ import annotations

# bought items
CORD_MM = 1.0
CORD_HOLE_MM = 1.8  # one cord slides freely in it
ELASTIC_MM = 2.0
ELASTIC_HOLE_MM = 2.6
KNOT_POCKET_MM = 4.0  # room for a doubled knot and its drop of glue
SCREW_CLEARANCE_MM = 3.4
SCREW_THREAD_HOLE_MM = 2.7  # an M3 screw cuts its own thread in PLA
TAG_CARD_MM = 24.0
TAG_RIM_MM = 0.6  # round the card on its seat
STRAP_SLOT_MM = 3.2  # across; the length of the slot is the strap's width

# printed pins: one size at every scale, so that one gauge and one drill serve the whole build day
PIN_MM = 3.5
PIN_HOLE_MM = 3.8
PIN_BARB_MM = 4.5
PIN_BARB_LENGTH_MM = 1.0
PIN_RECESS_MM = 5.4  # in the outer face, so that the barb lies below it
PIN_RECESS_DEPTH_MM = 1.3
PIN_SLIT_MM = 0.9
PIN_THROAT_MM = 3.1  # of an open fork: the pin is pressed through it and stays behind it
WRIST_PIN_MM = 5.0
WRIST_PIN_HOLE_MM = 5.3
WRIST_PIN_BARB_MM = 6.0
WRIST_PIN_RECESS_MM = 7.0

# between printed faces
SIDE_GAP_MM = 0.3  # beside a tongue in its fork
END_GAP_MM = 0.5  # round the end of a tongue
STOP_GAP_MM = 0.15  # at the stop that keeps a digit from bending backward
SLIDE_GAP_MM = 0.3  # round a part that slides in another
MIN_WALL_MM = 1.2  # three lines of a 0.4 mm nozzle
