"""Can a hand be let go with something open, by any order of requests? And does it ever get stuck?

A crew of four presses things at random, out of turn, twice, with pages that are out of date and with made-up
bodies. After every press the record has to be whole, and a release has to be one that the core agrees with.
In the end a willing crew takes the hand over from wherever that left it, and has to bring it home.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from django.db import transaction
from django.test import Client
from hypothesis import HealthCheck, Phase
from hypothesis import settings as tries
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule, run_state_machine_as_test

from bench.hall import Hall
from handsel.bench.days.models import Day
from handsel.bench.hands.casebook import Told, case_of, protocol_kept, read, told_of
from handsel.bench.hands.models import Entry, Hand, KeptText, Standing
from handsel.bench.hands.services import begin_hand, keep_protocol
from handsel.bench.looking.answering import known
from handsel.bench.people.models import Person
from handsel.bench.records.verifying import one_hand
from handsel.bench.work.cards import open_cards
from handsel.inspection.deciding import inspect
from handsel.inspection.protocol import HAND, SUBSTITUTE, Protocol
from handsel.inspection.rules import NumberRule

DRILL = Path(__file__).parent / "drill.toml"
CREW = ("builder", "inspector", "fitter", "lead")
OVER = (Standing.RELEASED, Standing.HANDED_OVER, Standing.SCRAPPED)
MOST_PRESSES = 60  # of a willing crew, from anywhere to home


def second_version(tmp_path: Path) -> KeptText:
    """The same protocol with the mark made critical and a narrower weight, as a lead might change it at noon."""
    text = DRILL.read_text(encoding="utf-8").replace('version = "1"', 'version = "2"')
    text = text.replace("min = 90.0", "min = 95.0").replace('severity = "minor"', 'severity = "critical"')
    path = tmp_path / "drill-2.toml"
    path.write_text(text, encoding="utf-8")
    return keep_protocol(str(path))


class Bench:
    """One hand and its crew, over HTTP alone."""

    def __init__(self, hall: Hall, texts: tuple[KeptText, ...]) -> None:
        self.hall, self.texts, self.count = hall, texts, 0
        Day.objects.filter(pk=hall.day.pk).update(protocol=texts[0])
        hall.day.refresh_from_db()
        self.hand = begin_hand(
            day=hall.day, recipient_code="R-014", side="right", scale_ratio=1.1, person=hall.lead
        )
        self.clients = {who: hall.client(getattr(hall, who)) for who in CREW}
        self.said: list[str] = []

    def fresh(self) -> str:
        """An id as pages and phones make them."""
        self.count += 1
        return f"{self.count:032x}"

    @property
    def now(self) -> Hand:
        self.hand = Hand.objects.select_related("design", "protocol").get(pk=self.hand.pk)
        return self.hand

    @property
    def told(self) -> tuple[Told, ...]:
        return told_of(self.hand)

    @property
    def protocol(self) -> Protocol:
        return protocol_kept(self.now.protocol_id)

    def press(self, who: str, path: str, *, twice: bool = False, **data: Any) -> int:
        """Send a form."""
        client: Client = self.clients[who]
        data = {"client_id": self.fresh()} | data
        status = 0
        for _ in range(1 + twice):
            response = client.post(f"/h/{self.hand.code}/{path}", data)
            status = status or response.status_code
            assert response.status_code < 500, (who, path, data)
        self.said.append(f"{who} {path} {data} -> {status}")
        return status

    def send(self, who: str, *entries: dict[str, Any], twice: bool = False) -> list[str]:
        """Send answers as a phone does; what became of each."""
        person: Person = getattr(self.hall, who)
        common = {"by": person.number, "seen_count": 0}
        body = {"entries": [common | {"client_id": self.fresh()} | e for e in entries]}
        states: list[str] = []
        for _ in range(1 + twice):
            response = self.clients[who].post(
                f"/h/{self.hand.code}/answers/",
                json.dumps(body),
                content_type="application/json",
                headers={"Accept": "application/json"},
            )
            assert response.status_code < 500, body
            states = states or [r["state"] for r in response.json().get("results", [])]
        self.said.append(f"{who} answers {entries} -> {states}")
        return states

    def answer(self, of: str, place: str, *, good: bool = True, method: str = "") -> dict[str, Any]:
        """An answer in the terms of the check."""
        c = self.protocol.characteristic(of)
        assert c is not None
        entry: dict[str, Any] = {
            "kind": "observed",
            "of": of,
            "place": place,
            "protocol": self.now.protocol_id,
        }
        if method == SUBSTITUTE:
            return entry | {"answer": "yes" if good else "no", "method": SUBSTITUTE}
        if isinstance(c.rule, NumberRule):
            return entry | {"value": 100.0 if good else 140.0, "unit": c.rule.unit}
        return entry | {"answer": "yes" if good else "no"}

    def head(self) -> str:
        return self.now.head_sha256


# ---- what always has to be true ---------------------------------------------------------------------


def open_at_release(hand: Hand) -> list[str]:
    """What the core finds open, judged from the record as it was when the hand was released."""
    told = told_of(hand)
    at = next(t.seq for t in told if t.kind == "released")
    before = [t for t in told if t.seq < at]
    protocol = protocol_kept(hand.protocol_id)
    last = protocol.hold_points[-1].id
    found = inspect(case_of(hand, before, hold_point=last), protocol)
    return [i.called for i in found.items if i.severity != "minor" and i.is_open] + [
        f"conceded: {i.called}" for i in found.items if i.severity == "critical" and i.conceded_by
    ]


def must_hold(bench: Bench) -> None:
    hand = bench.now
    findings, count = one_hand(hand.pk, {p.number: p for p in Person.objects.all()})
    assert findings == [], (findings, bench.said)
    assert count == hand.entry_count
    told = bench.told
    for t in told:
        if t.kind == "conceded":
            c = protocol_kept(bench.texts[0].pk).characteristic(t.what["of"])
            assert c is not None
            assert c.severity != "critical", bench.said
            assert t.by["number"] == bench.hall.lead.number, bench.said
    released = [t for t in told if t.kind == "released"]
    assert len(released) <= 1, bench.said
    assert bool(released) == (hand.standing in (Standing.RELEASED, Standing.HANDED_OVER)), bench.said
    if released:
        assert released[0].by["number"] in (bench.hall.fitter.number, bench.hall.lead.number)
        assert open_at_release(hand) == [], bench.said
        assert open_cards([t for t in told if t.seq < released[0].seq]) == (), bench.said
        after = {t.kind for t in told if t.seq > released[0].seq}
        assert after <= {"handed-over", "noted"}, bench.said


# ---- the willing crew ---------------------------------------------------------------------------------


def go_on(bench: Bench) -> bool:
    """One sensible step by whoever it is for; False when there is none, or nothing came of it."""
    hand, before = bench.now, bench.hand.head_sha256
    cards = open_cards(bench.told)
    looker = "fitter" if hand.hold_point == "fitting" else "inspector"
    if hand.standing == Standing.TO_RELEASE:
        bench.press("fitter", "release/", seen=before)
    elif cards:
        card = cards[0]
        who = "lead" if card.what.get("skill") == "lead" else "builder"
        ticked = [str(n) for n in range(len(card.what["steps"]))]
        bench.press(who, f"cards/{card.seq}/done/", ticked=ticked)
    elif hand.standing in (Standing.TO_PUT_RIGHT, Standing.FOR_LEAD):
        if bench.press("lead", "order/") != 303:  # its ground has changed: it is looked at again
            bench.press("lead", "decide/look-again/", seen_count=hand.entry_count)
    else:
        look_at_all(bench, looker)
        bench.press(looker, "ask/", hold_point=bench.now.hold_point)
    return bench.now.head_sha256 != before


def look_at_all(bench: Bench, looker: str) -> None:
    """Everything that is not settled is looked at; what cannot be seen by its other check, or opened again."""
    k = known(bench.now)
    for item in k.inspection().items:
        c = k.protocol.characteristic(item.id)
        if c is None or not item.is_open:
            continue
        if bench.send(looker, bench.answer(item.id, item.place)) == ["stored"]:
            continue
        if c.substitute is not None:
            states = bench.send(looker, bench.answer(item.id, item.place, method=SUBSTITUTE))
            assert states == ["stored"], (item.called, bench.said)
            continue
        bench.press("builder", "build/did/", step="uncap")
        bench.send(looker, bench.answer(item.id, item.place))


def bring_home(bench: Bench) -> None:
    """From wherever it stands: whatever happened, somebody has a next step, and the steps come to an end."""
    idle = 0
    for _ in range(MOST_PRESSES):
        if bench.now.standing in OVER:
            return
        idle = 0 if go_on(bench) else idle + 1
        must_hold(bench)
        assert idle < 3, f"stuck at {bench.hand.standing}, {bench.hand.hold_point}: {bench.said}"
    raise AssertionError(f"not home after {MOST_PRESSES} presses: {bench.said}")


# ---- by chance ------------------------------------------------------------------------------------------

crew = st.sampled_from(CREW)
checks = st.sampled_from(["edges", "free", "mass", "marks", "film", "gap", "skin", "stays"])
places = st.sampled_from([HAND, "index", "thumb", "one", "two"])
steps = st.sampled_from(["capped", "uncap", "sand", "ease", "remake", "clean", "film-on", "pad"])
maybe = st.sampled_from([False, False, False, True])


class Gate(RuleBasedStateMachine):
    """Random presses at one hand."""

    hall: Hall
    texts: tuple[KeptText, ...]

    @initialize(passed=st.integers(0, 3))
    def begin(self, passed: int) -> None:
        """At the start, or honestly brought to a later hold point."""
        self.atom = transaction.atomic()
        self.atom.__enter__()
        self.bench = Bench(self.hall, self.texts)
        self.heads = [self.bench.head()]
        for _ in range(passed):
            go_on(self.bench)

    @rule(
        who=crew, of=checks, place=places, good=st.sampled_from([True, True, False]), other=maybe, twice=maybe
    )
    def see(self, who: str, of: str, place: str, good: bool, other: bool, twice: bool) -> None:
        entry = self.bench.answer(of, place, good=good, method=SUBSTITUTE if other else "")
        self.bench.send(who, entry, twice=twice)

    @rule(who=crew, of=checks, place=places, value=st.sampled_from([-1.0, 0.0, 89.0, 95.0, 111.0, 1e9]))
    def see_oddly(self, who: str, of: str, place: str, value: float) -> None:
        entry = self.bench.answer(of, place)
        self.bench.send(who, entry | {"answer": "can't tell"}, {k: v for k, v in entry.items() if k != "answer"}
                        | {"value": value, "unit": "%", "client_id": self.bench.fresh()})  # fmt: skip

    @rule(who=crew, group=st.sampled_from(["in-fingers", "on-table", "worn", "parts-on-table"]), twice=maybe)
    def as_shown(self, who: str, group: str, twice: bool) -> None:
        entry = {"kind": "as-shown", "group": group, "protocol": self.bench.now.protocol_id}
        self.bench.send(who, entry, twice=twice)

    @rule(who=crew, back=st.integers(1, 40))
    def undo(self, who: str, back: int) -> None:
        entries = list(Entry.objects.filter(hand=self.bench.hand).order_by("-seq")[:back])
        self.bench.send(who, {"kind": "withdrawn", "undoes": entries[-1].client_id[:64].ljust(16, "x")})

    @rule(who=crew, step=steps, place=places, twice=maybe)
    def do(self, who: str, step: str, place: str, twice: bool) -> None:
        self.bench.press(who, "build/did/", step=step, place=place, twice=twice)

    @rule(
        who=crew,
        twice=maybe,
        path=st.sampled_from(["build/ask/", "build/put-down/", "fit/begin/", "build/take/"]),
    )
    def pass_on(self, who: str, twice: bool, path: str) -> None:
        self.bench.press(who, path, to="look", twice=twice)

    @rule(
        who=crew, twice=maybe, stage=st.sampled_from(["here", "here", "here", "fitting", "made", "nowhere"])
    )
    def decide(self, who: str, twice: bool, stage: str) -> None:
        at = self.bench.now.hold_point if stage == "here" else stage
        self.bench.press(who, "ask/", hold_point=at, twice=twice)

    @rule(who=crew, twice=maybe)
    def order(self, who: str, twice: bool) -> None:
        self.bench.press(who, "order/", twice=twice)

    @rule(who=crew, twice=maybe, end=st.sampled_from(["done/", "done/", "cannot/", "drop/"]), back=st.integers(0, 3),
          places=st.lists(places, max_size=2), anyway=st.booleans())  # fmt: skip
    def card(self, who: str, twice: bool, end: str, back: int, places: list[str], anyway: bool) -> None:
        ordered = [t.seq for t in self.bench.told if t.kind == "ordered"][::-1] or [1]
        self.bench.press(who, f"cards/{ordered[min(back, len(ordered) - 1)]}/{end}", why="no film left", twice=twice,
                         places=places, **({"anyway": "on"} if anyway else {}))  # fmt: skip

    @rule(who=crew, of=checks, place=places, stale=maybe, twice=maybe)
    def concede(self, who: str, of: str, place: str, stale: bool, twice: bool) -> None:
        seen = max(1, self.bench.now.entry_count - stale)
        self.bench.press(
            who,
            "decide/concede/",
            of=of,
            place=place,
            reason="agreed with the wearer",
            seen_count=seen,
            twice=twice,
        )

    @rule(who=crew, back=st.integers(0, 30), path=st.sampled_from(["take-back/", "look-again/"]))
    def reconsider(self, who: str, back: int, path: str) -> None:
        count = self.bench.now.entry_count
        self.bench.press(who, f"decide/{path}", seq=max(1, count - back), seen_count=count)

    @rule(who=crew, twice=maybe, back=st.integers(1, 4))
    def release(self, who: str, twice: bool, back: int) -> None:
        """With the record as it is, or as a page that was opened some presses ago has it."""
        self.heads.append(self.bench.head())
        self.bench.press(who, "release/", seen=self.heads[-min(back, len(self.heads))], twice=twice)

    @rule(who=crew)
    def hand_over(self, who: str) -> None:
        self.bench.press(
            who, "hand-over/", language="en", to="carer", call="the organisation", gone_through=["all"]
        )

    @rule(n=st.integers(0, 1), who=crew)
    def other_protocol(self, n: int, who: str) -> None:
        Day.objects.filter(pk=self.hall.day.pk).update(protocol=self.texts[n])
        client = self.bench.clients[who]
        assert client.post("/day/protocol/move/", {"hand": self.bench.hand.code}).status_code < 500

    @rule(
        who=crew,
        typed=st.sampled_from(["y", "n", "?", "100", "300", "x"]),
        of=checks,
        place=places,
        whole=maybe,
    )
    def type_in(self, who: str, typed: str, of: str, place: str, whole: bool) -> None:
        data = {f"a:{of}:{place}": typed, "at": self.bench.now.hold_point} | (
            {"decide": "1"} if whole else {}
        )
        self.bench.press(who, "paper/", **data)

    @rule()
    def somebody_does_the_sensible_thing(self) -> None:
        if self.bench.now.standing not in OVER:
            go_on(self.bench)

    @invariant()
    def holds(self) -> None:
        if hasattr(self, "bench"):
            must_hold(self.bench)

    def teardown(self) -> None:
        if not hasattr(self, "atom"):
            return
        try:
            bring_home(self.bench)
        finally:
            transaction.set_rollback(True)
            self.atom.__exit__(None, None, None)


@pytest.fixture
def gate(hall: Hall, tmp_path: Path) -> type[Gate]:
    """The machine for this test's day."""
    texts = (keep_protocol(str(DRILL)), second_version(tmp_path))
    return type("AtThisGate", (Gate,), {"hall": hall, "texts": texts})


def run(gate: type[Gate], examples: int, steps: int) -> None:
    run_state_machine_as_test(
        gate,
        settings=tries(
            max_examples=examples,
            stateful_step_count=steps,
            derandomize=True,
            deadline=None,
            suppress_health_check=list(HealthCheck),
            phases=(Phase.explicit, Phase.generate),
        ),
    )


def test_no_order_of_presses_lets_a_hand_go_with_something_open_or_leaves_it_stuck(gate: type[Gate]) -> None:
    run(gate, 12, 25)


@pytest.mark.slow
def test_no_long_order_of_presses_does_either(gate: type[Gate]) -> None:
    run(gate, 25, 40)


def test_the_willing_crew_brings_a_hand_home_from_the_start(gate: type[Gate]) -> None:
    bench = Bench(gate.hall, gate.texts)
    bring_home(bench)
    assert bench.now.standing == Standing.RELEASED
    assert [t.kind for t in read(Entry.objects.filter(hand=bench.hand).order_by("seq"))].count("decided") == 3


def test_the_check_of_a_release_sees_what_is_open(gate: type[Gate]) -> None:
    """The law above is worth something only if it notices: here a release is forced past everything."""
    from handsel.bench.hands.chain import New, append

    bench = Bench(gate.hall, gate.texts)
    bench.send("inspector", bench.answer("edges", HAND, good=False))
    append(bench.now, [New(kind="released", what={"decided": None})], person=bench.hall.fitter)
    assert "No edge scratches" in open_at_release(bench.now)
    with pytest.raises(AssertionError):
        must_hold(bench)
