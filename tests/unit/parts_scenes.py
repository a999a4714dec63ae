"""Pictures of a mat with parts on it, drawn flat from outlines: quick scenes for tests, no renderer needed."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from handsel.vision.camera import FILM_DIAGONAL_MM, project
from handsel.vision.edges import LINEAR
from handsel.vision.mat.sheet import MATS, Mat, marker_cells

FINE = 4  # every pixel is the mean of so many squared


@dataclass(frozen=True, kw_only=True)
class Camera:
    """A pinhole over the table: x right, y up, z up [mm]."""

    at_mm: tuple[float, float, float]
    tilt_deg: float = 0.0
    turn_deg: float = 0.0
    f35_mm: float = 26.0
    k1: float = 0.0
    size_px: tuple[int, int] = (900, 1200)

    @property
    def rotation(self) -> npt.NDArray[np.float64]:
        """(3, 3) table to camera; the picture's top is the sheet's when nothing is turned."""
        down = np.diag([1.0, -1.0, -1.0])
        t, r = np.radians([self.tilt_deg, self.turn_deg])
        tilt = np.array([[1, 0, 0], [0, np.cos(t), -np.sin(t)], [0, np.sin(t), np.cos(t)]])
        turn = np.array([[np.cos(r), -np.sin(r), 0], [np.sin(r), np.cos(r), 0], [0, 0, 1]])
        return np.asarray(turn @ tilt @ down)

    @property
    def f_px(self) -> float:
        return self.f35_mm / FILM_DIAGONAL_MM * float(np.hypot(*self.size_px))

    def shown(self, table_mm: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        """(n, 3) [mm] to (n, 2) [px]."""
        seen = (table_mm - np.array(self.at_mm)) @ self.rotation.T
        centre = (np.array(self.size_px) - 1.0) / 2.0
        return project(seen[None], np.array([self.f_px]), centre[None], np.array([self.k1]))[0]


def over(mat: Mat, *, height_mm: float = 330.0, tilt_deg: float = 0.0, **more: float) -> Camera:
    """A camera that looks at a mat's middle."""
    back = height_mm * np.tan(np.radians(tilt_deg))
    return Camera(
        at_mm=(mat.width_mm / 2, -mat.height_mm / 2 - float(back), height_mm), tilt_deg=-tilt_deg, **more
    )  # type: ignore[arg-type]


def drawn(
    mat: Mat | None,
    camera: Camera,
    things: list[tuple[npt.NDArray[np.float64], tuple[int, int, int]]] = [],  # noqa: B006
    *,
    print_ratio: float = 1.0,
    hidden: tuple[int, ...] = (),
    table: tuple[int, int, int] = (96, 78, 60),
    noise: float = 1.5,
    seed: int = 0,
) -> npt.NDArray[np.uint8]:
    """(h, w, 3) RGB: a table, a sheet with its markers, and filled outlines [mm, table frame] on it."""
    wide, high = camera.size_px
    picture = np.empty((high * FINE, wide * FINE, 3), np.uint8)
    picture[:] = table

    def fill(ring_mm: npt.NDArray[np.float64], colour: tuple[int, int, int]) -> None:
        closed = np.vstack([ring_mm, ring_mm[:1]])
        dense = np.vstack(
            [np.linspace(a, b, 12, endpoint=False) for a, b in zip(closed[:-1], closed[1:], strict=True)]
        )
        px = (camera.shown(np.column_stack([dense, np.zeros(len(dense))])) + 0.5) * FINE - 0.5
        cv2.fillPoly(picture, [np.rint(px * 16).astype(np.int32)], colour, shift=4)

    if mat is not None:
        middle = np.array([mat.width_mm, -mat.height_mm]) / 2
        sheet = np.array([[0, 0], [1, 0], [1, 1], [0, 1.0]]) * [mat.width_mm, -mat.height_mm]
        fill(sheet, (232, 232, 230))
        for m in mat.markers:
            if m.id in hidden:
                continue
            cells = marker_cells(m.id)
            cell = mat.marker_mm / 6
            for i in range(6):
                for j in range(6):
                    if cells[i, j] > 0.5:
                        continue
                    left, top = m.x_mm - 3 * cell + j * cell, m.y_mm - 3 * cell + i * cell
                    square = np.array(
                        [[left, -top], [left + cell, -top], [left + cell, -top - cell], [left, -top - cell]]
                    )
                    fill(middle + print_ratio * (square - middle), (34, 34, 34))
    for ring, colour in things:
        fill(ring, colour)
    # A pixel gathers light, not file values.
    light = cv2.resize(LINEAR[picture], (wide, high), interpolation=cv2.INTER_AREA)
    light = cv2.GaussianBlur(light, (0, 0), 0.6)
    small = 255 * np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    small += np.random.default_rng(seed).normal(0, noise, small.shape)
    return np.clip(np.rint(small), 0, 255).astype(np.uint8)


A4 = MATS["a4"]
