"""Hold the finished surface against every pattern, and against what it must clear."""

from __future__ import annotations

import numpy as np

from .body import Body
from .curves import Curve
from .cutting_mesh import contour_chains
from .edges import edges_of
from .errors import SurfaceError
from .findings import Finding, Show, in_mm
from .half_section import line_height, plan_half_width
from .neck import neck_of
from .openings import tunnel_of
from .patterns import Clearance, Patterns, PlanPattern
from .surface import half_surface

__all__ = ["clearance_gap", "clearances", "misses", "misses_found", "neck_loss", "neck_volume"]

#: A pattern that lies further than this off the surface is told of, mm.
MISS_MM = 1.5
#: Room behind a knee relief for fuel to pass and for welding, mm; common practice, no source.
KNEE_ROOM_MM = 10.0


def _to_polyline(points: np.ndarray, line: np.ndarray) -> np.ndarray:
    """Distance of points (n, d) from a polyline (k, d)."""
    a, b = line[:-1], line[1:]
    along = b - a
    square = np.maximum(np.einsum("kd,kd->k", along, along), 1e-12)
    t = np.clip(np.einsum("nkd,kd->nk", points[:, None] - a, along) / square, 0, 1)
    near = a + t[..., None] * along
    return np.linalg.norm(points[:, None] - near, axis=2).min(axis=1)


def _thinned(points: np.ndarray, most: int = 160) -> np.ndarray:
    return points[np.unique(np.linspace(0, len(points) - 1, most).astype(int))]


def misses(body: Body) -> dict[str, float]:
    """Largest distance, mm, of each pattern from the surface made of it, by the pattern's name.

    Runs and plans are held against the grid of the surface before the tunnel trims it and without the
    knee relief, which they do not show; a section against that surface cut at its station.
    """
    patterns, grid = body.patterns, body.surface.drawn
    side = patterns.side
    found = {}
    rows = {"top run": (side.top, grid[:, -1]), "bottom run": (side.bottom, grid[:, 0])}
    for name, (run, line) in rows.items():
        found[f"side pattern, {name}"] = float(_to_polyline(_thinned(run.dense), line[:, [0, 2]]).max())
    for name, run, line in (("front run", side.front, grid[0]), ("rear run", side.rear, grid[-1])):
        if run.length > 0:
            found[f"side pattern, {name}"] = float(_to_polyline(_thinned(run.dense), line[:, [0, 2]]).max())
    for plan in patterns.plans:
        found[plan.name] = _plan_miss(body, plan.line, plan)
    for section in patterns.sections:
        if section.half is not None and abs(section.foot_x - section.head_x) < 1e-9:
            found[section.title] = _section_miss(body, section.half, section.foot_x)
    return found


def _plan_miss(body: Body, line_name: str, plan: PlanPattern) -> float:
    """A plan pattern's points, stood up on its line, against the surface cut along that line."""
    side = body.patterns.side
    line = side.line(line_name)
    share = np.linspace(0, 1, 161)
    xz = line.at(share * line.length)
    out = plan_half_width(plan, share)
    paper = np.column_stack([xz[:, 0], out, xz[:, 1]])
    grid = body.surface.drawn
    if line_name == "widest":
        return float(_to_polyline(paper, grid[:, body.surface.widest]).max())
    if line_name in ("bottom", "top"):
        return float(_to_polyline(paper, grid[:, 0 if line_name == "bottom" else -1]).max())
    chains = _grid_contours(grid, grid[..., 2] - line_height(line, grid[..., 0]))
    if not chains:
        raise SurfaceError(
            f"The {line_name} line, on which {plan.name} lies, does not meet the side of the tank.\n"
            "hint: draw the line inside the side pattern, between the top and the bottom run"
        )
    return float(min(_to_polyline(paper, c).max() for c in chains))


def _section_miss(body: Body, half: Curve, x: float) -> float:
    """A drawn section against the surface cut across at x."""
    chains = _grid_contours(body.surface.drawn, body.surface.drawn[..., 0] - x)
    if not chains:
        raise SurfaceError(
            f"A section pattern at x = {x:.1f} mm does not meet the tank.\nhint: give it a place between the ends"
        )
    cut = max(chains, key=len)[:, [1, 2]]
    return float(_to_polyline(_thinned(np.abs(half.dense * [1, 0]) + half.dense * [0, 1]), cut).max())


def _grid_contours(grid: np.ndarray, g: np.ndarray) -> list[np.ndarray]:
    nu, nc = g.shape
    index = np.arange(nu * nc).reshape(nu, nc)
    a, b, c, d = (
        index[:-1, :-1].ravel(),
        index[1:, :-1].ravel(),
        index[1:, 1:].ravel(),
        index[:-1, 1:].ravel(),
    )
    faces = np.vstack([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
    return contour_chains(grid.reshape(-1, 3), faces, g.ravel())


def misses_found(found: dict[str, float], *, show: Show = in_mm) -> tuple[Finding, ...]:
    """Findings for the patterns that the surface does not follow closely enough."""
    told = []
    for name, miss in found.items():
        if miss > MISS_MM:
            told.append(
                Finding(
                    "look",
                    name,
                    f"the finished surface misses {name} by up to {show(miss)}",
                    show(miss),
                    show(MISS_MM),
                    None,
                    "two patterns ask for different shapes there; give the surface one of them to follow",
                )
            )
    return tuple(told)


def _inside(tri: np.ndarray, point: np.ndarray) -> bool:
    """Whether a point lies inside closed faces (m, 3, 3): their solid angle is not nothing."""
    if np.any(point < tri.min(axis=(0, 1))) or np.any(point > tri.max(axis=(0, 1))):
        return False
    a, b, c = (tri[:, i] - point for i in range(3))
    la, lb, lc = (np.linalg.norm(v, axis=1) for v in (a, b, c))
    dot = np.einsum
    top = dot("mi,mi->m", a, np.cross(b, c))
    low = la * lb * lc + dot("mi,mi->m", a, b) * lc + dot("mi,mi->m", b, c) * la + dot("mi,mi->m", c, a) * lb
    return bool(abs(2 * np.arctan2(top, low).sum()) > 2 * np.pi)


def _pierces(tri: np.ndarray, start: np.ndarray, along: np.ndarray) -> bool:
    """Whether the segment from ``start`` along ``along`` runs through any of the faces (m, 3, 3)."""
    u, v, w = tri[:, 1] - tri[:, 0], tri[:, 2] - tri[:, 0], start - tri[:, 0]
    n = np.cross(u, v)
    down = n @ along
    down = np.where(np.abs(down) < 1e-12, np.inf, down)
    t = -np.einsum("mi,mi->m", n, w) / down
    side = np.cross(w, along)
    first = -np.einsum("mi,mi->m", side, v) / down
    second = np.einsum("mi,mi->m", side, u) / down
    return bool(np.any((t >= 0) & (t <= 1) & (first >= 0) & (second >= 0) & (first + second <= 1) & np.isfinite(down)))


def _to_triangles(point: np.ndarray, tri: np.ndarray) -> np.ndarray:
    """Distance of a point from the inside of each triangle (m, 3, 3); inf where its foot lies outside, or where the
    triangle has no inside: a wall pressed flat is all edges.

    With the distances to the edges this makes the whole distance.
    """
    u, v = tri[:, 1] - tri[:, 0], tri[:, 2] - tri[:, 0]
    n = np.cross(u, v)
    square = np.einsum("mi,mi->m", n, n)
    flat = square < 1e-12
    square = np.where(flat, 1.0, square)
    w = point - tri[:, 0]
    first = np.einsum("mi,mi->m", np.cross(w, v), n) / square
    second = np.einsum("mi,mi->m", np.cross(u, w), n) / square
    within = (first >= 0) & (second >= 0) & (first + second <= 1) & ~flat
    return np.where(within, np.abs(np.einsum("mi,mi->m", w, n)) / np.sqrt(square), np.inf)


def _to_edges(a: np.ndarray, along: np.ndarray, start: np.ndarray, end: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Distance of the segment from a along ``along`` to each segment start-end (e, 3), and where on it.

    Closest points of two segments by clamping, after C. Ericson, Real-Time Collision Detection (2005), 5.1.9.
    """
    d = end - start
    r = a - start
    aa, ee = max(float(along @ along), 1e-12), np.maximum(np.einsum("ei,ei->e", d, d), 1e-12)
    b, c, f = d @ along, r @ along, np.einsum("ei,ei->e", d, r)
    det = aa * ee - b * b
    s = np.clip(np.where(det > 1e-9 * aa * ee, (b * f - c * ee) / np.maximum(det, 1e-12), 0.0), 0, 1)
    t = np.clip((b * s + f) / ee, 0, 1)
    s = np.clip((b * t - c) / aa, 0, 1)
    at = start + t[:, None] * d
    return np.linalg.norm(a + s[:, None] * along - at, axis=1), at


def clearance_gap(body: Body, thing: Clearance) -> tuple[float, np.ndarray]:
    """Smallest gap, mm, between the outer surface and a bar with round ends, and where on the tank (3,).

    Exact to the mesh's edges, and to its faces from the bar's ends. Negative where the bar's middle line
    runs into the body.
    """
    tri = body.outer[body.faces]
    edges = edges_of(body.faces)
    best, where = np.inf, body.outer[0]
    for sign in (1.0, -1.0) if thing.both_sides else (1.0,):
        ends = np.array([thing.start, thing.end]) * [1.0, sign, 1.0]
        along = ends[1] - ends[0]
        apart, at = _to_edges(ends[0], along, body.outer[edges[:, 0]], body.outer[edges[:, 1]])
        k = int(np.argmin(apart))
        gap, place = float(apart[k]), at[k]
        for point in ends:
            flat = _to_triangles(point, tri)
            m = int(np.argmin(flat))
            if flat[m] < gap:
                gap, place = float(flat[m]), tri[m].mean(axis=0)
        if _inside(tri, ends[0]) or _pierces(tri, ends[0], along):
            gap = -gap
        if gap - thing.radius < best:
            best, where = gap - thing.radius, place
    return best, where


def clearances(body: Body, *, show: Show = in_mm) -> tuple[Finding, ...]:
    """The gap to everything the tank must miss: told whether or not it is wide enough."""
    told = []
    for thing in body.patterns.clearances:
        gap, at = clearance_gap(body, thing)
        place = f"at x {show(at[0])}, {show(abs(at[1]))} out, z {show(at[2])}"
        if gap >= thing.gap:
            says = f"{thing.name}: smallest gap {show(gap)} {place}"
            told.append(Finding("note", thing.name, says, show(gap), f"{show(thing.gap)} wanted", float(at[0])))
            continue
        hits = gap < 0
        says = f"{thing.name} runs into the tank" if hits else f"{thing.name} comes close to the tank"
        told.append(
            Finding(
                "stop" if hits else "look",
                thing.name,
                f"{says} {place}",
                show(gap),
                f"{show(thing.gap)} wanted",
                float(at[0]),
                "move the pattern's line there, or ask the customer for a relief",
            )
        )
    return tuple(told)


def neck_volume(patterns: Patterns, *, thickness: float) -> float:
    """Fuel room that the neck relief takes, mm3: by columns of the side view, to a few percent."""
    neck, tunnel = neck_of(patterns), tunnel_of(patterns)
    if neck is None:
        return 0.0
    grid = _finer(half_surface(patterns, step_mm=15.0).grid, 4)
    x, y, z = grid[..., 0], grid[..., 1] - thickness, grid[..., 2]
    cut = neck.half(x, z)
    cut = np.where(cut > 0, cut + thickness, 0.0)
    low = np.zeros_like(x)
    if tunnel is not None:
        low = np.where(tunnel.holds(x, z - thickness), tunnel.low(x, z) + thickness, 0.0)
    column = np.maximum(np.minimum(y, cut) - low, 0.0)
    p = grid[..., [0, 2]]
    u, v = p[1:, 1:] - p[:-1, :-1], p[:-1, 1:] - p[1:, :-1]
    area = np.abs(u[..., 0] * v[..., 1] - u[..., 1] * v[..., 0]) / 2
    mean = (column[1:, 1:] + column[:-1, :-1] + column[:-1, 1:] + column[1:, :-1]) / 4
    return float(2 * (area * mean).sum())


def _finer(grid: np.ndarray, times: int) -> np.ndarray:
    """A grid (n, m, 3) with points set in on straight lines between its own."""
    for axis in (0, 1):
        fine = np.arange(times * (grid.shape[axis] - 1) + 1) / times
        low = np.minimum(fine.astype(int), grid.shape[axis] - 2)
        share = (fine - low).reshape([-1, 1, 1] if axis == 0 else [1, -1, 1])
        grid = np.take(grid, low, axis) * (1 - share) + np.take(grid, low + 1, axis) * share
    return grid


def neck_loss(patterns: Patterns, *, thickness: float, show: Show = in_mm) -> list[Finding]:
    """A note of the fuel room that the neck relief takes."""
    neck = patterns.neck
    if neck is None:
        return []
    try:
        lost = neck_volume(patterns, thickness=thickness)
    except SurfaceError:
        return []  # the body cannot be built either, and says so
    return [
        Finding(
            "note",
            "neck relief",
            f"the neck relief takes about {lost / 1e6:.2f} L of fuel room",
            f"{lost / 1e6:.2f} L",
            f"radius {show(neck.radius)}, axis leaning back {neck.axis_deg:.1f} degrees",
            float(neck.at[0]),
            "a smaller radius gives some of it back, where the neck and its nuts allow",
        )
    ]


def knee_found(body: Body, *, show: Show = in_mm) -> tuple[Finding, ...]:
    """What the knee relief costs in fuel, and whether it leaves room to the tunnel."""
    knee, tunnel = body.patterns.knee, tunnel_of(body.patterns)
    if knee is None:
        return ()
    grid, drawn = body.surface.grid, body.surface.drawn
    sunk = drawn[..., 1] - grid[..., 1]
    p = grid[..., [0, 2]]
    u, v = p[1:, 1:] - p[:-1, :-1], p[:-1, 1:] - p[1:, :-1]
    area = np.abs(u[..., 0] * v[..., 1] - u[..., 1] * v[..., 0]) / 2
    mean = (sunk[1:, 1:] + sunk[:-1, :-1] + sunk[:-1, 1:] + sunk[1:, :-1]) / 4
    litres = float(2 * (area * mean).sum()) / 1e6
    says = f"the knee reliefs, {show(float(sunk.max()))} deep, take {litres:.2f} L"
    found = [Finding("note", "knee relief", says, show(float(sunk.max())), f"{show(knee.depth)} asked for")]
    if tunnel is not None:
        low = (sunk > 0.1) & (grid[..., 2] < tunnel.top(grid[..., 0]))
        room = np.where(low, grid[..., 1] - tunnel.low(grid[..., 0], grid[..., 2]) - 2 * body.thickness, np.inf)
        k = np.unravel_index(int(np.argmin(room)), room.shape)
        if room[k] < KNEE_ROOM_MM:
            found.append(
                Finding(
                    "stop" if room[k] <= 0 else "look",
                    "knee relief",
                    "the knee relief comes through to the tunnel"
                    if room[k] <= 0
                    else "little room behind the knee relief",
                    f"{show(float(room[k]))} between the metals, at z {show(float(grid[k][2]))}",
                    "above 0" if room[k] <= 0 else f"{show(KNEE_ROOM_MM)} for fuel to pass",
                    float(grid[k][0]),
                    "a shallower relief, a narrower tunnel, or the outline higher up the side",
                )
            )
    return tuple(found)
