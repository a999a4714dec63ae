"""linden's geometry from about forty measures, as the tables of a design file.

The measures are the search space of `studies/linden_search.py`; the chosen set is written to
`src/handsel/data/designs/linden.toml` by `python studies/linden_geometry.py`. Shapes are our own.
"""

from __future__ import annotations

from dataclasses import replace
from math import cos, radians, sin
from pathlib import Path
from typing import Any

import numpy as np
from linden_measures import FINGERS, Measures, Table
from linden_parts import part_tables, weighed, write_outlines


def r3(values: Any) -> list[float]:
    return [round(float(v), 3) for v in values]


def finger_y(m: Measures, k: int) -> float:
    return (1.5 - k) * m.knuckle_spacing_mm


def finger_tip_mm(m: Measures, k: int) -> float:
    return m.tip_long_mm if k in (1, 2) else m.tip_short_mm


class Frame:
    """A digit's own frame: along, toward the pad side, and along the hinge axis."""

    def __init__(self, origin: Any, along: Any, axis: Any) -> None:
        self.o, self.d, self.a = (np.asarray(v, float) for v in (origin, along, axis))
        self.p = np.cross(self.a, self.d)

    def at(self, along: float, pad: float, across: float = 0.0) -> list[float]:
        return r3(self.o + along * self.d + pad * self.p + across * self.a)


def thumb_frame(m: Measures) -> Frame:
    az, dr, ro = (radians(v) for v in (m.thumb_azimuth_deg, m.thumb_drop_deg, m.thumb_roll_deg))
    d = np.array([cos(az) * cos(dr), sin(az) * cos(dr), -sin(dr)])
    down = np.array([0.0, 0.0, -1.0]) - d * d[2] * -1.0
    down /= np.linalg.norm(down)
    side = np.cross(down, d)  # toward the little finger when the thumb points forward
    pad = cos(ro) * down + sin(ro) * (side if side[1] < 0 else -side)
    axis = np.cross(d, pad)
    return Frame(m.thumb_base_mm, d, axis)


def finger_frame(m: Measures, k: int) -> Frame:
    origin = (m.knuckle_x_mm - m.knuckle_setback_mm[k], finger_y(m, k), 0.0)
    return Frame(origin, (1.0, 0.0, 0.0), (0.0, 1.0, 0.0))


def leg_points(
    m: Measures,
    f: Frame,
    digit: str,
    start: Table,
    guide: list[Table],
    knuckle: float,
    tip: float,
    length: float,
    exit_below: float,
    exit_behind: float,
) -> list[Table]:
    prox, end = f"{digit}_proximal", f"{digit}_tip"
    return [
        start,
        *guide,
        {"body": "palm", "at_mm": f.at(-exit_behind, exit_below)},
        {"body": prox, "at_mm": f.at(m.entry_ahead_mm, knuckle)},
        {"body": prox, "at_mm": f.at(length - m.tip_route_mm, tip)},
        {"body": end, "at_mm": f.at(length + m.tip_route_mm, tip)},
    ]


def elastic_points(
    m: Measures, f: Frame, digit: str, knuckle: float, tip: float, length: float
) -> list[Table]:
    return [
        {"body": "palm", "at_mm": f.at(-22.0, -knuckle)},
        {"body": f"{digit}_proximal", "at_mm": f.at(10.0, -knuckle)},
        {"body": f"{digit}_proximal", "at_mm": f.at(length - 9.0, -tip)},
        {"body": f"{digit}_tip", "at_mm": f.at(length + 10.0, -tip)},
    ]


def tables(m: Measures) -> Table:
    """The whole design file as nested tables, in the order in which they are written."""
    frames = {name: finger_frame(m, k) for k, name in enumerate(FINGERS)}
    frames["thumb"] = thumb_frame(m)
    lengths = {name: (m.proximal_mm, finger_tip_mm(m, k)) for k, name in enumerate(FINGERS)}
    lengths["thumb"] = (m.thumb_proximal_mm, m.thumb_tip_mm)
    pivot = [-m.pivot_behind_mm, 0.0, m.pivot_up_mm]
    bodies = [
        {"name": "palm", "com_mm": [32.0, 0.0, 0.0], "printed_mass_g": 78.0, "hardware_mass_g": 8.0},
        {
            "name": "cuff",
            "com_mm": [-62.0, 0.0, 6.0],
            "printed_mass_g": m.cuff_printed_g,
            "hardware_mass_g": m.cuff_hardware_g,
        },
        {"name": "whippletree", "com_mm": pivot, "printed_mass_g": 1.5, "hardware_mass_g": 0.5},
        {
            "name": "thumb_pin",
            "com_mm": [-m.thumb_pin_behind_mm, 24.0, m.thumb_pin_up_mm],
            "printed_mass_g": 0.8,
            "hardware_mass_g": 0.4,
        },
    ]
    hinges: list[Table] = [
        {
            "name": "wrist",
            "parent": "palm",
            "child": "cuff",
            "origin_mm": [0.0, 0.0, 0.0],
            "axis": [0.0, 1.0, 0.0],
            "min_deg": -75.0,
            "max_deg": 85.0,
            "friction_nmm": 5.0,
            "u_friction_nmm": 2.5,
        },
        {
            "name": "whippletree",
            "parent": "cuff",
            "child": "whippletree",
            "origin_mm": pivot,
            "axis": [0.0, 0.0, -1.0],
            "min_deg": -25.0,
            "max_deg": 25.0,
            "friction_nmm": 0.5,
            "u_friction_nmm": 0.3,
        },
    ]
    digits, elastics, pads = [], [], []
    for name, f in frames.items():
        thumb = name == "thumb"
        prox, tip = lengths[name]
        half = 8.5 if thumb else 7.0
        bodies += [
            {
                "name": f"{name}_proximal",
                "com_mm": f.at(prox / 2, 0.0),
                "printed_mass_g": 7.2 if thumb else 5.4,
                "hardware_mass_g": 0.6,
            },
            {
                "name": f"{name}_tip",
                "com_mm": f.at(prox + tip * 0.45, 0.5),
                "printed_mass_g": 6.6 if thumb else (5.6 if tip > 36 else 4.9),
                "hardware_mass_g": 0.5,
            },
        ]
        hinges += [
            {
                "name": f"{name}_knuckle",
                "parent": "palm",
                "child": f"{name}_proximal",
                "origin_mm": r3(f.o),
                "axis": [round(float(v), 6) for v in f.a],
                "min_deg": 0.0,
                "max_deg": m.thumb_knuckle_max_deg if thumb else m.knuckle_max_deg,
                "friction_nmm": 0.8,
                "u_friction_nmm": 0.5,
            },
            {
                "name": f"{name}_middle_joint",
                "parent": f"{name}_proximal",
                "child": f"{name}_tip",
                "origin_mm": f.at(prox, 0.0),
                "axis": [round(float(v), 6) for v in f.a],
                "min_deg": 0.0,
                "max_deg": m.thumb_tip_max_deg if thumb else m.tip_max_deg,
                "friction_nmm": 0.6,
                "u_friction_nmm": 0.4,
            },
        ]
        digits.append(
            {"name": name, "proximal_hinge": f"{name}_knuckle", "tip_hinge": f"{name}_middle_joint"}
        )
        ek, et = (
            (m.thumb_elastic_knuckle_mm, m.thumb_elastic_tip_mm)
            if thumb
            else (m.finger_elastic_knuckle_mm, m.finger_elastic_tip_mm)
        )
        elastics.append(
            {
                "digit": name,
                "axial_stiffness_n": m.elastic_stiffness_n,
                "pretension_ratio": m.thumb_pretension_ratio if thumb else m.elastic_pretension_ratio,
                "loss_ratio": 0.12,
                "u_pretension_ratio": 0.03,
                "wraps": [
                    {"hinge": f"{name}_knuckle", "radius_mm": ek, "side": "back"},
                    {"hinge": f"{name}_middle_joint", "radius_mm": et, "side": "back"},
                ],
                "points": elastic_points(m, f, name, ek, et, prox),
            }
        )
        pads += [
            {
                "digit": name,
                "segment": "proximal",
                "centre_mm": f.at(prox * 0.6, half - 6.0),
                "radius_mm": 6.0,
            },
            {
                "digit": name,
                "segment": "tip",
                "centre_mm": f.at(prox + tip - 9.0, half - 6.0),
                "radius_mm": 6.0,
            },
        ]
    design = {
        "format": "handsel-design/1",
        "name": "linden",
        "title": "linden, the demonstration hand",
        "version": "1.0.0",
        "source": "Our own drawing from simple shapes; geometry searched with the engine, docs/decisions",
        "length_unit": "mm",
        "scale_min_ratio": 0.7,
        "scale_max_ratio": 1.3,
        "target_rest_angle_deg": m.target_rest_angle_deg,
        "palm_plane_z_mm": -12.0,
        "palm_front_x_mm": m.knuckle_x_mm - 8.0,
        "wrist_barrel_radius_mm": m.wrist_barrel_mm,
        "body": bodies,
        "hinge": hinges,
        "slide": slides(m),
        "digit": digits,
        "cord": cords(m, frames, lengths),
        "elastic": elastics,
        "pad": pads,
        "gauge": gauges(m),
        "pose": pose(m),
    }
    return design | part_tables(m, design)


def slides(m: Measures) -> list[Table]:
    return [
        {
            "name": "tension",
            "body": "whippletree",
            "direction": [-1.0, 0.0, 0.0],
            "min_mm": 0.0,
            "max_mm": 8.0,
            "pitch_mm_per_turn": 0.5,
            "screw_count": 2,
            "screw_spacing_mm": 20.0,
        },
        {
            "name": "thumb_pin",
            "body": "thumb_pin",
            "direction": [-1.0, 0.0, 0.0],
            "min_mm": -4.0,
            "max_mm": 6.0,
            "screw_count": 0,
            "screw_spacing_mm": 0.0,
        },
    ]


def cords(m: Measures, frames: dict[str, Frame], lengths: dict[str, tuple[float, float]]) -> list[Table]:
    common = {
        "axial_stiffness_n": 4000.0,
        "friction_mu": 0.2,
        "u_friction_mu": 0.05,
        "knot_seating_mm": 0.5,
        "u_knot_seating_mm": 0.5,
        "cut_tolerance_mm": 1.0,
    }

    def finger_leg(k: int) -> Table:
        name = FINGERS[k]
        end = m.bar_half_width_mm if k < 2 else -m.bar_half_width_mm
        gy = end + (1.5 if k % 2 == 0 else -1.5)
        start = {"body": "whippletree", "at_mm": [-m.pivot_behind_mm, end, m.pivot_up_mm]}
        guide = [{"body": "palm", "at_mm": [m.guide_ahead_mm, gy, m.guide_up_mm]}]
        points = leg_points(
            m,
            frames[name],
            name,
            start,
            guide,
            m.finger_cord_knuckle_mm,
            m.finger_cord_tip_mm,
            lengths[name][0],
            m.exit_below_mm,
            m.exit_behind_mm,
        )
        wraps = (
            [{"hinge": f"{name}_knuckle", "radius_mm": m.knuckle_wrap_mm, "side": "palm"}]
            if m.knuckle_wrap_mm
            else []
        )
        return {"digit": name, "wraps": wraps, "points": points}

    start = {"body": "thumb_pin", "at_mm": [-m.thumb_pin_behind_mm, 24.0, m.thumb_pin_up_mm]}
    guide = [{"body": "palm", "at_mm": [m.thumb_guide_ahead_mm, 24.0, m.thumb_guide_up_mm]}]
    thumb = leg_points(
        m,
        frames["thumb"],
        "thumb",
        start,
        guide,
        m.thumb_cord_knuckle_mm,
        m.thumb_cord_tip_mm,
        lengths["thumb"][0],
        m.exit_below_mm,
        m.exit_behind_mm,
    )
    return [
        {
            "name": "loop_a",
            "eyelet_turn_deg": 180.0,
            "knot_count": 2,
            "tail_mm": 100.0,
            **common,
            "leg": [finger_leg(0), finger_leg(1)],
        },
        {
            "name": "loop_b",
            "eyelet_turn_deg": 180.0,
            "knot_count": 2,
            "tail_mm": 100.0,
            **common,
            "leg": [finger_leg(2), finger_leg(3)],
        },
        {
            "name": "thumb_cord",
            "eyelet_turn_deg": 0.0,
            "knot_count": 2,
            "tail_mm": 100.0,
            **common,
            "leg": [{"digit": "thumb", "wraps": [], "points": thumb}],
        },
    ]


def gauges(m: Measures) -> list[Table]:
    x = m.knuckle_x_mm - 14.0
    return [
        {
            "diameter_mm": d,
            "axis": [0.0, 1.0, 0.0],
            "against_mm": [x - 0.25 * d, 0.0, -12.0],
            "normal": [0.0, 0.0, -1.0],
        }
        for d in (25.0, 50.0)
    ]


def pose(m: Measures) -> Table:
    return {
        "support_mm": [
            [2.0, -26.0],
            [m.knuckle_x_mm - 16.0, -26.0],
            [m.knuckle_x_mm - 16.0, 26.0],
            [2.0, 26.0],
        ],
        "stand_height_mm": 120.0,
        "base_z_mm": -12.0,
    }


def variant(**changes: Any) -> Measures:
    return replace(Measures(), **changes)


def toml_text(value: Table, prefix: str = "") -> str:
    """Plain tables as TOML: scalars first, then arrays of tables."""
    lines, later = [], []
    for key, item in value.items():
        if isinstance(item, dict):
            later.append(f"\n[{prefix}{key}]\n{toml_text(item, f'{prefix}{key}.')}")
        elif isinstance(item, list) and item and isinstance(item[0], dict) and key in {"leg"} | TOP_ARRAYS:
            later += [f"\n[[{prefix}{key}]]\n{toml_text(x, f'{prefix}{key}.')}" for x in item]
        else:
            lines.append(f"{key} = {inline(item)}")
    return "\n".join(lines) + "\n" + "".join(later)


TOP_ARRAYS = {
    "body",
    "hinge",
    "slide",
    "digit",
    "cord",
    "elastic",
    "pad",
    "gauge",
    "part",
    "hardware",
    "reference_dimension",
    "tag_pad",
}


def inline(item: Any) -> str:
    if isinstance(item, str):
        return '"' + item + '"'
    if isinstance(item, bool):
        return "true" if item else "false"
    if isinstance(item, dict):
        return "{ " + ", ".join(f"{k} = {inline(v)}" for k, v in item.items()) + " }"
    if isinstance(item, list | tuple):
        if item and isinstance(item[0], dict):
            return "[\n" + "".join(f"  {inline(v)},\n" for v in item) + "]"
        return "[" + ", ".join(inline(v) for v in item) + "]"
    return repr(item)


if __name__ == "__main__":
    target = Path(__file__).parents[1] / "src/handsel/data/designs/linden.toml"
    target.parent.mkdir(parents=True, exist_ok=True)
    design = weighed(tables(Measures()))
    target.write_text(toml_text(design), encoding="utf-8")
    print(target, write_outlines(design, target.parent), sep="\n")
