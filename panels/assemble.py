"""Close the half surface, its tunnel, floors and ends into one watertight body.

The body is a height field over the side view (see ``panels.surface``): at every point of the side view
the metal lies between the tunnel, half width inwards, and the skin, half width outwards. So the skin is
cut where it would lie inside the tunnel, and the walls that close the body are all ruled square to the
centre plane: floors along the bottom run, ends along the end runs, the tunnel's top along its own line.
Only the tunnel's legs are flat polygons. Neighbours share their vertices, so the body has no gap, and
every edge of a panel is the very edge of the panel it meets.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .curves import Curve
from .cutting_mesh import FlaggedMesh, area_vectors, boundary_chains, boundary_edges, cut_along, zipper
from .errors import TrimError
from .patterns import Patterns, SeamLine, TunnelPattern
from .surface import HalfSurface, line_height

__all__ = ["Shell", "Tunnel", "assemble", "tunnel_of"]

FRONT, REAR, LOWER, CENTRE, ROOF, LEG, WIDEST, SHOULDER, SEAM = (1 << k for k in range(9))


@dataclass(frozen=True)
class Tunnel:
    """The tunnel's face towards the frame: z of its top at x, half width at x, mm."""

    pattern: TunnelPattern
    frame: Curve
    x_front: float
    x_rear: float

    def top(self, x: np.ndarray) -> np.ndarray:
        """z of the tunnel's top at x."""
        return line_height(self.frame, x) + self.pattern.top_room

    def half(self, x: np.ndarray) -> np.ndarray:
        """Half the tunnel's clear width at x: straight from front to rear."""
        share = (np.asarray(x) - self.x_front) / (self.x_rear - self.x_front)
        return self.pattern.half_front + share * (self.pattern.half_rear - self.pattern.half_front)


def tunnel_of(patterns: Patterns) -> Tunnel | None:
    """The tunnel, from the tunnel pattern and the frame line; None where the job has none."""
    if patterns.tunnel is None:
        return None
    frame = patterns.side.line("frame")
    ends = [run.points[:, 0] for run in (patterns.side.front, patterns.side.rear)]
    return Tunnel(patterns.tunnel, frame, float(ends[0].min()), float(ends[1].max()))


@dataclass(frozen=True)
class Shell:
    """The closed outer surface: vertices (n, 3), faces (m, 3) outwards, a piece number for each face.

    ``flags`` (n,) are the lines each vertex lies on; ``mirror`` (n,) is each vertex's twin on the other
    side. Skin faces are not divided yet: piece "skin right" and "skin left".
    """

    vertices: np.ndarray
    faces: np.ndarray
    piece: np.ndarray
    pieces: tuple[str, ...]
    flags: np.ndarray
    mirror: np.ndarray
    corners: tuple[tuple[float, float, float], ...]  # tunnel's top right corner line, front and rear end


class _Half:
    """The right half while it grows: vertices and faces by piece."""

    def __init__(self, mesh: FlaggedMesh) -> None:
        self.vertices = list(mesh.vertices)
        self.flags = list(mesh.flags)
        self.faces: dict[str, np.ndarray] = {"skin right": mesh.faces}

    def add(self, points: np.ndarray, flag: int) -> np.ndarray:
        """Indices (k,) of new vertices."""
        start = len(self.vertices)
        self.vertices += list(points)
        self.flags += [flag] * len(points)
        return np.arange(start, start + len(points))

    def xyz(self, chain: np.ndarray) -> np.ndarray:
        return np.array([self.vertices[k] for k in chain]).reshape(-1, 3)


def _grid_mesh(half: HalfSurface) -> FlaggedMesh:
    """The half surface as triangles, each quad halved along its shorter diagonal."""
    nu, nc = half.grid.shape[:2]
    index = np.arange(nu * nc).reshape(nu, nc)
    flags = np.zeros((nu, nc), dtype=int)
    flags[0] |= FRONT
    flags[-1] |= REAR
    flags[:, 0] |= LOWER
    flags[:, -1] |= CENTRE
    flags[:, half.widest] |= WIDEST
    flags[:, half.shoulder] |= SHOULDER
    v = half.grid.reshape(-1, 3)
    a, b, c, d = (
        index[:-1, :-1].ravel(),
        index[1:, :-1].ravel(),
        index[1:, 1:].ravel(),
        index[:-1, 1:].ravel(),
    )
    short = np.linalg.norm(v[a] - v[c], axis=1) <= np.linalg.norm(v[b] - v[d], axis=1)
    first = np.where(short[:, None], np.column_stack([a, b, c]), np.column_stack([a, b, d]))
    second = np.where(short[:, None], np.column_stack([a, c, d]), np.column_stack([b, c, d]))
    return _welded(FlaggedMesh(v, np.vstack([first, second]), flags.ravel()))


def _welded(mesh: FlaggedMesh) -> FlaggedMesh:
    """The mesh with coinciding vertices made one, their flags joined, and faces without area left out."""
    key = np.round(mesh.vertices, 7) + 0.0
    _, keep, where = np.unique(key, axis=0, return_index=True, return_inverse=True)
    where = where.reshape(-1)
    flags = np.zeros(len(keep), dtype=int)
    np.bitwise_or.at(flags, where, mesh.flags)
    vertices = mesh.vertices[keep]
    flags = np.where(vertices[:, 1] == 0, flags | CENTRE, flags)
    faces = where[mesh.faces]
    a, b, c = faces.T
    faces = faces[(a != b) & (b != c) & (a != c)]
    faces = faces[np.linalg.norm(area_vectors(vertices, faces), axis=1) > 1e-9]
    faces = faces[vertices[faces, 1].max(axis=1) > 0]  # nothing lies in the centre plane but edges
    used, faces = np.unique(faces, return_inverse=True)
    return FlaggedMesh(vertices[used], faces.reshape(-1, 3), flags[used])


def _outwards(vertices: np.ndarray, faces: np.ndarray, direction: int, sign: float) -> np.ndarray:
    """Faces turned, each by itself, so that their area vector has that sign along an axis."""
    wrong = area_vectors(vertices, faces)[:, direction] * sign < 0
    return np.where(wrong[:, None], faces[:, ::-1], faces)


def _turned(vertices: np.ndarray, faces: np.ndarray, direction: int, sign: float) -> np.ndarray:
    """Faces turned all together by the sum of their area vectors."""
    return faces if area_vectors(vertices, faces)[:, direction].sum() * sign >= 0 else faces[:, ::-1]


def _trim_by_tunnel(mesh: FlaggedMesh, tunnel: Tunnel) -> FlaggedMesh:
    """The skin without the part that would lie inside the tunnel."""

    def over(m: FlaggedMesh) -> np.ndarray:
        return m.vertices[:, 2] - tunnel.top(m.vertices[:, 0])

    def outside(m: FlaggedMesh) -> np.ndarray:
        return m.vertices[:, 1] - tunnel.half(m.vertices[:, 0])

    near = outside(mesh) < 25.0  # only the skin near the tunnel need know how high its top is
    mesh, level, _ = cut_along(mesh, over(mesh), ROOF, only=near)
    mesh, _, _ = cut_along(mesh, outside(mesh), LEG, only=level <= 0)
    v = mesh.vertices.copy()
    leg, roof = mesh.flags & LEG > 0, mesh.flags & ROOF > 0
    v[leg, 1] = tunnel.half(v[leg, 0])
    v[roof, 2] = tunnel.top(v[roof, 0])
    middle = v[mesh.faces].mean(axis=1)
    inside = (middle[:, 2] < tunnel.top(middle[:, 0])) & (middle[:, 1] < tunnel.half(middle[:, 0]))
    if not np.any(inside):
        return FlaggedMesh(v, mesh.faces, mesh.flags & ~(ROOF | LEG))
    used, faces = np.unique(mesh.faces[~inside], return_inverse=True)
    return FlaggedMesh(v[used], faces.reshape(-1, 3), mesh.flags[used])


def _edge_chains(half: _Half) -> dict[int, list[np.ndarray]]:
    """The skin's edge chains by the line they lie on."""
    edges = boundary_edges(half.faces["skin right"])
    flags = np.array(half.flags)
    common = flags[edges[:, 0]] & flags[edges[:, 1]]
    kinds = np.zeros(len(edges), dtype=int)
    for flag in (LEG, ROOF, LOWER, REAR, FRONT, CENTRE):
        kinds[(common & flag) > 0] = flag
    if np.any(kinds == 0):
        place = half.xyz(edges[kinds == 0][:, 0]).mean(axis=0)
        raise TrimError(
            "The skin has an edge that belongs to no line of the patterns.\n"
            f"  place  x {place[0]:.1f}, out {place[1]:.1f}, z {place[2]:.1f} mm\n"
            "hint: check that the tunnel, the widest line and the ends do not touch one another there"
        )
    chains: dict[int, list[np.ndarray]] = {}
    for kind in (LEG, ROOF, LOWER, REAR, FRONT, CENTRE):
        found = boundary_chains(edges[kinds == kind]) if np.any(kinds == kind) else []
        chains[kind] = found
    return chains


def _one(chains: list[np.ndarray], what: str) -> np.ndarray:
    if len(chains) != 1:
        raise TrimError(
            f"The {what} is in {len(chains)} parts.\n"
            "hint: between its ends the tank must be wider at the lower edge than the tunnel, and its crown "
            "must stay above the tunnel's top"
        )
    return chains[0]


def _forwards(half: _Half, chain: np.ndarray, axis: int) -> np.ndarray:
    p = half.xyz(chain)
    return chain if p[-1, axis] >= p[0, axis] else chain[::-1]


def _end_inner(half: _Half, run: Curve, tunnel: Tunnel, lowest: float) -> np.ndarray:
    """New vertices up an end run on the tunnel's leg, from above ``lowest`` z to the tunnel's top."""
    dense = run.dense if run.dense[-1, 1] > run.dense[0, 1] else run.dense[::-1]
    over = dense[:, 1] - tunnel.top(dense[:, 0])
    if not (over[0] < 0 < over[-1]):
        raise TrimError(
            f"The tunnel's top does not meet the {run.name} run.\n"
            f"  {run.name} run   z {dense[0, 1]:.1f} to {dense[-1, 1]:.1f} mm\n"
            f"  tunnel's top there  z {float(tunnel.top(dense[:1, 0])[0]):.1f} mm\n"
            "hint: carry the frame line from the front run to the rear run, between bottom and top"
        )
    k = int(np.argmax(over > 0))
    share = -over[k - 1] / (over[k] - over[k - 1])
    corner = dense[k - 1] + share * (dense[k] - dense[k - 1])
    inner = dense[(dense[:, 1] > lowest + 1e-6) & (over < -1e-6)]
    xz = np.vstack([inner, corner])
    new = half.add(np.column_stack([xz[:, 0], tunnel.half(xz[:, 0]), xz[:, 1]]), LEG)
    half.flags[new[-1]] |= ROOF
    return new


@dataclass
class _End:
    """One end of the right half: the skin's edge up the end run, the tunnel's edge up it, the corner."""

    outer: np.ndarray  # skin vertices upwards; empty where the skin closes at the centre plane
    inner: np.ndarray  # tunnel vertices upwards from the floor to the corner; empty where there is none
    corner: int  # vertex where the tunnel's corner line ends


def _end(half: _Half, outer: np.ndarray, run: Curve, tunnel: Tunnel, leg: np.ndarray) -> _End:
    """The end at one end run. ``leg``: the skin's edge on the tunnel's leg near it, upwards, may be empty."""
    if len(leg) and half.flags[leg[-1]] & ROOF:
        return _End(outer, np.zeros(0, dtype=int), int(leg[-1]))
    if len(leg):  # the leg leaves the skin part way up the end
        start = leg[-1:]
    else:
        foot = half.xyz(outer[:1])[0]
        start = half.add(np.array([[foot[0], float(tunnel.half(foot[0])), foot[2]]]), LEG)
    inner = np.concatenate([start, _end_inner(half, run, tunnel, float(half.xyz(start)[0, 2]))])
    return _End(outer, inner, int(inner[-1]))


def _corner_line(half: _Half, tunnel: Tunnel, first: int, last: int) -> np.ndarray:
    """New and given vertices along the tunnel's corner, front to rear."""
    a, b = half.vertices[first][0], half.vertices[last][0]
    kinks = tunnel.frame.dense[:, 0]
    steps = np.linspace(a, b, max(2, int((b - a) / 25)))[1:-1]
    x = np.unique(np.round(np.concatenate([steps, kinks[(kinks > a + 1) & (kinks < b - 1)]]), 6))
    new = half.add(np.column_stack([x, tunnel.half(x), tunnel.top(x)]), LEG | ROOF)
    return np.concatenate([[first], new, [last]])


def _flat_polygon(half: _Half, ring: np.ndarray) -> np.ndarray:
    """Triangles of a leg, whose outline in the side view is a ring of vertices."""
    import shapely

    xz = half.xyz(ring)[:, [0, 2]]
    polygon = shapely.Polygon(xz)
    if not polygon.is_valid:
        raise TrimError(
            "A tunnel leg would cross itself.\n"
            f"  {shapely.is_valid_reason(polygon)}\n"
            "hint: the tunnel's top must stay above the bottom run all the way from front to rear"
        )
    index = {tuple(p): int(k) for p, k in zip(np.round(xz, 7).tolist(), ring.tolist(), strict=True)}
    pieces = shapely.get_parts(shapely.constrained_delaunay_triangles(polygon))
    corners = np.round(shapely.get_coordinates(pieces).reshape(-1, 4, 2)[:, :3], 7)
    return np.array([[index[tuple(p)] for p in triangle] for triangle in corners.tolist()])


def _with_tunnel(half: _Half, chains: dict[int, list[np.ndarray]], tunnel: Tunnel, patterns: Patterns) -> dict:
    """Legs, floors, and the chains from which the walls across the centre plane are made."""
    lower = _forwards(half, _one(chains[LOWER], "lower edge"), 0)
    middle = half.xyz(lower)[:, 0].mean()
    legs = {0: np.zeros(0, dtype=int), 1: np.zeros(0, dtype=int)}
    roofs = dict(legs)
    for kind, store in ((LEG, legs), (ROOF, roofs)):
        for chain in chains[kind]:
            side = int(half.xyz(chain)[:, 0].mean() > middle)
            if len(store[side]):
                _one([chain, store[side]], "edge between skin and tunnel")
            store[side] = _forwards(half, chain, 2 if kind == LEG else 0)
    outer = {0: chains[FRONT], 1: chains[REAR]}
    ends = []
    for k, run in enumerate((patterns.side.front, patterns.side.rear)):
        skin_edge = _forwards(half, _one(outer[k], f"{run.name} edge"), 2) if outer[k] else np.zeros(0, dtype=int)
        if len(skin_edge) == 0 and len(legs[k]) == 0:
            raise TrimError(
                f"At the {run.name} the skin closes before the tunnel reaches it.\n"
                "hint: the plan closes to a point there; make the tunnel wider than nothing at that end"
            )
        ends.append(_end(half, skin_edge, run, tunnel, legs[k]))
    corner = _corner_line(half, tunnel, ends[0].corner, ends[1].corner)
    p = half.xyz(lower)
    first = [legs[0][0]] if len(legs[0]) else [ends[0].inner[0]]
    last = [legs[1][0]] if len(legs[1]) else [ends[1].inner[0]]
    between = half.add(np.column_stack([p[1:-1, 0], tunnel.half(p[1:-1, 0]), p[1:-1, 2]]), LEG)
    foot = np.concatenate([first, between, last]).astype(int)
    half.faces["floor right"] = zipper(lower, foot, p[:, 0], p[:, 0])
    up_front = np.concatenate([legs[0], ends[0].inner[1:] if len(legs[0]) else ends[0].inner]).astype(int)
    up_rear = np.concatenate([legs[1], ends[1].inner[1:] if len(legs[1]) else ends[1].inner]).astype(int)
    ring = np.concatenate([foot, up_rear[1:], corner[::-1][1:], up_front[::-1][1:-1]])
    half.faces["tunnel right"] = _flat_polygon(half, ring)
    roof = np.concatenate([roofs[0][:-1], corner, roofs[1][1:]]).astype(int)
    return {"roof": roof, "ends": ends, "lower": lower, "corner": corner}


def _end_wall(end: _End, vertices: np.ndarray, mirror: np.ndarray, sign: float) -> np.ndarray:
    """Triangles that close one end from side to side, notched for the tunnel; ``sign`` of its x outwards."""
    outer, inner = end.outer, end.inner
    z = vertices[outer, 2]
    if len(inner) == 0:
        return _turned(vertices, zipper(outer, mirror[outer], z, z), 0, sign)
    level = vertices[inner, 2]
    k = int(np.argmax(z > level[-1] + 1e-9))
    right = zipper(outer[: k + 1], inner, z[: k + 1], level)
    step = np.array([inner[-1], outer[k]])
    parts = [right, mirror[right], zipper(step, mirror[step], z[:2], z[:2])]
    parts.append(zipper(outer[k:], mirror[outer[k:]], z[k:], z[k:]))
    return np.vstack([_turned(vertices, part, 0, sign) for part in parts if len(part)])


def _cut_seams(mesh: FlaggedMesh, seams: tuple[SeamLine, ...]) -> FlaggedMesh:
    """The skin with vertices along every drawn seam, each with a flag of its own."""
    for number, seam in enumerate(seams):
        p = mesh.vertices[:, [0, 2]] if seam.view == "side" else mesh.vertices[:, :2]
        d = seam.path.dense
        upright = np.ptp(d[:, 0]) < np.ptp(d[:, 1])
        along, across = (1, 0) if upright else (0, 1)
        line = d[np.argsort(d[:, along], kind="stable")]
        g = p[:, across] - np.interp(p[:, along], line[:, along], line[:, across])
        within = (p[:, along] >= line[0, along] - 15) & (p[:, along] <= line[-1, along] + 15)
        mesh, _, _ = cut_along(mesh, g, SEAM << number, only=within)
    return mesh


def assemble(half_surface: HalfSurface, patterns: Patterns, seams: tuple[SeamLine, ...] = ()) -> Shell:
    """The closed outer surface of the tank, its skin cut along the drawn seams but not yet divided.

    Raises
    ------
    TrimError
        Where tunnel, skin and ends meet in a way that no body can be made of: says where.
    """
    tunnel = tunnel_of(patterns)
    mesh = _grid_mesh(half_surface)
    if tunnel is not None:
        mesh = _trim_by_tunnel(mesh, tunnel)
    mesh = _cut_seams(mesh, seams)
    half = _Half(mesh)
    half.faces["skin right"] = _outwards(mesh.vertices, mesh.faces, 1, 1.0)
    chains = _edge_chains(half)
    if tunnel is not None:
        made = _with_tunnel(half, chains, tunnel, patterns)
        ends, corner = made["ends"], made["corner"]
        across = {"tunnel top": made["roof"]}
    else:
        none = np.zeros(0, dtype=int)
        closed = [_forwards(half, _one(c, "end"), 2) if c else none for c in (chains[FRONT], chains[REAR])]
        ends = [_End(edge, none, -1) for edge in closed]
        across = {"floor": _forwards(half, _one(chains[LOWER], "lower edge"), 0)} if chains[LOWER] else {}
        corner = none
    right = np.array(half.vertices)
    flags = np.array(half.flags)
    apart = np.flatnonzero(right[:, 1] != 0)
    mirror = np.arange(len(right))
    mirror[apart] = len(right) + np.arange(len(apart))
    vertices = np.vstack([right, right[apart] * [1, -1, 1]])
    mirror = np.concatenate([mirror, apart])
    flags = np.concatenate([flags, flags[apart]])
    pieces: dict[str, np.ndarray] = {}
    for name, axis, sign in (("skin right", 1, 1.0), ("floor right", 2, -1.0), ("tunnel right", 1, -1.0)):
        if name in half.faces and len(half.faces[name]):
            faces = half.faces[name]
            faces = faces if name == "skin right" else _turned(vertices, faces, axis, sign)
            pieces[name] = faces
            pieces[name.replace("right", "left")] = mirror[faces][:, ::-1]
    for name, chain in across.items():
        x = vertices[chain, 0]
        pieces[name] = _turned(vertices, zipper(chain, mirror[chain], x, x), 2, -1.0)
    for name, end, sign in zip(("front end", "rear end"), ends, (-1.0, 1.0), strict=True):
        if len(end.outer):
            pieces[name] = _end_wall(end, vertices, mirror, sign)
    names = tuple(pieces)
    ends_of_corner = tuple(tuple(float(c) for c in vertices[k]) for k in corner[[0, -1]]) if len(corner) else ()
    return Shell(
        vertices,
        np.vstack([pieces[n] for n in names]),
        np.concatenate([np.full(len(pieces[n]), k) for k, n in enumerate(names)]),
        names,
        flags,
        mirror,
        ends_of_corner,  # type: ignore[arg-type]
    )
