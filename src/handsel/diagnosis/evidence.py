"""What everything that was seen says together, for each simulated hand.

Three things hang together and would count too much if they were multiplied as if they did not:
one person's slips (a careless one makes several), one hand's accidents (its angles, tilt and slacks come from the
same lengths), and one fault's severity, which shows in all that its digit does.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from handsel.diagnosis.catalogue import Catalogue
from handsel.diagnosis.digits_apart import log_by_digit
from handsel.diagnosis.likelihood import TOGETHER, Floats, Item, Rows, log_likelihood
from handsel.diagnosis.people import people
from handsel.diagnosis.words import log_sights, log_word, of_one_thing


def log_likelihoods(catalogue: Catalogue, rows: Rows, items: Sequence[Item]) -> Floats:
    """Log chance of everything that was seen, for each hand; (n,).

    What hangs together (angles, tilt, slack, slides) is taken hand by hand. What was seen of single digits is
    averaged over a stratum's hands of like severity, digit by digit: the accidents of single simulated hands do
    not decide. What a fault shows to the eye depends on the faults alone. All of it once for a careful and once
    for a careless person.

    Parameters: catalogue; rows, of a library's hands, or drawn beside it; items.
    Returns: (n,) float [-].
    Raises: nothing of its own.
    Valid for: answers by one person, or by a few who are careful or careless alike.
    Source: law of total probability over the person.
    Checked by: properties/test_diagnosis.py, unit/test_evidence.py
    """
    together = [i for i in items if i.look.kind != "look" and i.look.reads in TOGETHER]
    numbers = np.zeros(len(rows.stratum), dtype=np.float32)
    for item in together:
        if item.value is not None:
            numbers += log_likelihood(catalogue, rows, item)
    words = of_one_thing(together)
    told = []
    for person, (share, times) in enumerate(people(catalogue)):
        total = numbers.astype(np.float64) + np.log(share)
        for said in words:
            total += log_word(catalogue, rows, said, person)
        total += log_by_digit(catalogue, rows, items, person)
        total += log_sights(catalogue, rows, items, times)[rows.stratum]
        told.append(total)
    return np.asarray(np.logaddexp(*told))
