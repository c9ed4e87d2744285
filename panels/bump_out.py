"""Bump-outs: patches of skin, tunnel or floor set in or out, with a wall all round.

Words used here
    surface   the piece that the patch is cut from, and its view: skin sides and tunnel legs are looked at
              from the side, tunnel top and floors from above
    rim       where the wall leaves the surface: the outline as drawn, its corners rounded
    face      the patch itself, moved square to its view; it keeps the surface's shape
    wall      the band between rim and face, ruled along the way the patch moved: it unrolls exactly. It is
              cut from two strips, parted in the middle of straights and not in a corner

The patch is set into the closed body once its skin is divided, wholly on one of its pieces; the body stays closed,
and rim and face share their vertices with the wall.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from ._bump_rim import led_onto, parted, partings, rounded
from .cutting_mesh import area_vectors, boundary_chains, boundary_edges
from .errors import TrimError
from .margins import with_holes
from .outlets import within_faces
from .patterns import BumpOut, Patterns

if TYPE_CHECKING:
    from .assemble import Shell
    from .blank import Blank

__all__ = [
    "SURFACES",
    "bump_out_hands",
    "bump_out_pieces",
    "bump_out_shift",
    "bump_out_title",
    "with_bump_outs",
    "with_rims",
]

#: What a bump-out may lie on.
SURFACES = ("side", "leg", "top", "floor")

#: Metal left between a rim and the next edge, mm: two welds nearer than this pull on one another.
EDGE_ROOM_MM = 8.0  # common practice, no source
#: Room between the metals of a bump-out and of what lies behind it, for fuel to pass and for welding, mm.
BEHIND_MM = 6.0  # common practice, no source
#: Room from a bump-out to the backbone, mm.
LEAST_TO_FRAME_MM = 6.0  # common practice, no source
#: A surface that turns further than this out of its view is too steep for a patch that is set in square.
STEEPEST_DEG = 65.0
#: The surface is parted anew this far about the rim, mm.
ABOUT_MM = 2.0


def bump_out_title(bump: BumpOut) -> str:
    """Its name, with the word "bump-out" before it where the name does not have it."""
    return bump.name if "bump" in bump.name.lower() else f"bump-out {bump.name}"


def bump_out_pieces(patterns: Patterns, number: int, hand: str) -> tuple[str, str]:
    """How the pieces of a bump-out are named: what they begin with, and the side they end on."""
    count = f" {number + 1}" if len(patterns.bump_outs) > 1 else ""
    return f"bump-out{count}", f" {hand}" if hand else ""


def _refuse(bump: BumpOut, says: str, *lines: tuple[str, str], hint: str) -> TrimError:
    size = max((len(a) for a, _ in lines), default=0)
    rows = "".join(f"  {a:<{size}}  {b}\n" for a, b in lines)
    return TrimError(f"The {bump_out_title(bump)} {says}.\n{rows}hint: {hint}", name=bump.name)


def _rim(bump: BumpOut, grown: float) -> shapely.Polygon:
    """The outline in its view, corners rounded, as it is on the face away from the fuel or ``grown`` beyond it."""
    drawn = shapely.Polygon(bump.outline)
    if not drawn.is_valid or drawn.area < 1.0:
        hint = "list its corners once round"
        raise _refuse(bump, "has an outline that crosses itself or encloses nothing", hint=hint)
    shape = rounded(bump.outline, bump.corner_radius, grown)
    if shape is None:
        across = 2 * shapely.maximum_inscribed_circle(drawn).length
        raise _refuse(
            bump,
            "is too narrow for its rounded corners",
            ("corner radius", f"{bump.corner_radius:.1f} mm"),
            ("widest place", f"{across:.1f} mm across"),
            hint="a smaller corner_radius, or a larger outline",
        )
    return shape


@dataclass(frozen=True)
class _View:
    """How a surface is looked at: two axes of the view, the axis across, and which way of it is into the tank."""

    axes: tuple[int, int]
    across: int
    inwards: float


_VIEWS = {
    "side": _View((0, 2), 1, -1.0),
    "leg": _View((0, 2), 1, 1.0),
    "top": _View((0, 1), 2, 1.0),
    "floor": _View((0, 1), 2, 1.0),
}


def bump_out_shift(bump: BumpOut, hand: str) -> np.ndarray:
    """How far (3,) the face is moved off its surface, mm."""
    view = _VIEWS[bump.on]
    shift = np.zeros(3)
    shift[view.across] = view.inwards * bump.depth
    return shift * [1.0, -1.0 if hand == "left" else 1.0, 1.0]


@dataclass(frozen=True)
class _Raised:
    """What the patch makes of its piece: all vertices (n, 3) and flags (n,), the old ones first, and faces."""

    vertices: np.ndarray
    flags: np.ndarray
    rest: np.ndarray
    face: np.ndarray
    walls: tuple[np.ndarray, np.ndarray]


def with_bump_outs(shell: Shell, patterns: Patterns, *, thickness: float, grown: float = 0.0) -> Shell:
    """The closed surface with every bump-out of the patterns set in.

    ``thickness`` of the sheet, mm, decides what room is left behind it; ``grown`` is how much larger its outline
    is on the face that the surface shows.

    Raises
    ------
    TrimError
        Where one does not lie wholly on its surface, or comes through to what is behind: says where and by how much.
    """
    old = len(shell.vertices)
    for number, bump in enumerate(patterns.bump_outs):
        if bump.on not in SURFACES:
            raise ValueError(f"A bump-out lies on one of {', '.join(SURFACES)}, not on {bump.on!r}.")
        _refuse_frame(bump, patterns)
        shape = _rim(bump, grown if bump.depth > 0 else -grown)
        for hand in bump_out_hands(bump):
            shell = _set_in(shell, patterns, number, hand, shape, thickness)
    return shell if len(shell.vertices) == old else _tidied(replace(shell, mirror=_twins(shell, old)))


def bump_out_hands(bump: BumpOut) -> tuple[str, ...]:
    """The sides a patch lies on; "" where it crosses the centre plane."""
    out = bump.outline[:, 1]
    if bump.on in ("top", "floor") and out.min() < 0 < out.max():
        return ("",)
    return ("right", "left") if bump.hand == "both" else (bump.hand,)


def _tidied(shell: Shell) -> Shell:
    """The surface without vertices that no face has."""
    used, faces = np.unique(shell.faces, return_inverse=True)
    number = np.full(len(shell.vertices), -1)
    number[used] = np.arange(len(used))
    twin = np.where(number[shell.mirror] < 0, np.arange(len(number)), shell.mirror)
    return replace(
        shell,
        vertices=shell.vertices[used],
        faces=faces.reshape(-1, 3),
        flags=shell.flags[used],
        mirror=number[twin[used]],
    )


def _twins(shell: Shell, old: int) -> np.ndarray:
    """The twin of every vertex: its mirror image among the old or the new ones, itself where it has none."""
    mirror = np.concatenate([shell.mirror, np.arange(old, len(shell.vertices))])
    alike = np.abs(shell.vertices[mirror[:old]] * [1, -1, 1] - shell.vertices[:old]).max(axis=1) < 1e-4
    mirror[:old] = np.where(alike, mirror[:old], np.arange(old))
    place = np.rint(shell.vertices[old:] / 1e-4).astype(np.int64)
    at: dict[tuple[int, ...], int] = {tuple(p): old + k for k, p in enumerate(place.tolist())}
    for k, (x, y, z) in enumerate(place.tolist()):
        near = ((x + i, -y + j, z + m) for i in (0, 1, -1) for j in (0, 1, -1) for m in (0, 1, -1))
        mirror[old + k] = next((at[p] for p in near if p in at), old + k)
    return mirror


def _set_in(
    shell: Shell, patterns: Patterns, number: int, hand: str, shape: shapely.Polygon, thickness: float
) -> Shell:
    bump = patterns.bump_outs[number]
    view, piece, sign = _VIEWS[bump.on], _piece_under(shell, bump, hand, shape), -1.0 if hand == "left" else 1.0
    mine = np.flatnonzero(shell.piece == piece)
    # The left hand is worked on in the mirror, so that a pair is a pair to the last digit.
    flip = np.array([1.0, sign, 1.0])
    faces = shell.faces[mine] if sign > 0 else shell.faces[mine][:, ::-1]
    raised = _raise(bump, view, shell.vertices * flip, faces, shell.flags, shape)
    _refuse_through(bump, view, shell, piece, raised, flip, thickness)
    begins, ends = bump_out_pieces(patterns, number, hand)
    new = [(f"{begins} face{ends}", raised.face)]
    new += [(f"{begins} wall {word}{ends}", wall) for word, wall in _named_walls(raised, view)]
    found = [raised.rest, *(f for _, f in new)]
    numbers = [piece, *(len(shell.pieces) + k for k in range(len(new)))]
    found = found if sign > 0 else [f[:, ::-1] for f in found]
    keep = shell.piece != piece
    return replace(
        shell,
        vertices=raised.vertices * flip,
        flags=raised.flags,
        faces=np.vstack([shell.faces[keep], *found]),
        piece=np.concatenate([shell.piece[keep], *(np.full(len(f), n) for n, f in zip(numbers, found, strict=True))]),
        pieces=(*shell.pieces, *(name for name, _ in new)),
    )


def _named_walls(raised: _Raised, view: _View) -> list[tuple[str, np.ndarray]]:
    """The two strips of the wall, named by where they lie to one another."""
    one, two = raised.walls
    middle = [raised.vertices[np.unique(w)].mean(axis=0) for w in (one, two)]
    apart = (middle[1] - middle[0])[list(view.axes)]
    along = int(np.argmax(np.abs(apart)))
    words = (("front", "rear"), ("lower", "upper") if view.across == 1 else ("inner", "outer"))[along]
    return list(zip(words, (one, two) if apart[along] > 0 else (two, one), strict=True))


def _piece_under(shell: Shell, bump: BumpOut, hand: str, shape: shapely.Polygon) -> int:
    """Number of the piece that the middle of a bump-out lies on."""
    named = [k for k, name in enumerate(shell.pieces) if _may_bear(name, bump.on, hand)]
    axes = list(_VIEWS[bump.on].axes)
    left_in_plan = hand == "left" and axes[1] == 1
    at = np.array(shape.representative_point().coords) * [1.0, -1.0 if left_in_plan else 1.0]
    for k in named:
        faces = shell.faces[shell.piece == k]
        if bump.on == "side":
            faces = faces[area_vectors(shell.vertices, faces)[:, 1] * (-1 if hand == "left" else 1) > 0]
        if len(faces) and within_faces(shell.vertices[:, axes], faces, at)[0].any():
            return k
    where = _WHERE[bump.on]
    second = "z" if axes[1] == 2 else "out"
    lines = [("middle of its outline", f"x {at[0, 0]:.1f}, {second} {abs(at[0, 1]):.1f} mm")]
    if named:
        points = shell.vertices[np.unique(shell.faces[np.isin(shell.piece, named)])][:, axes]
        points = np.abs(points) if second == "out" else points
        (x0, s0), (x1, s1) = points.min(axis=0), points.max(axis=0)
        lines.append((f"{where} reaches", f"x {x0:.1f} to {x1:.1f}, {second} {s0:.1f} to {s1:.1f} mm"))
    raise _refuse(
        bump,
        f"does not lie on {where}" if named else f"asks for {where}, and this tank has none there",
        *lines,
        hint='lay it on another surface (on = "side", "leg", "top" or "floor"), or move its outline',
    )


_WHERE = {"side": "the skin", "leg": "a leg of the tunnel", "top": "the tunnel's top", "floor": "a floor"}
_NO_SKIN = ("floor", "tunnel", "front end", "rear end", "neck", "bump-out")


def _may_bear(piece: str, on: str, hand: str) -> bool:
    """Whether a piece of that name is what a bump-out may lie on."""
    if on == "side":
        return not piece.startswith(_NO_SKIN) and (piece.endswith(hand) or not piece.endswith(("right", "left")))
    if on == "leg":
        return piece == f"tunnel {hand}"
    return piece.startswith({"top": "tunnel top", "floor": "floor"}[on])


def _raise(
    bump: BumpOut, view: _View, vertices: np.ndarray, faces: np.ndarray, flags: np.ndarray, shape: shapely.Polygon
) -> _Raised:
    """Cut the patch out of a piece's faces (m, 3) and set it off; ``vertices`` as on the right-hand side."""
    axes = list(view.axes)
    seen = vertices[:, axes]
    _refuse_edge(bump, seen, faces, shape)
    near = _near(seen, faces, shape)
    if bump.on == "side":  # a crown is seen twice from the side: its right half counts
        near &= area_vectors(vertices, faces)[:, 1] > 0
    _refuse_steep(bump, view, vertices, faces[near])
    vertices = led_onto(vertices, faces, near, flags, shape, axes)
    inside, outside, new, marks = parted(vertices, faces[near], flags, shape, axes)
    vertices, flags = np.vstack([vertices, new]), np.concatenate([flags, marks])
    chain = boundary_chains(boundary_edges(inside))[0]
    rim = np.unique(chain)
    lifted = np.arange(len(vertices))
    lifted[rim] = len(vertices) + np.arange(len(rim))
    shift = bump_out_shift(bump, "right")
    within = np.setdiff1d(inside, rim)
    vertices, flags = np.vstack([vertices, vertices[rim] + shift]), np.concatenate([flags, np.zeros_like(flags[rim])])
    vertices[within] += shift
    flags[within] = 0
    a, b = chain[:-1], chain[1:]
    quads = np.stack([np.column_stack([lifted[b], lifted[a], a]), np.column_stack([lifted[b], a, b])], axis=1)
    cut = [int(np.argmin(np.linalg.norm(vertices[a][:, axes] - p, axis=1))) for p in partings(shape)]
    first, second = sorted(cut)
    turned = np.roll(quads, -first, axis=0)
    walls = (turned[: second - first].reshape(-1, 3), turned[second - first :].reshape(-1, 3))
    return _Raised(vertices, flags, np.vstack([faces[~near], outside]), lifted[inside], walls)


def _near(seen: np.ndarray, faces: np.ndarray, shape: shapely.Polygon) -> np.ndarray:
    """Which faces (m,) lie within or about the outline."""
    x0, y0, x1, y1 = shape.buffer(ABOUT_MM).bounds
    low, high = seen[faces].min(axis=1), seen[faces].max(axis=1)
    boxed = np.flatnonzero((low[:, 0] < x1) & (high[:, 0] > x0) & (low[:, 1] < y1) & (high[:, 1] > y0))
    triangles = shapely.polygons(seen[faces[boxed]])
    found = np.zeros(len(faces), dtype=bool)
    found[boxed] = shapely.intersects(triangles, shape.buffer(ABOUT_MM))
    return found


def _refuse_edge(bump: BumpOut, seen: np.ndarray, faces: np.ndarray, shape: shapely.Polygon) -> None:
    """A rim that comes too near the edge of its piece, or runs over it."""
    edges = boundary_edges(faces)
    lines = shapely.linestrings(seen[edges])
    gap = shapely.distance(lines, shape)
    k = int(np.argmin(gap))
    if gap[k] >= EDGE_ROOM_MM:
        return
    x, second = seen[edges[k]].mean(axis=0)
    raise _refuse(
        bump,
        "runs over an edge, a seam or a fold" if gap[k] == 0 else "comes too close to an edge, a seam or a fold",
        ("found", f"{gap[k]:.1f} mm at x {x:.1f}, {'z' if bump.on in ('side', 'leg') else 'out'} {second:.1f} mm"),
        ("needed", f"{EDGE_ROOM_MM:.0f} mm (common practice)"),
        hint="draw it smaller, or move it or the seam: it lies wholly on one panel of the skin, one leg, the tunnel's "
        "top or one floor",
    )


def _refuse_steep(bump: BumpOut, view: _View, vertices: np.ndarray, faces: np.ndarray) -> None:
    looks = area_vectors(vertices, faces)
    turn = np.degrees(np.arccos(np.abs(looks[:, view.across]) / np.linalg.norm(looks, axis=1)))
    k = int(np.argmax(turn))
    if turn[k] <= STEEPEST_DEG:
        return
    x, y, z = vertices[faces[k]].mean(axis=0)
    raise _refuse(
        bump,
        "lies where its surface turns away too far to be set in square",
        ("found", f"{turn[k]:.0f} degrees at x {x:.1f}, out {abs(y):.1f}, z {z:.1f} mm"),
        ("allowed", f"{STEEPEST_DEG:.0f} degrees"),
        hint="keep it lower on the side, away from the crown" if bump.on == "side" else "move it to a flatter place",
    )


def with_rims(blank: Blank) -> Blank:
    """A folded tunnel's blank with the openings over which its bump-outs are welded."""
    rims = [edge for edge in blank.edges if edge.meets.startswith("bump-out")]
    if not rims:
        return blank
    lines = shapely.union_all(shapely.MultiLineString([edge.points for edge in rims]), grid_size=1e-4)
    net = [np.array(ring.exterior.coords)[:-1] for ring in shapely.get_parts(shapely.polygonize([lines]))]
    left = max(edge.allowance for edge in rims)
    cut = [shapely.Polygon(ring).buffer(-left, join_style="mitre") for ring in net]
    cut = [shape for shape in cut if shape.geom_type == "Polygon" and not shape.is_empty]
    return replace(
        blank,
        outline=with_holes(blank.outline, [np.array(shape.exterior.coords)[:-1] for shape in cut]),
        net=with_holes(blank.net, net),
        area_formed=blank.area_formed - sum(shapely.Polygon(ring).area for ring in net),
    )


def _refuse_frame(bump: BumpOut, patterns: Patterns) -> None:
    """A patch set into the tunnel that leaves no room to the backbone."""
    tunnel = patterns.tunnel
    if tunnel is None or bump.depth > 0 or bump.on not in ("leg", "top"):
        return
    room = tunnel.side_room - tunnel.draw_in if bump.on == "leg" else tunnel.top_room
    if room + bump.depth < LEAST_TO_FRAME_MM:
        raise _refuse(
            bump,
            "stands out too far into the tunnel",
            ("room to the backbone there", f"{room + bump.depth:.1f} mm"),
            ("least", f"{LEAST_TO_FRAME_MM:.0f} mm to metal that shakes (common practice)"),
            hint="a shallower one, or more side_room or top_room in the tunnel",
        )


def _refuse_through(
    bump: BumpOut, view: _View, shell: Shell, piece: int, raised: _Raised, flip: np.ndarray, thickness: float
) -> None:
    """A patch that comes too near to what lies behind it."""
    face = np.unique(raised.face)
    at = raised.vertices[face]
    faces = shell.faces[shell.piece != piece]
    points = shell.vertices * flip
    axes = list(view.axes)
    seen = points[faces][..., axes]
    near = (seen.min(axis=1) <= at[:, axes].max(axis=0)) & (seen.max(axis=1) >= at[:, axes].min(axis=0))
    faces = faces[near.all(axis=1)]
    if not len(faces):
        return
    inside, share = within_faces(points[:, axes], faces, at[:, axes])
    across = np.einsum("kmj,mj->km", share, points[faces][..., view.across])
    way = np.sign(bump.depth) * view.inwards
    start = at[:, view.across] - view.inwards * bump.depth
    ahead = (across - start[:, None]) * way
    # Into the tank: what is met first ahead. Out of it: only what faces the patch, over the tunnel's width.
    ahead = np.where(inside & (ahead > 1e-6), ahead, np.inf)
    room = ahead.min(axis=1) - abs(bump.depth) - (2 * thickness if bump.depth > 0 else 0.0)
    k = int(np.argmin(room))
    if room[k] >= BEHIND_MM:
        return
    x, y, z = at[k]
    raise _refuse(
        bump,
        "comes through to what lies behind it" if room[k] <= 0 else "leaves little room behind it",
        ("room", f"{room[k]:.1f} mm between the metals at x {x:.1f}, out {abs(y):.1f}, z {z:.1f} mm"),
        ("needed", f"{BEHIND_MM:.0f} mm for fuel to pass and for welding (common practice)"),
        ("depth", f"{abs(bump.depth):.1f} mm"),
        hint="a shallower one, or one that lies where the tank is wider",
    )
