"""Every way we know in which a design can be drawn wrongly, and what the builder is told then."""

import copy
import tomllib
from collections.abc import Callable
from math import inf, nan
from pathlib import Path
from typing import Any

import pytest

from handsel.data.load_design import BUNDLED, design_from_data
from handsel.errors import BadFile

SAVED = Path(__file__).parents[1] / "golden" / "design_1_three_digits.toml"
GOOD = tomllib.loads(SAVED.read_text(encoding="utf-8"))
FILE = "my_hand.toml"

Tables = dict[str, Any]
Change = Callable[[Tables], object]


def refusal(change: Change) -> BadFile:
    data = copy.deepcopy(GOOD)
    change(data)
    with pytest.raises(BadFile) as caught:
        design_from_data(data, FILE)
    return caught.value


def named(data: Tables, table: str, name: str) -> Tables:
    return next(t for t in data[table] if t.get("name", t.get("digit")) == name)


def put(table: str, name: str, key: str, value: object) -> Change:
    return lambda data: named(data, table, name).__setitem__(key, value)


def drop(table: str, name: str, key: str) -> Change:
    return lambda data: named(data, table, name).pop(key)


def take_out(table: str, name: str) -> Change:
    return lambda data: data[table].remove(named(data, table, name))


def top(key: str, value: object) -> Change:
    return lambda data: data.__setitem__(key, value)


def leg(data: Tables, cord: str = "loop_a", k: int = 0) -> Tables:
    return named(data, "cord", cord)["leg"][k]


def route(change: Callable[[list[Tables]], object], cord: str = "loop_a") -> Change:
    return lambda data: change(leg(data, cord)["points"])


def scaled(data: Any, factor: float) -> Any:
    """Every length of the tables times a factor, as a slip of units would have it."""
    if isinstance(data, dict):
        return {
            k: times(v, factor) if k.endswith("_mm") and k != "stand_height_mm" else scaled(v, factor)
            for k, v in data.items()
        }
    return [scaled(v, factor) for v in data] if isinstance(data, list) else data


def times(value: Any, factor: float) -> Any:
    return [times(v, factor) for v in value] if isinstance(value, list) else value * factor


def in_unit(mm: float) -> Change:
    def change(data: Tables) -> None:
        data.update(scaled(data, 1.0 / mm))

    return change


PART = {
    "name": "palm_shell",
    "title": "palm",
    "count": 1,
    "body": "palm",
    "material": "PLA",
    "printed": True,
    "shape": "palm",
    "at_mm": [0.0, 0.0, 0.0],
    "measures": {"length_mm": 60.0},
}
DIMENSION = {
    "name": "palm_width",
    "title": "palm, across the knuckles",
    "part": "palm_shell",
    "nominal_mm": 70.0,
    "tolerance_mm": 0.6,
    "scales": True,
}
GAUGE = {"diameter_mm": 25.0, "axis": [0, 1, 0], "against_mm": [50.0, 0.0, -12.0], "normal": [0, 0, -1]}
TAG = {"body": "palm", "centre_mm": [30.0, -30.0, 0.0], "normal": [0, -1, 0], "turn_deg": 0.0}


def with_kit(**changes: object) -> Change:
    """A part and a dimension of it; part_x=... and dimension_x=... change their keys."""

    def change(data: Tables) -> None:
        part, dimension = copy.deepcopy(PART), dict(DIMENSION)
        for key, value in changes.items():
            owner, _, its = key.partition("_")
            {"part": part, "dimension": dimension}[owner][its] = value
        data["part"], data["reference_dimension"] = [part], [dimension]

    return change


def both(*changes: Change) -> Change:
    return lambda data: [change(data) for change in changes]


# id: what was done to the file, and pieces of: where, what is wrong, what to do.
BROKEN: dict[str, tuple[Change, str, str, str]] = {
    # --- the file as a whole
    "no format": (lambda d: d.pop("format"), FILE, '"format" is missing', 'format = "handsel-design/1"'),
    "later format": (top("format", "handsel-design/2"), FILE, '"handsel-design/2"', "later version"),
    "inches declared": (top("length_unit", "inch"), FILE, 'length_unit is "inch"', "an inch has 25.4"),
    "no unit": (lambda d: d.pop("length_unit"), FILE, '"length_unit" is missing', "Add it"),
    "inches drawn": (in_unit(25.4), "length_unit", "reaches 5.44 mm", "inches (then it is 138 mm)"),
    "centimetres drawn": (in_unit(10), "length_unit", "reaches 13.8 mm", "centimetres (then it is 138 mm)"),
    "metres drawn": (in_unit(1000), "length_unit", "reaches 0.138 mm", "metres (then it is 138 mm)"),
    "far too large": (in_unit(0.1), "length_unit", "reaches 1383 mm", "Nothing is converted"),
    "unknown table": (top("hinges", []), FILE, '"hinges" is not known', 'Did you mean "hinge"?'),
    "table as number": (top("hinge", 3), f"{FILE}, hinge", "it is 3; expected a list", "Pin joints"),
    "no table": (lambda d: d.pop("pose"), FILE, 'the key "pose" is missing', "Inspection pose"),
    "control characters": (top("title", "a\x1b[31mb"), "title", r'"a\x1b[31mb"', "call it"),
    "name with capitals": (top("name", "My Hand"), "name", '"My Hand"', "Name of the design"),
    "endless name": (top("name", "a" * 5000), "name", "5000 characters; expected at most 60", "Name"),
    "scales without 1": (top("scale_max_ratio", 0.9), "scale_min_ratio", "from 1 to 0.9", "Scale 1 is"),
    "target beyond stop": (top("target_rest_angle_deg", 89.0), "target", "outside the wrist's", "the stops"),
    # --- numbers
    "not a number": (put("hinge", "wrist", "min_deg", nan), '"wrist", min_deg', "it is nan", "Lower stop"),
    "infinite": (put("body", "palm", "printed_mass_g", inf), '"palm", printed_mass_g', "it is inf", "Mass"),
    "number in quotes": (
        put("hinge", "wrist", "max_deg", "85"),
        '"wrist", max_deg',
        'it is "85"; expected a number',
        "without quotes",
    ),
    "true as number": (put("hinge", "wrist", "max_deg", True), '"wrist", max_deg', "it is true", "[deg]"),
    "thousands of digits": (
        put("hinge", "wrist", "max_deg", 1 << 20_000),
        '"wrist", max_deg',
        "very many digits",
        "Upper stop",
    ),
    "half a knot": (put("cord", "loop_a", "knot_count", 1.5), "knot_count", "it is 1.5", "[count]"),
    "two coordinates": (
        put("hinge", "wrist", "origin_mm", [0.0, 1.0]),
        'hinge 1 "wrist", origin_mm',
        "it has 2 entries; expected more",
        "palm frame",
    ),
    "missing key": (drop("hinge", "wrist", "axis"), 'hinge 1 "wrist"', 'key "axis" is missing', "Direction"),
    "mistyped key": (
        lambda d: named(d, "hinge", "wrist").update(axes=named(d, "hinge", "wrist").pop("axis")),
        'hinge 1 "wrist"',
        '"axes" is not known',
        'Did you mean "axis"?',
    ),
    "negative stiffness": (
        put("elastic", "index", "axial_stiffness_n", -24.0),
        '"index", axial_stiffness_n',
        "it is -24.0; expected more than 0",
        "sign",
    ),
    "negative friction": (
        put("cord", "loop_a", "friction_mu", -0.2),
        "friction_mu",
        "-0.2; expected 0 or more",
        "sign",
    ),
    "negative mass": (put("body", "cuff", "printed_mass_g", -1), '"cuff", printed', "-1; expected 0", "sign"),
    "loss over all": (put("elastic", "index", "loss_ratio", 12.0), "loss_ratio", "at most 1", "[-]"),
    "slipped point": (
        put("body", "index_tip", "com_mm", [1223.0, 27.0, 0.0]),
        '"index_tip", com_mm',
        "1223 mm from the wrist",
        "decimal point",
    ),
    # --- long lists
    "many bodies": (top("body", GOOD["body"] * 100), "body", "expected at most 60", "Rigid pieces"),
    "many places": (route(lambda p: p.extend(p * 1000)), '"index", points', "expected at most 40", "Places"),
    "many measures": (
        with_kit(part_measures={f"m{i}_mm": 1.0 for i in range(1000)}),
        '"palm_shell", measures',
        "expected at most 60",
        "unit",
    ),
    # --- names
    "two hinges of one name": (
        put("hinge", "index_knuckle", "name", "thumb_knuckle"),
        'hinge 7 "thumb_knuckle"',
        "has hinge 3 already",
        "its own name",
    ),
    "two elastics on a digit": (
        put("elastic", "index", "digit", "middle"),
        '"middle"',
        "has elastic 2 already",
        "take one",
    ),
    "no digit name": (put("digit", "index", "name", "pinkie"), '"pinkie", name', '"pinkie"', '"little"'),
    "digit misspelt": (put("digit", "thumb", "name", "thunb"), "name", '"thunb"', 'Did you mean "thumb"?'),
    # --- bodies and hinges
    "no wrist": (
        take_out("hinge", "wrist"),
        f"{FILE}, hinge",
        'hinge "wrist" is missing',
        '"palm" and "cuff"',
    ),
    "no whippletree": (take_out("hinge", "whippletree"), "hinge", '"whippletree" is missing', '"cuff"'),
    "no cuff": (take_out("body", "cuff"), "body", 'no body called "cuff"', "Add it"),
    "no thumb pin": (take_out("slide", "thumb_pin"), "slide", '"thumb_pin" is missing', "Add it"),
    "no thumb": (take_out("digit", "thumb"), "digit", '"thumb" is missing', "meets index or middle"),
    "wrist between others": (put("hinge", "wrist", "child", "whippletree"), '"wrist"', "it joins", '"cuff"'),
    "slide carries another": (put("slide", "tension", "body", "palm"), "body", '"palm"', '"whippletree"'),
    "unknown body of a hinge": (
        put("hinge", "index_knuckle", "child", "index_proximl"),
        'index_knuckle", child',
        'no body called "index_proximl"',
        'Did you mean "index_proximal"?',
    ),
    "hinge on itself": (
        put("hinge", "index_knuckle", "parent", "index_proximal"),
        "index_knuckle",
        "to itself",
        "the two bodies",
    ),
    "palm turns": (
        put("hinge", "index_knuckle", "child", "palm"),
        "index_knuckle",
        "to itself",
        "the two bodies",
    ),
    "palm as child": (
        both(put("hinge", "index_knuckle", "parent", "cuff"), put("hinge", "index_knuckle", "child", "palm")),
        'index_knuckle", child',
        '"palm" cannot turn',
        "swap",
    ),
    "two parents": (
        put("hinge", "index_middle_joint", "child", "middle_tip"),
        "child",
        '"middle_tip" already turns',
        "one hinge",
    ),
    "loose body": (
        lambda d: d["body"].append({"name": "spare", "com_mm": [0, 0, 0], "printed_mass_g": 1}),
        '"spare"',
        "hangs on nothing",
        "Add a hinge",
    ),
    "circle of bodies": (
        put("hinge", "index_knuckle", "parent", "index_tip"),
        "body",
        'circle: "index_proximal" on "index_tip" on "index_proximal"',
        "palm",
    ),
    "zero axis": (
        put("hinge", "index_knuckle", "axis", [0, 0.0, 0]),
        'index_knuckle", axis',
        "it is zero, so it points nowhere",
        "Give a direction",
    ),
    "zero slide": (put("slide", "tension", "direction", [0, 0, 0]), "direction", "zero", "direction"),
    "stops the wrong way": (
        both(put("hinge", "index_knuckle", "min_deg", 90), put("hinge", "index_knuckle", "max_deg", 0)),
        "index_knuckle",
        "min_deg is 90 and max_deg 0",
        "lower stop comes first",
    ),
    "stops leave out straight": (
        put("hinge", "index_knuckle", "min_deg", 5),
        '"index_knuckle"',
        "leave out 0",
        "straight",
    ),
    "lopsided whippletree": (
        put("hinge", "whippletree", "max_deg", 20),
        'hinge 2 "whippletree"',
        "-25 and 20",
        "min_deg = -20",
    ),
    "unused hinge": (
        both(
            lambda d: d["body"].append({"name": "lid", "com_mm": [0, 0, 0], "printed_mass_g": 1}),
            lambda d: d["hinge"].append(
                d["hinge"][2] | {"name": "lid_pin", "parent": "palm", "child": "lid"}
            ),
        ),
        '"lid_pin"',
        "no digit uses this hinge",
        "take it out",
    ),
    # --- digits
    "unknown hinge of a digit": (
        put("digit", "index", "tip_hinge", "index_midle_joint"),
        '"index", tip_hinge',
        'no hinge called "index_midle_joint"',
        'Did you mean "index_middle_joint"?',
    ),
    "hinge used twice": (
        put("digit", "index", "tip_hinge", "index_knuckle"),
        '"index", tip_hinge',
        "used already",
        "its own",
    ),
    "wrist as knuckle": (
        put("digit", "index", "proximal_hinge", "wrist"),
        '"index", proximal_hinge',
        "used already",
        "its own",
    ),
    "digit on the cuff": (put("hinge", "index_knuckle", "parent", "cuff"), "index", 'is "cuff"', "palm"),
    "tip on the palm": (
        put("hinge", "index_middle_joint", "parent", "palm"),
        '"index", tip_hinge',
        'is "palm"',
        "index_proximal",
    ),
    "hinges swapped": (
        lambda d: named(d, "digit", "index").update(
            proximal_hinge="index_middle_joint", tip_hinge="index_knuckle"
        ),
        '"index", proximal_hinge',
        '"index_middle_joint" is "index_proximal"; expected "palm"',
        "on the palm",
    ),
    "no cord": (take_out("cord", "thumb_cord"), '"thumb"', "no cord closes it", 'digit = "thumb"'),
    "no elastic": (take_out("elastic", "thumb"), '"thumb"', "no elastic opens it", "Add an elastic"),
    "two cords": (lambda d: leg(d).update(digit="thumb"), '"thumb_cord"', "has a cord already", "one cord"),
    "cord to no digit": (lambda d: leg(d).update(digit="ring"), "digit", 'called "ring"', '"index"'),
    # --- slides
    "slide the wrong way": (put("slide", "tension", "max_mm", -1), '"tension"', "max_mm -1", "forward end"),
    "slide leaves out 0": (put("slide", "tension", "min_mm", 1), '"tension"', "leaves out 0", "drawn"),
    "pitch without a screw": (
        put("slide", "thumb_pin", "pitch_mm_per_turn", 0.5),
        'slide 2 "thumb_pin"',
        "is 0",
        "Count the",
    ),
    "one screw apart": (put("slide", "tension", "screw_count", 1), '"tension"', "is 1", "Two screws"),
    "negative pitch": (
        put("slide", "tension", "pitch_mm_per_turn", -0.5),
        '"tension", pitch_mm_per_turn',
        "more than 0",
        "per turn",
    ),
    # --- lines
    "unknown body on a route": (
        route(lambda p: p[3].update(body="index_proximl")),
        'cord 1 "loop_a", leg 1 "index", points 4, body',
        'no body called "index_proximl"',
        'Did you mean "index_proximal"?',
    ),
    "another digit's body": (
        route(lambda p: p[3].update(body="middle_proximal")),
        "points 4, body",
        '"middle_proximal" is not on the way',
        "whippletree -> palm -> index_proximal -> index_tip",
    ),
    "body passed by": (
        route(lambda p: [p.pop(3), p.pop(3)]),
        "points 4",
        'passes "index_proximal" by on its way to "index_tip"',
        'Add a place on "index_proximal"',
    ),
    "palm passed by": (route(lambda p: [p.pop(1), p.pop(1)]), "points 2", 'passes "palm" by', "one hinge"),
    "route turns back": (
        route(lambda p: p.insert(4, p[2] | {"at_mm": [60.0, 27.0, -5.0]})),
        "points 5",
        'goes back from "index_proximal" to "palm"',
        "Order its places",
    ),
    "route ends early": (route(lambda p: p.pop()), "points", 'ends on "index_proximal"', '"index_tip"'),
    "route begins on the palm": (route(lambda p: p.pop(0)), "points 1", 'begins on "palm"', "thumb_pin"),
    "one place twice": (
        route(lambda p: p.insert(2, p[1])),
        "points 3",
        "same place as the one before",
        "Move it",
    ),
    "elastic begins late": (
        lambda d: named(d, "elastic", "index")["points"].pop(0),
        'elastic 3 "index", points 1',
        'passes "palm" by',
        '"palm"',
    ),
    "one place only": (
        lambda d: named(d, "elastic", "index").update(points=[{"body": "palm", "at_mm": [0, 0, 0]}]),
        '"index", points',
        "1 entries; expected at least 2",
        "Places",
    ),
    "wrap too large": (
        lambda d: named(d, "elastic", "index")["wraps"][0].update(radius_mm=14.0),
        '"index", wraps 1 "index_knuckle", radius_mm',
        "it is 14, but place 2 of the line is only 11.66 mm from the axis",
        "radius smaller",
    ),
    "wrap on another digit's hinge": (
        lambda d: named(d, "elastic", "index")["wraps"][0].update(hinge="middle_knuckle"),
        "hinge",
        "not a hinge of the index",
        '"index_knuckle"',
    ),
    "wrap on no hinge": (
        lambda d: named(d, "elastic", "index")["wraps"][0].update(hinge="index_knukle"),
        "hinge",
        'no hinge called "index_knukle"',
        'Did you mean "index_knuckle"?',
    ),
    "wrap twice": (
        lambda d: named(d, "elastic", "index")["wraps"][1].update(hinge="index_knuckle"),
        'wraps 2 "index_knuckle"',
        "has a cylinder already",
        "one cylinder",
    ),
    "barrel too large": (
        top("wrist_barrel_radius_mm", 40.0),
        "wrist_barrel_radius_mm",
        'place 2 of the cord of the index is only 33.30 mm from the axis of "wrist"',
        "smaller",
    ),
    "wrap on the far side": (
        lambda d: named(d, "elastic", "index")["wraps"][0].update(side="palm"),
        'wraps 1 "index_knuckle", radius_mm',
        'passes the axis of "index_knuckle" 6.0 mm on its back side',
        "check the hinge's axis",
    ),
    "knuckle the wrong way round": (
        put("hinge", "index_knuckle", "axis", [0.0, -1.0, 0.0]),
        'wraps 1 "index_knuckle", radius_mm',
        'passes the axis of "index_knuckle" 6.0 mm on its palm side',
        "Positive turns are flexion",
    ),
    "wrist the wrong way round": (
        put("hinge", "wrist", "axis", [0.0, -1.0, 0.0]),
        "wrist_barrel_radius_mm",
        'the cord of the index passes the axis of "wrist" 22.0 mm on its palm side',
        "extension at the wrist",
    ),
    "eyelet on one leg": (
        put("cord", "thumb_cord", "eyelet_turn_deg", 180.0),
        '"thumb_cord", eyelet_turn_deg',
        "has one leg",
        "to 0",
    ),
    "loop without turning": (
        put("cord", "loop_a", "eyelet_turn_deg", 0.0),
        '"loop_a", eyelet_turn_deg',
        "share an eyelet",
        "180",
    ),
    "loop on the pin": (
        lambda d: [g["points"][0].update(body="thumb_pin") for g in named(d, "cord", "loop_a")["leg"]],
        "points 1, body",
        'begins on "thumb_pin"',
        "whippletree",
    ),
    "loop on two eyelets": (
        route(lambda p: p[0].update(at_mm=[-35.0, -14.0, 22.0])),
        'leg 2 "middle", points 1',
        "begin 28.00 mm apart",
        "one eyelet",
    ),
    "two frictions": (
        put("cord", "thumb_cord", "friction_mu", 0.3),
        "friction_mu",
        "0.2 for the",
        "one kind",
    ),
    "two losses": (put("elastic", "index", "loss_ratio", 0.2), "loss_ratio", "0.12 for the", "one value"),
    # --- contact, pose, kit
    "pad on no digit": (put("pad", "index", "digit", "ring"), "digit", 'no digit called "ring"', '"index"'),
    "pad twice": (put("pad", "index", "segment", "tip"), '"index"', "has a pad already", "one pad"),
    "pad missing": (lambda d: d["pad"].pop(0), "digit", "proximal part has no pad", "Add a pad"),
    "no pad at all": (top("pad", []), "pad", "there is no pad", "Add a pad"),
    "leaning gauge": (top("gauge", [GAUGE | {"axis": [0, 1, 1]}]), "gauge 1", "not square", "turn axis"),
    "zero gauge normal": (top("gauge", [GAUGE | {"normal": [0, 0, 0]}]), "normal", "is zero", "direction"),
    "support without area": (
        lambda d: d["pose"].update(support_mm=[[0, 0], [10, 0], [20, 0]]),
        "pose, support_mm",
        "encloses 0 mm2",
        "corners in order",
    ),
    "part of no body": (with_kit(part_body="plam"), '"palm_shell", body', '"plam"', 'mean "palm"?'),
    "measure without unit": (
        with_kit(part_measures={"length": 60.0}),
        '"palm_shell", measures, length',
        "does not end in a unit",
        "_mm",
    ),
    "dimension of no part": (with_kit(dimension_part="palm_shel"), "part", '"palm_shel"', '"palm_shell"?'),
    "tolerance too wide": (with_kit(dimension_tolerance_mm=70.0), "tolerance_mm", "as large as", "Correct"),
    "no parts made": (with_kit(part_count=0), '"palm_shell", count', "0; expected 1", "How many"),
    "printed as text": (with_kit(part_printed="yes"), "printed", '"yes"', "bought and cut"),
    "tag on no body": (top("tag_pad", [TAG | {"body": "cufff"}]), "body", '"cufff"', '"cuff"?'),
    "tag twice": (top("tag_pad", [TAG, TAG]), "tag_pad 2", "has tag_pad 1 already", "take one"),
}


@pytest.mark.parametrize("case", BROKEN)
def test_a_broken_design_is_refused_in_words(case: str) -> None:
    change, where, what, do = BROKEN[case]
    error = refusal(change)
    assert error.where.startswith(FILE)
    assert where
    assert where in error.where, error
    assert what in error.what, error
    assert do in error.do, error
    assert error.do.strip()
    assert str(error).isprintable()


def test_the_kit_tables_used_above_are_sound_when_left_alone() -> None:
    data = copy.deepcopy(GOOD)
    with_kit()(data)
    data["gauge"], data["tag_pad"] = [GAUGE], [TAG]
    design = design_from_data(data, FILE)
    assert design.parts[0].measures == (("length_mm", 60.0),)
    assert design.reference_dimensions[0].scales
    assert design.gauges[0].axis == (0.0, 1.0, 0.0)


def test_an_axis_of_any_length_is_made_one_long() -> None:
    data = copy.deepcopy(GOOD)
    named(data, "hinge", "index_knuckle")["axis"] = [0.0, 3.0, 4.0]
    axis = design_from_data(data, FILE).hinge("index_knuckle").axis
    assert axis == pytest.approx((0.0, 0.6, 0.8), abs=1e-15)


def test_elastics_come_in_the_order_of_the_digits() -> None:
    data = copy.deepcopy(GOOD)
    data["elastic"].reverse()
    design = design_from_data(data, FILE)
    assert [e.digit for e in design.elastics] == [d.name for d in design.digits]


def test_one_finding_says_how_many_more_there_are() -> None:
    error = refusal(
        both(put("hinge", "wrist", "min_deg", "x"), put("hinge", "wrist", "max_deg", "y"), top("title", 3))
    )
    assert "(To mend besides: 2.)" in error.do


def test_a_number_too_long_to_write_in_place_of_a_name_is_refused_in_words():
    data = tomllib.loads((BUNDLED / "linden.toml").read_text(encoding="utf-8"))
    data["digit"][1]["name"] = 10**5000
    with pytest.raises(BadFile, match="name"):
        design_from_data(data, "my.toml")
