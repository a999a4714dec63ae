"""All views of a hand by name, and which of them suits a characteristic that has no drawing of its own."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import replace

from handsel.data.figure_tables import VIEWS
from handsel.data.load_figures import Figure, Figures, Held
from handsel.data.strokes import moved
from handsel.design.model import Design
from handsel.documents.hand_flat import Scene, flat_view
from handsel.documents.hand_scenes import bare_arm, on_arm, on_table, one_part, to_light, together
from handsel.documents.hand_side import CLOSED_WRIST_DEG, OPEN_WRIST_DEG, closed, side_view, straight
from handsel.inspection.protocol import Characteristic, Protocol

_SCENES: Mapping[str, Callable[[Design], Scene]] = {
    "on-table": on_table,
    "one-part": one_part,
    "to-light": to_light,
    "bare-arm": bare_arm,
    "on-arm": on_arm,
    "together": together,
}


def view(name: str, design: Design, shows: Collection[str] = ("cords",)) -> Scene:
    """One view of the hand, with the places in it.

    Parameters: name, of `VIEWS`; design, on either side; shows, what is on the hand by then.
    Returns: Scene in its own plane, y down, as a right hand.
    Raises: KeyError for a name that is no view.
    Valid for: designs with a palm, a cuff and digits of two parts.
    Source: own shapes.    Checked by: unit/test_check_figures.py
    """
    if name in _SCENES:
        return _SCENES[name](design)
    if name in ("palm-up", "back-up"):
        return flat_view(design, from_palm=name == "palm-up", shows=shows)
    if name == "tips-toward":
        return _turned(flat_view(design, from_palm=True, shows=shows))
    if name == "inside":
        return flat_view(design, from_palm=True, shows=(*shows, "foam"))
    rest = straight(design, design.target_rest_angle_deg)
    if name == "at-rest":
        return side_view(design, rest, stand=True, shows=shows)
    if name == "moving":
        ghost = straight(design, CLOSED_WRIST_DEG)
        return side_view(design, straight(design, OPEN_WRIST_DEG), ghost=ghost, shows=shows)
    if name == "closed":
        return side_view(design, closed(design), shows=shows)
    if name == "worn":
        return side_view(design, straight(design, 6.0), arm=True, shows=(*shows, "straps"))
    if name == "in-use":
        ghost = straight(design, CLOSED_WRIST_DEG)
        return side_view(design, straight(design, 26.0), ghost=ghost, arm=True, shows=(*shows, "straps"))
    raise KeyError(name)


def _turned(scene: Scene) -> Scene:
    """The same, its other end toward the viewer."""
    return replace(
        scene,
        strokes=tuple(moved(k, lambda x, y: (-x, -y), 1.0) for k in scene.strokes),
        places={name: tuple((-x, -y) for x, y in ps) for name, ps in scene.places.items()},
    )


_BY_METHOD = {
    "look": "palm-up",
    "press": "back-up",
    "count": "palm-up",
    "caliper": "on-table",
    "scale": "on-table",
    "photo": "at-rest",
    "pull": "palm-up",
    "protractor": "at-rest",
    "move": "moving",
    "ask": "together",
}
_BY_PER = {
    "digit": ("knuckles", "proximal"),
    "finger": ("proximals", "proximal"),
    "cord": ("cords", "cord"),
    "knot": ("knots", "knot"),
}


def figure_for(c: Characteristic, figures: Figures) -> Figure:
    """The drawing of a characteristic; where it has none, one that suits its group, method and place.

    Parameters: c; figures, of its protocol.    Returns: Figure.    Raises: nothing of its own.
    Valid for: any protocol.    Source: own rule.    Checked by: unit/test_check_figures.py
    """
    own = figures.figures.get(c.id)
    if own is not None:
        return own
    held = figures.held.get(c.held)
    name = held.view if held is not None else _BY_METHOD[c.method]
    place, region = _BY_PER.get(c.per, ("whole", "hand"))
    if place not in VIEWS[name] and held is None:
        name = "palm-up"
    return Figure(
        view=name,
        shows=held.shows if held is not None else ("cords",),
        at=(place,) if place in VIEWS[name] and place != "whole" else (),
        region=region,
        detail=figures.details.get(f"method-{c.method}"),
        either=False,
        mirror=False,
        also=(),
    )


def held_for(group: str, protocol: Protocol, figures: Figures) -> Held:
    """How the hand is held for a group; without a drawing of its own, as most of its characteristics are looked at.

    Parameters: group, its id; protocol; figures.    Returns: Held.    Raises: nothing of its own.
    Valid for: any protocol.    Source: own rule.    Checked by: unit/test_check_figures.py
    """
    own = figures.held.get(group)
    if own is not None:
        return own
    found = [figure_for(c, figures) for c in protocol.members(group)]
    names = [f.view for f in found] or ["palm-up"]
    most = max(names, key=names.count)
    shows = next((f.shows for f in found if f.view == most), ("cords",))
    return Held(view=most, shows=shows, turn=False)
