"""Flat outlines made ready for placing: turned copies, convex pieces, and where two may not both lie.

Words used here
    variant   one part in one turn and one face, its bounding box starting at 0, 0
    pieces    convex polygons that together make up a variant (a hole is left out of them)
    coarse    the same of an outline with fewer points, for the search; the answer is made with the true one
    clash     of a fixed variant a and a moving variant b: every shift of b against a at which the two overlap
              or come nearer than the gap, as convex rings that overlap each other

The clash is the Minkowski sum of a, grown by the gap, and of b turned inside out, piece by convex piece
(M. de Berg and others, Computational Geometry, chapter 13; from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import shapely
from shapely import affinity
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from .model import QUARTER_TURNS, Part, Rotations, Sheet, allowed_turns, place_outline

__all__ = ["Variant", "Variants", "clash_of", "convex_pieces", "free_turns", "halfplanes"]


FEW_PARTS = 8  # up to so many different parts, those that may turn freely are also tried along their snuggest rectangle


@dataclass(frozen=True, eq=False)
class Variant:
    """One part in one turn and one face; ``key`` is its number."""

    key: int
    part: int
    turn: float
    flipped: bool
    outline: Polygon
    width: float
    height: float
    twin: int  # number of the first variant of the same shape
    base: int  # number of the first variant of the same shape but for quarter turns
    quarter: int  # how many quarter turns from there

    @cached_property
    def pieces(self) -> list[np.ndarray]:
        """Convex pieces, each (n, 2) counter-clockwise, mm."""
        return convex_pieces(self.outline)

    def coarse(self, tolerance: float, gap: float = 0.0) -> list[np.ndarray]:
        """Convex pieces of the outline grown by ``gap``, less points that matter less than ``tolerance`` mm."""
        grown = self.outline.buffer(gap, quad_segs=3) if gap > 0 else self.outline
        simple = grown.simplify(tolerance)
        return convex_pieces(simple if simple.area > 0 else grown)


@dataclass(eq=False)
class Variants:
    """All variants of a list of parts, made once each and numbered."""

    parts: tuple[Part, ...]
    rotations: Rotations
    items: list[Variant] = field(default_factory=list)
    _known: dict[tuple[int, float, bool], int] = field(default_factory=dict)
    _shapes: dict[bytes, int] = field(default_factory=dict)
    _turned: dict[bytes, tuple[int, int]] = field(default_factory=dict)

    def on(self, part: int, sheet: Sheet) -> list[Variant]:
        """Variants of part number ``part`` that may lie on ``sheet``, in a fixed order, no shape twice."""
        found: list[Variant] = []
        for flipped in (False, True) if self.parts[part].may_flip else (False,):
            turns = allowed_turns(self.parts[part], sheet, self.rotations, flipped=flipped)
            if turns is None:
                turns = free_turns(self.parts[part].outline) if len(self.parts) <= FEW_PARTS else QUARTER_TURNS
            for turn in turns:
                variant = self._get(part, turn, flipped)
                if all(variant.twin != other.twin for other in found):
                    found.append(variant)
        return found

    def _get(self, part: int, turn: float, flipped: bool) -> Variant:
        name = (part, round(turn, 9), flipped)
        if name not in self._known:
            key = len(self.items)
            self._known[name] = key
            outline = place_outline(self.parts[part], turn, flipped, corner=(0.0, 0.0))
            _, _, width, height = outline.bounds
            twin = self._shapes.setdefault(_mark(outline), key)
            if twin == key:
                self._note_turns(key, outline)
            base, quarter = self._turned[_mark(outline)]
            self.items.append(Variant(key, part, turn, flipped, outline, width, height, twin, base, quarter))
        return self.items[self._known[name]]

    def _note_turns(self, key: int, outline: Polygon) -> None:
        """Remember what this shape looks like after each quarter turn."""
        for quarter in range(4):
            c, s = ((1, 0), (0, 1), (-1, 0), (0, -1))[quarter]
            turned = affinity.affine_transform(outline, (c, -s, s, c, 0, 0))
            x0, y0, _, _ = turned.bounds
            self._turned.setdefault(_mark(affinity.translate(turned, -x0, -y0)), (key, quarter))


def _mark(outline: Polygon) -> bytes:
    """The same for the same shape, whatever point it starts at."""
    return bytes(shapely.set_precision(outline, 1e-6).normalize().wkb)


def free_turns(outline: Polygon) -> tuple[float, ...]:
    """Turns tried where any would do: quarter turns as drawn, and from the snuggest bounding rectangle."""
    box = shapely.minimum_rotated_rectangle(outline)
    (x0, y0), (x1, y1) = shapely.get_coordinates(box)[:2]
    angle = -math.degrees(math.atan2(y1 - y0, x1 - x0)) % 90.0
    starts = (0.0,) if min(angle, 90.0 - angle) < 1.0 else (0.0, angle)
    return tuple(start + 90.0 * k for start in starts for k in range(4))


# ------------------------------------------------------------------------------------ convex pieces


def convex_pieces(shape: BaseGeometry) -> list[np.ndarray]:
    """Split a polygon, holes and all, into a few convex polygons (n, 2), counter-clockwise, mm.

    Triangles joined along shared sides while the result stays convex (Hertel and Mehlhorn 1983; from memory).
    """
    pieces: list[np.ndarray] = []
    for polygon in getattr(shape, "geoms", [shape]):
        if polygon.is_empty:
            continue
        ring = shapely.get_coordinates(shapely.orient_polygons(polygon).exterior)[:-1]
        if not polygon.interiors and _is_convex(ring):
            pieces.append(ring)
            continue
        triangles = shapely.get_parts(shapely.constrained_delaunay_triangles(polygon))
        pieces.extend(_join_convex([_triangle(t) for t in triangles if t.area > 0.0]))
    return pieces


def _triangle(shape: Polygon) -> list[tuple[float, float]]:
    points = shapely.get_coordinates(shapely.orient_polygons(shape).exterior)[:-1]
    return [(float(x), float(y)) for x, y in points]


def _is_convex(ring: np.ndarray) -> bool:
    step = np.roll(ring, -1, axis=0) - ring
    following = np.roll(step, -1, axis=0)
    cross = step[:, 0] * following[:, 1] - step[:, 1] * following[:, 0]
    return bool(np.all(cross >= -1e-12 * np.hypot(*step.T) * np.hypot(*following.T)))


def _join_convex(rings: list[list[tuple[float, float]]]) -> list[np.ndarray]:
    """Join neighbours along whole shared sides, longest side first, while convex."""
    owner: dict[tuple[tuple[float, float], tuple[float, float]], int] = {}
    for index, ring in enumerate(rings):
        for k, start in enumerate(ring):
            owner[(start, ring[(k + 1) % len(ring)])] = index
    shared = [side for side in owner if side < (side[1], side[0]) and (side[1], side[0]) in owner]
    shared.sort(key=lambda side: (-math.dist(*side), side))
    alias = list(range(len(rings)))

    def root(index: int) -> int:
        while alias[index] != index:
            index = alias[index]
        return index

    for start, end in shared:
        one, two = root(owner[(start, end)]), root(owner[(end, start)])
        if one == two:
            continue
        first, second = rings[one], rings[two]
        k, m = first.index(end), second.index(start)
        joined = first[k:] + first[:k] + (second[m:] + second[:m])[1:-1]
        if _is_convex(np.array(joined)):
            rings[one], alias[two] = joined, one
    return [np.array(ring) for index, ring in enumerate(rings) if alias[index] == index]


# ------------------------------------------------------------------------------------------- clashes


def clash_of(fixed: list[np.ndarray], moving: list[np.ndarray]) -> list[np.ndarray]:
    """Where ``moving`` may not lie against ``fixed``: convex rings of shifts, mm, that overlap each other."""
    around = [_sides(a) for a in fixed]
    inside_out = [_sides(-b) for b in moving]
    return [_convex_sum(a, b) for a in around for b in inside_out]


def halfplanes(rings: list[np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    """Outward unit normals (p, m, 2) and levels (p, m) of convex rings, padded to one length."""
    most = max(len(ring) for ring in rings)
    padded = np.empty((len(rings), most, 2))
    after = np.empty_like(padded)
    for k, ring in enumerate(rings):
        count = len(ring)
        padded[k, :count], after[k, :count] = ring, np.roll(ring, -1, axis=0)
        padded[k, count:], after[k, count:] = ring[-1], ring[0]
    step = after - padded
    normals = np.stack((step[..., 1], -step[..., 0]), axis=-1)
    normals /= np.linalg.norm(normals, axis=-1, keepdims=True)
    return normals, np.einsum("pmk,pmk->pm", normals, padded)


def _sides(ring: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Lowest point of a convex ring, its sides as vectors, and their directions from 0 to 2 pi."""
    sides = np.vstack((ring[1:], ring[:1])) - ring
    sides = sides[np.abs(sides).max(axis=1) > 1e-12]
    angle = np.arctan2(sides[:, 1], sides[:, 0])
    angle = np.where(angle < -1e-12, angle + 2 * math.pi, np.maximum(angle, 0.0))
    low = ring[:, 1].min()
    near = ring[ring[:, 1] <= low + 1e-12 * (1.0 + abs(low))]
    return near[near[:, 0].argmin()], sides, angle


def _convex_sum(
    a: tuple[np.ndarray, np.ndarray, np.ndarray], b: tuple[np.ndarray, np.ndarray, np.ndarray]
) -> np.ndarray:
    """Minkowski sum of two convex rings: their sides merged by direction, from the lowest point on."""
    order = np.concatenate((a[2], b[2])).argsort(kind="stable")
    points = np.empty((len(order), 2))
    points[0] = a[0] + b[0]
    np.cumsum(np.concatenate((a[1], b[1]))[order[:-1]], axis=0, out=points[1:])
    points[1:] += points[0]
    return points
