"""Upright seams over one skin, and moving them along the tank."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from .assemble import Shell
from .curves import curve_through
from .patterns import Division, SeamLine
from .seams import family

__all__ = ["corners", "moved", "upright"]

OVER = "cross seam over the "


def corners(shell: Shell, names: Sequence[str]) -> np.ndarray:
    """(n, 3) vertices of those pieces, mm."""
    numbers = [shell.pieces.index(name) for name in names]
    return shell.vertices[np.unique(shell.faces[np.isin(shell.piece, numbers)])]


def upright(v: np.ndarray, x: float, role: str, near: float) -> SeamLine | None:
    """A cross seam at x, mm, as high as the skin's vertices ``v`` (n, 3) nearer than ``near``; None off the skin."""
    z = v[np.abs(v[:, 0] - x) < near, 2]
    if len(z) < 2:
        return None
    ends = [[x, float(np.floor(z.min()))], [x, float(np.ceil(z.max()))]]
    return SeamLine(f"{OVER}{role}, x {x:.0f} mm", "side", curve_through("cross seam", ends))


def moved(division: Division, shell: Shell, step: float, near: float) -> Iterator[Division]:
    """The division with one of its cross seams so much further forward or back, mm, still over the skins beside it."""
    skin = np.array([family(name) == "skin" for name in shell.pieces])[shell.piece]
    for number, seam in enumerate(division.seams):
        x, (low, high) = float(seam.path.points[0, 0]), seam.path.points[:, 1]
        on = (np.abs(shell.vertices[:, 0] - x) < 1e-6) & (shell.vertices[:, 2] >= low) & (shell.vertices[:, 2] <= high)
        beside = np.unique(shell.piece[(on[shell.faces].sum(axis=1) == 2) & skin])
        v = corners(shell, [shell.pieces[piece] for piece in beside])
        for to in (x - step, x + step):
            other = upright(v, to, seam.name.removeprefix(OVER).split(",")[0], near)
            if other is not None:
                yield replace(division, seams=(*division.seams[:number], other, *division.seams[number + 1 :]))
