"""Hands seen by a camera, as numbers: what the tests of the estimation start from."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from handsel.vision.cards import CUFF, PALM, edge_pieces
from handsel.vision.edges import EdgeReadings
from handsel.vision.rest_angle.hand_view import COUNT, FACING, Scene, about, in_picture, misses_px, place

SIZE_PX = (1600, 1200)


def blank_readings(card, u_px=0.03):
    """All edges of a card, not yet put anywhere."""
    pieces = edge_pieces(card)
    n = len(pieces.row)
    return EdgeReadings(
        card=card, homography=np.eye(3), card_mm=pieces.middle * (16 / 6) * [1, -1], at_px=np.zeros((n, 2)),
        normal=np.tile([1.0, 0.0], (n, 1)), u_noise_px=np.full(n, u_px), u_grid_px=np.full(n, 0.01),
        across=pieces.across, blur_px=0.7, blur_cells=0.1, side_px=50.0, lost_ratio=0.0, contrast=0.9)  # fmt: skip


def scene_of(rng):
    """A scene with points and normals anywhere; good enough for derivatives."""
    cards = []
    for card in (PALM, CUFF):
        blank = blank_readings(card)
        n = len(blank.across)
        angle = rng.uniform(0, 2 * np.pi, n)
        cards.append(
            replace(
                blank,
                at_px=rng.uniform(300, 900, (n, 2)),
                normal=np.column_stack([np.cos(angle), np.sin(angle)]),
            )
        )
    return Scene(palm=cards[0], cuff=cards[1], size_px=SIZE_PX, palm_reference=FACING, cuff_reference=FACING)


def random_state(rng):
    state = np.zeros(COUNT)
    state[0] = rng.uniform(-0.2, 0.7)
    state[1:3] = rng.normal(0, 4, 2)
    state[3] = rng.uniform(-0.06, 0.06)
    state[4:7], state[10:13] = rng.uniform(-0.4, 0.4, 3), rng.uniform(-0.4, 0.4, 3)
    state[7:9], state[13:15] = rng.uniform(-0.2, 0.2, 2), rng.uniform(-0.2, 0.2, 2)
    state[9], state[15] = np.log(rng.uniform(250, 400, 2))
    state[16:18] = rng.uniform(-0.07, 0.07, 2)
    state[18:22] = rng.normal(0, 0.05, 4)
    state[22] = rng.uniform(-0.04, 0.04)
    return state


def true_scene(
    rng,
    *,
    f35_mm,
    rest_deg,
    above_deg,
    aside_deg,
    distance_mm=430.0,
    noise_px=0.03,
    fingers="right",
    step_mm=None,
    tilts_deg=None,
    stretch_ratio=0.0,
):
    """A hand with known rest angle, its edges as they would be measured, with noise; and the state behind it.

    Built from the definition: side faces square to the hinge axis, cards tilted out of them, one face further out.
    """
    sign = 1.0 if fingers == "right" else -1.0
    tilts = np.radians(rng.uniform(-4, 4, 4) if tilts_deg is None else tilts_deg)
    tilt = [about(1, tilts[k + 1 : k + 2])[0] @ about(0, tilts[k : k + 1])[0] for k in (0, 2)]
    hand = (
        FACING
        @ about(0, np.radians(np.array([above_deg])))[0]
        @ about(1, np.radians(np.array([-aside_deg])))[0]
    )
    hinge = about(2, np.array([-sign * np.radians(rest_deg)]))[0]
    step = rng.uniform(-8, 8) if step_mm is None else step_mm
    palm_at = distance_mm * np.array([*rng.uniform(-0.1, 0.1, 2), 1.0])
    cuff_at = palm_at + hand @ np.array([-sign * 75.0, 18.0, step])
    state = np.zeros(COUNT)
    state[0] = np.log(f35_mm / 26.0)
    state[1:3] = rng.uniform(-6, 6, 2)
    state[3] = rng.uniform(-0.06, 0.06)
    for start, at in ((7, palm_at), (13, cuff_at)):
        state[start + 2] = np.log(at[2]) - state[0]
        state[start : start + 2] = at[:2] / at[2] * f35_mm / 26.0
    state[16:18] = tilts[:2]
    state[22] = stretch_ratio
    scene = Scene(
        palm=blank_readings(PALM, noise_px),
        cuff=blank_readings(CUFF, noise_px),
        size_px=SIZE_PX,
        palm_reference=hand @ tilt[0],
        cuff_reference=hand @ hinge @ tilt[1],
    )
    return seen(scene, state, rng, noise_px), state


def seen(scene, state, rng, noise_px):
    """The scene with every edge where the state puts it, and noise along its normal."""
    at = place(scene, state[None])
    cards = []
    for card, rotation, middle in (
        (scene.palm, at.palm[0], at.palm_at[0]),
        (scene.cuff, at.cuff[0], at.cuff_at[0]),
    ):

        def shown(points, rotation=rotation, middle=middle):
            return in_picture(scene, state[None], (points @ rotation[:, :2].T + middle)[None])[0]

        step = np.where(card.across[:, None] == 0, [[0.0, 1e-3]], [[1e-3, 0.0]])
        here, along = shown(card.card_mm), shown(card.card_mm + step)
        tangent = (along - here) / np.linalg.norm(along - here, axis=1)[:, None]
        normal = np.column_stack([-tangent[:, 1], tangent[:, 0]])
        cells = np.vstack(
            [shown(np.array([[x, y]]) * 16 / 6) for x, y in ((-3, 3), (3, 3), (3, -3), (-3, -3))]
        )
        from handsel.vision.edges import homography_from_corners

        noise = rng.normal(0, 1, len(here)) * np.hypot(card.u_noise_px, card.u_grid_px)
        cards.append(
            replace(
                card,
                at_px=here + normal * noise[:, None],
                normal=normal,
                homography=homography_from_corners(cells),
            )
        )
    made = replace(scene, palm=cards[0], cuff=cards[1])
    assert np.abs(misses_px(made, state[None])).max() < 8 * max(noise_px, 0.02)
    return made
