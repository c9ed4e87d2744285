"""The finished tank as still pictures, for paper and where scripts are off: each piece hatched and numbered.

Words used here
    group     the faces of one blank: a body piece belongs to the blank of its name, or of the first words of it
    tone      how much light falls on a face, in a few steps
    seen      a face no other face stands in front of, found by filling a coarse grid with what is nearest
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from .svg import HATCHES, number, shape_path, svg, words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from shapely.geometry.base import BaseGeometry

    from panels.blank import Blank
    from panels.body import Body

__all__ = ["VIEWS", "Group", "Mesh", "View", "groups_of", "still_mesh", "tank_svg"]


class Group(NamedTuple):
    """The faces of one blank: its number (None where no blank belongs to it), name, and faces (k,)."""

    piece: int | None
    name: str
    faces: np.ndarray

    @property
    def label(self) -> str:
        """``4 tunnel``."""
        return self.name if self.piece is None else f"{self.piece} {self.name}"


class View(NamedTuple):
    """A still view: what it is called, and the direction towards the eye (x rearwards, y right, z up)."""

    title: str
    towards: tuple[float, float, float]


VIEWS = (
    View("from the front, left and above", (-0.72, -0.85, 0.62)),
    View("from the rear, right and below", (0.78, 0.80, -0.66)),
)
TONES = (0.35, 0.62, 0.85)  # light at which the tone changes
GRID = 240  # cells along the picture's width when hidden faces are looked for
LONGEST = 24  # the picture shows part of a face hidden no finer than this share of the tank's length


def groups_of(body: Body, blanks: Sequence[Blank]) -> list[Group]:
    """The body's faces by blank, in the order of the cut list, then those that no blank belongs to."""
    numbers = {blank.name: k for k, blank in enumerate(blanks, 1)}
    found: dict[tuple[int | None, str], list[int]] = {}
    for k, name in enumerate(body.pieces):
        longest = max((n for n in numbers if name == n or name.startswith(f"{n} ")), key=len, default="")
        key = (numbers[longest], longest) if longest else (None, name)
        found.setdefault(key, []).append(k)
    ordered = sorted(found.items(), key=lambda item: (item[0][0] is None, item[0][0] or 0, item[1]))
    groups = [Group(piece, name, np.flatnonzero(np.isin(body.piece, ks))) for (piece, name), ks in ordered]
    return [group for group in groups if len(group.faces)]


class Mesh(NamedTuple):
    """The outer surface made ready for still pictures from any side."""

    points: np.ndarray  # (n, 3)
    faces: np.ndarray  # (m, 3)
    normal: np.ndarray  # (m, 3), of length 1
    groups: Sequence[Group]
    owner: np.ndarray  # (m,) the group of each face
    edges: np.ndarray  # (e, 2) points
    beside: np.ndarray  # (e, 2) the faces at each edge; m stands for none


def still_mesh(body: Body, groups: Sequence[Group]) -> Mesh:
    """The body's outer surface with its long faces split, and which face lies beside which; serves every view."""
    points, faces, parent = _fine(body.outer, body.faces, float(np.ptp(body.outer, axis=0).max()) / LONGEST)
    owner = np.zeros(len(body.faces), dtype=np.int64)
    for k, group in enumerate(groups):
        owner[group.faces] = k
    ends = np.sort(np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]), axis=1)
    key = ends[:, 0].astype(np.int64) * len(points) + ends[:, 1]
    order = np.argsort(key, kind="stable")
    key, face = key[order], order % len(faces)
    first = np.flatnonzero(np.concatenate([[True], key[1:] != key[:-1]]))
    last = np.append(first[1:], len(key)) - 1
    beside = np.stack([face[first], np.where(last > first, face[last], len(faces))], axis=1)
    corners = points[faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normal /= np.maximum(np.linalg.norm(normal, axis=1), 1e-9)[:, None]
    return Mesh(points, faces, normal, groups, owner[parent], ends[order[first]], beside)


def _axes(towards: Sequence[float]) -> np.ndarray:
    """Columns: right on the picture, up on it, towards the eye."""
    d = np.asarray(towards, dtype=float) / np.linalg.norm(towards)
    right = np.cross([0.0, 0.0, 1.0], d)
    right /= np.linalg.norm(right)
    return np.stack([right, np.cross(d, right), d], axis=1)


def _fine(points: np.ndarray, faces: np.ndarray, longest: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The mesh with every edge at most so long, split in the middle, and each new face's number before.

    Flat plates come as a few long triangles; part of one may be hidden.
    """
    done, of_done, parent = [], [], np.arange(len(faces))
    for _ in range(12):
        steps = points[faces] - points[np.roll(faces, -1, axis=1)]  # edge k: corner k to k + 1
        far = (steps * steps).sum(axis=2) > longest * longest
        split = far.any(axis=1)
        done.append(faces[~split])
        of_done.append(parent[~split])
        faces, parent, far = faces[split], parent[split], far[split]
        if not len(faces):
            break
        # A face with no long edge is finished: its edges are not split from the other side either.
        points, middle = _halved(points, faces, far)
        # Turned so that the marked edges come first: one marked is edge 0, two are edges 0 and 1.
        count = far.sum(axis=1)
        first = np.where(count == 1, far.argmax(axis=1), np.where(count == 2, ((~far).argmax(axis=1) + 1) % 3, 0))
        turn = (np.arange(3) + first[:, None]) % 3
        (a, b, c), (p, q, r) = np.take_along_axis(faces, turn, 1).T, np.take_along_axis(middle, turn, 1).T
        made = [
            (count == 1, [(a, p, c), (p, b, c)]),
            (count == 2, [(p, b, q), (a, p, q), (a, q, c)]),
            (count == 3, [(a, p, r), (p, b, q), (r, q, c), (p, q, r)]),
        ]
        faces = np.vstack([np.stack(three, axis=1)[which] for which, parts in made for three in parts])
        parent = np.concatenate([parent[which] for which, parts in made for _ in parts])
    return points, np.vstack([*done, faces]), np.concatenate([*of_done, parent])


def _halved(points: np.ndarray, faces: np.ndarray, marked: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The points with the middles of the marked edges (m, 3) behind them, and which point each middle is, else -1."""
    ends = np.sort(np.stack([faces, np.roll(faces, -1, axis=1)], axis=2), axis=2)[marked]
    keys, index = np.unique(ends[:, 0] * len(points) + ends[:, 1], return_inverse=True)
    middle = np.full(faces.shape, -1)
    middle[marked] = len(points) + index
    one, other = np.divmod(keys, len(points))
    return np.vstack([points, (points[one] + points[other]) / 2]), middle


def _visible(mesh: Mesh, flat: np.ndarray, normal: np.ndarray) -> np.ndarray:
    """Which faces (m,) are seen: facing the eye, their middle not behind another face."""
    facing = np.flatnonzero(normal[:, 2] > 1e-3)
    low, span = flat.min(axis=0), np.ptp(flat, axis=0)
    cell = span[0] / GRID
    columns, rows = GRID + 3, int(span[1] / cell) + 4
    nearest = np.full(columns * rows, -np.inf)
    on_grid = (flat - [low[0] - cell / 2, low[1] - cell / 2, 0.0]) / [cell, cell, 1.0]
    corners = on_grid[mesh.faces[facing]]
    reach = (corners.max(axis=1) - corners.min(axis=1))[:, :2].max(axis=1)
    steps = np.clip(2 ** np.ceil(np.log2(np.maximum(reach * 1.3, 2.0))).astype(int), 2, 256)

    def place(points: np.ndarray) -> np.ndarray:
        at = points[:, :2].astype(np.int32)
        return at[:, 1] * columns + at[:, 0]

    for step in np.unique(steps):
        share = np.arange(step + 1) / step
        u, v = (grid.ravel() for grid in np.meshgrid(share, share))
        u, v = u[u + v <= 1.0001], v[u + v <= 1.0001]
        weights = np.stack([1 - u - v, u, v], axis=1)
        these = corners[steps == step]
        for chunk in np.array_split(these, max(1, len(these) * len(u) // 1_000_000)):
            points = (weights @ chunk).reshape(-1, 3)
            np.maximum.at(nearest, place(points), points[:, 2])
    middle = (corners[:, 0] + corners[:, 1] + corners[:, 2]) / 3
    slope = np.hypot(normal[facing, 0], normal[facing, 1]) / normal[facing, 2]
    seen = np.zeros(len(mesh.faces), dtype=bool)
    seen[facing] = middle[:, 2] >= nearest[place(middle)] - cell * (3 + 2 * np.minimum(slope, 20))
    return _evened(mesh, normal[:, 2] > 1e-3, seen)


def _evened(mesh: Mesh, can: np.ndarray, seen: np.ndarray) -> np.ndarray:
    """The same with lone faces given the answer of their neighbours, for slivers fool the grid, and grown a little."""
    both = np.append(can, False)[mesh.beside].all(axis=1)
    one, other = mesh.beside[both].T
    seen = seen.copy()
    for _ in range(2):
        votes = np.bincount(one, 2.0 * seen[other] - 1, len(seen)) + np.bincount(other, 2.0 * seen[one] - 1, len(seen))
        seen = np.where(can & (np.abs(votes) >= 2), votes > 0, seen)
    # A little farther than what is seen: the nearer piece is drawn over it, with its own clean edge.
    for _ in range(2):
        reached = seen.copy()
        reached[one[seen[other]]] = True
        reached[other[seen[one]]] = True
        seen = reached
    return seen


class _Parts(NamedTuple):
    """What is seen, parted: each face's part (m,), -1 for unseen; its place and covered area on the picture; the
    edges (e, 2, 2) that part one from another, and the parts at their two sides (e, 2)."""

    part: np.ndarray
    middle: np.ndarray
    covered: np.ndarray
    rims: np.ndarray
    sides: np.ndarray
    speck: float


def _parted(mesh: Mesh, flat: np.ndarray, part: np.ndarray) -> _Parts:
    corners = flat[mesh.faces][:, :, :2]
    (ux, uy), (vx, vy) = (corners[:, 1] - corners[:, 0]).T, (corners[:, 2] - corners[:, 0]).T
    sides = np.append(part, -1)[mesh.beside]
    between = np.flatnonzero(sides[:, 0] != sides[:, 1])
    rims = flat[mesh.edges[between]][:, :, :2]
    # Specks are faces that the grid got wrong.
    speck = (float(np.ptp(flat[:, 0])) / 90) ** 2
    middle = (corners[:, 0] + corners[:, 1] + corners[:, 2]) / 3
    return _Parts(part, middle, (ux * vy - uy * vx) / 2, rims, sides[between], speck)


def _outline_of(parts: _Parts, first: int, last: int) -> BaseGeometry:
    """What the parts from first to last cover on the picture, from the edges with one of them at one side."""
    import shapely

    inside = (parts.sides >= first) & (parts.sides <= last)
    rim = parts.rims[inside[:, 0] != inside[:, 1]]
    rim = rim[(rim[:, 0] != rim[:, 1]).any(axis=1)]
    if not len(rim):
        return shapely.Polygon()
    chosen = (parts.part >= first) & (parts.part <= last)
    covered = float(parts.covered[chosen].sum())
    # Where the surface turns away from the eye its rim may cross itself on the picture: join there first.
    for lines in (shapely.linestrings(rim), None):
        lines = shapely.get_parts(shapely.union_all(shapely.linestrings(rim))) if lines is None else lines
        kept = _holding(shapely.get_parts(shapely.polygonize(lines)), parts.middle[chosen])
        if abs(sum(part.area for part in kept) - covered) < 1e-6 * covered:
            break
    joined = kept[0] if len(kept) == 1 else shapely.union_all(np.array(kept, dtype=object))
    found = [p for p in shapely.get_parts(joined) if p.geom_type == "Polygon" and p.area > parts.speck]
    return shapely.MultiPolygon(found)


def _holding(parts: np.ndarray, middle: np.ndarray) -> list[BaseGeometry]:
    """The polygons that hold at least one of the points (k, 2)."""
    import shapely

    shapely.prepare(parts)
    holds = [part for part in parts if shapely.contains_xy(part, middle[:, 0], middle[:, 1]).any()]
    return [part if part.is_valid else part.buffer(0) for part in holds]


def tank_svg(mesh: Mesh, view: View, *, name: str) -> str:
    """One still picture of the outer surface. ``name`` must be unique on the page."""
    axes = _axes(view.towards)
    flat, normal = mesh.points @ axes, mesh.normal @ axes
    seen = _visible(mesh, flat, normal)
    lamp = np.array([-0.35, -0.45, 0.82]) * (-1 if view.towards[2] < 0 else 1)
    tone = np.digitize(np.clip(mesh.normal @ (lamp / np.linalg.norm(lamp)), 0, 1), TONES)
    tones = len(TONES) + 1
    parts = _parted(mesh, flat, np.where(seen, mesh.owner * tones + tone, -1))
    low, high = flat.min(axis=0)[:2], flat.max(axis=0)[:2]
    size = float((high - low)[0]) / 30
    content, labels = [_hatches(name, len(mesh.groups), size)], []
    depth = flat[:, 2][mesh.faces].sum(axis=1)
    count = np.maximum(np.bincount(mesh.owner, minlength=len(mesh.groups)), 1)
    for k in np.argsort(np.bincount(mesh.owner, depth, len(mesh.groups)) / count, kind="stable").tolist():
        whole = _outline_of(parts, k * tones, k * tones + tones - 1)
        if whole.is_empty:
            continue
        edge = _path(whole)
        content.append(f'<path class="tone{tones - 2}" d="{edge}"/>')
        for step in range(tones):
            lit = _outline_of(parts, k * tones + step, k * tones + step)
            content.append(f'<path class="tone{step}" d="{_path(lit)}"/>' if not lit.is_empty else "")
        content.append(f'<path fill="url(#{name}-h{k % len(HATCHES)})" d="{edge}"/>')
        content.append(f'<path class="pen-cut" d="{edge}"/>')
        labels.append(_label(mesh.groups[k], whole, size))
    pad = 1.2 * size
    box = (low[0] - pad, low[1] - pad, high[0] + pad, high[1] + pad)
    told = ", ".join(group.label for group in mesh.groups)
    return svg(
        box, [*content, *labels], title=f"The tank {view.title}", describes=f"Pieces: {told}",
        kind="tank", name=name,
    )  # fmt: skip


def _path(shape: BaseGeometry) -> str:
    return shape_path(shape, simplify=0.3)


def _label(group: Group, shape: BaseGeometry, size: float) -> str:
    """The piece's number and name in the middle of what is seen of it; the number alone where it is tight."""
    import shapely

    largest = max(shapely.get_parts(shape), key=lambda part: part.area)
    spot = shapely.maximum_inscribed_circle(largest, tolerance=max(0.5, largest.length / 300))
    at, radius = spot.coords[0], spot.length
    if radius < 0.45 * size:
        return ""
    tight = radius < 0.28 * size * len(group.label) * 0.55
    text = str(group.piece) if tight and group.piece is not None else group.label
    return words(text, at, size, kind="halo strong")


def _hatches(name: str, count: int, size: float) -> str:
    made = []
    for k in range(min(count, len(HATCHES))):
        turn, spacing = HATCHES[k]
        step = number(spacing * size, 2)
        made.append(
            f'<pattern id="{name}-h{k}" width="{step}" height="{step}" patternUnits="userSpaceOnUse" '
            f'patternTransform="rotate({turn})"><path class="hatchline" d="M0,0h{step}"/></pattern>'
        )
    return f"<defs>{''.join(made)}</defs>"
