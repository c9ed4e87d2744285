"""Baffles: plates across the tank that keep the fuel from surging, as flat blanks.

Words used here
    section    the inside of the tank cut across at a place: what the fuel fills there, tunnel left out
    clearance  room left all round between plate and tank, so that it goes in and is not a stop for the skin
    opening    a round bite at a corner: at the top for air, at the bottom for the last of the fuel
    hole       the round hole in each side of the plate

Blanks are drawn as seen from the rear: the tank's right is right, up is up.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import Point, Polygon, box
from shapely.geometry.base import BaseGeometry
from shapely.geometry.polygon import orient

from .blank import Blank, Edge, Mark
from .body import Body
from .cutting_mesh import contour_chains
from .errors import BaffleError
from .findings import Show, in_mm
from .margins import with_holes

__all__ = ["BafflePlan", "baffle_blanks", "section_inside"]

#: A plate with less metal than this across anywhere is left for scrap, mm.
LEAST_WEB_MM = 12.0  # common practice, no source
#: Points of the section this near to its lowest or highest lie at its bottom or top, mm.
LEVEL_MM = 0.5
#: A hole leaves this share of the widest place in its side of the plate as metal round it.
WEB_SHARE = 0.45


@dataclass(frozen=True)
class BafflePlan:
    """How a baffle is made, mm: all common practice, no source."""

    clearance: float = 3.0
    opening: float = 20.0  # radius of the bites at the corners
    hole: float = 40.0  # diameter of the largest hole in each side; 0: none
    halves: bool = False  # two plates that meet at the centre plane instead of one over the tunnel


def section_inside(body: Body, x: float) -> list[Polygon]:
    """What the fuel fills at x, as polygons (out, up) in mm, largest first; empty where x is past the tank."""
    inner = body.inner
    if not inner[:, 0].min() < x < inner[:, 0].max():
        return []
    chains = contour_chains(inner, body.faces, inner[:, 0] - x)
    rings = [Polygon(chain[:, 1:]) for chain in chains if len(chain) > 3]
    whole: BaseGeometry = Polygon()
    for ring in rings:  # a ring inside another is a void
        whole = whole.symmetric_difference(ring if ring.is_valid else ring.buffer(0))
    parts = [p for p in shapely.get_parts(whole) if p.geom_type == "Polygon" and p.area > 1.0]
    return sorted((orient(p) for p in parts), key=lambda p: -p.area)


def _corners(section: Polygon, opening: float) -> list[np.ndarray]:
    """Where air and fuel must pass: the ends of the top, and on each side the ends of the bottom."""
    points = np.array(section.exterior.coords)
    top = points[:, 1] > points[:, 1].max() - LEVEL_MM
    found = _ends(points[top], opening)
    for side in (points[:, 0] > 1e-6, points[:, 0] < -1e-6):
        if side.any():
            found += _ends(points[side & (points[:, 1] < points[side, 1].min() + LEVEL_MM)], opening)
    return found


def _ends(level: np.ndarray, opening: float) -> list[np.ndarray]:
    """The outermost of some points to either side; their middle where one opening takes in both."""
    first, last = level[np.argmin(level[:, 0])], level[np.argmax(level[:, 0])]
    return [(first + last) / 2] if last[0] - first[0] < 1.5 * opening else [first, last]


def _opened(section: Polygon, plan: BafflePlan) -> BaseGeometry:
    """The section less the clearance and the openings; scraps narrower than the least web left out."""
    plate = section.buffer(-plan.clearance, join_style="mitre")
    bites = shapely.union_all([Point(p).buffer(plan.opening, quad_segs=24) for p in _corners(section, plan.opening)])
    opened = plate.difference(bites)
    sound = [p for p in shapely.get_parts(opened) if not p.buffer(-LEAST_WEB_MM / 2).is_empty]
    return shapely.union_all(sound) if sound else Polygon()


def _holed(plate: Polygon, plan: BafflePlan) -> Polygon:
    """The plate with a hole in the widest place of each side of the centre plane."""
    if plan.hole <= 0:
        return plate
    left, low, right, high = plate.bounds
    for half in (box(min(left, 0), low, 0, high), box(0, low, max(right, 0), high)):
        side = max(shapely.get_parts(plate.intersection(half)), key=lambda p: p.area, default=Polygon())
        if side.is_empty or side.geom_type != "Polygon":
            continue
        ray = shapely.maximum_inscribed_circle(side, tolerance=0.2)
        radius = min(plan.hole / 2, (1 - WEB_SHARE) * ray.length)
        if radius > 5.0 and ray.length - radius >= LEAST_WEB_MM / 2:
            circle = Point(ray.coords[0]).buffer(radius, quad_segs=24)
            plate = with_holes(plate, [np.array(circle.exterior.coords)[:-1]])
    return plate


def baffle_blanks(
    body: Body, x: float, plan: BafflePlan, *, name: str = "baffle", show: Show = in_mm
) -> tuple[Blank, ...]:
    """The plate or plates of a baffle at x, mm; ``show`` puts the lengths in notes into words.

    Raises
    ------
    BaffleError
        Where the tank has no section there, or none that leaves a plate.
    """
    sections = section_inside(body, x)
    low, high = (float(v) for v in (body.inner[:, 0].min(), body.inner[:, 0].max()))
    if not sections:
        raise BaffleError(
            f"A baffle at x = {x:.1f} mm does not cross the tank.\n"
            f"  inside of the tank  x {low:.1f} to {high:.1f} mm\n"
            "hint: place it between, about the middle of the fuel",
            x=x,
            allowed=(low, high),
        )
    plates = []
    for section in sections:
        for part in _parted(section) if plan.halves else [section]:
            opened = _opened(part, plan)
            plates += [p for p in shapely.get_parts(opened) if p.area > LEAST_WEB_MM**2]
    if not plates:
        raise BaffleError(
            f"At x = {x:.1f} mm the tank is too small for a baffle: nothing is left of it.\n"
            f"  section    {sum(s.area for s in sections) / 100:.0f} cm2\n"
            f"  taken off  {plan.clearance:.1f} mm all round, openings of {plan.opening:.0f} mm radius\n"
            "hint: place it where the tank is larger, or make the openings smaller",
            x=x,
        )
    whole = sum(s.area for s in sections)
    made = [_holed(plate, plan) for plate in plates]
    open_share = 1 - sum(plate.area for plate in made) / whole
    note = (
        f"stands at x {show(x)}, seen from the rear; {show(plan.clearance)} clear of the tank's inside all round, "
        f"{100 * open_share:.0f} % of the section stays open"
    )
    return tuple(_blank(body, plate, x, label, note) for plate, label in zip(made, _labels(made, name), strict=True))


def _parted(section: Polygon) -> list[Polygon]:
    """A section parted at the centre plane, right half first."""
    left, low, right, high = section.bounds
    halves = [box(0, low - 1, max(right, 1), high + 1), box(min(left, -1), low - 1, 0, high + 1)]
    parts = [p for half in halves for p in shapely.get_parts(section.intersection(half))]
    return [p for p in parts if p.geom_type == "Polygon" and p.area > 1.0]


def _labels(plates: Sequence[Polygon], name: str) -> list[str]:
    """A name for each plate: its side where it lies to one, a number where that is not enough."""
    sides = []
    for plate in plates:
        left, _, right, _ = plate.bounds
        sides.append(f"{name} right" if left >= -1e-6 else f"{name} left" if right <= 1e-6 else name)
    return [s if sides.count(s) == 1 else f"{s} {sides[:k].count(s) + 1}" for k, s in enumerate(sides)]


def _blank(body: Body, plate: Polygon, x: float, name: str, note: str) -> Blank:
    plate = orient(plate)
    left, low, right, high = plate.bounds
    middle = np.array([0.0 if left < 0 < right else (left + right) / 2, (low + high) / 2])

    def laid(points: np.ndarray) -> np.ndarray:
        return points - middle

    marks = []
    if left < 0 < right:
        line = shapely.LineString([(0, low - 1), (0, high + 1)]).intersection(plate)
        marks = [
            Mark("centre", laid(np.array(p.coords)), "CL")
            for p in shapely.get_parts(line)
            if p.geom_type == "LineString"
        ]
    shape = shapely.transform(plate, laid)
    ring = np.array(shape.exterior.coords)
    around = float(shape.exterior.length)
    return Blank(
        name=name,
        hand="right" if name.split()[-1] == "right" or " right " in name else "left" if "left" in name else "centre",
        kind="flat",
        outline=shape,
        net=shape,
        edges=(Edge("", "", "free", 0.0, ring, around, around),),
        folds=(),
        marks=tuple(marks),
        grain_deg=None,
        thickness=body.thickness,
        area_formed=shape.area,
        flat=None,
        notes=(note,),
    )
