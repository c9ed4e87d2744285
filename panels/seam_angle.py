"""The angle at which two sheets meet along their seam, and whether one can lie on the other there.

Words used here
    angle    how far one sheet is turned out of the plane of the other across the seam, degrees: 0 where they run on
             into one another, 90 between a level floor and an upright leg
    lap      one sheet runs on past the seam, flat as it is, and lies on the other
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from .body import Body
from .cutting_mesh import area_vectors
from .findings import Finding, Show, in_mm
from .seams import Seam, Sewn, family

__all__ = ["LAP_DEG", "SeamAngle", "laps_found", "seam_angle"]

#: Two sheets lap where they meet within this of one plane: a thin edge is dressed down so far with a hammer as it is
#: tacked, no further. Common practice, no source.
LAP_DEG = 30.0
#: A stretch of a seam shorter than this share of it is dressed with the rest. Common practice, no source.
FEW = 0.05


class SeamAngle(NamedTuple):
    """Least and most angle along a seam, degrees, and how much of its length, mm, meets at more than was asked."""

    least: float
    most: float
    beyond: float


def seam_angle(body: Body, seam: Seam, limit: float = LAP_DEG) -> SeamAngle:
    """The angle between the outsides of the two sheets of a seam, edge by edge of it.

    On either side the normal is that of the faces about both ends of an edge, by their area: slivers beside the seam
    count for little.
    """
    ways = [_normals(body, piece, seam.chain) for piece in seam.pieces]
    one, two = (way[:-1] + way[1:] for way in ways)
    sine = np.linalg.norm(np.cross(one, two), axis=1)
    angle = np.degrees(np.arctan2(sine, np.einsum("ij,ij->i", one, two)))
    long = np.linalg.norm(np.diff(body.outer[seam.chain], axis=0), axis=1)
    return SeamAngle(float(angle.min()), float(angle.max()), float(long[angle > limit].sum()))


def _normals(body: Body, piece: str, chain: np.ndarray) -> np.ndarray:
    """The outward area (n, 3), mm2, of a piece's faces about each vertex of a chain (n,)."""
    faces = body.faces_of(piece)
    total = np.zeros((len(body.outer), 3))
    np.add.at(total, faces, area_vectors(body.outer, faces)[:, None, :])
    return np.asarray(total[chain])


def laps_found(sewn: Sewn, lapped: Callable[[str, str], str], *, show: Show = in_mm) -> tuple[Finding, ...]:
    """A look at each seam that is to be lapped where its sheets do not lie one on the other; twins are told once.

    ``lapped`` gives the piece that carries the metal of the lap between two, "" where they do not lap. Folds inside
    the tunnel's own sheet are no seams.
    """
    found, told = [], set()
    for seam in sorted(sewn.seams, key=lambda seam: seam.letter.endswith("L")):  # of twins the right one tells
        on = lapped(*seam.pieces)
        plain = seam.letter.removesuffix("R").removesuffix("L")
        if not on or plain in told or all(family(piece) == "tunnel" for piece in seam.pieces):
            continue
        angle = seam_angle(sewn.body, seam)
        whole = float(np.linalg.norm(np.diff(sewn.body.outer[seam.chain], axis=0), axis=1).sum())
        if angle.beyond <= FEW * whole:
            continue
        told.add(plain)
        (other,) = set(seam.pieces) - {on}
        says = f"{on} is to lap {other} along seam {seam.letter}"
        if any(twin is not seam and twin.letter in (f"{plain}R", f"{plain}L") for twin in sewn.seams):
            says += " and along its twin on the other side"
        along = f"beyond {LAP_DEG:.0f}° along {show(angle.beyond)} of its {show(whole)}"
        if angle.least > LAP_DEG:
            along = f"all along its {show(whole)}"
        found.append(
            Finding(
                "look",
                "seams",
                f"{says}, but they meet at an angle there: what stays on the one stands off the other",
                f"{_degrees(angle.least, angle.most)} out of one plane, {along}",
                f"within {LAP_DEG:.0f}° of lying in one plane (common practice, no source)",
                None,
                f'joint = "fold" in the seam rule, a flange on {on} turned to lie on {other}, or joint = "butt"',
            )
        )
    return tuple(found)


def _degrees(least: float, most: float) -> str:
    low, high = f"{least:.0f}", f"{most:.0f}"
    return f"{high}°" if low == high else f"{low}° to {high}°"
