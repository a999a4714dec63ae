"""A part's measures by name, with a plain message when one that its shape needs is missing or absurd."""

from __future__ import annotations

from handsel.design.model import Part
from handsel.errors import OutOfRange


class Sizes:
    """The measures of one part, each asked for by name; every one must be more than zero."""

    def __init__(self, part: Part) -> None:
        self.part, self.values = part, dict(part.measures)
        # how long a millimetre of scale 1 has become; roundings and other details are multiples of it
        self.unit_mm = self["unit_mm"]

    def __getitem__(self, name: str) -> float:
        where = f'part "{self.part.name}"'
        if name not in self.values:
            raise OutOfRange(
                f'its shape "{self.part.shape}" needs the measure {name}',
                where=where,
                do="Add it to the measures of this part in the design file.",
            )
        value = self.values[name]
        if not value > 0:
            raise OutOfRange(
                f"{name} is {value:g}; expected more than 0", where=where, do="Correct the number."
            )
        return value
