"""Kerf and lead-ins: only where they are asked for.

Words used here
    kerf      width the cut takes away; left to the machine unless it is asked for here
    lead-in   short cut from the scrap to the outline, so that the pierce mark stays off the part
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..errors import Finding, JobError
from .outline import Path

if TYPE_CHECKING:
    from shapely.geometry import Polygon
    from shapely.geometry.base import BaseGeometry

    from ..work import Work

__all__ = ["NET", "Asked", "asked_of", "kerfed", "with_lead"]


@dataclass(frozen=True)
class Asked:
    """What cutting files shall hold beside the outlines, mm; nothing unless it is asked for."""

    kerf: float = 0.0
    lead_in: float = 0.0

    @property
    def tag(self) -> str:
        """What file names say of it: ``-kerf-1.2-lead-4.0``; nothing for net geometry."""
        kerf = f"-kerf-{self.kerf:.2f}" if self.kerf > 0 else ""
        return kerf + (f"-lead-{self.lead_in:.1f}" if self.lead_in > 0 else "")


NET = Asked()


def asked_of(work: Work) -> Asked:
    """What the job, or its shop, asks for."""
    rules = work.job.shop.cutting
    return Asked(rules.kerf, rules.lead_in)


def kerfed(shape: Polygon, kerf_mm: float, name: str = "a part") -> Polygon:
    """The centre line of the cut: half a kerf outside the outline and inside its holes.

    Raises JobError, a ValueError, where the kerf closes a hole or a slot.
    """
    if kerf_mm <= 0:
        return shape
    grown = shape.buffer(kerf_mm / 2, quad_segs=64)
    if grown.geom_type == "Polygon" and len(grown.interiors) == len(shape.interiors):
        back = grown.buffer(-kerf_mm / 2, quad_segs=64)  # differs by the fillets of inner corners, not by a slot
        if back.boundary.hausdorff_distance(shape.boundary) <= 2 * kerf_mm:
            return grown
    says = f"A kerf of {kerf_mm:.2f} mm closes a hole or a slot of {name}."
    remedy = "a finer cut, or a kerf of 0 for net outlines, kerf set at the machine"
    raise JobError([Finding("stop", says, None, f"{kerf_mm:.2f} mm", "less than its narrowest gap", remedy)])


def with_lead(
    path: Path, shape: Polygon, others: Iterable[Polygon], lead_mm: float, free: BaseGeometry | None = None
) -> Path:
    """The path opened at the middle of a straight edge, or of an arc, with a lead-in square to it.

    The lead lies on ``free``, the sheet's metal that is not kept, where that is given. Where no lead finds room the
    path is left closed.
    """
    from shapely import LineString

    if lead_mm <= 0:
        return path
    others = tuple(others)
    chords = np.roll(path.points, -1, axis=0) - path.points
    rank = sorted(range(len(chords)), key=lambda i: (path.bulges[i] != 0, -round(float(np.hypot(*chords[i])), 6)))
    for i in rank:
        a, b, bulge = path.points[i], path.points[(i + 1) % len(chords)], float(path.bulges[i])
        right = np.array([chords[i][1], -chords[i][0]]) / np.hypot(*chords[i])
        start = (a + b) / 2 + right * bulge * np.hypot(*chords[i]) / 2
        half = math.tan(math.atan(bulge) / 2)
        pierce = start - right * lead_mm  # the part is on the right, the scrap on the left
        lead = LineString([pierce, start - right * 1e-3])
        if (
            (free is not None and not free.covers(lead))
            or lead.intersects(shape)
            or any(lead.distance(other) < lead_mm / 2 for other in others)
        ):
            continue
        points = np.vstack([pierce, start, np.roll(path.points, -(i + 1), axis=0), start])
        bulges = np.concatenate([[0.0, half], np.roll(path.bulges, -(i + 1))[:-1], [half, 0.0]])
        return Path(points, bulges, False)
    return path
