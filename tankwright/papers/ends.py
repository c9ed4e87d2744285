"""Which way round a flat blank lies on the tank: which of its sides is front, rear, top, and where each seam begins.

Words used here
    ends      the words that stand at the left, right, lower and upper side of a blank as drawn
    begins    every seam begins at its front end; one that runs up and down at its top, one that runs across at the
              left. Both mates count their quarters from there, so that a quarter meets a quarter

A blank is drawn with the outside of the tank up: walked along its edge with the metal at the left, a seam runs one way
on one mate and the other way on the other.
"""

from __future__ import annotations

import weakref
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from shapely.geometry import Polygon

    from panels.blank import Blank, Edge
    from panels.seams import Seam

    from ..work import Work

__all__ = ["Ends", "ends_of", "left_is_metal", "runs_from_start"]

#: Share of a step on the flat that has to go along the tank's length, height or width for its end to be named.
CLEAR_SHARE = 0.8
#: An edge is taken for a whole seam where its formed length is that near to the seam's, share of it.
LIKE_SHARE = 0.03
AXES = (("front", "rear"), ("left", "right"), ("bottom", "top"))


class Ends(NamedTuple):
    """What stands at each side of the blank as drawn; empty where no one word fits."""

    left: str = ""
    right: str = ""
    low: str = ""
    high: str = ""

    @property
    def words(self) -> str:
        """All of it in one line: ``front at the left, top at the lower side``."""
        places = ("left", "right", "below", "above")
        return ", ".join(f"{word} {place}" for word, place in zip(self, places, strict=True) if word)


_last: tuple[weakref.ref[Work], dict[tuple[str, str], Seam], dict[int, Ends]] | None = None


def _seams(work: Work) -> dict[tuple[str, str], Seam]:
    """The seams of the body by letter and by the piece of a mate; remembered for the work last asked for."""
    global _last
    if _last is None or _last[0]() is not work:
        from panels.seams import seams_of

        seams = () if getattr(work.body, "shell", None) is None else seams_of(work.body).seams
        _last = (weakref.ref(work), {(seam.letter, piece): seam for seam in seams for piece in seam.pieces}, {})
    return _last[1]


def _seam(work: Work, edge: Edge) -> Seam | None:
    """The body's seam that an edge is the whole of."""
    seam = _seams(work).get((edge.letter, edge.meets))
    joint = next((joint for joint in work.seams if joint.letter == edge.letter), None)
    whole = 0.0 if joint is None else joint.length  # the body's own runs on into the tunnel's corners, sharp
    alike = seam is not None and abs(whole - edge.length_surface) < LIKE_SHARE * whole
    return seam if alike else None


def metal_on_left(blank: Blank, edge: Edge) -> bool:
    """Whether the metal lies to the left of the edge, walked from its first point."""
    k = max(len(edge.points) // 2, 1)
    a, b = edge.points[k - 1], edge.points[k]
    along = (b - a) / max(float(np.hypot(*(b - a))), 1e-9)
    return left_is_metal(edge, blank.net, (a + b) / 2, np.array([-along[1], along[0]]), 0.3)


def left_is_metal(edge: Edge, net: Polygon, point: np.ndarray, left: np.ndarray, near: float = 0.5) -> bool:
    """Whether the piece, and not what is left or turned over outside it, lies on the unit side ``left`` of a point of
    its edge, looked at ``near`` mm from it."""
    from shapely import contains_xy
    from shapely.geometry import Point

    inside = [bool(contains_xy(net, *(point + way * near * left))) for way in (1, -1)]
    if inside[0] != inside[1] or edge.allowance < near:
        return inside[0]
    # A lip lies inside the net outline too: its free edge is that far off, on the other side.
    off = [net.boundary.distance(Point(point + way * edge.allowance * left)) for way in (1, -1)]
    return bool(off[0] > off[1])


def _first_at_front(chain: np.ndarray) -> bool:
    """Whether a seam's points (k, 3) run from where it begins: front before rear, top before bottom, left to right."""
    far = chain[-1] - chain[0]
    axis = int(np.abs(far).argmax())
    return bool(far[axis] < 0 if axis == 2 else far[axis] > 0)


def runs_from_start(work: Work, blank: Blank, edge: Edge) -> bool:
    """Whether the edge's points run from the end at which its seam begins. Both mates give the same end of the seam."""
    left = metal_on_left(blank, edge)
    seam = _seam(work, edge)
    if seam is None:  # not a seam of the body: from where the first of its mates starts
        first = next((other.name for other in work.blanks for e in other.edges if e.letter == edge.letter), blank.name)
        return left == (first == blank.name)
    with_chain = left == (seam.pieces[0] != edge.meets)  # a chain has the metal of its first piece at the left
    return with_chain == _first_at_front(work.body.outer[seam.chain])


def ends_of(work: Work, blank: Blank) -> Ends:
    """The words at the four sides of a blank, from where its seams lie on the tank; remembered with its seams."""
    _seams(work)
    assert _last is not None
    place = next((k for k, other in enumerate(work.blanks) if other is blank), -1)
    if place < 0:
        return _ends(work, blank)
    if place not in _last[2]:
        _last[2][place] = _ends(work, blank)
    return _last[2][place]


def _ends(work: Work, blank: Blank) -> Ends:
    flat, solid = _met(work, blank)
    if len(flat) < 3:
        return Ends()
    middle, there = flat.mean(axis=0), solid.mean(axis=0)
    way, _, rank, _ = np.linalg.lstsq(
        flat - middle, solid - there, rcond=None
    )  # (2, 3): a step on the flat, on the tank
    if rank < 2:
        return Ends()
    (left, right), (low, high) = (_named(step, blank.hand) for step in way)
    return Ends(left, right, low, high)


def _met(work: Work, blank: Blank) -> tuple[np.ndarray, np.ndarray]:
    """Points (n, 2) on the flat and where they lie on the tank (n, 3): along every edge that is a whole seam."""
    flat, solid = [np.empty((0, 2))], [np.empty((0, 3))]
    share = np.linspace(0, 1, 9)
    for edge in blank.edges:
        seam = _seam(work, edge)
        if seam is None:
            continue
        chain = work.body.outer[seam.chain]
        chain = chain if _first_at_front(chain) else chain[::-1]
        points = edge.points if runs_from_start(work, blank, edge) else edge.points[::-1]
        flat.append(_along(points, share))
        solid.append(_along(chain, share))
    return np.vstack(flat), np.vstack(solid)


def _along(points: np.ndarray, share: np.ndarray) -> np.ndarray:
    run = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    return np.stack([np.interp(share * run[-1], run, column) for column in points.T], axis=1)


def _named(step: np.ndarray, hand: str) -> tuple[str, str]:
    """The words at the two ends of a direction on the tank (3,)."""
    size = float(np.linalg.norm(step))
    axis = int(np.abs(step).argmax())
    if size < 0.2 or abs(step[axis]) < CLEAR_SHARE * size:
        return "", ""
    low, high = AXES[axis]
    if axis == 1 and hand in ("left", "right"):  # on a piece of one side: towards the tunnel, or away from it
        low, high = ("inner", "outer") if hand == "right" else ("outer", "inner")
    return (low, high) if step[axis] > 0 else (high, low)
