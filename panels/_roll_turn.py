"""Rulings of a piece that bends one way, and how far it has turned at each: the first half of ``panels.roll``.

Words used here: see ``panels.roll``.

The rulings are parallel (cylinders of any section) or meet in a point (cones). Along a ruling the normal of a
developable surface does not change, so the turn is read off the mesh's normals, averaged along each ruling by the
length it has in each face: slivers and rippled triangles count for little. A mesh of a true arc has its turn in its
vertices: each vertex's is dealt out to the steps beside it, most to the shorter one, so that the step at which an arc
begins has it and the straight before has none.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

__all__ = ["Family", "Turned", "read_turn", "rising"]

#: A turn of this much in one vertex, three times what the three to either side of it have, is a sharp corner, degrees.
SHARP_DEG = 6.0
#: Stations nearer than this are one, mm.
SAME_MM = 0.1
#: Stations nearer to one another than this share of the way to the next are one.
SAME_SHARE = 0.3
#: The turn is read at no more stations than this.
MOST_STATIONS = 256
#: Faces smaller or thinner than this have no say, mm2 and mm.
LEAST_AREA, LEAST_HEIGHT = 0.5, 0.05
#: Normals in order of place change from face to face by less than this, root mean square, where the rulings are right
#: to rounding; and half of them by less than the second where they are right at all, radians.
JUMP_LEAST, JUMP_MOST = 1e-4, 0.2
#: Rulings meet in a point where the normals then change by less than this share of what they do over parallel ones.
CONE_SHARE = 0.9


class Family(NamedTuple):
    """Rulings of the flat: parallel to ``along``, or through ``apex``.

    Place and reach are such that place, reach and the good face's normal stand like x, y and z.
    """

    along: np.ndarray  # (2,) unit, in the middle of the piece
    apex: np.ndarray | None
    middle: float  # distance from the apex at which places are measured, mm

    def chart(self, points: np.ndarray) -> np.ndarray:
        """Place and reach (n, 2) of points (n, 2)."""
        if self.apex is None:
            return np.column_stack([points @ [self.along[1], -self.along[0]], points @ self.along])
        off = points - self.apex
        across = off @ [self.along[1], -self.along[0]]
        return np.column_stack([self.middle * np.arctan2(across, off @ self.along), np.hypot(*off.T)])

    def ruling(self, place: float, reach: tuple[float, float]) -> np.ndarray:
        """The ruling (2, 2) at a place, between two reaches."""
        across = np.array([self.along[1], -self.along[0]])
        far = np.array(reach)[:, None]
        if self.apex is None:
            return np.asarray(place * across + far * self.along)
        angle = place / self.middle
        return np.asarray(self.apex + far * (math.cos(angle) * self.along + math.sin(angle) * across))


@dataclass(frozen=True)
class Turned:
    """The piece's turn along its roll direction, and its rulings.

    ``place`` (n,) mm, ``turn`` (n,) radians, first 0; a sharp corner is two stations at one place.
    """

    family: Family
    place: np.ndarray
    turn: np.ndarray
    reach: tuple[float, float]  # least and most of the coordinate along the rulings


def read_turn(solid: np.ndarray, faces: np.ndarray, flat: np.ndarray) -> Turned | None:
    """Rulings and turn of a piece; None where its rulings are neither parallel nor meet in a point."""
    side = solid[faces[:, 1]] - solid[faces[:, 0]], solid[faces[:, 2]] - solid[faces[:, 0]]
    normal = np.cross(*side)
    size = np.linalg.norm(normal, axis=1)
    longest = np.linalg.norm(np.stack([*side, side[1] - side[0]]), axis=2).max(axis=0)
    sound = (size > 2 * LEAST_AREA) & (size > LEAST_HEIGHT * longest)
    faces, normal = faces[sound], normal[sound] / size[sound, None]
    if len(faces) < 2:
        return None
    family = _family(solid, faces, flat, normal)
    return None if family is None else _turned(solid, faces, flat, normal, family)


def _family(solid: np.ndarray, faces: np.ndarray, flat: np.ndarray, normal: np.ndarray) -> Family | None:
    """The rulings over which the normals, taken in order of place, change least; None where they jump about.

    A cylinder's normals are all square to its axis; a cone's tangent planes all hold its apex.
    """
    corners, table = solid[faces], flat[faces]
    one, two = table[:, 1] - table[:, 0], table[:, 2] - table[:, 0]
    area = one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0]
    weight = np.abs(area)[:, None] / np.abs(area).sum()
    axis = np.linalg.eigh(normal.T @ (weight * normal))[1][:, 0]
    gradient = np.stack([rising(corners, table[:, :, ::-1] * [-1.0, 1.0]), rising(corners, table)], axis=1)
    along = (weight * (gradient @ axis)).sum(axis=0)
    along = along / max(float(np.linalg.norm(along)), 1e-9) * (1.0 if along[np.argmax(np.abs(along))] > 0 else -1.0)
    best = Family(along, None, 0.0)
    mean, middle = _jumps(best, table, normal)
    if mean > JUMP_LEAST:
        cone = _cone(corners, table, normal, weight)
        mean_cone, middle_cone = _jumps(cone, table, normal)
        if mean_cone < CONE_SHARE * mean:
            best, middle = cone, middle_cone
    return best if middle < JUMP_MOST else None


def _cone(corners: np.ndarray, table: np.ndarray, normal: np.ndarray, weight: np.ndarray) -> Family:
    """Rulings through the point that is in every face's plane, laid on the table by its distances from the corners."""
    middle, root = corners.mean(axis=1), np.sqrt(weight)
    centre = (weight * middle).sum(axis=0)
    height = root[:, 0] * _dot(normal, middle - centre)
    apex = centre + np.linalg.lstsq(root * normal, height, rcond=None)[0]
    at = table.reshape(-1, 2)
    from_apex = ((corners.reshape(-1, 3) - apex) ** 2).sum(axis=1)
    off, mean = at - at.mean(axis=0), at.mean(axis=0)
    square = (off**2).sum(axis=1) - from_apex
    tip = mean + np.linalg.lstsq(2 * off, square - square.mean(), rcond=None)[0]
    reach = np.linalg.norm(at - tip, axis=1)
    to_middle = mean - tip
    return Family(to_middle / max(float(np.linalg.norm(to_middle)), 1e-9), tip, float(reach.min() + reach.max()) / 2)


def _jumps(family: Family, table: np.ndarray, normal: np.ndarray) -> tuple[float, float]:
    """How far the normal changes from face to face in order of place, radians: root mean square, and median."""
    place = family.chart(table.mean(axis=1))[:, 0]
    square = (np.diff(normal[np.argsort(place, kind="stable")], axis=0) ** 2).sum(axis=1)
    return float(np.sqrt(square.mean())), float(np.sqrt(np.median(square)))


def _dot(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    return np.asarray(np.einsum("ij,ij->i", a, b))


def _turned(
    solid: np.ndarray, faces: np.ndarray, flat: np.ndarray, normal: np.ndarray, family: Family
) -> Turned | None:
    """The turn at every station."""
    chart = family.chart(flat)
    place = np.sort(chart[np.unique(faces), 0])
    place = _merged(place[np.concatenate([[True], np.diff(place) > SAME_MM])])
    if len(place) > MOST_STATIONS:
        place = np.interp(np.linspace(0, 1, MOST_STATIONS), np.linspace(0, 1, len(place)), place)
    if len(place) < 3:
        return None
    at = (place[1:] + place[:-1]) / 2
    share = _chords(chart[faces], at)  # (m, n - 1)
    some = share.sum(axis=0) > 1e-9
    up = share.T @ normal
    along = share.T @ rising(solid[faces], chart[faces])
    up, along = up[some], along[some]
    step = np.cross(up[:-1], up[1:])
    sine = -_dot(step, along[:-1] + along[1:]) / np.maximum(np.linalg.norm(along[:-1] + along[1:], axis=1), 1e-12)
    turn = np.arctan2(sine, _dot(up[:-1], up[1:]))
    inner = np.flatnonzero(some)
    place = np.concatenate([place[:1], place[inner[1:]], place[-1:]])
    if len(place) < 3:
        return None
    place, whole = _dealt(place, turn)
    return Turned(family, place, whole, (float(chart[:, 1].min()), float(chart[:, 1].max())))


def _merged(place: np.ndarray) -> np.ndarray:
    """Stations with those that stand much nearer to one another than to the next ones put together: a ruling whose ends
    were sampled a little apart."""
    step = np.diff(place)
    near = 1 + np.flatnonzero(step[1:-1] < SAME_SHARE * np.minimum(step[:-2], step[2:]))
    place = place.copy()
    place[near] = (place[near] + place[near + 1]) / 2
    return np.delete(place, near + 1)


def _chords(corners: np.ndarray, at: np.ndarray) -> np.ndarray:
    """Length (m, k) of the ruling at each place (k,) inside each triangle of the chart (m, 3, 2)."""
    order = np.argsort(corners[:, :, 0], axis=1, kind="stable")
    low, middle, high = np.moveaxis(np.take_along_axis(corners, order[:, :, None], axis=1), 1, 0)
    span = np.maximum(high[:, 0] - low[:, 0], 1e-12)
    longest = np.abs(middle[:, 1] - low[:, 1] - (high[:, 1] - low[:, 1]) * (middle[:, 0] - low[:, 0]) / span)
    rise = (at - low[:, :1]) / np.maximum(middle[:, :1] - low[:, :1], 1e-12)
    fall = (high[:, :1] - at) / np.maximum(high[:, :1] - middle[:, :1], 1e-12)
    return np.asarray(longest[:, None] * np.clip(np.minimum(rise, fall), 0.0, 1.0))


def rising(solid: np.ndarray, chart: np.ndarray) -> np.ndarray:
    """Direction in space (m, 3) of the rulings in each face, towards more reach."""
    one, two = chart[:, 1] - chart[:, 0], chart[:, 2] - chart[:, 0]
    det = one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0]
    det = np.where(np.abs(det) < 1e-9, 1e-9, det)[:, None]
    return np.asarray((one[:, :1] * (solid[:, 2] - solid[:, 0]) - two[:, :1] * (solid[:, 1] - solid[:, 0])) / det)


def _dealt(place: np.ndarray, turn: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Places (k,) and the whole turn at each, from stations (n,) and the turn (n - 2,) in each inner one.

    Each is dealt out to its two steps, most to the shorter; the end steps turn on as their inner half does. A sharp
    corner stays where it is: its place comes twice.
    """
    before, after = np.diff(place)[:-1], np.diff(place)[1:]
    size = np.abs(turn)
    padded = np.pad(size, 3)
    beside = np.max([padded[k : k + len(size)] for k in (0, 1, 2, 4, 5, 6)], axis=0)
    sharp = (size > math.radians(SHARP_DEG)) & (size > 3 * beside)
    soft = np.where(sharp, 0.0, turn)
    long = np.diff(place)
    steps = np.zeros(len(long))
    steps[:-1] += soft * after**2 / (before**2 + after**2)
    steps[1:] += soft * before**2 / (before**2 + after**2)
    steps[[0, -1]] *= np.where(long[[0, -1]] < 2 * long[[1, -2]], 2.0, 1.0)  # a long one is a straight
    places, whole = [place[:1]], [0.0]
    for k, (end, bend) in enumerate(zip(place[1:], steps, strict=True)):
        places.append(end)
        whole.append(whole[-1] + bend)
        if k < len(sharp) and sharp[k]:
            places.append(end)
            whole.append(whole[-1] + turn[k])
    return np.hstack(places), np.array(whole)
