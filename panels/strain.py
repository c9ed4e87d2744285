"""What a development asks of the shaper: edges to gain or lose, zones and how hard they are, grids, contours.

Words used here
    gain       length on the finished panel less length on the blank, mm: positive stretch, negative shrink
    share      gain over length on the blank, a plain fraction: 0.02 is 2 %
    hard       easy, ordinary, hard, split: a label for the work, never a promise that the metal will take it
    contour    closed shape on the blank inside which the strain is at least a level
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from panels.develop import Development
from panels.errors import DevelopError

__all__ = [
    "DIFFICULTY",
    "EdgeLength",
    "GridLine",
    "edge_lengths",
    "grid_lines",
    "how_hard",
    "strain_contours",
    "vertex_strain",
]

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

#: Change of length up to which the work is easy, ordinary, hard; beyond, split the panel. Common practice of hand
#: shops, no published table found: labels of difficulty, not limits of the metal.
DIFFICULTY = (0.03, 0.08, 0.15)
WORDS = ("easy", "ordinary", "hard", "split")
CORNER_DEG = 30.0  # turn of the outline taken for a corner; tuned by eye, smaller splits a tight radius in two


def how_hard(strain: float, limits: Sequence[float] = DIFFICULTY) -> str:
    """Plain word for a natural strain, by its change of length.

    Examples
    --------
    >>> [how_hard(e) for e in (0.02, -0.05, 0.12, -0.2)]
    ['easy', 'ordinary', 'hard', 'split']
    """
    if len(limits) != 3 or not 0 < limits[0] < limits[1] < limits[2]:
        raise DevelopError(f"Limits of difficulty are {list(limits)}, not three growing fractions above 0.")
    share = abs(np.expm1(strain))
    return WORDS[int(np.searchsorted(limits, share - 1e-12))]


@dataclass(frozen=True, eq=False)
class EdgeLength:
    """One run of the outline: what it measures on the finished panel and on the blank, mm."""

    vertices: Ints  # (k,) in order, anticlockwise round the outer edge, clockwise round a hole
    loop: int  # 0 for the outer edge, then the holes
    length_surface: float
    length_blank: float

    @property
    def gain(self) -> float:
        """mm to gain by stretching; negative: to lose by shrinking."""
        return self.length_surface - self.length_blank

    @property
    def share(self) -> float:
        """Gain as a fraction of the length on the blank."""
        return self.gain / self.length_blank

    def hard(self, limits: Sequence[float] = DIFFICULTY) -> str:
        """Plain word for the work along this edge as a whole."""
        return how_hard(float(np.log1p(self.share)), limits)


def edge_lengths(
    skin: Development, vertices: ArrayLike, *, corners: Sequence[int] | None = None, corner_deg: float = CORNER_DEG
) -> tuple[EdgeLength, ...]:
    """The outline run by run, from corner to corner.

    Parameters
    ----------
    skin : Development
    vertices : array_like, shape (n, 3)
        The panel that was developed, mm.
    corners : sequence of int, optional
        Vertex numbers at which a run ends. Without it, wherever the outline on the blank turns by more than
        ``corner_deg``. A loop without corners is one run, closed.
    """
    solid = np.asarray(vertices, dtype=float)
    runs = []
    for number, loop in enumerate(skin.loops):
        marked = _turns(skin.points[loop]) > corner_deg if corners is None else np.isin(loop, list(corners))
        at = np.flatnonzero(marked)
        if not at.size:
            at = np.array([0])
        for start, end in zip(at, np.append(at[1:], at[0] + len(loop)), strict=True):
            chain = loop[np.arange(start, end + 1) % len(loop)]
            runs.append(EdgeLength(chain, number, _length(solid[chain]), _length(skin.points[chain])))
    return tuple(runs)


def _length(points: Floats) -> float:
    return float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())


def _turns(points: Floats) -> Floats:
    """Degrees that a closed polygon turns at each of its points, either way."""
    after = np.roll(points, -1, axis=0) - points
    before = np.roll(after, 1, axis=0)
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    return np.abs(np.degrees(np.arctan2(cross, (before * after).sum(axis=1))))


def vertex_strain(skin: Development) -> Floats:
    """(n, 2) largest and smallest strain at every vertex: means over its triangles, by their area on the blank."""
    p = skin.points[skin.faces]
    u, v = p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]
    area = np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])
    at, n = skin.faces.ravel(), len(skin.points)
    share = np.bincount(at, np.repeat(area, 3), n)
    return np.column_stack([np.bincount(at, np.repeat(area * column, 3), n) / share for column in skin.strain.T])


def strain_contours(skin: Development, levels: Sequence[float]) -> tuple[tuple[float, Any], ...]:
    """Closed shapes on the blank for templates: where the metal is strained at least so much.

    A level above 0 gives where the largest strain is that much or more (stretch), below 0 where the smallest is that
    much or less (shrink). Each comes with its level as a shapely polygon or multipolygon, empty where nothing is.
    """
    value = vertex_strain(skin)
    return tuple((float(level), _beyond(skin, value, float(level))) for level in levels)


def _beyond(skin: Development, value: Floats, level: float) -> Any:
    import shapely

    if level == 0 or not np.isfinite(level):
        raise DevelopError(f"A contour level is {level}; take a strain above or below 0.", level=level)
    over = (value[:, 0] - level if level > 0 else level - value[:, 1])[skin.faces]
    over = np.where(over == 0, 1e-15, over)  # a level that runs exactly through a vertex
    inside = over > 0
    count = inside.sum(axis=1)
    pieces = [shapely.polygons(skin.points[skin.faces[count == 3]])]
    for wanted in (1, 2):
        rows = np.flatnonzero(count == wanted)
        lone = np.argmax(inside[rows] == (wanted == 1), axis=1)
        a, b, c = (skin.faces[rows, (lone + k) % 3] for k in range(3))
        p, q = _crossing(skin, value, level, a, b), _crossing(skin, value, level, a, c)
        ends = (skin.points[a], p, q) if wanted == 1 else (p, skin.points[b], skin.points[c], q)
        pieces.append(shapely.polygons(np.stack(ends, axis=1)))
    every = np.concatenate([np.atleast_1d(piece) for piece in pieces])
    # Cut points of neighbours come from the same two vertices in the same order, so the pieces fit without a gap.
    return shapely.coverage_union_all(every) if len(every) else shapely.MultiPolygon()


def _crossing(skin: Development, value: Floats, level: float, a: Ints, b: Ints) -> Floats:
    low, high = np.minimum(a, b), np.maximum(a, b)
    column = 0 if level > 0 else 1
    t = (level - value[low, column]) / (value[high, column] - value[low, column])
    return skin.points[low] + t[:, None] * (skin.points[high] - skin.points[low])


@dataclass(frozen=True, eq=False)
class GridLine:
    """One straight line to scribe on the blank, and the curve it becomes on the panel."""

    axis: str  # "x" or "y": which coordinate is constant on the blank
    at: float  # mm
    flat: Floats  # (k, 2) mm
    surface: Floats  # (k, 3) mm


def grid_lines(skin: Development, vertices: ArrayLike, *, pitch: float) -> tuple[GridLine, ...]:
    """Square grid on the blank and its image on the panel: interior marks tell as much as the outline does.

    A blank of the right outline with its interior moved wrongly can take three times the strain; a scribed grid
    shows it while there is time. Lines lie at whole multiples of ``pitch``, mm, and end at the outline; a line that
    leaves the blank and comes back is several.
    """
    if not (np.isfinite(pitch) and pitch > 0):
        raise DevelopError(f"The pitch of a grid is {pitch} mm, it must be above 0.", pitch=pitch)
    solid = np.asarray(vertices, dtype=float)
    lines = []
    for axis in (0, 1):
        low, high = skin.points[:, axis].min(), skin.points[:, axis].max()
        for k in range(int(np.ceil(low / pitch)), int(np.floor(high / pitch)) + 1):
            lines += _grid_line(skin, solid, axis, k * pitch)
    return tuple(lines)


def _grid_line(skin: Development, solid: Floats, axis: int, at: float) -> list[GridLine]:
    """Where the line x = at or y = at meets the sides of the triangles, in order, parted where it leaves the blank."""
    off = skin.points[:, axis] - at
    off = np.where(off == 0, 1e-12, off)
    rows = np.flatnonzero((off[skin.faces].min(axis=1) < 0) & (off[skin.faces].max(axis=1) > 0))
    sign = off[skin.faces[rows]] > 0
    lone = np.argmax(sign == (sign.sum(axis=1) == 1)[:, None], axis=1)
    a, b, c = (skin.faces[rows, (lone + k) % 3] for k in range(3))
    ends = [(np.minimum(a, other), np.maximum(a, other)) for other in (b, c)]
    t = [off[i] / (off[i] - off[j]) for i, j in ends]
    flat = np.stack(
        [skin.points[i] + s[:, None] * (skin.points[j] - skin.points[i]) for (i, j), s in zip(ends, t, strict=True)], 1
    )
    surface = np.stack([solid[i] + s[:, None] * (solid[j] - solid[i]) for (i, j), s in zip(ends, t, strict=True)], 1)
    along = 1 - axis
    swap = flat[:, 0, along] > flat[:, 1, along]
    flat[swap], surface[swap] = flat[swap][:, ::-1], surface[swap][:, ::-1]
    order = np.argsort(flat[:, 0, along], kind="stable")
    flat, surface = flat[order], surface[order]
    parted = np.flatnonzero(flat[1:, 0, along] > flat[:-1, 1, along] + 1e-9) + 1
    pieces = []
    for piece in np.split(np.arange(len(rows)), parted):
        if len(piece):
            on_blank = np.concatenate([flat[piece, 0], flat[piece[-1:], 1]])
            pieces.append(
                GridLine("xy"[axis], at, on_blank, np.concatenate([surface[piece, 0], surface[piece[-1:], 1]]))
            )
    return pieces
