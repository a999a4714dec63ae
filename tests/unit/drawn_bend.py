"""A drawn close photo of a bend: a surface of one colour, shaded across the bend, with what may lie along it."""

from __future__ import annotations

import numpy as np

SIZE = (800, 600)
ORANGE, TEAL, BLACK, WHITE = (0.6, 0.22, 0.03), (0.06, 0.36, 0.4), (0.03, 0.03, 0.03), (0.75, 0.75, 0.73)


def along_and_across(turn_deg):
    """Places in the picture along and across a bend through its middle [px]."""
    y, x = np.mgrid[0 : SIZE[1], 0 : SIZE[0]].astype(float)
    x, y = x - SIZE[0] / 2, y - SIZE[1] / 2
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    return x * c + y * s, -x * s + y * c


def drawn(
    colour=ORANGE,
    *,
    turn_deg=20.0,
    covered=0.0,
    added=0.0,
    dimmed=0.0,
    width_px=12.0,
    length_px=420.0,
    noise=0.006,
    blur=0.8,
):
    """RGB pixels. `covered`: share of the colour that white covers along a line, as whitening does; `added`: white
    light that is added along a line, as a reflection does [of full white]; `dimmed`: share of the colour's own light
    that does not get through the surface there."""
    import cv2

    along, across = along_and_across(turn_deg)
    rng = np.random.default_rng(11)
    shade = 0.75 + 0.2 * np.tanh(across / 160.0)
    line = np.exp(-0.5 * (across / (width_px / 2.355)) ** 2)
    line = line / (1 + np.exp((np.abs(along) - length_px / 2) / 6.0))
    patchy = np.clip(1 + 0.3 * cv2.GaussianBlur(rng.normal(0, 12, line.shape), (0, 0), 8), 0.3, 1.5)
    share = np.clip(covered * line * patchy, 0, 0.95)[..., None]
    skin = np.array(colour) * (1 - share) + 0.82 * share
    light = skin * (shade * (1.0 - dimmed * line))[..., None] + (added * line)[..., None] + 0.015
    light = cv2.GaussianBlur(light, (0, 0), blur) + rng.normal(0, noise, light.shape) * np.sqrt(
        light.clip(0.02)
    )
    light = np.clip(light, 0, 1)
    srgb = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return np.round(255 * srgb).astype(np.uint8)
