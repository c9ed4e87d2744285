"""Filler, outlets, mounts and other marks: where they sit on the finished tank, and on its blanks.

Words used here
    fitting   something fixed to the tank at a given place: filler and vent on top, outlets underneath,
              mounts and marks at the sides
    flange    the rim, or the boss, of a fitting that lies on the metal round its hole
    doubler   a plate welded on the outside under a fitting, to carry what hangs on it
    frame     the plane that touches the tank at a fitting: its centre, two directions in it, and outwards
    rim       the outline of hole, flange or doubler, drawn in that plane and laid on the skin

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
from .outlets import within_faces
from .seams import family

__all__ = ["KINDS", "Doubler", "Fitting", "Placed", "marks_on", "place_fittings", "rim_on"]

#: What a fitting may be for; a filler and a vent belong at the highest point.
KINDS = ("filler", "vent", "outlet", "bung", "mount", "bracket", "mark")
#: Half the length of the cross at a fitting's centre, mm.
CROSS_MM = 6.0
#: Points round a rim.
RIM_POINTS = 72
#: A tunnel's top counts as its side where its normal leans out this much, sine: from 30 degrees.
STEEP = 0.5
#: Longest step along a doubler's edge, mm.
STEP_MM = 5.0


@dataclass(frozen=True)
class Doubler:
    """A flat plate, mm: ``along`` the tank and ``across`` it, its corners rounded by ``corner``; a disc where both
    sizes are twice the corner. ``metal`` "" is that of the tank; ``hole`` is the diameter of a hole in its middle."""

    along: float
    across: float
    corner: float
    thickness: float
    metal: str = ""
    hole: float = 0.0

    @property
    def round(self) -> bool:
        """Whether it is a disc."""
        return self.along == self.across == 2 * self.corner

    @property
    def words(self) -> str:
        """Its size: "60 x 40" or "50 round"."""
        return f"{self.along:g} round" if self.round else f"{self.along:g} x {self.across:g}"

    @property
    def outline(self) -> np.ndarray:
        """Its edge (n, 2) about its middle, anticlockwise, first point repeated."""
        r = min(self.corner, self.along / 2, self.across / 2)
        turn = np.linspace(0, np.pi / 2, RIM_POINTS // 4 + 1)
        arc = r * np.column_stack([np.cos(turn), np.sin(turn)]) + [self.along / 2 - r, self.across / 2 - r]
        quarters = [arc, arc[::-1] * [-1, 1], -arc, arc[::-1] * [1, -1], arc[:1]]
        ring = np.vstack(quarters)
        ring = ring[np.r_[True, np.linalg.norm(np.diff(ring, axis=0), axis=1) > 1e-9]]
        return _spaced(ring)


def _spaced(line: np.ndarray) -> np.ndarray:
    """A line (n, 2) with points put in where its steps are long, so that it follows the metal it is laid on."""
    count = np.maximum(np.ceil(np.linalg.norm(np.diff(line, axis=0), axis=1) / STEP_MM), 1).astype(int)
    parts = [np.linspace(a, b, n, endpoint=False) for a, b, n in zip(line[:-1], line[1:], count, strict=True)]
    return np.vstack([*parts, line[-1:]])


@dataclass(frozen=True)
class Fitting:
    """Something fixed to the tank. Lengths in mm; ``diameter`` (of its hole) 0 is a bare point.

    ``on`` says where to look for it: "top" and "bottom" at (x, across) with ``across`` out from the centre
    plane, negative to the left, and so "tunnel top", seen from below; "side" and "tunnel" at (x, across) with
    ``across`` the height z, on the side that ``hand`` names. A place on the tunnel that the tunnel's leg does not
    reach is looked for on the side.
    """

    name: str
    on: str
    x: float
    across: float
    diameter: float = 0.0
    hand: str = "right"
    cut: bool = False
    kind: str = ""  # one of `KINDS`; "": told by its name
    flange: float = 0.0  # diameter, 0 for none
    doubler: Doubler | None = None

    @property
    def purpose(self) -> str:
        """Its kind, from its name where it is not given; "" where that says nothing."""
        words = self.name.lower().replace("_", " ").split()
        return self.kind or next((kind for kind in KINDS if kind in words), "")

    @property
    def reach(self) -> float:
        """How far it reaches from its centre, mm."""
        plate = self.doubler
        corner = 0.0 if plate is None else float(np.hypot(plate.along, plate.across)) / 2
        return max(self.diameter / 2, self.flange / 2, corner)

    @property
    def rims(self) -> tuple[tuple[str, np.ndarray], ...]:
        """Hole, flange and doubler: the label of each and its closed outline (n, 2) in the fitting's plane."""
        drawn = [(self.label, _circle(self.diameter))] if self.diameter else []
        if self.flange:
            drawn.append((f"{self.name} flange {self.flange:g}", _circle(self.flange)))
        if self.doubler is not None:
            drawn.append((f"{self.name} doubler {self.doubler.words}", self.doubler.outline))
        return tuple(drawn)

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


@dataclass(frozen=True)
class _Looks:
    """What all fittings of a body are placed by: normals (m, 3) as long as the faces' areas, middles (m, 3), and
    which faces (m,) are no tunnel's."""

    body: Body
    normal: np.ndarray
    middle: np.ndarray
    skin_like: np.ndarray


def _looks_of(body: Body) -> _Looks:
    skin_like = np.array([family(name) != "tunnel" for name in body.pieces])[body.piece]
    corners = [body.outer[body.faces[:, k]] for k in range(3)]
    return _Looks(body, area_vectors(body.outer, body.faces), (corners[0] + corners[1] + corners[2]) / 3, skin_like)


def _candidates(looks: _Looks, fitting: Fitting) -> tuple[np.ndarray, tuple[int, int], int, float]:
    """Faces to look at, the two axes of the view, the axis looked along, and which way is outwards."""
    body, normal = looks.body, looks.normal
    if fitting.on in ("top", "bottom"):
        sign = 1.0 if fitting.on == "top" else -1.0
        return np.flatnonzero(looks.skin_like & (normal[:, 2] * sign > 1e-9)), (0, 1), 2, sign
    if fitting.on == "tunnel top":
        return np.flatnonzero(body.piece == _index(body, "tunnel top")), (0, 1), 2, -1.0
    sign = 1.0 if fitting.hand == "right" else -1.0
    if fitting.on == "tunnel":
        leg = body.piece == _index(body, f"tunnel {fitting.hand}")
        # A rounded top goes on where the leg ends.
        steep = -sign * normal[:, 1] > STEEP * np.linalg.norm(normal, axis=1)
        rounded = (body.piece == _index(body, "tunnel top")) & steep
        return np.flatnonzero(leg | rounded), (0, 2), 1, sign
    return np.flatnonzero(looks.skin_like & (normal[:, 1] * sign > 1e-9)), (0, 2), 1, sign


def _index(body: Body, name: str) -> int:
    return body.pieces.index(name) if name in body.pieces else -1


def _place(looks: _Looks, fitting: Fitting) -> Placed:
    body = looks.body
    faces, axes, along, sign = _candidates(looks, fitting)
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
    return Placed(fitting, body.pieces[body.piece[face]], on[best], within, _frame(looks, on[best], face, fitting))


def _frame(looks: _Looks, at: np.ndarray, face: int, fitting: Fitting) -> np.ndarray:
    """The touching plane: outwards is the mean of the normals under the rim that turn the same way."""
    far = looks.middle - at
    near = looks.normal[np.einsum("ij,ij->i", far, far) < max(fitting.reach, 8.0) ** 2]
    own = looks.normal[face] / np.linalg.norm(looks.normal[face])
    same = near[near @ own > 0.7 * np.linalg.norm(near, axis=1)]
    out = same.sum(axis=0) if len(same) else own
    out = out / np.linalg.norm(out)
    along = np.array([1.0, 0.0, 0.0]) - out[0] * out
    if np.linalg.norm(along) < 0.1:
        along = np.array([0.0, 0.0, 1.0]) - out[2] * out
    along = along / np.linalg.norm(along)
    return np.array([along, np.cross(out, along), out])


def place_fittings(body: Body, fittings: Sequence[Fitting]) -> tuple[Placed, ...]:
    """Each fitting where it sits on the body."""
    looks = _looks_of(body)
    placed = []
    for fitting in fittings:
        found = _place(looks, fitting)
        if not found.piece and fitting.on == "tunnel":
            found = _place(looks, replace(fitting, on="side"))
        placed.append(found)
    return tuple(placed)


# ------------------------------------------------------------------------------ on the blanks


def _reach(fitting: Fitting) -> float:
    """How far from its place, along its plane and square to it, metal is looked for, mm."""
    return max(fitting.reach, 2 * CROSS_MM)


def _project(
    body: Body, faces: np.ndarray, placed: Placed, plane: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Places (k, 2) of a fitting's plane laid square on the middle of the metal of a piece's faces (m, 3):
    which are on it (k,), the face of each (k,), and its shares (k, 3)."""
    local = (body.neutral - placed.at) @ placed.frame.T
    reach = _reach(placed.fitting)
    u, v = local[:, 0][faces], local[:, 1][faces]
    over = (u.min(axis=1) < reach) & (u.max(axis=1) > -reach) & (v.min(axis=1) < reach) & (v.max(axis=1) > -reach)
    near = np.flatnonzero(over)
    near = near[area_vectors(body.outer, faces[near]) @ placed.frame[2] > 0]
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
    low, high = body.neutral[faces].min(axis=(0, 1)), body.neutral[faces].max(axis=(0, 1))
    for one in placed:
        away = np.maximum(low - one.at, one.at - high).max() if one.piece else np.inf
        if away > np.sqrt(3) * _reach(one.fitting):  # no face of the piece can lie under it
            continue
        label, rims = one.fitting.label, []
        for name, ring in one.fitting.rims:
            runs = rim_on(body, faces, one, surface, ring)
            whole = len(runs) == 1 and len(runs[0]) == len(ring)
            if whole and one.fitting.cut and name == label:
                holes.append(runs[0][:-1])
            rims += [Mark("fitting", run, name) for run in runs]
        marks += rims
        arms = [arm for line in _cross() for arm in rim_on(body, faces, one, surface, line)]
        for arm in arms:
            marks.append(Mark("fitting", arm, "" if rims else label))
            label = label if rims else ""
    return tuple(marks), tuple(holes)
