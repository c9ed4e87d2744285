"""A hundred random tanks with all that folds and closes: bodies closed, tunnels that fold back into them.

Folding is done here, by hand: a flat is carried round one bend after the other with nothing but each fold line's place,
angle, inside radius and K, the neutral fibre keeping its length (the definition of K in every handbook's bend
allowance). Nothing of the package's own folding or laying out is used.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
import trimesh

from panels.body import build_body
from panels.choose_k import KFactor
from panels.curves import curve_through
from panels.make_blanks import make_blanks
from panels.openings import tunnel_of
from panels.patterns import Division, NeckRelief
from panels.seams import seams_of
from tests.panels import bodies
from tests.panels.sewn import at_edge, laid, paced

SCHEMES = ("crown and sides", "crown, shoulders and sides", "halves", "widest line")
WITHIN_MM, WITHIN_DEG = 0.2, 0.5


def random_tank(seed: int):
    """Patterns, scheme, thickness, inside radius and K; each feature in some of the hundred, alone and together."""
    r = np.random.default_rng(900 + seed)
    tank = bodies.saddle_tank(seed + 300)
    side, long = tank.side, float(tank.side.bottom.points[-1, 0])
    assert tank.tunnel is not None
    tunnel = replace(tank.tunnel, backbone_front=r.uniform(30, 42), backbone_rear=r.uniform(26, 42))
    if seed % 5 == 1:
        tunnel = replace(tunnel, closed_rear_x=long * r.uniform(0.65, 0.8))
    if seed % 5 == 2:
        x, nose = r.uniform(-12, 12), side.front.points[0, 1]
        tank = replace(tank, neck=NeckRelief((x, nose), r.uniform(15, 30), r.uniform(26, 50)))
    if seed % 4 == 3:  # a frame line with a crest: a cross fold and pie cuts
        lines = dict(side.lines)
        ends = lines["frame"].points[[0, -1]]
        at = r.uniform(0.35, 0.6)
        crest = ends[0] + at * (ends[1] - ends[0]) + [0, r.uniform(5, 12)]
        lines["frame"] = curve_through("frame", np.array([ends[0], crest, ends[1]]), straight=True)
        side = replace(side, lines=lines)
    if seed % 6 == 0:  # the rear run bulges, and its cap with it
        foot, head = side.rear.points[[0, -1]]
        out = np.array([head[1] - foot[1], foot[0] - head[0]]) / np.hypot(*(head - foot))
        rear = curve_through("rear", np.array([foot, (foot + head) / 2 + r.uniform(3, 7) * out, head]))
        side = replace(side, rear=rear)
    tank = replace(tank, side=side, tunnel=tunnel)
    return tank, SCHEMES[seed % 4], r.uniform(0.9, 2.0), r.uniform(1.5, 4.0), r.uniform(0.33, 0.45)


@cache
def made(seed: int):
    """Sewn body, its blanks, and K."""
    tank, scheme, thickness, radius, k = random_tank(seed)
    sewn = seams_of(build_body(tank, Division(scheme), thickness=thickness, step_mm=10.0))
    blanks = make_blanks(sewn, at_edge, inside_radius=radius, k_factor=KFactor(k, "a test"))
    return sewn, {blank.name: blank for blank in blanks}


@pytest.mark.parametrize("seed", range(100))
def test_bodies_are_closed_and_their_tunnels_fold_back(seed):
    sewn, blanks = made(seed)
    body = sewn.body
    for vertices in (body.outer, body.neutral, body.inner):
        mesh = trimesh.Trimesh(vertices, body.faces, process=False)
        assert mesh.is_watertight
        assert mesh.is_winding_consistent
        assert mesh.volume > 0
    chains = {seam.letter: seam.chain for seam in sewn.seams}
    pieces = [blank for name, blank in blanks.items() if name.startswith("tunnel") and blank.kind == "folded"]
    assert pieces
    for blank in pieces:
        flat, wanted = placed_on(blank, chains, body)
        assert len(wanted) > 20
        folded = folded_by_hand(flat, blank)
        turn, shift = rigid(folded, wanted)
        assert np.linalg.norm(folded @ turn.T + shift - wanted, axis=1).max() < WITHIN_MM
        middles, normals = planes_of(blank)
        assert turned_off(body, middles @ turn.T + shift, normals @ turn.T).max() < WITHIN_DEG


def placed_on(blank, chains, body):
    """Places along the edges of a flat (n, 2) and in the body's middle surface (n, 3), off the round metal."""
    tunnel, away = tunnel_of(body.patterns), 4 + blank.folds[0].inside_radius + body.thickness
    assert tunnel is not None
    flat, wanted = [], []
    for edge in blank.edges:
        if edge.letter not in chains:
            continue
        at = body.neutral[chains[edge.letter]]
        runs = [other for other in blank.edges if other.letter == edge.letter]
        on = laid(edge, at, body) if len(runs) == 1 else part_laid(edge, runs, at)
        clear = np.hypot(np.abs(at[:, 1]) - tunnel.half(at[:, 0]), at[:, 2] - tunnel.top(at[:, 0])) > away
        clear &= ~np.isnan(on[:, 0])
        flat.append(on[clear])
        wanted.append(at[clear])
    return np.vstack(flat), np.vstack(wanted)


def part_laid(edge, runs, chain):
    """`laid` for a seam whose edge a pie cut has parted in two: each run is measured from its own end of the seam."""
    own, true = paced(edge.points), paced(chain)
    first = edge is runs[0]
    s = true if first else own[-1] - (true[-1] - true)
    on = np.column_stack([np.interp(s, own, column) for column in edge.points.T])
    on[(s > own[-1] - 1) if first else (s < 1)] = np.nan
    return on


def folded_by_hand(flat, blank):
    """Places (n, 3) of the middle of the sheet after folding, its top left lying in z = 0; up is towards the viewer."""
    lies_along = [abs(f.end[0] - f.start[0]) > abs(f.end[1] - f.start[1]) for f in blank.folds]
    along = [f for f, lies in zip(blank.folds, lies_along, strict=True) if lies]
    across = [f for f, lies in zip(blank.folds, lies_along, strict=True) if not lies]
    assert len(across) <= 1
    k, t = blank.folds[0].k_factor, blank.thickness
    points = np.column_stack(
        [flat, np.full(len(flat), -(0.5 - k) * t)]
    )  # z from the neutral fibre; the middle is outside
    for fold in along:
        middle = (np.array(fold.start) + fold.end) / 2
        mine = np.ones(len(flat), bool)
        if across:
            mine = (flat[:, 0] < across[0].start[0]) == (middle[0] < across[0].start[0])
        points[mine] = bent(points[mine], fold, outward=np.array([0, np.sign(middle[1])]), k=k, t=t)
    for fold in across:
        points = bent(points, fold, outward=np.array([1.0, 0.0]), k=k, t=t)
    return points


def bent(points, fold, *, outward, k, t):
    """What lies beyond a fold line carried round its bend: (n, 3) with z from the neutral fibre of the unbent sheet."""
    start, run = np.array(fold.start), np.array(fold.end) - fold.start
    u = run / np.hypot(*run)
    v = np.array([-u[1], u[0]])
    v = v if v @ outward > 0 else -v
    angle, sign = np.radians(fold.angle), 1.0 if fold.up else -1.0
    radius = fold.inside_radius + k * t
    width = angle * radius
    s = (points[:, :2] - start) @ v + width / 2
    z = sign * points[:, 2]
    phi = np.clip(s, 0, width) / radius
    beyond = np.maximum(s - width, 0.0)
    across = np.minimum(s, 0.0) + (radius - z) * np.sin(phi) + beyond * np.cos(phi)
    high = radius - (radius - z) * np.cos(phi) + beyond * np.sin(phi)
    along = (points[:, :2] - start) @ u
    flat = start + along[:, None] * u + (across - width / 2)[:, None] * v
    return np.column_stack([flat, sign * high])


def planes_of(blank):
    """Folded by hand: a place on each leg and on the top beside each fold (m, 3), and the normal there (m, 3)."""
    bends = [f for f in blank.folds if abs(f.end[0] - f.start[0]) > abs(f.end[1] - f.start[1])]
    middles, normals = [], []
    for fold in bends:
        middle = (np.array(fold.start) + fold.end) / 2
        for out in (18.0, -14.0):  # on the leg, on the top
            corner = middle + [0, out * np.sign(middle[1])]
            a, b, c = folded_by_hand(corner + np.array([[0.0, 0.0], [2.0, 0.0], [0.0, 2.0]]), blank)
            normal = np.cross(b - a, c - a)
            middles.append(a)
            normals.append(normal / np.linalg.norm(normal))
    return np.array(middles), np.array(normals)


def turned_off(body, middles, normals):
    """Degrees between normals (m, 3) at places (m, 3) and the body's tunnel face there, whichever way round."""
    found = []
    for middle, normal in zip(middles, normals, strict=True):
        leg = "right" if middle[1] > 0 else "left"
        v = body.neutral[body.faces_of("tunnel top" if abs(normal[2]) > 0.5 else f"tunnel {leg}")]
        area = np.cross(v[:, 1] - v[:, 0], v[:, 2] - v[:, 0])
        size = np.linalg.norm(area, axis=1)
        away = np.where(size > 1.0, np.abs(v.mean(axis=1)[:, 0] - middle[0]), np.inf)
        found.append(abs(area[away.argmin()] @ normal) / size[away.argmin()])
    return np.degrees(np.arccos(np.clip(found, 0, 1)))


def rigid(a, b):
    """Turn and shift that lay points a on b best: W. Kabsch, Acta Cryst. A32 (1976) 922."""
    u, _, vt = np.linalg.svd((a - a.mean(0)).T @ (b - b.mean(0)))
    sign = np.diag([1, 1, np.sign(np.linalg.det(vt.T @ u.T))])
    turn = vt.T @ sign @ u.T
    return turn, b.mean(0) - turn @ a.mean(0)
