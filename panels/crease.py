"""The style line as a bend: how far the skin turns there, and what its bend allowance takes off the blank.

Words used here
    crease    the widest line where the crown leans in to meet the side at an angle: a bend in a skin that runs over it
    turn      the angle that the outside turns by across the crease
    sharp     the neutral surface as the body has it: both sides carried on until they meet
    bent      the same bend with an inside radius, its neutral line at K

Across a bend of angle a the metal is as long as (r + K t) a, handbooks' bend allowance. Carried on to meet sharply, the
neutral surfaces of both sides (at K_s) are 2 (r + K_s t) tan(a / 2) long between the same tangent points. The sharp
surface is therefore too long by

    2 (r + K_s t) tan(a / 2) - (r + K t) a,

some 0.01 mm at 15 degrees with a usual radius, 0.4 mm at 60, 1.6 mm at 90. Before the skin is laid flat the line of the
crease is moved inwards along the bisector until its two sides have lost just that.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .assemble import WIDEST
from .body import Body
from .cutting_mesh import area_vectors
from .edges import shared_edges
from .findings import Show, in_mm
from .surface import HalfSurface

__all__ = ["CREASE_DEG", "Crease", "crease_turns", "eased"]

#: Turn at the widest line from which it is a style line; below, a bend saves less than 0.01 mm and a drawn section or a
#: knee relief may turn as much. Tuned by eye.
CREASE_DEG = 10.0
#: What a bend takes off the blank is told from this on, mm: less is lost in the rounding of lengths.
TOLD_MM = 0.05
#: Half width, mm, below which the nose closes and its sections turn anyhow.
NOSE_MM = 5.0


@dataclass(frozen=True)
class Crease:
    """The bend of one skin along its style line."""

    turn_deg: tuple[float, float]  # least and most along it
    radius: float  # inside, mm
    k_factor: float
    takes: float  # mm that its allowance takes off the blank across the bend, at most

    def words(self, show: Show = in_mm) -> str:
        """One sentence for the blank; ``show`` puts lengths into words."""
        low, high = (f"{turn:.0f}" for turn in self.turn_deg)
        turn = low if low == high else f"{low} to {high}"
        takes = f"{show(self.takes)} shorter" if self.takes >= TOLD_MM else f"shorter by less than {show(2 * TOLD_MM)}"
        return (
            f"the widest line is a bend of {turn}°, inside radius {show(self.radius)}, K {self.k_factor:.3f}: "
            f"its allowance is in the blank, which is {takes} across it than a sharp crease"
        )


def crease_turns(half: HalfSurface) -> tuple[np.ndarray, np.ndarray]:
    """x (nu,) mm and turn (nu,) radians of the outside at the widest line of every station, 0 where it is an edge.

    Each side's direction there is taken to second order from the two columns beside it, so that the roundness of
    crown and side does not count as turn.
    """
    k, grid = half.widest, half.grid
    if k < 2 or k > grid.shape[1] - 3:
        return grid[:, k, 0], np.zeros(len(grid))
    down, up = _direction(grid, k, -1), _direction(grid, k, 1)
    turn = np.arccos(np.clip(-np.einsum("ij,ij->i", down, up), -1.0, 1.0))
    return grid[:, k, 0], np.where(grid[:, k, 1] < NOSE_MM, 0.0, turn)


def _direction(grid: np.ndarray, k: int, way: int) -> np.ndarray:
    """Unit direction of every section at column k towards the columns k + way and k + 2 way, to second order."""
    near, far = grid[:, k + way] - grid[:, k], grid[:, k + 2 * way] - grid[:, k]
    one = np.maximum(np.linalg.norm(near, axis=1), 1e-12)[:, None]
    two = np.maximum(np.linalg.norm(far, axis=1), 1e-12)[:, None]
    t = near * two / one - far * one / two
    return t / np.maximum(np.linalg.norm(t, axis=1), 1e-300)[:, None]


def eased(
    body: Body, used: np.ndarray, faces: np.ndarray, *, radius: float, k_factor: float
) -> tuple[np.ndarray, Crease | None]:
    """Neutral points (n, 3) of one skin with its crease as long as the bend; and that bend, None where it has none.

    Parameters
    ----------
    used : (n,) vertex numbers in the body
    faces : (m, 3) into ``used``
    radius, k_factor
        Inside radius of the bend, mm, and where its neutral line lies.
    """
    points = body.neutral[used]
    widest = (body.shell.flags[used] & WIDEST) > 0
    edges, sides = shared_edges(faces)
    along = widest[edges].all(axis=1)
    edges, sides = edges[along], sides[along]
    on = np.zeros(len(used), dtype=bool)
    on[edges] = True
    x, turns = crease_turns(body.surface)
    order = np.argsort(x, kind="stable")
    turn = np.where(on, np.interp(body.outer[used, 0], x[order], turns[order]), 0.0)
    if not (turn > np.radians(CREASE_DEG)).any():
        return points, None
    t = body.thickness
    short = 2 * (radius + body.k_factor * t) * np.tan(turn / 2) - (radius + k_factor * t) * turn
    # The bisector from the two triangles at each edge of the crease: a vertex's own normal leans to the larger side.
    face = area_vectors(points, faces)
    size = np.maximum(np.linalg.norm(face, axis=1), 1e-300)
    face, step = face / size[:, None], np.linalg.norm(points[edges[:, 0]] - points[edges[:, 1]], axis=1)
    height = 2 * size[sides] / np.maximum(step, 1e-12)[:, None]  # how far the triangles on either side reach
    normal, reach, count = np.zeros_like(points), np.zeros(len(points)), np.zeros(len(points))
    for end in (0, 1):
        np.add.at(normal, edges[:, end], face[sides].sum(axis=1))
        np.add.at(reach, edges[:, end], (1 / np.maximum(height, 1e-12)).mean(axis=1))
        np.add.at(count, edges[:, end], 1.0)
    normal /= np.maximum(np.linalg.norm(normal, axis=1), 1e-300)[:, None]
    reach = count / np.maximum(reach, 1e-12)
    # Sides c long, moved by d along the bisector, shall be c - short / 2 long:
    # d^2 - 2 c d sin(turn / 2) + c short = short^2 / 4.
    lean = reach * np.sin(turn / 2)
    inwards = lean - np.sqrt(np.maximum(lean**2 - reach * short + short**2 / 4, 0.0))
    bent = turn > np.radians(CREASE_DEG)
    span = np.degrees(turn[bent])
    crease = Crease((float(span.min()), float(span.max())), radius, k_factor, float(short[bent].max()))
    return points - np.where(bent, inwards, 0.0)[:, None] * normal, crease
