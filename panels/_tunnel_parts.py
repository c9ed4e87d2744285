"""The parts of a tunnel's flat: top, bend zones and legs, each in its place, and all as one."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from panels._tunnel_ends import Crossing, bend_end, crossings
from panels._tunnel_frame import SIDES, TunnelFrame, pairs
from panels.errors import TunnelError
from panels.fold import FoldLine

if TYPE_CHECKING:
    from shapely.geometry import Polygon

__all__ = ["bend_zone", "hair", "join_parts", "leg_below_fold", "leg_in_flat", "top_between_folds", "top_crossings"]

Array = NDArray[np.float64]

SNAP_MM = 1e-6  # parts of the flat are joined on this grid
FAR = 1e5  # mm, past the end of any tunnel

Leg = tuple["Polygon", tuple[Crossing, Crossing]]


def leg_below_fold(frame: TunnelFrame, leg_xz: ArrayLike, back: float, side: str) -> Leg:
    """A leg below its tangent line, in (u, v), and where its ends cross that line."""
    from shapely.geometry import box

    name = f"The {side} leg"
    outline = _outline(frame.leg_to_uv(pairs(leg_xz, f"{name}'s outline")), f"{name}'s outline")
    met = crossings(np.asarray(outline.exterior.coords)[:, :2], back)
    if len(met) != 2:
        top_edge = outline.bounds[1]
        if not met:
            raise TunnelError(
                f"{name} does not reach its fold: it starts {top_edge:.2f} mm below the frame line and ends "
                f"{outline.bounds[3]:.2f} mm below it; the bend begins at {back:.2f} mm.\n\n"
                "hint: draw the leg up to the frame line, or take a smaller fold radius",
                side=side,
                starts=top_edge,
                ends=outline.bounds[3],
                setback=back,
            )
        places = ", ".join(f"{_x_at(frame, at.u, back):.1f}" for at in met)
        raise TunnelError(
            f"{name} is cut through at its fold; its outline meets the bend at x {places} mm, twice is "
            "allowed.\n\nhint: keep cut-outs below the fold, or make the leg in one run",
            side=side,
            crossings=tuple(at.u for at in met),
        )
    pieces = outline.intersection(box(-FAR, back, FAR, FAR))
    return _one_piece(pieces, f"{name} below its fold"), (met[0], met[1])


def _x_at(frame: TunnelFrame, u: float, v: float) -> float:
    """x of a point of a leg."""
    along, rise = frame.leg_run / frame.length, frame.climb / frame.length
    return frame.corner[0] + (u * along + v * rise) * frame.run / frame.leg_run


def _outline(points: Array, what: str) -> Polygon:
    from shapely.geometry import Polygon
    from shapely.geometry.polygon import orient

    if len(points) < 3:
        raise TunnelError(f"{what} has {len(points)} corners; it needs 3 or more.", corners=len(points))
    outline = Polygon(points)
    if not outline.is_valid or outline.area < 1.0:
        raise TunnelError(
            f"{what} crosses itself or encloses nothing (area {outline.area:.2f} mm2, 1 mm2 is the least).\n\n"
            "hint: list its corners in order, once round",
            area=outline.area,
        )
    return orient(outline)


def _one_piece(shape: object, what: str) -> Polygon:
    pieces = [p for p in getattr(shape, "geoms", [shape]) if p.geom_type == "Polygon" and p.area > 1e-6]
    if len(pieces) != 1:
        raise TunnelError(
            f"{what} is {len(pieces)} pieces; it must be one.\n\nhint: look where its outline turns back on itself",
            pieces=len(pieces),
        )
    return pieces[0]


def top_between_folds(frame: TunnelFrame, plan: ArrayLike | None, back: float, legs: dict[str, Leg]) -> Polygon:
    """The top between its two tangent lines, in the flat."""
    from shapely.geometry import Polygon

    if plan is None:
        outline = _straight_top(frame, back, legs)
    else:
        points = pairs(plan, "The top's outline")
        whole = _outline(points, "The top's outline")
        if points[:, 1].min() >= -1e-9:
            both = whole.union(_outline(points * [1, -1], "The top's outline"))
            whole = _one_piece(both, "The top's outline with its mirror image")
        outline = Polygon(frame.plan_to_top(np.asarray(whole.exterior.coords)[:, :2]))
    _refuse_narrow(frame, outline.bounds, back)
    u, v = np.array([-FAR, FAR, FAR, -FAR]), np.array([back, back, FAR, FAR])
    inside = frame.uv_to_flat(u, -v)
    between = outline.intersection(Polygon(inside)).intersection(Polygon(inside * [1, -1]))
    return _one_piece(between, "The top between its folds")


def _straight_top(frame: TunnelFrame, back: float, legs: dict[str, Leg]) -> Polygon:
    """Ends straight across, between the corners where the legs' ends meet the corner lines."""
    from shapely.geometry import Polygon

    corners = []
    for side, (_, ends) in legs.items():
        at_corner = np.array([end.u - end.slope * back for end in ends])
        corners.append(frame.uv_to_flat(at_corner, np.zeros(2)) * [1.0, SIDES[side]])
    right, left = corners
    across = right - left
    # Run on past the corner lines: the tangent lines trim it.
    right, left = right + across, left - across
    return Polygon([left[0], left[1], right[1], right[0]])


def _refuse_narrow(frame: TunnelFrame, bounds: tuple[float, float, float, float], back: float) -> None:
    needed = back * frame.length / frame.slope_run
    for s in (bounds[0], bounds[2]):
        half = frame.half_at(s)
        if half <= needed:
            x = frame.corner[0] + s * frame.run / frame.slope_run
            raise TunnelError(
                f"The tunnel is {2 * half:.2f} mm wide at x {x:.1f} mm; its two folds alone take "
                f"{2 * needed:.2f} mm.\n\nhint: widen the tunnel there, or take a smaller fold radius",
                width=2 * half,
                needed=2 * needed,
                x=x,
            )


def top_crossings(frame: TunnelFrame, top: Polygon, back: float, side: str) -> tuple[Crossing, Crossing]:
    """Where the ends of the top meet its tangent line on one side."""
    points = np.asarray(top.exterior.coords)[:, :2] * [1.0, SIDES[side]]
    uv = frame.top_to_uv(points)
    # The top is already trimmed at the tangent line: find the two corners that lie on it.
    on_line = np.flatnonzero(np.abs(uv[:-1, 1] - back) < 1e-6)
    if len(on_line) < 2:
        raise TunnelError(
            f"The top does not reach its {side} fold.\n\nhint: draw the top's outline out to the corner lines",
            side=side,
        )
    order = on_line[np.argsort(uv[on_line, 0])]
    return _end_at(uv[:-1], order[0], back), _end_at(uv[:-1], order[-1], back)


def _end_at(uv: Array, at: int, back: float) -> Crossing:
    """The end edge that leaves the tangent line at one corner of the trimmed top."""
    inner = max((uv[at - 1], uv[(at + 1) % len(uv)]), key=lambda point: point[1])
    depth = inner[1] - back
    return Crossing(float(uv[at, 0]), float((inner[0] - uv[at, 0]) / depth) if depth > 1e-6 else 0.0)


def leg_in_flat(frame: TunnelFrame, leg: Polygon, back: float, width: float, side: str) -> Polygon:
    from shapely.geometry import Polygon

    uv = np.asarray(leg.exterior.coords)[:, :2]
    return Polygon(frame.uv_to_flat(uv[:, 0], uv[:, 1] - 2 * back + width) * [1.0, SIDES[side]])


def bend_zone(
    frame: TunnelFrame,
    leg: tuple[Crossing, Crossing],
    top: tuple[Crossing, Crossing],
    angle: float,
    radius: float,
    back: float,
    width: float,
    side: str,
    known: tuple[Array | None, Array | None] = (None, None),
) -> tuple[Polygon, FoldLine]:
    """One bend zone in the flat, and its fold line; its ends as they are ``known``, (u, share of the zone)."""
    from shapely.geometry import Polygon

    front, rear = (
        bend_end(top[k], leg[k], angle, radius, back, width, shorter=shorter)
        if end is None
        else _known_end(end, top[k], leg[k], width)
        for k, (end, shorter) in enumerate(zip(known, (max, min), strict=True))
    )
    if front[:, 0].max() >= rear[:, 0].min():
        raise TunnelError(
            f"Top and {side} leg share no length at their fold: it would run from {front[:, 0].max():.1f} "
            f"to {rear[:, 0].min():.1f} mm.\n\nhint: make top and leg overlap along the frame line",
            side=side,
            start=float(front[:, 0].max()),
            end=float(rear[:, 0].min()),
        )
    ring = np.concatenate([front, rear[::-1]])
    points = frame.uv_to_flat(ring[:, 0], ring[:, 1] - back) * [1.0, SIDES[side]]
    middle = np.array([np.interp(width / 2, end[:, 1], end[:, 0]) for end in (front, rear)])
    start, end = frame.uv_to_flat(middle, np.full(2, width / 2 - back)) * [1.0, SIDES[side]]
    fold = FoldLine(
        start=(float(start[0]), float(start[1])),
        end=(float(end[0]), float(end[1])),
        angle_deg=angle,
        radius=radius,
        direction="down",
        allowance=width,
        name=f"{side} leg",
    )
    return Polygon(points), fold


def _known_end(end: Array, top: Crossing, leg: Crossing, width: float) -> Array:
    """One end of a bend zone as (u, w), top first, between the very points where top and leg end."""
    u, share = end[::-1].T
    u = u + (top.u - u[0]) * (1 - share) + (leg.u - u[-1]) * share  # to rounding, and the parts share their corners
    return np.column_stack([u, share * width])


def hair(frame: TunnelFrame, leg: tuple[Crossing, Crossing], side: str) -> Polygon:
    """A strip next to nothing wide over the line where a top runs into its leg without a fold: it makes them one."""
    from shapely.geometry import Polygon

    u = np.array([leg[0].u, leg[1].u, leg[1].u, leg[0].u])
    return Polygon(frame.uv_to_flat(u, 2 * SNAP_MM * np.array([-1, -1, 1, 1])) * [1.0, SIDES[side]])


def join_parts(parts: list[Polygon]) -> tuple[Array, float]:
    """One outline of all parts, and its area, which must be the sum of theirs."""
    from shapely import union_all
    from shapely.geometry.polygon import orient

    parts = [part for part in parts if part.area > 0]
    total = sum(part.area for part in parts)
    whole = union_all(parts, grid_size=SNAP_MM)
    pieces = list(getattr(whole, "geoms", [whole]))
    if len(pieces) != 1 or pieces[0].interiors:
        # Corners that fall on either side of a grid line leave a hair between two parts: grown by it, they meet.
        whole = union_all([part.buffer(2 * SNAP_MM, join_style="mitre") for part in parts], grid_size=SNAP_MM)
        pieces = list(getattr(whole, "geoms", [whole]))
    if len(pieces) != 1 or pieces[0].interiors or abs(whole.area - total) > 0.01:
        raise TunnelError(
            f"The flat tunnel lies over itself or falls apart: its parts measure {total:.1f} mm2, joined "
            f"{whole.area:.1f} mm2 in {len(pieces)} pieces.\n\nhint: look at the ends of legs and top near the folds",
            parts=total,
            joined=whole.area,
        )
    return np.asarray(orient(pieces[0]).exterior.coords)[:-1, :2], float(whole.area)
