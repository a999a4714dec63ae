"""Photos from above of a kit's parts on the printed mat, computed by an independent renderer with every truth known.

    python studies/part_renders.py [--only NAME ...] [--out out/part-renders]

Writes one JPEG for each layout of PLAN and one line of truth.jsonl. What is there already is not made again, so it
may be stopped at any time. It runs on one thread; start it with `nice -n 19` on a machine that others use. A
quarter of a minute of processor time per photo.

The parts' meshes come from the design, as a printer's files do. Nothing of the measurement is used here: resting
poses, camera, lens, light and noise are written out below or shared with angle_renders.py.

World frame: mm, x right and y up along the sheet (the sheet's own y, negated), z up from it.
"""

from __future__ import annotations

import argparse
import json
import tempfile
import time
import tomllib
from dataclasses import asdict, dataclass, field, replace
from functools import lru_cache
from math import hypot
from pathlib import Path

import numpy as np
from angle_renders import Camera, develop, table_texture, to_jpeg, turn
from photographing import renderer

ROOT = Path(__file__).parents[1]
OUT = ROOT / "out" / "part-renders"
TEXTURE_PX_PER_MM = 8
LONG_PX = 2000  # three million pixels: what a phone sends when it sends its photos small
PHONE_LONG_PX = 3264  # eight million: the photo itself, of a phone that is not new
CHUNK = 500_000  # pixels whose light is asked for at once
# Air round each part, so that two are apart by twice as much; a narrower one is taken where all do not fit.
GAPS_MM, FINGER_GAPS_MM = (6.0, 5.0, 4.0, 3.0), (7.0, 6.0, 5.0)
APART_GRID_PX = 4  # in which it is looked whether parts are apart in the picture
GUIDED_PX = 9  # over which soft light is evened in a small photo

# Colours of filament, reflectance in linear light.
COLOURS = {
    "white": (0.72, 0.72, 0.70),
    "black": (0.03, 0.03, 0.032),
    "blue": (0.04, 0.12, 0.45),
    "orange": (0.75, 0.22, 0.03),
    "skin": (0.62, 0.40, 0.27),
    "grey": (0.24, 0.24, 0.25),
}
DIGITS = tuple(
    f"{d}_{s}" for d in ("index", "middle", "ring", "little", "thumb") for s in ("proximal", "tip")
)
SMALL = ("joint_slide", "tension_block", "tension_carrier", "whippletree", "thumb_tension_pin")
PINS = ("finger_hinge_pin",) * 8 + ("thumb_hinge_pin",) * 2 + ("wrist_pin",) * 2
LARGE = ("palm", "cuff")


@dataclass(frozen=True)
class Layout:
    """What lies on the mat, and what is done to it."""

    name: str
    paper: str
    scale: float
    side: str
    colour: str
    light: str  # window: large and soft; lamp: small, hard shadows
    tilt_deg: float
    parts: tuple[str, ...]  # what was ordered to lie here
    seed: int
    missing: tuple[str, ...] = ()
    extra: tuple[str, ...] = ()
    mirrored: tuple[str, ...] = ()
    rescaled: tuple[tuple[str, float], ...] = ()
    foreign: tuple[str, ...] = ()
    print_ratio: float = 1.0  # of the printed mat against what it should be
    card: bool = False  # an ID-1 card on its place
    covered: tuple[int, ...] = ()  # markers under a sheet of paper
    mat: bool = True
    odd_poses: float = 0.15  # share of parts that do not lie on their flat side
    tidy: bool = False  # laid as the sheet asks: flat side down, apart by a finger, and apart in the picture too
    trouble: tuple[str, ...] = field(default=())  # what the photo must be told to have, in words
    long_px: int = LONG_PX  # of the picture's longer side


def _plan() -> tuple[Layout, ...]:
    """The layouts of part_layouts.toml."""
    groups = {"digits": DIGITS, "small": SMALL, "pins": PINS, "large": LARGE}
    with (ROOT / "studies" / "part_layouts.toml").open("rb") as file:
        written = tomllib.load(file)["layout"]
    plan = []
    for one in written:
        parts = tuple(name for said in one.pop("parts") for name in groups.get(said, (said,)))
        rescaled = tuple((name, ratio) for name, ratio in one.pop("rescaled", ()))
        lists = {k: tuple(v) for k, v in one.items() if isinstance(v, list)}
        plan.append(Layout(**(one | lists), parts=parts, rescaled=rescaled))
    return tuple(plan)


PLAN = _plan()


# ---- the mat ---------------------------------------------------------------------------------------


@lru_cache(maxsize=4)
def mat_texture(paper: str, ratio: float) -> np.ndarray:
    """The printed sheet, (h, w) reflectance, first row at the sheet's upper edge; ratio scales the print."""
    from handsel.vision.mat.sheet import MATS

    sheet = printed_sheet(MATS[paper], TEXTURE_PX_PER_MM)
    if ratio != 1.0:
        import cv2

        middle = (np.array(sheet.shape[::-1]) - 1) / 2
        map_ = np.array([[ratio, 0, middle[0] * (1 - ratio)], [0, ratio, middle[1] * (1 - ratio)]])
        sheet = cv2.warpAffine(sheet, map_, sheet.shape[::-1], flags=cv2.INTER_AREA, borderValue=255)
    return 0.05 + 0.77 * sheet.astype(np.float32) / 255.0


def printed_sheet(mat, px_per_mm: float) -> np.ndarray:
    """The sheet as the program sets it for the printer, in shades of grey."""
    import io

    import typst
    from PIL import Image

    from handsel.documents.mat_sheet import mat_page
    from handsel.documents.paper import FOLDER, FONTS

    pages = typst.compile(
        FOLDER / "mat_sheet.typ",
        root=FOLDER,
        font_paths=[FONTS],
        ignore_system_fonts=True,
        format="png",
        ppi=px_per_mm * 25.4,
        sys_inputs={"page": json.dumps(mat_page(mat))},
    )
    return np.asarray(Image.open(io.BytesIO(pages[0])).convert("L"))


# ---- parts -----------------------------------------------------------------------------------------


@dataclass
class Piece:
    """One thing on the mat."""

    name: str
    points: np.ndarray  # (n, 3) resting on the table, its middle at the origin of x and y
    triangles: np.ndarray
    truth: dict


def resting(
    solid, rng: np.random.Generator, flat_side: tuple, odd: bool
) -> tuple[np.ndarray, np.ndarray, float]:
    """Points and triangles of a solid as it lies: on its flat side, or on another face that carries it."""
    from handsel.design.shapes import surface
    from handsel.design.weights import solid_weight

    points, triangles = surface(solid)
    corners, faces = surface(solid.hull())
    centre = np.array(solid_weight(solid).com_mm)
    a, b, c = (corners[faces[:, k]] for k in range(3))
    normal = np.cross(b - a, c - a)
    area = np.linalg.norm(normal, axis=1) / 2
    normal, area = normal[area > 1e-6] / (2 * area[area > 1e-6, None]), area[area > 1e-6]
    found = []  # (down, area), only those a person would see it lie on
    for k in np.argsort(-area):
        if any(down @ normal[k] > 0.995 for down, _ in found):
            continue
        depth = corners @ normal[k]
        feet = corners[depth > depth.max() - 0.05]
        x = np.cross(normal[k], [1.0, 0, 0] if abs(normal[k, 0]) < 0.9 else [0, 1.0, 0])
        x /= np.linalg.norm(x)
        y = np.cross(normal[k], x)
        ways = np.linspace(0, 2 * np.pi, 73)[:-1]
        rim = np.outer(x, np.cos(ways)) + np.outer(y, np.sin(ways))
        margin = ((feet @ rim).max(0) - centre @ rim).min()
        if margin > max(0.6, 0.12 * (depth.max() - centre @ normal[k])):
            found.append((normal[k], area[(normal @ normal[k]) > 0.9998].sum()))
    downs = np.array([d for d, _ in found])
    best = int(np.argmax(downs @ np.array(flat_side)))
    k = best
    if odd and len(found) > 1:
        weight = np.array([w for _, w in found])
        weight[best] = 0
        k = int(rng.choice(len(found), p=weight / weight.sum()))
    up = -downs[k]
    x = np.array([1.0, 0, 0]) if abs(up[0]) < 0.9 else np.array([0, 1.0, 0])
    x = x - up * (x @ up)
    x /= np.linalg.norm(x)
    laid = points @ np.array([x, np.cross(up, x), up]).T
    laid[:, 2] -= laid[:, 2].min()
    laid[:, :2] -= (laid[:, :2].min(0) + laid[:, :2].max(0)) / 2
    return laid, triangles, float(downs[k] @ np.array(flat_side))


@lru_cache(maxsize=256)
def one_part(name: str, scale: float, side: str) -> tuple:
    """Solid and flat side of a part at a scale; the same ones lie on many mats."""
    from handsel.data.load_design import load_design
    from handsel.design.outlines import flat_side_of
    from handsel.design.placing import placed
    from handsel.design.shapes import part_solid

    hand = placed(load_design("linden"), scale_ratio=scale, side=side)
    part = next(p for p in hand.parts if p.name == name)
    return part_solid(hand, part), flat_side_of(hand, part)


def pieces_of(layout: Layout, rng: np.random.Generator) -> list[Piece]:
    other = {"right": "left", "left": "right"}[layout.side]
    wanted, rescaled = list(layout.parts), dict(layout.rescaled)
    for name in layout.missing:
        wanted.remove(name)
    found = []
    for name in [*wanted, *layout.extra]:
        side = other if name in layout.mirrored else layout.side
        ratio = rescaled.get(name, 1.0)
        solid, flat_side = one_part(name, round(layout.scale * ratio, 6), side)
        odd = not layout.tidy and rng.random() < layout.odd_poses
        points, triangles, flat = resting(solid, rng, flat_side, odd)
        state = "mirrored" if name in layout.mirrored else "rescaled" if ratio != 1.0 else "right"
        found.append(
            Piece(
                name,
                points,
                triangles,
                {"part": name, "state": state, "ratio": ratio, "flat": round(flat, 3)},
            )
        )
    found += [foreign_piece(kind, rng) for kind in layout.foreign]
    return found


def foreign_piece(kind: str, rng: np.random.Generator) -> Piece:
    import trimesh

    if kind == "bar":
        mesh = trimesh.creation.box((rng.uniform(28, 50), rng.uniform(10, 20), rng.uniform(5, 12)))
    elif kind == "puck":
        mesh = trimesh.creation.cylinder(radius=rng.uniform(9, 16), height=rng.uniform(3, 10), sections=64)
    else:
        a, b = rng.uniform(30, 42), rng.uniform(8, 12)
        mesh = trimesh.util.concatenate(
            [
                trimesh.creation.box(bounds=[[0, 0, 0], [a, b, 9]]),
                trimesh.creation.box(bounds=[[0, 0, 0], [b, a, 9]]),
            ]
        )
    points = np.array(mesh.vertices)
    points -= [*((points.min(0) + points.max(0)) / 2)[:2], points[:, 2].min()]
    return Piece(
        kind, points, np.array(mesh.faces), {"part": kind, "state": "foreign", "ratio": 1.0, "flat": 1.0}
    )


def lay_out(layout: Layout, pieces: list[Piece], rng: np.random.Generator) -> list[np.ndarray]:
    """A place for each piece in the free area with air round it: its points in the world."""
    import cv2

    from handsel.vision.mat.sheet import MATS

    mat = MATS[layout.paper]
    free, px = mat.free, 1.0
    wide, high = round(free.width_mm * px), round(free.height_mm * px)
    for gap in FINGER_GAPS_MM if layout.tidy else GAPS_MM:
        taken = np.zeros((high, wide), np.uint8)
        if layout.card:
            x, y = mat.card.x_mm - free.x_mm, mat.card.y_mm - free.y_mm
            cv2.rectangle(taken, (int(x - 4), int(y - 4)), (int(x + 92), int(y + 60)), 1, -1)
        places: dict[int, np.ndarray] = {}
        for k in sorted(range(len(pieces)), key=lambda k: -np.prod(np.ptp(pieces[k].points[:, :2], axis=0))):
            spot = _spot(pieces[k], taken, rng, gap)
            if spot is None:
                break
            places[k] = spot + [free.x_mm, -free.y_mm, 0.0]
        if len(places) == len(pieces):
            return [places[k] for k in range(len(pieces))]
    raise SystemExit(f"{layout.name}: no room for everything")


def _spot(piece: Piece, taken: np.ndarray, rng: np.random.Generator, gap: float) -> np.ndarray | None:
    import cv2

    high, wide = taken.shape
    for turn_try in range(14):
        angle = rng.uniform(0, 360) if turn_try < 10 else 90.0 * turn_try + rng.uniform(-4, 4)
        laid = piece.points @ turn(2, angle).T
        hull = cv2.convexHull(laid[:, :2].astype(np.float32))[:, 0]
        low = hull.min(0) - gap
        size = np.ceil(np.ptp(hull, axis=0) + 2 * gap).astype(int) + 1
        if size[0] >= wide or size[1] >= high:
            continue
        stamp = np.zeros((size[1], size[0]), np.uint8)
        cv2.fillConvexPoly(stamp, np.round((hull - low) * [1, 1]).astype(np.int32), 1)
        stamp = cv2.dilate(stamp, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * int(gap) + 1,) * 2))[::-1]
        clash = cv2.matchTemplate(taken.astype(np.float32), stamp.astype(np.float32), cv2.TM_CCORR)
        rows, cols = np.nonzero(clash < 0.5)
        if not rows.size:
            continue
        k = int(rng.integers(rows.size))
        r, c = rows[k], cols[k]
        taken[r : r + size[1], c : c + size[0]] |= stamp
        # stamp's left edge is low[0]; its last row is low[1]; world y is minus the sheet's
        return laid + [c - low[0], -(r + size[1] - 1) - low[1], 0.0]
    return None


# ---- scene -----------------------------------------------------------------------------------------


def make_camera(layout: Layout, rng: np.random.Generator) -> tuple[Camera, dict]:
    from handsel.vision.mat.sheet import MATS

    mat = MATS[layout.paper]
    size, finer = (layout.long_px * 3 // 4, layout.long_px), layout.long_px / LONG_PX
    roll = float(rng.uniform(-4, 4) + rng.choice([0, 0, 180, 90]))
    if abs(roll - 90) < 45:
        size = size[::-1]
    f35 = float(rng.uniform(23.7, 28.4))
    f_px = f35 / hypot(36.0, 24.0) * hypot(*size)
    tilt, way = np.radians(layout.tilt_deg), rng.uniform(0, 2 * np.pi)
    away = np.array([np.sin(tilt) * np.cos(way), np.sin(tilt) * np.sin(way), np.cos(tilt)])
    aim = np.array([mat.width_mm / 2, -mat.height_mm / 2, 0.0])
    forward = -away
    right = np.cross(forward, [0.0, 1.0, 0.0])
    right /= np.linalg.norm(right)
    look = turn(2, roll) @ np.array([right, -np.cross(right, forward), forward])
    k1, offset = float(rng.uniform(-0.05, 0.05)), finer * rng.uniform(-6, 6, 2)
    sheet = np.array([[x, -y, 0.0] for x in (0, mat.width_mm) for y in (0, mat.height_mm)])
    for distance in np.arange(250.0, 1500.0, 8.0):
        camera = Camera(
            rotation=look,
            at=aim + distance * away,
            f_px=f_px,
            centre=(np.array(size) - 1) / 2 + offset,
            k1=k1,
            size=size,
        )
        shown = camera.shown(sheet)
        if shown.min() > 18 * finer and (shown < np.array(size) - 18 * finer).all():
            break
    return camera, {
        "f35_mm": f35,
        "distance_mm": float(distance),
        "k1": k1,
        "at_mm": camera.at.tolist(),
        "size_px": size,
        "roll_deg": roll,
    }


def are_apart(layout: Layout, camera: Camera, laid: list[np.ndarray], pieces: list[Piece]) -> bool:
    """Whether some paper shows round every part in the picture: nothing hides another, or the paper's edge."""
    import cv2

    from handsel.vision.mat.sheet import MATS

    mat = MATS[layout.paper]
    for points in laid:  # where each point hides the sheet
        lift = points[:, 2:] / (camera.at[2] - points[:, 2:])
        x, y = (points[:, :2] + lift * (points[:, :2] - camera.at[:2])).T
        if min(x.min(), mat.width_mm - x.max(), -y.max(), mat.height_mm + y.min()) < 0.0:
            return False
    wide, high = (round(n / APART_GRID_PX) + 1 for n in camera.size)
    taken = np.zeros((high, wide), np.uint8)
    for points, piece in zip(laid, pieces, strict=True):
        shown = np.rint(camera.shown(points) / APART_GRID_PX).astype(np.int32)
        mine = np.zeros_like(taken)
        for triangle in shown[piece.triangles]:
            cv2.fillConvexPoly(mine, triangle, 1)
        if (taken & cv2.dilate(mine, np.ones((5, 5), np.uint8))).any():
            return False
        taken |= mine
    return True


def build_scenes(
    mi, layout: Layout, laid: list[np.ndarray], pieces: list[Piece], rng: np.random.Generator, folder: Path
) -> dict:
    import trimesh

    from handsel.vision.mat.sheet import MATS

    T = mi.ScalarTransform4f
    mat, shapes = MATS[layout.paper], {}
    middle = [mat.width_mm / 2, -mat.height_mm / 2]

    def diffuse(value) -> dict:
        return {"type": "diffuse", "reflectance": {"type": "rgb", "value": [float(v) for v in value]}}

    tint = np.array(COLOURS[layout.colour])
    skin = {
        "type": "roughplastic",
        "alpha": 0.25,
        "nonlinear": False,
        "distribution": "ggx",
        "diffuse_reflectance": {"type": "rgb", "value": [float(v) for v in tint]},
    }
    for k, (piece, points) in enumerate(zip(pieces, laid, strict=True)):
        path = folder / f"{k}.ply"
        trimesh.Trimesh(points + [0, 0, 0.12], piece.triangles, process=False).export(path)
        shapes[f"part{k}"] = {"type": "ply", "filename": str(path), "face_normals": True, "bsdf": skin}
    cloth = {
        "type": "bitmap",
        "bitmap": mi.Bitmap(table_texture(rng)),
        "raw": True,
        "to_uv": T().scale([float(rng.uniform(3, 7))] * 3),
    }
    shapes["table"] = {
        "type": "rectangle",
        "bsdf": {"type": "diffuse", "reflectance": cloth},
        "to_world": T().translate([*middle, -0.1]).scale([900, 900, 1]),
    }
    if layout.mat:
        ink = mat_texture(layout.paper, layout.print_ratio)[::-1, :, None].repeat(3, -1)
        picture = {
            "type": "bitmap",
            "bitmap": mi.Bitmap(np.ascontiguousarray(ink)),
            "raw": True,
            "wrap_mode": "clamp",
        }
        shapes["sheet"] = {
            "type": "rectangle",
            "bsdf": {"type": "diffuse", "reflectance": picture},
            "to_world": T().translate([*middle, 0.0]).scale([mat.width_mm / 2, mat.height_mm / 2, 1]),
        }
    if layout.card:
        half = np.array([85.60, 53.98]) / 2
        at = np.array(middle) + layout.print_ratio * (
            np.array([mat.card.x_mm + half[0], -(mat.card.y_mm + half[1])]) - middle
        )
        shapes["card"] = {
            "type": "cube",
            "bsdf": diffuse((0.08, 0.2, 0.12)),
            "to_world": T()
            .translate([*(at + rng.uniform(-0.4, 0.4, 2)), 0.4])
            .rotate([0, 0, 1], float(rng.uniform(-0.6, 0.6)))
            .scale([*half, 0.38]),
        }
    for k, number in enumerate(layout.covered):
        m = mat.marker(number)
        shapes[f"cover{k}"] = {
            "type": "cube",
            "bsdf": diffuse((0.5, 0.42, 0.1)),
            "to_world": T().translate([m.x_mm, -m.y_mm, 0.6]).scale([11, 11, 0.5]),
        }
    lights: dict[str, dict] = {}
    if layout.light == "window":
        way = rng.uniform(0, 2 * np.pi)
        at = np.array([*middle, 0]) + [900 * np.cos(way), 900 * np.sin(way), 1100]
        lights["sky"] = {"type": "constant", "radiance": {"type": "rgb", "value": [0.42, 0.43, 0.45]}}
        lights["lamp"] = {
            "type": "rectangle",
            "emitter": {"type": "area", "radiance": {"type": "rgb", "value": 2.6}},
            "to_world": T().look_at(at.tolist(), [*middle, 0.0], [0, 0, 1]).scale([450, 350, 1]),
        }
    else:
        way = rng.uniform(0, 2 * np.pi)
        at = np.array([*middle, 0]) + [450 * np.cos(way), 450 * np.sin(way), 950]
        radius = float(rng.uniform(25, 60))
        power = 1.5 * float(at @ at) / (np.pi * radius**2)
        lights["sky"] = {"type": "constant", "radiance": {"type": "rgb", "value": [0.30, 0.29, 0.27]}}
        lights["spot"] = {
            "type": "sphere",
            "center": at.tolist(),
            "radius": radius,
            "emitter": {
                "type": "area",
                "radiance": {"type": "rgb", "value": [power, 0.95 * power, 0.85 * power]},
            },
        }
    # One scene for each source of light: paths that had to choose between them would make grain.
    return {name: mi.load_dict({"type": "scene", **shapes, name: light}) for name, light in lights.items()}


def take(mi, scenes: dict, camera: Camera, rng: np.random.Generator) -> np.ndarray:
    """The picture in linear light, that of all scenes together: one path a pixel and source of light."""
    import cv2

    width, height = camera.size
    finer = max(width, height) / LONG_PX
    # A lens does not draw finer because there are more pixels: half of what they add is its blur.
    soft = float(rng.uniform(0.45, 0.65)) * finer**0.6
    light = {name: np.empty((width * height, 3), np.float32) for name in scenes}
    own, facing = np.empty((width * height, 3), np.float32), np.empty((width * height, 3), np.float32)
    for start in range(0, width * height, CHUNK):
        # Every chunk is as long as the first, so that it is compiled once.
        at = np.minimum(np.arange(start, start + CHUNK), width * height - 1)
        px = np.column_stack([at % width, at // width]) + rng.random((CHUNK, 2)) - 0.5
        here = slice(start, min(start + CHUNK, width * height))
        count = here.stop - start
        ray = camera_rays(mi, camera, px)
        for name, scene in scenes.items():
            light[name][here] = light_along(mi, scene, ray, CHUNK, int(rng.integers(1 << 30)))[:count]
        seen = surfaces(scene, ray)
        own[here], facing[here] = seen[0][:count], seen[1][:count]
    # What falls on a surface, whatever its colour; a stray bright path is held back, as a full sensor would.
    own = np.maximum(own, 0.02).reshape(height, width, 3)
    falls = {n: np.minimum(one.reshape(height, width, 3) / own, 8.0) for n, one in light.items()}
    guide = facing.reshape(height, width, 3) @ np.array([0.31, 0.53, 0.79], np.float32) + own.mean(2)
    window_px = 2 * round(GUIDED_PX * finer / 2 - 0.5) + 1
    whole = sum(one if name == "spot" else evened(one, guide, window_px) for name, one in falls.items())
    # The lens spreads light over neighbours.
    seen = cv2.GaussianBlur(own * whole, (0, 0), soft)
    return seen if finer == 1.0 else grained(seen, finer, rng)


def grained(light: np.ndarray, finer: float, rng: np.random.Generator) -> np.ndarray:
    """The grain that smaller pixels have beyond what a picture made small has: less light falls into each."""
    white = float(np.percentile(light, 97))
    amount = float(rng.uniform(0.002, 0.007)) * np.sqrt(finer**2 - 1.0)
    noise = rng.standard_normal(light.shape, dtype=np.float32)
    return light + amount * noise * np.sqrt(np.maximum(light, 0.0) * white)


def camera_rays(mi, camera: Camera, px: np.ndarray):
    """Rays from the camera through places of the picture, (n, 2)."""
    flat = (px - camera.centre) / camera.f_px
    undone = flat.copy()
    for _ in range(4):
        undone = flat / (1.0 + camera.k1 * (undone**2).sum(1, keepdims=True))
    direction = np.column_stack([undone, np.ones(len(px))]) @ camera.rotation
    direction /= np.sqrt((direction**2).sum(1, keepdims=True))
    along = mi.Vector3f(*(mi.Float(np.ascontiguousarray(c, np.float32)) for c in direction.T))
    return mi.RayDifferential3f(mi.Ray3f(mi.Point3f(*(float(v) for v in camera.at)), along))


def light_along(mi, scene, ray, count: int, seed: int) -> np.ndarray:
    """Light that comes along each ray: (n, 3)."""
    sampler = mi.load_dict({"type": "independent"})
    sampler.seed(seed, count)
    light, _, _ = mi.load_dict({"type": "path", "max_depth": 3}).sample(scene, sampler, ray)
    return np.array(light, np.float32).T


def surfaces(scene, ray) -> tuple[np.ndarray, np.ndarray]:
    """Own colour and facing of what each ray meets: (n, 3) each."""
    hit = scene.ray_intersect(ray)
    own = hit.bsdf(ray).eval_diffuse_reflectance(hit, hit.is_valid())
    return np.array(own, np.float32).T, np.array(hit.sh_frame.n, np.float32).T


def evened(falls: np.ndarray, guide: np.ndarray, window_px: int) -> np.ndarray:
    """Soft light without the grain that few paths leave: smooth where the guide is, with its edges where it has them.

    A guided filter (He, Sun and Tang 2013): in each window light is a line of the guide.
    """
    import cv2

    def mean(a: np.ndarray) -> np.ndarray:
        return cv2.blur(a, (window_px, window_px))

    middle = mean(guide)
    spread = mean(guide * guide) - middle * middle + 1e-3
    found = []
    for one in cv2.split(falls):
        slope = (mean(one * guide) - mean(one) * middle) / spread
        found.append(mean(slope) * guide + mean(mean(one) - slope * middle))
    return np.maximum(cv2.merge(found), 0.0)


def shoot(mi, layout: Layout) -> tuple[dict, bytes]:
    rng = np.random.default_rng(70_000 + layout.seed)
    pieces = pieces_of(layout, rng)
    laid = lay_out(layout, pieces, rng)
    camera, view = make_camera(layout, rng)
    while layout.tidy and not are_apart(layout, camera, laid, pieces):
        laid = lay_out(layout, pieces, rng)
        camera, view = make_camera(layout, rng)
    with tempfile.TemporaryDirectory() as folder:
        scenes = build_scenes(mi, layout, laid, pieces, rng, Path(folder))
        light = take(mi, scenes, camera, rng)
    picture = develop(light, rng, dim=False)
    exif = round(view["f35_mm"]) if rng.random() > 0.2 else None
    things = []
    for piece, points in zip(pieces, laid, strict=True):
        middle = (points[:, :2].min(0) + points[:, :2].max(0)) / 2
        things.append(piece.truth | {"x_mm": round(float(middle[0]), 2), "y_mm": round(float(-middle[1]), 2)})
    truth = asdict(layout) | view | {"file": f"{layout.name}.jpg", "exif_f35_mm": exif, "things": things}
    return truth, to_jpeg(picture, 1, exif, 84)


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    ask.add_argument("--only", nargs="*", default=None)
    ask.add_argument("--out", type=Path, default=OUT)
    ask.add_argument(
        "--phone", action="store_true", help="the photo itself, not made small; give another --out"
    )
    ask.add_argument("--minutes", type=float, default=1e9, help="no photo is begun after so long")
    told = ask.parse_args()
    mi = renderer()
    told.out.mkdir(parents=True, exist_ok=True)
    started = time.monotonic()
    # Mixed, so that a run that is stopped has some of everything.
    for layout in sorted(PLAN, key=lambda p: (p.seed * 17) % 53):
        place = told.out / f"{layout.name}.jpg"
        if place.exists() or (told.only and not any(layout.name.startswith(n) for n in told.only)):
            continue
        if time.monotonic() - started > 60.0 * told.minutes:
            return
        began = time.process_time()
        truth, jpeg = shoot(mi, replace(layout, long_px=PHONE_LONG_PX) if told.phone else layout)
        with (told.out / "truth.jsonl").open("a", encoding="utf-8") as file:
            file.write(json.dumps(truth) + "\n")
        place.write_bytes(jpeg)
        print(place.name, len(jpeg) // 1024, "kB", f"{time.process_time() - began:.0f} s", flush=True)


if __name__ == "__main__":
    main()
