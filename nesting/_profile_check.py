"""Check a nest against its own rules with plain geometry, by another road than the one it was made on."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import shapely
from shapely import affinity
from shapely.geometry import Polygon

from .model import Sheet

if TYPE_CHECKING:
    from ._profile_search import Nest, Problem

__all__ = ["TOLERANCE", "faults", "faults_on_sheet"]

TOLERANCE = 1e-6  # mm


def faults(problem: Problem, nest: Nest) -> list[str]:
    """What is wrong with a nest, in words; empty when nothing is."""
    found = []
    for number, kind in enumerate(nest.kinds):
        here = [s for s in nest.spots if s is not None and s.sheet == number]
        outlines = [affinity.translate(s.variant.outline, s.x, s.y) for s in here]
        found += faults_on_sheet(outlines, problem.stock.sheets[kind], gap=problem.gap, edge=problem.edge)
    return found


def faults_on_sheet(outlines: Sequence[Polygon], sheet: Sheet, *, gap: float, edge: float) -> list[str]:
    """Overlaps, gaps too small and edges too near among outlines in sheet coordinates, mm."""
    found = []
    metal = sheet.metal
    rim = metal.boundary
    for i, outline in enumerate(outlines):
        outside = outline.difference(metal).area
        if outside > TOLERANCE * outline.length:
            found.append(f"outline {i} lies {outside:.6f} mm2 outside the sheet")
        if edge > 0 and outline.distance(rim) < edge - TOLERANCE:
            found.append(f"outline {i} is {outline.distance(rim):.6f} mm from the sheet's edge, not {edge}")
        found += [
            f"outline {i} is {outline.distance(shape):.6f} mm from a blocked place, not {edge}"
            for shape in sheet.blocked
            if _too_near(outline, shape, edge)
        ]
    if len(outlines) > 1:
        tree = shapely.STRtree(outlines)
        for i, k in tree.query(outlines, predicate="dwithin", distance=max(gap, TOLERANCE)).T:
            if i < k and _too_near(outlines[i], outlines[k], gap):
                found.append(f"outlines {i} and {k} are {outlines[i].distance(outlines[k]):.6f} mm apart, not {gap}")
    return found


def _too_near(one: Polygon, two: Polygon, gap: float) -> bool:
    if gap > TOLERANCE:
        return bool(one.distance(two) < gap - TOLERANCE)
    return bool(one.intersection(two).area > TOLERANCE * min(one.length, two.length))
