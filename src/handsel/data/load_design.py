"""From a design file to the frozen design that the rest works with."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import Any

from handsel.data.checked import checked
from handsel.data.design_rules import Sheet, check_structure, unit
from handsel.data.design_tables import (
    FORMAT,
    CordTable,
    DesignTables,
    ElasticTable,
    HingeTable,
    PartTable,
    RoutePointTable,
    WrapTable,
)
from handsel.data.line_rules import check_lines
from handsel.data.places import near, shown, shown_plain
from handsel.data.toml_file import text_of_file, toml_of_text
from handsel.design.model import (
    Body,
    Cord,
    Design,
    Digit,
    Elastic,
    Gauge,
    HardwareItem,
    Hinge,
    InspectionPose,
    Leg,
    Pad,
    Part,
    ReferenceDimension,
    RoutePoint,
    Slide,
    TagPad,
    Wrap,
)
from handsel.errors import BadFile

BUNDLED = Path(__file__).parent / "designs"


def load_design(source: str | Path) -> Design:
    """The design in a file, or a bundled one by its name, checked from end to end.

    Parameters: source, a path, or the name of a bundled design such as "linden".
    Returns: Design at scale 1, right side; directions are unit vectors, elastics in the digits' order.
    Raises: BadFile naming file, table, key, what is wrong and how to mend it.
    Valid for: files of the format handsel-design/1.
    Source: our own format; `handsel schema design` prints it.
    Checked by: unit/test_load_design.py, properties/test_load_design_junk.py, golden/
    """
    path = design_path(source)
    return _design_in(text_of_file(path), str(path))


@lru_cache(maxsize=16)  # the same few texts are asked for again and again, and nobody can change a Design
def _design_in(text: str, where: str) -> Design:
    return design_from_data(toml_of_text(text, shown_plain(where)).data, where)


def design_path(source: str | Path) -> Path:
    """Where a design is: a bundled one goes by its name alone."""
    if isinstance(source, Path) or Path(source).suffix or Path(source).name != source:
        return Path(source)
    bundled = BUNDLED / f"{source}.toml"
    if bundled.is_file() or Path(source).is_file():
        return bundled if bundled.is_file() else Path(source)
    raise BadFile(
        f'there is no bundled design called "{shown_plain(source[:60])}"',
        where="design",
        do=f"{near(source, bundled_designs())} A file of your own goes by its path, as in designs/mine.toml.",
    )


def bundled_designs() -> tuple[str, ...]:
    """Names of the designs that come with the program."""
    return tuple(sorted(p.stem for p in BUNDLED.glob("*.toml")))


def design_from_data(data: dict[str, Any], path: str | Path) -> Design:
    """The design in tables that were read already; path is for messages only."""
    path = Path(path)
    _format_and_unit(data, path)
    tables = checked(DesignTables, data, path)
    sheet = Sheet(tables, data, path)
    check_structure(sheet)
    check_lines(sheet)
    return design_of(tables)


def _format_and_unit(data: dict[str, Any], path: Path) -> None:
    """The two keys that explain many other findings come first."""
    if data.get("format") != FORMAT:
        raise BadFile(
            f'format is {shown(data["format"])}; expected "{FORMAT}"'
            if "format" in data
            else 'the key "format" is missing',
            where=shown_plain(str(path)),
            do=f'A design begins with format = "{FORMAT}". Check that you named the right file; '
            "a later format needs a later version of this program.",
        )
    if data.get("length_unit", "mm") != "mm":
        raise BadFile(
            f'length_unit is {shown(data["length_unit"])}; only "mm" is accepted',
            where=shown_plain(str(path)),
            do="Multiply every length by the number of millimetres in that unit (an inch has 25.4), then "
            'write length_unit = "mm". Nothing is converted on a guess.',
        )


def design_of(t: DesignTables) -> Design:
    """The design that checked tables describe: axes of unit length, elastics in the digits' order."""
    order = [d.name for d in t.digit]
    return Design(
        name=t.name,
        title=t.title,
        version=t.version,
        source=t.source,
        scale_min_ratio=t.scale_min_ratio,
        scale_max_ratio=t.scale_max_ratio,
        target_rest_angle_deg=t.target_rest_angle_deg,
        palm_plane_z_mm=t.palm_plane_z_mm,
        palm_front_x_mm=t.palm_front_x_mm,
        wrist_barrel_radius_mm=t.wrist_barrel_radius_mm,
        bodies=tuple(Body(**b.model_dump()) for b in t.body),
        hinges=tuple(_hinge(h) for h in t.hinge),
        slides=tuple(Slide(**s.model_dump() | {"direction": unit(s.direction)}) for s in t.slide),
        digits=tuple(Digit(**d.model_dump()) for d in t.digit),
        cords=tuple(_cord(c) for c in t.cord),
        elastics=tuple(_elastic(e) for e in sorted(t.elastic, key=lambda e: order.index(e.digit))),
        pads=tuple(Pad(**p.model_dump()) for p in t.pad),
        gauges=tuple(
            Gauge(**g.model_dump() | {"axis": unit(g.axis), "normal": unit(g.normal)}) for g in t.gauge
        ),
        pose=InspectionPose(**t.pose.model_dump()),
        parts=tuple(_part(p) for p in t.part),
        hardware=tuple(HardwareItem(**h.model_dump()) for h in t.hardware),
        reference_dimensions=tuple(ReferenceDimension(**r.model_dump()) for r in t.reference_dimension),
        tag_pads=tuple(TagPad(**p.model_dump() | {"normal": unit(p.normal)}) for p in t.tag_pad),
    )


def _hinge(h: HingeTable) -> Hinge:
    return Hinge(**h.model_dump() | {"axis": unit(h.axis)})


def _route(points: tuple[RoutePointTable, ...]) -> tuple[RoutePoint, ...]:
    return tuple(RoutePoint(body=p.body, at_mm=p.at_mm) for p in points)


def _wraps(wraps: tuple[WrapTable, ...]) -> tuple[Wrap, ...]:
    return tuple(Wrap(hinge=w.hinge, radius_mm=w.radius_mm, side=w.side) for w in wraps)


def _cord(c: CordTable) -> Cord:
    legs = tuple(Leg(digit=g.digit, points=_route(g.points), wraps=_wraps(g.wraps)) for g in c.leg)
    return Cord(**c.model_dump(exclude={"leg"}), legs=legs)


def _elastic(e: ElasticTable) -> Elastic:
    rest = e.model_dump(exclude={"points", "wraps"})
    return Elastic(**rest, points=_route(e.points), wraps=_wraps(e.wraps))


def _part(p: PartTable) -> Part:
    return Part(**p.model_dump(exclude={"measures"}), measures=tuple(sorted(p.measures.items())))
