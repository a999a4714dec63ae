"""A small renderer for looking at parts: orthographic, a depth buffer, soft light and drawn edges.

Only numpy and Pillow; good enough to judge a shape by eye, and the same picture on every machine.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from PIL import Image

PAPER = np.array([250.0, 249.0, 246.0])


def view_matrix(azimuth_deg: float, elevation_deg: float) -> np.ndarray:
    """(3, 3) rows: right, up, toward the eye. Azimuth 0 looks along +y, 90 looks along -x, z is up."""
    a, e = np.radians([azimuth_deg, elevation_deg])
    eye = np.array([np.cos(e) * np.sin(a), -np.cos(e) * np.cos(a), np.sin(e)])
    right = np.array([np.cos(a), np.sin(a), 0.0])
    return np.array([right, np.cross(eye, right), eye])


def render(
    meshes: list[tuple[Any, tuple[int, int, int]]],
    azimuth_deg: float,
    elevation_deg: float,
    size_px: tuple[int, int] = (1400, 900),
    margin: float = 0.06,
    fine: int = 2,
) -> Image.Image:
    """Picture of (mesh, colour) pairs, fitted to the size."""
    view = view_matrix(azimuth_deg, elevation_deg)
    wide, high = size_px[0] * fine, size_px[1] * fine
    spots = [m.vertices @ view.T for m, _ in meshes]
    low, top = np.min([s.min(0) for s in spots], 0), np.max([s.max(0) for s in spots], 0)
    scale = (1 - 2 * margin) * min(wide / (top[0] - low[0]), high / (top[1] - low[1]))
    middle = (low + top) / 2
    depth = np.full((high, wide), -np.inf)
    normal = np.zeros((high, wide, 3))
    which = np.full((high, wide), -1)
    for k, ((mesh, _), s) in enumerate(zip(meshes, spots, strict=True)):
        p = (s - middle) * scale * np.array([1.0, -1.0, 1.0]) + np.array([wide / 2, high / 2, 0.0])
        smooth = _soft_normals(mesh) @ view.T
        _fill(p, np.asarray(mesh.faces), smooth, k, depth, normal, which)
    return _shade(depth, normal, which, np.array([c for _, c in meshes], float), fine, scale)


def _soft_normals(mesh: Any, crease_deg: float = 32.0) -> np.ndarray:
    """(n, 3, 3) corner normals: averaged over neighbours that are nearly in one plane."""
    faces, flat, area = np.asarray(mesh.faces), np.asarray(mesh.face_normals), np.asarray(mesh.area_faces)
    order = np.argsort(faces.ravel(), kind="stable")
    owner, corner = order // 3, order % 3
    ids = faces.ravel()[order]
    starts = np.flatnonzero(np.r_[True, ids[1:] != ids[:-1]])
    ends = np.r_[starts[1:], len(ids)]
    soft = np.repeat(flat[:, None], 3, 1)
    limit = np.cos(np.radians(crease_deg))
    for a, b in zip(starts, ends, strict=True):
        group = owner[a:b]
        n = flat[group]
        near = (n @ n.T > limit) * area[group]
        total = near @ n
        soft[group, corner[a:b]] = total / np.maximum(np.linalg.norm(total, axis=1, keepdims=True), 1e-12)
    return soft


def _fill(
    p: np.ndarray,
    faces: np.ndarray,
    soft: np.ndarray,
    k: int,
    depth: np.ndarray,
    normal: np.ndarray,
    which: np.ndarray,
) -> None:
    high, wide = depth.shape
    tri = p[faces]
    d = (tri[:, 1, 0] - tri[:, 0, 0]) * (tri[:, 2, 1] - tri[:, 0, 1]) - (tri[:, 2, 0] - tri[:, 0, 0]) * (
        tri[:, 1, 1] - tri[:, 0, 1]
    )
    for f in np.flatnonzero(d < -1e-9):  # y down: faces toward the eye turn this way
        t = tri[f]
        x0, y0 = np.maximum(np.floor(t[:, :2].min(0)).astype(int), 0)
        x1, y1 = np.minimum(np.ceil(t[:, :2].max(0)).astype(int), (wide - 1, high - 1))
        if x1 < x0 or y1 < y0:
            continue
        xs, ys = np.arange(x0, x1 + 1) + 0.5, (np.arange(y0, y1 + 1) + 0.5)[:, None]
        b1 = ((xs - t[0, 0]) * (t[2, 1] - t[0, 1]) - (t[2, 0] - t[0, 0]) * (ys - t[0, 1])) / d[f]
        b2 = ((t[1, 0] - t[0, 0]) * (ys - t[0, 1]) - (xs - t[0, 0]) * (t[1, 1] - t[0, 1])) / d[f]
        b0 = 1 - b1 - b2
        z = b0 * t[0, 2] + b1 * t[1, 2] + b2 * t[2, 2]
        part = depth[y0 : y1 + 1, x0 : x1 + 1]
        on = (b0 >= -1e-6) & (b1 >= -1e-6) & (b2 >= -1e-6) & (z > part)
        if on.any():
            part[on] = z[on]
            weights = np.stack([b0[on], b1[on], b2[on]], 1)
            normal[y0 : y1 + 1, x0 : x1 + 1][on] = weights @ soft[f]
            which[y0 : y1 + 1, x0 : x1 + 1][on] = k


def _shade(
    depth: np.ndarray, normal: np.ndarray, which: np.ndarray, colours: np.ndarray, fine: int, scale: float
) -> Image.Image:
    n = normal / np.maximum(np.linalg.norm(normal, axis=2, keepdims=True), 1e-9)
    key, fill = np.array([-0.45, 0.7, 0.65]), np.array([0.8, 0.1, 0.5])
    light = (
        0.36
        + 0.52 * np.clip(n @ (key / np.linalg.norm(key)), 0, 1)
        + 0.2 * np.clip(n @ (fill / np.linalg.norm(fill)), 0, 1)
    )
    seen = which >= 0
    picture = np.where(seen[..., None], colours[np.maximum(which, 0)] * light[..., None], PAPER)
    edge = np.zeros(depth.shape)
    deep = np.where(seen, depth, -1e6)
    for axis in (0, 1):
        for step in (1, -1):
            other, on = np.roll(deep, step, axis), np.roll(n, step, axis)
            edge = np.maximum(edge, np.clip((np.abs(deep - other) - 1.2 * scale) / (1.5 * scale), 0, 1))
            edge = np.maximum(edge, 0.5 * (seen & ((n * on).sum(2) < 0.55)))
            edge = np.maximum(edge, 0.7 * (which != np.roll(which, step, axis)))
    picture = picture * (1 - 0.72 * edge[..., None])
    image = Image.fromarray(np.clip(picture, 0, 255).astype(np.uint8))
    return image.resize((depth.shape[1] // fine, depth.shape[0] // fine), Image.Resampling.LANCZOS)
