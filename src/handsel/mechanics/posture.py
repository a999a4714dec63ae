"""Where points of a digit are, as polynomials in the cosine and sine of its two hinges."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def rotation_terms(axis: Floats) -> Floats:
    """The three matrices of R(angle) = A0 + cos A1 + sin A2 about a unit axis.

    Returns: (3, 3, 3) float [-].    Source: Rodrigues' rotation formula.
    """
    x, y, z = axis
    along = np.outer(axis, axis)
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    return np.stack([along, np.eye(3) - along, cross])


def point_terms(
    hinge1: tuple[Floats, Floats], hinge2: tuple[Floats, Floats], point: Floats, on_tip: bool
) -> Floats:
    """Terms C of a digit point p = sum_jk C[:, j, k] a_j(phi1) b_k(phi2), with a = b = (1, cos, sin).

    Parameters: hinge1, hinge2, (origin, unit axis) with the digit straight [mm, -]; point : (3,)
        float [mm], with the digit straight; on_tip, whether it moves with the tip hinge too.
    Returns: (3, 3, 3) float [mm]: coordinate, term of phi1, term of phi2.
    """
    (o1, k1), (o2, k2) = hinge1, hinge2
    outer = rotation_terms(k1)
    terms = np.zeros((3, 3, 3))
    terms[:, 0, 0] = o1
    if on_tip:
        terms[:, :, 0] += np.einsum("jxy,y->xj", outer, o2 - o1)
        terms += np.einsum("jxy,kyz,z->xjk", outer, rotation_terms(k2), point - o2)
    else:
        terms[:, :, 0] += np.einsum("jxy,y->xj", outer, point - o1)
    return terms


def trig_terms(angle_rad: Floats) -> Floats:
    """(1, cos, sin) and its first and second derivative by the angle.

    Parameters: angle_rad : (...) float [rad].
    Returns: (..., 3, 3) float [-]: order of the derivative, term.
    Source: definition.
    """
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    out = np.zeros((*angle_rad.shape, 3, 3))
    out[..., 0, 0] = 1.0
    out[..., 0, 1], out[..., 0, 2] = c, s
    out[..., 1, 1], out[..., 1, 2] = -s, c
    out[..., 2, 1], out[..., 2, 2] = -c, -s
    return out
