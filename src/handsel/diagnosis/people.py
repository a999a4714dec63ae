"""The people who look: careful and careless ones, how often they slip, and what they see of a sign."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from handsel.diagnosis.catalogue import Catalogue, Observable

Floats = NDArray[np.float64]

GROUP_TIMES = 2.0  # slips are so much more frequent where a whole group was taken as shown
GROUP_SEES, GROUP_ALARMS = 0.7, 0.3  # of what is seen, and of false alarms, where a group is taken as shown


def people(catalogue: Catalogue) -> tuple[tuple[float, float], ...]:
    """Careful and careless ones: their share, and how many times as many slips they make.

    Parameters: catalogue.    Returns: pairs.
    """
    careless = catalogue.careless_share
    return (1.0 - careless, 1.0), (careless, catalogue.careless_times)


def usual_times(catalogue: Catalogue) -> float:
    """How much more often than a careful person people slip, careful and careless ones together.

    Parameters: catalogue.    Returns: [-].
    """
    return 1.0 + catalogue.careless_share * (catalogue.careless_times - 1.0)


def slip_share(catalogue: Catalogue, look: Observable, in_group: bool, times: float | None = None) -> float:
    """How often an answer is not the one that was meant.

    Parameters: catalogue; look; in_group; times, how much more often than a careful person; None: as usual.
    Returns: [-].
    """
    careful = catalogue.slip_share if look.kind == "look" else look.lapse
    often = (usual_times(catalogue) if times is None else times) * (GROUP_TIMES if in_group else 1.0)
    return min(careful * often, 0.5)


def slipped(clear: Floats, share: float) -> Floats:
    """Chances of answers (answers, n) when a share of them is any of the others."""
    return np.asarray((1.0 - share) * clear + share / (len(clear) - 1) * (1.0 - clear))


def sign_shows(
    catalogue: Catalogue, strata: NDArray[np.int16], look: Observable, place: str, in_group: bool
) -> Floats:
    """Chance that there is something to see that should not be, or seems to be, for each stratum; (s,).

    Parameters: catalogue; strata : (s, 2) int; look; place; in_group, whether it was taken as shown with a group.
    Returns: (s,) float [-].
    Source: signs of two faults independent of each other and of false alarms.
    """
    bad = look.answers_of(place)[1]
    hidden = np.ones(len(catalogue.faults) + 1)  # the last one: no fault
    for f in catalogue.faults:
        for sign in f.signs:
            if sign.of == look.id and sign.place == place and sign.answer == bad:
                chance = sign.chance * (GROUP_SEES if in_group else 1.0)
                hidden[f.index] *= 1.0 - chance
    false_alarm = look.false_alarm * (GROUP_ALARMS if in_group else 1.0)
    return np.asarray(1.0 - (1.0 - false_alarm) * hidden[strata[:, 0]] * hidden[strata[:, 1]])


def look_chance(
    catalogue: Catalogue, strata: NDArray[np.int16], look: Observable, place: str, in_group: bool
) -> Floats:
    """Chance that a look is told to show what should not be, by people as they are, for each stratum; (s,)."""
    slip = slip_share(catalogue, look, in_group)
    return np.asarray(slip + (1.0 - 2.0 * slip) * sign_shows(catalogue, strata, look, place, in_group))
