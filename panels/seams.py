"""The seams of a body: every edge where two pieces meet, found from the vertices they share.

Words used here
    seam      the line along which two pieces meet; a closed body has no edge without a partner
    letter    names a seam on both its blanks; R or L is added where it lies to one side. Left and right
              twins share the letter
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from .body import Body
from .curves import polyline_length
from .cutting_mesh import boundary_chains

__all__ = ["Seam", "Sewn", "family", "seams_of"]

#: A point nearer than this to the centre plane lies in it, mm.
MIDDLE_MM = 1e-3

_ORDER = ("skin", "end", "floor", "tunnel", "neck", "bump-out")


def family(piece: str) -> str:
    """Which family a piece belongs to: skin, floor, tunnel, neck, end or bump-out."""
    for word in ("bump-out", "floor", "tunnel", "neck", "end"):
        if word in piece.split():
            return word
    return "skin"


@dataclass(frozen=True)
class Seam:
    """One seam: the vertices (k,) along it, the two pieces that meet there, and its letter."""

    letter: str
    pieces: tuple[str, str]
    chain: np.ndarray
    length: float  # on the neutral surface, mm


@dataclass(frozen=True)
class Sewn:
    """A body with its seams found."""

    body: Body
    seams: tuple[Seam, ...]

    @cached_property
    def between(self) -> dict[tuple[int, int], str]:
        """Letter of the seam that an edge (smaller vertex first) lies on."""
        table: dict[tuple[int, int], str] = {}
        for seam in self.seams:
            for a, b in zip(seam.chain[:-1].tolist(), seam.chain[1:].tolist(), strict=True):
                table[(min(a, b), max(a, b))] = seam.letter
        return table


def _plain(name: str) -> str:
    return name.replace(" right", "").replace(" left", "")


def seams_of(body: Body) -> Sewn:
    """Every edge between two pieces, as lettered seams. A closed body leaves no edge without a partner."""
    edges = body.faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    owner = np.repeat(body.piece, 3)
    key = np.sort(edges, axis=1)
    order = np.lexsort((key[:, 1], key[:, 0]))
    first, second = order[::2], order[1::2]
    apart = owner[first] != owner[second]
    first, second = first[apart], second[apart]
    groups: dict[tuple[int, int], list[np.ndarray]] = {}
    for k, m in zip(first, second, strict=True):
        low = k if owner[k] < owner[m] else m
        groups.setdefault(tuple(sorted((int(owner[k]), int(owner[m])))), []).append(edges[low])  # type: ignore[arg-type]
    found = []
    for (p, q), directed in groups.items():
        for chain in boundary_chains(np.array(directed)):
            found.append((body.pieces[p], body.pieces[q], chain))
    # Letters go by what meets what and where, so that left and right get the same one.
    place = {id(c): body.outer[c].mean(axis=0) for _, _, c in found}
    twin = np.minimum(np.arange(len(body.outer)), body.shell.mirror)
    kinds: dict[tuple[int, ...], str] = {}
    seams = []
    for p_name, q_name, chain in sorted(found, key=lambda f: _seam_key(f, place[id(f[2])])):
        letter = kinds.setdefault(tuple(sorted(twin[chain].tolist())), _letter(len(kinds)))
        hand = _hand_of(body.outer[chain, 1])
        seams.append(Seam(letter + hand, (p_name, q_name), chain, polyline_length(body.neutral[chain])))
    return Sewn(body, tuple(sorted(seams, key=lambda s: (len(s.letter.rstrip("LR")), s.letter))))


def _hand_of(out: np.ndarray) -> str:
    """R or L for a seam whose points lie that far out (k,); none where it crosses the centre plane or lies in it."""
    right, left = out.max() > MIDDLE_MM, out.min() < -MIDDLE_MM
    return "" if right == left else "R" if right else "L"


def _seam_key(found: tuple[str, str, np.ndarray], place: np.ndarray) -> tuple:
    names = sorted((_plain(found[0]), _plain(found[1])), key=lambda n: (_ORDER.index(family(n)), n))
    return (
        *((_ORDER.index(family(n)), n) for n in names),
        round(float(place[0]), 2),
        round(float(place[2]), 2),
    )


def _letter(number: int) -> str:
    """A, B, ... Z without I, L, O and R, then AA, AB ..."""
    letters = "ABCDEFGHJKMNPQSTUVWXYZ"  # L and R say left and right
    return (
        letters[number]
        if number < len(letters)
        else _letter(number // len(letters) - 1) + letters[number % len(letters)]
    )
