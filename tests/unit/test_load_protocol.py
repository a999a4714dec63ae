"""Protocol files: the bundled one, one of your own, and what is refused in which words."""

from __future__ import annotations

import json
from hashlib import sha256

import jsonschema
import pytest

from handsel.data.load_protocol import (
    bundled_protocols,
    load_protocol,
    protocol_from_text,
    protocol_path,
    protocol_schema,
    protocol_text,
)
from handsel.data.toml_file import read_toml
from handsel.errors import BadFile
from handsel.inspection.protocol import CANNOT_TELL
from handsel.inspection.rules import AnswerRule, NumberRule
from inspecting import bundled

OBSERVABLES = {
    "worked_rest_angle_deg",
    "lowered_rest_angle_deg",
    "whippletree_tilt_deg",
    "thumb_tip_bend_deg",
    "press_index",
    "press_middle",
    "press_ring",
    "press_little",
    "press_thumb",
    "tension_screw_thumb_side_turn",
    "tension_screw_little_side_turn",
    "thumb_pin_mm",
    "thumb_start_minus_fingers_deg",
    "whippletree_front_mm",
}

OWN = """format = "handsel-protocol/1"
id = "two-checks"
title = "Two checks"
version = "0.1"
target_rest_angle_deg = 36.0
prior_nonconforming = 0.05
group_miss_factor = 1.5
rates_source = "guess"
concession_roles = ["lead"]
accept_p = { critical = 0.95, major = 0.9, minor = 0.9 }
sources = { guess = "A guess." }
faults = { tight = "a tight hinge" }
digit = [{ id = "index", cord = "loop" }, { id = "thumb", cord = "thumb", thumb = true }]
knot = [{ id = "end", digit = "index" }]
[[hold_point]]
id = "first"
title = "First"
before = "Nothing."
group = [{ id = "held", title = "Held", how = "In the hand." }]
[[hold_point]]
id = "second"
title = "Second"
before = "Nothing."
group = [{ id = "held-later", title = "Held", how = "In the hand." }]
[[step]]
id = "glued"
title = "glued"
after = "first"
hides = ["free"]
undo = "ease"
[[characteristic]]
id = "free"
title = "It is free"
how = "Move it."
why = "It has to move."
held = "held"
method = "move"
severity = "major"
minutes = 0.5
miss_rate = 0.1
false_alarm_rate = 0.05
per = "digit"
faults = ["tight"]
rework = ["ease"]
source = "guess"
reads = "free_{place}"
substitute = { how = "Pull it.", minutes = 1.0, miss_rate = 0.2, false_alarm_rate = 0.1 }
[[characteristic]]
id = "gap"
title = "The gap is small"
how = "Measure it."
why = "It pinches."
held = "held-later"
method = "caliper"
severity = "critical"
minutes = 0.5
miss_rate = 0.1
false_alarm_rate = 0.05
counts_only_if = ["free"]
rework = ["ease"]
source = "guess"
number_mm = { max = 2.0, plausible = [-1.0, 50.0], methods = [{ name = "rule", u = 0.1, u_common = 0.05 }] }
[[rework]]
id = "ease"
title = "Ease it"
how = "With paper."
minutes = 5.0
skill = "builder"
per = "digit"
undoes = ["gap"]
undoes_here = ["free"]
reopens = ["glued"]
"""


def load(tmp_path, text):
    path = tmp_path / "own.toml"
    path.write_text(text, encoding="utf-8")
    return load_protocol(path)


# --- the bundled one --------------------------------------------------------------------------


def test_the_bundled_protocol_is_found_by_name_and_hashed():
    p = bundled()
    assert bundled_protocols() == ("wrist-hand-1",)
    text = protocol_path("wrist-hand-1").read_text(encoding="utf-8")
    assert p.sha256 == sha256(text.encode()).hexdigest()


def test_it_fits_its_published_schema():
    jsonschema.Draft202012Validator.check_schema(protocol_schema())
    data = json.loads(json.dumps(read_toml(protocol_path("wrist-hand-1"))))
    jsonschema.validate(data, protocol_schema())
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(data | {"prior": 0.1}, protocol_schema())


def test_it_feeds_the_mechanics_every_observable_it_knows():
    named = {
        c.observable(place) for c in bundled().characteristics if c.reads for place in bundled().places(c.per)
    }
    assert named == OBSERVABLES


@pytest.mark.parametrize("c", bundled().characteristics, ids=lambda c: c.id)
def test_every_characteristic_says_what_a_person_needs(c):
    p = bundled()
    assert c.how.endswith((".", "!", "?"))
    assert c.why.endswith(".")
    assert len(c.why) <= 140, "one line"
    assert c.hold_point in {h.id for h in p.hold_points}
    assert c.held in {g.id for h in p.hold_points if h.id == c.hold_point for g in h.groups}
    assert c.source in p.sources
    decides = c.rule.limits is not None if isinstance(c.rule, NumberRule) else c.rule.decides
    assert bool(c.rework) == decides
    if isinstance(c.rule, AnswerRule):
        assert CANNOT_TELL not in c.rule.answers


@pytest.mark.parametrize("r", bundled().reworks, ids=lambda r: r.id)
def test_what_can_hurt_carries_its_caution(r):
    words = f"{r.title} {r.how} {' '.join(r.spares)}".lower()
    dangers = (
        "cyanoacrylate",
        "hot water",
        "cut that cord",
        "cut the old",
        "cut the cords",
        "acetone",
        "warm needle",
    )
    if any(danger in words for danger in dangers):
        assert r.caution, r.id


def test_every_cause_that_is_named_is_used():
    assert {f for c in bundled().characteristics for f in c.faults} == set(bundled().fault_words)


# --- one of your own --------------------------------------------------------------------------


def test_a_protocol_of_your_own_needs_no_code(tmp_path):
    p = load(tmp_path, OWN)
    assert [c.id for c in p.characteristics] == ["free", "gap"]
    assert p.characteristic("free").hold_point == "first"
    assert p.characteristic("free").prior_nonconforming == 0.05
    assert p.characteristic("gap").rule.limits.high == 2.0
    assert p.places("digit") == ("index", "thumb")


def test_the_hash_is_of_the_text_whatever_the_line_ends(tmp_path):
    first = load(tmp_path, OWN).sha256
    (tmp_path / "own.toml").write_bytes(b"\xef\xbb\xbf" + OWN.replace("\n", "\r\n").encode())
    assert load_protocol(tmp_path / "own.toml").sha256 == first
    assert load(tmp_path, OWN + "# changed\n").sha256 != first


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('held = "held"\n', 'held = "hold"\n', 'there is no group "hold"|Did you mean "held"?'),
        (
            'rework = ["ease"]\nsource = "guess"\nreads',
            'rework = ["easy"]\nsource = "guess"\nreads',
            'there is no rework "easy"',
        ),
        (
            'rework = ["ease"]\nsource = "guess"\nreads',
            'source = "guess"\nreads',
            "nothing is named that puts it right",
        ),
        ('faults = ["tight"]', 'faults = ["tigth"]', 'there is no fault "tigth"|Did you mean "tight"?'),
        ('source = "guess"\nreads', 'source = "gues"\nreads', 'there is no source "gues"'),
        ('rates_source = "guess"', 'rates_source = "made-up"', 'there is no source "made-up"'),
        ('id = "gap"', 'id = "free"', 'the id "free" stands twice'),
        ('id = "gap"', 'id = "held"', 'the id "held" stands twice'),
        ('id = "ease"', 'id = "glued"', 'the id "glued" stands twice'),
        ('{ id = "thumb", cord', '{ id = "index", cord', 'the id "index" stands twice'),
        ('id = "held-later"', 'id = "held"', "two groups, or a group and a hold point"),
        ('digit = "index" }]', 'digit = "ringfinger" }]', 'there is no digit "ringfinger"'),
        ('severity = "major"', 'severity = "mayor"', 'Did you mean "major"?'),
        ('per = "digit"\nfaults', 'per = "digits"\nfaults', 'Did you mean "digit"?'),
        ('reads = "free_{place}"', 'reads = "free"', "does not fit per"),
        ("miss_rate = 0.1\n", "miss_rate = 10\n", "less than 1"),
        ("miss_rate = 0.1\n", "", 'the key "miss_rate" is missing'),
        ("minutes = 0.5\n", "minutes = 0\n", "more than 0"),
        ('counts_only_if = ["free"]', 'counts_only_if = ["gap"]', "only if it held itself"),
        (
            'per = "digit"\nfaults',
            'per = "digit"\ncounts_only_if = ["gap"]\nfaults',
            "only if it held itself",
        ),
        ("max = 2.0", "max = 60.0", "do not lie between the plausible values"),
        ("max = 2.0", "min = 3.0, max = 2.0", "min is 3 and max 2"),
        ("u_common = 0.05", "u_common = 0.5", "u_common 0.5 is larger than u 0.1"),
        ("max = 2.0,", "max = 2.0, step = 0.1,", "step and step_what belong together"),
        ("max = 2.0,", 'max = 2.0, advisory = [{ text = "hm" }],', "it needs one of above and below"),
        (
            "max = 2.0,",
            'max = 2.0, advisory = [{ text = "hm", above = 1.0, rework = "eas" }],',
            'there is no rework "eas"',
        ),
        ("number_mm", 'accept = ["yes"]\nnumber_mm', "answered in more than one way"),
        ('faults = ["tight"]', 'faults = ["tight"]\naccept = ["ja"]', 'there is no answer "ja"'),
        ('faults = ["tight"]', 'faults = ["tight"]\nanswers = ["yes", "can\'t tell"]', "is always allowed"),
        ('after = "first"', 'after = "frist"', 'Did you mean "first"?'),
        ('hides = ["free"]', 'hides = ["gap"]', "has no substitute check"),
        ('hides = ["free"]', 'hides = ["fre"]', 'there is no characteristic "fre"'),
        ('reopens = ["glued"]', "", "does not reopen this step"),
        ('reopens = ["glued"]', 'reopens = ["glued", "sealed"]', 'there is no step "sealed"'),
        ('undoes = ["gap"]', 'undoes = ["gaps"]', "Did you mean"),
        ('per = "digit"\nundoes', "undoes", "it undoes something at its place, and it has none"),
        ('skill = "builder"', 'skill = "bilder"', 'Did you mean "builder"?'),
        ("handsel-protocol/1", "handsel-protocol/9", 'expected "handsel-protocol/1"'),
        ("critical = 0.95", "critical = 95", "less than 1"),
        ('title = "Two checks"', 'title = "Two\\nchecks"', "on one line"),
        ('title = "Two checks"', 'tittle = "Two checks"', 'Did you mean "title"?'),
    ],
)
def test_what_does_not_fit_is_named_with_its_remedy(tmp_path, old, new, said):
    assert old in OWN
    text = OWN.replace(old, new, 1)
    with pytest.raises(BadFile) as caught:
        load(tmp_path, text)
    assert "own.toml" in caught.value.where
    for part in said.split("|"):
        assert part in str(caught.value)


def test_a_condition_at_a_later_hold_point_is_refused(tmp_path):
    text = OWN.replace('counts_only_if = ["free"]\n', "").replace(
        'per = "digit"\nfaults', 'per = "digit"\ncounts_only_if = ["gap"]\nfaults'
    )
    with pytest.raises(BadFile, match="only checked at a later hold point"):
        load(tmp_path, text)


def test_messages_name_the_entry_by_its_own_id(tmp_path):
    with pytest.raises(BadFile) as caught:
        load(tmp_path, OWN.replace("max = 2.0", "max = 60.0"))
    assert '"gap"' in caught.value.where
    assert "number_mm" in caught.value.where


@pytest.mark.parametrize("name", ["wrist-hand", "wrist_hand_1", "no-such-thing", ""])
def test_an_unknown_name_gets_the_bundled_ones(name):
    with pytest.raises(BadFile, match="wrist-hand-1"):
        load_protocol(name)


def test_a_name_with_an_ending_is_a_path(tmp_path):
    with pytest.raises(BadFile, match="no such file"):
        load_protocol(str(tmp_path / "wrist-hand-1.toml"))


def test_a_protocol_kept_as_text_reads_back_the_same():
    text = protocol_text("wrist-hand-1")
    again = protocol_from_text(text, where="record")
    assert again == load_protocol("wrist-hand-1")
    with pytest.raises(BadFile, match="record"):
        protocol_from_text(text[: len(text) // 2], where="record")
