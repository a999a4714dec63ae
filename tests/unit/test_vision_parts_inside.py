"""What a part shows within its outline: lines where its solid has them, none that it hides, and what they tell."""

from __future__ import annotations

from functools import cache

import numpy as np
import numpy.typing as npt
from manifold3d import Manifold

from handsel.vision.camera import Lens
from handsel.vision.mat.flat import Flat, flattened
from handsel.vision.mat.patches import Patch
from handsel.vision.mat.view import MatView, shadow_mm, view_of
from handsel.vision.parts.inside import inner_lines, looked_inside
from handsel.vision.parts.kinds import Pose, outline_seen
from handsel.vision.parts.pull import Fit
from handsel.vision.parts.silhouette import skin_of
from handsel.vision.parts.steps import to_outline
from unit.parts_scenes import A4, drawn, over

BASE_MM, BLOCK_MM = (50.0, 24.0, 6.0), (14.0, 12.0, 8.0)
BLOCK_AT_MM = -13.0  # of its middle along the base
AT_MM = np.array((80.0, -190.0))
CAMERA = over(A4, height_mm=330.0, tilt_deg=10.0)


@cache
def pose() -> Pose:
    """A plate with a block on one end: turned by half a turn, its outline from above is the same."""
    plate = Manifold.cube(BASE_MM, True).translate((0.0, 0.0, BASE_MM[2] / 2))
    block = Manifold.cube(BLOCK_MM, True).translate((BLOCK_AT_MM, 0.0, BASE_MM[2] + BLOCK_MM[2] / 2))
    solid = plate + block
    half = np.array(BASE_MM[:2]) / 2
    return Pose(
        mirrored=False,
        solid=solid,
        height_mm=BASE_MM[2] + BLOCK_MM[2],
        outline_mm=half * [[-1, -1], [1, -1], [1, 1], [-1, 1]],
        on_flat_side=True,
        skin=skin_of(solid),
        rough_skin=skin_of(solid),
    )


def laid(view: MatView, turn_rad: float) -> Fit:
    outline = outline_seen(pose(), at_mm=AT_MM, turn_rad=turn_rad, camera_mm=view.at_mm)
    return Fit(
        kind=0,
        pose=pose(),
        at_mm=AT_MM,
        turn_rad=turn_rad,
        scale=1.0,
        u_scale=0.0,
        says=10.0,
        most_says=20.0,
        matched_ratio=1.0,
        shown_ratio=1.0,
        rms_mm=0.0,
        outline_mm=outline,
    )


def corners(heights: tuple[float, ...], camera_mm: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """What hides the paper of the block's corners at some heights: (n, 4, 2)."""
    ring = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) / 2 * BLOCK_MM[:2] + [BLOCK_AT_MM, 0.0] + AT_MM
    return np.array([shadow_mm(np.column_stack([ring, np.full(4, h)]), camera_mm) for h in heights])


@cache
def scene() -> tuple[Flat, MatView]:
    """The plate, nearly as light as paper, with the block's top and the two sides that are seen a little darker."""
    camera_mm = np.array(CAMERA.at_mm)
    foot, top = corners((BASE_MM[2], BASE_MM[2] + BLOCK_MM[2]), camera_mm)
    plate = outline_seen(pose(), at_mm=AT_MM, turn_rad=0.0, camera_mm=camera_mm)
    sides = [np.array([foot[i], foot[j], top[j], top[i]]) for i, j in ((0, 1), (1, 2), (2, 3), (3, 0))]
    picture = drawn(
        A4,
        CAMERA,
        [(plate, (214, 214, 212)), *((s, (170, 170, 168)) for s in sides), (top, (196, 196, 194))],
    )
    view = view_of(np.asarray(picture[..., 1]), lens=Lens(f35_mm=26.0), where="drawn")
    return flattened(picture, view), view


def test_lines_run_along_the_edges_that_the_camera_sees() -> None:
    _, view = scene()
    places, across = inner_lines(laid(view, 0.0), view, print_ratio=1.0)
    top = corners((BASE_MM[2] + BLOCK_MM[2],), view.at_mm)[0]
    shares = np.linspace(0.0, 1.0, 200)[:, None]
    for a, b in zip(top, np.roll(top, -1, 0), strict=True):
        assert to_outline(a + (b - a) * shares[20:-20], places).max() < 0.5
    assert np.allclose(np.linalg.norm(across, axis=1), 1.0)


def test_edges_behind_the_part_itself_give_no_line() -> None:
    _, view = scene()
    places, _ = inner_lines(laid(view, 0.0), view, print_ratio=1.0)
    foot, top = corners((BASE_MM[2], BASE_MM[2] + BLOCK_MM[2]), view.at_mm)
    away = (foot.mean(0) - view.at_mm[:2]) @ (foot - foot.mean(0)).T
    far = int(away.argmax())  # this corner of the block's foot lies behind the block
    assert to_outline(foot[far : far + 1], places)[0] > 0.3
    near = int(away.argmin())
    assert to_outline(foot[near : near + 1], places)[0] < 0.5
    low, high = np.minimum(foot.min(0), top.min(0)) - 1.0, np.maximum(foot.max(0), top.max(0)) + 1.0
    assert ((places > low) & (places < high)).all()


def test_what_lies_within_tells_a_turned_part_that_has_the_same_outline() -> None:
    flat, view = scene()
    ring = laid(view, 0.0).outline_mm
    patch = Patch(outline_mm=ring, area_mm2=1200.0, certain=False)
    true, turned = (
        looked_inside(laid(view, turn), patch, flat, view, print_ratio=1.0) for turn in (0.0, np.pi)
    )
    assert true.inside_says > 0.5 * true.inside_most > 5.0
    assert turned.inside_says < 0.0
    assert true.says == 10.0 + true.inside_says
    assert true.most_says == 20.0 + true.inside_most


def test_a_body_without_edges_on_its_upper_side_stays_as_it_was() -> None:
    flat, view = scene()
    solid = Manifold.cube(BASE_MM, True).translate((0.0, 0.0, BASE_MM[2] / 2))
    plain = laid(view, 0.0)
    under = Pose(
        mirrored=False,
        solid=solid,
        height_mm=BASE_MM[2],
        outline_mm=plain.pose.outline_mm,
        on_flat_side=True,
        skin=skin_of(solid),
        rough_skin=skin_of(solid),
    )
    # Right under the camera only the rim is seen, and that is the outline.
    at = view.at_mm[:2]
    outline = outline_seen(under, at_mm=at, turn_rad=0.0, camera_mm=view.at_mm)
    fit = Fit(
        kind=0,
        pose=under,
        at_mm=at,
        turn_rad=0.0,
        scale=1.0,
        u_scale=0.0,
        says=7.0,
        most_says=9.0,
        matched_ratio=1.0,
        shown_ratio=1.0,
        rms_mm=0.0,
        outline_mm=outline,
    )
    patch = Patch(outline_mm=outline, area_mm2=1200.0, certain=False)
    assert looked_inside(fit, patch, flat, view, print_ratio=1.0) is fit
