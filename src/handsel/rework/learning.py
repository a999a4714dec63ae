"""What confirmed causes teach: the catalogue's priors moved a little, within bounds, and back again.

A cause counts only when one rework that cures it made its symptom go away. Each such finding is an entry;
an entry is never erased, only taken back by a later one. The priors are worked out anew from the catalogue's
own and the entries that stand, so that taking an entry back gives the priors of before to the last digit.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256
from math import isfinite

from handsel.errors import OutOfRange
from handsel.inspection.result import Inspection
from handsel.inspection.undo import ReworkDone

STRENGTH = 60.0  # confirmed causes that the catalogue's own shares weigh as much as
CAP = 240.0  # confirmed causes that count in full; of more, each counts less
BOUND = 4.0  # a prior never goes above its own times this, nor below its own over this
SURE_P = 0.8  # a cause must have been this likely among those that the rework cures


@dataclass(frozen=True, slots=True, kw_only=True)
class Confirmed:
    """A cause found to be true: the rework that cures it made the symptom go away."""

    number: int  # of the entry, from 1
    code: str  # the recipient's code
    serial: str  # the hand's number
    on: str  # day, as in 2026-11-21
    by: str  # role that confirmed it
    fault: str
    place: str
    rework: str
    symptom: str  # characteristic that did not hold before and holds now, with its place


@dataclass(frozen=True, slots=True, kw_only=True)
class TakenBack:
    """An entry that turned out wrong, and counts no more."""

    number: int
    of: int  # number of the entry taken back
    on: str
    by: str
    reason: str


Entry = Confirmed | TakenBack


@dataclass(frozen=True, slots=True, kw_only=True)
class Learned:
    """Priors after what was confirmed."""

    priors: Mapping[str, float]  # fault: share of the hands that are brought, as in the catalogue
    counts: Mapping[str, int]  # fault: entries that stand
    version: str  # of the priors: the catalogue's version, how many entries, and their fingerprint
    at_bound: tuple[str, ...]  # faults whose prior would go further if it were let


def learned_priors(
    own: Mapping[str, float],
    entries: Sequence[Entry],
    *,
    catalogue_version: str,
    strength: float = STRENGTH,
    cap: float = CAP,
    bound: float = BOUND,
) -> Learned:
    """The priors that follow from the catalogue's own and from what was confirmed.

    Parameters: own, prior of each fault in the catalogue; entries, in order; catalogue_version; strength,
        confirmed causes that the own priors weigh as much as; cap, beyond which more entries weigh no
        more together; bound, the factor by which a prior may leave its own, up or down.
    Returns: Learned. The sum of the priors stays what it was: confirmed causes tell which faults are
        common among faults, not how many hands have one.
    Raises: OutOfRange for an entry that is out of order, names no fault of the catalogue, or takes back
        what is not there.
    Valid for: one catalogue. The order of entries that stand makes no difference.
    Source: Dirichlet prior with the own shares as pseudo-counts, posterior mean (Gelman et al., Bayesian
        Data Analysis, 3rd ed., 3.4; from memory); cap and bound are own rules.
    Checked by: unit/test_learning.py, properties/test_learning.py
    """
    if not (isfinite(strength) and strength > 0 and isfinite(cap) and cap >= 0 and bound >= 1):
        raise OutOfRange(
            f"strength {strength:g}, cap {cap:g}, bound {bound:g}",
            where="learning",
            do="Strength above 0, cap 0 or more, bound 1 or more.",
        )
    counts = _counts(own, entries)
    version = (
        f"{catalogue_version}+{len(entries)}.{fingerprint(entries)[:8]}" if entries else catalogue_version
    )
    total, seen = sum(own.values()), sum(counts.values())
    if not seen or total <= 0:
        return Learned(priors=dict(own), counts=counts, version=version, at_bound=())
    weight = min(1.0, cap / seen)
    wanted = {
        f: total * (strength * p / total + weight * counts.get(f, 0)) / (strength + weight * seen)
        for f, p in own.items()
    }
    priors = _within(wanted, own, bound)
    at = tuple(f for f, p in priors.items() if own[f] > 0 and not own[f] / bound < p < own[f] * bound)
    return Learned(priors=priors, counts=counts, version=version, at_bound=at if bound > 1 else ())


def _counts(own: Mapping[str, float], entries: Sequence[Entry]) -> dict[str, int]:
    standing: dict[int, Confirmed] = {}
    for k, entry in enumerate(entries, start=1):
        if entry.number != k:
            raise OutOfRange(
                f"entry {k} is numbered {entry.number}",
                where="confirmed causes",
                do="Entries are numbered from 1, none left out: restore the missing one.",
            )
        if isinstance(entry, TakenBack):
            if entry.of not in standing:
                raise OutOfRange(
                    f"entry {k} takes back entry {entry.of}, which does not stand",
                    where="confirmed causes",
                    do="Name an entry that confirms a cause and was not taken back before.",
                )
            del standing[entry.of]
        elif entry.fault not in own:
            raise OutOfRange(
                f"entry {k} confirms {entry.fault!r}, which the catalogue does not know",
                where="confirmed causes",
                do=f"Use one of: {', '.join(own)}.",
            )
        else:
            standing[k] = entry
    counts: dict[str, int] = {}
    for entry in standing.values():
        counts[entry.fault] = counts.get(entry.fault, 0) + 1
    return counts


def _within(wanted: Mapping[str, float], own: Mapping[str, float], bound: float) -> dict[str, float]:
    """Shares clipped to their bounds and scaled so that their sum stays: by bisection on the scale."""
    total = sum(own.values())

    def at(scale: float) -> dict[str, float]:
        return {f: min(max(scale * w, own[f] / bound), own[f] * bound) for f, w in wanted.items()}

    low, high = 0.0, 1.0
    while sum(at(high).values()) < total and high < 1e9:
        high *= 2.0
    for _ in range(100):
        middle = 0.5 * (low + high)
        if sum(at(middle).values()) < total:
            low = middle
        else:
            high = middle
    return at(high)


def fingerprint(entries: Iterable[Entry]) -> str:
    """A fingerprint of all entries in order: each one's covers those before it.

    Parameters: entries.
    Returns: SHA-256 in hexadecimal; of nothing, where there is no entry.
    Raises: nothing.
    Valid for: any entries.
    Source: FIPS 180-4 through the standard library.
    Checked by: unit/test_learning.py
    """
    seal = ""
    for entry in entries:
        kind = type(entry).__name__
        fields = [f"{name}={getattr(entry, name)}" for name in entry.__slots__]
        seal = sha256("\n".join([seal, kind, *fields]).encode()).hexdigest()
    return seal


@dataclass(frozen=True, slots=True, kw_only=True)
class Cured:
    """Whether a rework confirmed a cause: which one and by what symptom, or why not."""

    fault: str = ""  # empty: nothing was confirmed
    place: str = ""
    rework: str = ""
    symptom: str = ""
    reason: str = ""  # why not

    @property
    def confirmed(self) -> bool:
        """True when it counts."""
        return bool(self.fault)


def cure_confirmed(
    before: Inspection,
    after: Inspection,
    done: Sequence[ReworkDone],
    causes: Sequence[tuple[str, str, float]],
    cured_by: Iterable[tuple[str, str]],
) -> Cured:
    """Whether what was done to a hand proves which cause it had.

    Parameters: before, after, inspections on both sides of the rework; done, the reworks between them,
        without those that only follow another; causes that were suspected before, each (fault, place,
        probability); cured_by, (fault, place) of those that the rework cures where it was done.
    Returns: Cured. It counts when one rework was done, something that did not conform before conforms now
        and nothing stopped conforming, and one suspected cause stood out among those that this rework cures.
    Raises: nothing of its own.
    Valid for: inspections of the same hand by the same protocol.
    Source: own rule: a cause is confirmed by its cure only, so that what was merely believed never feeds
        on itself.
    Checked by: unit/test_learning.py
    """
    if len(done) != 1:
        what = "nothing was changed" if not done else "several things were changed at once"
        return Cured(reason=f"{what}, so nothing is known to have cured it")
    if after.case.hand.serial != before.case.hand.serial:
        return Cured(reason="these are two different hands")
    wrong = [i for i in before.items if i.status == "does not conform"]
    now = {i.key: i for i in after.items}
    gone = [i for i in wrong if i.key in now and now[i.key].status == "conforms"]
    held = {i.key for i in before.items if i.status == "conforms"}
    fresh = [i for i in after.items if i.status == "does not conform" and i.key in held]
    if not gone:
        return Cured(reason="nothing that did not hold before holds now")
    if fresh:
        return Cured(reason=f"“{fresh[0].called}” held before and does not now")
    able = set(cured_by)
    suspected = [(f, p, chance) for f, p, chance in causes if (f, p) in able and chance > 0]
    total = sum(chance for _, _, chance in suspected)
    if not suspected:
        return Cured(reason="none of the suspected causes is one that this rework cures")
    fault, place, chance = max(suspected, key=lambda c: c[2])
    if chance < SURE_P * total:
        return Cured(reason="this rework cures several of the suspected causes, and none stood out")
    gravest = min(gone, key=lambda i: ("critical", "major", "minor").index(i.severity))
    symptom = f"{gravest.id} {gravest.place}".strip()
    return Cured(fault=fault, place=place, rework=done[0].rework, symptom=symptom)
