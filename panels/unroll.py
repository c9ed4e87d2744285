"""Lay a ruled strip flat, exactly.

Words used here
    rail      one long edge of a strip, a row of points on the surface
    ruling    the straight line across a strip, from a point of one rail to its partner on the other
    step      the piece between one ruling and the next
    flat      a point on the table: (x, y) in mm, y along the strip

Each step is two triangles, and triangles are laid by their side lengths, so nothing is approximated
but the rails themselves: a rail is taken as the chords between its points. Sample a curved rail so
finely that the sagitta does not matter; the chord error falls with the square of the spacing.

Seen from the side of the surface on which ``left`` lies to the left when looking along the strip, the
flat is what lies on the table, that side up. Nothing comes out mirrored.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from panels.errors import RailMismatch, UnrollError, ZeroRuling

__all__ = ["unroll_strip"]

Floats = NDArray[np.float64]


def unroll_strip(left: ArrayLike, right: ArrayLike) -> tuple[Floats, Floats]:
    """Lay a ruled strip flat, keeping every edge at its true length.

    The strip starts with its first left point at the origin and its first ruling along x, and runs
    towards y. A strip may come to a point at either end, and a rail may stand still (the apex of a
    cone): only a ruling of no length inside the strip is refused, because the strip has no direction there.

    Parameters
    ----------
    left, right : array_like, shape (n, 3)
        The two rails, mm, n >= 2. Point i of one rail faces point i of the other.

    Returns
    -------
    flat_left, flat_right : ndarray, shape (n, 2)
        The same points on the table, mm. Both rails, every ruling and the diagonal from right i to left
        i + 1 keep their length to rounding; the other diagonal changes by as much as the step is twisted.

    Raises
    ------
    RailMismatch
        If the rails do not have the same number of points; carries ``.left`` and ``.right``.
    ZeroRuling
        If two facing points coincide inside the strip; carries the index as ``.step``.
    UnrollError
        If there are fewer than two rulings or a coordinate is not a finite number.

    Notes
    -----
    Three side lengths fix a triangle (Euclid, Elements, book I, prop. 22). Each step is laid out in its
    own frame, then the frames are chained by running sums, so a strip of a million steps takes no loop.

    Examples
    --------
    >>> flat_left, flat_right = unroll_strip([[0, 0, 0], [30, 0, 40]], [[0, 100, 0], [30, 100, 40]])
    >>> flat_right.round(3).tolist()
    [[100.0, 0.0], [100.0, 50.0]]
    """
    a, b = _rails(left, right)
    width = np.linalg.norm(b - a, axis=1)
    inner = np.flatnonzero(width[1:-1] <= 1e-12 * _size(a, b)) + 1
    if inner.size:
        raise ZeroRuling(
            f"The rails touch at point {inner[0]} of {len(a)}, inside the strip.\n\n"
            "hint: end the strip where its rails meet, or move one of the two points.",
            step=int(inner[0]),
        )
    left_step, right_step = _step_in_own_frame(a, b, width)
    across = right_step - left_step
    turn = np.arctan2(across[:, 1], across[:, 0])
    if width[-1] <= 1e-12 * _size(a, b):
        turn[-1] = 0.0  # the strip ends in a point: no last ruling, no direction to hand on
    heading = np.concatenate([[0.0], np.cumsum(turn)])
    flat_left = np.concatenate([[[0.0, 0.0]], np.cumsum(_turned(left_step, heading[:-1]), axis=0)])
    flat_right = flat_left + width[:, None] * np.column_stack([np.cos(heading), np.sin(heading)])
    return flat_left, flat_right


def _rails(left: ArrayLike, right: ArrayLike) -> tuple[Floats, Floats]:
    a, b = np.asarray(left, dtype=float), np.asarray(right, dtype=float)
    for name, rail in (("left", a), ("right", b)):
        if rail.ndim != 2 or rail.shape[1] != 3:
            raise UnrollError(f"The {name} rail has shape {rail.shape}, not rows of x, y, z.", rail=name)
        bad = np.flatnonzero(~np.isfinite(rail).all(axis=1))
        if bad.size:
            step = int(bad[0])
            raise UnrollError(f"Point {step} of the {name} rail is not a number.", rail=name, step=step)
    if len(a) != len(b):
        raise RailMismatch(
            f"The rails do not face each other: {len(a)} points on the left, {len(b)} on the right.\n\n"
            "hint: sample both rails at the same rulings.",
            left=len(a),
            right=len(b),
        )
    if len(a) < 2:
        raise UnrollError(f"A strip needs at least 2 rulings, this one has {len(a)}.", rulings=len(a))
    return a, b


def _size(a: Floats, b: Floats) -> float:
    both = np.concatenate([a, b])
    return float(np.linalg.norm(np.ptp(both, axis=0)))


def _step_in_own_frame(a: Floats, b: Floats, width: Floats) -> tuple[Floats, Floats]:
    """Next left and right point of each step, in the frame where this ruling runs from (0, 0) along x."""
    ruling = b[:-1] - a[:-1]
    base = np.column_stack([width[:-1], np.zeros(len(ruling))])
    left = _lay_triangle(ruling, a[1:] - a[:-1], np.zeros_like(base), base, upside=1.0)
    # Second triangle, on the diagonal from right i to left i + 1, on the far side of left i.
    right = _lay_triangle(a[1:] - b[:-1], b[1:] - b[:-1], base, left, upside=-1.0)
    return left, right


def _lay_triangle(base: Floats, side: Floats, start: Floats, end: Floats, *, upside: float) -> Floats:
    """Third corner of each triangle whose base lies flat from start to end.

    Projection and cross product, not the cosine rule: exact for right angles, and exact in slivers.
    A base of no length (a strip that begins in a point) is taken to lie along x.
    """
    length = np.linalg.norm(base, axis=1)
    some = length > 0
    unit = np.where(some[:, None], base, 0.0) / np.where(some, length, 1.0)[:, None]
    along = np.einsum("ij,ij->i", side, unit)
    up = np.linalg.norm(side - along[:, None] * unit, axis=1) * upside
    direction = np.where(some[:, None], end - start, [1.0, 0.0]) / np.where(some, length, 1.0)[:, None]
    normal = np.column_stack([-direction[:, 1], direction[:, 0]])
    return start + along[:, None] * direction + up[:, None] * normal


def _turned(vectors: Floats, angle: Floats) -> Floats:
    c, s = np.cos(angle), np.sin(angle)
    return np.column_stack([c * vectors[:, 0] - s * vectors[:, 1], s * vectors[:, 0] + c * vectors[:, 1]])
