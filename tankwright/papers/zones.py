"""Where a blank is stretched, where it is shrunk, and by how much: a strain mesh read as a few regions.

Words used here
    main strain   of the two principal strains at a place, the larger in size; + stretch, - shrink
    zone          a connected region of the blank whose main strain has one sign and one level
    level         0 leave be, 1 easy, 2 ordinary, 3 hard, 4 split the piece

Shares are engineering strain (0.02 = 2 %), flat to formed; shapes are on the flat, mm, good face up.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from .words import DIFFICULTY_PERCENT

if TYPE_CHECKING:
    from shapely.geometry import MultiPolygon, Polygon

    from panels.blank import FlatMesh

__all__ = ["StrainFigures", "Worst", "Zone", "mirrored", "strain_figures", "strain_zones", "worst_places", "zone_twin"]

#: Below this share a place is left be: 0.5 mm in 100 mm. Common practice, no source.
LEAVE_SHARE = 0.005
#: A zone smaller than this share of the blank is joined to what surrounds it; its worst still counts.
SMALL_SHARE = 0.012
#: Zones narrower than this share of the blank's length are not shown: a line between two zones is no zone.
NARROW_SHARE = 0.012
#: A place counts as worst too where its mirror image is, if it is within this share of the worst.
AS_BAD_SHARE = 0.95
#: The middle of a face must lie that near to a mirrored place, mm.
NEAR_MM = 8.0
#: Shapes are cut apart on a grid this fine, mm: without one, near-touching lines cannot be told apart.
GRID_MM = 1e-6


@dataclass(frozen=True)
class Zone:
    """One region to work. ``mean`` and ``worst`` are signed shares, ``at`` a point well inside it, mm."""

    kind: str  # "stretch", "shrink" or "leave"
    level: int
    shape: Polygon | MultiPolygon
    mean: float
    worst: float
    at: tuple[float, float]
    room: float  # radius of the free circle around that point, mm
    worst_at: tuple[float, float]  # where the worst is, mm
    along: float  # mean change of length along x of the flat, signed share
    across: float  # the same along y

    @property
    def area(self) -> float:
        """mm2 on the flat."""
        return float(self.shape.area)


@dataclass(frozen=True)
class Worst:
    """The worst stretch or shrink of a blank: ``share`` signed, and where it is: one place, or two mirrored ones."""

    kind: str  # "stretch" or "shrink"
    share: float
    at: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class StrainFigures:
    """Worst and mean strain of a blank, shares, and the part of its area that is left be."""

    stretch_worst: float
    stretch_at: tuple[float, float]
    shrink_worst: float  # positive
    shrink_at: tuple[float, float]
    stretch_mean: float  # area mean of the larger principal strain
    shrink_mean: float  # area mean of the smaller one, positive for shrink
    left_be: float


def _face_areas(flat: FlatMesh) -> np.ndarray:
    a, b, c = (flat.points[flat.faces[:, k]] for k in range(3))
    (ux, uy), (vx, vy) = (b - a).T, (c - a).T
    return np.abs(ux * vy - uy * vx) / 2


def _main(strain: np.ndarray) -> np.ndarray:
    """Main strain (m,) of principal strains (m, 2), as signed share."""
    larger = np.abs(strain[:, 0]) >= np.abs(strain[:, 1])
    return np.expm1(np.where(larger, strain[:, 0], strain[:, 1]))


def _at_points(flat: FlatMesh, areas: np.ndarray) -> np.ndarray:
    """Main strain at the points (n,), each the mean of the faces around it by area, smoothed once over."""
    weight = np.bincount(flat.faces.ravel(), np.repeat(areas, 3), len(flat.points))
    weight = np.where(weight > 0, weight, 1.0)
    strain = flat.strain
    for _ in range(2):
        totals = (np.bincount(flat.faces.ravel(), np.repeat(areas * strain[:, k], 3), len(flat.points)) for k in (0, 1))
        at_points = np.stack([total / weight for total in totals], axis=1)
        strain = at_points[flat.faces].mean(axis=1)
    return _main(at_points)


def strain_figures(flat: FlatMesh) -> StrainFigures:
    """Worst, mean and place of stretch and shrink over the whole development."""
    areas = _face_areas(flat)
    middle = flat.points[flat.faces].mean(axis=1)
    share = np.expm1(flat.strain)
    most, least = int(np.argmax(share[:, 0])), int(np.argmin(share[:, 1]))
    mean = (share * areas[:, None]).sum(axis=0) / areas.sum()
    left = float(areas[np.abs(_main(flat.strain)) < LEAVE_SHARE].sum() / areas.sum())
    x, y = middle[most], middle[least]
    return StrainFigures(
        max(0.0, float(share[most, 0])),
        (float(x[0]), float(x[1])),
        max(0.0, float(-share[least, 1])),
        (float(y[0]), float(y[1])),
        float(mean[0]),
        float(-mean[1]),
        left,
    )


@lru_cache(maxsize=64)
def worst_places(flat: FlatMesh) -> tuple[Worst, ...]:
    """Where a blank is stretched most and where it is shrunk most, on both halves where it is alike on both.

    What is below `LEAVE_SHARE` is left out.
    """
    figures = strain_figures(flat)
    found = (
        ("stretch", figures.stretch_worst, figures.stretch_at),
        ("shrink", -figures.shrink_worst, figures.shrink_at),
    )
    return tuple(
        Worst(kind, share, (at, *mirrored(flat, kind, share, at)))
        for kind, share, at in found
        if abs(share) >= LEAVE_SHARE
    )


@lru_cache(maxsize=64)
def _middles(flat: FlatMesh) -> np.ndarray:
    """Middles (m, 2) of the faces of a flat."""
    return np.asarray(flat.points[flat.faces].mean(axis=1))


@lru_cache(maxsize=512)
def mirrored(flat: FlatMesh, kind: str, share: float, at: tuple[float, float]) -> tuple[tuple[float, float], ...]:
    """The place over against ``at`` across the middle of the flat, if it asks for as much."""
    middle = _middles(flat)
    over = np.array([at[0], float(flat.points[:, 1].min() + flat.points[:, 1].max()) - at[1]])
    if abs(over[1] - at[1]) < 2 * NEAR_MM:
        return ()
    near = np.flatnonzero(np.hypot(*(middle - over).T) < NEAR_MM)
    if not len(near):
        return ()
    strain = np.expm1(flat.strain[near])
    there = strain.max(axis=1) if kind == "stretch" else -strain.min(axis=1)
    best = int(np.argmax(there))
    x, y = middle[near[best]]
    return ((float(x), float(y)),) if there[best] >= AS_BAD_SHARE * abs(share) else ()


def zone_twin(flat: FlatMesh, zone: Zone) -> tuple[tuple[float, float], ...]:
    """The place over against a zone's worst, where it asks for as much and lies in the same zone."""
    import shapely

    there = mirrored(flat, zone.kind, zone.worst, zone.worst_at)
    return tuple(at for at in there if shapely.contains_xy(zone.shape, *at))


@lru_cache(maxsize=64)
def strain_zones(flat: FlatMesh, limits: tuple[float, float, float] = DIFFICULTY_PERCENT) -> tuple[Zone, ...]:
    """The blank as zones to stretch, to shrink and to leave be, hardest first, then largest.

    Their borders are lines of equal strain, straight within a face. Several papers ask for the same blank's zones:
    they are worked out once for each mesh, by its identity.

    Parameters
    ----------
    flat : FlatMesh
        Points (n, 2) mm, faces (m, 3), natural principal strains (m, 2), larger first.
    limits : three floats
        Easy, ordinary and hard in percent.
    """
    import shapely

    areas = _face_areas(flat)
    steps = np.array([LEAVE_SHARE, *(limit / 100 for limit in limits)])
    bounds = np.concatenate([[-np.inf], -steps[::-1], steps, [np.inf]])
    value = _without_small(flat, _at_points(flat, areas), areas, bounds)
    true, middle = _main(flat.strain), flat.points[flat.faces].mean(axis=1)
    along_across = np.expm1(flat.along_across)
    at_face = value[flat.faces].mean(axis=1)
    narrow = NARROW_SHARE * float(np.ptp(flat.points, axis=0).max())
    found = []
    regions = _parted(flat, value, bounds[1:-1])
    for shape in (band for region in regions for band in _bands(region, narrow, SMALL_SHARE * areas.sum())):
        if shape.area < SMALL_SHARE * areas.sum():
            continue
        at, room = _inside(shape)
        held = shapely.contains_xy(shape, middle[:, 0], middle[:, 1])
        if room < narrow or not held.any():
            continue
        levels = np.searchsorted(bounds, at_face[held], side="right") - 1 - len(steps)
        level = int(np.bincount(levels + len(steps), areas[held]).argmax()) - len(steps)
        kind = "leave" if level == 0 else "stretch" if level > 0 else "shrink"
        mean, worst, place = _figures_of(true[held], areas[held], kind)
        x, y = middle[held][place]
        along, across = (areas[held] @ along_across[held] / areas[held].sum()).tolist()
        found.append(Zone(kind, abs(level), shape, mean, worst, at, room, (float(x), float(y)), along, across))
    return tuple(sorted(found, key=lambda z: (-z.level, -round(z.area, 3), z.at)))


def _figures_of(share: np.ndarray, areas: np.ndarray, kind: str) -> tuple[float, float, int]:
    """Mean and worst of the faces of one zone, signed, and which face is worst; of its own sign where it has one."""
    mean = float((share * areas).sum() / areas.sum())
    place = int(np.argmax({"leave": np.abs(share), "stretch": share, "shrink": -share}[kind]))
    return mean, float(share[place]), place


def _bands(shape: Polygon, narrow: float, small: float) -> list[Polygon | MultiPolygon]:
    """A region whose bands hang together only by a neck narrower than twice ``narrow``, as one shape a band.

    Together they are the region: the largest keeps the necks.
    """
    import shapely

    cores = [core for core in shapely.get_parts(shape.buffer(-narrow)) if core.buffer(narrow).area >= small]
    if len(cores) < 2:
        return [shape]
    *others, largest = sorted(cores, key=lambda core: (core.area, core.bounds))
    rest, bands = shape, []
    for core in others:
        near = max(
            shapely.get_parts(shapely.intersection(core.buffer(1.2 * narrow), rest, grid_size=GRID_MM)),
            key=lambda part: part.area,
        )
        if near.geom_type == "Polygon" and near.disjoint(largest):
            bands.append(near)
            rest = shapely.difference(rest, near, grid_size=GRID_MM)
    return [rest, *bands]


def _inside(shape: Polygon | MultiPolygon) -> tuple[tuple[float, float], float]:
    """A point well inside the shape, where words can stand, and how far the border is from it."""
    from shapely import maximum_inscribed_circle

    line = maximum_inscribed_circle(shape, tolerance=max(0.5, shape.length / 400))
    x, y = line.coords[0]
    return (float(x), float(y)), float(line.length)


def _parted(flat: FlatMesh, value: np.ndarray, bounds: np.ndarray) -> list[Polygon]:
    """The blank parted along the lines where the value at the points (n,), straight over a face, is a bound.

    Only the lines and the blank's own edge are joined to polygons, not thousands of faces: that is quick.
    """
    import shapely

    ends = np.sort(np.concatenate([flat.faces[:, [0, 1]], flat.faces[:, [1, 2]], flat.faces[:, [2, 0]]]), axis=1)
    key = ends[:, 0].astype(np.int64) * len(value) + ends[:, 1]
    keys, index, count = np.unique(key, return_inverse=True, return_counts=True)
    edges = np.stack(np.divmod(keys, len(value)), axis=1)
    of_face = index.reshape(3, -1).T
    start, end = flat.points[edges[:, 0]], flat.points[edges[:, 1]]
    s0, s1 = value[edges[:, 0]], value[edges[:, 1]]
    rim = count == 1
    cuts: dict[int, list[float]] = {}
    lines = []
    for bound in bounds:
        crossed = (s0 < bound) != (s1 < bound)
        t = np.where(crossed, (bound - s0) / np.where(crossed, s1 - s0, 1.0), 0.0)
        point = start + t[:, None] * (end - start)
        through = of_face[crossed[of_face].sum(axis=1) == 2]
        two = through[crossed[through]].reshape(-1, 2)
        lines.append(point[two])
        for k in np.flatnonzero(crossed & rim):
            cuts.setdefault(int(k), []).append(float(t[k]))
    plain = rim.copy()
    plain[list(cuts)] = False
    lines.append(np.stack([start[plain], end[plain]], axis=1))
    for edge, places in cuts.items():
        inner = [start[edge] + t * (end[edge] - start[edge]) for t in sorted(places)]
        knots = np.array([start[edge], *inner, end[edge]])
        lines.append(np.stack([knots[:-1], knots[1:]], axis=1))
    segments = np.concatenate(lines)
    segments = segments[(segments[:, 0] != segments[:, 1]).any(axis=1)]
    made = shapely.polygonize(shapely.linestrings(segments))
    return [part for part in shapely.get_parts(made) if part.is_valid and not part.is_empty]


def _without_small(flat: FlatMesh, value: np.ndarray, areas: np.ndarray, bounds: np.ndarray) -> np.ndarray:
    """Values at the points with small regions of one level drawn to the level around them, smallest first."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    n = len(value)
    level = np.searchsorted(bounds, value, side="right") - 1
    share = np.bincount(flat.faces.ravel(), np.repeat(areas / 3, 3), n)
    pairs = np.concatenate([flat.faces[:, [0, 1]], flat.faces[:, [1, 2]], flat.faces[:, [2, 0]]])
    small = SMALL_SHARE * areas.sum()
    value = value.copy()
    for _ in range(300):
        alike = pairs[level[pairs[:, 0]] == level[pairs[:, 1]]]
        graph = coo_array((np.ones(len(alike)), (alike[:, 0], alike[:, 1])), shape=(n, n))
        count, label = connected_components(graph, directed=False)
        region = np.bincount(label, share)
        smallest = int(np.argmin(np.where(region > 0, region, np.inf)))
        if count == 1 or region[smallest] >= small:
            break
        inside = label == smallest
        across = pairs[inside[pairs[:, 0]] != inside[pairs[:, 1]]]
        if not len(across):
            break
        outer = np.where(inside[across[:, 0]], across[:, 1], across[:, 0])
        levels, counts = np.unique(level[outer], return_counts=True)
        to = int(levels[np.argmax(counts)])
        edge = 1e-5
        value[inside] = np.clip(value[inside], bounds[to] + edge, bounds[to + 1] - edge)
        level[inside] = to
    return value
