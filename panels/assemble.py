"""Close the half surface, its tunnel, floors, ends and neck relief into one watertight body.

The body is a height field over the side view (see ``panels.surface``): at every point of the side view
the metal lies between the openings towards the frame, tunnel and neck relief, half their width inwards, and
the skin, half width outwards. So the skin is cut where it would lie inside an opening; legs and neck wall
close it from within (``panels.inner_sheet``); and all other walls are ruled square to the centre plane
(``panels.walls``): floors along the bottom run, ends along the end runs, the tunnel's top along its own line,
the walls that shut a tunnel inside the tank. Neighbours share their vertices, so the body has no gap, and
every edge of a panel is the very edge of the panel it meets.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .cutting_mesh import FlaggedMesh, area_vectors, boundary_chains, boundary_edges, cut_along
from .edges import connected, shared_edges
from .errors import TrimError
from .inner_sheet import Sheets, inner_sheets
from .neck import Neck, neck_of, trim_by_neck
from .openings import (
    CENTRE,
    FRONT,
    LEG,
    LOWER,
    NECK,
    REAR,
    ROOF,
    SEAM,
    SHOULDER,
    SHUT,
    TOP_RULES,
    WIDEST,
    Tunnel,
    tunnel_of,
)
from .patterns import Patterns, SeamLine
from .round_top import RoundTop
from .surface import HalfSurface
from .walls import inner_runs, wall_between

__all__ = [
    "CENTRE",
    "FRONT",
    "LEG",
    "LOWER",
    "NECK",
    "REAR",
    "ROOF",
    "SEAM",
    "SHOULDER",
    "WIDEST",
    "Shell",
    "Tunnel",
    "assemble",
    "tunnel_of",
]

#: Least reach of the tunnel's cuts beside it, mm.
BESIDE_MM = 25.0


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


def _grid_mesh(half: HalfSurface) -> FlaggedMesh:
    """The half surface as triangles turned outwards, each quad halved along its shorter diagonal."""
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
    faces = np.vstack([first, second])
    if area_vectors(v, faces)[:, 1].sum() < 0:
        faces = faces[:, ::-1]
    return _welded(FlaggedMesh(v, faces, flags.ravel()))


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


def _trim_by_tunnel(mesh: FlaggedMesh, tunnel: Tunnel) -> FlaggedMesh:
    """The skin without the part that would lie inside the tunnel."""
    edges = mesh.edges()
    longest = float(np.linalg.norm(mesh.vertices[edges[:, 0]] - mesh.vertices[edges[:, 1]], axis=1).max())

    def over(m: FlaggedMesh) -> np.ndarray:
        return m.vertices[:, 2] - tunnel.top(m.vertices[:, 0])

    def outside(m: FlaggedMesh) -> np.ndarray:
        if tunnel.rounded is not None:
            return tunnel.rounded.excess(m.vertices)
        return m.vertices[:, 1] - tunnel.half(m.vertices[:, 0])

    # Only the skin near the tunnel need know how high its top is and where it stops.
    beside = max(BESIDE_MM, longest)
    mesh, level, _ = cut_along(mesh, over(mesh), ROOF, only=outside(mesh) < beside)
    for x in tunnel.shut:
        below = (over(mesh) < 1e-9) & (outside(mesh) < beside)
        mesh, _, _ = cut_along(mesh, mesh.vertices[:, 0] - x, SHUT, only=below)
    if tunnel.rounded is not None:
        mesh = _ruled(mesh, tunnel.rounded)
    level = over(mesh)
    level[mesh.flags & ROOF > 0] = 0.0
    mesh, _, _ = cut_along(mesh, outside(mesh), LEG, only=level <= 0)
    v = mesh.vertices.copy()
    leg, roof = mesh.flags & LEG > 0, mesh.flags & ROOF > 0
    v[roof, 2] = tunnel.top(v[roof, 0])
    v[leg, 1] = tunnel.low(v[leg, 0], v[leg, 2])
    middle = v[mesh.faces].mean(axis=1)
    inside = tunnel.holds(middle[:, 0], middle[:, 2]) & (middle[:, 1] < tunnel.low(middle[:, 0], middle[:, 2]))
    if not np.any(inside):
        return FlaggedMesh(v, mesh.faces, mesh.flags & ~(ROOF | LEG | SHUT | TOP_RULES[0] | TOP_RULES[1]))
    used, faces = np.unique(mesh.faces[~inside], return_inverse=True)
    flags = np.where(mesh.flags & LEG > 0, mesh.flags, mesh.flags & ~(TOP_RULES[0] | TOP_RULES[1]))
    return FlaggedMesh(v[used], faces.reshape(-1, 3), flags[used])


def _ruled(mesh: FlaggedMesh, top: RoundTop) -> FlaggedMesh:
    """The skin near a rounded top cut by the planes of its rulings through the axis: no edge of it that the top
    will cut spans two facets."""
    # The tunnel is convex: a face that is wholly outside one of its sides, or inside all of them, is not cut.
    outside = top.outside(mesh.vertices)
    parted = np.any(np.all(outside[mesh.faces], axis=1), axis=1)
    out = np.any(outside, axis=1)
    touched = ~parted & np.any(out[mesh.faces], axis=1)
    near = np.zeros(len(mesh.vertices), dtype=bool)
    near[mesh.faces[touched]] = True
    near[mesh.faces[near[mesh.faces].any(axis=1)]] = True  # cuts move vertices a little
    mine = near[mesh.faces].any(axis=1)
    rest, part = mesh.faces[~mine], FlaggedMesh(mesh.vertices, mesh.faces[mine], mesh.flags)
    if not len(part.faces):
        return mesh
    for k, turn in enumerate(top.turns):
        part, _, _ = cut_along(part, top.aside(part.vertices, turn), TOP_RULES[k % 2], only=near)
        near = np.concatenate([near, np.ones(len(part.vertices) - len(near), dtype=bool)])
    return FlaggedMesh(part.vertices, np.vstack([rest, part.faces]), part.flags)


def _cut_seams(mesh: FlaggedMesh, seams: tuple[SeamLine, ...]) -> FlaggedMesh:
    """The skin with vertices along every drawn seam, each with a flag of its own."""
    for number, seam in enumerate(seams):
        p = mesh.vertices[:, [0, 2]] if seam.view == "side" else mesh.vertices[:, :2]
        d = seam.path.dense
        upright = np.ptp(d[:, 0]) < np.ptp(d[:, 1])
        along, across = (1, 0) if upright else (0, 1)
        step = np.diff(d[:, along])
        if np.any(step > 1e-9) and np.any(step < -1e-9):
            at = d[int(np.argmax(np.sign(step) != np.sign(step.sum())))]
            raise TrimError(
                f"The seam {seam.name} turns back on itself at ({at[0]:.1f}, {at[1]:.1f}) mm.\n"
                "hint: draw it one way, from edge to edge of the skin; part it in two seams where it turns"
            )
        line = d[np.argsort(d[:, along], kind="stable")]
        g = p[:, across] - np.interp(p[:, along], line[:, along], line[:, across])
        within = (p[:, along] >= line[0, along] - 15) & (p[:, along] <= line[-1, along] + 15)
        mesh, _, _ = cut_along(mesh, g, SEAM << number, only=within)
    return mesh


@dataclass
class _Open:
    """The right half with legs and neck wall, and its open edges by the line they lie on."""

    sheets: Sheets
    outer: dict[int, list[np.ndarray]]  # chains of the skin's and legs' edges under which a wall hangs
    inner: np.ndarray  # directed edges (e, 2) at which walls end


def _skin_edges(mesh: FlaggedMesh) -> dict[int, np.ndarray]:
    """The skin's directed edges by the line they lie on."""
    edges = boundary_edges(mesh.faces)
    common = mesh.flags[edges[:, 0]] & mesh.flags[edges[:, 1]]
    kinds = np.zeros(len(edges), dtype=int)
    for flag in (NECK, LEG, ROOF, SHUT, LOWER, REAR, FRONT, CENTRE):
        kinds[(common & flag) > 0] = flag
    if np.any(kinds == 0):
        place = mesh.vertices[edges[kinds == 0][:, 0]].mean(axis=0)
        raise TrimError(
            "The skin has an edge that belongs to no line of the patterns.\n"
            f"  place  x {place[0]:.1f}, out {place[1]:.1f}, z {place[2]:.1f} mm\n"
            "hint: check that the tunnel, the neck relief, the widest line and the ends do not touch there"
        )
    return {int(kind): edges[kinds == kind] for kind in np.unique(kinds)}


def _refuse_parted(kept: dict[int, np.ndarray]) -> None:
    """Refuse a skin that the openings have cut into parts."""
    parts = sum(len(boundary_chains(edges)) for kind, edges in kept.items() if kind == LOWER)
    if parts > 1:
        raise TrimError(
            f"The lower edge is in {parts} parts.\n"
            "hint: between its ends the tank must be wider at the lower edge than the tunnel and the neck relief"
        )


def _opened(mesh: FlaggedMesh, tunnel: Tunnel | None, neck: Neck | None) -> _Open:
    """Legs and neck wall set into the skin, and what is still open."""
    skin = _skin_edges(mesh)
    _refuse_parted(skin)
    roofs = boundary_chains(skin[ROOF]) if ROOF in skin else []
    if tunnel is None and neck is None:
        none = np.zeros((0, 3), dtype=int)
        sheets = Sheets(mesh.vertices, mesh.flags, none, none, none)
    else:
        sheets = inner_sheets(mesh, tunnel, neck, roofs)
    edges = boundary_edges(np.vstack([mesh.faces, sheets.leg, sheets.top, sheets.wall]))
    size = len(sheets.vertices)
    key = edges[:, 0] * size + edges[:, 1]

    def of(faces: np.ndarray) -> np.ndarray:
        return np.isin(key, faces[:, 0] * size + faces[:, 1])

    own = {kind: of(e) for kind, e in skin.items()}
    inner = ~np.any(list(own.values()), axis=0)
    inner &= ~np.all(sheets.vertices[edges][:, :, 1] == 0, axis=1)  # these meet their mirror image
    outer = {kind: edges[mask] for kind, mask in own.items() if kind in (LOWER, FRONT, REAR, ROOF, SHUT)}
    inwards = np.vstack([sheets.leg, sheets.top])
    if tunnel is not None and len(inwards):
        leg = inner & of(boundary_edges(inwards))
        for kind, on in _on_tunnel(sheets.vertices[edges], tunnel).items():
            mine = leg & on
            outer[kind] = np.vstack([outer.get(kind, edges[:0]), edges[mine]])
            sheets.flags[edges[mine]] |= kind
            inner &= ~mine
    chains = {kind: boundary_chains(found) for kind, found in outer.items() if len(found)}
    return _Open(sheets, chains, edges[inner])


def _on_tunnel(ends: np.ndarray, tunnel: Tunnel) -> dict[int, np.ndarray]:
    """Which edges (e, 2, 3) lie on the tunnel's top, and which on a wall that shuts it."""
    points = np.concatenate([ends, ends.mean(axis=1, keepdims=True)], axis=1)
    x, z = points[..., 0], points[..., 2]
    shut = np.zeros(len(ends), dtype=bool)
    for wall in tunnel.shut:
        shut |= np.all(np.abs(x - wall) < 1e-5, axis=1)
    return {SHUT: shut, ROOF: np.all(np.abs(z[:, :2] - tunnel.top(x[:, :2])) < 1e-4, axis=1) & ~shut}


_WALLS = ((ROOF, "tunnel top"), (SHUT, "tunnel end"), (LOWER, "floor"), (FRONT, "front end"), (REAR, "rear end"))


def _walls(half: _Open, mirror: np.ndarray, tunnel: Tunnel | None) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """Faces on the right and across of every wall square to the centre plane, by name."""
    left = half.inner
    found: dict[str, tuple[np.ndarray, np.ndarray]] = {}
    v = half.sheets.vertices
    for kind, name in _WALLS:
        for chain in half.outer.get(kind, []):
            runs, used = inner_runs(v, chain, left)
            left = left[~used]
            wall = wall_between(v, mirror, chain, runs)
            own = name
            if kind == SHUT and tunnel is not None:
                own = f"{name} {'front' if abs(v[chain[0], 0] - tunnel.reach[0]) < 1e-3 else 'rear'}"
            before = found.get(own, (wall.right[:0], wall.across[:0]))
            found[own] = (np.vstack([before[0], wall.right]), np.vstack([before[1], wall.across]))
    return found


def _parts(faces: np.ndarray) -> list[np.ndarray]:
    """Faces that hang together by their edges, part by part, in order of their first face."""
    label = connected(len(faces), shared_edges(faces)[1])
    return [faces[label == k] for k in range(label.max(initial=-1) + 1)]


def _named(name: str, faces: np.ndarray, vertices: np.ndarray) -> dict[str, np.ndarray]:
    """The parts of a piece, each with its side where it lies to one, and a number where it has peers."""
    rows = []
    for part in _parts(faces):
        y = vertices[part, 1]
        side = "" if y.min() < 0 < y.max() else (" right" if y.max() > 0 else " left")
        middle = vertices[part].reshape(-1, 3).mean(axis=0)
        rows.append((side, (round(float(middle[0]), 3), round(float(middle[2]), 3)), part))
    named = {}
    for side, place, part in sorted(rows, key=lambda row: (row[1], row[0] == " left")):
        peers = sorted(other[1] for other in rows if other[0] == side)
        number = f" {peers.index(place) + 1}" if len(peers) > 1 else ""
        named[f"{name}{number}{side}"] = part
    return named


def _check_closed(vertices: np.ndarray, faces: np.ndarray) -> None:
    edges = faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    size = len(vertices)
    found, count = np.unique(edges[:, 0] * size + edges[:, 1], return_counts=True)
    twice = np.column_stack(np.divmod(found[count > 1], size))
    open_edges = np.vstack([boundary_edges(faces), twice])
    if len(open_edges):
        place = vertices[open_edges].reshape(-1, 3)
        at = np.abs(place - place.mean(axis=0) * [1, 0, 1]).sum(axis=1).argmin()
        x, y, z = place[at]
        raise TrimError(
            "The walls do not close the body.\n"
            f"  place  x {x:.1f}, out {abs(y):.1f}, z {z:.1f} mm\n"
            "hint: look there; the tunnel, the neck relief, the ends or the widest line may meet in one point, "
            "or leave no metal between them"
        )
    parts = len(_parts(faces))
    if parts > 1:
        raise TrimError(
            f"The tank falls into {parts} parts.\n"
            "hint: its crown must stay above the tunnel's top, and it must be wider than the tunnel and the relief"
        )


def assemble(half_surface: HalfSurface, patterns: Patterns, seams: tuple[SeamLine, ...] = ()) -> Shell:
    """The closed outer surface of the tank, its skin cut along the drawn seams but not yet divided.

    Raises
    ------
    TrimError
        Where tunnel, neck relief, skin and ends meet in a way that no body can be made of: says where.
    """
    tunnel, neck = tunnel_of(patterns), neck_of(patterns)
    mesh = _grid_mesh(half_surface)
    if tunnel is not None:
        mesh = _trim_by_tunnel(mesh, tunnel)
    if neck is not None:
        mesh = trim_by_neck(mesh, neck, half_surface.grid[-1])
    mesh = _cut_seams(mesh, seams)
    half = _opened(mesh, tunnel, neck)
    right, flags = half.sheets.vertices, half.sheets.flags
    apart = np.flatnonzero(right[:, 1] != 0)
    mirror = np.arange(len(right))
    mirror[apart] = len(right) + np.arange(len(apart))
    walls = _walls(half, mirror, tunnel)
    mirror = np.concatenate([mirror, apart])
    vertices = np.vstack([right, right[apart] * [1, -1, 1]])
    flags = np.concatenate([flags, flags[apart]])
    pieces = {"skin right": mesh.faces, "skin left": mirror[mesh.faces][:, ::-1]}
    sheets = {"tunnel": half.sheets.leg, "neck wall": half.sheets.wall}
    if len(half.sheets.top):  # a rounded top: its facets with the roof between them
        one, across = walls.get("tunnel top", (half.sheets.top[:0], half.sheets.top[:0]))
        walls["tunnel top"] = (np.vstack([half.sheets.top, one]), across)
    for name, (one, across) in {**{n: (f, f[:0]) for n, f in sheets.items()}, **walls}.items():
        both = np.vstack([one, mirror[one][:, ::-1], across])
        if len(both):
            pieces |= _named(name, both, vertices)
    names = tuple(sorted(pieces, key=_order))
    faces = np.vstack([pieces[n] for n in names])
    _check_closed(vertices, faces)
    number = np.concatenate([np.full(len(pieces[n]), k) for k, n in enumerate(names)])
    return Shell(vertices, faces, number, names, flags, mirror)


def _order(name: str) -> tuple[int, str]:
    """Pieces in the order in which papers list them, right before left."""
    kinds = ("skin", "floor", "tunnel right", "tunnel left", "tunnel top", "tunnel", "front", "rear", "neck")
    rank = next(k for k, kind in enumerate(kinds) if name.startswith(kind))
    return rank, name.replace("right", "0").replace("left", "1")
