"""Cut a crowned panel into narrow strips that lie flat exactly: the slit pattern a shaper reads.

Words used here
    grid       points on the panel, rows by columns: row i is a section across the panel, column j a line along it
    spine      the column (or row) along which the strips hang together
    strip      the panel between two neighbouring rows (``across``) or columns (``along``), ruled from edge to edge
    joint      the line that two neighbouring strips share on the panel; on the table it is there twice
    gap        distance on the table between the two images of one point of a joint, mm: positive where the strips
               part, negative where they lie over each other

What a gap says. Sheet that fills a gap is metal the panel has no room for: it must be **shrunk** away. Where
strips lie over each other the sheet is short of metal: it must be **stretched**. A slit paper held against the
finished panel shows the reverse, because there the paper has taken the shape: its slits open where metal must be
stretched, and its folds lie where it must be shrunk. ``Joint.gain`` is negative for shrink, positive for stretch,
and saves thinking about it.

Why strips between sections and not geodesics square to a spine: between sections each strip is ruled between two lines
that the maker has as patterns or stations, and the ruled strip is developed exactly, whatever the taper. Laterals that
are true geodesics leave sections slanting on a tapered tank, cross one another beyond the focal distance, and gain
nothing: the gaps add up to the same missing or spare length (notes/decisions/0003-developing-skins.md).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from panels.errors import StripError
from panels.unroll import unroll_strip

__all__ = ["Joint", "SlitPattern", "Strip", "slit_pattern"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Strip:
    """One strip on the table, between grid lines ``first`` and ``first + 1``.

    Its rails (k, 2) mm lie point for point on those two lines: "along" the left rail is ``first``, "across" the
    right one is, because rows are numbered ahead and a strip across is looked at along its columns.
    """

    first: int
    left: Floats
    right: Floats

    @property
    def outline(self) -> Floats:
        """(2 k, 2) anticlockwise, mm."""
        return np.concatenate([self.left[::-1], self.right])

    @property
    def area(self) -> float:
        """mm2."""
        x, y = self.outline.T
        return float(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2


@dataclass(frozen=True, eq=False)
class Joint:
    """The line that strips ``line - 1`` and ``line`` share: a row for strips across, a column for strips along."""

    line: int
    place: Floats  # (k,) length along the joint on the panel, from its first point, mm
    gap: Floats  # (k,) mm, positive where the strips part on the table
    held: int  # where the two strips are joined
    left: Floats  # (k, 2) the joint as the edge of the strip on its left, mm
    right: Floats  # (k, 2) the joint as the edge of the strip on its right

    @property
    def gain(self) -> Floats:
        """(k,) mm that a sheet must gain across the joint: positive stretch, negative shrink."""
        return -self.gap


@dataclass(frozen=True, eq=False)
class SlitPattern:
    """All strips on the table, the joints between them, and what they add up to."""

    run: str
    spine: int
    strips: tuple[Strip, ...]
    joints: tuple[Joint, ...]
    place: Floats  # (k,) mm along the joints, mean of them: from the spine if across, from their middle if along
    twist: float  # mm, most by which a strip's other diagonals differ from the panel: 0 on true rulings

    @property
    def total_gap(self) -> Floats:
        """(k,) mm, gaps less overlaps of all joints at the same place along them: first and last are the edges."""
        return np.sum([joint.gap for joint in self.joints], axis=0) if self.joints else np.zeros(0)

    @property
    def total_gain(self) -> Floats:
        """(k,) mm that a sheet must gain, from strip to strip, at each place: negative is to be shrunk."""
        return -self.total_gap

    @property
    def worst_gap(self) -> float:
        """mm, the widest gap or overlap, signed."""
        every = np.concatenate([joint.gap for joint in self.joints]) if self.joints else np.zeros(1)
        return float(every[np.argmax(np.abs(every))])


def slit_pattern(
    grid: ArrayLike, *, run: Literal["across", "along"] = "across", spine: int | None = None, held: int | None = None
) -> SlitPattern:
    """Strips of a panel laid on the table, hung together at a spine.

    "across": strips between sections, all joined where they cross the spine column; slits run from the spine to
    both edges, as on a slit card. "along": strips along the panel, laid outwards from the spine column, each joined to
    its inner neighbour at the one place that keeps the widest gap smallest.

    Parameters
    ----------
    grid : array_like, shape (rows, columns, 3)
        Points on the panel, mm, rows and columns >= 2. Seen from outside with row numbers growing ahead, column numbers
        grow to the right; then the strips are seen from outside too.
    run : {"across", "along"}
    spine : int, optional
        Column of the spine; without it the middle one. For "along" the strip right of it is laid first.
    held : int, optional
        For "along": row at which all strips are joined. Without it each joint finds its own best place.

    Returns
    -------
    SlitPattern
        The spine runs along y on the table, rows ahead, columns to the right: seen from outside.

    Raises
    ------
    StripError
        A grid of the wrong shape, a coordinate that is not a number, a spine outside the grid, a row or column that
        doubles back on itself so that a strip has no width inside.

    Notes
    -----
    On a surface of revolution with its spine on the equator the gaps at distance s from it add up to the equator's
    length less the parallel's (closed form, tested on sphere, torus and saddle).
    """
    points = _checked(grid)
    rows, columns = points.shape[:2]
    spine = (columns - 1) // 2 if spine is None else int(spine)
    if not 0 <= spine < columns:
        raise StripError(f"The spine is column {spine}, the grid has columns 0 to {columns - 1}.", spine=spine)
    if held is not None and not 0 <= held < rows:
        raise StripError(f"Strips are to be held at row {held}, the grid has rows 0 to {rows - 1}.", held=held)
    if run == "across":
        # Looking along a strip, that is along growing columns, the later row is on the left.
        return _across(points[::-1], spine)
    if run == "along":
        return _along(points.transpose(1, 0, 2), spine, held)
    raise StripError(f"There is no run {run!r}; choose one of across, along.", run=run)


def _checked(grid: ArrayLike) -> Floats:
    points = np.asarray(grid, dtype=float)
    if points.ndim != 3 or points.shape[2] != 3 or min(points.shape[:2]) < 2:
        raise StripError(f"The grid has shape {points.shape}, not rows by columns by x, y, z, two of each at least.")
    bad = np.argwhere(~np.isfinite(points).all(axis=2))
    if len(bad):
        row, column = (int(k) for k in bad[0])
        raise StripError(f"The grid's point in row {row}, column {column} is not a number.", row=row, column=column)
    return points


def _across(lines: Floats, spine: int) -> SlitPattern:
    flats, twist = _unrolled(lines)
    count = len(flats)
    laid = _chained(flats, (count - 1) // 2, lambda fixed, free: spine)
    # Laid with the strips running along y; a quarter turn puts the columns along x and the rows along y.
    laid = [(_quarter(a), _quarter(b)) for a, b in laid]
    strips = tuple(Strip(count - 1 - k, a, b) for k, (a, b) in enumerate(laid))[::-1]
    joints = tuple(_joint(count - 1 - k, lines[k + 1], laid[k][1], laid[k + 1][0], spine) for k in range(count - 1))[
        ::-1
    ]
    return _pattern("across", spine, strips, joints, lines, twist, spine)


def _along(lines: Floats, spine: int, held: int | None) -> SlitPattern:
    flats, twist = _unrolled(lines)
    start = min(spine, len(flats) - 1)
    laid = _chained(flats, start, lambda fixed, free: _best_place(fixed, free) if held is None else held)
    strips = tuple(Strip(k, a, b) for k, (a, b) in enumerate(laid))
    joints = []
    for k in range(len(flats) - 1):
        a, b = laid[k][1], laid[k + 1][0]
        apart = np.linalg.norm(b - a, axis=1)
        joints.append(_joint(k + 1, lines[k + 1], a, b, int(np.argmin(apart)) if held is None else held))
    return _pattern("along", spine, strips, tuple(joints), lines, twist, None)


def _unrolled(lines: Floats) -> tuple[list[tuple[Floats, Floats]], float]:
    """Every strip laid flat on its own, and the most by which a diagonal that was not held differs."""
    flats, twist = [], 0.0
    for left, right in pairwise(lines):
        a, b = unroll_strip(left, right)
        solid = np.linalg.norm(right[1:] - left[:-1], axis=1)
        twist = max(twist, float(np.abs(np.linalg.norm(b[1:] - a[:-1], axis=1) - solid).max()))
        flats.append((a, b))
    return flats, twist


def _chained(
    flats: list[tuple[Floats, Floats]], start: int, place: Callable[[Floats, Floats], int]
) -> list[tuple[Floats, Floats]]:
    """Strips laid beside one another from ``start`` outwards, that one about the origin and ahead along y."""
    laid = list(flats)
    a, b = flats[start]
    at = place(a, a)
    middle = (a + b) / 2
    move = _onto(middle, at, np.zeros(2), np.array([0.0, 1.0]))
    laid[start] = (move(a), move(b))
    for k in range(start + 1, len(flats)):
        laid[k] = _beside(laid[k - 1][1], flats[k], 0, place)
    for k in range(start - 1, -1, -1):
        laid[k] = _beside(laid[k + 1][0], flats[k], 1, place)
    return laid


def _beside(
    fixed: Floats, strip: tuple[Floats, Floats], rail: int, place: Callable[[Floats, Floats], int]
) -> tuple[Floats, Floats]:
    at = place(fixed, strip[rail])
    move = _onto(strip[rail], at, fixed[at], _heading(fixed)[at])
    return move(strip[0]), move(strip[1])


def _onto(rail: Floats, at: int, point: Floats, heading: Floats) -> Callable[[Floats], Floats]:
    """The motion that brings a rail's point onto a point and its heading there onto a heading."""
    h = _heading(rail)[at]
    c, s = h @ heading, h[0] * heading[1] - h[1] * heading[0]
    turn = np.array([[c, s], [-s, c]])
    return lambda points: (points - rail[at]) @ turn + point


def _heading(rail: Floats) -> Floats:
    """(k, 2) unit direction of a rail at each of its points, halfway between the sides that meet there."""
    side = np.diff(rail, axis=0)
    length = np.linalg.norm(side, axis=1)
    side = side / np.where(length > 0, length, 1.0)[:, None]
    both = np.concatenate([side[:1], side[:-1] + side[1:], side[-1:]])
    size = np.linalg.norm(both, axis=1)
    lost = np.flatnonzero(size < 1e-9)
    if lost.size:
        raise StripError(
            f"A line of the grid doubles back on itself, or stands still, at its point {lost[0]}.\n\n"
            "hint: give every line of the grid points that move on.",
            point=int(lost[0]),
        )
    return both / size[:, None]


def _best_place(fixed: Floats, free: Floats) -> int:
    """Point at which joining two rails leaves the widest gap smallest; the middle one where that is no matter."""
    h, g = _heading(fixed), _heading(free)
    c, s = np.einsum("ij,ij->i", g, h), g[:, 0] * h[:, 1] - g[:, 1] * h[:, 0]
    x, y = free[None, :, 0] - free[:, 0, None], free[None, :, 1] - free[:, 1, None]
    dx = c[:, None] * x - s[:, None] * y - (fixed[None, :, 0] - fixed[:, 0, None])
    dy = s[:, None] * x + c[:, None] * y - (fixed[None, :, 1] - fixed[:, 1, None])
    worst = np.hypot(dx, dy).max(axis=1)
    close = np.flatnonzero(worst <= worst.min() * (1 + 1e-9) + 1e-9 * np.ptp(fixed, axis=0).max())
    return int(close[np.argmin(np.abs(close - (len(fixed) - 1) / 2))])


def _joint(line: int, solid: Floats, left: Floats, right: Floats, held: int) -> Joint:
    place = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(solid, axis=0), axis=1))])
    apart, ahead = right - left, _heading(left)
    side = np.where(apart[:, 0] * ahead[:, 1] - apart[:, 1] * ahead[:, 0] >= 0, 1.0, -1.0)
    return Joint(line, place, side * np.linalg.norm(apart, axis=1), held, left, right)


def _pattern(
    run: str,
    spine: int,
    strips: tuple[Strip, ...],
    joints: tuple[Joint, ...],
    lines: Floats,
    twist: float,
    origin: int | None,
) -> SlitPattern:
    steps = np.linalg.norm(np.diff(lines, axis=1), axis=2)
    place = np.concatenate([np.zeros((len(lines), 1)), np.cumsum(steps, axis=1)], axis=1)
    zero = place[:, -1] / 2 if origin is None else place[:, origin]
    return SlitPattern(run, spine, strips, joints, (place - zero[:, None]).mean(axis=0), twist)


def _quarter(points: Floats) -> Floats:
    return np.column_stack([points[:, 1], -points[:, 0]])
