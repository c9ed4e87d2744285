"""Divide the skin into panels along its seams, and name them.

Words used here
    seam    a line along which the skin is cut and welded: the widest line, the shoulders, the middle
            of the top, or a line drawn on the side or plan pattern
    stem    where left and right skin meet at an end that closes on the centre plane
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from .assemble import CENTRE, FRONT, REAR, SEAM, SHOULDER, WIDEST, Shell
from .cutting_mesh import area_vectors
from .edges import connected, shared_edges
from .patterns import Division

__all__ = ["SCHEMES", "divide", "smooth_groups"]

SCHEMES = ("crown and sides", "crown, shoulders and sides", "widest line", "halves", "drawn")

#: A stem that turns the skin by more than this is a seam, by less the skin runs round it.
STEM_TURN_DEG = 40.0


def smooth_groups(shell: Shell) -> np.ndarray:
    """Surface number of each face (m,): its piece, the skin's parted once more at the widest line."""
    group = shell.piece.copy()
    skin = np.flatnonzero([shell.pieces[p].startswith("skin") for p in shell.piece])
    faces = shell.faces[skin]
    edges, pairs = shared_edges(faces)
    flags = shell.flags[edges]
    apart = ((flags[:, 0] & flags[:, 1] & WIDEST) > 0) | ((flags[:, 0] & flags[:, 1] & CENTRE) > 0)
    group[skin] = len(shell.pieces) + connected(len(skin), pairs[~apart])
    return group


def _smooth_across(shell: Shell, faces: np.ndarray, pairs: np.ndarray) -> np.ndarray:
    """Whether each pair of faces meets at less than the turn at which a stem becomes a seam."""
    n = area_vectors(shell.vertices, faces)
    n = n / np.maximum(np.linalg.norm(n, axis=1), 1e-300)[:, None]
    return np.einsum("ij,ij->i", n[pairs[:, 0]], n[pairs[:, 1]]) > np.cos(np.radians(STEM_TURN_DEG))


def _role(scheme: str, touches_top: bool, over_widest: bool) -> str:
    if scheme == "crown and sides":
        return "crown" if touches_top else "side"
    if scheme == "crown, shoulders and sides":
        return "crown" if touches_top else ("shoulder" if over_widest else "side")
    if scheme == "widest line":
        return "top skin" if touches_top else "side"
    return "skin"


def divide(shell: Shell, division: Division) -> Shell:
    """The shell with its skin faces in named panels: ``crown``, ``side left``, ``skin 2 right`` ...

    Panels that the centre plane divides are one piece unless the scheme is "halves" or the skin turns
    sharply there.
    """
    if division.scheme not in SCHEMES:
        raise ValueError(f"No division called {division.scheme!r}; there are: {', '.join(SCHEMES)}")
    is_skin = np.array([name.startswith("skin") for name in shell.pieces])[shell.piece]
    skin = np.flatnonzero(is_skin)
    faces = shell.faces[skin]
    edges, pairs = shared_edges(faces)
    common = shell.flags[edges[:, 0]] & shell.flags[edges[:, 1]]
    seam = (common >> int(np.log2(SEAM))) > 0
    if division.scheme in ("widest line", "crown, shoulders and sides"):
        seam |= (common & WIDEST) > 0
    if division.scheme in ("crown and sides", "crown, shoulders and sides"):
        seam |= (common & SHOULDER) > 0
    centre = (common & CENTRE) > 0
    stem = centre & ((common & (FRONT | REAR)) > 0)
    right_of = shell.vertices[faces].mean(axis=1)[:, 1] > 0
    # First the parts of each side by themselves, to see which of them reach the top.
    sided = connected(len(faces), pairs[~(seam | centre)])
    top = np.isin(sided, sided[pairs[centre & ~stem].ravel()])
    if division.scheme == "halves":
        seam |= centre
    seam |= stem & ~(top[pairs[:, 0]] & _smooth_across(shell, faces, pairs))
    part = connected(len(faces), pairs[~seam])
    names = _names(shell, faces, part, top, right_of, division.scheme)
    keep = [k for k, name in enumerate(shell.pieces) if not name.startswith("skin")]
    pieces = tuple(dict.fromkeys(names)) + tuple(shell.pieces[k] for k in keep)
    number = {name: k for k, name in enumerate(pieces)}
    piece = np.array([number.get(name, -1) for name in shell.pieces])[shell.piece]
    piece[skin] = [number[names[p]] for p in part]
    return replace(shell, piece=piece, pieces=pieces)


def _names(
    shell: Shell, faces: np.ndarray, part: np.ndarray, top: np.ndarray, right_of: np.ndarray, scheme: str
) -> list[str]:
    """A name for each part: its role, a number where one role has several, its side where it has one."""
    count = int(part.max()) + 1
    middle = shell.vertices[faces].mean(axis=1)
    reaches_shoulder = ((shell.flags[faces] & SHOULDER) > 0).sum(axis=1) > 1
    rows = []
    for k in range(count):
        mine = part == k
        both = right_of[mine].any() and (~right_of[mine]).any()
        side = "" if both else (" right" if right_of[mine].any() else " left")
        role = _role(scheme, bool(top[mine].any()), bool(reaches_shoulder[mine].any()))
        rows.append((role, side, tuple(middle[mine].mean(axis=0)[[0, 2]].round(3))))
    names = []
    for role, side, place in rows:
        peers = sorted({other[2] for other in rows if other[0] == role})
        names.append(role + (f" {peers.index(place) + 1}" if len(peers) > 1 else "") + side)
    return names
