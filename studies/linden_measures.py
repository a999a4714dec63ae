"""The demonstration hand in numbers: what its geometry and its parts are both made from. Our own."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

Table = dict[str, Any]
FINGERS = ("index", "middle", "ring", "little")


@dataclass(frozen=True, slots=True, kw_only=True)
class Measures:
    """Millimetres and degrees at scale 1, right hand; see handsel.design for the frame."""

    # fingers
    knuckle_x_mm: float = 75.0
    knuckle_spacing_mm: float = 18.0
    knuckle_setback_mm: tuple[float, float, float, float] = (3.0, 0.0, 3.0, 9.0)
    proximal_mm: float = 32.0
    tip_short_mm: float = 34.0
    tip_long_mm: float = 40.0
    finger_cord_knuckle_mm: float = 7.8
    finger_cord_tip_mm: float = 6.1
    exit_below_mm: float = 6.7
    exit_behind_mm: float = 8.5
    entry_ahead_mm: float = 8.5
    tip_route_mm: float = 8.0
    knuckle_wrap_mm: float = 0.0
    finger_elastic_knuckle_mm: float = 6.5
    finger_elastic_tip_mm: float = 5.6
    knuckle_max_deg: float = 90.0
    tip_max_deg: float = 85.0
    # thumb
    thumb_base_mm: tuple[float, float, float] = (40.7, 43.9, -20.3)
    thumb_azimuth_deg: float = 50.8  # of its straight direction, from x toward the thumb side
    thumb_drop_deg: float = 20.0  # below the palm plane
    thumb_roll_deg: float = 63.5  # turns the flexion plane: 0 flexes straight down, 90 flexes sideways
    thumb_proximal_mm: float = 40.0
    thumb_tip_mm: float = 33.6
    thumb_cord_knuckle_mm: float = 9.0
    thumb_cord_tip_mm: float = 6.3
    thumb_elastic_knuckle_mm: float = 6.0
    thumb_elastic_tip_mm: float = 4.6
    thumb_knuckle_max_deg: float = 80.0
    thumb_tip_max_deg: float = 80.0
    # wrist
    guide_ahead_mm: float = 25.0
    guide_up_mm: float = 22.0
    pivot_behind_mm: float = 35.0
    pivot_up_mm: float = 22.0
    bar_half_width_mm: float = 14.0
    thumb_pin_behind_mm: float = 35.0
    thumb_pin_up_mm: float = 22.0
    thumb_guide_ahead_mm: float = 25.0
    thumb_guide_up_mm: float = 22.0
    wrist_barrel_mm: float = 7.0
    # elastics
    elastic_stiffness_n: float = 20.0
    elastic_pretension_ratio: float = 0.15
    thumb_pretension_ratio: float = 0.15
    # masses
    cuff_printed_g: float = 70.0
    cuff_hardware_g: float = 20.0
    # rest angle that the cords are strung to
    target_rest_angle_deg: float = 36.0
