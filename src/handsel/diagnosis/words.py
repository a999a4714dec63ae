"""What people say in words, and what they see: slips of one person, words amiss, several people on one thing."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from handsel.diagnosis.catalogue import Catalogue
from handsel.diagnosis.likelihood import Floats, Item, Rows, clear_chances
from handsel.diagnosis.people import people, sign_shows, slip_share, slipped

# A simulated quantity behind a word is now and then not what decided it: the joint was dragged along, the light was
# bad, the model leaves something out. Then the word is drawn as from any hand. Found on simulated hands of another
# kind, by how bold the probabilities were: a fifth makes them too bold, a third to two fifths does not.
AMISS_SHARE = 0.35
LEAST_P = 1e-6


def of_one_thing(items: Sequence[Item]) -> list[tuple[Item, ...]]:
    """Answers, not numbers, by what they are about: of one thing there are several when several people looked.

    Parameters: items.    Returns: tuples of items, in the order in which each thing is first spoken of.
    """
    found: dict[tuple[str, str], list[Item]] = {}
    for item in items:
        if item.value is None:
            found.setdefault(item.key, []).append(item)
    return [tuple(some) for some in found.values()]


def log_sights(catalogue: Catalogue, rows: Rows, items: Sequence[Item], times: float) -> Floats:
    """Log chance of what shows to the eye, for each stratum; (s,).

    Whether there is something to see is the hand's, and the same for all who look; slips are each one's own.

    Parameters: catalogue; rows; items, of which only looks count; times, how much more often than a careful
        person people slip.
    Returns: (s,) float [-].
    Source: law of total probability over whether the sign shows.
    """
    total = np.zeros(len(rows.strata))
    for said in of_one_thing([i for i in items if i.look.kind == "look"]):
        only_shown = all(item.in_group for item in said)
        shows = sign_shows(catalogue, rows.strata, said[0].look, said[0].place, only_shown)
        if_so, if_not = 1.0, 1.0
        for item in said:
            slip = slip_share(catalogue, item.look, item.in_group, times)
            is_good = item.answer == item.look.answers_of(item.place)[0]
            if_so *= slip if is_good else 1.0 - slip
            if_not *= 1.0 - slip if is_good else slip
        total += np.log(shows * if_so + (1.0 - shows) * if_not)
    return total


def log_word(catalogue: Catalogue, rows: Rows, said: tuple[Item, ...], person: int) -> NDArray[np.float32]:
    """Log chance of what one person, or several, said of one thing, for each hand; (n,).

    What several say is independent given the hand; but if it was amiss, it was so for all of them.

    Parameters: catalogue; rows, n hands; said, answers to one look at one place; person, index into `people`.
    Returns: (n,) float [-].
    Source: law of total probability over whether the word is amiss.
    """
    if len(said) == 1:
        return _log_answer(catalogue, rows, said[0], person)
    alone, weight = hands_alone(rows.whole)
    same = 1.0 - AMISS_SHARE
    usual = float(_chance_of_all(catalogue, alone, said, person) @ weight)
    told = same * _chance_of_all(catalogue, rows, said, person) + AMISS_SHARE * usual
    return np.log(np.maximum(told, LEAST_P)).astype(np.float32)


def _chance_of_all(catalogue: Catalogue, rows: Rows, said: tuple[Item, ...], person: int) -> Floats:
    """Chance that all of them give their answers, none amiss, for each hand; (n,)."""
    clear = clear_chances(rows, said[0].look, said[0].place)
    _, times = people(catalogue)[person]
    out = np.ones(len(rows.stratum))
    for item in said:
        share = slip_share(catalogue, item.look, item.in_group, times)
        out *= slipped(clear, share)[item.look.answers_of(item.place).index(item.answer or "")]
    return out


def _log_answer(catalogue: Catalogue, rows: Rows, item: Item, person: int) -> NDArray[np.float32]:
    """The same of one answer. The tables are kept with the rows: they do not depend on the case."""
    mistakes = (catalogue.careless_share, catalogue.careless_times)
    key = (id(item.look), item.place, item.in_group, mistakes)
    if key not in rows.kept:
        clear = clear_chances(rows, item.look, item.place)
        usual = _usual_answers(rows.whole, item)[:, None]
        clear = (1.0 - AMISS_SHARE) * clear + AMISS_SHARE * usual
        shares = [slip_share(catalogue, item.look, item.in_group, times) for _, times in people(catalogue)]
        told = np.stack([slipped(clear, share) for share in shares])
        rows.kept[key] = item.look, np.log(np.maximum(told, LEAST_P)).astype(np.float32)
    _, table = rows.kept[key]  # the look is kept too, so that its id stays its own
    return np.asarray(table[person, item.look.answers_of(item.place).index(item.answer or "")])


def _usual_answers(whole: Rows, item: Item) -> Floats:
    """How often each answer is given of any hand, all single faults and none counted alike; (answers,)."""
    key = ("usual", id(item.look), item.place)
    if key not in whole.kept:
        alone, weight = hands_alone(whole)
        whole.kept[key] = item.look, clear_chances(alone, item.look, item.place) @ weight
    return np.asarray(whole.kept[key][1])


def hands_alone(whole: Rows) -> tuple[Rows, Floats]:
    """The hands with one fault or none, and weights that make every fault, and none, count alike; made once.

    Parameters: whole, all hands of a library.    Returns: m hands; (m,) float, sums to 1.
    """
    if "alone" not in whole.kept:
        rows = whole.take(np.flatnonzero(whole.strata[whole.stratum, 1] < 0))
        each = 1.0 / np.maximum(np.bincount(rows.stratum), 1)[rows.stratum]
        whole.kept["alone"] = rows, each / each.sum()
    rows, weight = whole.kept["alone"]
    return rows, weight
