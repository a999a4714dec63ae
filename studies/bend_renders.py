"""Close photos of bends of a cuff, with and without a whitened line, computed by an independent renderer.

    python studies/bend_renders.py --kind bends --count 40
    python studies/bend_renders.py --kind fresh --count 40
    python studies/bend_renders.py --kind last --count 60

The looking was developed on the first kind. The fresh ones judged it once, and what they showed was mended: since then
they are seen too. The last ones judge what it is now. Both have ten colours in turn, each as often sound as whitened,
and lines as often faint or middling as strong. Writes JPEGs and one truth.jsonl per kind into
out/bend-renders/. What is there already is not made again. One seed makes one photo. It runs on one thread and needs
what angle_renders.py needs; about six seconds per photo.

A bent plate of glossy plastic is seen from its outer side. Stress whitening is a change of the material: along a line
near the bend the plastic's own colour is covered, in patches, by white. What may be taken for it is there as well: the
lamp's own reflection along the bend, the raster of the print (as bumps), scratches, pale dust, a shadow edge.
Half of the photos have no whitening.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot
from pathlib import Path

import numpy as np
from cuff_renders import PLASTICS
from phone_camera import Camera, develop, rays_light, to_jpeg, turn
from photographing import photograph

ROOT = Path(__file__).parents[1]
OUT = ROOT / "out" / "bend-renders"
FIRST_SEED = {"bends": 210_000, "fresh": 215_000, "last": 217_000}
EVENLY = ("fresh", "last")
STRENGTHS = (
    0.06,
    0.55,
)  # of a line's middle: the share of the colour that is covered; patches make the mean less
SIZE = (800, 600)
SPAN_MM = 64.0  # of the plate each way, and of its texture
TEXELS = 1024
SAMPLES = 5


@dataclass
class Shot:
    """One photo: what is true, and what was done to it."""

    file: str
    kind: str
    seed: int
    colour: str
    whitened: bool
    lines_px: list[list[list[float]]]  # each whitened line: (n, 2) along its middle
    strengths: list[float]  # share of the plastic's colour that is covered, mean over the line
    widths_px: list[float]
    bend_px: list[list[float]]  # the crest of the bend: two points
    radius_mm: float
    angle_deg: float
    gloss_alpha: float
    raster: bool
    confusers: tuple[str, ...]
    px_per_mm: float


def surface(u: np.ndarray, v: np.ndarray, radius: float, angle: float) -> tuple[np.ndarray, np.ndarray]:
    """Points of the plate's outer side: u across the bend from its crest, v along it [mm]; crest up (+z)."""
    half = radius * angle / 2.0
    a = np.clip(u / radius, -angle / 2, angle / 2)
    past = np.sign(u) * np.maximum(np.abs(u) - half, 0.0)
    x = radius * np.sin(a) + past * np.cos(angle / 2)
    z = radius * (np.cos(a) - 1.0) - np.abs(past) * np.sin(angle / 2)
    normal = np.stack([np.sin(a), np.zeros_like(a), np.cos(a)], -1)
    return np.stack([x, v, z], -1), normal


def wander(rng: np.random.Generator, n: int, scale: float, smooth: int) -> np.ndarray:
    noise = rng.normal(0, 1, n + 6 * smooth)
    k = np.exp(-0.5 * (np.arange(-3 * smooth, 3 * smooth + 1) / smooth) ** 2)
    calm = np.convolve(noise, k / np.sqrt((k**2).sum()), mode="valid")[:n]
    return scale * calm


def skin(
    rng: np.random.Generator,
    plastic: np.ndarray,
    whitened: bool,
    radius: float,
    angle: float,
    confusers,
    evenly: bool,
) -> tuple[np.ndarray, list[dict]]:
    """Reflectance over the plate, rows along u, columns along v, and the whitened lines on it."""
    import cv2

    per_mm = TEXELS / SPAN_MM
    at = (np.arange(TEXELS) + 0.5) / per_mm - SPAN_MM / 2
    colour = np.ones((TEXELS, TEXELS, 1)) * plastic
    colour *= 1.0 + 0.02 * cv2.GaussianBlur(rng.normal(0, 6, (TEXELS, TEXELS)), (0, 0), 12)[..., None]
    lines = []
    if whitened:
        for _ in range(1 if rng.random() < 0.8 else 2):
            middle = rng.uniform(-0.45, 0.45) * radius * angle
            length = rng.uniform(14, 50)
            begin = rng.uniform(-24, 24 - length) if length < 48 else -25.0
            width = rng.uniform(0.5, 2.2)
            strength = rng.uniform(0.08, 0.55)
            if evenly:  # as many faint as strong ones
                strength = float(np.exp(rng.uniform(*np.log(STRENGTHS))))
            path = middle + wander(rng, TEXELS, 0.25, 60)
            inside = 1 / (1 + np.exp(-(at - begin) / 0.8)) / (1 + np.exp((at - begin - length) / 0.8))
            patchy = np.clip(1.0 + wander(rng, TEXELS, 0.28, 10), 0.1, 1.8)
            across = np.exp(-0.5 * ((at[:, None] - path[None]) / (width / 2.355)) ** 2)
            fine = np.clip(1.0 + cv2.GaussianBlur(rng.normal(0, 1.2, (TEXELS, TEXELS)), (0, 0), 1.5), 0, 2)
            cover = np.clip(strength * across * (inside * patchy)[None] * fine, 0, 0.9)
            colour = colour * (1 - cover[..., None]) + 0.82 * cover[..., None]
            mean = float(strength * np.clip(patchy, 0, 1.8)[inside > 0.5].mean())
            lines.append({"v": at[inside > 0.5], "u": path[inside > 0.5], "strength": mean, "width": width})
    if "scratches" in confusers:
        for _ in range(int(rng.integers(1, 4))):
            a, b = rng.uniform(0.2, 0.8, 2) * TEXELS, rng.uniform(0, np.pi)
            reach = rng.uniform(4, 14) * per_mm
            end = a + reach * np.array([np.cos(b), np.sin(b)])
            canvas = np.zeros((TEXELS, TEXELS), np.float32)
            cv2.line(canvas, tuple(int(t) for t in a), tuple(int(t) for t in end), 1.0, 2, cv2.LINE_AA)
            cover = 0.5 * canvas[..., None]
            colour = colour * (1 - cover) + 0.6 * cover
    if "dust" in confusers:
        canvas = np.zeros((TEXELS, TEXELS), np.float32)
        for _ in range(60):
            cv2.circle(
                canvas, tuple(int(t) for t in rng.uniform(0, TEXELS, 2)), int(rng.integers(1, 4)), 1.0, -1
            )
        cover = 0.5 * cv2.GaussianBlur(canvas, (0, 0), 1.0)[..., None]
        colour = colour * (1 - cover) + 0.7 * cover
    if "slot" in confusers:
        # the dark opening of the sliding joint, its side along the bend
        u0 = rng.choice([-1, 1]) * (radius * angle / 2 + rng.uniform(3, 8))
        rows = np.abs(at - u0 - np.sign(u0) * 4.0) < 4.0
        columns = np.abs(at - rng.uniform(-6, 6)) < 12.0
        colour[np.ix_(rows, columns)] = 0.015
    return np.clip(colour, 0.0, 0.95).astype(np.float32), lines


def shoot(mi, kind: str, seed: int) -> tuple[Shot, bytes]:
    rng = np.random.default_rng(seed)
    names = list(PLASTICS)
    colour = names[rng.integers(len(names))]
    whitened = bool(rng.random() < 0.5)
    if kind in EVENLY:
        number = seed - FIRST_SEED[kind]
        colour, whitened = names[number % len(names)], number // len(names) % 2 == 0
    plastic = np.array(PLASTICS[colour])
    radius, angle = float(rng.uniform(6, 14)), float(np.radians(rng.uniform(40, 90)))
    options = ["scratches", "dust", "slot", "shadow", "raking"]
    confusers = tuple(str(c) for c in rng.choice(options, int(rng.integers(0, 4)), replace=False))
    raster = bool(rng.random() < 0.6)
    alpha = float(rng.uniform(0.12, 0.4))
    picture, lines = skin(rng, plastic, whitened, radius, angle, confusers, kind in EVENLY)
    T = mi.ScalarTransform4f

    u = np.concatenate(
        [
            np.linspace(-SPAN_MM / 2, -radius * angle / 2, 6)[:-1],
            np.linspace(-radius * angle / 2, radius * angle / 2, 60),
            np.linspace(radius * angle / 2, SPAN_MM / 2, 6)[1:],
        ]
    )
    v = np.linspace(-SPAN_MM / 2, SPAN_MM / 2, 3)
    uu, vv = np.meshgrid(u, v, indexing="ij")
    points, normal = surface(uu.ravel(), vv.ravel(), radius, angle)
    i = np.arange(uu.size).reshape(uu.shape)
    quads = np.stack([i[:-1, :-1], i[1:, :-1], i[1:, 1:], i[:-1, 1:]], -1).reshape(-1, 4)
    faces = np.vstack([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])
    texture = {
        "type": "bitmap",
        "bitmap": mi.Bitmap(np.ascontiguousarray(picture)),
        "raw": True,
        "wrap_mode": "clamp",
    }
    plain = {"type": "roughplastic", "diffuse_reflectance": texture, "alpha": alpha}
    if raster:
        at = (np.arange(TEXELS) + 0.5) * SPAN_MM / TEXELS
        lay = rng.uniform(0, np.pi) if rng.random() < 0.5 else float(rng.choice([np.pi / 4, -np.pi / 4]))
        wave = np.abs(
            np.sin(np.pi * (at[:, None] * np.cos(lay) + at[None] * np.sin(lay)) / rng.uniform(0.4, 0.5))
        )
        bumps = {
            "type": "bitmap",
            "bitmap": mi.Bitmap(np.ascontiguousarray(wave[..., None].astype(np.float32))),
            "raw": True,
        }
        plain = {"type": "bumpmap", "arbitrary": bumps, "bsdf": plain, "scale": float(rng.uniform(0.2, 0.7))}
    props = mi.Properties()
    props["bsdf"] = mi.load_dict({"type": "twosided", "bsdf": plain})
    plate = mi.Mesh(
        "plate", len(points), len(faces), has_vertex_normals=True, has_vertex_texcoords=True, props=props
    )
    q = mi.traverse(plate)
    q["vertex_positions"] = points.astype(np.float32).ravel()
    q["vertex_normals"] = normal.astype(np.float32).ravel()
    # Rows of the texture run along u and are counted from the top, which is 1 in texture coordinates.
    coords = np.column_stack([vv.ravel() / SPAN_MM + 0.5, 0.5 + uu.ravel() / SPAN_MM])
    q["vertex_texcoords"] = coords.astype(np.float32).ravel()
    q["faces"] = faces.astype(np.uint32).ravel()
    q.update()
    shapes: dict = {"plate": plate}

    f35 = float(rng.uniform(24, 28) if rng.random() < 0.5 else 50.0)
    f_px = f35 / hypot(36, 24) * hypot(*SIZE)
    across = rng.uniform(36, 56)  # mm over the picture's width
    distance = f_px * across / SIZE[0]
    tip, spin = rng.uniform(-25, 25), rng.uniform(-20, 20)
    rotation0 = (
        turn(2, float(rng.uniform(0, 180))) @ turn(0, tip) @ turn(1, spin) @ np.diag([1.0, -1.0, -1.0])
    )
    at_camera = -rotation0.T @ np.array([0.0, 0.0, distance]) + np.array(
        [rng.uniform(-4, 4), rng.uniform(-4, 4), 0]
    )
    camera = Camera(
        rotation=rotation0,
        at=at_camera,
        f_px=f_px,
        centre=(np.array(SIZE) - 1) / 2,
        k1=float(rng.uniform(-0.03, 0.03)),
        size=SIZE,
    )
    back = np.diag([400.0, 400.0, 1.0, 1.0])
    back[2, 3] = -60.0
    ground = float(rng.uniform(0.05, 0.7))
    shapes["ground"] = {
        "type": "rectangle",
        "to_world": T(back.tolist()),
        "bsdf": {"type": "diffuse", "reflectance": {"type": "rgb", "value": [ground] * 3}},
    }
    ambient = float(rng.uniform(0.2, 0.6))
    shapes["sky"] = {"type": "constant", "radiance": {"type": "rgb", "value": [ambient] * 3}}
    low = 150 if "raking" in confusers else 400
    lamp = np.array([rng.uniform(-500, 500), rng.uniform(-500, 500), rng.uniform(low, low + 300)])
    lamp_radius = float(rng.uniform(12, 90))
    power = rng.uniform(0.6, 1.8) * float(lamp @ lamp) / (np.pi * lamp_radius**2)
    tint = 1.0 + rng.uniform(-0.05, 0.05, 3)
    shapes["lamp"] = {
        "type": "sphere",
        "center": lamp.tolist(),
        "radius": lamp_radius,
        "emitter": {"type": "area", "radiance": {"type": "rgb", "value": [float(c) for c in power * tint]}},
    }
    if "shadow" in confusers:
        # something near the lamp's way throws an edge over the plate
        spot = 0.25 * lamp + np.array([rng.uniform(-20, 20), rng.uniform(-20, 20), 0])
        frame = np.eye(4)
        frame[:3, :3] = turn(2, float(rng.uniform(0, 180))) @ np.diag([60.0, 25.0, 1.0])
        frame[:3, 3] = spot + np.array([0, 0, 20.0])
        if np.linalg.norm(frame[:3, 3] - at_camera) > 60:
            shapes["screen"] = {
                "type": "rectangle",
                "to_world": T(frame.tolist()),
                "bsdf": {"type": "twosided", "bsdf": {"type": "diffuse"}},
            }
    scene = mi.load_dict({"type": "scene", **shapes})
    y, x = np.mgrid[0 : SIZE[1], 0 : SIZE[0]]
    grid = np.column_stack([x.ravel(), y.ravel()]).astype(float).repeat(SAMPLES, 0)
    soft = float(rng.uniform(0.4, 0.9))
    px = grid + rng.random(grid.shape) - 0.5 + rng.normal(0, soft, grid.shape)
    light = rays_light(mi, scene, camera, px, int(rng.integers(1 << 30)))
    light = np.minimum(light.reshape(SIZE[1], SIZE[0], SAMPLES, 3), 6.0).mean(2)
    shown = develop(light, rng, False)
    jpeg = to_jpeg(shown, 1, round(f35), int(rng.integers(86, 95)))

    traces, widths = [], []
    for line in lines:
        spots, _ = surface(line["u"], line["v"], radius, angle)
        px_line = camera.shown(spots[:: max(1, len(spots) // 40)])
        traces.append([[round(float(a), 1), round(float(b), 1)] for a, b in px_line])
        step = np.linalg.norm(camera.shown(spots[[0, -1]])[1] - camera.shown(spots[[0, -1]])[0])
        widths.append(float(line["width"] * step / max(np.ptp(line["v"]), 1e-6)))
    crest = camera.shown(surface(np.zeros(2), np.array([-20.0, 20.0]), radius, angle)[0])
    return Shot(
        file=f"{kind}-{seed}.jpg",
        kind=kind,
        seed=seed,
        colour=colour,
        whitened=whitened,
        lines_px=traces,
        strengths=[line["strength"] for line in lines],
        widths_px=widths,
        bend_px=[[float(a), float(b)] for a, b in crest],
        radius_mm=radius,
        angle_deg=float(np.degrees(angle)),
        gloss_alpha=alpha,
        raster=raster,
        confusers=confusers,
        px_per_mm=SIZE[0] / float(across),
    ), jpeg


def main() -> None:
    photograph(__doc__, OUT, FIRST_SEED, shoot, lambda s: (s.colour, s.whitened), kind="bends", count=120)


if __name__ == "__main__":
    main()
