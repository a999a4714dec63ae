"""Learning from confirmed causes: what counts, the figures, the file, and how it is taken back."""

from dataclasses import replace
from pathlib import Path

import pytest

from handsel.data.load_case import load_case
from handsel.data.load_confirmed import confirmed_text, load_confirmed
from handsel.data.load_protocol import load_protocol
from handsel.errors import BadFile, OutOfRange
from handsel.inspection.deciding import inspect
from handsel.inspection.undo import ReworkDone
from handsel.rework.learning import Confirmed, TakenBack, cure_confirmed, fingerprint, learned_priors

EXAMPLES = Path(__file__).parents[2] / "examples"
OWN = {"loop-long": 0.12, "whippletree-jammed": 0.04, "hinge-tight": 0.10}


def entry(number, fault="hinge-tight", **more):
    given = {
        "code": "R-014",
        "serial": "H-0031",
        "on": "2026-11-21",
        "by": "inspector 2",
        "place": "index.knuckle",
        "rework": "ease-hinge",
        "symptom": "fingers-move-together index",
    }
    return Confirmed(number=number, fault=fault, **(given | more))


def back(number, of):
    return TakenBack(number=number, of=of, on="2026-11-22", by="lead", reason="it was the elastic")


def learned(entries, **more):
    return learned_priors(OWN, entries, catalogue_version="1.0.0", **more)


def test_ten_confirmed_hinges_move_the_shares_as_dirichlet_counts_do():
    """Own shares weigh 60: (60 x 0.10 / 0.26 + 10) / 70 of 0.26."""
    found = learned([entry(k) for k in range(1, 11)])
    assert found.priors["hinge-tight"] == pytest.approx(0.26 * (60 * 0.10 / 0.26 + 10) / 70)
    assert found.priors["loop-long"] == pytest.approx(0.26 * (60 * 0.12 / 0.26) / 70)
    assert found.counts == {"hinge-tight": 10}
    assert found.at_bound == ()


def test_nothing_confirmed_leaves_the_catalogue_as_it_is():
    found = learned([])
    assert found.priors == OWN
    assert found.version == "1.0.0"


def test_a_thousand_of_one_kind_stop_at_the_bound():
    found = learned([entry(k, "whippletree-jammed") for k in range(1, 1001)])
    assert found.priors["whippletree-jammed"] == pytest.approx(4 * 0.04)
    assert "whippletree-jammed" in found.at_bound
    assert sum(found.priors.values()) == pytest.approx(0.26)


def test_each_entry_makes_a_version_of_its_own_and_taking_back_makes_another():
    one, two = [entry(1)], [entry(1), entry(2, "loop-long")]
    undone = [*two, back(3, 2)]
    versions = {learned(e).version for e in ([], one, two, undone)}
    assert len(versions) == 4
    assert learned(undone).priors == learned(one).priors  # exactly
    assert fingerprint(two) != fingerprint([entry(1), entry(2, "loop-long", code="R-015")])


@pytest.mark.parametrize(
    ("entries", "says"),
    [
        ([entry(2)], "entry 1 is numbered 2"),
        ([entry(1, "gremlins")], "the catalogue does not know"),
        ([back(1, 1)], "takes back entry 1, which does not stand"),
        ([entry(1), back(2, 1), back(3, 1)], "takes back entry 1, which does not stand"),
    ],
)
def test_entries_that_cannot_be_are_refused(entries, says):
    with pytest.raises(OutOfRange, match=says):
        learned(entries)


@pytest.mark.parametrize("bad", [{"strength": 0.0}, {"cap": -1.0}, {"bound": 0.5}, {"strength": float("nan")}])
def test_settings_that_cannot_be_are_refused(bad):
    with pytest.raises(OutOfRange):
        learned([entry(1)], **bad)


def test_the_file_gives_back_what_was_written(tmp_path):
    entries = (entry(1), entry(2, "loop-long", place="index-middle"), back(3, 1), entry(4, place=""))
    path = tmp_path / "confirmed.toml"
    path.write_text(
        confirmed_text(entries, catalogue="wrist-hand-1", catalogue_version="1.0.0"), encoding="utf-8"
    )
    assert load_confirmed(path, catalogue="wrist-hand-1") == entries


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('fault = "hinge-tight"', 'fault = "loop-long"', "fingerprint does not fit"),
        ('by = "inspector 2"', 'by = "Anna"', "a role and never a name"),
        ('code = "R-014"', "", 'the key "code" is missing'),
        ("number = 1", "number = 0", "number"),
        ('catalogue = "wrist-hand-1"', 'catalogue = "other"', 'about the catalogue "other"'),
        ('rework = "ease-hinge"', 'rework = "ease-hinge"\ntakes_back = 1', "takes an entry back and has code too"),
        ("on = 2026-11-21", 'on = "soon"', "on"),
    ],
)
def test_a_file_changed_by_hand_is_noticed(tmp_path, old, new, says):
    text = confirmed_text([entry(1)], catalogue="wrist-hand-1", catalogue_version="1.0.0")
    assert text.count(old) == 1
    path = tmp_path / "confirmed.toml"
    path.write_text(text.replace(old, new), encoding="utf-8")
    with pytest.raises(BadFile, match=says):
        load_confirmed(path, catalogue="wrist-hand-1")


JAMMED = ("whippletree-jammed", "", 0.9)
FREED = [ReworkDone(rework="free-whippletree")]


@pytest.fixture(scope="module")
def sides():
    """A hand with a jammed whippletree, and the same hand once it rocks again."""
    protocol = load_protocol()
    case = load_case(EXAMPLES / "07-jammed-whippletree.toml")
    before = inspect(case, protocol)
    wrong = {i.key for i in before.items if i.status == "does not conform"}
    assert ("whippletree-rocks-strung", "") in wrong
    fixed = [
        replace(o, answer="yes") if (o.of, o.place) == ("whippletree-rocks-strung", "") else o
        for o in case.observations
    ]
    return before, inspect(replace(case, observations=tuple(fixed)), protocol)


def test_a_cure_confirms_its_cause(sides):
    found = cure_confirmed(*sides, FREED, [JAMMED], [("whippletree-jammed", "")])
    assert found.confirmed
    assert (found.fault, found.rework) == ("whippletree-jammed", "free-whippletree")
    assert found.symptom == "whippletree-rocks-strung"


def test_what_is_not_proven_is_not_counted(sides):
    before, after = sides
    able = [("whippletree-jammed", "")]
    other = ReworkDone(rework="ease-wrist")
    two = [JAMMED, ("slide-canted", "", 0.5)]
    cases = [
        ((before, after, [*FREED, other], [JAMMED], able), "several things"),
        ((before, after, [], [JAMMED], able), "nothing was changed"),
        ((before, before, FREED, [JAMMED], able), "nothing that did not hold"),
        ((before, after, FREED, [("loop-long", "index-middle", 0.9)], able), "none of the suspected"),
        ((before, after, FREED, two, [*able, ("slide-canted", "")]), "none stood out"),
    ]
    for arguments, says in cases:
        found = cure_confirmed(*arguments)
        assert not found.confirmed
        assert says in found.reason
    hand = replace(after.case.hand, serial="H-9999")
    stranger = replace(after, case=replace(after.case, hand=hand))
    assert "two different hands" in cure_confirmed(before, stranger, FREED, [JAMMED], able).reason


def test_a_rework_that_breaks_something_else_confirms_nothing(sides):
    before, after = sides
    held = next(i for i in before.items if i.status == "conforms")
    items = tuple(replace(i, status="does not conform") if i.key == held.key else i for i in after.items)
    found = cure_confirmed(
        before, replace(after, items=items), FREED, [JAMMED], [("whippletree-jammed", "")]
    )
    assert "held before and does not now" in found.reason
