"""What the rendered photos of all studies share: a phone's camera and its files, and what lies under and on the hands.

Nothing of the measurement is used here. Camera rays are made one by one, so lens distortion and an optical centre that
is off act on light, before it is turned into file values.
"""

from __future__ import annotations

import io
from dataclasses import dataclass

import numpy as np

CODES = {10: ("1111", "1001", "1001", "0001"), 11: ("0001", "0001", "1010", "0111")}


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
