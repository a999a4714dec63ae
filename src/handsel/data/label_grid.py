"""A sheet of labels by its measures: where each label lies on the page."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from handsel.errors import OutOfRange

PAGES_MM: dict[str, tuple[float, float]] = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
SLACK_MM = 0.15  # makers round their measures; a tenth past the edge of the page is no fault


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelGrid:
    """Labels in columns and rows. Measured on the sheet with a ruler, not looked up by a maker's name."""

    id: str
    title: str
    page: Literal["a4", "letter"]
    columns: int
    rows: int
    label_width_mm: float
    label_height_mm: float
    margin_left_mm: float
    margin_top_mm: float
    gap_x_mm: float
    gap_y_mm: float
    cut_marks: bool = False

    def __post_init__(self) -> None:
        width_mm, height_mm = PAGES_MM[self.page]
        across_mm = self._across_mm(self.columns)
        down_mm = self._down_mm(self.rows)
        for what, used_mm, there_mm in (("across", across_mm, width_mm), ("down", down_mm, height_mm)):
            if not used_mm <= there_mm + SLACK_MM:
                raise OutOfRange(
                    f"the labels reach {used_mm:.1f} mm {what} a page of {there_mm:.1f} mm",
                    where=f"label grid {self.id}",
                    do="Measure label, gap and margin again, or take fewer columns or rows.",
                )

    def _across_mm(self, columns: int) -> float:
        return self.margin_left_mm + columns * self.label_width_mm + (columns - 1) * self.gap_x_mm

    def _down_mm(self, rows: int) -> float:
        return self.margin_top_mm + rows * self.label_height_mm + (rows - 1) * self.gap_y_mm

    @property
    def per_page(self) -> int:
        """Labels on one page."""
        return self.columns * self.rows

    def corner_mm(self, index: int) -> tuple[float, float]:
        """Top left corner of a label on its page, from the page's; index from 0, row by row."""
        row, column = divmod(index % self.per_page, self.columns)
        return (
            self.margin_left_mm + column * (self.label_width_mm + self.gap_x_mm),
            self.margin_top_mm + row * (self.label_height_mm + self.gap_y_mm),
        )
