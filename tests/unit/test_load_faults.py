"""A fault catalogue is read, held against its protocol, and refused with file, key and remedy."""

from __future__ import annotations

from hashlib import sha256
from pathlib import Path

import pytest

from diagnosing import whole
from handsel.data.load_faults import BUNDLED, faults_text, load_faults
from handsel.data.load_protocol import load_protocol
from handsel.data.schemas import schema
from handsel.errors import BadFile

TEXT = (BUNDLED / "wrist-hand-1.toml").read_text(encoding="utf-8")


def refused(tmp_path: Path, old: str, new: str) -> str:
    """What is said of the bundled catalogue with one thing changed."""
    assert old in TEXT
    path = tmp_path / "mine.toml"
    path.write_text(TEXT.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(BadFile) as caught:
        load_faults(path, load_protocol())
    assert "mine.toml" in str(caught.value)
    assert caught.value.do
    return str(caught.value)


def test_its_text_has_the_fingerprint_that_a_record_names():
    text = faults_text("wrist-hand-1")
    assert text == TEXT
    assert sha256(text.encode()).hexdigest() == load_faults("wrist-hand-1", load_protocol()).sha256


def test_the_bundled_catalogue_has_every_kind_that_is_asked_for():
    kinds = {k.id for k in whole().kinds}
    assert kinds == {
        "loop-long", "loop-short", "thumb-cord-long", "thumb-cord-short", "all-cords-long", "all-cords-short",
        "cord-through-gap", "tips-swapped",
        "thumb-part-on-finger", "hinge-tight", "elastic-missing", "elastic-weak", "elastic-tight",
        "whippletree-jammed", "slide-pulled-in", "slide-canted", "screw-spins", "thumb-pin-off", "knot-slipped",
        "channel-friction", "wrist-tight", "cuff-uneven", "part-scale",
    }
    assert len({f.id for f in whole().faults}) == len(whole().faults) == 71


def test_every_look_that_the_protocol_knows_has_the_protocols_answers_and_places():
    protocol = load_protocol()
    for look in whole().observables:
        c = protocol.characteristic(look.id)
        if c is None:
            assert look.question, f"{look.id} is asked by the diagnosis alone and needs its question"
            continue
        assert set(look.places) <= set(protocol.places(c.per)), look.id
        if look.kind != "number":
            assert set(look.answers_of(look.places[0])) == set(c.rule.answers), look.id


def test_every_fault_changes_something_that_some_look_reads_or_shows():
    for fault in whole().faults:
        assert fault.kind.effects
        assert fault.title
        assert "{" not in fault.title
        assert "{" not in fault.where


def test_faults_that_cancel_or_exclude_each_other_are_no_pair():
    catalogue = whole()
    pairs = {(catalogue.faults[a].id, catalogue.faults[b].id) for a, b in catalogue.pairs}
    assert ("loop-long@index-middle", "loop-short@index-middle") not in pairs
    assert ("elastic-missing@index", "elastic-weak@index") not in pairs
    assert ("slide-pulled-in", "slide-canted") not in pairs
    assert ("thumb-pin-off@in", "thumb-pin-off@out") not in pairs
    assert ("loop-long@index-middle", "loop-long@ring-little") in pairs
    assert ("hinge-tight@index.knuckle", "hinge-tight@index.tip") in pairs


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('id = "loop-short"', 'id = "loop-long"', "stands twice"),
        ('protocol = "wrist-hand-1"', 'protocol = "another"', "goes with"),
        ("prior = 0.05", "prior = 1.2", "0.5"),
        ("prior = 0.05", 'prior = "often"', "number"),
        ("low = 3.0, typical = 6.0, high = 12.0", "low = 9.0, typical = 6.0, high = 12.0", "not in order"),
        ('do = "add", to = "cord-length"', 'do = "add", to = "whippletree"', "cannot be done"),
        ('of = "cord-through-hole", place', 'of = "cord-through-hose", place', "no look"),
        ('at = "{place}", times = 1.0 }]\nwhere', 'at = "{nose}", times = 1.0 }]\nwhere', "not known"),
        ("cuts = [0.3]", "cuts = [0.3, 0.5]", "cuts"),
        ('kinds = ["loop-long", "loop-long"]', 'kinds = ["loop-long", "loop-lost"]', "no fault"),
        ("[spread]", "[spread]\nunknown = 1.0", "not known here"),
        ('fails = "elastics-there"', 'fails = "elastics-their"', "no characteristic"),
        ("two_share = 0.2", "two_share = 0.9", "nothing is left"),
    ],
)
def test_a_slip_is_refused_where_it_stands(tmp_path, old, new, said):
    assert said in refused(tmp_path, old, new)


def test_a_name_that_is_not_bundled_is_refused_with_the_near_one():
    with pytest.raises(BadFile, match="wrist-hand-1"):
        load_faults("wrist-hand-2", load_protocol())


def test_priors_and_texts_do_not_enter_the_fingerprint_of_the_hands(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text(TEXT.replace("prior = 0.05", "prior = 0.2").replace("false_alarm = 0.02", "false_alarm = 0.05"))
    mine = load_faults(path, load_protocol())
    assert mine.sha256 != whole().sha256
    assert mine.physics_sha256 == whole().physics_sha256
    path.write_text(TEXT.replace("high = 14.0", "high = 15.0"))
    assert load_faults(path, load_protocol()).physics_sha256 != whole().physics_sha256


def test_the_schema_is_published():
    assert "fault" in schema("faults")["properties"]
    assert "sentence" in schema("diagnosis")["properties"]


def test_limits_on_what_is_simulated_are_those_of_the_protocol():
    limits = {limit.columns: (limit.low, limit.high) for limit in whole().limits}
    assert limits["worked_rest_deg",] == (30.0, None)
    assert limits["tilt_deg",] == (-5.0, 5.0)
    assert limits["thumb_tip_bend_deg",] == (None, 12.0)
    assert limits["left_bent_deg@ring",] == (None, 10.0)  # "yes" of two answers
    assert limits["tip_gap_mm@index", "tip_gap_mm@middle"][1] == 3.5  # one of them is enough
    assert ("lowered_rest_deg",) not in limits  # noted only
    assert ("thumb_slack_mm",) not in limits  # either answer will do
