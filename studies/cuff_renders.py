"""Photos of formed cuffs seen along their axis, computed by an independent renderer with every truth known.

    python studies/cuff_renders.py --kind clean --count 30
    python studies/cuff_renders.py --kind hard --count 36
    python studies/cuff_renders.py --kind fresh-clean --count 24
    python studies/cuff_renders.py --kind fresh-hard --count 36
    python studies/cuff_renders.py --kind last-clean --count 24
    python studies/cuff_renders.py --kind last-hard --count 60

The measurement was developed on the first two kinds. The fresh ones judged it once, and what they showed was mended:
since then they are seen too. The last ones are like them and judge what it is now. Writes JPEGs and one
truth.jsonl per kind into out/cuff-renders/. What is there already is not made again. One seed makes one photo. It
runs on one thread and needs what angle_renders.py needs; about five seconds per photo.

A cuff is a strip of 3 mm bent to a U: a flat back, two bends, two flanks; or an arc that runs into the flanks. What
makes it lopsided: a flank that leans further than the other, a bend that lies off its line (so that one flank is
longer and the back shifted), a twist from end to end. The truth is the outer outline of the end that faces the
camera; the number that is asked for is worked out from it here, by its definition and with none of the measurement's
code. Nothing of the measurement is used.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot
from pathlib import Path

import numpy as np
from phone_camera import Camera, card_texture, develop, pose, rays_light, table_texture, to_jpeg, turn
from photographing import photograph

ROOT = Path(__file__).parents[1]
OUT = ROOT / "out" / "cuff-renders"
FIRST_SEED = {"clean": 110_000, "hard": 120_000, "fresh-clean": 115_000, "fresh-hard": 125_000,
              "last-clean": 117_000, "last-hard": 127_000}  # fmt: skip
THICK_MM = 3.0
SAMPLES, SMOOTH_SAMPLES = 9, 10  # light paths per pixel at edges, and per coarse pixel between them
PLASTICS = {
    "black": (0.03, 0.03, 0.03),
    "grey": (0.25, 0.25, 0.26),
    "red": (0.5, 0.04, 0.04),
    "blue": (0.05, 0.12, 0.45),
    "orange": (0.65, 0.22, 0.03),
    "green": (0.06, 0.32, 0.1),
    "yellow": (0.68, 0.52, 0.05),
    "violet": (0.25, 0.08, 0.35),
    "teal": (0.08, 0.42, 0.45),
    "white": (0.75, 0.75, 0.73),
}
SHEETS = {
    "white": (0.8, 0.8, 0.79),
    "grey": (0.4, 0.4, 0.4),
    "dark": (0.05, 0.05, 0.06),
    "green": (0.1, 0.3, 0.2),
    "wood": (0.45, 0.32, 0.2),
}


@dataclass
class Shot:
    """One photo: what is true, and what was done to it."""

    file: str
    kind: str
    seed: int
    asymmetry_mm: float
    width_mm: float  # what a caliper would say of it, with its own error
    true_width_mm: float
    length_mm: float
    form: str
    standing: str
    colour: str
    sheet: str
    lean_deg: tuple[float, float]
    shift_mm: float
    twist_deg: float
    hollow_mm: float
    flare_mm: float
    has_card: bool
    f35_mm: float
    exif_f35_mm: int | None
    distance_mm: float
    yaw_deg: float
    elevation_deg: float
    roll_deg: float
    k1: float
    size_px: tuple[int, int]
    troubles: tuple[str, ...]


# ---- the cuff ------------------------------------------------------------------------------------


def midline(
    rng_form: str, width: float, height: float, radius: float, lean: tuple[float, float], shift: float
) -> np.ndarray:
    """Mid-surface of the strip seen from its end: (n, 2) mm, x across, y up from the back; left tip first."""

    def side(lean_deg: float, half: float, flank: float) -> np.ndarray:
        """One half, from the middle of the back outward and up; x positive."""
        bend = np.radians(90.0 - lean_deg)
        if rng_form == "arc":
            # quarter of an ellipse that runs into the flank
            t = np.linspace(0.0, 1.0, 40)
            a = t * bend
            arc = np.column_stack([half * np.sin(a), 0.62 * half * (1 - np.cos(a))])
            along = np.array([half * np.cos(bend), 0.62 * half * np.sin(bend)])
            along /= np.linalg.norm(along)
            rest = arc[-1] + np.linspace(0, 1, 20)[1:, None] * along * (flank * 0.6)
            return np.vstack([arc, rest])
        flat = half - radius
        a = np.linspace(0.0, bend, 24)
        back = np.column_stack([np.linspace(0.0, flat, 20), np.zeros(20)])
        arc = np.column_stack([flat + radius * np.sin(a), radius * (1 - np.cos(a))])[1:]
        along = np.array([np.cos(bend), np.sin(bend)])
        rest = arc[-1] + np.linspace(0, 1, 24)[1:, None] * along * flank
        return np.vstack([back, arc, rest])

    # A bend off its line by `shift`: the back is longer on that side and the flank shorter.
    right = side(lean[1], width / 2 + shift, height - shift)
    left = side(lean[0], width / 2 - shift, height + shift) * [-1.0, 1.0]
    return np.vstack([left[::-1], right[1:]])


def normals(line: np.ndarray) -> np.ndarray:
    """Outward normals (away from the arm): to the right of the way from left tip over the back to right tip."""
    d = np.gradient(line, axis=0)
    d /= np.linalg.norm(d, axis=1, keepdims=True)
    return np.column_stack([d[:, 1], -d[:, 0]])


def outer(line: np.ndarray) -> np.ndarray:
    return line + normals(line) * THICK_MM / 2


def asymmetry(path: np.ndarray) -> tuple[float, float]:
    """By its definition: the largest distance between the outline and its mirror image about the axis that makes the
    mean square of the distances least; and the greatest width across that axis."""
    from scipy.optimize import minimize

    steps = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(path, axis=0), axis=1))])
    even = np.linspace(0.0, steps[-1], 240)
    points = np.column_stack([np.interp(even, steps, path[:, k]) for k in range(2)])

    def gaps(p: np.ndarray) -> np.ndarray:
        angle, offset = p
        n = np.array([np.cos(angle), np.sin(angle)])
        mirrored = points - 2.0 * np.outer(points @ n - offset, n)
        a, b = mirrored[:-1], mirrored[1:]
        ab = b - a
        t = np.clip(((points[:, None] - a) * ab).sum(-1) / (ab * ab).sum(-1), 0.0, 1.0)
        return np.linalg.norm(points[:, None] - (a + t[..., None] * ab), axis=-1).min(1)

    best = min(
        (
            minimize(
                lambda p: float((gaps(p) ** 2).mean()),
                [a, points[:, 0].mean()],
                method="Nelder-Mead",
                options={"xatol": 1e-5, "fatol": 1e-9},
            )
            for a in (-0.02, 0.02)
        ),
        key=lambda r: r.fun,
    )
    across = points @ np.array([np.cos(best.x[0]), np.sin(best.x[0])])
    return float(gaps(best.x).max()), float(np.ptp(across))


def mesh(mi, near: np.ndarray, far: np.ndarray, length: float, hollow: float):
    """A closed shell between two profiles (mid-lines); z = 0 at the near end, away from the camera is -z."""
    stations = np.linspace(0.0, 1.0, 14)
    n = len(near)
    s = np.linspace(-1, 1, n)
    dip = hollow * np.clip(1.0 - (s / 0.55) ** 2, 0.0, None)
    inside, outside = [], []
    for f in stations:
        line = (1 - f) * near + f * far
        z = -f * length - dip * (1 - f)
        nrm = normals(line)
        for way, into in ((-1, inside), (1, outside)):
            p = line + way * nrm * THICK_MM / 2
            into.append(np.column_stack([p, z]))
    inside, outside = np.array(inside), np.array(outside)
    faces, verts = [], []

    def grid(a: np.ndarray, flip: bool) -> None:
        rows, cols = a.shape[:2]
        base = sum(len(v) for v in verts)
        verts.append(a.reshape(-1, 3))
        i = np.arange(rows * cols).reshape(rows, cols) + base
        q = np.stack([i[:-1, :-1], i[1:, :-1], i[1:, 1:], i[:-1, 1:]], -1).reshape(-1, 4)
        if flip:
            q = q[:, ::-1]
        faces.append(q[:, [0, 1, 2]])
        faces.append(q[:, [0, 2, 3]])

    grid(outside, False)
    grid(inside, True)
    grid(np.array([inside[0], outside[0]]), False)
    grid(np.array([outside[-1], inside[-1]]), False)
    grid(np.stack([outside[:, 0], inside[:, 0]], 1), False)
    grid(np.stack([inside[:, -1], outside[:, -1]], 1), False)
    return np.vstack(verts), np.vstack(faces)


def to_mi(mi, points: np.ndarray, faces: np.ndarray, bsdf: dict):
    props = mi.Properties()
    props["bsdf"] = mi.load_dict(bsdf)
    props["face_normals"] = True
    m = mi.Mesh("cuff", len(points), len(faces), props=props)
    q = mi.traverse(m)
    q["vertex_positions"] = np.ascontiguousarray(points, np.float32).ravel()
    q["faces"] = np.ascontiguousarray(faces, np.uint32).ravel()
    q.update()
    return m


# ---- scene ---------------------------------------------------------------------------------------


def matte(rgb) -> dict:
    return {
        "type": "twosided",
        "bsdf": {"type": "diffuse", "reflectance": {"type": "rgb", "value": list(map(float, rgb))}},
    }


def edges_seen(mi, scene, camera: Camera) -> np.ndarray:
    """Pixels near which the nearest surface, or the way it faces, changes."""
    import cv2

    width, height = camera.size
    y, x = np.mgrid[0:height:2, 0:width:2]
    flat = (np.column_stack([x.ravel(), y.ravel()]) - camera.centre) / camera.f_px
    way = np.column_stack([flat, np.ones(len(flat))]) @ camera.rotation
    way /= np.linalg.norm(way, axis=1, keepdims=True)
    ray = mi.Ray3f(
        mi.Point3f(*[float(v) for v in camera.at]),
        mi.Vector3f(*[mi.Float(np.ascontiguousarray(c, np.float32)) for c in way.T]),
    )
    hit = scene.ray_intersect(ray)
    seen = np.column_stack([np.array(hit.n).T, np.minimum(np.array(hit.t), 1e4)[:, None] / 40.0])
    seen = np.nan_to_num(seen).reshape(*y.shape, 4).astype(np.float32)
    change = np.zeros(y.shape, bool)
    change[:, 1:] |= np.abs(np.diff(seen, axis=1)).max(-1) > 0.1
    change[1:] |= np.abs(np.diff(seen, axis=0)).max(-1) > 0.1
    wide = cv2.dilate(change.astype(np.uint8), np.ones((7, 7), np.uint8))
    return cv2.resize(wide, (width, height), interpolation=cv2.INTER_NEAREST).astype(bool)


def render(
    mi, scene, camera: Camera, rng: np.random.Generator, soft_px: float, card: np.ndarray | None
) -> np.ndarray:
    """The picture in linear light: smooth surfaces at a quarter of its size, edges and the card in full."""
    import cv2

    width, height = camera.size
    coarse = 4
    cw, ch = width // coarse, height // coarse
    y, x = np.mgrid[0:ch, 0:cw]
    at = np.column_stack([x.ravel(), y.ravel()]).repeat(SMOOTH_SAMPLES, 0)
    sharp = edges_seen(mi, scene, camera)
    if card is not None:
        flat = np.round(camera.shown(card)).astype(np.int32)
        sharp |= cv2.fillConvexPoly(np.zeros(sharp.shape, np.uint8), flat, 1).astype(bool)
    fine = np.column_stack(np.nonzero(sharp)[::-1])
    at_fine = fine.repeat(SAMPLES, 0)
    rays = np.vstack(
        [
            (at + rng.random(at.shape)) * coarse - 0.5,
            at_fine + rng.random(at_fine.shape) - 0.5 + rng.normal(0, soft_px, at_fine.shape),
        ]
    )
    light = rays_light(mi, scene, camera, rays, int(rng.integers(1 << 30)))
    base = light[: len(at)].reshape(ch, cw, SMOOTH_SAMPLES, 3).mean(2)
    base = cv2.GaussianBlur(base, (0, 0), 0.9)
    whole = cv2.resize(base, (width, height), interpolation=cv2.INTER_CUBIC)
    whole[fine[:, 1], fine[:, 0]] = light[len(at) :].reshape(len(fine), SAMPLES, 3).mean(1)
    return np.ascontiguousarray(whole)


def shoot(mi, kind: str, seed: int) -> tuple[Shot, bytes]:
    rng = np.random.default_rng(seed)
    troubles: tuple[str, ...] = ()
    if kind.endswith("hard"):
        options = ["dim", "texture", "shadow", "clutter", "like", "yaw", "twist", "small"]
        troubles = tuple(rng.choice(options, int(rng.integers(1, 3)), replace=False))
    form = str(rng.choice(["flat", "flat", "arc"]))
    scale = rng.uniform(0.75, 1.25)
    width, height, radius = rng.uniform(66, 78) * scale, rng.uniform(22, 40) * scale, rng.uniform(7, 14)
    open_deg = rng.uniform(-4, 18)
    amount = rng.choice([0.0, 0.4, 1.0], p=[0.25, 0.35, 0.4])
    differ = amount * rng.uniform(-12, 12)
    shift = amount * rng.uniform(-2.0, 2.0)
    lean = (open_deg + differ / 2, open_deg - differ / 2)
    near = midline(form, width, height, radius, lean, shift)
    flare = rng.uniform(0.0, 6.0)  # the far end is narrower
    twist = float(rng.uniform(4, 9) * rng.choice([-1, 1])) if "twist" in troubles else 0.0
    far_lean = (lean[0] + twist, lean[1] - twist)
    far = midline(form, width - flare, height - rng.uniform(4, 12), radius, far_lean, shift)
    far[:, 1] += 0.0
    length = rng.uniform(80, 105) * scale
    hollow = float(rng.choice([0.0, 8.0])) if form == "flat" else 0.0
    truth, true_width = asymmetry(outer(near))

    names = list(PLASTICS)
    colour = names[rng.integers(len(names))]
    plastic = np.array(PLASTICS[colour])
    fits = [s for s, rgb in SHEETS.items() if np.abs(np.cbrt(rgb) - np.cbrt(plastic)).max() > 0.28]
    sheet = str(rng.choice(fits))
    if "like" in troubles:
        sheet = min(SHEETS, key=lambda s: np.abs(np.cbrt(SHEETS[s]) - np.cbrt(plastic)).max())
    standing = str(rng.choice(["lying", "lying", "on end", "on end", "arch"]))
    T = mi.ScalarTransform4f
    points, faces = mesh(mi, near, far, length, hollow)
    skin = {
        "type": "roughplastic",
        "diffuse_reflectance": {"type": "rgb", "value": [float(v) for v in plastic]},
        "alpha": float(rng.uniform(0.15, 0.4)),
    }
    shapes: dict = {"cuff": to_mi(mi, points, faces, {"type": "twosided", "bsdf": skin})}

    # Frame: x across, y up from the back, z toward the camera; the near end at z = 0.
    look_from_above = standing == "on end"
    ground_rgb = np.array(SHEETS[sheet])
    if "texture" in troubles:
        cloth: dict = {
            "type": "bitmap",
            "bitmap": mi.Bitmap(table_texture(rng)),
            "raw": True,
            "to_uv": T().scale([float(rng.uniform(3, 7))] * 3),
        }
        ground = {"type": "twosided", "bsdf": {"type": "diffuse", "reflectance": cloth}}
    else:
        ground = matte(ground_rgb)
    if look_from_above:
        plane = pose(np.eye(3), np.array([0.0, 0.0, -length - hollow * 0 - 0.2])) @ np.diag([900, 900, 1, 1])
        shapes["ground"] = {"type": "rectangle", "to_world": T(plane.tolist()), "bsdf": ground}
    else:
        low = (
            -THICK_MM / 2 - 0.1
            if standing == "lying"
            else float(max(near[:, 1].max(), far[:, 1].max())) + 1.6
        )
        up = 1.0 if standing == "lying" else -1.0
        plane = pose(turn(0, -90.0 * up), np.array([0.0, low, 0.0])) @ np.diag([900, 900, 1, 1])
        shapes["ground"] = {"type": "rectangle", "to_world": T(plane.tolist()), "bsdf": ground}
        back = pose(np.eye(3), np.array([0, 0, -length - rng.uniform(60, 300)])) @ np.diag([900, 900, 1, 1])
        shapes["wall"] = {"type": "rectangle", "to_world": T(back.tolist()), "bsdf": ground}
    sky_up = 1.0 if standing != "arch" else -1.0  # an arch is seen upside down in this frame

    has_card = bool(rng.random() < 0.4)
    side_x = float(rng.choice([-1, 1]) * (true_width / 2 + rng.uniform(22, 30)))
    middle_y = 14.0 if standing != "arch" else float(near[:, 1].max()) - 12.0
    card_turn = turn(1, rng.uniform(-5, 5)) @ turn(0, rng.uniform(-5, 5)) @ turn(2, rng.uniform(-8, 8))
    card = None
    if has_card:
        frame = pose(card_turn, np.array([side_x, middle_y, rng.uniform(-3, 3)]))
        ink = {
            "type": "bitmap",
            "bitmap": mi.Bitmap(card_texture(10)),
            "raw": True,
            "filter_type": "bilinear",
        }
        square = np.array([[-12, -12, 0], [12, -12, 0], [12, 12, 0], [-12, 12, 0]], float)
        card = square @ frame[:3, :3].T + frame[:3, 3]
        shapes["card"] = {
            "type": "rectangle",
            "to_world": T((frame @ np.diag([12.0, 12.0, 1.0, 1.0])).tolist()),
            "bsdf": {"type": "twosided", "bsdf": {"type": "diffuse", "reflectance": ink}},
        }

    # Camera
    size = (1280, 960)
    f35 = float(rng.uniform(23.7, 28.4) if rng.random() < 0.7 else rng.normal(50.0, 0.3))
    f_px = f35 / hypot(36, 24) * hypot(*size)
    # A phone is held a foot or two away, or a little further with its longer lens.
    share = rng.uniform(0.17, 0.3) * (f35 / 26.0) ** 0.6 * (0.45 if "small" in troubles else 1.0)
    distance = f_px * true_width / (share * size[0])
    yaw = (
        float(rng.normal(0, 2.0))
        if "yaw" not in troubles
        else float(rng.choice([-1, 1]) * rng.uniform(5, 14))
    )
    elevation = float(rng.uniform(-3, 3)) if look_from_above else float(rng.uniform(1, 12))
    if standing == "arch":  # from higher up its far edge would stand out over the near one
        elevation = float(rng.uniform(-1, 3))
    y_, e_ = np.radians([yaw, elevation * sky_up])
    away = np.array([np.sin(y_) * np.cos(e_), np.sin(e_), np.cos(y_) * np.cos(e_)])
    aim = np.array([0.0, near[:, 1].max() / 2, -10.0])
    at = aim + distance * away
    right = np.cross(-away, [0, sky_up, 0])
    right /= np.linalg.norm(right)
    look = np.array([right, -np.cross(right, -away), -away])
    roll = float(rng.uniform(-8, 8))
    off = rng.uniform(-0.07, 0.07, 2) * size / f_px
    rotation = turn(2, roll) @ turn(1, np.degrees(off[0])) @ turn(0, np.degrees(off[1])) @ look
    k1 = float(rng.uniform(-0.05, 0.05))
    camera = Camera(
        rotation=rotation,
        at=at,
        f_px=f_px,
        centre=(np.array(size) - 1) / 2 + rng.uniform(-6, 6, 2),
        k1=k1,
        size=size,
    )

    # Things about, light
    if "clutter" in troubles:
        for i in range(7):
            spot = np.array([rng.choice([-1, 1]) * rng.uniform(95, 170) * scale, 0.0, rng.uniform(-200, -20)])
            if look_from_above:
                spot = np.array([*(rng.choice([-1, 1], 2) * rng.uniform(90, 170, 2) * scale), -length + 8.0])
            elif standing == "arch":
                spot[1] = float(near[:, 1].max()) - 8.0
            else:
                spot[1] = 8.0
            box = pose(turn(1, rng.uniform(0, 90)), spot) @ np.diag([*rng.uniform(5, 22, 3), 1.0])
            shapes[f"thing{i}"] = {
                "type": "cube",
                "to_world": T(box.tolist()),
                "bsdf": matte(PLASTICS[names[rng.integers(len(names))]]),
            }
    ambient = rng.uniform(0.3, 0.6)
    tint = np.ones(3) + rng.uniform(-0.05, 0.05, 3)
    shapes["sky"] = {
        "type": "constant",
        "radiance": {"type": "rgb", "value": [float(v) for v in ambient * tint]},
    }
    lamp = np.array([rng.uniform(-500, 500), rng.uniform(500, 900) * sky_up, rng.uniform(100, 700)])
    if look_from_above:
        lamp = np.array([rng.uniform(-600, 600), rng.uniform(-600, 600), rng.uniform(500, 900)])
    radius_lamp = float(rng.uniform(15, 40) if "shadow" in troubles else rng.uniform(80, 200))
    power = rng.uniform(0.8, 1.8) * float(lamp @ lamp) / (np.pi * radius_lamp**2)
    shapes["lamp"] = {
        "type": "sphere",
        "center": lamp.tolist(),
        "radius": radius_lamp,
        "emitter": {"type": "area", "radiance": {"type": "rgb", "value": float(power)}},
    }
    scene = mi.load_dict({"type": "scene", **shapes})

    light = render(mi, scene, camera, rng, float(rng.uniform(0.4, 0.8)), card)
    picture = develop(light, rng, "dim" in troubles)
    exif = round(f35) if rng.random() > 0.25 else None
    jpeg = to_jpeg(picture, 1, exif, int(rng.integers(86, 95)))
    return Shot(
        file=f"{kind}-{seed}.jpg",
        kind=kind,
        seed=seed,
        asymmetry_mm=truth,
        width_mm=round(true_width + float(rng.normal(0, 0.2)), 1),
        true_width_mm=true_width,
        length_mm=float(length),
        form=form,
        standing=standing,
        colour=colour,
        sheet=sheet,
        lean_deg=(float(lean[0]), float(lean[1])),
        shift_mm=float(shift),
        twist_deg=twist,
        hollow_mm=hollow,
        flare_mm=float(flare),
        has_card=has_card,
        f35_mm=f35,
        exif_f35_mm=exif,
        distance_mm=float(distance),
        yaw_deg=yaw,
        elevation_deg=elevation,
        roll_deg=roll,
        k1=k1,
        size_px=size,
        troubles=tuple(str(t) for t in troubles),
    ), jpeg


def main() -> None:
    photograph(
        __doc__, OUT, FIRST_SEED, shoot, lambda s: (f"{s.asymmetry_mm:.2f} mm", *s.troubles), count=100
    )


if __name__ == "__main__":
    main()
