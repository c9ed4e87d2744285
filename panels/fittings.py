"""Filler, outlets, mounts and other marks: where they sit on the finished tank, and on its blanks.

Words used here
    fitting   something fixed to the tank at a given place: filler and vent on top, outlets underneath,
              mounts and marks at the sides
    frame     the plane that touches the tank at a fitting: its centre, two directions in it, and outwards
    rim       the fitting's circle, drawn in that plane and laid on the skin

Fittings are scribed on the blanks and cut only where the job asks for it: parts are fitted after shaping.
Places are given on the outside of the tank and carried square through the metal to its middle, which is
what the flat shows; there a place keeps its triangle and its shares of the triangle's corners (barycentric).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from .blank import Mark
from .body import Body
from .cutting_mesh import area_vectors
from .findings import Finding, Show, in_mm
from .measure import volume_below
from .outlets import kept_back, outlet_levels, within_faces
from .seams import Sewn, family

__all__ = ["Fitting", "Placed", "fittings_found", "marks_on", "place_fittings", "rim_on"]

#: A fitting's rim keeps this far from folds and seams, mm; common practice, no source.
CLEAR_MM = 15.0
#: Half the length of the cross at a fitting's centre, mm.
CROSS_MM = 6.0
#: Height that a filler or outlet may be off the best place without a word, mm.
LEVEL_MM = 2.0
#: Fuel kept back under a side's outlet that is worth a decision, litres; common practice, no source.
FEW_LITRES = 0.25
#: Points round a rim.
RIM_POINTS = 72


@dataclass(frozen=True)
class Fitting:
    """Something fixed to the tank. Lengths in mm; ``diameter`` 0 is a bare point.

    ``on`` says where to look for it: "top" and "bottom" at (x, across) with ``across`` out from the centre
    plane, negative to the left; "side" and "tunnel" at (x, across) with ``across`` the height z, on the side
    that ``hand`` names. A place on the tunnel that the tunnel's leg does not reach is looked for on the side.
    """

    name: str
    on: str
    x: float
    across: float
    diameter: float = 0.0
    hand: str = "right"
    cut: bool = False

    @property
    def label(self) -> str:
        """Its name and diameter: "filler 56"."""
        size = f"{self.diameter:.1f}".removesuffix(".0")
        return f"{self.name} {size}" if self.diameter else self.name


@dataclass(frozen=True)
class Placed:
    """A fitting on the body: its piece, ``at`` and ``inside`` (3,) on outer and inner surface, and its frame.

    ``piece`` is "" where the tank has nothing at the place asked for.
    """

    fitting: Fitting
    piece: str
    at: np.ndarray
    inside: np.ndarray
    frame: np.ndarray  # rows: two directions in the touching plane, outwards


def _candidates(body: Body, fitting: Fitting) -> tuple[np.ndarray, tuple[int, int], int, float]:
    """Faces to look at, the two axes of the view, the axis looked along, and which way is outwards."""
    looks = area_vectors(body.outer, body.faces)
    skin_like = np.array([family(name) != "tunnel" for name in body.pieces])[body.piece]
    if fitting.on in ("top", "bottom"):
        sign = 1.0 if fitting.on == "top" else -1.0
        return np.flatnonzero(skin_like & (looks[:, 2] * sign > 1e-9)), (0, 1), 2, sign
    sign = 1.0 if fitting.hand == "right" else -1.0
    if fitting.on == "tunnel":
        leg = body.piece == _index(body, f"tunnel {fitting.hand}")
        return np.flatnonzero(leg), (0, 2), 1, sign
    return np.flatnonzero(skin_like & (looks[:, 1] * sign > 1e-9)), (0, 2), 1, sign


def _index(body: Body, name: str) -> int:
    return body.pieces.index(name) if name in body.pieces else -1


def _place(body: Body, fitting: Fitting) -> Placed:
    faces, axes, along, sign = _candidates(body, fitting)
    nothing = np.full(3, np.nan)
    missed = Placed(fitting, "", nothing, nothing, np.eye(3))
    if len(faces) == 0:
        return missed
    inside, share = within_faces(body.outer[:, axes], body.faces[faces], np.array([[fitting.x, fitting.across]]))
    hit = np.flatnonzero(inside[0])
    if len(hit) == 0:
        return missed
    corners = body.faces[faces[hit]]
    on = np.einsum("mk,mkd->md", share[0, hit], body.outer[corners])
    best = int(np.argmax(sign * on[:, along]))
    within = np.einsum("k,kd->d", share[0, hit[best]], body.inner[corners[best]])
    face = int(faces[hit[best]])
    return Placed(fitting, body.pieces[body.piece[face]], on[best], within, _frame(body, on[best], face, fitting))


def _frame(body: Body, at: np.ndarray, face: int, fitting: Fitting) -> np.ndarray:
    """The touching plane: outwards is the mean of the normals under the rim that turn the same way."""
    looks = area_vectors(body.outer, body.faces)
    size = np.linalg.norm(looks, axis=1)
    unit = looks / np.maximum(size, 1e-300)[:, None]
    near = np.linalg.norm(body.outer[body.faces].mean(axis=1) - at, axis=1) < max(fitting.diameter / 2, 8.0)
    same = near & (unit @ unit[face] > 0.7)
    out = looks[same].sum(axis=0) if same.any() else unit[face]
    out = out / np.linalg.norm(out)
    along = np.array([1.0, 0.0, 0.0]) - out[0] * out
    if np.linalg.norm(along) < 0.1:
        along = np.array([0.0, 0.0, 1.0]) - out[2] * out
    along = along / np.linalg.norm(along)
    return np.array([along, np.cross(out, along), out])


def place_fittings(body: Body, fittings: Sequence[Fitting]) -> tuple[Placed, ...]:
    """Each fitting where it sits on the body."""
    placed = []
    for fitting in fittings:
        found = _place(body, fitting)
        if not found.piece and fitting.on == "tunnel":
            found = _place(body, replace(fitting, on="side"))
        placed.append(found)
    return tuple(placed)


# ------------------------------------------------------------------------------ on the blanks


def _project(
    body: Body, faces: np.ndarray, placed: Placed, plane: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Places (k, 2) of a fitting's plane laid square on the middle of the metal of a piece's faces (m, 3):
    which are on it (k,), the face of each (k,), and its shares (k, 3)."""
    local = (body.neutral - placed.at) @ placed.frame.T
    looks = area_vectors(body.outer, faces) @ placed.frame[2]
    reach = max(placed.fitting.diameter / 2, 2 * CROSS_MM)
    corners = local[faces][..., :2]
    over = (corners.min(axis=1) < reach).all(axis=1) & (corners.max(axis=1) > -reach).all(axis=1)
    near = np.flatnonzero((looks > 0) & over)
    if len(near) == 0:
        none = np.zeros(len(plane), dtype=int)
        return none.astype(bool), none, np.zeros((len(plane), 3))
    inside, share = within_faces(local[:, :2], faces[near], plane)
    height = np.abs(np.einsum("kmj,mj->km", share, local[faces[near], 2]))
    height = np.where(inside & (height < reach), height, np.inf)
    best = np.argmin(height, axis=1)
    rows = np.arange(len(plane))
    return np.isfinite(height[rows, best]), near[best], share[rows, best]


def rim_on(body: Body, faces: np.ndarray, placed: Placed, surface: np.ndarray, plane: np.ndarray) -> list[np.ndarray]:
    """Runs (k, d) of a fitting's plane figure (n, 2) laid on faces (m, 3), read on ``surface`` (v, d).

    ``surface`` holds a place for each vertex of the body: the flat, or the finished tank itself.
    """
    on, face, share = _project(body, faces, placed, plane)
    if not on.any():
        return []
    at = np.einsum("kj,kjd->kd", share, surface[faces[face]])
    closed = bool(np.allclose(plane[0], plane[-1]))
    if on.all():
        return [at]
    if closed:  # begin after a gap, so that a run through the first point stays whole
        start = int(np.argmax(~on[:-1]))
        order = np.concatenate([np.arange(start, len(on) - 1), np.arange(start + 1)])
        on, at = on[order], at[order]
    parts = np.split(np.arange(len(on)), np.flatnonzero(np.diff(on.astype(int))) + 1)
    return [at[part] for part in parts if on[part[0]] and len(part) > 1]


def _circle(diameter: float) -> np.ndarray:
    turn = np.linspace(0, 2 * np.pi, RIM_POINTS + 1)
    ring = diameter / 2 * np.column_stack([np.cos(turn), np.sin(turn)])
    ring[-1] = ring[0]
    return ring


def _cross() -> tuple[np.ndarray, np.ndarray]:
    arm = np.linspace(-CROSS_MM, CROSS_MM, 5)
    return np.column_stack([arm, 0 * arm]), np.column_stack([0 * arm, arm])


def marks_on(
    body: Body, faces: np.ndarray, surface: np.ndarray, placed: Sequence[Placed]
) -> tuple[tuple[Mark, ...], tuple[np.ndarray, ...]]:
    """Scribed rims and crosses on one piece, and the holes (n, d) that are to be cut in it.

    ``faces`` (m, 3) of the piece among the body's vertices, ``surface`` (v, d) the place of each vertex of
    the body on the blank, or in space; those of other pieces are not read.
    """
    marks: list[Mark] = []
    holes: list[np.ndarray] = []
    for one in placed:
        if not one.piece:
            continue
        label = one.fitting.label
        rims = rim_on(body, faces, one, surface, _circle(one.fitting.diameter)) if one.fitting.diameter else []
        whole = len(rims) == 1 and len(rims[0]) == RIM_POINTS + 1
        if whole and one.fitting.cut:
            holes.append(rims[0][:-1])
        for rim in rims:
            marks.append(Mark("fitting", rim, label))
        arms = [arm for line in _cross() for arm in rim_on(body, faces, one, surface, line)]
        for arm in arms:
            marks.append(Mark("fitting", arm, "" if rims else label))
            label = label if rims else ""
    return tuple(marks), tuple(holes)


# ------------------------------------------------------------------------------ findings


def fittings_found(sewn: Sewn, placed: Sequence[Placed], *, show: Show = in_mm) -> tuple[Finding, ...]:
    """What to say of where the fittings sit: filler and outlet levels, folds and seams under a rim."""
    body = sewn.body
    told: list[Finding] = []
    said = set()
    for one in placed:
        fitting = one.fitting
        alike = (fitting.name, fitting.on, fitting.x, abs(fitting.across))
        if alike in said:
            continue  # its twin on the other side has told it
        said.add(alike)
        if not one.piece:
            told += _off_the_tank(fitting, show)
            continue
        if fitting.on == "top":
            told += _filler(body, one, show)
        told += _near_edges(sewn, one, show)
    return (*told, *_outlets(body, placed, show))


def _off_the_tank(fitting: Fitting, show: Show) -> list[Finding]:
    if fitting.name.startswith("register"):
        return []  # register marks lie beside the outline on purpose
    across = "out" if fitting.on in ("top", "bottom") else "z"
    return [
        Finding(
            "look",
            fitting.name,
            f"{fitting.name} does not lie on the tank: it is on no blank",
            f"x {show(fitting.x)}, {across} {show(fitting.across)}",
            "a place within the outline",
            fitting.x,
            "check its numbers, and which line they are measured from",
        )
    ]


def _filler(body: Body, one: Placed, show: Show) -> list[Finding]:
    """A filler below the highest point leaves air over it that no fuel reaches."""
    top = body.inner[int(np.argmax(body.inner[:, 2]))]
    lost = float(top[2] - one.inside[2])
    if lost <= LEVEL_MM:
        return []
    air = (body.capacity_mm3 - volume_below(body.inner, body.faces, float(one.inside[2]))) / 1e6
    strength = "look" if air > 0.01 * body.capacity_mm3 / 1e6 else "note"
    return [
        Finding(
            strength,
            one.fitting.name,
            f"the {one.fitting.name} is not at the highest point of the tank as it stands: {air:.2f} L of air "
            "stay above it",
            f"z = {show(float(one.inside[2]))} inside",
            f"z = {show(float(top[2]))} at x = {show(float(top[0]))}",
            one.fitting.x,
            f"move it to x = {show(float(top[0]))}, or count the air as room for the fuel to expand; "
            "a vent belongs at the highest point",
        )
    ]


def _outlets(body: Body, placed: Sequence[Placed], show: Show) -> list[Finding]:
    """What each side keeps back, and where its low point is."""
    levels, told = outlet_levels(body.inner, body.faces, body.patterns.outlets), []
    kept_by = kept_back(body.inner, body.faces, body.patterns.outlets)
    both = len(levels) == 2 and levels["left"] == levels["right"]
    for side, kept in sorted(kept_by.items(), reverse=True)[: 1 if both else 2]:
        sign = 1.0 if side == "right" else -1.0
        half = body.inner[body.inner[:, 1] * sign > 1e-6]
        low = half[int(np.argmin(half[:, 2]))]
        lowest = f"z = {show(float(low[2]))} at its low point, x = {show(float(low[0]))}"
        here = [p.fitting for p in placed if p.fitting.on == "bottom" and p.fitting.across * sign >= 0]
        litres = kept / 1e6
        if side not in levels:
            if body.patterns.tunnel is not None:
                says = f"the {side} side has no outlet and keeps {litres:.2f} L, all that does not run over the tunnel"
                remedy = "add an outlet, or a pipe that joins both sides, or count the fuel as lost"
                told.append(Finding("look", "outlet", says, "no outlet", f"one at {lowest}", float(low[0]), remedy))
        elif levels[side] - low[2] > LEVEL_MM:
            name = here[0].name if here else "outlet"
            told.append(
                Finding(
                    "note" if litres < FEW_LITRES else "look",
                    name,
                    f"{'each' if both else f'the {side}'} side keeps {litres:.2f} L back below its outlet",
                    f"z = {show(levels[side])} where the outlet takes fuel",
                    lowest,
                    here[0].x if here else None,
                    f"move the outlet to x = {show(float(low[0]))}, shorten its standpipe, or count it as reserve",
                )
            )
    return told


def _near_edges(sewn: Sewn, one: Placed, show: Show) -> list[Finding]:
    """The nearest seam or fold, where a rim crosses it or comes close."""
    fitting, radius = one.fitting, one.fitting.diameter / 2
    if radius == 0 and fitting.on != "tunnel":
        return []
    gaps = [(_to_line(one.at, sewn.body.outer[seam.chain]) - radius, seam) for seam in sewn.seams]
    gap, seam = min(gaps, key=lambda item: item[0])
    if gap >= CLEAR_MM:
        return []
    fold = all(family(piece) == "tunnel" for piece in seam.pieces)
    what = "a corner of the tunnel" if fold else f"seam {seam.letter} ({' and '.join(seam.pieces)})"
    says = f"the {fitting.name} falls across {what}" if gap < 0 else f"the {fitting.name} comes close to {what}"
    if fitting.cut and gap < 0:
        says += "; it is scribed, not cut: the seam is welded first"
    return [
        Finding(
            "look" if radius else "note",
            fitting.name,
            says,
            f"{show(abs(gap))} {'over it' if gap < 0 else 'from it'}",
            f"at least {show(CLEAR_MM)} from seams and folds (common practice)",
            fitting.x,
            "move it or the seam: heat from the second weld opens the first",
        )
    ]


def _to_line(point: np.ndarray, line: np.ndarray) -> float:
    """Distance of a point from a polyline (k, 3)."""
    a, along = line[:-1], np.diff(line, axis=0)
    t = np.clip(np.einsum("kd,kd->k", point - a, along) / np.maximum((along**2).sum(axis=1), 1e-12), 0, 1)
    return float(np.linalg.norm(a + t[:, None] * along - point, axis=1).min())
