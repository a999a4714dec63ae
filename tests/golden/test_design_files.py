"""Design files of released formats, saved once: each loads for ever, and means what it meant."""

from pathlib import Path

from handsel.data.load_design import load_design
from handsel.design.check import check_design

HERE = Path(__file__).parent


def test_design_1_loads_as_it_did() -> None:
    design = load_design(HERE / "design_1_three_digits.toml")
    assert (design.name, design.version) == ("three_digits", "1")
    assert [d.name for d in design.digits] == ["index", "middle", "thumb"]
    assert [e.digit for e in design.elastics] == ["index", "middle", "thumb"]  # the file has them reversed
    assert design.hinge("wrist").axis == (0.0, 1.0, 0.0)  # the file says [0, 2, 0]
    assert design.body("palm").hardware_mass_g == 0.0  # left out in the file
    assert design.slide("tension").pitch_mm_per_turn == 0.5
    assert design.slide("thumb_pin").pitch_mm_per_turn is None
    loop = design.cord_of("middle")
    assert (loop.name, loop.eyelet_turn_deg, [leg.digit for leg in loop.legs]) == (
        "loop_a",
        180.0,
        ["index", "middle"],
    )
    assert loop.legs[1].points[0].at_mm == (-35.0, 14.0, 22.0)
    assert loop.legs[0].wraps == ()
    assert [w.side for w in design.elastics[0].wraps] == ["back", "back"]
    assert (design.gauges, design.parts, design.hardware, design.tag_pads) == ((), (), (), ())


def test_design_1_can_still_be_checked() -> None:
    lines = check_design(load_design(HERE / "design_1_three_digits.toml"))
    failed = [line.what for line in lines if line.ok is False]
    assert failed == ["dimensions that show the printed scale"]
