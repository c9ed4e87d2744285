"""End caps as two mirrored halves: a cap that runs across the centre plane parted there, with a seam of its own.

Words used here
    crossing   an edge of a cap from one side of the centre plane to the other; a cap is ruled square to that plane,
               so parting it there moves no metal
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from .assemble import CENTRE, LEG, Shell
from .cutting_mesh import split_faces

__all__ = ["as_one_surface", "is_half", "with_halved_ends"]


def with_halved_ends(shell: Shell, ends: Sequence[str]) -> Shell:
    """The shell with the caps of those ends, "front" or "rear", as ``rear end right`` and ``rear end left``.

    A cap that is in two parts already, and an end without one, stay as they are.
    """
    caps = [k for k, name in enumerate(shell.pieces) if _whole_cap(name, ends)]
    if not caps:
        return shell
    faces = shell.faces[np.isin(shell.piece, caps)]
    edges = np.unique(np.sort(faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1), axis=0)
    out = shell.vertices[edges, 1]
    crossing = out[:, 0] * out[:, 1] < 0
    (a, b), out = edges[crossing].T, out[crossing]
    share = (out[:, 0] / (out[:, 0] - out[:, 1]))[:, None]
    new = shell.vertices[a] + share * (shell.vertices[b] - shell.vertices[a])
    new[:, 1] = 0.0
    count = len(shell.vertices)
    at = {(int(i), int(j)): count + k for k, (i, j) in enumerate(zip(a, b, strict=True))}
    cut, parent = split_faces(shell.faces, at)
    parted = replace(
        shell,
        vertices=np.vstack([shell.vertices, new]),
        faces=cut,
        piece=shell.piece[parent],
        flags=np.concatenate([shell.flags, (shell.flags[a] & shell.flags[b] & ~LEG) | CENTRE]),
        mirror=np.concatenate([shell.mirror, count + np.arange(len(new))]),
    )
    return _named(parted, caps)


def is_half(name: str) -> bool:
    """Whether a piece is half of an end cap."""
    words = name.split()
    return len(words) == 3 and words[1] == "end" and words[2] in ("right", "left")


def _whole_cap(name: str, ends: Sequence[str]) -> bool:
    words = name.split()
    return words[-1] not in ("right", "left") and words[1:2] == ["end"] and words[0] in ends


def _named(shell: Shell, caps: Sequence[int]) -> Shell:
    """The shell with each cap's right half, and its mirror image for the left one, named by the side they lie on."""
    right = shell.vertices[shell.faces, 1].mean(axis=1) > 0
    names: list[str] = []
    faces, piece = [], []
    for k, name in enumerate(shell.pieces):
        halves = {name: shell.faces[shell.piece == k]}
        if k in caps:
            own = shell.faces[(shell.piece == k) & right]
            halves = {f"{name} right": own, f"{name} left": shell.mirror[own][:, ::-1]}
        for half, mine in halves.items():
            faces.append(mine)
            piece.append(np.full(len(mine), len(names)))
            names.append(half)
    return replace(shell, faces=np.vstack(faces), piece=np.concatenate(piece), pieces=tuple(names))


def as_one_surface(group: np.ndarray, shell: Shell) -> np.ndarray:
    """Surface numbers (m,) with both halves of a cap as the one surface that they are."""
    group = group.copy()
    for name in shell.pieces:
        twin = f"{name.removesuffix(' left')} right"
        if is_half(name) and name.endswith(" left") and twin in shell.pieces:
            right = group[shell.piece == shell.pieces.index(twin)]
            group[shell.piece == shell.pieces.index(name)] = right[0]
    return group
