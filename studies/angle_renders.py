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

import io
from dataclasses import dataclass
from math import ceil, hypot
from pathlib import Path

import numpy as np
from photographing import photograph

ROOT = Path(__file__).parents[1]
OUT = ROOT / "out" / "angle-renders"
CODES = {10: ("1111", "1001", "1001", "0001"), 11: ("0001", "0001", "1010", "0111")}
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


def turn(axis: int, degrees: float) -> np.ndarray:
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    m = np.eye(3)
    i, j = (axis + 1) % 3, (axis + 2) % 3
    m[i, i] = m[j, j] = c
    m[i, j], m[j, i] = -s, s
    return m


def pose(rotation: np.ndarray, at: np.ndarray) -> np.ndarray:
    m = np.eye(4)
    m[:3, :3], m[:3, 3] = rotation, at
    return m


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


@dataclass
class Camera:
    rotation: np.ndarray  # hand frame to camera frame (x right, y down, z forward)
    at: np.ndarray  # in the hand frame
    f_px: float
    centre: np.ndarray
    k1: float
    size: tuple[int, int]

    def shown(self, points: np.ndarray) -> np.ndarray:
        p = (points - self.at) @ self.rotation.T
        flat = p[:, :2] / p[:, 2:]
        return self.f_px * flat * (1.0 + self.k1 * (flat**2).sum(1, keepdims=True)) + self.centre


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


def card_texture(number: int) -> np.ndarray:
    """White card of 9 by 9 cells with the marker in its middle, ink that is not quite black."""
    cell = 64
    marker = np.zeros((6, 6))
    marker[1:-1, 1:-1] = [[float(c) for c in row] for row in CODES[number]]
    whole = np.ones((9 * cell, 9 * cell))
    whole[int(1.5 * cell) : int(7.5 * cell), int(1.5 * cell) : int(7.5 * cell)] = np.kron(
        marker, np.ones((cell, cell))
    )
    return (0.05 + 0.75 * whole[::-1])[..., None].repeat(3, -1).astype(np.float32)


def table_texture(rng: np.random.Generator) -> np.ndarray:
    n = 256
    kind = rng.choice(["plain", "grain", "checks", "grid"])
    base = np.array(
        rng.choice(
            [[0.35, 0.22, 0.14], [0.6, 0.55, 0.45], [0.12, 0.3, 0.24], [0.4, 0.4, 0.42], [0.75, 0.74, 0.7]]
        )
    )
    picture = np.ones((n, n, 1)) * base
    if kind == "grain":
        rows = np.cumsum(rng.normal(0, 0.02, (n, 1, 1)), 0)
        picture = picture * np.clip(1 + rows - rows.mean() + rng.normal(0, 0.05, (n, n, 1)), 0.4, 1.6)
    elif kind == "checks":
        at = np.arange(n) // 32
        picture = picture * np.where((at[:, None] + at[None]) % 2, 1.0, 0.45)[..., None]
    elif kind == "grid":
        line = np.arange(n) % 32 < 2
        picture[line[:, None] | line[None]] = [0.7, 0.7, 0.5]
    else:
        picture = picture * np.clip(1 + rng.normal(0, 0.08, (n, n, 1)), 0.5, 1.5)
    return np.clip(picture, 0.02, 0.9).astype(np.float32)


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


def rays_light(mi, scene, camera: Camera, px: np.ndarray, seed: int) -> np.ndarray:
    """Light that comes along each ray, rays given by where they meet the picture: (n, 3)."""
    import drjit as dr

    flat = (px - camera.centre) / camera.f_px
    undone = flat.copy()
    for _ in range(6):
        undone = flat / (1.0 + camera.k1 * (undone**2).sum(1, keepdims=True))
    direction = np.column_stack([undone, np.ones(len(px))]) @ camera.rotation
    direction /= np.linalg.norm(direction, axis=1, keepdims=True)
    ray = mi.RayDifferential3f(
        mi.Ray3f(
            mi.Point3f(*[float(v) for v in camera.at]),
            mi.Vector3f(*[mi.Float(np.ascontiguousarray(c, np.float32)) for c in direction.T]),
        )
    )
    sampler = mi.load_dict({"type": "independent"})
    sampler.seed(seed, len(px))
    light, _, _ = mi.load_dict({"type": "path", "max_depth": 3}).sample(scene, sampler, ray)
    dr.eval(light)
    return np.array(light, dtype=np.float32).T


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


def develop(light: np.ndarray, rng: np.random.Generator, dim: bool) -> np.ndarray:
    """Exposure, grain, a phone's sharpening, and file values."""
    import cv2

    exposed = light * (rng.uniform(0.55, 0.9) / np.percentile(light, 97))
    grain = rng.uniform(0.012, 0.022) if dim else rng.uniform(0.002, 0.007)  # at full white
    noise = rng.standard_normal(exposed.shape, dtype=np.float32) * np.sqrt(
        np.maximum(exposed, 0) * grain**2 + (0.3 * grain) ** 2
    )
    if dim:
        exposed = exposed * rng.uniform(0.3, 0.6)
    seen = np.clip(exposed + noise, 0, 0.9999).astype(np.float32)
    steps = np.linspace(0.0, 1.0, 4097)
    curve = np.where(steps <= 0.0031308, 12.92 * steps, 1.055 * np.maximum(steps, 1e-6) ** (1 / 2.4) - 0.055)
    file = curve.astype(np.float32)[
        (seen * 4096.0 + rng.random(seen.shape, dtype=np.float32)).astype(np.uint16)
    ]
    if rng.random() < 0.5:
        amount = float(rng.uniform(0.2, 0.6))
        file = file + amount * (file - cv2.GaussianBlur(file, (0, 0), 1.0))
    return np.clip(np.round(file * 255), 0, 255).astype(np.uint8)


def to_jpeg(picture: np.ndarray, orientation: int, f35: int | None, quality: int) -> bytes:
    """The file as a phone would write it: stored turned, with a note that turns it back."""
    from PIL import Image

    undo = {1: 0, 3: 2, 6: 1, 8: 3}[orientation]  # quarter turns anticlockwise that the reader takes back
    stored = np.ascontiguousarray(np.rot90(picture, undo))
    image = Image.fromarray(stored)
    exif = Image.Exif()
    if f35 is not None:
        exif[0x0112] = orientation
        exif.get_ifd(0x8769)[0xA405] = f35
    out = io.BytesIO()
    image.save(out, "JPEG", quality=quality, exif=exif)
    return out.getvalue()


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
