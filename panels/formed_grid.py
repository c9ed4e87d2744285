"""A square grid on a flat and what it becomes on the formed panel.

A blank of the right outline with its interior moved wrongly can take three times the strain; a scribed grid
shows it while there is time: each line has a length to come to and a place on the tank.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from panels.blank import FlatMesh
from panels.errors import DevelopError

__all__ = ["GridLine", "grid_lines"]

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

SHORTEST_MM = 5.0  # what only clips a corner is no line to scribe


@dataclass(frozen=True, eq=False)
class GridLine:
    """One straight line to scribe on the blank, and the curve it becomes on the panel."""

    axis: str  # "x" or "y": which coordinate is constant on the blank
    at: float  # mm
    flat: Floats  # (k, 2) mm
    formed: Floats  # (k, 3) mm, the same points on the formed panel

    @property
    def length_flat(self) -> float:
        """mm on the blank."""
        return _length(self.flat)

    @property
    def length_formed(self) -> float:
        """mm along the finished panel."""
        return _length(self.formed)

    def places(self, pitch: float, start: float) -> Floats:
        """(j, 3) mm on the tank: both ends, and where it meets the lines across it, at start + whole pitches."""
        along = self.flat[:, "yx".index(self.axis)]
        low, high = along[0], along[-1]
        crossed = start + pitch * np.arange(np.ceil((low - start) / pitch), np.floor((high - start) / pitch) + 1)
        wanted = np.concatenate([[low], crossed[(crossed > low) & (crossed < high)], [high]])
        return np.column_stack([np.interp(wanted, along, column) for column in self.formed.T])


def _length(points: Floats) -> float:
    return float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())


def grid_lines(flat: FlatMesh, *, pitch: float, origin: tuple[float, float] = (0.0, 0.0)) -> tuple[GridLine, ...]:
    """Square grid on a blank and its image on the formed panel.

    Lines lie at whole multiples of ``pitch`` from ``origin``, mm, and end at the net outline; a line that leaves the
    blank and comes back is several, and what is shorter than 5 mm is none.

    Raises
    ------
    DevelopError
        A pitch of 0 or less, or a flat that does not know its formed panel.
    """
    if not (np.isfinite(pitch) and pitch > 0):
        raise DevelopError(f"The pitch of a grid is {pitch} mm, it must be above 0.", pitch=pitch)
    if flat.formed is None:
        raise DevelopError("This flat does not say where its points are on the formed panel.")
    lines = []
    for axis in (0, 1):
        value = flat.points[:, axis] - origin[axis]
        low, high = value[flat.faces].min(axis=1), value[flat.faces].max(axis=1)
        for k in range(int(np.ceil(low.min() / pitch)), int(np.floor(high.max() / pitch)) + 1):
            crossed = np.flatnonzero((low <= k * pitch) & (high > k * pitch))
            at, off = origin[axis] + k * pitch, value - k * pitch
            lines += _grid_line(flat, flat.formed, axis, at, off, flat.faces[crossed])
    return tuple(line for line in lines if line.length_flat >= SHORTEST_MM)


def _grid_line(flat: FlatMesh, solid: Floats, axis: int, at: float, off: Floats, faces: Ints) -> list[GridLine]:
    """Where the line x = at or y = at meets those triangles, in order, parted where it leaves the blank.

    ``off`` (n,) is how far every point lies beyond it.
    """
    above = off[faces] > 0
    lone = np.argmax(above == (above.sum(axis=1) == 1)[:, None], axis=1)
    rows = np.arange(len(faces))
    a, b, c = (faces[rows, (lone + k) % 3] for k in range(3))
    ends = [(np.minimum(a, other), np.maximum(a, other)) for other in (b, c)]
    share = [(off[i] / (off[i] - off[j]))[:, None] for i, j in ends]
    on, up = (
        np.stack([p[i] + s * (p[j] - p[i]) for (i, j), s in zip(ends, share, strict=True)], axis=1)
        for p in (flat.points, solid)
    )
    along = 1 - axis
    swap = on[:, 0, along] > on[:, 1, along]
    on[swap], up[swap] = on[swap][:, ::-1], up[swap][:, ::-1]
    order = np.argsort(on[:, 0, along], kind="stable")
    on, up = on[order], up[order]
    parted = np.flatnonzero(on[1:, 0, along] > on[:-1, 1, along] + 1e-9) + 1
    return [
        GridLine("xy"[axis], at, *(np.concatenate([p[run, 0], p[run[-1:], 1]]) for p in (on, up)))
        for run in np.split(rows, parted)
        if len(run)
    ]
