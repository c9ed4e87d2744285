"""The walls that face the motorcycle: the tunnel's legs, its rounded top and the neck wall, as parts of the right half.

Seen from the side, body and openings are regions of a plane: the trimmed skin's outline, the tunnel below its
top, the facets of a rounded top and of the neck relief. All their lines are crossed with one another once, on a
fine grid, and every region that the crossings leave is one flat part of a leg or of a facet. Where the skin ends on
a leg, the top or the neck wall its own vertices are the corners of these parts, so the two share their edge.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from .cutting_mesh import FlaggedMesh, boundary_chains, boundary_edges
from .errors import TrimError
from .neck import Neck
from .openings import FAR, LEG, NECK, Tunnel

__all__ = ["Sheets", "inner_sheets"]

#: Crossings of lines in the side view lie on this grid, mm.
GRID_MM = 1e-6
#: Lines that pass a vertex of the skin this close are led through it, mm: they are meant to meet there.
SNAP_MM = 1e-5
#: A neck wall this close to the centre plane lies in it, mm: there it runs almost square to the side view.
CENTRE_MM = 1e-4
#: What lies on either side of a line is looked up this far from it, mm.
ASIDE_MM = 2e-5
#: Step along the tunnel's top, mm.
ALONG_MM = 25.0
#: Regions smaller than this are rounding, mm2.
NOTHING_MM2 = 1e-7
#: What bounds the body at a place of the side view: nothing, a leg, facet k of a rounded top as `TOP` - k; facets
#: of the neck relief are 0 and up.
NOTHING, LEG_SIDE, TOP = -2, -1, -3


@dataclass(frozen=True)
class Sheets:
    """Vertices (n, 3) and flags (n,) of the skin with those of legs, top and neck wall after them, and the
    faces (m, 3) of each, anticlockwise in the side view: outwards of the fuel on the right. ``top`` are the
    facets of a rounded top, but for its roof."""

    vertices: np.ndarray
    flags: np.ndarray
    leg: np.ndarray
    top: np.ndarray
    wall: np.ndarray


class _Corners:
    """Vertices by where they lie in the side view and how far out."""

    def __init__(self, mesh: FlaggedMesh, edge: np.ndarray) -> None:
        self.vertices = list(mesh.vertices)
        self.flags = list(mesh.flags)
        self.at: dict[tuple[int, int], list[int]] = {}
        for k in edge.tolist():
            self.at.setdefault(self._key(mesh.vertices[k, [0, 2]]), []).append(k)

    @staticmethod
    def _key(xz: np.ndarray) -> tuple[int, int]:
        x, z = np.rint(np.asarray(xz) / GRID_MM)
        return int(x), int(z)

    def index(self, xz: np.ndarray, out: float, flag: int) -> int:
        """The vertex at (x, z), that far out: a known one where there is one, else new."""
        i, j = self._key(xz)
        for di in (0, 1, -1):
            for dj in (0, 1, -1):
                for k in self.at.get((i + di, j + dj), ()):
                    if abs(self.vertices[k][1] - out) < 1e-3:
                        self.flags[k] |= flag
                        return k
        self.vertices.append(np.array([xz[0], out, xz[1]]))
        self.flags.append(flag)
        self.at.setdefault((i, j), []).append(len(self.vertices) - 1)
        return len(self.vertices) - 1


def _top_line(mesh: FlaggedMesh, tunnel: Tunnel, known: list[np.ndarray]) -> np.ndarray:
    """The tunnel's top (n, 2) in the side view, well beyond the tank: through the skin's own vertices where
    the skin ends on it."""
    front, rear = mesh.vertices[:, 0].min() - ALONG_MM, mesh.vertices[:, 0].max() + ALONG_MM
    kinks = tunnel.frame.dense[:, 0]
    x = np.concatenate([np.linspace(front, rear, int((rear - front) / ALONG_MM) + 2), kinks])
    x = x[(x >= front) & (x <= rear)]
    points = [mesh.vertices[chain][:, [0, 2]] for chain in known]
    for own in points:
        x = x[(x < own[:, 0].min() - 1e-3) | (x > own[:, 0].max() + 1e-3)]
    line = np.vstack([np.column_stack([x, tunnel.top(x)]), *points])
    line = line[np.argsort(line[:, 0], kind="stable")]
    line = line[np.concatenate([[True], np.diff(line[:, 0]) > 1e-6])]
    return np.vstack([line[0] - [FAR, 0], line, line[-1] + [FAR, 0]])


@dataclass(frozen=True)
class _Openings:
    """Which opening bounds the body from within at a place of the side view."""

    tunnel: Tunnel | None
    neck: Neck | None
    top: np.ndarray  # (n, 2): the tunnel's top

    def low(self, p: np.ndarray) -> np.ndarray:
        """Half the tunnel's width at points (n, 2), 0 outside it."""
        if self.tunnel is None:
            return np.zeros(len(p))
        x, z = p.T
        front, rear = self.tunnel.reach
        within = (x > front) & (x < rear) & (z < np.interp(x, *self.top.T))
        return np.where(within, self.tunnel.low(x, z), 0.0)

    def cut(self, p: np.ndarray) -> np.ndarray:
        """Half the width of the neck relief at points (n, 2), 0 outside it."""
        return np.zeros(len(p)) if self.neck is None else self.neck.half(*p.T)

    def facet(self, p: np.ndarray) -> np.ndarray:
        """Number of the facet at points (n, 2); the flat ahead of the axis is the last."""
        assert self.neck is not None
        return np.searchsorted(-self.neck.rulings[:, 0], -self.neck.behind(*p.T)) - 1

    def label(self, p: np.ndarray) -> np.ndarray:
        """What bounds the body at points (n, 2): `NOTHING`, a leg, or a facet's number."""
        low, cut = self.low(p), self.cut(p)
        found = np.where(low > 0, self.side(p), NOTHING)
        return found if self.neck is None else np.where(cut > low, self.facet(p), found)

    def side(self, p: np.ndarray) -> np.ndarray:
        """Which wall of the tunnel bounds points (n, 2) inside it."""
        if self.tunnel is None or self.tunnel.rounded is None:
            return np.full(len(p), LEG_SIDE)
        k = self.tunnel.rounded.facet(*p.T)
        return np.where(k < len(self.tunnel.rounded.turns) - 1, TOP - k, LEG_SIDE)

    def lines(self, size: float) -> list[shapely.LineString]:
        """Every line at which the label may change, and more."""
        found = []
        if self.tunnel is not None:
            found.append(shapely.LineString(self.top))
            found += [shapely.LineString([[x, -size], [x, size]]) for x in self.tunnel.shut]
            found += self._rulings()
        if self.neck is None:
            return found
        d = self.neck.rulings[:, 0]
        for k in range(len(d)):
            found.append(shapely.LineString(self.neck.side_view(np.full(2, d[k]), np.array([-size, size]))))
        return found if self.tunnel is None else [*found, *self._even(size)]

    def _even(self, size: float) -> list[shapely.LineString]:
        """Where a facet of the neck relief is as far out as a wall of the tunnel: straight, within both."""
        assert self.neck is not None
        (one, lead, low), (two, start, high) = self._neck_planes(size), self._tunnel_planes()
        n = (one[:, None] - two[None]).reshape(-1, 2)
        c = (start[None] - lead[:, None]).reshape(-1)
        steep = np.linalg.norm(n, axis=1)
        pair = np.flatnonzero(steep > 1e-9)
        n, c, steep = n[pair], c[pair], steep[pair]
        foot, along = n * (c / steep**2)[:, None], n[:, ::-1] * [-1, 1] / steep[:, None]
        limits = np.concatenate([low[pair // len(two)], high[pair % len(two)]], axis=1)  # (p, 4, 3): g . p <= h
        rate = np.einsum("pkd,pd->pk", limits[..., :2], along)
        room = limits[..., 2] - np.einsum("pkd,pd->pk", limits[..., :2], foot)
        with np.errstate(divide="ignore", invalid="ignore"):
            end = room / rate
        flat = np.abs(rate) < 1e-12
        first = np.where(~flat & (rate < 0), end, -size).max(axis=1)
        last = np.where(~flat & (rate > 0), end, size).min(axis=1)
        some = (last - first > 1e-9) & ~np.any(flat & (room < 0), axis=1)
        ends = np.stack([foot + first[:, None] * along, foot + last[:, None] * along], axis=1)[some]
        return list(shapely.linestrings(ends))

    def _neck_planes(self, size: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Each facet of the neck relief as out = g . p + c over the side view: g (n, 2), c (n,), and the two limits
        (n, 2, 3) of its strip, a little beyond it: it is crossed there."""
        assert self.neck is not None
        d, y = self.neck.rulings.T
        behind, out = np.append(d[1:], -size), np.append(y[1:], y[-1])
        along = self.neck.directions[0]
        at = float(np.dot(self.neck.pattern.at, along))
        slope = (out - y) / (behind - d)
        wide = np.stack([np.append(np.tile(along, (len(d), 1)), (d + at + 1e-3)[:, None], axis=1)], axis=1)
        deep = np.stack([np.append(np.tile(-along, (len(d), 1)), (1e-3 - behind - at)[:, None], axis=1)], axis=1)
        return slope[:, None] * along, y - slope * (d + at), np.concatenate([wide, deep], axis=1)

    def _tunnel_planes(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """The same of the tunnel's leg and, before it, of every facet of a rounded top."""
        assert self.tunnel is not None
        start, next_mm = (float(half) for half in self.tunnel.half(np.array([0.0, 1.0])))
        leg = np.array([next_mm - start, 0.0])
        anywhere = np.zeros((1, 2, 3))
        top = self.tunnel.rounded
        if top is None:
            return leg[None], np.array([start]), anywhere
        x = np.array([0.0, 1.0])
        z = np.array([top.height(x, turn) for turn in top.turns])
        y = np.multiply.outer(top.profile[1], [start, next_mm])
        climb, level = z[:, 1] - z[:, 0], z[:, 0]
        # Over a facet, out is that of its upper ruling on it and that of its lower one on that.
        rise = np.diff(y, axis=0) / np.diff(z, axis=0)  # at x = 0 and 1 alike: upright sections are similar
        up = rise[:, 0]
        g = np.column_stack([y[:-1, 1] - y[:-1, 0] - up * climb[:-1], up])
        c = y[:-1, 0] - up * level[:-1]
        over = np.column_stack([-climb, np.ones(len(z)), level + 1e-3])  # z - ruling <= 1e-3
        under = np.column_stack([climb, -np.ones(len(z)), 1e-3 - level])
        limits = np.stack([over[:-1], under[1:]], axis=1)
        below = np.stack([over[-1], np.zeros(3)])[None]
        return np.vstack([g, leg]), np.append(c, start), np.concatenate([limits, below])

    def _rulings(self) -> list[shapely.LineString]:
        """Those of a rounded top but its roof's edge, from front to rear, on this side of a cone's tip."""
        assert self.tunnel is not None
        top = self.tunnel.rounded
        if top is None:
            return []
        ends = self.top[[1, -2], 0]
        if top.widening:
            tip = top.x_front - top.half / top.widening
            ends = np.maximum(ends, tip + 1.0) if top.widening > 0 else np.minimum(ends, tip - 1.0)
        return [shapely.LineString(np.column_stack([ends, top.height(ends, turn)])) for turn in top.turns[1:]]

    def borders(self, size: float) -> list[shapely.LineString]:
        """The lines at which the label does change, crossed with one another."""
        lines = self.lines(size)
        if not lines:
            return []
        crossed = shapely.get_parts(shapely.union_all(lines, grid_size=GRID_MM))
        ends = np.vstack([np.stack([p[:-1], p[1:]], axis=1) for p in map(shapely.get_coordinates, crossed)])
        along = ends[:, 1] - ends[:, 0]
        aside = along[:, ::-1] * [-1, 1] / np.maximum(np.linalg.norm(along, axis=1), 1e-12)[:, None] * ASIDE_MM
        middle = ends.mean(axis=1)
        sides = np.column_stack([self.label(middle + aside), self.label(middle - aside)])
        kept = sides[:, 0] != sides[:, 1]
        sides = sides[kept]
        ruling = np.all(sides >= 0, axis=1) | np.all((sides < 0) & (sides != NOTHING), axis=1)
        ends = ends[kept]
        return [*shapely.linestrings(ends[~ruling]), *_unbroken(ends, ruling)]


def _unbroken(ends: np.ndarray, ruling: np.ndarray) -> list[shapely.LineString]:
    """Those of the segments (n, 2, 2) that are parts of rulings, joined where nothing else meets them: a
    wall without points in its midst unrolls exactly, and so does its neutral surface."""
    key = np.rint(ends / GRID_MM).astype(np.int64).reshape(-1, 2)
    _, node = np.unique(key, axis=0, return_inverse=True)
    node = node.reshape(-1, 2)
    count = np.bincount(node.ravel())
    rulings = np.bincount(node[ruling].ravel(), minlength=len(count))
    joins = (count == 2) & (rulings == 2)
    at: dict[int, list[int]] = {}
    for k in np.flatnonzero(ruling).tolist():
        for n in node[k].tolist():
            at.setdefault(n, []).append(k)
    lines, done = [], set()
    for k in np.flatnonzero(ruling).tolist():
        if k in done:
            continue
        done.add(k)
        tips = []
        for side in (0, 1):
            segment, tip = k, side
            while joins[node[segment, tip]]:
                n = int(node[segment, tip])
                segment = next(m for m in at[n] if m != segment)
                done.add(segment)
                tip = 1 - node[segment].tolist().index(n)
            tips.append(ends[segment, tip])
        lines.append(shapely.LineString(tips))
    return lines


def _regions(skin: list[shapely.LineString], lines: list[shapely.LineString]) -> list[shapely.Polygon]:
    """The regions that the skin's edges and other lines leave, these led through its vertices they pass."""
    vertices = shapely.MultiPoint(shapely.get_coordinates(skin))
    whole = shapely.union_all([*skin, *shapely.snap(lines, vertices, SNAP_MM)], grid_size=GRID_MM)
    found = shapely.get_parts(shapely.polygonize(list(shapely.get_parts(whole))))
    return [region for region in found if region.area > NOTHING_MM2]


def _outline(mesh: FlaggedMesh, edges: np.ndarray) -> BaseGeometry:
    """The region of the side view that the skin covers."""
    region: BaseGeometry = shapely.Polygon()
    for chain in boundary_chains(edges):
        if chain[0] != chain[-1] or len(chain) < 4:
            continue
        region = region.symmetric_difference(shapely.Polygon(mesh.vertices[chain][:, [0, 2]]).buffer(0))
    return region


def _triangles(region: shapely.Polygon, bend: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Corners (n, 2) of a region of the side view and triangles (m, 3), anticlockwise. ``bend`` (2, 2)
    carries the side view to true lengths."""
    if len(region.interiors):
        raise TrimError(
            "The tunnel or the neck relief leaves an island of metal.\n"
            f"  place  x {region.centroid.x:.1f}, z {region.centroid.y:.1f} mm\n"
            "hint: look where the crown, the tunnel's top and the relief come close together"
        )
    ring = np.asarray(shapely.geometry.polygon.orient(region).exterior.coords)[:-1]
    true = ring @ bend.T
    number = {tuple(p): k for k, p in enumerate(true.tolist())}
    parts = shapely.get_parts(shapely.constrained_delaunay_triangles(shapely.Polygon(true)))
    corners = shapely.get_coordinates(parts).reshape(-1, 4, 2)[:, :3].tolist()
    faces = np.array([[number[tuple(p)] for p in triangle] for triangle in corners])
    u, v = true[faces[:, 1]] - true[faces[:, 0]], true[faces[:, 2]] - true[faces[:, 0]]
    wrong = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0] < 0
    return ring, np.where(wrong[:, None], faces[:, ::-1], faces)


def inner_sheets(mesh: FlaggedMesh, tunnel: Tunnel | None, neck: Neck | None, roofs: list[np.ndarray]) -> Sheets:
    """Legs, rounded top and neck wall of the right half.

    ``mesh`` is the trimmed skin; ``roofs`` are its edge chains along the tunnel's top.
    """
    edges = boundary_edges(mesh.faces)
    size = 2 * float(np.abs(mesh.vertices).max()) + 1000
    ends = mesh.vertices[edges][:, :, [0, 2]]
    some = np.any(np.rint(ends[:, 0] / GRID_MM) != np.rint(ends[:, 1] / GRID_MM), axis=1)
    skin = list(shapely.linestrings(ends[some]))
    openings = _Openings(tunnel, neck, np.zeros((0, 2)) if tunnel is None else _top_line(mesh, tunnel, roofs))
    covered = _outline(mesh, edges)
    corners = _Corners(mesh, np.unique(edges))
    found: dict[str, list[np.ndarray]] = {"leg": [], "top": [], "wall": []}
    for region in _regions(skin, openings.borders(size)):
        inside = region.representative_point()
        at = np.array([[inside.x, inside.y]])
        label = int(openings.label(at)[0])
        if label == NOTHING or not covered.contains(inside):
            continue
        ring, faces = _triangles(region, _bend(tunnel, neck, label, at[0]))
        if neck is not None and label >= 0:
            out, flag, store = neck.half(*ring.T), NECK, found["wall"]
        elif tunnel is not None:
            store = found["leg" if label == LEG_SIDE else "top"]
            out, flag = tunnel.low(*ring.T), LEG
        out = np.where(np.abs(out) < CENTRE_MM, 0.0, out)
        index = np.array([corners.index(p, y, flag) for p, y in zip(ring, out.tolist(), strict=True)])
        a, b, c = index[faces].T
        store.append(index[faces][(a != b) & (b != c) & (a != c)])
    none = np.zeros((0, 3), dtype=int)
    vertices, flags = np.array(corners.vertices), np.array(corners.flags)
    return Sheets(vertices, flags, *(np.vstack([none, *found[name]]) for name in ("leg", "top", "wall")))


def _bend(tunnel: Tunnel | None, neck: Neck | None, label: int, at: np.ndarray) -> np.ndarray:
    """(2, 2): from the side view to true lengths on the facet of that label, at a place (2,) of it."""
    if neck is not None and label >= 0:
        return _true_lengths(neck, label)
    if tunnel is None or label == LEG_SIDE:
        return np.eye(2)
    near = at + np.array([[0.0, 0.0], [1e-6, 0.0], [0.0, 1e-6]])
    out = tunnel.low(*near.T)
    rise = (out[1:] - out[0]) / 1e-6
    size = float(np.hypot(*rise))
    way = rise / size
    return np.eye(2) + (np.hypot(1.0, size) - 1.0) * np.outer(way, way)


def _true_lengths(neck: Neck, facet: int) -> np.ndarray:
    """(2, 2): from the side view to lengths across and along a facet."""
    across, up = neck.directions
    if facet == len(neck.rulings) - 1:
        return np.vstack([across, up])
    step = neck.rulings[facet] - neck.rulings[facet + 1]
    return np.vstack([across * np.hypot(*step) / step[0], up])
