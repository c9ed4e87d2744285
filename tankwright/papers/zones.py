"""Where a blank is stretched, where it is shrunk, and by how much: a strain mesh read as a few regions.

Words used here
    main strain   of the two principal strains at a place, the larger in size; + stretch, - shrink
    zone          a connected region of the blank whose main strain has one sign and one level
    level         0 leave be, 1 easy, 2 ordinary, 3 hard, 4 split the piece

Shares are engineering strain (0.02 = 2 %), flat to formed; shapes are on the flat, mm, good face up.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from .words import DIFFICULTY_PERCENT

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from panels.blank import FlatMesh

__all__ = ["StrainFigures", "Zone", "strain_figures", "strain_zones"]

#: Below this share a place is left be: 0.5 mm in 100 mm. Common practice, no source.
LEAVE_SHARE = 0.005
#: A zone smaller than this share of the blank is joined to what surrounds it; its worst still counts.
SMALL_SHARE = 0.012


@dataclass(frozen=True)
class Zone:
    """One region to work. ``mean`` and ``worst`` are signed shares, ``at`` a point well inside it, mm."""

    kind: str  # "stretch", "shrink" or "leave"
    level: int
    shape: BaseGeometry  # one polygon, or several that touch at points
    mean: float
    worst: float
    at: tuple[float, float]

    @property
    def area(self) -> float:
        """mm2 on the flat."""
        return float(self.shape.area)


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


def _smoothed(flat: FlatMesh, areas: np.ndarray) -> np.ndarray:
    """Principal strains (m, 2) averaged over each face's neighbours by area: the map without mesh noise."""
    weight = np.bincount(flat.faces.ravel(), np.repeat(areas, 3), len(flat.points))
    columns = []
    for k in (0, 1):
        total = np.bincount(flat.faces.ravel(), np.repeat(areas * flat.strain[:, k], 3), len(flat.points))
        at_points = total / np.where(weight > 0, weight, 1.0)
        columns.append(at_points[flat.faces].mean(axis=1))
    return np.stack(columns, axis=1)


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


def strain_zones(flat: FlatMesh, limits: tuple[float, float, float] = DIFFICULTY_PERCENT) -> tuple[Zone, ...]:
    """The blank as zones to stretch, to shrink and to leave be, hardest first, then largest.

    Parameters
    ----------
    flat : FlatMesh
        Points (n, 2) mm, faces (m, 3), natural principal strains (m, 2), larger first.
    limits : three floats
        Easy, ordinary and hard in percent.
    """
    import shapely

    areas = _face_areas(flat)
    main = _main(_smoothed(flat, areas))
    true = _main(flat.strain)
    steps = np.array([LEAVE_SHARE, *(limit / 100 for limit in limits)])
    level = (np.abs(main)[:, None] >= steps).sum(axis=1)
    code = np.where(main >= 0, level, -level)
    code = _joined(flat.faces, code, areas)
    corners = flat.points[flat.faces]
    triangles = shapely.polygons(np.concatenate([corners, corners[:, :1]], axis=1))
    found = []
    for group in _groups(flat.faces, code):
        value = int(code[group[0]])
        shape = shapely.union_all(np.asarray(triangles)[group], grid_size=1e-4)
        kind = "leave" if value == 0 else "stretch" if value > 0 else "shrink"
        mean = float((true[group] * areas[group]).sum() / areas[group].sum())
        sided = {"stretch": true[group].max(), "shrink": true[group].min()}
        worst = float(sided.get(kind, true[group][np.argmax(np.abs(true[group]))]))
        found.append(Zone(kind, abs(value), shape, mean, worst, _inside(shape)))
    return tuple(sorted(found, key=lambda z: (-z.level, -round(z.area, 3), z.at)))


def _inside(shape: BaseGeometry) -> tuple[float, float]:
    """A point well inside the shape, where words can stand."""
    from shapely import get_parts, maximum_inscribed_circle

    largest = max(get_parts(shape), key=lambda part: part.area)
    line = maximum_inscribed_circle(largest, tolerance=max(1.0, largest.length / 400))
    x, y = line.coords[0]
    return float(x), float(y)


def _neighbours(faces: np.ndarray) -> np.ndarray:
    """Pairs of faces (k, 2) that share an edge."""
    edges = np.sort(np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]), axis=1)
    owner = np.tile(np.arange(len(faces)), 3)
    order = np.lexsort((edges[:, 1], edges[:, 0]))
    edges, owner = edges[order], owner[order]
    same = np.flatnonzero((edges[1:] == edges[:-1]).all(axis=1))
    return np.stack([owner[same], owner[same + 1]], axis=1)


def _labels(faces: np.ndarray, code: np.ndarray, pairs: np.ndarray) -> np.ndarray:
    """A number for each face (m,), the same for all faces of one connected region of one code."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    alike = pairs[code[pairs[:, 0]] == code[pairs[:, 1]]]
    n = len(faces)
    graph = coo_array((np.ones(len(alike)), (alike[:, 0], alike[:, 1])), shape=(n, n))
    return connected_components(graph, directed=False)[1]


def _groups(faces: np.ndarray, code: np.ndarray) -> list[np.ndarray]:
    """Face numbers of each connected region."""
    label = _labels(faces, code, _neighbours(faces))
    order = np.argsort(label, kind="stable")
    return np.split(order, np.flatnonzero(np.diff(label[order])) + 1)


def _joined(faces: np.ndarray, code: np.ndarray, areas: np.ndarray) -> np.ndarray:
    """Codes with small regions given the code they border most, smallest first, until none is small."""
    code = code.copy()
    pairs = _neighbours(faces)
    small = SMALL_SHARE * areas.sum()
    for _ in range(200):
        label = _labels(faces, code, pairs)
        region = np.bincount(label, areas)
        if len(region) == 1 or region.min() >= small:
            break
        smallest = int(np.argmin(region))
        inside = label == smallest
        across = pairs[inside[pairs[:, 0]] != inside[pairs[:, 1]]]
        outer = np.where(inside[across[:, 0]], across[:, 1], across[:, 0])
        if not len(outer):
            break
        values, counts = np.unique(code[outer], return_counts=True)
        code[inside] = values[np.argmax(counts)]
    return code
