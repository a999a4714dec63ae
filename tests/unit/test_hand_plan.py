"""The plan of one hand and the actions behind it: what comes first, what is never cut, what is told."""

import tomllib
from dataclasses import replace
from pathlib import Path

import jsonschema
import numpy as np
import pytest

from handsel.data.hand_plan_tables import searched_plan_table
from handsel.data.load_actions import BUNDLED, load_actions
from handsel.data.load_case import load_case
from handsel.data.load_design import load_design
from handsel.data.schemas import schema
from handsel.diagnosis.hands import columns_of
from handsel.diagnosis.likelihood import Item, Rows
from handsel.diagnosis.posterior import Posterior
from handsel.errors import BadFile
from handsel.inspection.undo import ReworkDone
from handsel.rework.hand.actions import acts_for, cured_by, ends_with_setting
from handsel.rework.hand.belief import believe
from handsel.rework.hand.length_ways import LengthWays, length_ways
from handsel.rework.hand.plan import plan_hand
from handsel.rework.hand.troubleshoot import GENTLE_CHANCE, Solver
from handsel.rework.hand.way import way_of_plan
from handsel.rework.hand.words import in_words

ROOT = Path(__file__).parents[2]
FILE = BUNDLED / "wrist-hand-1-actions.toml"


def posterior_of(catalogue, shares):
    """A posterior with these sets of faults, one hand each; ids joined by " + ", "" for faultless."""
    index = {f.id: f.index for f in catalogue.faults}
    sets = ["", *index, *(k for k in shares if " + " in k)]
    strata = np.full((len(sets), 2), -1, dtype=np.int16)
    for row, named in zip(strata, sets, strict=True):
        for j, one in enumerate(named.split(" + ") if named else []):
            row[j] = index[one]
    weight = np.array([shares.get(named, 0.0) for named in sets])
    columns = columns_of(catalogue)
    by_fault = np.zeros(len(index))
    for w, row in zip(weight, strata, strict=True):
        by_fault[row[row >= 0]] += w
    rows = Rows(
        columns=columns,
        seen=np.zeros((len(columns), len(sets)), dtype=np.float32),
        blur=np.zeros((len(columns), len(sets)), dtype=np.float32),
        strata=strata,
        stratum=np.arange(len(sets), dtype=np.int32),
        scale_miss=0.0,
    )
    return Posterior(
        rows=rows,
        severity=np.zeros((len(sets), 2), dtype=np.float32),
        weight=weight,
        by_set=weight,
        by_fault=by_fault,
        effective_hands=100.0,
        refined=False,
    )


@pytest.fixture(scope="module")
def all_shown(catalogue):
    """Everything looked at with its group, so that nothing is left that nobody has looked at."""
    return tuple(
        Item(look=o, place=place, answer=None, value=None, u=0.0, in_group=True)
        for o in catalogue.observables
        for place in o.places
    )


@pytest.fixture
def plan_of(catalogue, actions, protocol, all_shown):
    def plan(shares, **more):
        given = {"hold_point": "strung", "seen": all_shown} | more
        return plan_hand(posterior_of(catalogue, shares), catalogue, actions, protocol, **given)

    return plan


def test_a_known_cause_is_put_right_at_its_place(plan_of):
    plan = plan_of({"hinge-tight@ring.tip": 0.97, "": 0.03})
    first = plan.first
    assert (first.kind, first.reworks[0].rework, first.reworks[0].place) == ("rework", "ease-hinge", "ring")
    assert first.title == "Ease a digit's hinge (ring, tip)"
    assert first.p_conforms == pytest.approx(0.97 * 0.92, abs=0.01)
    assert plan.p_first_try == first.p_conforms
    assert "About" in plan.sentence


def test_a_quick_look_settles_which_of_two_dear_reworks_it_is(plan_of):
    """A swapped tip shows at a glance; restringing for a wrong guess would cost half an hour."""
    plan = plan_of({"tips-swapped@index-middle": 0.5, "thumb-part-on-finger@index": 0.5})
    assert plan.first.kind == "check"
    assert plan.first.minutes < 1.5
    assert {a.of for a in plan.first.asked} & {"tip-looks", "short-tips-index-little", "long-tips-middle-ring"}
    assert plan.expected_minutes < plan.no_check_minutes - 5.0
    led = {t.on: t.step for t in plan.first.then if t.step is not None}
    assert len(led) >= 2
    assert len({step.title for step in led.values()}) >= 2  # what is seen decides what is done
    assert plan.p_first_try > 0.8


def test_two_probable_causes_are_put_right_before_one_look(plan_of):
    plan = plan_of({"wrist-tight + elastic-missing@ring": 0.95, "wrist-tight": 0.03, "": 0.02})
    rework = plan.first_rework()
    assert {r.rework for r in rework.reworks} == {"ease-wrist", "replace-elastic"}
    assert rework.title.count("; then ") == 1
    assert rework.way is not None
    assert rework.way.spares == {"elastic for one digit": 1}


def test_what_seems_faultless_is_looked_at_again_first(plan_of):
    plan = plan_of({"": 0.9, "loop-long@index-middle": 0.1})
    assert plan.first.title == "Look again at what did not hold"
    assert plan.first.p_conforms == pytest.approx(0.9, abs=0.01)


def test_when_nothing_fits_the_last_resort_is_in_the_plan(plan_of):
    plan = plan_of({"wrist-tight": 1.0}, none_fits=True)
    assert plan.expected_minutes > 50.0
    step = plan.first
    kinds = [step.kind]
    while (after := next((t.step for t in step.then if t.on == "not yet"), None)) is not None:
        step = after
        kinds.append(step.kind)
    assert kinds[-1] == "last resort"


def test_no_knot_is_cut_for_what_a_screw_or_an_easing_cures(catalogue, actions, protocol):
    """At every belief drawn: among the acts let, none cuts where most of what it cures is cured gently."""
    rng = np.random.default_rng(3)
    ids = [f.id for f in catalogue.faults]
    cut_seen = False
    for _ in range(25):
        some = rng.choice(ids, 6, replace=False)
        shares = dict(zip(some, rng.dirichlet(np.ones(6)), strict=True))
        belief = believe(
            posterior_of(catalogue, shares),
            catalogue,
            actions,
            protocol,
            hold_point="strung",
            lengths=None,
            none_fits=False,
            done=set(),
        )
        solver, b = Solver(belief.problem), belief.problem.weight
        allowed = solver.admissible(b, solver.all_acts)
        soft = solver.cures[belief.problem.gentle].max(0) >= GENTLE_CHANCE
        for k, step in enumerate(belief.steps):
            if allowed[k] and not step.gentle:
                cut_seen = True
                gain = solver.cures[k] * b
                assert gain[soft].sum() <= 0.1 * gain.sum() + 1e-9
    assert cut_seen


def test_cutting_waits_for_the_screws_even_where_it_is_surer(plan_of, protocol):
    case = load_case(ROOT / "examples" / "03-a-little-shallow.toml")
    lengths = length_ways(case, protocol, load_design("linden"))
    assert lengths is not None
    assert lengths.slides is not None
    assert lengths.slides.p_success > 0.5
    assert 0.0 < lengths.slides.screw_turns <= 4.0
    plan = plan_of({"loop-long@index-middle": 0.6, "loop-long@ring-little": 0.4}, lengths=lengths)
    assert [r.rework for r in plan.first.reworks] == list(lengths.slides.reworks)
    assert plan.first.lengths is not None
    assert 30.0 < plan.first.lengths.worked_rest_angle_deg.value < 45.0
    assert not plan.first.way.cuts
    assert "would cure causes that something gentler cures too" in plan.kept


@pytest.fixture
def every_look(catalogue):
    return {(o.id, place) for o in catalogue.observables for place in o.places}


def test_what_tells_of_the_cords_is_read_twice_before_an_unsure_change_and_no_third_time(
    plan_of, protocol, actions, every_look
):
    case = load_case(ROOT / "examples" / "03-a-little-shallow.toml")
    found = length_ways(case, protocol, load_design("linden"))
    unsure = replace(found, slides=replace(found.slides, p_success=0.7), cords={}, every=None)
    shares = {"loop-long@index-middle": 0.6, "loop-long@ring-little": 0.4}
    plan = plan_of(shares, lengths=unsure)
    assert plan.first.kind == "check"
    assert {a.of for a in plan.first.asked} == set(actions.setting.reads)
    assert plan.first_rework().lengths is unsure.slides
    read = plan_of(shares, lengths=unsure, done=every_look)
    assert read.first.lengths is unsure.slides
    assert plan.expected_minutes == pytest.approx(read.expected_minutes + plan.first.minutes)
    sure = replace(found, slides=replace(found.slides, p_success=0.99), cords={}, every=None)
    assert plan_of(shares, lengths=sure).first.kind == "rework"


def test_what_nobody_has_looked_at_yet_comes_before_any_change(plan_of, all_shown):
    """A hand has two faults more often than one thinks, and a record with gaps shows one of them."""
    shares = {"wrist-tight": 0.97, "": 0.03}
    gap = ("finger-cords-taut", "ring")
    plan = plan_of(shares, seen=[i for i in all_shown if i.key != gap])
    assert plan.first.kind == "check"
    assert [(a.of, a.place, a.again) for a in plan.first.asked] == [(*gap, False)]
    assert [r.rework for r in plan.first_rework().reworks] == ["ease-wrist"]
    # Part of the protocol or not: what shows in no movement is measured too; what tells next to nothing is left.
    sizes = plan_of(shares, seen=[i for i in all_shown if i.key != ("tip-size", "ring")])
    assert [(a.of, a.place) for a in sizes.first.asked] == [("tip-size", "ring")]
    assert plan_of(shares, seen=[i for i in all_shown if i.key != ("springs-back", "ring.tip")]).first.kind == "rework"
    whole = plan_of(shares)
    assert [r.rework for r in whole.first.reworks] == ["ease-wrist"]
    assert plan.expected_minutes == pytest.approx(whole.expected_minutes + plan.first.minutes)
    assert plan_of(shares, seen=[i for i in all_shown if i.key != gap], done={gap}).first.kind == "rework"


@pytest.mark.parametrize(("now_p", "moved"), [(0.8, False), (0.3, True)])
def test_slides_are_moved_for_no_known_cause_only_where_they_probably_stand_wrong(
    catalogue, actions, protocol, all_shown, now_p, moved
):
    """A reading that is a degree off would otherwise move them, and the digits then no longer keep together."""
    case = load_case(ROOT / "examples" / "03-a-little-shallow.toml")
    found = replace(length_ways(case, protocol, load_design("linden")), now_p=now_p)
    belief = believe(
        posterior_of(catalogue, {"": 0.9, "wrist-tight": 0.1}),
        catalogue,
        actions,
        protocol,
        hold_point="strung",
        lengths=found,
        none_fits=False,
        seen=all_shown,
    )
    assert any(step.lengths is found.slides for step in belief.steps) is moved


def test_two_causes_that_no_look_can_part_are_both_put_right_before_one_look(plan_of, every_look):
    shares = {"hinge-tight@ring.tip": 0.5, "elastic-weak@ring": 0.5}
    blind = plan_of(shares, done=every_look)
    assert {r.rework for r in blind.first.reworks} == {"ease-hinge", "replace-elastic"}
    assert blind.p_first_try > 0.9
    seeing = plan_of(shares)
    assert seeing.first.kind == "check"
    assert seeing.expected_minutes < blind.expected_minutes


def test_no_two_reworks_before_one_look_move_the_same_slide(catalogue, actions, protocol, all_shown):
    """Ten turns out by what the hand shows, and then fully forward, would be said in one breath."""
    case = load_case(ROOT / "examples" / "05-screws-pulled-in.toml")
    found = length_ways(case, protocol, load_design("linden"), actions.setting)
    shares = {
        "slide-pulled-in + thumb-cord-long": 0.4,
        "slide-pulled-in + thumb-pin-off@in": 0.3,
        "slide-canted + thumb-pin-off@in": 0.3,
    }
    belief = believe(
        posterior_of(catalogue, shares),
        catalogue,
        actions,
        protocol,
        hold_point="strung",
        lengths=found,
        none_fits=False,
        seen=all_shown,
    )
    screws = {"turn-screws-in", "turn-screws-out", "even-screws"}
    assert any(len(step.reworks) > 1 for step in belief.steps)
    for step in belief.steps:
        done = [r.rework for r in step.reworks]
        assert len(screws.intersection(done)) <= 1, step.title
        assert step.title.lower().count("tension pin") <= 1, step.title
    # Slides moved by what the hand shows come to stand within their allowance: that ends a pulled-in one as well.
    moved = next(step for step in belief.steps if step.lengths is found.slides and "; then " not in step.title)
    assert {"slide-pulled-in", "thumb-pin-off@in", "thumb-cord-long"} <= set(moved.cures)


def test_whoever_reworked_looks_before_handing_over_so_more_hands_are_good_then(plan_of, every_look):
    plan = plan_of({"wrist-tight": 0.5, "elastic-missing@ring": 0.3, "tips-swapped@index-ring": 0.2}, done=every_look)
    assert plan.p_first_try < 0.9
    assert plan.p_first_try < plan.p_handed_over < 1.0


def test_reworks_of_cords_and_slides_end_with_setting_the_hand_and_others_do_not(actions, protocol):
    for rework, sets in (("restring-loop", True), ("move-thumb-pin", True), ("adjust-elastic", False)):
        place = next(iter(protocol.places(protocol.rework(rework).per)), "")
        assert ends_with_setting([ReworkDone(rework=rework, place=place)], actions, protocol) is sets


def test_once_looked_at_again_the_hand_is_not_called_faultless(plan_of):
    shares = {"": 0.9, "wrist-tight": 0.1}
    plan = plan_of(shares, looked_again=True)
    assert [r.rework for r in plan.first.reworks] == ["ease-wrist"]
    assert plan.first.p_conforms == pytest.approx(0.94, abs=0.01)


def test_screws_are_turned_for_lengths_only(catalogue, actions):
    for act in acts_for(catalogue.faults, actions, catalogue):
        if act.rework == "turn-screws-in":
            assert {f.split("@")[0] for f in act.cures} <= {"loop-long", "all-cords-long", "knot-slipped"}


def test_without_an_angle_there_is_nothing_the_model_knows_of_lengths(protocol):
    case = load_case(ROOT / "examples" / "01-good-hand.toml")
    blind = tuple(o for o in case.observations if "rest-angle" not in o.of)
    assert length_ways(replace(case, observations=blind), protocol, load_design("linden")) is None


def test_a_sound_hand_needs_no_slide_moved(protocol):
    case = load_case(ROOT / "examples" / "01-good-hand.toml")
    found = length_ways(case, protocol, load_design("linden"))
    assert isinstance(found, LengthWays)
    assert set(found.cords) == {"index-middle", "ring-little", "thumb"}
    assert found.every is not None
    assert found.every.p_success > 0.8


def test_the_plan_is_a_way_for_the_day(plan_of):
    plan = plan_of({"hinge-tight@ring.tip": 0.97, "": 0.03})
    way = way_of_plan(plan)
    # Easing takes 8 minutes; whoever did it makes the re-checks first, before the inspector does.
    assert way.minutes == pytest.approx(8.0 + way.recheck_minutes)
    assert (way.skill, way.p_success) == ("builder", plan.p_first_try)
    looked = plan_of({"tips-swapped@index-middle": 0.5, "thumb-part-on-finger@index": 0.5})
    assert way_of_plan(looked).minutes > looked.first_rework().way.minutes
    assert way_of_plan(looked).title.startswith("Check first: ")
    assert way_of_plan(looked).title.endswith(f"Then most likely: {looked.first_rework().title}")
    again = way_of_plan(plan_of({"": 1.0}))
    assert again.minutes == 0.0
    assert again.recheck_minutes > 0.0


def test_one_question_about_several_digits_is_asked_once(plan_of):
    plan = plan_of({"tips-swapped@index-middle": 0.5, "thumb-part-on-finger@index": 0.5})
    told = in_words(plan.first.asked)
    assert len(told) == len({(a.of, a.again) for a in plan.first.asked})
    assert sum(len(where.replace(" and ", ", ").split(", ")) for _, where in told if where) == sum(
        bool(a.place) for a in plan.first.asked
    )
    assert all(f"({where})" in plan.sentence for _, where in told if where)


def test_the_plan_as_json_fits_its_schema(plan_of):
    plan = plan_of({"tips-swapped@index-middle": 0.5, "thumb-part-on-finger@index": 0.5})
    told = searched_plan_table(plan).model_dump(mode="json")
    whole = schema("hand-plan")
    jsonschema.validate(told, {"$defs": whole["$defs"], "$ref": "#/$defs/SearchedPlanTable"})
    assert told["first"]["then"][0]["probability"] == pytest.approx(plan.first.then[0].probability)


def test_probabilities_of_what_follows_sum_to_one(plan_of):
    plan = plan_of({"tips-swapped@index-middle": 0.4, "wrist-tight": 0.3, "loop-short@ring-little": 0.3})
    waiting = [plan.first]
    while waiting:
        step = waiting.pop()
        if step.then:
            assert sum(t.probability for t in step.then) == pytest.approx(1.0, abs=1e-6)
        waiting += [t.step for t in step.then if t.step is not None]


def test_every_cause_is_cured_by_something_at_a_place_that_is_there(catalogue, actions, protocol):
    for fault in catalogue.faults:
        acts = acts_for([fault], actions, catalogue)
        assert acts, fault.id
        for act in acts:
            rework = protocol.rework(act.rework)
            assert act.place == "" or act.place in protocol.places(rework.per)
            assert fault.id in act.cures


def test_what_a_rework_cures_is_known_for_confirming(catalogue, actions):
    found = cured_by("ease-hinge", "index", actions, catalogue)
    assert set(found) == {("hinge-tight", "index.knuckle"), ("hinge-tight", "index.tip")}
    assert ("loop-long", "ring-little") in cured_by("restring-loop", "ring-little", actions, catalogue)


def test_the_bundled_file_fits_its_published_schema():
    jsonschema.validate(tomllib.loads(FILE.read_text(encoding="utf-8")), schema("actions"))


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('rework = "ease-wrist"', 'rework = "ease-wrists"', 'no rework "ease-wrists".*Did you mean "ease-wrist"'),
        ('fault = "wrist-tight"', 'fault = "wrist-tigh"', 'no cause "wrist-tigh"'),
        ('fault = "wrist-tight", at = ""', 'fault = "wrist-tight", at = "{toe}"', 'no word "toe"'),
        ('fault = "wrist-tight", at = ""', 'fault = "wrist-tight", at = "{place"', "brackets"),
        ('fault = "channel-friction", at = "{place}"', 'fault = "channel-friction", at = "palm"', "cannot be done"),
        ('at = "", chance = 0.94', 'at = "", chance = 1.4', "at most 1"),
        ('at = "", chance = 0.94', 'at = "", odds = 0.94', "not known here"),
        ('catalogue = "wrist-hand-1"', 'catalogue = "other"', 'it is for "other"'),
        ('format = "handsel-actions/1"', 'format = "x/1"', "format"),
        ('undoes = "worked-rest-angle"', 'undoes = "worked-rest-angel"', 'no characteristic "worked-rest-angel"'),
        ('"whippletree-level", "thumb', '"whippletree-levle", "thumb', 'no look "whippletree-levle"'),
        ('looks = ["fingers-move-together"', 'looks = ["fingers-move"', 'no look "fingers-move"'),
        ("own_look_sees = 0.85", "own_look_sees = 1.85", "at most 1"),
        ('sees = "fingers-move-together"', 'sees = "fingers-move"', 'no look "fingers-move"'),
        ('rework = "adjust-elastic"\ntitle', 'rework = "ease-wrist"\ntitle', "cannot be done where"),
        ('rework = "adjust-elastic"\ntitle', 'rework = "adjust-elastics"\ntitle', 'no rework "adjust-elastics"'),
        ("apart_share = 0.25", "apart_share = 1.0", "less than 1"),
        ('always = ["part-size"', 'always = ["part-sise"', 'no look "part-sise"'),
        ("at_once = 12", "at_once = 0", "expected 1 or more"),
        ('[last_resort]\nrework = "take-apart"', '[last_resort]\nrework = "burn"', 'no rework "burn"'),
    ],
)  # fmt: skip
def test_mistakes_in_actions_are_named(tmp_path, catalogue, protocol, old, new, says):
    text = FILE.read_text(encoding="utf-8")
    assert text.count(old) == 1
    path = tmp_path / "actions.toml"
    path.write_text(text.replace(old, new), encoding="utf-8")
    with pytest.raises(BadFile, match=says):
        load_actions(path, catalogue, protocol)


def test_a_cause_that_nothing_cures_is_noticed(tmp_path, catalogue, protocol):
    text = FILE.read_text(encoding="utf-8")
    block = text[text.index('[[action]]\nrework = "ease-wrist"') :]
    block = block[: block.index("[[action]]", 5)]
    path = tmp_path / "actions.toml"
    path.write_text(text.replace(block, ""), encoding="utf-8")
    with pytest.raises(BadFile, match='no action cures "wrist-tight"'):
        load_actions(path, catalogue, protocol)
