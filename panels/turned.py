"""Edges of a body's pieces as edges to be turned: how far, from where, and which way the lip runs in space.

A lip lies against the inner face of the piece it meets, which keeps its own outside. So the outside of the fold
is where the piece's outer face crosses its neighbour's inner one, and the lip turns by the angle of the two.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from .blank import Blank
from .body import Body
from .choose_k import KFactor
from .cutting_mesh import area_vectors
from .errors import LipError
from .findings import Show, in_mm
from .lip_told import lip_bends, lip_edges, lip_folds, lip_marks, lip_notes, plain_notes
from .lips import PLAIN, TurnedEdge, lay_lips, with_lips

__all__ = ["lipped", "turned_edge"]


def _normals(body: Body, piece: str, chain: np.ndarray) -> np.ndarray:
    """Unit outward normals (k - 1, 3) of a piece along a chain of its edge, one for each step."""
    faces = body.faces_of(piece)
    size = len(body.outer)
    edge = np.sort(faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    key = edge[:, 0] * size + edge[:, 1]
    order = np.argsort(key)
    wanted = np.sort(np.column_stack([chain[:-1], chain[1:]]), axis=1)
    at = order[np.searchsorted(key, wanted[:, 0] * size + wanted[:, 1], sorter=order)]
    normal = area_vectors(body.outer, faces[at // 3])
    return np.asarray(normal / np.maximum(np.linalg.norm(normal, axis=1), 1e-300)[:, None])


def _at_points(steps: np.ndarray) -> np.ndarray:
    """Unit vectors at the points of a chain (k, 3) from those of its steps (k - 1, 3)."""
    both = np.vstack([steps[:1], steps]) + np.vstack([steps, steps[-1:]])
    return np.asarray(both / np.maximum(np.linalg.norm(both, axis=1), 1e-300)[:, None])


def turned_edge(
    body: Body, chain: np.ndarray, piece: str, meets: str, *, letter: str, width: float, flat: np.ndarray | None = None
) -> TurnedEdge:
    """The edge of a piece along a chain (k,) of vertices, to be turned against the piece it meets.

    ``flat`` (k, 2) is where the chain lies in the piece's flat, metal on its left.

    Raises
    ------
    LipError
        Where the two pieces meet hollow side out: a lip there would stand in the open.
    """
    own, other = _at_points(_normals(body, piece, chain)), _at_points(_normals(body, meets, chain))
    _refuse_hollow(body, chain, piece, meets, letter, own)
    cos = np.clip(np.einsum("ni,ni->n", own, other), -1.0, 1.0)
    sin = np.maximum(np.sqrt(1 - cos**2), 1e-6)
    across = (other - cos[:, None] * own) / sin[:, None]  # in the piece's plane, away from it
    half = (1 - body.k_factor) * body.thickness
    set_in = (half * cos + body.k_factor * body.thickness) / sin
    mould = body.neutral[chain] - set_in[:, None] * across + half * own
    way = cos[:, None] * across - sin[:, None] * own
    flat = np.zeros((len(chain), 2)) if flat is None else flat
    return TurnedEdge(letter, width, flat, np.degrees(np.arccos(cos)), set_in, mould, way)


def _refuse_hollow(body: Body, chain: np.ndarray, piece: str, meets: str, letter: str, own: np.ndarray) -> None:
    """The neighbour must lie behind the piece's outer face."""
    faces = np.unique(body.faces_of(meets)[np.isin(body.faces_of(meets), chain).any(axis=1)])
    near = np.setdiff1d(faces, chain)
    if len(near) == 0:
        return
    at, p = body.outer[chain], body.outer[near]
    nearest = np.argmin(np.linalg.norm(p[:, None] - at[None], axis=2), axis=1)
    ahead = np.einsum("ni,ni->n", p - at[nearest], own[nearest])
    if np.median(ahead) > 1e-3:
        raise LipError(
            f"The {piece} meets the {meets} hollow side out: a lip along edge {letter} would stand in the open.\n"
            f"hint: {PLAIN}, or turn the lip on the other piece",
            letter=letter,
        )


def lipped(
    blank: Blank,
    ring: np.ndarray,
    turned: Sequence[TurnedEdge],
    *,
    inside_radius: float,
    k_factor: KFactor,
    show: Show = in_mm,
) -> Blank:
    """The blank with a lip along every edge to be turned; ``ring`` (n, 2) is its net edge, anticlockwise.

    What is too short for a lip is left plain, with a note; ``show`` puts lengths into words.

    Raises
    ------
    LipError
        Where a lip cannot be laid out: says on which blank.
    """
    if not turned:
        return blank
    try:
        lips, plain = lay_lips(ring, turned, thickness=blank.thickness, inside_radius=inside_radius, k_factor=k_factor)
        outline, net = with_lips(blank.outline, lips), with_lips(blank.net, lips)
    except LipError as fault:
        raise LipError(f"{blank.name}: {fault}", **fault.facts) from fault
    told = lip_notes(lips, blank.thickness, inside_radius, show=show)
    return replace(
        blank,
        outline=outline,
        net=net,
        edges=lip_edges(blank.edges, lips),
        folds=(*blank.folds, *lip_folds(lips, inside_radius, k_factor)),
        lips=(*blank.lips, *lip_bends(lips, inside_radius, k_factor)),
        marks=(*blank.marks, *lip_marks(lips)),
        notes=(*blank.notes, *told, *plain_notes(plain, blank.thickness, inside_radius, show=show)),
    )
