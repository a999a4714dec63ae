"""What a second person will probably say: as the diagnosis then counts it, neither as one more nor as nothing."""

import numpy as np
import pytest

from handsel.data.load_faults import load_faults
from handsel.data.load_protocol import load_protocol
from handsel.diagnosis.hands import columns_of
from handsel.diagnosis.likelihood import Item, Rows, Seen, items_of
from handsel.diagnosis.people import people
from handsel.diagnosis.words import AMISS_SHARE, log_sights, log_word
from handsel.rework.hand.other_eyes import next_reading, next_word

FOUND = {"tilt_deg": (0.0, 9.0), "apart_deg@ring": (2.0, 25.0)}


@pytest.fixture(scope="module")
def catalogue():
    return load_faults("wrist-hand-1", load_protocol())


@pytest.fixture(scope="module")
def rows(catalogue):
    """A sound hand and one with a cord in the gap, which differ in tilt and in how far the ring finger is behind."""
    columns = columns_of(catalogue)
    gap = next(f.index for f in catalogue.faults if f.id == "cord-through-gap@ring")
    seen = np.zeros((len(columns), 2), dtype=np.float32)
    for name, pair in FOUND.items():
        seen[columns.index(name)] = pair
    return Rows(
        columns=columns,
        seen=seen,
        blur=np.zeros((len(columns), 2), dtype=np.float32),
        strata=np.array([[-1, -1], [gap, -1]], dtype=np.int16),
        stratum=np.arange(2, dtype=np.int32),
        scale_miss=0.0,
    )


def said(catalogue, of, place, *answers):
    told = [Seen(of=of, place=place, answer=a, by=f"builder {k}") for k, a in enumerate(answers)]
    return items_of(catalogue, told)


@pytest.mark.parametrize("first", ["yes", "no"])
def test_who_comes_second_sees_what_the_diagnosis_takes_two_to_see(catalogue, rows, first):
    """P(second | first) is what the diagnosis makes of both, over what it makes of the first."""
    look = catalogue.observable("cord-through-hole")
    (before,) = said(catalogue, look.id, "ring", first)
    chance, given = next_word(catalogue, rows, look, "ring", before)
    assert chance.sum(0) == pytest.approx([1.0, 1.0])
    times = sum(share * times for share, times in people(catalogue))  # people as they are, as looks reckon
    one = log_sights(catalogue, rows, [before], times)
    assert given == pytest.approx(np.exp(one))
    for k, answer in enumerate(("yes", "no")):
        both = log_sights(catalogue, rows, said(catalogue, look.id, "ring", first, answer), times)
        if answer == first:
            assert len(said(catalogue, look.id, "ring", first, answer)) == 2
        assert chance[k] == pytest.approx(np.exp(both - one))


def test_a_word_said_twice_tells_more_than_once_and_less_than_two_strangers_would(catalogue, rows):
    look = catalogue.observable("fingers-move-together")
    (before,) = said(catalogue, look.id, "ring", "no")
    alone, one = next_word(catalogue, rows, look, "ring", None)
    after, given = next_word(catalogue, rows, look, "ring", before)
    assert after.sum(0) == pytest.approx([1.0, 1.0])
    assert one == pytest.approx([1.0, 1.0])
    assert given == pytest.approx(alone[1])
    ratio = float(alone[1, 1] / alone[1, 0])  # lagging against sound, by one who says no
    second = float(after[1, 1] / after[1, 0])
    assert 1.0 < second < ratio
    assert after[1, 0] > alone[1, 0]  # of a sound hand too: if it was amiss, it was so for both


def test_the_first_word_counts_as_in_the_diagnosis(catalogue, rows):
    look = catalogue.observable("fingers-move-together")
    items = said(catalogue, look.id, "ring", "no", "no")
    careful = log_word(catalogue, rows, items, 0)
    (before,) = said(catalogue, look.id, "ring", "no")
    after, given = next_word(catalogue, rows, look, "ring", before)
    # Careful people slip less than people on the whole, so only nearly the same.
    assert np.log(after[1] * given) == pytest.approx(careful, abs=0.25)
    assert 0.0 < AMISS_SHARE < 1.0


def test_a_second_reading_is_drawn_half_way_to_the_first_one(catalogue, rows):
    look = catalogue.observable("whippletree-level")
    first = Item(look=look, place="", answer=None, value=6.0, u=look.sd, in_group=False)
    alone, u_alone = next_reading(rows, look, "", None)
    after, u_after = next_reading(rows, look, "", first)
    assert alone == pytest.approx([0.0, 9.0])
    assert after == pytest.approx([3.0, 7.5])
    assert np.all(u_after < u_alone)
    # The mean of both is as unsure as the diagnosis takes two readings to be.
    mean_u = float(np.hypot(0.75 * look.sd, 0.5 * np.sqrt(0.75) * look.sd))
    told = [Seen(of=look.id, value=v) for v in (5.0, 7.0)]
    assert mean_u == pytest.approx(items_of(catalogue, told)[0].u)
