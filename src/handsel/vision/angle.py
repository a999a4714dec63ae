"""The rest angle that a photo shows, with its uncertainty, or the one reason why it shows none."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import degrees, hypot, sqrt
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

from handsel.errors import Unsolved
from handsel.metrology.checks import number
from handsel.vision.camera import Lens
from handsel.vision.cards import CARD_MM, CARD_NAMES, CUFF, PALM
from handsel.vision.edges import EdgeReadings, read_edges
from handsel.vision.finding import Found, find_cards, foreshortening
from handsel.vision.hand_view import FOCAL, about, in_picture
from handsel.vision.refused import Cause, PhotoRefused
from handsel.vision.solving import Posterior, mixture_interval, solve
from handsel.vision.traces import blur_px, leans_from_above, part_of, seen_flat

FloatArray = npt.NDArray[np.float64]
Gray = npt.NDArray[np.uint8]

CARD_TURN_SD_DEG = 0.7  # of a loose card put on by hand; 0 for cards on printed pads
CARD_TURN = "card turn"

# Limits of what can be read. Each was chosen from renders as docs/studies/angle.md tells.
_LEAST_SIDE_PX = 18.0
_MOST_BLUR_CELLS = 0.45
_MOST_BLUR_PX = 4.0  # of a picture in which no card is found
_MOST_LOST = 0.25
_MOST_OBLIQUE_DEG = 62.0
_MOST_MISFIT = 16.0  # residuals four times what they should be
_MOST_U_DEG = 1.5  # without the cards' turn
_UPRIGHT_DEG = 55.0  # the palm card's top from the picture's top
_LEVEL_DEG = 27.0  # a phone is held, a hand lies, and both are seen aslant: level to within this
_CLEARLY_DEG = 12.0
_DOUBTFUL_BLUR_CELLS, _DOUBTFUL_LOST = (
    0.3,
    0.06,
)  # where edges do not fit, what this much of is the likely cause
_CLEAR = "Clear the card, turn it out of the glare, and take the photo again."
_SHARPER = "Rest the phone on something, wait until it is sharp, and take it again."
_FROM_THE_SIDE = "Hold the phone beside the hand, as high as the wrist, and look at the cards."
_REACH_MM = (18.0, 220.0)  # between the middles of both cards of one hand


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Drawing:
    """What was seen, as lines on the picture; each (n, 2) [px]."""

    palm_card: FloatArray  # outline of the white card, closed by its first corner
    cuff_card: FloatArray
    palm_line: FloatArray  # reference lines seen along the hinge axis, from where they meet
    cuff_line: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RestAngle:
    """A rest angle read from one photo."""

    rest_angle_deg: float
    u_rest_angle_deg: float  # standard uncertainty, the cards' turn included
    low_deg: float  # between these it lies with a probability of 95 %
    high_deg: float
    contributions: Mapping[str, float]  # standard uncertainties by source; their squares add up [deg]
    fingers_point: str  # left or right in the picture
    obliquity_deg: float  # between the hinge axis and the line of sight
    f35_mm: float  # 35 mm equivalent that explains the picture
    side_px: float  # of the smaller marker
    misfit: float  # of the edges, 1 is as expected
    notes: tuple[str, ...]  # what a careful reader should know
    picture_px: tuple[int, int]  # width and height of the photo that the drawing is in
    drawing: Drawing

    def view_side(self, hand_side: str | None) -> str | None:
        """Which side of the hand faces the camera: thumb or little; None when the hand's side is not known.

        From the side alone both hands look alike: fingers to the right is the thumb side of a left hand or the
        little finger's side of a right one.
        """
        if hand_side not in ("left", "right"):
            return None
        return "little" if hand_side == self.fingers_point else "thumb"


def measure_rest_angle(
    gray: Gray, *, lens: Lens | None = None, card_turn_sd_deg: float = CARD_TURN_SD_DEG, where: str = "photo"
) -> RestAngle:
    """Read the rest angle of a hand with both cards from a photo.

    Parameters: gray : (h, w) uint8 [-], upright as shown; lens, what the file says of it;
        card_turn_sd_deg [deg], standard deviation of a card's turn within its plane, per card; where, what
        the photo is called in messages.
    Returns: RestAngle.
    Raises: PhotoRefused with its cause; OutOfRange for a card turn that is none.
    Valid for: one hand seen from the side, cards at most about 60 degrees from square on.
    Source: the angle is between the parts, as seen along the hinge axis; the account follows JCGM 100:2008 5.1.
    Checked by: unit/test_vision_angle.py, docs/studies/angle.md
    """
    turn = number(
        card_turn_sd_deg,
        "card turn",
        where=where,
        low=0.0,
        high=20.0,
        do="Give degrees: 0.7 for a loose card, 0 for a card on a printed pad.",
    )
    lens = lens or Lens()
    posterior = posterior_of(gray, lens=lens, where=where)
    result = _result(posterior, turn, lens)
    u_photo = hypot(*(u for name, u in result.contributions.items() if name != CARD_TURN))
    if u_photo > _MOST_U_DEG:
        worst = max(
            (n for n in result.contributions if n != CARD_TURN), key=lambda n: result.contributions[n]
        )
        raise PhotoRefused(
            Cause.UNCERTAIN,
            f"the angle is known to no better than {u_photo:.1f} degrees (one "
            f"standard uncertainty), mostly because of {worst}",
            where=where,
            do="Go closer, hold the phone level with the wrist, and take it again.",
        )
    return result


def posterior_of(gray: Gray, *, lens: Lens, where: str = "photo") -> Posterior:
    """All that a photo says of the angle, before the cards' own turn is added.

    Parameters: gray : (h, w) uint8 [-], upright as shown; lens, what the file says of it; where, for messages.
    Returns: Posterior.
    Raises: PhotoRefused with its cause.
    Valid for: as measure_rest_angle.
    Source: as measure_rest_angle.
    Checked by: unit/test_vision_angle.py
    """
    palm, cuff = _edges(gray, where)
    try:
        posterior = solve(palm, cuff, (int(gray.shape[1]), int(gray.shape[0])), lens.guesses())
    except Unsolved as error:
        raise PhotoRefused(Cause.DISTORTED, error.what, where=where, do=error.do) from None
    _check_hand(posterior, where)
    return posterior


def _edges(gray: Gray, where: str) -> tuple[EdgeReadings, EdgeReadings]:
    """The edges of both cards, each card there once and whole enough."""
    found = find_cards(gray)
    one: dict[int, Found] = {}
    for card in (PALM, CUFF):
        mine = [f for f in found if f.card == card]
        if len(mine) > 1:
            mine = [
                f for f in mine if (e := read_edges(gray, card, f.corners_px)) and e.lost_ratio < _MOST_LOST
            ]
        if len(mine) > 1:
            raise PhotoRefused(
                Cause.DOUBLED,
                f"the {CARD_NAMES[card]} is there {len(mine)} times",
                where=where,
                do="Leave one hand with its two cards in the picture, and cover the others.",
            )
        if mine:
            one[card] = mine[0]
    for f in one.values():  # in a view from above, which way is up says nothing
        if foreshortening(f) < np.cos(np.radians(_MOST_OBLIQUE_DEG + 8.0)):
            raise _oblique(f, where)
    _check_upright(one, where)
    if len(one) < 2:
        raise why_not(gray, tuple(one.values()), where)
    readings = {card: _checked(gray, f, where) for card, f in one.items()}
    return readings[PALM], readings[CUFF]


def _checked(gray: Gray, found: Found, where: str) -> EdgeReadings:
    name = CARD_NAMES[found.card]
    if found.side_px < _LEAST_SIDE_PX:
        raise PhotoRefused(
            Cause.SMALL,
            f"the {name}'s black square is only {found.side_px:.0f} pixels wide",
            where=where,
            do="Go closer, until the hand fills the picture.",
        )
    edges = read_edges(gray, found.card, found.corners_px)
    if edges is None or edges.lost_ratio > _MOST_LOST:
        raise PhotoRefused(
            Cause.COVERED, f"part of the {name} is hidden or washed out", where=where, do=_CLEAR
        )
    if edges.blur_cells > _MOST_BLUR_CELLS:
        raise PhotoRefused(Cause.BLURRED, f"the {name} is blurred", where=where, do=_SHARPER)
    return edges


def _lean_deg(found: Found) -> float:
    """Turn of a card's top from the picture's top, clockwise positive."""
    c = found.corners_px
    up = c[0] + c[1] - c[2] - c[3]
    return degrees(float(np.arctan2(up[0], -up[1])))


def _check_upright(one: Mapping[int, Found], where: str) -> None:
    """The cards' tops point up, as far as the hand lets them."""
    if PALM not in one or CUFF not in one:
        return
    palm, cuff = _lean_deg(one[PALM]), _lean_deg(one[CUFF])
    apart = (palm - cuff + 180.0) % 360.0 - 180.0
    if abs(apart) > 115.0:
        wrong = PALM if abs(palm) > abs(cuff) else CUFF
        raise PhotoRefused(
            Cause.UPSIDE_DOWN,
            f"the {CARD_NAMES[wrong]} is upside down against the other",
            where=where,
            do="Put it on with its top edge toward the back of the hand.",
        )
    if abs(palm) > 120.0:
        raise PhotoRefused(
            Cause.UPSIDE_DOWN,
            "both cards are upside down, or the picture is",
            where=where,
            do="Turn the picture upright; if it is, put both cards on with their top edge toward the "
            "back of the hand.",
        )
    if abs(palm) > _UPRIGHT_DEG:
        raise PhotoRefused(
            Cause.UPSIDE_DOWN,
            "the picture lies on its side, or the palm card does",
            where=where,
            do="Turn the picture upright; the card's top edge goes toward the back of the hand.",
        )


def why_not(gray: Gray, found: tuple[Found, ...], where: str) -> PhotoRefused:
    """The cause for which a photo without both cards cannot be measured, from what can still be seen.

    Parameters: gray : (h, w) uint8 [-]; found, the card that was found, if any; where for the message.
    Returns: PhotoRefused, to be raised.
    Raises: nothing of its own.
    Valid for: photos in which find_cards did not find both.
    Source: own order of tests: flat, covered, blurred, else missing.
    Checked by: unit/test_vision_angle.py
    """
    missing = [card for card in (PALM, CUFF) if card not in {f.card for f in found}]
    names = " and the ".join(CARD_NAMES[c] for c in missing)
    # Both cards face the same way: where one is seen well, the other is not merely flat.
    well = [f for f in found if foreshortening(f) > 0.6]
    flat = [] if well else [f for f in seen_flat(gray) if f.card in missing]
    if flat:
        return _oblique(min(flat, key=lambda f: f.card), where)
    if found and (trace := part_of(gray, missing[0], found[0])) is not None:
        return PhotoRefused(
            Cause.COVERED,
            f"the {CARD_NAMES[trace.card]} is partly covered",
            where=where,
            do="Take away what lies over it, and take the photo again.",
        )
    for one in found:
        if foreshortening(one) < np.cos(np.radians(_MOST_OBLIQUE_DEG)):
            return _oblique(one, where)
    if blur_px(gray) > _MOST_BLUR_PX:
        return PhotoRefused(Cause.BLURRED, "the whole picture is blurred", where=where, do=_SHARPER)
    if not found:
        return PhotoRefused(
            Cause.MISSING,
            "neither card is seen: they are not on this side of the hand, or it is seen "
            "edge on, from above or from an end",
            where=where,
            do="Put card 10 on the palm and card 11 on the cuff, both on the side that faces you, and "
            "photograph the hand from that side, not from above.",
        )
    return PhotoRefused(
        Cause.MISSING,
        f"the {names} is not in the picture, or next to nothing of it is uncovered",
        where=where,
        do="Put it on the same side of the hand as the other card, in full view, and take it again.",
    )


def _oblique(found: Found, where: str) -> PhotoRefused:
    """Seen too slantingly: from above, or along the hand."""
    name = CARD_NAMES[found.card]
    slant = degrees(float(np.arccos(min(foreshortening(found), 1.0))))
    if leans_from_above(found):
        return PhotoRefused(
            Cause.FROM_ABOVE,
            f"the hand is seen from above: the {name} is seen {slant:.0f} degrees from square on",
            where=where,
            do=_FROM_THE_SIDE,
        )
    return PhotoRefused(
        Cause.OBLIQUE,
        f"the {name} is seen {slant:.0f} degrees from square on",
        where=where,
        do="Step round until you look straight at the cards.",
    )


def _sight(posterior: Posterior) -> tuple[float, float, float]:
    """Line of sight against the hinge axis, all in degrees: in all, from above, from aside."""
    at = posterior.placed
    middle = 0.5 * (at.palm_at[0] + at.cuff_at[0])
    x, y, z = -at.hand[0].T @ (middle / np.linalg.norm(middle))
    return (
        degrees(float(np.arccos(np.clip(z, -1.0, 1.0)))),
        degrees(float(np.arctan2(y, hypot(x, z)))),
        degrees(float(np.arctan2(x, z))),
    )


def _check_hand(posterior: Posterior, where: str) -> None:
    """The explanation is a hand that can be measured."""
    slant, above, aside = _sight(posterior)
    if slant > _MOST_OBLIQUE_DEG:
        if above > abs(aside):
            raise PhotoRefused(
                Cause.FROM_ABOVE,
                f"the hand is seen from {above:.0f} degrees above its side",
                where=where,
                do=_FROM_THE_SIDE,
            )
        raise PhotoRefused(
            Cause.OBLIQUE,
            f"the cards are seen {slant:.0f} degrees from square on",
            where=where,
            do="Step round until you look straight at the cards.",
        )
    apart = hypot(*posterior.placed.apart[0, :2])
    if not _REACH_MM[0] < apart < _REACH_MM[1]:
        raise PhotoRefused(
            Cause.APART,
            f"the cards are {apart:.0f} mm apart, which no hand is",
            where=where,
            do="Photograph one hand with its own two cards; print the cards at full size.",
        )
    _check_level(posterior, where)
    if posterior.misfit > _MOST_MISFIT:
        cards = (posterior.scene.palm, posterior.scene.cuff)
        if max(c.blur_cells for c in cards) > _DOUBTFUL_BLUR_CELLS:
            raise PhotoRefused(Cause.BLURRED, "the cards are blurred", where=where, do=_SHARPER)
        worst = max(cards, key=lambda c: c.lost_ratio)
        if worst.lost_ratio > _DOUBTFUL_LOST:
            raise PhotoRefused(
                Cause.COVERED, f"part of the {worst.name} is hidden or washed out", where=where, do=_CLEAR
            )
        raise PhotoRefused(
            Cause.DISTORTED,
            "the edges of the cards do not run as on two flat square cards",
            where=where,
            do="Press bent cards flat, wipe them, keep shadows off, and take it again.",
        )


def _check_level(posterior: Posterior, where: str) -> None:
    """The palm lies level and the cuff is raised, not the other way round.

    Swapped cards show the same angle, but the side that is seen and what is drawn would be wrong. A hand that is
    raised by less than the phone may be tilted cannot be told from a swapped one.
    """
    at = posterior.placed
    palm, cuff = at.hand[0], at.hand[0] @ about(2, at.hinge)[0]
    # How far the picture's horizontal is out of the plane that each card would lie level in.
    tilts = [degrees(abs(float(np.arcsin(np.clip(frame[0, 1], -1.0, 1.0))))) for frame in (palm, cuff)]
    if tilts[0] > max(_LEVEL_DEG, tilts[1] + _CLEARLY_DEG):
        raise PhotoRefused(
            Cause.SWAPPED,
            "the palm card leans and the cuff card lies level, so they seem swapped",
            where=where,
            do="Put card 10 on the palm and card 11 on the cuff, or hold the phone level.",
        )


def _result(posterior: Posterior, card_turn_sd_deg: float, lens: Lens) -> RestAngle:
    sources = posterior.u_by_source_deg | {CARD_TURN: sqrt(2.0) * card_turn_sd_deg}
    slant, _, _ = _sight(posterior)
    modes = posterior.modes
    means = np.array([degrees(posterior.sign * m.hinge_rad) for m in modes])
    sds = np.hypot([degrees(m.u_hinge_rad) for m in modes], sources[CARD_TURN])
    weights = np.array([m.weight for m in modes])
    low, high = mixture_interval(means, sds, weights, 0.95)
    notes = []
    if lens.f35_mm is None or not lens.whole_picture:
        notes.append(
            "the photo does not say its focal length"
            if lens.whole_picture
            else "the photo was cut, so its focal length is not known"
        )
    if slant > 45.0:
        notes.append(f"seen {slant:.0f} degrees from square on; from nearer the side it is known better")
    if posterior.misfit > 4.0:
        notes.append("the cards' edges are disturbed; the uncertainty is widened for it")
    scene = posterior.scene
    return RestAngle(
        rest_angle_deg=posterior.rest_angle_deg,
        u_rest_angle_deg=hypot(*sources.values()),
        low_deg=low,
        high_deg=high,
        contributions=MappingProxyType(sources),
        fingers_point="right" if posterior.fingers_right else "left",
        obliquity_deg=slant,
        f35_mm=26.0 * float(np.exp(modes[0].state[FOCAL])),
        side_px=min(scene.palm.side_px, scene.cuff.side_px),
        misfit=posterior.misfit,
        notes=tuple(notes),
        picture_px=scene.size_px,
        drawing=_drawing(posterior),
    )


def _drawing(posterior: Posterior) -> Drawing:
    """The cards' outlines and both reference lines in the picture."""
    state, scene = posterior.modes[0].state[None], posterior.scene
    at = posterior.placed
    half = CARD_MM / 2.0
    outline = np.array([[-half, half], [half, half], [half, -half], [-half, -half], [-half, half]])

    def shown(points: FloatArray) -> FloatArray:
        found: FloatArray = in_picture(scene, state, points[None])[0]
        found.flags.writeable = False
        return found

    hand, fingers = at.hand[0], 1.0 if posterior.fingers_right else -1.0
    angle = float(at.hinge[0])
    along_palm = np.array([fingers, 0.0])
    along_cuff = -fingers * np.array([np.cos(angle), np.sin(angle)])
    cuff_from_palm = at.apart[0, :2]
    # Where both lines, through the middles of the cards, meet; halfway when they are nearly parallel.
    sides = np.column_stack([along_palm, -along_cuff])
    meet = 0.5 * cuff_from_palm
    if abs(np.linalg.det(sides)) > 0.05:
        meet = along_palm * np.linalg.solve(sides, cuff_from_palm)[0]
    ends = [
        np.array([meet, end])
        for end in (1.6 * CARD_MM * along_palm, cuff_from_palm + 1.6 * CARD_MM * along_cuff)
    ]
    lines = [shown(np.column_stack([e, np.zeros(2)]) @ hand.T + at.palm_at[0]) for e in ends]
    return Drawing(
        palm_card=shown(outline @ at.palm[0, :, :2].T + at.palm_at[0]),
        cuff_card=shown(outline @ at.cuff[0, :, :2].T + at.cuff_at[0]),
        palm_line=lines[0],
        cuff_line=lines[1],
    )
