"""`handsel design check FILE`, `handsel design show NAME` and `handsel design write-parts NAME FOLDER`."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import click

from handsel.errors import HandselError

if TYPE_CHECKING:
    from handsel.design.check import CheckLine
    from handsel.design.model import Design


@click.group(name="design", context_settings={"help_option_names": ["-h", "--help"]})
def command() -> None:
    """Check a design file, show what a design is made of, or write its parts for a slicer."""


@command.command(name="check")
@click.argument("source", metavar="FILE|NAME")
def check(source: str) -> None:
    """Check a design: that the file hangs together, and what a ruler says of it.

    Exit status: 0, all checks hold; 1, at least one does not; 2, the file could not be used.
    """
    from handsel.cli.terminal import console, signs
    from handsel.data.load_design import load_design
    from handsel.design.check import check_design

    design = load_design(source)
    lines = check_design(design)
    out = console()
    failed = [line for line in lines if line.ok is False]
    judged = sum(line.ok is not None for line in lines)
    if failed:
        out.print(
            f"{design.name} {design.version}: {len(failed)} of {judged} checks do not hold.", style="bold"
        )
    else:
        out.print(f"{design.name} {design.version}: all {judged} checks hold.", style="bold")
    sign = signs(out)
    topic = ""
    for line in [*failed, *(line for line in lines if line.ok is not False)]:
        mark = sign["dot"] if line.ok is None else sign["yes" if line.ok else "no"]
        if line.topic != topic:
            topic = line.topic
            out.print(f"\n{topic}", style="bold")
        _line(out.width, mark, line)
    sys.exit(1 if failed else 0)


def _line(width: int, mark: str, line: CheckLine) -> None:
    """One finding with its figure at the right edge."""
    import textwrap

    number = f"{line.value:.0f}" if line.unit == "count" else f"{line.value:.1f} {line.unit}"
    number = "" if line.unit == "count" and line.ok is None else number.replace("-", "−")
    room = width - 6 - 12
    first, *rest = textwrap.wrap(line.what, room) or [""]
    click.echo(f"  {mark} {first:<{room}}{number:>12}")
    for more in rest:
        click.echo(f"    {more}")


@command.command(name="show")
@click.argument("name", metavar="NAME|FILE")
def show(name: str) -> None:
    """Show what a design is made of: digits, cords, slides, parts, and what it asks for."""
    from handsel.cli.terminal import console
    from handsel.data.load_design import load_design

    design = load_design(name)
    out = console()
    out.print(f"{design.title}, version {design.version}", style="bold")
    low, high = 100 * design.scale_min_ratio, 100 * design.scale_max_ratio
    out.print(f"Printed at {low:.0f} to {high:.0f} %; made to rest at {design.target_rest_angle_deg:g}°.")
    for title, rows in _tables(design).items():
        if rows:
            out.print(f"\n{title}", style="bold")
            _grid(rows)
    out.print(f"\nSource: {design.source}", style="dim")


def _tables(d: Design) -> dict[str, list[tuple[str, ...]]]:
    """What is shown, by heading; every length is at scale 1."""
    mass = sum(b.printed_mass_g + b.hardware_mass_g for b in d.bodies)
    return {
        "Digits": [
            (
                digit.name,
                f"knuckle 0 to {d.hinge(digit.proximal_hinge).max_deg:g}°",
                f"tip 0 to {d.hinge(digit.tip_hinge).max_deg:g}°",
                f"worked by {d.cord_of(digit.name).name}",
            )
            for digit in d.digits
        ],
        "Cords": [
            (
                c.name,
                " and ".join(leg.digit for leg in c.legs),
                f"{c.knot_count} knots",
                f"friction {c.friction_mu:g} ± {c.u_friction_mu:g} (k = 1)",
            )
            for c in d.cords
        ],
        "Slides": [
            (
                s.name,
                f"{s.min_mm:g} to {s.max_mm:g} mm".replace("-", "−"),
                f"{s.screw_count} screws, {s.pitch_mm_per_turn:g} mm a turn"
                if s.pitch_mm_per_turn
                else "set by hand",
            )
            for s in d.slides
        ],
        "Parts": [(p.title, f"{p.count} ×", p.material) for p in d.parts],
        "Bought": [(h.title, f"{h.count} ×", h.standard) for h in d.hardware],
        "Caliper": [
            (
                r.title,
                f"{r.nominal_mm:g} ± {r.tolerance_mm:g} mm (limits)",
                "scales" if r.scales else "",
            )
            for r in d.reference_dimensions
        ],
        "Whole": [("mass at scale 1", f"{mass:.0f} g")],
    }


def _grid(rows: list[tuple[str, ...]]) -> None:
    from rich.table import Table

    from handsel.cli.terminal import console
    from handsel.data.places import shown_plain

    table = Table.grid(padding=(0, 2))
    for _ in range(max(map(len, rows))):
        table.add_column(overflow="fold")
    for row in rows:
        table.add_row("", *map(shown_plain, row))
    console().print(table)


@command.command(name="write-parts")
@click.argument("name", metavar="NAME|FILE")
@click.argument("folder", metavar="FOLDER")
@click.option("--format", "fmt", type=click.Choice(["3mf", "stl"]), default="3mf", show_default=True)
@click.option("--scale", "scale_ratio", type=float, default=1.0, show_default=True, help="1.1 is 110 %.")
@click.option("--side", type=click.Choice(["right", "left"]), default="right", show_default=True)
def write_parts(name: str, folder: str, fmt: str, scale_ratio: float, side: str) -> None:
    """Write every printed part of a hand into FOLDER, one file each, in millimetres."""
    from importlib.util import find_spec

    from handsel.cli.terminal import console
    from handsel.data.load_design import load_design
    from handsel.data.part_export import export_parts

    if find_spec("manifold3d") is None:
        raise HandselError(
            "the program that makes solids, manifold3d, is not installed",
            where="design write-parts",
            do="Install handsel with its extra: pip install 'handsel[meshes]'.",
        )
    paths = export_parts(load_design(name), folder, fmt, scale_ratio=scale_ratio, side=side)
    out = console()
    out.print(f"{len(paths)} files in {folder}; the number in a name is how many to print.", style="bold")
    for path in paths:
        click.echo(f"  {path.name}")
