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

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from ._bump_checks import (
    SURFACES,
    VIEWS,
    Raised,
    View,
    bump_out_hands,
    bump_out_pieces,
    bump_out_shift,
    bump_out_title,
    refuse_edge,
    refuse_frame,
    refuse_kink,
    refuse_rounded,
    refuse_steep,
    refuse_through,
    refused,
)
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


#: The surface is parted anew this far about the rim, mm.
ABOUT_MM = 2.0
#: Rims that no opening of a folded blank runs along, mm in all: rounding.
RIM_LEFT_MM = 0.1


def _rim(bump: BumpOut, grown: float) -> shapely.Polygon:
    """The outline in its view, corners rounded, as it is on the face away from the fuel or ``grown`` beyond it."""
    drawn = shapely.Polygon(bump.outline)
    if not drawn.is_valid or drawn.area < 1.0:
        hint = "list its corners once round"
        raise refused(bump, "has an outline that crosses itself or encloses nothing", hint=hint)
    shape = rounded(bump.outline, bump.corner_radius, grown)
    if shape is None:
        across = 2 * shapely.maximum_inscribed_circle(drawn).length
        raise refused(
            bump,
            "is too narrow for its rounded corners",
            ("corner radius", f"{bump.corner_radius:.1f} mm"),
            ("widest place", f"{across:.1f} mm across"),
            hint="a smaller corner_radius, or a larger outline",
        )
    return shape


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
        refuse_rounded(bump, patterns)
        refuse_frame(bump, patterns)
        shape = _rim(bump, grown if bump.depth > 0 else -grown)
        refuse_kink(bump, patterns, shape)
        for hand in bump_out_hands(bump):
            shell = _set_in(shell, patterns, number, hand, shape, thickness)
    return shell if len(shell.vertices) == old else _tidied(replace(shell, mirror=_twins(shell, old)))


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
    view, piece, sign = VIEWS[bump.on], _piece_under(shell, bump, hand, shape), -1.0 if hand == "left" else 1.0
    mine = np.flatnonzero(shell.piece == piece)
    refuse_edge(shell, patterns, number, sign, shell.faces[mine], shape)
    # The left hand is worked on in the mirror, so that a pair is a pair to the last digit.
    flip = np.array([1.0, sign, 1.0])
    faces = shell.faces[mine] if sign > 0 else shell.faces[mine][:, ::-1]
    raised = _raise(bump, view, shell.vertices * flip, faces, shell.flags, shape)
    refuse_through(bump, view, shell, piece, raised, flip, thickness)
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


def _named_walls(raised: Raised, view: View) -> list[tuple[str, np.ndarray]]:
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
    axes = list(VIEWS[bump.on].axes)
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
    raise refused(
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
    bump: BumpOut, view: View, vertices: np.ndarray, faces: np.ndarray, flags: np.ndarray, shape: shapely.Polygon
) -> Raised:
    """Cut the patch out of a piece's faces (m, 3) and set it off; ``vertices`` as on the right-hand side."""
    axes = list(view.axes)
    seen = vertices[:, axes]
    near = _near(seen, faces, shape)
    if bump.on == "side":  # a crown is seen twice from the side: its right half counts
        near &= area_vectors(vertices, faces)[:, 1] > 0
    refuse_steep(bump, view, vertices, faces[near])
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
    return Raised(vertices, flags, np.vstack([faces[~near], outside]), lifted[inside], walls)


def _near(seen: np.ndarray, faces: np.ndarray, shape: shapely.Polygon) -> np.ndarray:
    """Which faces (m,) lie within or about the outline."""
    x0, y0, x1, y1 = shape.buffer(ABOUT_MM).bounds
    low, high = seen[faces].min(axis=1), seen[faces].max(axis=1)
    boxed = np.flatnonzero((low[:, 0] < x1) & (high[:, 0] > x0) & (low[:, 1] < y1) & (high[:, 1] > y0))
    triangles = shapely.polygons(seen[faces[boxed]])
    found = np.zeros(len(faces), dtype=bool)
    found[boxed] = shapely.intersects(triangles, shape.buffer(ABOUT_MM))
    return found


def with_rims(blank: Blank) -> Blank:
    """A folded tunnel's blank with the openings over which its bump-outs are welded.

    Raises
    ------
    TrimError
        Where the rims on it do not close: no opening could be cut.
    """
    rims = [edge for edge in blank.edges if edge.meets.startswith("bump-out")]
    if not rims:
        return blank
    lines = shapely.union_all(shapely.MultiLineString([edge.points for edge in rims]), grid_size=1e-4)
    net = [np.array(ring.exterior.coords)[:-1] for ring in shapely.get_parts(shapely.polygonize([lines]))]
    alone = lines.length - sum(shapely.LinearRing(ring).length for ring in net)
    if alone > RIM_LEFT_MM:
        raise TrimError(
            f"The {blank.name} cannot be opened under {rims[0].meets.split(' wall')[0]}.\n"
            f"  its rim  {lines.length:.1f} mm, of which {alone:.1f} mm do not close\n"
            "hint: keep it away from folds, pie cuts and ends of the tunnel",
            blank=blank.name,
            alone=alone,
        )
    left = max(edge.allowance for edge in rims)
    cut = [shapely.Polygon(ring).buffer(-left, join_style="mitre") for ring in net]
    cut = [shape for shape in cut if shape.geom_type == "Polygon" and not shape.is_empty]
    return replace(
        blank,
        outline=with_holes(blank.outline, [np.array(shape.exterior.coords)[:-1] for shape in cut]),
        net=with_holes(blank.net, net),
        area_formed=blank.area_formed - sum(shapely.Polygon(ring).area for ring in net),
    )
