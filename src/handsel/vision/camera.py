"""From millimetres to pixels: the pinhole with a mild radial distortion, and what is known of its focal length."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import hypot, log, sqrt

import numpy as np
import numpy.typing as npt

from handsel.errors import Unsolved
from handsel.metrology.checks import number

FloatArray = npt.NDArray[np.float64]

FILM_DIAGONAL_MM = hypot(36.0, 24.0)
# What is known of a phone's lens before its photo is looked at; each a standard deviation.
CENTRE_RATIO_SD = 0.0025  # of the optical centre from the picture's middle, as a share of the diagonal
CUT_CENTRE_RATIO_SD = 0.06  # the same for a picture that was cut: a fifth off one side moves it by 0.08
DISTORTION_SD = 0.035  # of k1
STRETCH_SD = 0.0005  # of the picture's height against its width: a camera's pixels are square
# The same for a picture that a program has been at: most only cut, some fit it into a frame by a few in a hundred.
CHANGED_STRETCH_SD = 0.02
# The camera's own figure is a whole number, and the real lens is near its figure, not on it.
FIGURE_RATIO_SD = 0.01
# A figure in the file may be none of this picture's: it was zoomed or cut afterwards, which makes the lens seem longer,
# or a program wrote it. One photo in twenty is a guess; what the cards say weighs against it.
_WRONG_SHARE, _WRONG_LONGER, _WRONG_SD = 0.05, 0.25, 0.5
_STRETCHED_SHARE = 0.02  # of photos with a camera's shape that are stretched all the same
_ZOOMED = 1.02  # a digital zoom that matters


@dataclass(frozen=True, slots=True, kw_only=True)
class FocalGuess:
    """One thing the lens may be: a log-normal for its focal length, and how probable it is.

    With it goes how far the centre may be off, and how much the picture may be stretched in one direction.
    """

    log_f35: float  # natural logarithm of the 35 mm equivalent [mm]
    sd: float  # of that logarithm
    weight: float
    centre_ratio_sd: float = CENTRE_RATIO_SD  # of the optical centre, as a share of the picture's diagonal
    stretch_sd: float = STRETCH_SD  # of the picture's height against its width, as a share

    @property
    def log_width(self) -> float:
        """A wide guess is a thin one: its density is less by its widths, those of both ways of the centre included."""
        return log(self.sd * self.centre_ratio_sd**2 * self.stretch_sd)


@dataclass(frozen=True, slots=True, kw_only=True)
class Lens:
    """What the photo's file says of the lens."""

    f35_mm: float | None = None  # 35 mm equivalent as the camera wrote it; None when it did not
    whole_picture: bool = True  # False when the file shows that the picture was cut
    zoom_ratio: float | None = None  # digital zoom as written; the focal length may count it or not

    def guesses(self) -> tuple[FocalGuess, ...]:
        """The focal lengths that are possible, before the picture itself is asked.

        Returns: one guess round the camera's own figure, or else three: a phone's main lens, its
        longer lens, and anything a camera may have.
        Raises: OutOfRange when the figure is no focal length.
        Valid for: phones and cameras. A picture that was cut says nothing of its lens.
        Source: a whole number stands for anything within half a unit, so its standard deviation is
            1/sqrt(12) (JCGM 100:2008 F.2.2.1). The three guesses are common practice of phone makers.
        Checked by: published/test_vision_camera.py, unit/test_vision_camera.py
        """
        if self.f35_mm is None or not self.whole_picture:
            centre = CENTRE_RATIO_SD if self.whole_picture else CUT_CENTRE_RATIO_SD
            stretch = STRETCH_SD if self.whole_picture else CHANGED_STRETCH_SD
            return tuple(
                FocalGuess(log_f35=log(f35), sd=sd, weight=weight, centre_ratio_sd=centre, stretch_sd=stretch)
                for f35, sd, weight in ((26.0, 0.05, 0.5), (50.0, 0.05, 0.3), (35.0, 0.40, 0.2))
            )
        f35 = number(self.f35_mm, "focal length", where="photo", low=8.0, high=400.0)
        rounding = 1.0 / sqrt(12.0) / f35
        return (FocalGuess(log_f35=log(f35), sd=hypot(rounding, FIGURE_RATIO_SD), weight=1.0),)

    def guesses_with_doubt(self) -> tuple[FocalGuess, ...]:
        """As guesses, and that the camera's own figure is not this picture's.

        Returns: guesses; round a figure also one for a digital zoom that the figure may not count, and one for
            anything else; of a whole picture also that it is stretched.
        Raises: OutOfRange when the figure is no focal length.
        Valid for: as guesses, where the picture itself can say which of them is right.
        Source: Exif 2.32, DigitalZoomRatio and FocalLengthIn35mmFilm, of which cameras make the one count in the other
            or not. The shares are our own.
        Checked by: unit/test_vision_camera.py, unit/test_vision_handed_in.py
        """
        told = self.guesses()
        if not self.whole_picture:
            return told  # open anyway
        stretched = tuple(
            replace(g, stretch_sd=CHANGED_STRETCH_SD, weight=_STRETCHED_SHARE * g.weight) for g in told
        )
        if len(told) > 1:
            return *(replace(g, weight=(1.0 - _STRETCHED_SHARE) * g.weight) for g in told), *stretched
        zoom = self.zoom_ratio or 1.0
        ways = (0.0, log(zoom)) if zoom > _ZOOMED else (0.0,)
        share = (1.0 - _WRONG_SHARE - _STRETCHED_SHARE) / len(ways)
        return (
            *(replace(told[0], log_f35=told[0].log_f35 + way, weight=share) for way in ways),
            FocalGuess(
                log_f35=told[0].log_f35 + _WRONG_LONGER,
                sd=_WRONG_SD,
                weight=_WRONG_SHARE,
                centre_ratio_sd=CUT_CENTRE_RATIO_SD,
                stretch_sd=CHANGED_STRETCH_SD,
            ),
            *stretched,
        )


def focal_px(f35_mm: float, width_px: float, height_px: float) -> float:
    """Focal length in pixels from the 35 mm equivalent.

    Parameters: f35_mm [mm]; width_px and height_px [px] of the whole picture, either way up.
    Returns: focal length [px].
    Raises: OutOfRange for sizes that are none.
    Valid for: square pixels and a picture that was not cut.
    Source: CIPA DCG-001: equal angle of view over the diagonal, that of 36 x 24 mm film being 43.27 mm.
        Some programs go by the width; on a picture of 4 to 3 that is 4 % less.
    Checked by: published/test_vision_camera.py
    >>> round(focal_px(26, 4032, 3024), 1)
    3028.6
    """
    f35 = number(f35_mm, "focal length", where="photo", above=0.0)
    width = number(width_px, "width", where="photo", above=0.0)
    height = number(height_px, "height", where="photo", above=0.0)
    return f35 / FILM_DIAGONAL_MM * hypot(width, height)


def crop_factor(sensor_diagonal_mm: float) -> float:
    """How many times smaller a sensor is than 35 mm film.

    Parameters: sensor_diagonal_mm [mm].
    Returns: ratio [-]; times the true focal length it is the 35 mm equivalent.
    Raises: OutOfRange for a size that is none.
    Valid for: any sensor.
    Source: as focal_px.
    Checked by: published/test_vision_camera.py
    """
    return FILM_DIAGONAL_MM / number(sensor_diagonal_mm, "sensor diagonal", where="photo", above=0.0)


def focal_from_homography(homography: FloatArray, centre_px: tuple[float, float]) -> tuple[float, float]:
    """The focal length that one view of a flat square grid asks for, found in two ways.

    Parameters: homography : (3, 3) float [-], plane to picture; centre_px [px], the optical centre.
    Returns: two estimates [px]: from the axes' being at right angles, and from their equal length.
    Raises: Unsolved when the view leaves it open (both axes seen without convergence).
    Valid for: square pixels, no distortion. On real single views it is weak; it is a check, and a
        start where nothing else is known.
    Source: Zhang 2000, equations 3 and 4, with K = diag(f, f, 1) about the optical centre.
    Checked by: published/test_vision_camera.py
    """
    shift = np.array([[1.0, 0.0, -centre_px[0]], [0.0, 1.0, -centre_px[1]], [0.0, 0.0, 1.0]])
    h1, h2, _ = (shift @ np.asarray(homography, dtype=float)).T
    across = -(h1[0] * h2[0] + h1[1] * h2[1])  # = f^2 h1z h2z
    along = h2[0] ** 2 + h2[1] ** 2 - h1[0] ** 2 - h1[1] ** 2  # = f^2 (h1z^2 - h2z^2)
    found = []
    for top, bottom in ((across, h1[2] * h2[2]), (along, h1[2] ** 2 - h2[2] ** 2)):
        if bottom == 0.0 or top / bottom <= 0.0:
            raise Unsolved(
                "this view does not show the focal length",
                where="photo",
                do="Take it from the camera's file, or photograph the card more obliquely.",
            )
        found.append(sqrt(top / bottom))
    return found[0], found[1]


def project(points: FloatArray, f_px: FloatArray, centre_px: FloatArray, k1: FloatArray) -> FloatArray:
    """Points of the camera frame in the picture, for many cameras at once.

    Parameters: points : (b, n, 3) float [mm], camera frame; f_px : (b,) float [px];
        centre_px : (b, 2) float [px]; k1 : (b,) float [-].
    Returns: (b, n, 2) float [px].
    Raises: nothing of its own; points behind the camera come out as numbers without meaning.
    Valid for: mild distortion, x_d = x_u (1 + k1 r^2) with r in units of the focal length.
    Source: pinhole with the first radial term of Brown 1966.
    Checked by: published/test_vision_camera.py
    """
    flat = points[..., :2] / points[..., 2:]
    stretch = 1.0 + k1[:, None] * (flat**2).sum(-1)
    result: FloatArray = f_px[:, None, None] * flat * stretch[..., None] + centre_px[:, None, :]
    return result
