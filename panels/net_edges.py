"""The net edge of a piece laid flat: every run of it that meets one neighbour, with what is left outside or turned.

Words used here
    ring     a closed edge of the piece, vertex after vertex: the outer one, then those of holes
    run      the part of a ring along one seam, its ends included
    gusset   the metal in a corner of the notch for the tunnel, where its fold is round (``panels.round_corner``)
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .blank import AtEdge, Edge
from .curves import polyline_length
from .ledge import joint_along
from .lips import TurnedEdge
from .round_corner import NotchedLine, RoundCorner
from .seams import Seam, Sewn
from .turned import turned_edge

__all__ = ["LaidPiece", "NetEdges", "net_edges"]


@dataclass(frozen=True, eq=False)
class LaidPiece:
    """A piece laid flat: its vertices' numbers in the body (n,), where each lies in the flat (n, 2) and in space
    (n, 3), and its rings."""

    name: str
    kind: str
    used: np.ndarray
    flat: np.ndarray
    solid: np.ndarray
    loops: tuple[np.ndarray, ...]

    def along(self, values: np.ndarray, run: np.ndarray, letter: str, rounds: Sequence[RoundCorner]) -> np.ndarray:
        """Rows (m, d) along a run from ``values`` of the piece's vertices, round where the tunnel's folds end."""
        line = NotchedLine.of(self.used[run], letter, rounds)

        def swept(one: RoundCorner) -> np.ndarray:
            return one.swept(*(values[np.searchsorted(self.used, chain)] for chain in (one.leg, one.top)))

        return line.whole(values[run], swept)


@dataclass(frozen=True, eq=False)
class NetEdges:
    """The edges, the rings (n, 2) with the margin of each segment (n,), what is to be turned, the area of gussets,
    mm2; negative where corners are taken off, and whether each margin (n,) of the outer ring stays on."""

    edges: tuple[Edge, ...]
    rings: tuple[tuple[np.ndarray, np.ndarray], ...]
    turned: tuple[TurnedEdge, ...]
    gussets: float
    stays: np.ndarray


@dataclass(frozen=True, eq=False)
class _Run:
    """One run: its seam's letter, its vertices in the piece, what it meets and how."""

    letter: str
    run: np.ndarray
    meets: str
    joint: str
    allowance: float
    turns: bool


def net_edges(sewn: Sewn, piece: LaidPiece, at_edge: AtEdge, *, rounds: Sequence[RoundCorner] = ()) -> NetEdges:
    """The net edge of a piece, notched to the ``rounds`` of the tunnel that end at it.

    Where an edge of the notch is turned over, the corner of the outline stays sharp: a lip has its relief there.
    """
    rounds = [one for one in rounds if one.piece == piece.name]
    edges, rings, turned, stays, gussets = [], [], [], [], 0.0
    for ring in piece.loops:
        runs = _runs(sewn, piece, ring, at_edge)
        lips = {one.letter for one in runs if one.turns}
        cut = [one for one in rounds if not lips & set(one.letters)]
        net = [piece.along(piece.flat, one.run, one.letter, cut)[:-1] for one in runs]
        for one in runs:
            edges.append(_edge(piece, one, rounds))
            if one.turns:
                chain, at = piece.used[one.run], piece.flat[one.run]
                how = {"letter": one.letter, "width": one.allowance, "flat": at}
                turned.append(turned_edge(sewn.body, chain, piece.name, one.meets, **how))
        left = [np.full(len(line), 0.0 if one.turns else one.allowance) for one, line in zip(runs, net, strict=True)]
        rings.append((np.vstack(net), np.concatenate(left)))
        stays.append(
            np.concatenate([np.full(len(line), one.joint == "lap") for one, line in zip(runs, net, strict=True)])
        )
        gussets += _area(rings[-1][0]) - _area(piece.flat[ring])
    return NetEdges(tuple(edges), tuple(rings), tuple(turned), gussets, stays[0])


def _area(ring: np.ndarray) -> float:
    """Area of a ring (n, 2), positive if it runs anticlockwise."""
    ahead = np.roll(ring, -1, axis=0)
    return float((ring[:, 0] * ahead[:, 1] - ring[:, 1] * ahead[:, 0]).sum()) / 2


def _edge(piece: LaidPiece, one: _Run, rounds: Sequence[RoundCorner]) -> Edge:
    points, space = (piece.along(values, one.run, one.letter, rounds) for values in (piece.flat, piece.solid))
    so_far = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(space, axis=0), axis=1))])
    lengths = float(so_far[-1]), polyline_length(points)
    return Edge(one.letter, one.meets, one.joint, one.allowance, points, *lengths, so_far)


def _runs(sewn: Sewn, piece: LaidPiece, ring: np.ndarray, at_edge: AtEdge) -> list[_Run]:
    """The runs of a ring, each with what it meets and how the shop joins it there."""
    by_letter = {seam.letter: seam for seam in sewn.seams if piece.name in seam.pieces}
    found = []
    for letter, run in _edge_runs(ring, piece.used, sewn):
        seam = by_letter.get(letter)
        meets = _other(seam, piece.name)
        joint, allowance = joint_along(at_edge, piece.kind, sewn.body, seam, piece.name, meets)
        turns = joint == "fold" and allowance > 0 and piece.kind != "formed"
        found.append(_Run(letter, ring[run], meets, joint, allowance, turns))
    return found


def _other(seam: Seam | None, piece: str) -> str:
    """The piece on the other side of a seam, "" if there is none."""
    return "" if seam is None else next(p for p in seam.pieces[::-1] if p != piece)


def _edge_runs(ring: np.ndarray, used: np.ndarray, sewn: Sewn) -> list[tuple[str, np.ndarray]]:
    """The ring parted into runs of one seam: letter and positions in the ring (k,), ends included."""
    count = len(ring)
    body_ring = used[ring]
    letters = []
    for i in range(count):
        a, b = int(body_ring[i]), int(body_ring[(i + 1) % count])
        letters.append(sewn.between.get((min(a, b), max(a, b)), ""))
    start = next((i for i in range(count) if letters[i] != letters[i - 1]), 0)
    runs: list[tuple[str, list[int]]] = []
    for k in range(count):
        i = (start + k) % count
        if not runs or runs[-1][0] != letters[i]:
            runs.append((letters[i], [i]))
        runs[-1][1].append((i + 1) % count)
    return [(letter, np.array(run)) for letter, run in runs]
