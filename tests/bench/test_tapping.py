"""Answers that came faster than anyone can look are found; careful work is not."""

from __future__ import annotations

from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from handsel.bench.hands.casebook import Told
from handsel.bench.looking.tapping import ONE_LOOK_MS, SHORTEST_RUN, blind_runs, least_ms, operation
from handsel.data.load_protocol import load_protocol

AT = "2026-11-25T10:00:00.000000Z"


def tap(seq: int, tap_ms: int, *, by: int = 2, kind: str = "observed", **what: Any) -> Told:
    said = {"of": "kit-complete", "answer": "yes", "from": "screen", "tap_ms": tap_ms} | what
    return Told(seq=seq, kind=kind, at=AT, by={"number": by, "called": f"inspector {by}"}, what=said)


def test_a_run_of_quick_taps_is_found_with_its_ends() -> None:
    told = [tap(1, 4000), *(tap(n, 300) for n in range(2, 7)), tap(7, 2000)]
    (run,) = blind_runs(told)
    assert (run.first_seq, run.last_seq, run.count, run.total_ms) == (2, 6, 5, 1500)
    assert run.sentence == "inspector 2 gave 5 answers within 1.5 s"


def test_three_quick_answers_are_a_slip_and_four_a_run() -> None:
    assert blind_runs([tap(n, 300) for n in range(SHORTEST_RUN - 1)]) == ()
    assert len(blind_runs([tap(n, 300) for n in range(SHORTEST_RUN)])) == 1


def test_a_pause_in_between_ends_the_run() -> None:
    told = [tap(1, 300), tap(2, 300), tap(3, 3000), tap(4, 300), tap(5, 300)]
    assert blind_runs(told) == ()


def test_two_people_are_told_apart() -> None:
    told = [tap(n, 300, by=2 + n % 2) for n in range(6)]
    assert blind_runs(told) == ()


def test_a_whole_group_at_one_quick_tap_is_as_many_answers() -> None:
    quick = tap(1, 700, kind="as-shown", group="parts-in-fingers", covers=7)
    (run,) = blind_runs([quick])
    assert (run.count, run.whole_group) == (7, True)
    assert "a whole group among them" in run.sentence
    looked_at = tap(1, 6000, kind="as-shown", group="parts-in-fingers", covers=7)
    assert blind_runs([looked_at]) == ()


def test_numbers_and_paper_are_left_out() -> None:
    typed = [tap(n, 100, value=36.0) for n in range(10)]
    paper = [tap(n, 100, **{"from": "paper"}) for n in range(10, 20)]
    assert blind_runs([*typed, *paper]) == ()


@given(st.lists(st.integers(ONE_LOOK_MS, 60_000), max_size=30))
def test_nobody_who_looks_is_named(times: list[int]) -> None:
    assert blind_runs([tap(n, ms) for n, ms in enumerate(times)]) == ()


@given(st.lists(st.integers(0, 3000), max_size=40))
def test_runs_never_overlap_and_hold_quick_answers_only(times: list[int]) -> None:
    told = [tap(n, ms) for n, ms in enumerate(times)]
    last = -1
    for run in blind_runs(told):
        assert run.first_seq > last
        last = run.last_seq
        inside = told[run.first_seq : run.last_seq + 1]
        assert all(t.what["tap_ms"] < least_ms(t) for t in inside)
        assert run.count >= SHORTEST_RUN


def test_time_on_screens_is_summed_for_each_hold_point() -> None:
    told = [
        tap(1, 2000, step_ms=5000),
        tap(2, 1000, step_ms=3000),
        tap(3, 1000, step_ms=10**9),  # the phone lay on the bench
        tap(4, 9000, of="", kind="as-shown", group="strung-palm-up"),
        tap(5, 1000, **{"from": "paper"}),
    ]
    found = operation(told, load_protocol("wrist-hand-1"))
    assert [(o.hold_point, o.seconds, o.answers) for o in found] == [("parts", 308.0, 3), ("strung", 9.0, 1)]
