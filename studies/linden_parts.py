"""linden's kit: parts, hardware, caliper checks and tag seats, all from its measures.

    python studies/linden_parts.py --masses     masses and centres of mass from the meshes

`part_tables` gives the tables of the design file; `weighed` puts the masses of the meshes into its
bodies. `python studies/linden_geometry.py` does both and writes the outlines too.
"""

from __future__ import annotations

import argparse
from math import ceil, pi
from pathlib import Path
from typing import Any

from linden_measures import FINGERS, Measures, Table

from handsel.data.load_design import design_from_data, load_design
from handsel.data.part_outlines import outlines_text
from handsel.design import fits
from handsel.design.model import Design
from handsel.design.outlines import part_outline
from handsel.design.weights import PLA_G_PER_CM3, body_weights, part_weight

SCREW_LENGTHS_MM = (6, 8, 10, 12, 16, 20, 25, 30, 35, 40, 45, 50)  # ISO 4762, M3; from memory

# Widths: a thumb part must be told from a finger part at a glance.
FINGER_WIDTH_MM, THUMB_WIDTH_MM = 14.0, 17.0
FINGER_PAD_MM, THUMB_PAD_MM = 7.0, 8.5  # half widths of the contact pads in the geometry
FINGER_TONGUE_MM, THUMB_TONGUE_MM = 6.0, 7.6
FINGER_LUG_MM, THUMB_LUG_MM = 5.5, 6.2
CUFF_MM = 3.0
CUFF_GAP_MM = 0.8  # between its arms and the palm's cheeks
BAR_DEPTH_MM, BAR_MM = 8.0, 4.2
WALL_MM = 3.4
SCREW_UP_MM = 1.4  # of the tension screws above the bar's middle, for a wall under their threads
CARRIER_WALL_MM, CARRIER_PLATE_MM = 6.0, 2.4
BLOCK_FLOOR_MM, REAR_WALL_MM = 5.6, 6.0
KEY_MM, KEY_HALF_MM, KEY_HEAD_MM = 26.0, 7.3, 2.8
KEY_BEHIND_MM = 7.4  # from the block's front to the slide's


def part_tables(m: Measures, design: Table) -> Table:
    """The tables part, hardware, reference_dimension and tag_pad for the tables of a geometry."""
    parts = [palm(m, design), *digits(m, design), *cuff_and_block(m, design), *pins(m, design)]
    return {
        "part": parts,
        "hardware": hardware(m, design),
        "reference_dimension": reference_dimensions(parts),
        "tag_pad": tag_pads(m, design),
    }


def part(
    name: str, title: str, body: str, shape: str, at_mm: Any, count: int = 1, **measures: float
) -> Table:
    return {
        "name": name,
        "title": title,
        "count": count,
        "body": body,
        "material": "PLA",
        "printed": True,
        "shape": shape,
        "at_mm": [round(float(v), 3) for v in at_mm],
        "measures": {"unit_mm": 1.0} | {k: round(float(v), 3) for k, v in measures.items()},
    }


def hinge(design: Table, name: str) -> Table:
    return next(h for h in design["hinge"] if h["name"] == name)


def elastic_heights(m: Measures, thumb: bool) -> tuple[float, float]:
    if thumb:
        return m.thumb_elastic_knuckle_mm, m.thumb_elastic_tip_mm
    return m.finger_elastic_knuckle_mm, m.finger_elastic_tip_mm


def cord_depths(m: Measures, thumb: bool) -> tuple[float, float]:
    if thumb:
        return m.thumb_cord_knuckle_mm, m.thumb_cord_tip_mm
    return m.finger_cord_knuckle_mm, m.finger_cord_tip_mm


def half_width(m: Measures) -> float:
    return 1.5 * m.knuckle_spacing_mm + FINGER_WIDTH_MM / 2


def palm(m: Measures, design: Table) -> Table:
    return part(
        "palm",
        "palm",
        "palm",
        "palm",
        (0.0, 0.0, 0.0),
        half_width_mm=half_width(m),
        wall_mm=WALL_MM,
        floor_mm=3.0,
        edge_mm=3.0,
        roof_over_mm=3.2,
        shoulder_mm=11.0,
        guide_behind_mm=2.0,
        guide_ahead_mm=4.0,
        wrist_boss_mm=8.0,
        floor_rear_mm=2.0,
        front_depth_mm=15.0,
        tag_plate_mm=2.6,
        window_rear_mm=9.0,
        window_length_mm=27.0,
        window_half_mm=19.0,
        finger_width_mm=FINGER_WIDTH_MM,
        finger_tongue_mm=FINGER_TONGUE_MM,
        finger_lug_radius_mm=FINGER_LUG_MM,
        finger_pitch_mm=m.knuckle_spacing_mm,
        knuckle_ahead_mm=m.knuckle_x_mm - design["palm_front_x_mm"],
        thumb_width_mm=THUMB_WIDTH_MM,
        thumb_tongue_mm=THUMB_TONGUE_MM,
        thumb_lug_radius_mm=THUMB_LUG_MM,
    )


def digits(m: Measures, design: Table) -> list[Table]:
    tips = {
        "index": m.tip_short_mm,
        "middle": m.tip_long_mm,
        "ring": m.tip_long_mm,
        "little": m.tip_short_mm,
        "thumb": m.thumb_tip_mm,
    }
    found = []
    for name in (*FINGERS, "thumb"):
        thumb = name == "thumb"
        knuckle, tip = elastic_heights(m, thumb)
        title = "thumb" if thumb else f"{name} finger"
        width, pad = (THUMB_WIDTH_MM, THUMB_PAD_MM) if thumb else (FINGER_WIDTH_MM, FINGER_PAD_MM)
        tongue, lug = (THUMB_TONGUE_MM, THUMB_LUG_MM) if thumb else (FINGER_TONGUE_MM, FINGER_LUG_MM)
        common = {"width_mm": width, "tongue_width_mm": tongue, "lug_radius_mm": lug}
        # deep enough for the contact pad, and for a wall under the cord
        under = fits.CORD_HOLE_MM / 2 + fits.MIN_WALL_MM
        at_knuckle, at_tip = cord_depths(m, thumb)
        found.append(
            part(
                f"{name}_proximal",
                f"{title}, proximal part",
                f"{name}_proximal",
                "proximal",
                hinge(design, f"{name}_knuckle")["origin_mm"],
                length_mm=m.thumb_proximal_mm if thumb else m.proximal_mm,
                pad_depth_mm=max(pad, at_knuckle + under),
                end_pad_depth_mm=max(pad, at_tip + under),
                back_depth_mm=knuckle + 1.2,
                end_back_depth_mm=tip + 1.4,
                **common,
            )
        )
        found.append(
            part(
                f"{name}_tip",
                f"{title}, tip" + ("" if thumb else " (long)" if name in ("middle", "ring") else " (short)"),
                f"{name}_tip",
                "tip",
                hinge(design, f"{name}_middle_joint")["origin_mm"],
                length_mm=tips[name],
                pad_depth_mm=max(pad, at_tip + under),
                back_depth_mm=tip + 2.4,
                nose_mm=9.0 if thumb else 8.0,
                **common,
            )
        )
    return found


def cuff_and_block(m: Measures, design: Table) -> list[Table]:
    pivot = hinge(design, "whippletree")["origin_mm"]
    front = pivot[0] + BAR_DEPTH_MM / 2  # the bar's front is in line with the block's
    bottom = pivot[2] - BAR_MM / 2 - fits.SLIDE_GAP_MM - BLOCK_FLOOR_MM
    thumb_start = next(c for c in design["cord"] if c["name"] == "thumb_cord")["leg"][0]["points"][0]["at_mm"]
    mid_z, wing = bottom - CUFF_MM / 2, half_width(m) + CUFF_GAP_MM + CUFF_MM / 2
    bend = 8.0
    flat = wing - bend
    hinge_across = flat + bend * pi / 2 + (mid_z - bend)
    pin = 6.8
    return [
        part(
            "cuff",
            "forearm cuff, flat",
            "cuff",
            "cuff",
            (0.0, 0.0, mid_z),
            thickness_mm=CUFF_MM,
            bend_from_mm=flat,
            bend_radius_mm=bend,
            bend_deg=90.0,
            front_behind_mm=-front - 5.0,
            rear_behind_mm=118.0,
            rear_hollow_mm=9.0,
            arm_radius_mm=7.5,
            hinge_across_mm=hinge_across,
            front_half_span_mm=hinge_across + 15.0,
            rear_half_span_mm=hinge_across + 26.0,
            strap_mm=22.0,
            slot_behind_mm=KEY_BEHIND_MM - front,
            slot_length_mm=KEY_MM + 0.4,
            slot_half_mm=KEY_HALF_MM,
        ),
        part(
            "joint_slide",
            "slide between cuff and block",
            "cuff",
            "joint_slide",
            (front - KEY_BEHIND_MM, 0.0, mid_z - CUFF_MM / 2),
            length_mm=KEY_MM,
            cuff_thickness_mm=CUFF_MM,
            plate_mm=1.8,
            slot_half_mm=KEY_HALF_MM,
            head_mm=KEY_HEAD_MM,
        ),
        part(
            "tension_block",
            "tension block",
            "cuff",
            "tension_block",
            (front, 0.0, bottom),
            height_mm=pivot[2] - bottom + BAR_MM / 2 + CARRIER_PLATE_MM + 3.2,
            little_side_mm=25.0,
            thumb_side_mm=thumb_start[1] + pin / 2 + 2.4,
            bar_thickness_mm=BAR_MM,
            slot_half_mm=m.bar_half_width_mm + 5.1,
            bar_depth_mm=BAR_DEPTH_MM,
            carrier_wall_mm=CARRIER_WALL_MM,
            carrier_plate_mm=CARRIER_PLATE_MM,
            screw_up_mm=SCREW_UP_MM,
            rear_wall_mm=REAR_WALL_MM,
            bridge_mm=9.0,
            pin_width_mm=pin,
            pin_length_mm=20.0,
            pin_ahead_mm=4.0,
            key_half_mm=KEY_HALF_MM,
            head_mm=KEY_HEAD_MM,
            key_behind_mm=KEY_BEHIND_MM,
            fin_mm=2.6,
        ),
        part(
            "tension_carrier",
            "carrier of the whippletree",
            "cuff",
            "tension_carrier",
            pivot,
            bar_thickness_mm=BAR_MM,
            carrier_plate_mm=CARRIER_PLATE_MM,
            screw_up_mm=SCREW_UP_MM,
            bar_depth_mm=BAR_DEPTH_MM,
            carrier_wall_mm=CARRIER_WALL_MM,
            plate_half_mm=5.5,
            ahead_mm=BAR_DEPTH_MM / 2,
        ),
        part(
            "whippletree",
            "whippletree",
            "whippletree",
            "whippletree",
            pivot,
            half_length_mm=m.bar_half_width_mm + 4.6,
            bar_depth_mm=BAR_DEPTH_MM,
            bar_thickness_mm=BAR_MM,
        ),
        part(
            "thumb_tension_pin",
            "thumb tension pin",
            "thumb_pin",
            "thumb_tension_pin",
            thumb_start,
            width_mm=pin,
            length_mm=20.0,
            ahead_mm=4.0,
        ),
    ]


def pins(m: Measures, design: Table) -> list[Table]:
    arm = half_width(m) + CUFF_GAP_MM + CUFF_MM
    return [
        part(
            "finger_hinge_pin",
            "pin of a finger joint",
            "palm",
            "finger_hinge_pin",
            hinge(design, "index_knuckle")["origin_mm"],
            count=8,
            length_mm=FINGER_WIDTH_MM - 0.4,
        ),
        part(
            "thumb_hinge_pin",
            "pin of a thumb joint",
            "palm",
            "thumb_hinge_pin",
            hinge(design, "thumb_knuckle")["origin_mm"],
            count=2,
            length_mm=THUMB_WIDTH_MM - 0.4,
        ),
        part(
            "wrist_pin",
            "wrist pin",
            "cuff",
            "wrist_pin",
            (0.0, arm, 0.0),
            count=2,
            length_mm=arm - (half_width(m) - WALL_MM) - 0.2,
            head_mm=1.8,
            head_radius_mm=5.5,
        ),
    ]


def hardware(m: Measures, design: Table) -> list[Table]:
    tension = next(s for s in design["slide"] if s["name"] == "tension")
    # through the rear wall, across the travel, and into the carrier by two turns less than its wall
    reach = REAR_WALL_MM + tension["max_mm"] + fits.SLIDE_GAP_MM + CARRIER_WALL_MM - 1.0
    screw = next(v for v in SCREW_LENGTHS_MM if v >= reach)

    def item(name: str, title: str, count: int, standard: str, mass_g: float) -> Table:
        return {"name": name, "title": title, "count": count, "standard": standard, "mass_g": mass_g}

    metres = ceil(sum(cord_lengths_mm(design)) / 100) / 10
    return [
        item(
            "tension_screw",
            f"M3 x {screw} socket head screw, tension",
            2,
            "ISO 4762",
            round(0.29 + 0.0435 * screw, 2),
        ),
        item("grub_screw", "M3 x 6 grub screw, thumb tension pin", 1, "ISO 4026", 0.22),
        item("cord", f"non-stretch cord, 1 mm, {metres:g} m for three cords", 1, "", round(0.8 * metres, 2)),
        item("elastic", "round elastic, 2 mm, five pieces of 120 mm", 5, "", 0.35),
        item("foam_palm", "foam sheet 3 mm, palm", 1, "", 2.0),
        item("foam_cuff", "foam sheet 3 mm, cuff", 1, "", 5.0),
        item("strap", "hook and loop strap, 22 mm wide", 3, "", 4.0),
        item("grip_tip", "rubber grip tip", 5, "", 0.4),
        item("glue", "cyanoacrylate, for sealing the knots", 1, "", 3.0),
    ]


def cord_lengths_mm(design: Table) -> list[float]:
    """Cut length of each cord with the hand straight: path and tail."""
    lengths = []
    for cord in design["cord"]:
        path = 0.0
        for leg in cord["leg"]:
            at = [p["at_mm"] for p in leg["points"]]
            path += sum(
                sum((b - a) ** 2 for a, b in zip(p, q, strict=True)) ** 0.5
                for p, q in zip(at[:-1], at[1:], strict=True)
            )
        lengths.append(path + cord["tail_mm"])
    return lengths


def reference_dimensions(parts: list[Table]) -> list[Table]:
    """Lengths that grow exactly with the hand, or not at all, and that a caliper can reach."""
    by_name = {p["name"]: p["measures"] for p in parts}
    found = []

    def check(
        name: str, title: str, of: str, nominal: float, tolerance: float = 0.4, scales: bool = True
    ) -> None:
        row = {"name": name, "title": title, "part": of, "nominal_mm": round(nominal, 3)}
        found.append(row | {"tolerance_mm": tolerance, "scales": scales})

    for digit in (*FINGERS, "thumb"):
        words = "thumb" if digit == "thumb" else f"{digit} finger"
        near, far = f"{digit}_proximal", f"{digit}_tip"
        proximal, tip = by_name[near], by_name[far]
        check(f"{near}_width", f"{words}, proximal part: across the fork", near, proximal["width_mm"])
        check(
            f"{near}_hole_spacing",
            f"{words}, proximal part: pin hole to pin hole, from the same edge of each",
            near,
            proximal["length_mm"],
            0.5,
        )
        check(f"{far}_width", f"{words}, tip: across its middle", far, tip["width_mm"])
        shoulder = tip["lug_radius_mm"] + fits.STOP_GAP_MM
        check(
            f"{far}_length",
            f"{words}, tip: from the shoulder beside the tongue to the end",
            far,
            tip["length_mm"] - shoulder,
            0.5,
        )
    cuff, bar = by_name["cuff"], by_name["whippletree"]
    check(
        "palm_width",
        "palm: across both cheeks at the wrist",
        "palm",
        2 * by_name["palm"]["half_width_mm"],
        0.6,
    )
    check("cuff_thickness", "cuff: thickness beside the slot", "cuff", cuff["thickness_mm"], 0.15)
    check(
        "cuff_hole_spacing",
        "cuff, flat: wrist pin hole to wrist pin hole, from the same edge of each",
        "cuff",
        2 * cuff["hinge_across_mm"],
        0.8,
    )
    check("whippletree_length", "whippletree: end to end", "whippletree", 2 * bar["half_length_mm"])
    check(
        "finger_hinge_pin_diameter",
        "pin of a finger joint: across its middle",
        "finger_hinge_pin",
        fits.PIN_MM,
        0.15,
        scales=False,
    )
    check(
        "finger_pin_hole",
        "index finger, tip: pin hole in the tongue",
        "index_tip",
        fits.PIN_HOLE_MM,
        0.2,
        scales=False,
    )
    return found


def tag_pads(m: Measures, design: Table) -> list[Table]:
    """Both on the little finger's side, so that the thumb hides neither from the camera."""
    pivot = hinge(design, "whippletree")["origin_mm"]
    front, bottom = pivot[0] + BAR_DEPTH_MM / 2, pivot[2] - BAR_MM / 2 - fits.SLIDE_GAP_MM - BLOCK_FLOOR_MM
    seat = fits.TAG_CARD_MM / 2 + 0.6
    normal = [0.0, -1.0, 0.0]
    return [
        {
            "body": "palm",
            "centre_mm": [30.0, -half_width(m), design["pose"]["base_z_mm"] + seat],
            "normal": normal,
            "turn_deg": 0.0,
        },
        {
            "body": "cuff",
            "centre_mm": [round(front - seat - 3.0, 3), -27.6, round(bottom + seat, 3)],
            "normal": normal,
            "turn_deg": 0.0,
        },
    ]


def design_from(tables: Table) -> Design:
    return design_from_data(tables, "linden")


def weighed(tables: Table) -> Table:
    """The tables with masses and centres of mass of what is printed, from the meshes."""
    weights = body_weights(design_from(tables))
    bodies = []
    for body in tables["body"]:
        weight = weights[body["name"]]
        com = [round(v, 3) for v in weight.com_mm]
        bodies.append(body | {"com_mm": com, "printed_mass_g": round(weight.mass_g, 3)})
    return tables | {"body": bodies}


def write_outlines(tables: Table, folder: Path) -> Path:
    """Outlines and masses of all printed parts, beside the design file."""
    design = design_from(tables)
    outlines = [part_outline(design, p) for p in design.parts if p.printed]
    path = folder / f"{design.name}-outlines.json"
    path.write_text(outlines_text(design, outlines, PLA_G_PER_CM3), encoding="utf-8")
    return path


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--masses", action="store_true", help="print what each body and each part weighs")
    parser.add_argument("--design", default="linden", help="a bundled design or a file")
    options = parser.parse_args()
    design = load_design(options.design)
    if not options.masses:
        parser.print_help()
        return
    print(f"{'body':16s} {'mesh g':>8s} {'file g':>8s}   centre of mass, palm frame [mm]")
    for name, weight in body_weights(design).items():
        com = ", ".join(f"{v:.2f}" for v in weight.com_mm)
        print(f"{name:16s} {weight.mass_g:8.2f} {design.body(name).printed_mass_g:8.2f}   {com}")
    print(f"\n{'part':20s} {'count':>5s} {'g each':>8s} {'mm3 each':>10s}")
    for one in (p for p in design.parts if p.printed):
        weight = part_weight(design, one)
        print(f"{one.name:20s} {one.count:5d} {weight.mass_g:8.2f} {weight.volume_mm3:10.1f}")


if __name__ == "__main__":
    main()
