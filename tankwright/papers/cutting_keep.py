"""A sheet's kept offcuts in its cutting file: their names, and of their edges what has to be cut.

Words used here
    free edge    the part of an offcut's outline that does not lie on the sheet's own edge
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from .cutting_items import Line, Words
from .outline import fit_line

if TYPE_CHECKING:
    from shapely.geometry import Polygon

    from nesting import Layout

__all__ = ["free_edges", "kept_lines", "kept_names"]

ON_EDGE_MM = 0.02  # an edge this near to the sheet's lies on it


def kept_names(layout: Layout, index: int) -> list[Words]:
    """The name of every kept offcut, where it has most room."""
    from shapely import maximum_inscribed_circle

    named = []
    for number, offcut in enumerate(layout.offcuts, 1):
        if offcut.sheet == index:
            circle: Any = maximum_inscribed_circle(offcut.outline, tolerance=2.0)
            x, y = circle.coords[0]
            named.append(Words("text", f"KEEP K{number}", (x, y), min(20.0, float(circle.length) / 4), middle=True))
    return named


def kept_lines(layout: Layout, index: int) -> list[Line]:
    """What is cut to free the kept offcuts of a sheet, as open lines: a torch has no business on the sheet's edge.

    An edge that two of them share is there once.
    """
    from shapely import LineString

    metal = layout.sheets[index].sheet.metal
    lines: list[Line] = []
    done: Any = None
    for offcut in layout.offcuts:
        if offcut.sheet != index:
            continue
        for run in free_edges(offcut.outline, metal, done):
            lines.append(Line("offcut", fit_line(run)))
            strip = LineString(run).buffer(ON_EDGE_MM, cap_style="flat")
            done = strip if done is None else done.union(strip)
    return lines


def free_edges(outline: Polygon, metal: Polygon, done: Any = None) -> list[np.ndarray]:
    """Runs (n, 2) of an outline that lie inside the metal of a sheet and not in ``done``, out to the sheet's edge."""
    from shapely import shortest_line
    from shapely.ops import linemerge

    edge = metal.boundary
    rest: Any = outline.exterior.difference(edge.buffer(ON_EDGE_MM))
    rest = rest if done is None else rest.difference(done)
    rest = linemerge(rest) if rest.geom_type == "MultiLineString" else rest
    runs = []
    for part in getattr(rest, "geoms", [rest]):
        if part.geom_type not in ("LineString", "LinearRing") or part.length <= 10 * ON_EDGE_MM:
            continue
        points = np.array(part.coords)
        for k in (0, -1):  # the last hair to the edge
            if not part.is_ring:
                hair: Any = shortest_line(_point(points[k]), edge)
                if hair.length < 2 * ON_EDGE_MM:
                    points[k] = hair.coords[-1]
        runs.append(points)
    runs.sort(key=lambda run: tuple(run.min(axis=0).round(3).tolist()))
    return runs


def _point(at: np.ndarray) -> Any:
    from shapely import Point

    return Point(*at)
