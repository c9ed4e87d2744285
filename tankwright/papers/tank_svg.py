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

__all__ = ["VIEWS", "Group", "groups_of", "tank_svg"]


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
GRID = 420  # cells along the picture's width when hidden faces are looked for


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


def _seen_from(vertices: np.ndarray, towards: Sequence[float]) -> np.ndarray:
    """Vertices (n, 3) as right, up, nearness to the eye."""
    d = np.asarray(towards, dtype=float) / np.linalg.norm(towards)
    right = np.cross([0.0, 0.0, 1.0], d)
    right /= np.linalg.norm(right)
    return vertices @ np.stack([right, np.cross(d, right), d], axis=1)


def _fine(points: np.ndarray, faces: np.ndarray, longest: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The mesh with every edge at most so long, split in the middle, and each new face's number before.

    Flat plates come as a few long triangles; part of one may be hidden.
    """
    parent = np.arange(len(faces))
    for _ in range(12):
        ends = np.sort(np.stack([faces, np.roll(faces, -1, axis=1)], axis=2), axis=2)  # edge k: corner k to k + 1
        keys, index = np.unique(ends[:, :, 0] * len(points) + ends[:, :, 1], return_inverse=True)
        edges, index = np.stack(np.divmod(keys, len(points)), axis=1), index.reshape(-1, 3)
        long = np.linalg.norm(points[edges[:, 0]] - points[edges[:, 1]], axis=1) > longest
        if not long.any():
            break
        middle = np.full(len(edges), -1)
        middle[long] = len(points) + np.arange(long.sum())
        points = np.vstack([points, points[edges[long]].mean(axis=1)])
        marked = long[index]
        # Turned so that the marked edges come first: one marked is edge 0, two are edges 0 and 1.
        count = marked.sum(axis=1)
        first = np.where(count == 1, marked.argmax(axis=1), np.where(count == 2, ((~marked).argmax(axis=1) + 1) % 3, 0))
        turn = (np.arange(3) + first[:, None]) % 3
        corner, halfway = np.take_along_axis(faces, turn, 1), middle[np.take_along_axis(index, turn, 1)]
        (a, b, c), (p, q, r) = corner.T, halfway.T
        made = [(count == 0, [(a, b, c)]), (count == 1, [(a, p, c), (p, b, c)])]
        made += [
            (count == 2, [(p, b, q), (a, p, q), (a, q, c)]),
            (count == 3, [(a, p, r), (p, b, q), (r, q, c), (p, q, r)]),
        ]
        faces = np.vstack([np.stack(three, axis=1)[which] for which, parts in made for three in parts])
        parent = np.concatenate([parent[which] for which, parts in made for _ in parts])
    return points, faces, parent


def _visible(flat: np.ndarray, faces: np.ndarray, facing: np.ndarray) -> np.ndarray:
    """Which faces (m,) are seen: facing the eye, their middle not behind another face."""
    low, span = flat.min(axis=0), np.ptp(flat, axis=0)
    cell = span[0] / GRID
    columns, rows = GRID + 3, int(span[1] / cell) + 4
    nearest = np.full(columns * rows, -np.inf)
    corners = flat[faces[facing]]
    reach = np.ptp(corners[:, :, :2], axis=1).max(axis=1) / cell
    steps = np.clip(2 ** np.ceil(np.log2(np.maximum(reach * 1.3, 2.0))).astype(int), 2, 256)

    def place(points: np.ndarray) -> np.ndarray:
        at = ((points[:, :2] - low[:2]) / cell + 0.5).astype(int)
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
    middle = corners.mean(axis=1)
    edge = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    slope = np.hypot(edge[:, 0], edge[:, 1]) / np.maximum(edge[:, 2], 1e-9)
    seen = np.zeros(len(faces), dtype=bool)
    seen[facing] = middle[:, 2] >= nearest[place(middle)] - cell * (3 + 2 * np.minimum(slope, 20))
    return _evened(faces, facing, seen)


def _evened(faces: np.ndarray, facing: np.ndarray, seen: np.ndarray) -> np.ndarray:
    """The same with lone faces given the answer of their neighbours, for slivers fool the grid, and grown a little."""
    ends = np.sort(np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]), axis=1)
    owner = np.tile(np.arange(len(faces)), 3)
    key = ends[:, 0] * (int(faces.max()) + 1) + ends[:, 1]
    order = np.argsort(key, kind="stable")
    key, owner = key[order], owner[order]
    same = np.flatnonzero(key[1:] == key[:-1])
    one, other = owner[same], owner[same + 1]
    can = np.zeros(len(faces), dtype=bool)
    can[facing] = True
    both = can[one] & can[other]
    one, other = one[both], other[both]
    seen = seen.copy()
    for _ in range(2):
        votes = np.bincount(one, np.where(seen[other], 1, -1), len(faces))
        votes += np.bincount(other, np.where(seen[one], 1, -1), len(faces))
        seen = np.where(can & (np.abs(votes) >= 2), votes > 0, seen)
    # A little farther than what is seen: the nearer piece is drawn over it, with its own clean edge.
    for _ in range(2):
        reached = seen.copy()
        reached[one[seen[other]]] = True
        reached[other[seen[one]]] = True
        seen = reached
    return seen


def _outline_of(flat: np.ndarray, faces: np.ndarray) -> BaseGeometry:
    """What a set of faces covers on the picture, from the edges that only one of them has: quick."""
    import shapely

    ends = np.sort(np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]), axis=1)
    keys, count = np.unique(ends[:, 0] * len(flat) + ends[:, 1], return_counts=True)
    rim = flat[np.stack(np.divmod(keys[count == 1], len(flat)), axis=1)][:, :, :2]
    rim = rim[(rim[:, 0] != rim[:, 1]).any(axis=1)]
    middle = flat[faces][:, :, :2].mean(axis=1)
    kept = []
    # Where the surface turns away from the eye its rim may cross itself on the picture: join there first.
    crossed = shapely.union_all(shapely.linestrings(rim)) if len(rim) else shapely.LineString()
    for part in shapely.get_parts(shapely.polygonize(shapely.get_parts(crossed))):
        if shapely.contains_xy(part, middle[:, 0], middle[:, 1]).any():
            kept.append(part if part.is_valid else part.buffer(0))
    joined = shapely.union_all(np.array(kept, dtype=object)) if kept else shapely.Polygon()
    # Specks are faces that the grid got wrong.
    speck = (float(np.ptp(flat[:, 0])) / 90) ** 2
    return shapely.MultiPolygon([p for p in shapely.get_parts(joined) if p.geom_type == "Polygon" and p.area > speck])


def tank_svg(body: Body, groups: Sequence[Group], view: View, *, name: str) -> str:
    """One still picture of the outer surface. ``name`` must be unique on the page."""
    points, faces, parent = _fine(body.outer, body.faces, float(np.ptp(body.outer, axis=0).max()) / 36)
    groups = [group._replace(faces=np.flatnonzero(np.isin(parent, group.faces))) for group in groups]
    flat = _seen_from(points, view.towards)
    corners = points[faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(normal, axis=1)
    normal /= np.where(length > 0, length, 1.0)[:, None]
    towards = np.asarray(view.towards) / np.linalg.norm(view.towards)
    facing = np.flatnonzero((normal @ towards > 1e-3) & (length > 1e-9))
    seen = _visible(flat, faces, facing)
    lamp = np.array([-0.35, -0.45, 0.82]) * (-1 if towards[2] < 0 else 1)
    tone = np.digitize(np.clip(normal @ (lamp / np.linalg.norm(lamp)), 0, 1), TONES)
    low, high = flat.min(axis=0)[:2], flat.max(axis=0)[:2]
    size = float((high - low)[0]) / 30
    content, labels = [_hatches(name, len(groups), size)], []
    near = {k: float(flat[faces[g.faces]][:, :, 2].mean()) for k, g in enumerate(groups)}
    for k in sorted(near, key=lambda k: near[k]):
        mine = groups[k].faces[seen[groups[k].faces]]
        whole = _outline_of(flat, faces[mine]) if len(mine) else None
        if whole is None or whole.is_empty:
            continue
        edge = _path(whole)
        content.append(f'<path class="tone{len(TONES) - 1}" d="{edge}"/>')
        for step in range(len(TONES) + 1):
            these = mine[tone[mine] == step]
            if len(these):
                lit = _outline_of(flat, faces[these])
                content.append(f'<path class="tone{step}" d="{_path(lit)}"/>' if not lit.is_empty else "")
        content.append(f'<path fill="url(#{name}-h{k % len(HATCHES)})" d="{edge}"/>')
        content.append(f'<path class="pen-cut" d="{edge}"/>')
        labels.append(_label(groups[k], whole, size))
    pad = 1.2 * size
    box = (low[0] - pad, low[1] - pad, high[0] + pad, high[1] + pad)
    told = ", ".join(group.label for group in groups)
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
