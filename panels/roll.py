"""How a piece that bends one way is rolled: where each bend begins and ends, how tight, how far and which way.

Words used here
    ruling    a line of the piece that stays straight when it is rolled: it lies along the rolls
    place     how far a ruling is along the roll direction, mm on the flat, square to the rulings; where these meet in
              a point (a cone), measured halfway between the piece's wide and narrow edge
    reach     how far a point is along its ruling, mm
    station   a place where the mesh has a vertex
    turn      the angle that the outside has turned by from the first ruling to a place, positive towards the good face
    zone      a run of places with one radius: ``flat``, ``rolled``, or ``bend`` where it is as tight as a fold

``_roll_turn.py`` reads rulings and turn off the mesh, ``_roll_arcs.py`` cuts the turn into arcs, ``_roll_round.py``
knows a piece with one even arc by where its vertices lie, and here these become lines on the blank with the inside
radius of the metal. The turns of the zones add up to the whole turn.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from ._roll_arcs import Cut, cut_into_arcs
from ._roll_round import one_round
from ._roll_turn import Family, Turned, read_turn
from .blank import Roll
from .findings import Finding, Show, in_mm

if TYPE_CHECKING:
    from shapely.geometry import Polygon

    from .blank import Blank
    from .min_radius import MinimumRadius

__all__ = ["mirrored_roll", "roll_zones", "sharp_note", "tight_rolls"]

#: Below this many thicknesses an inside radius is a bend over a bar or on the brake, not a roll.
BEND_THICKNESSES = 3.0
#: A blank longer than its edges by less than this needs no words, mm.
TAKES_MM = 0.2
#: Lines along the very edge of a piece stand this far inside it, mm.
INSIDE_MM = 0.02
#: The metal outside the trim line reaches no further than this, mm.
BEYOND_MM = 100.0


def roll_zones(
    solid: np.ndarray,
    faces: np.ndarray,
    flat: np.ndarray,
    outline: Polygon,
    *,
    thickness: float,
    k_factor: float,
    sharp_radius: float = 0.0,
) -> tuple[Roll, ...]:
    """The zones of a developable piece, in order along it; none where its rulings are of neither kind.

    Parameters
    ----------
    solid : (n, 3) vertices of the neutral surface, mm
    faces : (m, 3) into them, anticlockwise seen from the good face
    flat : (n, 2) the same vertices on the table, good face up
    outline
        The blank: lines end at its edge.
    thickness, k_factor
        mm, and where the neutral surface lies: k_factor * thickness outside the face away from the good one.
    sharp_radius
        Inside radius of corners that the mesh has sharp, mm.
    """
    turned = read_turn(solid, faces, flat)
    if turned is None:
        return ()
    inside = thickness * k_factor, thickness * (1 - k_factor)  # from the inside of the bend to the neutral surface
    cuts = cut_into_arcs(turned.place, turned.turn, (sharp_radius + inside[0], sharp_radius + inside[1]))
    cuts = one_round(solid, faces, flat, turned, cuts) or cuts
    lines = {place: _line(turned, place, outline) for cut in cuts for place in (cut.start, cut.end)}
    return tuple(_told(turned.family, cut, lines[cut.start], lines[cut.end], inside, thickness) for cut in cuts)


def mirrored_roll(roll: Roll, flip: Callable[[np.ndarray], np.ndarray]) -> Roll:
    """The same zone on the blank of the other hand: the good face stays up, so it bends the same way."""
    return replace(roll, start=flip(roll.start), end=flip(roll.end))


def sharp_note(rolls: Iterable[Roll], thickness: float, k_factor: float) -> tuple[str, ...]:
    """A note to a blank that was laid out with its corners sharp, where bending them takes metal that can be measured.

    Carried on to meet sharply the neutral surface is 2 (r + K t) tan(a / 2) long, bent it is (r + K t) a.
    """
    takes = [
        (roll.radius + k_factor * thickness) * (2 * math.tan(math.radians(roll.angle) / 2) - math.radians(roll.angle))
        for roll in rolls
        if roll.sharp
    ]
    if sum(takes) < TAKES_MM:
        return ()
    corners = "its corner is" if len(takes) == 1 else f"its {len(takes)} corners are"
    return (
        f"{corners} laid out sharp: bent as given it comes out {sum(takes):.1f} mm longer than its edges; trim to them",
    )


def tight_rolls(blanks: Iterable[Blank], least: MinimumRadius, *, show: Show = in_mm) -> tuple[Finding, ...]:
    """A look at each piece with a bend tighter than the published minimum for its metal; pairs are told once."""
    found = []
    for blank in blanks:
        tight = [roll for roll in blank.rolls if roll.kind != "flat" and roll.least < least.radius - 0.05]
        if blank.mirrors or not tight:
            continue
        worst = min(tight, key=lambda roll: roll.least)
        found.append(
            Finding(
                "look",
                blank.name,
                f"{blank.name} turns {worst.angle:.0f}° at an inside radius tighter than the published minimum",
                f"inside radius {show(worst.least)}",
                f"{show(least.radius)} or more ({least.source})",
                None,
                "round that corner of the pattern, or a softer temper; bend a strip first and look for cracks",
            )
        )
    return tuple(found)


def _told(
    family: Family, cut: Cut, start: np.ndarray, end: np.ndarray, inside: tuple[float, float], thickness: float
) -> Roll:
    """The zone as a blank has it: lines on the metal, inside radii."""
    up = cut.turn > 0
    mean = math.inf if cut.flat else (cut.end - cut.start) / abs(cut.turn)

    def inner(neutral: float) -> float:
        return max(0.0, neutral - inside[int(up)])

    across = (inner(mean), inner(mean))
    if family.apex is not None and not cut.flat:
        far = np.linalg.norm(np.array([start, end]) - family.apex, axis=2).mean(axis=0) / family.middle
        across = inner(mean * float(far[0])), inner(mean * float(far[1]))
    kind = "flat" if cut.flat else "bend" if inner(mean) < BEND_THICKNESSES * thickness else "rolled"
    along = (inner(cut.radii[0]), inner(cut.radii[1]))
    return Roll(kind, start, end, math.degrees(abs(cut.turn)), up, inner(mean), along, across, cut.miss, cut.sharp)  # type: ignore[arg-type]


def _line(turned: Turned, place: float, outline: Polygon) -> np.ndarray:
    """The ruling at a place, from edge to edge of the blank."""
    from shapely import LineString

    low, high = turned.reach
    least = 0.0 if turned.family.apex is not None else -math.inf
    at = float(np.clip(place, turned.place[0] + INSIDE_MM, turned.place[-1] - INSIDE_MM))
    whole = turned.family.ruling(at, (max(low - BEYOND_MM, least), high + BEYOND_MM))
    on = LineString(whole).intersection(outline)
    if on.is_empty:
        return turned.family.ruling(at, turned.reach)
    points = np.vstack([np.asarray(part.coords) for part in getattr(on, "geoms", [on])])
    order = np.argsort(points @ (whole[1] - whole[0]), kind="stable")
    return np.asarray(points[order[[0, -1]]])
