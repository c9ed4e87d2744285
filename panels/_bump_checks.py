"""What a bump-out may lie on, how that is looked at, and what is refused with both numbers.

The vocabulary is that of ``panels.bump_out``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from .cutting_mesh import area_vectors, boundary_edges
from .errors import TrimError
from .openings import tunnel_of
from .outlets import within_faces
from .patterns import BumpOut, Patterns
from .tunnel_kinks import Kink, kinks_of

if TYPE_CHECKING:
    from .assemble import Shell

__all__ = [
    "SURFACES",
    "VIEWS",
    "Raised",
    "View",
    "bump_out_hands",
    "bump_out_pieces",
    "bump_out_shift",
    "bump_out_title",
    "refuse_edge",
    "refuse_frame",
    "refuse_kink",
    "refuse_rounded",
    "refuse_steep",
    "refuse_through",
    "refused",
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
#: A frame line that turns by less than this at a point has no fold there, degrees: the tunnel is made without one.
NO_KINK_DEG = 0.05
FAR = 1e4


def bump_out_title(bump: BumpOut) -> str:
    """Its name, with the word "bump-out" before it where the name does not have it."""
    return bump.name if "bump" in bump.name.lower() else f"bump-out {bump.name}"


def bump_out_pieces(patterns: Patterns, number: int, hand: str) -> tuple[str, str]:
    """How the pieces of a bump-out are named: what they begin with, and the side they end on."""
    count = f" {number + 1}" if len(patterns.bump_outs) > 1 else ""
    return f"bump-out{count}", f" {hand}" if hand else ""


def bump_out_hands(bump: BumpOut) -> tuple[str, ...]:
    """The sides a patch lies on; "" where it crosses the centre plane."""
    out = bump.outline[:, 1]
    if bump.on in ("top", "floor") and out.min() < 0 < out.max():
        return ("",)
    return ("right", "left") if bump.hand == "both" else (bump.hand,)


@dataclass(frozen=True)
class View:
    """How a surface is looked at: two axes of the view, the axis across, and which way of it is into the tank."""

    axes: tuple[int, int]
    across: int
    inwards: float


VIEWS = {
    "side": View((0, 2), 1, -1.0),
    "leg": View((0, 2), 1, 1.0),
    "top": View((0, 1), 2, 1.0),
    "floor": View((0, 1), 2, 1.0),
}


def bump_out_shift(bump: BumpOut, hand: str) -> np.ndarray:
    """How far (3,) the face is moved off its surface, mm."""
    view = VIEWS[bump.on]
    shift = np.zeros(3)
    shift[view.across] = view.inwards * bump.depth
    return shift * [1.0, -1.0 if hand == "left" else 1.0, 1.0]


@dataclass(frozen=True)
class Raised:
    """What the patch makes of its piece: all vertices (n, 3) and flags (n,), the old ones first, and faces."""

    vertices: np.ndarray
    flags: np.ndarray
    rest: np.ndarray
    face: np.ndarray
    walls: tuple[np.ndarray, np.ndarray]


def refused(bump: BumpOut, says: str, *lines: tuple[str, str], hint: str) -> TrimError:
    size = max((len(a) for a, _ in lines), default=0)
    rows = "".join(f"  {a:<{size}}  {b}\n" for a, b in lines)
    return TrimError(f"The {bump_out_title(bump)} {says}.\n{rows}hint: {hint}", name=bump.name)


def refuse_edge(
    shell: Shell, patterns: Patterns, number: int, sign: float, faces: np.ndarray, shape: shapely.Polygon
) -> None:
    """A rim that comes too near the edge of its piece's ``faces`` (m, 3), or runs over it; ``sign`` -1 on the left."""
    bump = patterns.bump_outs[number]
    seen = (shell.vertices * [1.0, sign, 1.0])[:, list(VIEWS[bump.on].axes)]
    edges = boundary_edges(faces)
    lines = shapely.linestrings(seen[edges])
    gap = shapely.distance(lines, shape)
    k = int(np.argmin(gap))
    if gap[k] >= EDGE_ROOM_MM:
        return
    x, second = seen[edges[k]].mean(axis=0)
    other = _bump_out_at(shell, patterns, edges[k])
    what = "an edge, a seam or a fold" if other < 0 else f"the {bump_out_title(patterns.bump_outs[other])}"
    what = "its own other side" if other == number else what
    raise refused(
        bump,
        f"runs over {what}" if gap[k] == 0 else f"comes too close to {what}",
        ("found", f"{gap[k]:.1f} mm at x {x:.1f}, {'z' if bump.on in ('side', 'leg') else 'out'} {second:.1f} mm"),
        ("needed", f"{EDGE_ROOM_MM:.0f} mm (common practice)"),
        hint="draw it smaller, or move it or the seam: it lies wholly on one panel of the skin, one leg, the tunnel's "
        "top or one floor"
        if other < 0
        else "draw one of the two smaller, or move it; or draw one outline about both",
    )


def _bump_out_at(shell: Shell, patterns: Patterns, edge: np.ndarray) -> int:
    """Number of the bump-out whose wall has an edge (2,), -1 where it is none's."""
    touching = shell.piece[np.isin(shell.faces, edge).sum(axis=1) == 2]
    names = [shell.pieces[k] for k in np.unique(touching)]
    for number in range(len(patterns.bump_outs)):
        begins, _ = bump_out_pieces(patterns, number, "")
        if any(name.startswith(f"{begins} wall") for name in names):
            return number
    return -1


def _tunnel_kinks(patterns: Patterns) -> tuple[Kink, ...]:
    """Where the tunnel is folded across, or parted, because its frame line turns."""
    tunnel = tunnel_of(patterns)
    if tunnel is None or tunnel.rounded is not None:  # a rounded top has none
        return ()
    frame = patterns.side.line("frame")
    kinks = frame.points[1:-1][frame.corner[1:-1], 0]
    front, rear = max(tunnel.reach[0], tunnel.x_front), min(tunnel.reach[1], tunnel.x_rear)
    x = np.concatenate([[front], kinks[(kinks > front) & (kinks < rear)], [rear]])
    line = np.column_stack([x, tunnel.half(x), tunnel.top(x)])
    return tuple(kink for kink in kinks_of(line) if abs(kink.turn) > NO_KINK_DEG)


def refuse_kink(bump: BumpOut, patterns: Patterns, shape: shapely.Polygon) -> None:
    """A rim on the tunnel over a fold across its top, or over the pie cut or weld in a leg that goes with it."""
    if bump.on not in ("leg", "top"):
        return
    for kink in _tunnel_kinks(patterns):
        at = np.array([kink.at[0], kink.at[2]]) if bump.on == "leg" else np.array([kink.at[0], 0.0])
        way = np.array(kink.down) if bump.on == "leg" else np.array([0.0, 1.0])
        gap = shapely.LineString([at - FAR * way, at + FAR * way]).distance(shape)
        if gap >= EDGE_ROOM_MM:
            continue
        what = "the fold across the tunnel's top" if bump.on == "top" else "the pie cut in the leg"
        what = what if kink.crest else "the weld where the tunnel is parted"
        raise refused(
            bump,
            f"{'runs over' if gap == 0 else 'comes too close to'} {what}, at the kink of the frame line",
            ("found", f"{gap:.1f} mm to the kink at x {kink.at[0]:.1f} mm"),
            ("needed", f"{EDGE_ROOM_MM:.0f} mm (common practice)"),
            hint="make it as two, one on either side of the kink, or move it to one side",
        )


def refuse_steep(bump: BumpOut, view: View, vertices: np.ndarray, faces: np.ndarray) -> None:
    looks = area_vectors(vertices, faces)
    turn = np.degrees(np.arccos(np.abs(looks[:, view.across]) / np.linalg.norm(looks, axis=1)))
    k = int(np.argmax(turn))
    if turn[k] <= STEEPEST_DEG:
        return
    x, y, z = vertices[faces[k]].mean(axis=0)
    raise refused(
        bump,
        "lies where its surface turns away too far to be set in square",
        ("found", f"{turn[k]:.0f} degrees at x {x:.1f}, out {abs(y):.1f}, z {z:.1f} mm"),
        ("allowed", f"{STEEPEST_DEG:.0f} degrees"),
        hint="keep it lower on the side, away from the crown" if bump.on == "side" else "move it to a flatter place",
    )


def refuse_rounded(bump: BumpOut, patterns: Patterns) -> None:
    """A patch on a tunnel's top that is rolled."""
    if bump.on == "top" and patterns.tunnel is not None and patterns.tunnel.top != "flat":
        raise refused(
            bump,
            "lies on a rounded top, which is rolled: no patch can be set square into it",
            ("found", f'on = "top", and [tunnel] top = "{patterns.tunnel.top}"'),
            ("allowed", 'on = "leg", "floor" or "side", or a flat top'),
            hint='lay it on the leg, or make the tunnel with top = "flat"',
        )


def refuse_frame(bump: BumpOut, patterns: Patterns) -> None:
    """A patch set into the tunnel that leaves no room to the backbone."""
    tunnel = patterns.tunnel
    if tunnel is None or bump.depth > 0 or bump.on not in ("leg", "top"):
        return
    room = tunnel.side_room - tunnel.draw_in if bump.on == "leg" else tunnel.top_room
    if room + bump.depth < LEAST_TO_FRAME_MM:
        raise refused(
            bump,
            "stands out too far into the tunnel",
            ("room to the backbone there", f"{room + bump.depth:.1f} mm"),
            ("least", f"{LEAST_TO_FRAME_MM:.0f} mm to metal that shakes (common practice)"),
            hint="a shallower one, or more side_room or top_room in the tunnel",
        )


def refuse_through(
    bump: BumpOut, view: View, shell: Shell, piece: int, raised: Raised, flip: np.ndarray, thickness: float
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
    raise refused(
        bump,
        "comes through to what lies behind it" if room[k] <= 0 else "leaves little room behind it",
        ("room", f"{room[k]:.1f} mm between the metals at x {x:.1f}, out {abs(y):.1f}, z {z:.1f} mm"),
        ("needed", f"{BEHIND_MM:.0f} mm for fuel to pass and for welding (common practice)"),
        ("depth", f"{abs(bump.depth):.1f} mm"),
        hint="a shallower one, or one that lies where the tank is wider",
    )
