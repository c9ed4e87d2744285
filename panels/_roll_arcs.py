"""The turn of a rolled piece cut into flats and arcs: the second half of ``panels.roll``.

Words used here: see ``panels.roll``. Angles in radians, towards the good face positive.

Dynamic programming finds the fewest arcs that keep within `MISS_MM` of the piece, placed where they miss least
(R. Bellman, "On the approximation of curves by line segments using dynamic programming", Comm. ACM 4 (1961) 284, cited
from memory, with arcs for segments). An arc has the piece's own turn at both ends, so that the turns add up.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import NamedTuple

import numpy as np

__all__ = ["Cut", "cut_into_arcs"]

#: An arc may leave the piece by this much: what a helper sees against a template. Common practice, no source.
MISS_MM = 0.3
#: Neighbouring arcs whose radii differ by less than this share are one.
ALIKE = 0.15
#: More bends than this nobody rolls in one piece; a wall round a rectangle has four, and straights between them.
MOST_BENDS = 6
#: A zone that turns less than this, and is flat to `MISS_MM`, is left flat, degrees.
FLAT_DEG = 5.0
#: Zones begin and end at stations even along the piece, and where its radius changes most: so many of each.
EVEN_STATIONS = CHANGED_STATIONS = 24


class Cut(NamedTuple):
    """One zone: its places, its turn, its neutral radius at start and end, how far it leaves the piece, mm; whether it
    is flat, and whether the piece has a sharp corner there."""

    start: float
    end: float
    turn: float
    radii: tuple[float, float]
    miss: float
    flat: bool
    sharp: bool = False


def cut_into_arcs(place: np.ndarray, turn: np.ndarray, sharp_neutral: tuple[float, float]) -> list[Cut]:
    """Zones from the turn (n,) at places (n,), in order; a sharp corner, two places in one, becomes an arc.

    ``sharp_neutral`` are the neutral radii of sharp corners that turn away from the good face, and towards it, mm.
    """
    return _zones(place, turn, _arcs(place, turn), sharp_neutral)


def _arcs(place: np.ndarray, turn: np.ndarray) -> list[int]:
    """Stations at which zones begin and end, the piece's two ends with them: the fewest within `MISS_MM`."""
    at = _candidates(place, turn)
    miss = _misses(place[at], turn[at])
    sharp = np.flatnonzero(np.diff(place[at]) == 0)
    for k in sharp:  # a corner is a zone of its own
        miss[: k + 1, k + 1 :] = np.inf
        miss[k, k + 1] = 0.0
    corners = len(sharp)
    path = _shortest(np.where(miss <= MISS_MM, miss**2, np.inf), 2 * MOST_BENDS + 1 + corners)
    turns = sum(not _is_flat(place[at[j]] - place[at[i]], turn[at[j]] - turn[at[i]]) for i, j in pairwise(path))
    if not path or turns > MOST_BENDS + corners:
        most = MOST_BENDS + 2 * corners
        path = _shortest(miss**4, most, least=most) or path
    return _settled(place, turn, at, path)


def _settled(place: np.ndarray, turn: np.ndarray, at: np.ndarray, path: list[int]) -> list[int]:
    """The path's stations, each moved to the best one short of the next candidates; corners stay."""
    knots = [int(at[k]) for k in path]
    for n in range(1, len(knots) - 1):
        low, here, high = knots[n - 1 : n + 2]
        if place[low] == place[here] or place[here] == place[high]:
            continue
        tries = range(max(low, int(at[path[n] - 1])) + 1, min(high, int(at[path[n] + 1])))
        knots[n] = min(
            (here, *tries),
            key=lambda k: (
                _worst(place[low : k + 1], turn[low : k + 1]) ** 2
                + _worst(place[k : high + 1], turn[k : high + 1]) ** 2
            ),
        )
    return knots


def _candidates(place: np.ndarray, turn: np.ndarray) -> np.ndarray:
    """Stations at which zones may begin and end; both ends and both sides of every corner among them."""
    if len(place) <= EVEN_STATIONS + CHANGED_STATIONS:
        return np.arange(len(place))
    long, step = np.diff(place), np.diff(turn)
    turned = np.concatenate([[0.0], np.cumsum(np.abs(step))])
    even = (place - place[0]) / (place[-1] - place[0]) + turned / max(float(turned[-1]), 1e-9)
    near = np.searchsorted(even, np.linspace(0, even[-1], EVEN_STATIONS)).clip(0, len(place) - 1)
    bent = step / np.maximum(long, 1e-9)
    change = np.abs(np.diff(bent)) * np.minimum(long[1:], long[:-1])
    most = 1 + np.argsort(-change, kind="stable")[:CHANGED_STATIONS]
    corner = np.flatnonzero(long == 0)
    return np.unique(np.concatenate([[0, len(place) - 1], near, most, corner, corner + 1]))


def _misses(place: np.ndarray, turn: np.ndarray) -> np.ndarray:
    """(n, n) how far an arc from station i to station j > i leaves the piece between them, mm, ends laid together.

    Looked at in every station and halfway between them.
    """
    run = np.concatenate([[0.0], np.cumsum((turn[1:] + turn[:-1]) / 2 * np.diff(place))])
    half = run[:-1] + np.diff(place) * (3 * turn[:-1] + turn[1:]) / 8
    at = np.concatenate([place, (place[1:] + place[:-1]) / 2])
    run_at, number = np.concatenate([run, half]), np.concatenate([np.arange(len(place)), np.arange(len(half)) + 0.5])
    long = place[None, :] - place[:, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        tighter = (turn[None, :] - turn[:, None]) / long / 2
        end = (run[None, :] - run[:, None] - turn[:, None] * long - tighter * long**2) / long
        t = at[None, :] - place[:, None]
        lean = run_at[None, :] - run[:, None] - turn[:, None] * t
        off = np.abs(lean[:, None] - tighter[:, :, None] * (t**2)[:, None] - end[:, :, None] * t[:, None])
    n = np.arange(len(place))
    between = (number > n[:, None, None]) & (number < n[:, None])
    worst = np.where(between, off, 0.0).max(axis=2)
    return np.where(n > n[:, None], worst, np.inf)


def _shortest(cost: np.ndarray, most: int, least: int = 1) -> list[int]:
    """Stations of the cheapest way from first to last in as few steps as it takes, at most ``most``; [] if none."""
    count = len(cost)
    best, came = np.full(count, np.inf), []
    best[0] = 0.0
    for steps in range(1, most + 1):
        every = best[:, None] + cost
        came.append(every.argmin(axis=0))
        best = every.min(axis=0)
        if np.isfinite(best[-1]) and (steps >= least or steps == most):
            path = [count - 1]
            for back in came[::-1]:
                path.append(int(back[path[-1]]))
            return path[::-1]
    return []


def _zones(place: np.ndarray, turn: np.ndarray, knots: list[int], sharp_neutral: tuple[float, float]) -> list[Cut]:
    """Zones between the stations, alike ones joined, flat ones flat; their turns add up to the whole."""
    knots = _joined(place, turn, knots)
    pairs = list(pairwise(knots))
    flat = [_is_flat(place[j] - place[i], turn[j] - turn[i]) for i, j in pairs]
    if all(flat):
        return [Cut(place[0], place[-1], turn[-1], (math.inf, math.inf), 0.0, True)]
    pairs, flat = _flats_joined(place, turn, pairs, flat)
    ends = place.astype(float)
    level = _levelled(place, turn, pairs, flat, ends)
    for i, j in pairs:
        if place[i] == place[j]:  # a sharp corner takes the metal of its arc, half from either side
            half = sharp_neutral[int(turn[j] > turn[i])] * abs(turn[j] - turn[i]) / 2
            ends[i], ends[j] = max(ends[i] - half, place[0]), min(ends[j] + half, place[-1])
    ends = np.maximum.accumulate(ends)
    cuts = []
    for (i, j), is_flat in zip(pairs, flat, strict=True):
        start, end, bends = float(ends[i]), float(ends[j]), float(level[j] - level[i])
        if is_flat:
            cuts.append(Cut(start, end, 0.0, (math.inf, math.inf), 0.0, True))
            continue
        sharp = bool(place[i] == place[j])
        miss = 0.0 if sharp else _worst(place[i : j + 1], turn[i : j + 1])
        radii = _radii(place[i : j + 1], turn[i : j + 1], end - start, bends)
        cuts.append(Cut(start, end, bends, radii, miss, False, sharp))
    return cuts


def _levelled(
    place: np.ndarray, turn: np.ndarray, pairs: list[tuple[int, int]], flat: list[bool], ends: np.ndarray
) -> np.ndarray:
    """The turn with none in the flat zones: what they had goes to the bends beside them, which begin so much earlier
    or end so much later (``ends``, changed here) that they keep their radius."""
    level = turn.copy()
    for n, ((i, j), is_flat) in enumerate(zip(pairs, flat, strict=True)):
        if not is_flat:
            continue
        level[i] = level[j] = turn[i] if n == 0 else turn[j] if n == len(pairs) - 1 else (turn[i] + turn[j]) / 2
        for knot, beside in ((i, n - 1), (j, n + 1)):
            if 0 <= beside < len(pairs):
                a, b = pairs[beside]
                if turn[a] == turn[b]:
                    continue
                shift = (level[knot] - turn[knot]) * (place[b] - place[a]) / (turn[b] - turn[a])
                if abs(shift) < min(place[j] - place[i], place[b] - place[a]) / 3:
                    ends[knot] += shift
    return level


def _is_flat(long: float, turn: float) -> bool:
    return abs(turn) < math.radians(FLAT_DEG) and long * abs(turn) / 8 < MISS_MM


def _worst(place: np.ndarray, turn: np.ndarray) -> float:
    """How far one arc leaves the piece, mm, its ends laid on it; looked at in stations and halfway between."""
    t = place - place[0]
    off = turn - turn[0] - (turn[-1] - turn[0]) / t[-1] * t
    step = np.diff(t)
    run = np.concatenate([[0.0], np.cumsum((off[1:] + off[:-1]) / 2 * step)])
    run -= run[-1] / t[-1] * t
    half = (run[1:] + run[:-1]) / 2 + (off[:-1] - off[1:]) * step / 8
    return float(max(np.abs(run).max(), np.abs(half).max()))


def _joined(place: np.ndarray, turn: np.ndarray, knots: list[int]) -> list[int]:
    """Without the stations between two arcs that turn alike."""
    kept = knots[:1]
    for here, after in pairwise(knots[1:]):
        before = kept[-1]
        long = place[here] - place[before], place[after] - place[here]
        if min(long) > 0:
            one, two = (turn[here] - turn[before]) / long[0], (turn[after] - turn[here]) / long[1]
            if one * two > 0 and abs(one - two) < ALIKE * max(abs(one), abs(two)):
                continue
        kept.append(here)
    return [*kept, knots[-1]]


def _flats_joined(
    place: np.ndarray, turn: np.ndarray, pairs: list[tuple[int, int]], flat: list[bool]
) -> tuple[list[tuple[int, int]], list[bool]]:
    """Neighbouring flats as one where they are flat together; else the second keeps its bend."""
    joined: list[tuple[int, int]] = []
    kinds: list[bool] = []
    for (i, j), is_flat in zip(pairs, flat, strict=True):
        if is_flat and kinds and kinds[-1]:
            first = joined[-1][0]
            if _is_flat(place[j] - place[first], turn[j] - turn[first]):
                joined[-1] = (first, j)
                continue
            is_flat = False
        joined.append((i, j))
        kinds.append(is_flat)
    return joined, kinds


def _radii(place: np.ndarray, turn: np.ndarray, long: float, bends: float) -> tuple[float, float]:
    """Neutral radius at the start and the end of a zone whose curvature is taken to change evenly along it.

    Between its ends such a zone's turn leaves the straight line by c (t - a)(t - b) / 2; c by least squares.
    """
    if long == 0:
        return 0.0, 0.0  # a corner without a length of its own
    mean = bends / long
    if len(place) < 4 or place[-1] == place[0]:
        return 1 / abs(mean), 1 / abs(mean)
    fall = (place - place[0]) * (place - place[-1]) / 2
    off = turn - turn[0] - (turn[-1] - turn[0]) * (place - place[0]) / (place[-1] - place[0])
    change = float(off @ fall) / max(float(fall @ fall), 1e-12) * long / 2
    sign = math.copysign(1.0, mean)
    ends = (sign * (mean - change), sign * (mean + change))
    if abs(change) < ALIKE / 2 * abs(mean):
        return 1 / abs(mean), 1 / abs(mean)
    return tuple(1 / end if end > 1e-6 else math.inf for end in ends)  # type: ignore[return-value]
