"""The watertight body that the patterns describe."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

__all__ = ["Body", "Capacity"]


@dataclass(frozen=True)
class Capacity:
    """What the tank holds and weighs. Litres, mm, kg."""

    brim_l: float  # inner surface less the tunnel
    tolerance_l: float  # plus or minus, from how well paper is read
    ullage_l: float  # left empty for expansion
    below_outlet_l: float  # what the outlets do not reach, both sides together
    usable_l: float
    centre: tuple[float, float, float]  # centre of mass of the fuel when brim full, mm
    dry_mass_kg: float
    litres_per_mm_width: float  # lost for each mm the tunnel is wider at each side
    litres_per_mm_depth: float  # lost for each mm the tunnel is deeper
    shell_area_mm2: float


@dataclass(frozen=True)
class Body:
    """One closed triangle mesh, each face belonging to a named piece.

    ``outer``, ``neutral``, ``inner`` are the same vertices (n, 3) on three surfaces, mm; ``faces`` (m, 3)
    turn anticlockwise seen from outside the fuel; ``piece`` (m,) indexes ``pieces``.
    """

    outer: np.ndarray
    neutral: np.ndarray
    inner: np.ndarray
    faces: np.ndarray
    piece: np.ndarray
    pieces: tuple[str, ...]
    capacity_mm3: float

    @property
    def mesh(self) -> tuple[np.ndarray, np.ndarray]:
        """Outer surface: vertices (n, 3) mm, faces (m, 3)."""
        return self.outer, self.faces
