"""Photos of hands with two cards, computed by an independent renderer with every truth known.

    python studies/angle_renders.py --kind clean --count 200
    python studies/angle_renders.py --kind field --count 200
    python studies/angle_renders.py --kind missing --count 20        (also: covered, above)

Writes JPEGs and one truth.jsonl per kind into out/angle-renders/. What is there already is not made again, so
it may be stopped at any time. One seed makes one photo, whatever else is made. It runs on one thread; start it with
`nice -n 19` on a machine that others use. About two seconds of processor time per photo.

The renderer is Mitsuba 3 (a development dependency) with its LLVM variant; where the LLVM library is not found,
set DRJIT_LIBLLVM_PATH to one of version 16 or newer. Nothing of the measurement is used here: the hand's geometry, the
camera, its lens, the light and the noise are written out below from the definition of the angle alone.

Camera rays are made one by one, so lens distortion, an optical centre that is off, the softness of the lens
and the shake of the hand that holds the phone all act on light, before it is turned into file values.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, hypot
from pathlib import Path

import numpy as np
from phone_camera import Camera, card_texture, develop, pose, rays_light, table_texture, to_jpeg, turn
from photographing import photograph

ROOT = Path(__file__).parents[1]
OUT = ROOT / "out" / "angle-renders"
FIRST_SEED = {"clean": 10_000, "field": 20_000, "missing": 30_000, "covered": 40_000, "above": 50_000}
TROUBLES = ("dim", "shadow", "glare", "motion", "small", "clutter")
SAMPLES = 9  # light paths per pixel round the cards
COARSE = 8  # the rest of the picture is computed at an eighth of its size


@dataclass
class Shot:
    """One photo: what is true, and what was done to it."""

    file: str
    kind: str
    seed: int
    rest_angle_deg: float
    fingers: str  # left or right in the picture
    f35_mm: float
    exif_f35_mm: int | None
    orientation: int
    size_px: tuple[int, int]
    distance_mm: float
    azimuth_deg: float
    elevation_deg: float
    roll_deg: float
    k1: float
    centre_px: tuple[float, float]
    card_turn_deg: tuple[float, float]
    card_tilt_deg: tuple[float, float, float, float]
    step_mm: float
    troubles: tuple[str, ...]
    card_px: tuple[float, float]


# ---- geometry ------------------------------------------------------------------------------------


@dataclass
class Hand:
    """Poses in the hand's frame: x along the palm, y to its back, z out of the side that faces the camera."""

    sign: float  # +1 fingers to +x, -1 to -x
    angle_deg: float
    palm_card: np.ndarray  # 4 x 4
    cuff_card: np.ndarray
    cuff: np.ndarray  # 4 x 4, cuff frame: x as the palm's, turned about the hinge
    step_mm: float
    table_y: float


def make_hand(rng: np.random.Generator, kind: str, turned: bool) -> tuple[Hand, dict]:
    sign = float(rng.choice([-1.0, 1.0]))
    angle = float(rng.uniform(8.0, 52.0))
    cuff_turn = turn(2, -sign * angle)
    tilts = rng.uniform(-4.0, 4.0, 4)
    turns = rng.normal(0.0, 0.7, 2) if turned else np.zeros(2)
    step = float(rng.uniform(-8.0, 8.0))

    def card(
        part: np.ndarray, middle: tuple[float, float], z: float, tilt: np.ndarray, in_plane: float
    ) -> np.ndarray:
        at = part @ np.array([middle[0], middle[1], z + 1.0])
        return pose(part @ turn(1, tilt[1]) @ turn(0, tilt[0]) @ turn(2, in_plane), at)

    palm_card = card(np.eye(3), (sign * rng.uniform(26, 34), rng.uniform(-3, 3)), 0.0, tilts[:2], turns[0])
    cuff_card = card(cuff_turn, (-sign * rng.uniform(42, 56), rng.uniform(2, 12)), step, tilts[2:], turns[1])
    hand = Hand(
        sign=sign,
        angle_deg=angle,
        palm_card=palm_card,
        cuff_card=cuff_card,
        cuff=pose(cuff_turn, np.zeros(3)),
        step_mm=step,
        table_y=-20.0,
    )
    return hand, {"card_turn_deg": tuple(turns), "card_tilt_deg": tuple(tilts), "step_mm": step}


# ---- camera --------------------------------------------------------------------------------------


def make_camera(rng: np.random.Generator, hand: Hand, kind: str, small: bool) -> tuple[Camera, dict]:
    size = ((1600, 1200), (2016, 1512))[int(rng.random() < 0.4)]
    if rng.random() < 0.2:
        size = size[::-1]
    diagonal = hypot(*size)
    f35 = float(rng.uniform(23.7, 28.4) if rng.random() < 0.65 or small else rng.normal(50.0, 0.3))
    f_px = f35 / hypot(36.0, 24.0) * diagonal
    azimuth, elevation = float(rng.uniform(-30, 30)), float(rng.uniform(-5, 35))
    if kind == "above":
        azimuth, elevation = float(rng.uniform(-12, 12)), float(rng.uniform(76, 86))
    distance = float(rng.uniform(300.0, 650.0))
    if small:
        distance = f_px * 16.0 / float(rng.uniform(32.0, 40.0))
    a, e = np.radians([azimuth, elevation])
    away = np.array([np.sin(a) * np.cos(e), np.sin(e), np.cos(a) * np.cos(e)])
    aim = 0.5 * (hand.palm_card[:3, 3] + hand.cuff_card[:3, 3])
    at = aim + distance * away
    forward = -away
    up = np.array([0.0, 1.0, 0.0]) if elevation < 70 else np.array([0.0, 0.0, -1.0])
    right = np.cross(forward, up)
    right /= np.linalg.norm(right)
    look = np.array([right, -np.cross(right, forward), forward])
    roll = float(rng.uniform(-15, 15))
    # The hand is not always in the middle of the picture.
    yaw, pitch = rng.uniform(-0.3, 0.3) * size[0] / f_px, rng.uniform(-0.25, 0.25) * size[1] / f_px
    rotation = turn(2, roll) @ turn(1, np.degrees(yaw)) @ turn(0, np.degrees(pitch)) @ look
    offset = rng.uniform(-8, 8, 2)
    centre = (np.array(size) - 1.0) / 2.0 + offset
    k1 = float(rng.uniform(-0.06, 0.06))
    camera = Camera(rotation=rotation, at=at, f_px=f_px, centre=centre, k1=k1, size=size)
    return camera, {
        "f35_mm": f35,
        "distance_mm": distance,
        "azimuth_deg": azimuth,
        "elevation_deg": elevation,
        "roll_deg": roll,
        "k1": k1,
        "centre_px": tuple(offset),
        "size_px": size,
    }


# ---- scene ---------------------------------------------------------------------------------------


def build_scene(
    mi, rng: np.random.Generator, hand: Hand, kind: str, cluttered: bool, elevation_deg: float
) -> tuple[object, str]:
    T = mi.ScalarTransform4f
    colours = [
        [0.75, 0.75, 0.72],
        [0.05, 0.05, 0.05],
        [0.55, 0.05, 0.05],
        [0.06, 0.12, 0.5],
        [0.7, 0.25, 0.03],
        [0.06, 0.35, 0.1],
        [0.62, 0.45, 0.28],
        [0.7, 0.55, 0.05],
        [0.3, 0.08, 0.4],
        [0.1, 0.5, 0.55],
    ]

    def colour() -> dict:
        return {
            "type": "diffuse",
            "reflectance": {"type": "rgb", "value": [float(v) for v in colours[rng.integers(10)]]},
        }

    palm_skin, cuff_skin = colour(), colour()
    dark = {"type": "diffuse", "reflectance": {"type": "rgb", "value": [0.04, 0.04, 0.05]}}
    white = {"type": "diffuse", "reflectance": {"type": "rgb", "value": [0.8, 0.8, 0.8]}}
    s, shapes = hand.sign, {}

    def box(name: str, frame: np.ndarray, low: tuple, high: tuple, skin: dict) -> None:
        low_, high_ = np.array(low, float), np.array(high, float)
        local = np.eye(4)
        local[:3, :3], local[:3, 3] = np.diag((high_ - low_) / 2), (high_ + low_) / 2
        shapes[name] = {"type": "cube", "to_world": T((frame @ local).tolist()), "bsdf": skin}

    def span(a: float, b: float) -> tuple[float, float]:
        return (min(s * a, s * b), max(s * a, s * b))

    still = np.eye(4)
    (x0, x1) = span(10, 78)
    box("palm", still, (x0, -16, -70), (x1, 14, 0), palm_skin)
    for i in range(4):
        (x0, x1) = span(80, rng.uniform(120, 150))
        z = -9.0 - 17 * i
        box(
            f"finger{i}",
            pose(turn(2, s * rng.uniform(-12, 4)), np.zeros(3)),
            (x0, -6, z - 6),
            (x1, 8, z + 6),
            palm_skin,
        )
    (x0, x1) = span(-110, -22)
    box("cuff", hand.cuff, (x0, -14, hand.step_mm - 72), (x1, 36, hand.step_mm), cuff_skin)
    (x0, x1) = span(-30, 2)
    box("arm", hand.cuff, (x0, -9, hand.step_mm - 5), (x1, 9, hand.step_mm), cuff_skin)
    (x0, x1) = span(-100, -84)
    box("strap", hand.cuff, (x0, -16, hand.step_mm - 74), (x1, 38, hand.step_mm + 1), dark)
    top = max(hand.step_mm, 0.0) + 2.0
    shapes["pin"] = {"type": "cylinder", "p0": [0, 0, -70], "p1": [0, 0, top], "radius": 6.5, "bsdf": white}
    shapes["pin_head"] = {"type": "disk", "to_world": T().translate([0, 0, top]).scale(6.5), "bsdf": white}

    absent = {"missing": str(rng.choice(["palm", "cuff"]))}.get(kind, "")
    for name, number, frame in (("palm", 10, hand.palm_card), ("cuff", 11, hand.cuff_card)):
        if name == absent:
            continue
        box(f"{name}_card_body", frame, (-12, -12, -0.7), (12, 12, -0.02), white)
        ink = {
            "type": "bitmap",
            "bitmap": mi.Bitmap(card_texture(number)),
            "raw": True,
            "filter_type": "bilinear",
        }
        shapes[f"{name}_card"] = {
            "type": "rectangle",
            "to_world": T((frame @ np.diag([12.0, 12.0, 1.0, 1.0])).tolist()),
            "bsdf": {"type": "diffuse", "reflectance": ink},
        }
    if kind == "covered":
        absent = str(rng.choice(["palm", "cuff"]))
        frame = hand.palm_card if absent == "palm" else hand.cuff_card
        edge, around = (
            rng.uniform(-2.0, 2.0),
            turn(2, float(rng.choice([0, 90, 180, 270]) + rng.uniform(-25, 25))),
        )
        box("tape", frame @ pose(around, np.zeros(3)), (edge, -17, 0.02), (edge + 22, 17, 0.5), colour())
    table = pose(turn(2, rng.uniform(-4, 4)) @ turn(0, rng.uniform(-3, 3)), np.array([0, hand.table_y, 0]))
    # Seen from low down, the hand lies near the table's edge, or the table would hide it.
    edge = rng.uniform(25, 45) if elevation_deg < 16.0 else rng.uniform(100, 300)
    flat = table @ pose(turn(0, -90), np.array([0.0, 0.0, edge - 500.0])) @ np.diag([500.0, 500.0, 1.0, 1.0])
    cloth = {
        "type": "bitmap",
        "bitmap": mi.Bitmap(table_texture(rng)),
        "raw": True,
        "to_uv": T().scale([float(rng.uniform(3, 7))] * 3),
    }
    shapes["table"] = {
        "type": "rectangle",
        "to_world": T(flat.tolist()),
        "bsdf": {"type": "diffuse", "reflectance": cloth},
    }
    for i in range(14 if cluttered else 3):
        x, z = rng.uniform(-260, 260), rng.uniform(-330, -110) if i % 3 else rng.uniform(8, 24)
        half, tall = rng.uniform(4, 28, 2), rng.uniform(1, 30 if z < 0 else 4)
        frame = table @ pose(turn(1, rng.uniform(0, 180)), np.array([x, 0, z]))
        box(
            f"thing{i}",
            frame,
            (-half[0], 0.1, -half[1] / 3),
            (half[0], tall, half[1] / 3),
            white if i % 4 == 0 else colour(),
        )
    ambient = rng.uniform(0.25, 0.6)
    tint = np.array([1.0, 1.0, 1.0]) + rng.uniform(-0.06, 0.06, 3)
    shapes["sky"] = {
        "type": "constant",
        "radiance": {"type": "rgb", "value": [float(v) for v in ambient * tint]},
    }
    lamp = np.array([rng.uniform(-500, 500), rng.uniform(500, 900), rng.uniform(100, 600)])
    shapes["lamp"] = {
        "type": "sphere",
        "center": lamp.tolist(),
        "radius": float(rng.uniform(30, 120)),
        "emitter": {"type": "area", "radiance": {"type": "rgb", "value": 1.0}},
    }
    radius = shapes["lamp"]["radius"]
    power = rng.uniform(0.8, 1.8) * float(np.dot(lamp, lamp)) / (np.pi * radius**2)
    shapes["lamp"]["emitter"]["radiance"]["value"] = float(power)
    return mi.load_dict({"type": "scene", **shapes}), absent


# ---- picture -------------------------------------------------------------------------------------


def render(
    mi,
    scene,
    camera: Camera,
    rng: np.random.Generator,
    windows: list[tuple[int, int, int, int]],
    soft_px: float,
    shake: np.ndarray,
) -> np.ndarray:
    """The whole picture in linear light: coarse everywhere, fine in the windows (left, top, right, bottom)."""
    import cv2

    width, height = camera.size
    cw, ch = ceil(width / COARSE), ceil(height / COARSE)
    y, x = np.mgrid[0:ch, 0:cw]
    at = np.column_stack([x.ravel(), y.ravel()]).repeat(3, 0)
    parts = [(at + rng.random(at.shape)) * COARSE - 0.5 + (rng.random((len(at), 1)) - 0.5) * shake]
    for left, top, right, bottom in windows:
        y, x = np.mgrid[top:bottom, left:right]
        at = np.column_stack([x.ravel(), y.ravel()]).repeat(SAMPLES, 0)
        # A pixel gathers light over its square; the lens spreads it; the shake smears it.
        px = at + rng.random(at.shape) - 0.5 + rng.normal(0, soft_px, at.shape)
        parts.append(px + (rng.random((len(at), 1)) - 0.5) * shake)
    # One call for all: what it costs is mostly to compile it.
    light = rays_light(mi, scene, camera, np.vstack(parts), int(rng.integers(1 << 30)))
    coarse, *fine = np.split(light, np.cumsum([len(p) for p in parts])[:-1])
    coarse = coarse.reshape(ch, cw, 3, 3).mean(2)
    whole = cv2.resize(coarse, (cw * COARSE, ch * COARSE), interpolation=cv2.INTER_LINEAR)[
        :height, :width
    ].copy()
    for (left, top, right, bottom), part in zip(windows, fine, strict=True):
        whole[top:bottom, left:right] = part.reshape(bottom - top, right - left, SAMPLES, 3).mean(2)
    return np.ascontiguousarray(whole)


def disturb(
    light: np.ndarray, rng: np.random.Generator, troubles: tuple[str, ...], cards_px: np.ndarray
) -> np.ndarray:
    """Shadow edge and glare over a card, in linear light."""
    h, w = light.shape[:2]
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    if "shadow" in troubles:
        at = cards_px[rng.integers(2)] + rng.uniform(-8, 8, 2)
        a = rng.uniform(0, 2 * np.pi)
        across = (x - at[0]) * np.cos(a) + (y - at[1]) * np.sin(a)
        light = (
            light
            * (
                1.0
                - rng.uniform(0.5, 0.75) / (1.0 + np.exp(np.clip(-across / rng.uniform(0.5, 4.0), -60, 60)))
            )[..., None]
        )
    if "glare" in troubles:
        at = cards_px[rng.integers(2)] + rng.uniform(-25, 25, 2)
        reach = rng.uniform(20, 70)
        spot = np.exp(-0.5 * ((x - at[0]) ** 2 + (y - at[1]) ** 2) / reach**2)
        light = light + rng.uniform(0.15, 0.5) * np.percentile(light, 95) * spot[..., None]
    return light


def shoot(mi, kind: str, seed: int) -> tuple[Shot, bytes]:
    rng = np.random.default_rng(seed)
    troubles: tuple[str, ...] = ()
    if kind == "field":
        first = TROUBLES[seed % len(TROUBLES)]
        more = [str(rng.choice([t for t in TROUBLES if t != first]))] if rng.random() < 0.35 else []
        troubles = (first, *more)
    hand, cards = make_hand(rng, kind, turned=kind == "field")
    while True:
        camera, view = make_camera(rng, hand, kind, small="small" in troubles)
        square = np.array([[-12, 12, 0], [12, 12, 0], [12, -12, 0], [-12, -12, 0]], float)
        outlines = [camera.shown(square @ c[:3, :3].T + c[:3, 3]) for c in (hand.palm_card, hand.cuff_card)]
        spots = np.vstack(outlines)
        if spots.min() > 30 and (spots < np.array(camera.size) - 30).all():
            break
    scene, _ = build_scene(
        mi,
        rng,
        hand,
        kind,
        cluttered="clutter" in troubles or rng.random() < 0.2,
        elevation_deg=view["elevation_deg"],
    )
    shake = np.zeros(2)
    if "motion" in troubles:
        a = rng.uniform(0, 2 * np.pi)
        shake = rng.uniform(3.0, 6.0) * np.array([np.cos(a), np.sin(a)])
    windows = []
    for o in outlines:
        low = np.maximum(np.floor(o.min(0)) - 9, 0).astype(int)
        high = np.minimum(np.ceil(o.max(0)) + 9, camera.size).astype(int)
        windows.append((*low, *high))
    light = render(mi, scene, camera, rng, windows, float(rng.uniform(0.35, 0.75)), shake)
    light = disturb(light, rng, troubles, np.array([o.mean(0) for o in outlines]))
    picture = develop(light, rng, "dim" in troubles)
    has_exif = rng.random() > 0.2
    orientation = int(rng.choice([1, 1, 1, 3, 6, 8])) if has_exif else 1
    exif = round(view["f35_mm"]) if has_exif else None
    jpeg = to_jpeg(picture, orientation, exif, int(rng.integers(84, 95)))
    sides = tuple(float(np.linalg.norm(np.roll(o, 1, 0) - o, axis=1).mean() * 16 / 24) for o in outlines)
    shot = Shot(
        file=f"{kind}-{seed}.jpg",
        kind=kind,
        seed=seed,
        rest_angle_deg=hand.angle_deg,
        fingers="right" if hand.sign > 0 else "left",
        exif_f35_mm=exif,
        orientation=orientation,
        troubles=troubles,
        card_px=sides,
        **view,
        **cards,
    )
    return shot, jpeg


def main() -> None:
    photograph(
        __doc__, OUT, FIRST_SEED, shoot, lambda s: (f"{s.rest_angle_deg:.2f}", *s.troubles), count=200
    )


if __name__ == "__main__":
    main()
