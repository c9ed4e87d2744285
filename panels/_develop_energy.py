"""Least strain by Newton's method, without folding a triangle.

Each triangle's map from surface to blank is a 2 x 2 matrix J with stretches s1 >= s2; the natural strains of
forming, blank to surface, are e = -ln s. A cost f(e) of each strain, weighted by area, is summed over the panel.
The second derivative of such a cost has four known directions per triangle (scale along each principal axis, one
shear, one twist), so making it positive takes four comparisons instead of an eigenvalue solver (B. Smith, F. de Goes,
T. Kim, "Analytic eigensystems for isotropic distortion energies", ACM Transactions on Graphics 38(1), 2019).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from panels._develop_mesh import Disc
from panels._develop_sparse import Pattern
from panels.errors import DevelopStalled

__all__ = [
    "Kept",
    "Strains",
    "along_modes",
    "cosh_cost",
    "descend",
    "element_modes",
    "even_cost",
    "longest_step",
    "strains_of",
]

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Cost = Callable[[Floats], tuple[Floats, Floats, Floats]]  # strains (m, 2) -> value, first, second derivative

LEAN = 0.005  # costs up to 0.02 % of the rms strain, takes about 0.1 % off the range; more takes more of both
STEP_WITHIN, STEP_ROUNDS = 0.005, 8  # steps right to half a percent; eight rounds cost less than a factor
ROUNDING = 1e-24  # mean squared strain below which there is nothing left but rounding


@dataclass(frozen=True)
class Strains:
    """Principal strains of every triangle and where they point."""

    e: Floats  # (m, 2) natural, blank to surface; column 0 belongs to the larger blank stretch, so it is the smaller
    s: Floats  # (m, 2) stretches surface to blank
    u: Floats  # (m, 2) direction of s[:, 0] on the blank; the other is square to it, anticlockwise
    v: Floats  # (m, 2) the same in the triangle's own frame on the surface


def jacobians(disc: Disc, points: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Entries a, b, c, d of J = [[a, b], [c, d]] for every triangle."""
    x, y = points[:, 0][disc.faces], points[:, 1][disc.faces]
    gx, gy = disc.gx, disc.gy
    return (x * gx).sum(1), (x * gy).sum(1), (y * gx).sum(1), (y * gy).sum(1)


def strains_of(disc: Disc, points: Floats) -> Strains | None:
    """Strains of a layout, or None where it folds a triangle."""
    a, b, c, d = jacobians(disc, points)
    # Closed form of a 2 x 2 singular value decomposition: J = turn(phi) diag(s) turn(-theta).
    e_, f_, g_, h_ = (a + d) / 2, (a - d) / 2, (c + b) / 2, (c - b) / 2
    q, r = np.hypot(e_, h_), np.hypot(f_, g_)
    low = q - r
    if not (low > 0).all():
        return None
    plus, minus = np.arctan2(h_, e_), np.arctan2(g_, f_)
    phi, theta = (minus + plus) / 2, (minus - plus) / 2
    s = np.column_stack([q + r, (a * d - b * c) / (q + r)])  # not q - r: keeps its digits when s2 << s1
    if not (s > 0).all():
        return None
    u, v = np.column_stack([np.cos(phi), np.sin(phi)]), np.column_stack([np.cos(theta), np.sin(theta)])
    return Strains(-np.log(s), s, u, v)


def even_cost(shrink_cost: float, about: float | None = None) -> Cost:
    """Square of the strain, shrinking dearer by shrink_cost squared.

    With ``about``, the panel's own root-mean-square strain, it leans by LEAN towards the fourth power, so that among
    layouts alike in their squares the one with the smaller worst strain is taken.
    """
    dear = float(shrink_cost) ** 2
    lean = 0.0 if not about else LEAN / about**2

    def cost(e: Floats) -> tuple[Floats, Floats, Floats]:
        weight = np.where(e < 0, dear, 1.0)
        square = lean * e * e
        return weight * e * e * (1 + square), weight * e * (2 + 4 * square), weight * (2 + 12 * square)

    return cost


def cosh_cost(e: Floats) -> tuple[Floats, Floats, Floats]:
    """2 cosh 2e, the symmetric Dirichlet cost: convex enough to come in from far away."""
    up, down = np.exp(2 * e), np.exp(-2 * e)
    return up + down - 2, 2 * (up - down), 4 * (up + down)


def element_modes(disc: Disc, st: Strains) -> Floats:
    """(m, 4, 6) the four directions of each triangle in its corner coordinates x0 x1 x2 y0 y1 y2."""
    v1x, v1y = st.v[:, 0, None], st.v[:, 1, None]
    along, across = v1x * disc.gx + v1y * disc.gy, v1x * disc.gy - v1y * disc.gx
    ux, uy = st.u[:, 0, None], st.u[:, 1, None]
    q = np.empty((len(along), 4, 6))
    q[:, 0, :3], q[:, 0, 3:] = ux * along, uy * along
    q[:, 1, :3], q[:, 1, 3:] = -uy * across, ux * across
    half = np.sqrt(0.5)
    ua, va = ux * half * across, uy * half * across  # u1 v2
    ub, vb = -uy * half * along, ux * half * along  # u2 v1
    q[:, 2, :3], q[:, 2, 3:] = ub - ua, vb - va
    q[:, 3, :3], q[:, 3, 3:] = ub + ua, vb + va
    return q


def stiffnesses(st: Strains, first: Floats, second: Floats) -> Floats:
    """(m, 4) second derivative along each mode, none below zero."""
    s1, s2 = st.s[:, 0], st.s[:, 1]
    slope1, slope2 = -first[:, 0] / s1, -first[:, 1] / s2
    own1, own2 = (second[:, 0] + first[:, 0]) / s1**2, (second[:, 1] + first[:, 1]) / s2**2
    twist = (slope1 + slope2) / (s1 + s2)
    apart = s1 - s2
    close = apart < 1e-6 * s1
    shear = np.where(close, (own1 + own2) / 2, (slope1 - slope2) / np.where(close, 1.0, apart))
    return np.maximum(np.column_stack([own1, own2, twist, shear]), 0.0)


def gradient(disc: Disc, modes: Floats, slope: Floats) -> Floats:
    """(2 n,) derivative of sum(slope over principal stretches), x of every vertex first."""
    local = slope[:, 0, None] * modes[:, 0] + slope[:, 1, None] * modes[:, 1]
    n, at = len(disc.vertices), disc.faces.ravel()
    gx = np.bincount(at, weights=local[:, :3].ravel(), minlength=n)
    return np.concatenate([gx, np.bincount(at, weights=local[:, 3:].ravel(), minlength=n)])


def longest_step(disc: Disc, points: Floats, step: Floats) -> float:
    """How far along the step the first triangle folds; inf where none does.

    det J is a quadratic along the step (J. Smith, S. Schaefer, "Bijective parameterization with free boundaries",
    ACM Transactions on Graphics 34(4), 2015).
    """
    a, b, c, d = jacobians(disc, points)
    p, q, r, s = jacobians(disc, step)
    two, one, nought = p * s - q * r, a * s + d * p - b * r - c * q, a * d - b * c
    inside = one * one - 4 * two * nought
    root = np.sqrt(np.maximum(inside, 0.0))
    # The smallest positive root, written so that it stays exact for a vanishing square term.
    lower = np.where(one < 0, -one + root, np.inf)
    with np.errstate(divide="ignore", invalid="ignore"):
        meets = np.where(one < 0, 2 * nought / lower, np.where(two < 0, (-one - root) / (2 * two), np.inf))
    meets = np.where(inside < 0, np.inf, meets)
    return float(np.min(np.where(meets > 0, meets, np.inf)))


@dataclass
class Kept:
    """The factor of the last step that was factored; the next few steps' matrices are not far from its own."""

    factor: Any = None
    held: Ints | None = None


def newton_step(pattern: Pattern, points: Floats, modes: Floats, stiff: Floats, down: Floats, kept: Kept) -> Floats:
    """(2 n,) step to the minimum of the quadratic with that slope, by the kept factor if it still serves."""
    if kept.factor is not None:
        blocks = np.matmul((modes * stiff[:, :, None]).transpose(0, 2, 1), modes)
        values = pattern.assemble(blocks)
        values[kept.held] *= 2
        found = pattern.nearly(values, kept.factor, down, within=STEP_WITHIN, most=STEP_ROUNDS)
        if found is not None:
            return -found
    kept.factor, kept.held = factored(pattern, points, modes, stiff), pattern.diagonal[_held(points)]
    return -pattern.solve(kept.factor, down)


def factored(pattern: Pattern, points: Floats, modes: Floats, stiff: Floats) -> Any:
    """Factor of the summed stiffness, held so that the panel cannot drift off or turn as a whole.

    Three unknowns are held by springs. The slope of any cost of strain does no work on a rigid motion, so the springs
    carry nothing and change the step by a rigid motion only.
    """
    blocks = np.matmul((modes * stiff[:, :, None]).transpose(0, 2, 1), modes)
    held = pattern.diagonal[_held(points)]
    for more in (0.0, 1e-12, 1e-9):  # rounding, on very thin triangles, can make it singular
        matrix = pattern.assemble(blocks)
        matrix[held] *= 2
        matrix[pattern.diagonal] *= 1 + more
        factor = pattern.factor(matrix)
        if factor is not None:
            return factor
    raise DevelopStalled(
        "The panel's triangles are too thin to be solved for.\n\nhint: remesh it with rounder triangles."
    )


def _held(points: Floats) -> Ints:
    """Both coordinates of a point at one end, and of a point at the other the one square to the way between."""
    n, wide = len(points), int(np.ptp(points[:, 1]) > np.ptp(points[:, 0]))
    first, last = int(np.argmin(points[:, wide])), int(np.argmax(points[:, wide]))
    return np.array([first, first + n, last + n * (1 - wide)])


def descend(
    disc: Disc,
    pattern: Pattern,
    points: Floats,
    cost: Cost,
    *,
    until: float,
    most: int,
    kept: Kept | None = None,
    settled: float = np.inf,
) -> tuple[Floats, Strains, int]:
    """Newton steps until one promises less than ``until`` of the summed cost: layout, strains, steps taken.

    Near the end each step leaves far less than a hundredth of the one before still to gain, so a full step that gained
    a hundred times ``until`` is the last. Triangles of next to no area have no say in that: they are waited for until
    a step changes no strain by more than ``settled`` of the largest. ``kept`` carries a factor from one descent to the
    next.
    """
    kept = Kept() if kept is None else kept
    st = strains_of(disc, points)
    if st is None:
        raise ValueError("descend needs a layout without folded triangles")
    weight = (disc.area / disc.area.sum())[:, None]
    value, first, second = cost(st.e)
    total = float((weight * value).sum())
    for taken in range(most):
        modes = element_modes(disc, st)
        down = gradient(disc, modes, -weight * first / st.s)
        step = newton_step(pattern, points, modes, weight * stiffnesses(st, first, second), down, kept)
        promise = -float((down * step).sum())  # not a dot product: on long vectors that starts threads
        calm = np.isinf(settled) or _change(disc, st, modes, step) <= settled * float(np.abs(st.e).max())
        if promise <= until * total + ROUNDING and calm:
            return points, st, taken
        points, st, now, reach = _searched(disc, points, st, step.reshape(2, -1).T, cost, weight, total, promise)
        if now >= total or (reach == 1.0 and promise <= 100 * until * now + ROUNDING and calm):
            return points, st, taken + 1
        total = now
        value, first, second = cost(st.e)
    return points, st, most


def along_modes(disc: Disc, modes: Floats, move: Floats) -> Floats:
    """(m, 4) how far a move (n, 2) goes along each mode of each triangle."""
    local = np.concatenate([move[:, 0][disc.faces], move[:, 1][disc.faces]], axis=1)
    return np.einsum("mjk,mk->mj", modes, local)


def _change(disc: Disc, st: Strains, modes: Floats, step: Floats) -> float:
    """Largest change of a principal strain that a step (2 n,) brings, to first order."""
    return float(np.abs(along_modes(disc, modes, step.reshape(2, -1).T)[:, :2] / st.s).max())


def _searched(
    disc: Disc, points: Floats, st: Strains, move: Floats, cost: Cost, weight: Floats, total: float, promise: float
) -> tuple[Floats, Strains, float, float]:
    """Armijo's search, never as far as the first fold."""
    reach = min(1.0, 0.9 * longest_step(disc, points, move))
    for _ in range(40):
        trial = points + reach * move
        found = strains_of(disc, trial)
        if found is not None:
            value = float((weight * cost(found.e)[0]).sum())
            if value <= total - 1e-4 * reach * promise:
                return trial, found, value, reach
        reach *= 0.5
    return points, st, total, 0.0
