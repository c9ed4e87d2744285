"""Meshes to develop: the check shapes of tests/published/development-checks.csv and some cruel ones.

Every function returns vertices (n, 3) in mm and faces (m, 3), anticlockwise seen from outside.
"""

import csv
from functools import cache
from pathlib import Path

import numpy as np

TABLE = Path(__file__).parents[1] / "published" / "development-checks.csv"


@cache
def published(case, quantity):
    """Value of the one row of the table that begins so; its formula stands in the row itself."""
    with TABLE.open(newline="") as rows:
        found = [
            float(r["value"]) for r in csv.DictReader(rows) if r["id"] == case and r["quantity"].startswith(quantity)
        ]
    assert len(found) == 1, (case, quantity, found)
    return found[0]


def rings(count):
    """Unit disc of ``count`` rings, ring k with 6 k points: rho, angle, faces; 6 count^2 triangles."""
    rho, angle, faces = [0.0], [0.0], []
    start = [0] + [1 + 3 * k * (k - 1) for k in range(1, count + 1)]
    for k in range(1, count + 1):
        rho += [k / count] * (6 * k)
        angle += (np.arange(6 * k) * 2 * np.pi / (6 * k)).tolist()
        for sector in range(6):
            for j in range(k):
                a, b = (start[k] + (sector * k + j + extra) % (6 * k) for extra in (0, 1))
                c, d = (start[k - 1] + (sector * (k - 1) + j + x) % max(6 * (k - 1), 1) for x in (0, 1))
                faces.append((c, a, b))
                if j < k - 1:
                    faces.append((c, b, d))
    return np.array(rho), np.array(angle), np.array(faces)


def revolved(radius, height, count=18):
    """Cap of revolution from radius(rho) and height(rho), rho from 0 at the pole to 1 at the rim."""
    rho, angle, faces = rings(count)
    r = radius(rho)
    return np.column_stack([r * np.cos(angle), r * np.sin(angle), height(rho)]), faces


def cap(degrees, count=18, radius=100.0):
    a = np.radians(degrees)
    return revolved(lambda rho: radius * np.sin(a * rho), lambda rho: radius * np.cos(a * rho), count)


def spheroid(count=18):
    """E1: a = 110, c = 70, to parametric angle 50 degrees, rings at even meridian arc."""
    t = np.linspace(0, np.radians(50), 20_001)
    speed = np.hypot(110 * np.cos(t), 70 * np.sin(t))
    arc = np.concatenate([[0.0], np.cumsum((speed[1:] + speed[:-1]) / 2 * np.diff(t))])

    def at(rho):
        return np.interp(rho * arc[-1], arc, t)

    return revolved(lambda rho: 110 * np.sin(at(rho)), lambda rho: 70 * np.cos(at(rho)), count)


def patch(n, m, surface, alternate=True):
    """Grid of n by m cells over the unit square; surface(u, v) gives x, y, z, outside where (d/du) x (d/dv) points."""
    u, v = np.meshgrid(np.linspace(0, 1, n + 1), np.linspace(0, 1, m + 1), indexing="ij")
    vertices = np.column_stack([np.broadcast_to(c, u.size) for c in surface(u.ravel(), v.ravel())]).astype(float)
    i = np.arange((n + 1) * (m + 1)).reshape(n + 1, m + 1)
    a, b, c, d = (q.ravel() for q in (i[:-1, :-1], i[1:, :-1], i[1:, 1:], i[:-1, 1:]))
    even = (np.add.outer(np.arange(n), np.arange(m)).ravel() % 2 == 0) | (not alternate)
    first = np.where(even[:, None], np.column_stack([a, b, c]), np.column_stack([a, b, d]))
    second = np.where(even[:, None], np.column_stack([a, c, d]), np.column_stack([b, c, d]))
    return vertices, np.concatenate([first, second])


def torus(n=40, m=25, inner=False):
    """T1, T2: R = 150, r = 60, 60 degrees along, 90 degrees round, outside or inside of the ring."""

    def surface(u, v):
        along, round_ = np.radians(60 * (u - 0.5)), np.radians(90 * (v - 0.5)) + np.pi * inner
        r = 150 + 60 * np.cos(round_)
        return r * np.cos(along), r * np.sin(along), 60 * np.sin(round_)

    return patch(n, m, surface)


def saddle(n=32):
    """H1: z = x y / 200 over +-100."""
    return patch(n, n, lambda u, v: (200 * u - 100, 200 * v - 100, (200 * u - 100) * (200 * v - 100) / 200))


def tank_quarter(n=48, m=22):
    """Quarter of a superellipsoid, half axes 250, 110, 180, power 2.5, +-200 along: our own invention, tank-like."""

    def surface(u, v):
        x, turn, power = 400 * u - 200, v * np.pi / 2, 2.5
        size = (1 - np.abs(x / 250) ** power) ** (1 / power)
        return x, 110 * size * np.cos(turn) ** (2 / power), 180 * size * np.sin(turn) ** (2 / power)

    return patch(n, m, surface)


def ellipsoid_quarter(n=48, m=22):
    """E2: half axes 250, 110, 180, +-200 along."""

    def surface(u, v):
        x = 400 * u - 200
        size = np.sqrt(1 - (x / 250) ** 2)
        return x, 110 * size * np.cos(v * np.pi / 2), 180 * size * np.sin(v * np.pi / 2)

    return patch(n, m, surface)


def tube(n=40, m=12):
    return patch(n, m, lambda u, v: (200 * v, 80 * np.cos(3 * u), -80 * np.sin(3 * u)))


def cone(n=40, m=12):
    """Frustum on true rulings, radii 100 and 40, height 80, 5 radians of it."""
    return patch(n, m, lambda u, v: ((100 - 60 * v) * np.cos(5 * u), (100 - 60 * v) * np.sin(5 * u), 80 * v))


def turned(vertices, seed=0, scale=1.0):
    """The same panel moved, turned and scaled."""
    rng = np.random.default_rng(seed)
    q, r = np.linalg.qr(rng.normal(size=(3, 3)))
    q = q * np.sign(np.diag(r))
    q[:, 0] *= np.sign(np.linalg.det(q))
    return scale * (vertices @ q.T + rng.normal(size=3) * 300)


def without(vertices, faces, drop):
    """The panel less the triangles whose middle satisfies drop(x, y, z)."""
    middle = vertices[faces].mean(axis=1)
    kept = faces[~drop(*middle.T)]
    used, renumbered = np.unique(kept, return_inverse=True)
    return vertices[used], renumbered.reshape(-1, 3)
