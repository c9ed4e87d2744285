"""Fold a flat blank into space: the way back from a developed blank to the folded piece.

Words used here
    flat        the blank on the table, (x, y) in mm, seen from above; height 0 is its lower
                face, height ``thickness`` its upper face
    fold line   the middle of a bend zone in the flat; the zone is as wide as the bend allowance
    up, down    whether the far side of a fold rises towards the viewer or turns away
    inside      the hollow side of a fold: the upper face of an up fold, the lower of a down fold
    face        a part of the flat that stays flat, bounded by bend zones and the outline

A bend zone becomes a part of a true cylinder, faces stay flat. Nothing here knows how the flat
was worked out, so folding a development back proves it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from panels._bend_checks import check_angle, check_k_factor, check_radius, check_thickness
from panels.errors import FoldError

if TYPE_CHECKING:
    from shapely.geometry import Polygon

__all__ = ["FoldLine", "FoldedSheet", "fold_flat"]

Array = NDArray[np.float64]

ON_SHEET_MM = 0.01  # a point this far outside the outline still counts as on its edge
SLIVER_MM2 = 1e-3  # pieces smaller than this are rounding, not metal
GRID_MM = 1e-7  # shapes are cut on this grid
HAIR_MM = 1e-6
SHARP_MM = 1e-4  # a dead sharp fold still needs a zone of some width to part the faces


@dataclass(frozen=True)
class FoldLine:
    """One straight fold in a flat: the middle of its bend zone and how it is bent.

    ``start`` and ``end`` in the flat, mm; ``angle_deg`` the bend angle; ``radius`` the inside
    radius, mm; ``direction`` up or down; ``allowance`` the width of the bend zone, mm.
    """

    start: tuple[float, float]
    end: tuple[float, float]
    angle_deg: float
    radius: float
    direction: str
    allowance: float = 0.0
    name: str = ""

    def __post_init__(self) -> None:
        check_angle("Bend angle", self.angle_deg)
        check_radius(self.radius)
        if self.direction not in ("up", "down"):
            raise FoldError(
                f"Fold {self.name or 'line'} has direction {self.direction!r}; it must be 'up' or 'down'.",
                direction=self.direction,
            )
        if not np.all(np.isfinite([self.start, self.end])) or math.dist(self.start, self.end) < 1e-6:
            raise FoldError(
                f"Fold {self.name or 'line'} runs from {self.start} to {self.end}; its two ends must differ.",
                start=self.start,
                end=self.end,
            )

    @property
    def length(self) -> float:
        """Length of the fold line, mm."""
        return math.dist(self.start, self.end)

    @property
    def along(self) -> Array:
        """Unit vector from start to end, shape (2,)."""
        return (np.asarray(self.end) - np.asarray(self.start)) / self.length

    @property
    def tangents(self) -> tuple[Array, Array]:
        """Where the bend begins and ends: the two edges of the zone, each (2, 2), left first."""
        ux, uy = self.along
        side = np.array([-uy, ux]) * self.allowance / 2
        line = np.array([self.start, self.end], dtype=float)
        return line + side, line - side


@dataclass(frozen=True, eq=False)
class _Face:
    """A flat part: its polygon, and where it goes (``matrix`` @ (x, y, z) + ``shift``)."""

    polygon: Polygon
    matrix: Array
    shift: Array

    def place(self, flat: Array, height: float) -> Array:
        solid = np.column_stack([flat, np.full(len(flat), height)])
        return solid @ self.matrix.T + self.shift

    def normals(self, flat: Array) -> Array:
        return np.tile(self.matrix[:, 2], (len(flat), 1))


@dataclass(frozen=True, eq=False)
class _Bend:
    """A bend zone: its polygon, the near face's placement and the cylinder it becomes."""

    polygon: Polygon
    near: _Face
    origin: Array  # on the near tangent, (2,)
    along: Array  # (2,)
    away: Array  # from the near face to the far face, (2,)
    turn: float  # radians, more than 0
    sign: float  # +1 up, -1 down
    radius: float  # inside
    width: float
    thickness: float

    def _angles(self, flat: Array) -> tuple[Array, Array]:
        offset = flat - self.origin
        return offset @ self.along, np.clip(offset @ self.away, 0, self.width) * (self.turn / self.width)

    def place(self, flat: Array, height: float) -> Array:
        u, theta = self._angles(flat)
        axis, arm = self._axis_and_arm(height)
        outward = arm * np.sin(theta)
        planar = self.origin + u[:, None] * self.along + outward[:, None] * self.away
        level = axis - self.sign * arm * np.cos(theta)
        return np.column_stack([planar, level]) @ self.near.matrix.T + self.near.shift

    def normals(self, flat: Array) -> Array:
        _, theta = self._angles(flat)
        planar = -self.sign * np.sin(theta)[:, None] * self.away
        return np.column_stack([planar, np.cos(theta)]) @ self.near.matrix.T

    def _axis_and_arm(self, height: float) -> tuple[float, float]:
        """Level of the bend's axis, and its distance from metal at this height."""
        axis = self.thickness + self.radius if self.sign > 0 else -self.radius
        return axis, abs(axis - height)

    def far_placement(self) -> tuple[Array, Array]:
        """Matrix and shift for everything beyond the zone."""
        axis, _ = self._axis_and_arm(0.0)
        frame = np.zeros((3, 3))
        frame[:2, 0], frame[:2, 1], frame[2, 2] = self.along, self.away, 1.0
        cos, sin = math.cos(self.turn), self.sign * math.sin(self.turn)
        turn = frame @ np.array([[1, 0, 0], [0, cos, -sin], [0, sin, cos]]) @ frame.T
        centre = np.array([*self.origin, axis])
        # Slide the far part back by the zone's width, then swing it about the axis.
        slide = np.array([*(self.away * self.width), 0.0])
        shift = centre - turn @ (centre + slide)
        return self.near.matrix @ turn, self.near.matrix @ shift + self.near.shift


@dataclass(frozen=True, eq=False)
class FoldedSheet:
    """A flat with its folds made; maps any point of the flat into space."""

    outline: Polygon
    folds: tuple[FoldLine, ...]
    thickness: float
    faces: tuple[_Face, ...]
    bends: tuple[_Bend, ...]

    @property
    def parts(self) -> tuple[_Face | _Bend, ...]:
        """Every flat face, then every bend."""
        return (*self.faces, *self.bends)

    def points(self, flat: ArrayLike, height: float = 0.0) -> Array:
        """Where points of the flat, (n, 2) mm, go in space, (n, 3) mm, at a height in the sheet.

        The base face keeps its place: (x, y) goes to (x, y, height).

        Raises
        ------
        FoldError
            A point lies off the flat; carries ``.point`` and ``.distance``.
        """
        flat = _points(flat, "Points to fold")
        placed = np.empty((len(flat), 3))
        for part, mask in self._sorted(flat):
            placed[mask] = part.place(flat[mask], height)
        return placed

    def normals(self, flat: ArrayLike) -> Array:
        """Unit normals of the upper face at points of the flat, (n, 3)."""
        flat = _points(flat, "Points to fold")
        normals = np.empty((len(flat), 3))
        for part, mask in self._sorted(flat):
            normals[mask] = part.normals(flat[mask])
        return normals

    def _sorted(self, flat: Array) -> list[tuple[_Face | _Bend, NDArray[np.bool_]]]:
        """Each part with the points that lie on it."""
        import shapely

        parts = self.parts
        sites = shapely.points(flat)
        gaps = np.array([shapely.distance(part.polygon, sites) for part in parts])
        owner = gaps.argmin(axis=0)
        worst = gaps.min(axis=0)
        if len(flat) and worst.max() > ON_SHEET_MM:
            at = int(worst.argmax())
            raise FoldError(
                f"Point ({flat[at, 0]:.2f}, {flat[at, 1]:.2f}) lies {worst[at]:.2f} mm off the flat; "
                f"{ON_SHEET_MM} mm is allowed.\n\nhint: only points of the blank can be folded",
                point=tuple(flat[at]),
                distance=float(worst[at]),
            )
        return [(part, owner == i) for i, part in enumerate(parts) if np.any(owner == i)]


def fold_flat(
    outline: ArrayLike | Polygon,
    folds: Sequence[FoldLine],
    *,
    thickness: float,
    k_factor: float,
    base: tuple[float, float] | None = None,
) -> FoldedSheet:
    """Fold a flat along its fold lines, bend zones as true cylinders.

    Parameters
    ----------
    outline : (n, 2) array or shapely Polygon
        The flat, mm; a Polygon may have holes.
    folds : sequence of FoldLine
        Bend zones must not overlap. Their width is worked out here from angle, radius,
        ``k_factor`` and ``thickness``; ``FoldLine.allowance`` is not read.
    thickness, k_factor : float
        mm; 0 to 0.5.
    base : (x, y), optional
        A point on the face that stays on the table; the largest face if left out.

    Raises
    ------
    FoldError
        Zones overlap, a fold lies off the flat, faces hang together in a ring, or the base
        point is on no face.

    Examples
    --------
    >>> line = FoldLine((50, 0), (50, 20), angle_deg=90, radius=0.0, direction="up")
    >>> sheet = fold_flat([[0, 0], [90, 0], [90, 20], [50, 20], [0, 20]], [line], thickness=1, k_factor=0.5)
    >>> sheet.normals([[10, 10], [80, 10]]).round(6).tolist()
    [[0.0, 0.0, 1.0], [-1.0, 0.0, 0.0]]
    """
    from shapely import union_all

    check_thickness(thickness)
    check_k_factor(k_factor)
    sheet = _polygon(outline)
    bent = [fold for fold in folds if fold.angle_deg > 0]
    widths = [max(math.radians(fold.angle_deg) * (fold.radius + k_factor * thickness), SHARP_MM) for fold in bent]
    zones = [_zone(sheet, fold, width) for fold, width in zip(bent, widths, strict=True)]
    _refuse_overlap(bent, zones)
    # Grown by a hair, so that no thread of rounding along a zone's end keeps two faces together.
    polygons = _pieces(sheet.difference(union_all([zone.buffer(HAIR_MM) for zone in zones])))
    links = [_neighbours(polygons, fold, width, zone) for fold, width, zone in zip(bent, widths, zones, strict=True)]
    faces, bends = _fold_outwards(polygons, _base_index(polygons, base), bent, widths, zones, links, thickness)
    return FoldedSheet(sheet, tuple(folds), thickness, faces, bends)


def _points(value: ArrayLike, what: str) -> Array:
    array = np.asarray(value, dtype=float)
    if array.ndim != 2 or array.shape[1] != 2 or not np.all(np.isfinite(array)):
        raise FoldError(f"{what} must be numbers in pairs, shape (n, 2); got shape {array.shape}.")
    return array


def _polygon(outline: Any) -> Polygon:
    from shapely.geometry import Polygon

    sheet = outline if isinstance(outline, Polygon) else Polygon(_points(outline, "The flat's outline"))
    if not sheet.is_valid or sheet.area < SLIVER_MM2:
        raise FoldError(
            f"The flat's outline crosses itself or encloses nothing (area {sheet.area:.3f} mm2).\n\n"
            "hint: list its corners in order, once round"
        )
    return sheet


def _pieces(shape: Any) -> list[Polygon]:
    parts = getattr(shape, "geoms", [shape])
    return [part for part in parts if part.geom_type == "Polygon" and part.area > SLIVER_MM2]


def _zone(sheet: Polygon, fold: FoldLine, width: float) -> Polygon:
    """The part of the flat that bends: a band along the fold, run on a little past its ends
    because a slanting end leaves more metal on one side of the middle than on the other."""
    import shapely
    from shapely.geometry import LineString, Polygon

    u = fold.along
    side = np.array([-u[1], u[0]]) * width / 2
    start, end = np.asarray(fold.start) - 2 * width * u, np.asarray(fold.end) + 2 * width * u
    band = Polygon([start + side, start - side, end - side, end + side])
    middle = LineString([fold.start, fold.end])
    # On a grid, so that no bridge without width ties what a relief has parted to the band.
    inside = shapely.intersection(sheet, band, grid_size=GRID_MM)
    met = [piece for piece in _pieces(inside) if piece.intersection(middle).length > 0]
    if len(met) != 1:
        where = "lies off the flat" if not met else f"is cut into {len(met)} pieces by the outline"
        raise FoldError(
            f"Fold {fold.name or 'line'} from ({fold.start[0]:.1f}, {fold.start[1]:.1f}) to "
            f"({fold.end[0]:.1f}, {fold.end[1]:.1f}) {where}.\n\n"
            "hint: one fold line for each unbroken fold, inside the outline",
            fold=fold,
        )
    return met[0]


def _refuse_overlap(folds: Sequence[FoldLine], zones: Sequence[Polygon]) -> None:
    for i, zone in enumerate(zones):
        for j in range(i):
            shared = zone.intersection(zones[j]).area
            if shared > SLIVER_MM2:
                one, two = folds[j].name or j + 1, folds[i].name or i + 1
                raise FoldError(
                    f"Folds {one} and {two} overlap by {shared:.2f} mm2 in the flat.\n\n"
                    "hint: move them apart, take a smaller radius, or cut a relief where they meet",
                    folds=(folds[j], folds[i]),
                    overlap=shared,
                )


def _neighbours(
    polygons: Sequence[Polygon], fold: FoldLine, width: float, zone: Polygon
) -> tuple[list[int], list[int]]:
    """Indices of the faces that join the zone on its left and on its right."""
    from shapely.geometry import LineString

    u = fold.along
    left = np.array([-u[1], u[0]]) * width / 2
    reach = 2 * width * u
    sides = []
    for side in (left, -left):
        edge = LineString([np.asarray(fold.start) - reach + side, np.asarray(fold.end) + reach + side])
        shared = edge.intersection(zone.buffer(10 * HAIR_MM))
        sides.append([i for i, p in enumerate(polygons) if p.buffer(10 * HAIR_MM).intersection(shared).length > 1e-3])
    return sides[0], sides[1]


def _base_index(polygons: Sequence[Polygon], base: tuple[float, float] | None) -> int:
    from shapely.geometry import Point

    if base is None:
        return max(range(len(polygons)), key=lambda i: polygons[i].area)
    for i, polygon in enumerate(polygons):
        if polygon.covers(Point(base)):
            return i
    raise FoldError(
        f"The base point ({base[0]:.2f}, {base[1]:.2f}) is on no flat face.\n\n"
        "hint: name a point on the face that stays on the table",
        point=base,
    )


def _fold_outwards(
    polygons: Sequence[Polygon],
    root: int,
    folds: Sequence[FoldLine],
    widths: Sequence[float],
    zones: Sequence[Polygon],
    links: Sequence[tuple[list[int], list[int]]],
    thickness: float,
) -> tuple[tuple[_Face, ...], tuple[_Bend, ...]]:
    """Place faces and bends one after another, from the base outwards."""
    faces: dict[int, _Face] = {root: _Face(polygons[root], np.eye(3), np.zeros(3))}
    bends: dict[int, _Bend] = {}
    queue = [root]
    while queue:
        here = queue.pop()
        for at, sides in enumerate(links):
            if at in bends or here not in (*sides[0], *sides[1]):
                continue
            near_is_left = here in sides[0]
            near, far = sides if near_is_left else sides[::-1]
            bend = _bend(folds[at], widths[at], zones[at], faces[here], near_is_left, thickness)
            bends[at] = bend
            placements = [(i, (faces[here].matrix, faces[here].shift)) for i in near if i != here]
            placements += [(i, bend.far_placement()) for i in far]
            for i, (matrix, shift) in placements:
                if i in faces:
                    raise FoldError(
                        f"Fold {folds[at].name or at + 1} joins two parts that already hang together "
                        "another way round.\n\nhint: part the flat where the ring is to close",
                        fold=folds[at],
                    )
                faces[i] = _Face(polygons[i], matrix, shift)
                queue.append(i)
    return tuple(faces[i] for i in sorted(faces)), tuple(bends[i] for i in sorted(bends))


def _bend(fold: FoldLine, width: float, zone: Polygon, near: _Face, near_is_left: bool, thickness: float) -> _Bend:
    u = fold.along
    left = np.array([-u[1], u[0]])
    away = -left if near_is_left else left
    return _Bend(
        polygon=zone,
        near=near,
        origin=np.asarray(fold.start) - away * width / 2,
        along=u,
        away=away,
        turn=math.radians(fold.angle_deg),
        sign=1.0 if fold.direction == "up" else -1.0,
        radius=fold.radius,
        width=width,
        thickness=thickness,
    )
