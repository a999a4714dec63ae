"""What hangs together does not count as if it did not: one person's slips, one fault's severity."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from diagnosing import FEW, library_with, of_kinds
from handsel.diagnosis.evidence import log_likelihoods
from handsel.diagnosis.likelihood import Seen, chances, items_of, log_density, rows_of
from handsel.diagnosis.people import people
from handsel.diagnosis.posterior import posterior

CATALOGUE = of_kinds(*FEW)
FINGERS = ("index", "middle", "ring", "little")


def by_stratum(seen, catalogue=CATALOGUE):
    """Log evidence of every set of faults; the first is none."""
    library = library_with(*FEW)
    rows = rows_of(library, 1.0)
    log_l = log_likelihoods(catalogue, rows, items_of(catalogue, seen))
    total = np.bincount(rows.stratum, weights=np.exp(log_l), minlength=len(rows.strata))
    return np.log(total / library.counts)


def test_shares_of_people_add_up():
    assert sum(share for share, _ in people(CATALOGUE)) == pytest.approx(1.0)


def test_a_second_slip_surprises_less_than_the_first():
    """Whoever ticked one wrong box is the likelier to be careless; no cord leaves by a gap in these hands."""
    slips = [Seen(of="cord-through-hole", place=p, answer="no") for p in ("index", "ring")]
    none, one, two = (by_stratum(slips[:k])[0] for k in range(3))
    assert two - one > one - none + 0.03
    # Were all people alike, the second would surprise as much as the first.
    alike = replace(CATALOGUE, careless_times=1.0)
    none, one, two = (by_stratum(slips[:k], alike)[0] for k in range(3))
    assert two - one == pytest.approx(one - none, abs=1e-6)


def test_two_signs_of_a_very_tight_hinge_bear_each_other_out():
    """Both come from the severity, so together they are likelier than each for itself."""
    stays = Seen(of="springs-back", place="index.knuckle", answer="stays")
    heavy = Seen(of="reopens-fully", place="index", answer="no")
    tight = next(
        k
        for k, (a, b) in enumerate(library_with(*FEW).strata)
        if b < 0 and a == CATALOGUE.fault("hinge-tight@index.knuckle").index
    )
    first, second, both = (by_stratum(s)[tight] for s in ([stays], [heavy], [stays, heavy]))
    assert both > first + second


def test_a_second_fault_of_the_same_digit_does_not_account_for_the_same_sight_again():
    """Without its elastic a digit stays bent; that its hinge might be tight too makes that no likelier."""
    seen = [Seen(of="springs-back", place=p, answer="stays") for p in ("index.knuckle", "index.tip")]
    seen.append(Seen(of="reopens-fully", place="index", answer="no"))
    log_l = by_stratum(seen)
    missing, tight = (
        CATALOGUE.fault(f).index for f in ("elastic-missing@index", "hinge-tight@index.knuckle")
    )
    at = {tuple(sorted((int(a), int(b)))): k for k, (a, b) in enumerate(library_with(*FEW).strata)}
    one, other = (log_l[at[-1, f]] for f in (missing, tight))
    both = log_l[at[tuple(sorted((missing, tight)))]]
    assert one - log_l[0] > 1.0
    assert other - log_l[0] > 1.0
    assert both < max(one, other) + 0.5


def test_one_odd_word_never_rules_a_cause_out():
    """A missing elastic leaves its digit where it is put; should one say it returns, that may be amiss."""
    seen = [
        Seen(of="elastics-there", place="ring", answer="no"),
        Seen(of="elastics-even", place="ring", answer="no"),
    ]
    odd = Seen(of="springs-back", place="ring.knuckle", answer="returns")
    index = CATALOGUE.fault("elastic-missing@ring").index
    before = posterior(library_with(*FEW), CATALOGUE, items_of(CATALOGUE, seen)).by_fault[index]
    after = posterior(library_with(*FEW), CATALOGUE, items_of(CATALOGUE, [*seen, odd])).by_fault[index]
    assert before > 0.5
    assert 0.3 * before < after < before


@pytest.mark.parametrize(
    ("seen", "fault"),  # of one digit, of the whole hand, to the eye
    [
        (Seen(of="springs-back", place="index.knuckle", answer="stays"), "hinge-tight@index.knuckle"),
        (Seen(of="cuff-drops-freely", answer="no"), "wrist-tight"),
        (Seen(of="elastics-there", place="ring", answer="no"), "elastic-missing@ring"),
    ],
)
def test_two_who_say_the_same_count_for_more_than_one_and_less_than_two(seen, fault):
    index = CATALOGUE.fault(fault).index
    at = next(k for k, (a, b) in enumerate(library_with(*FEW).strata) if b < 0 and a == index)

    def for_it(*said):
        log_l = by_stratum(said)
        return log_l[at] - log_l[0]

    once, twice = for_it(seen), for_it(seen, replace(seen, by="inspector 3"))
    assert once > 0.5
    assert 1.05 * once < twice < 1.95 * once
    assert for_it(seen, seen) == pytest.approx(once)  # the same person again
    answers = CATALOGUE.observable(seen.of).answers_of(seen.place)
    good = answers[-1] if seen.of == "springs-back" else answers[0]
    against = replace(seen, by="inspector 3", answer=good)
    assert for_it(seen, against) < once - 0.2


def test_what_was_kept_from_one_case_does_not_change_the_next():
    seen = [Seen(of="starts", place=f, answer="with") for f in FINGERS]
    fresh = by_stratum(seen)
    by_stratum([Seen(of="starts", place=f, answer="late") for f in FINGERS])
    assert np.array_equal(by_stratum(seen), fresh)
    careless = by_stratum(seen, replace(CATALOGUE, careless_times=5.0))
    assert not np.allclose(careless, fresh)


def test_numbers_far_astray_are_as_likely_as_students_t_has_it():
    """Density of t with 5 degrees of freedom: 8 / (3 sqrt(5) pi) (1 + x^2 / 5)^-3."""
    got = np.exp(log_density(np.array([0.0, 4.0]), 1.0, 5.0))
    assert got == pytest.approx([0.379607, 0.379607 * 4.2**-3], rel=1e-4)


def test_chances_of_a_words_answers_add_up_for_every_hand():
    rows = rows_of(library_with(*FEW), 1.0)
    for look in CATALOGUE.observables:
        if look.kind != "number":
            total = chances(CATALOGUE, rows, look, look.places[0]).sum(axis=0)
            assert np.allclose(total, 1.0, atol=1e-5)
