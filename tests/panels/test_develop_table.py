"""Every row of tests/published/development-checks.csv, each against the engine, strips or slits.

The rows of one shape are worked out together: quantity as the table words it -> (what the tool makes of it, allowed
error). Rows on developables that need no mesh stand in test_unroll.py. Closed forms: the table names each; the limit of
a cap is J. Milnor's, American Mathematical Monthly 76 (1969) 1101-1112.
"""

import csv
from functools import cache

import numpy as np
import pytest

from panels._develop_mesh import disc_from
from panels._develop_sparse import fill_order
from panels._develop_start import conformal
from panels.develop import develop_mesh
from panels.strips import slit_pattern
from panels.unroll import unroll_strip
from tests.panels import develop_shapes as shapes
from tests.panels import test_unroll as unroll
from tests.panels.develop_shapes import TABLE, published

RINGS = 14


def rows():
    with TABLE.open(newline="") as table:
        return [(r["id"], r["parameters"], r["quantity"], float(r["value"])) for r in csv.DictReader(table)]


def curvature(shape, *sizes):
    """Defects of the inner vertices, carried on to a mesh without end from two that differ by a factor of 2."""

    def inner(size):
        disc = disc_from(*shape(size))
        return float(disc.defect[disc.inner].sum())

    coarse, fine = (inner(size) for size in sizes)
    return 2 * fine - coarse


def rim(skin):
    """Mean radius of a round blank, by its area as a polygon."""
    x, y = skin.points[skin.loops[0]].T
    ring = len(x)
    doubled = float((x * np.roll(y, -1) - y * np.roll(x, -1)).sum())
    return float(np.sqrt(doubled / (ring * np.sin(2 * np.pi / ring))))


def strip_strain(grid):
    """Largest strain of the spine method, from the slits of a grid whose spine is its middle column."""
    pattern = slit_pattern(grid, run="across")
    lines = np.linalg.norm(np.diff(grid, axis=0), axis=2).sum(axis=0)
    # Strips as wide as one another: the half strip at either end has its share too.
    gap = pattern.total_gap * len(pattern.strips) / len(pattern.joints)
    return float(np.abs(np.log(lines / (lines + gap))).max())


@cache
def cap_rows(degrees):
    a = np.radians(degrees)
    mesh = shapes.cap(degrees, count=RINGS)
    level = develop_mesh(*mesh, aim="least_worst")
    shrunk, stretched = (develop_mesh(*mesh, aim="least_worst", shrink_cost=cost) for cost in (1e-6, 1e6))
    omega = curvature(lambda count: shapes.cap(degrees, count=count), RINGS, 2 * RINGS)
    disc = disc_from(*mesh)
    flat = conformal(disc, fill_order(disc.faces, len(disc.vertices)))
    p, q = flat[disc.faces], disc.vertices[disc.faces]
    scale = np.log(np.linalg.norm(np.cross(q[:, 1] - q[:, 0], q[:, 2] - q[:, 0]), axis=1))
    e1, e2 = p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]
    scale = (scale - np.log(e1[:, 0] * e2[:, 1] - e1[:, 1] * e2[:, 0])) / 2
    around, area = (
        float(np.linalg.norm(np.diff(mesh[0][disc.loops[0]], axis=0, append=mesh[0][disc.loops[0]][:1]), axis=1).sum()),
        disc.area.sum(),
    )
    count = len(disc.loops[0])  # a polygon has less area for its girth than the circle it stands for
    polygon = count / np.pi * np.tan(np.pi / count)
    lat, lon = np.meshgrid(np.linspace(-a, a, 65), np.linspace(-a, a, 65))
    grid = 100 * np.stack([np.cos(lat) * np.sin(lon), np.sin(lat), np.cos(lat) * np.cos(lon)], axis=-1)[:, ::-1]
    limit = published(f"S{degrees}", "Milnor minimum distortion")
    assert level.lower_bound == pytest.approx(limit, rel=0.01)
    return {
        "surface area": (level.area_formed, 3e-3),
        "integrated Gaussian curvature": (omega, 5e-3),
        "boundary angle deficit as darts": (np.degrees(omega), 5e-3),
        "Milnor minimum distortion": (level.distortion, 0.016),
        "best max |strain| (balanced)": (np.abs(level.strain).max(), 0.016),
        "best conformal distortion": (np.ptp(scale), 0.06),
        "spine-and-girth distortion": (strip_strain(grid), 2e-3),
        "isoperimetric lower bound": (0.5 * np.log(4 * np.pi * area / around**2 * polygon), 0.02),
        "azimuthal equidistant blank radius (shrink-only)": (rim(shrunk), 2e-3),
        "stretch-only minimax blank radius": (rim(stretched), 2e-3),
        "equal-area blank radius": (np.sqrt(level.area_formed / np.pi), 2e-3),
        "balanced minimax blank radius": (rim(level), 2e-3),
    }


def spheroid_rows():
    skin = develop_mesh(*shapes.spheroid(), aim="least_worst")
    shrunk = develop_mesh(*shapes.spheroid(), aim="least_worst", shrink_cost=1e-6)
    vertices = shapes.spheroid()[0]
    return {
        "meridian arc": (rim(shrunk), 2e-3),
        "rim radius": (np.hypot(*vertices[skin.loops[0], :2].T).mean(), 1e-6),
        "area": (skin.area_formed, 3e-3),
        "integrated Gaussian curvature": (curvature(shapes.spheroid, 14, 28), 5e-3),
        "minimum distortion (exact)": (skin.distortion, 0.011),
        "equal-area blank radius": (np.sqrt(skin.area_formed / np.pi), 2e-3),
    }


def torus_grid(inner):
    u, v = np.meshgrid(np.radians(np.linspace(-30, 30, 81)), np.radians(np.linspace(45, -45, 81)), indexing="ij")
    v = v + np.pi * inner
    r = 150 + 60 * np.cos(v)
    return np.stack([r * np.cos(u), r * np.sin(u), 60 * np.sin(v)], axis=-1)


def torus_rows():
    skin, grid = develop_mesh(*shapes.torus()), torus_grid(False)
    pattern = slit_pattern(grid, run="across")
    length = np.linalg.norm(np.diff(grid, axis=0), axis=2).sum(axis=0)
    return {
        "area": (skin.area_formed, 1e-3),
        "integrated Gaussian curvature": (curvature(lambda n: shapes.torus(2 * n, n), 24, 48), 5e-3),
        "spine (equator) development distortion": (strip_strain(grid), 2e-3),
        "spine blank length": (length[40], 1e-3),
        "spine blank width": (float(np.ptp(pattern.place)), 1e-3),
        "short edge arc at v=45": (length[40] - pattern.total_gap[0] * 80 / 79, 1e-3),
    }


def inner_torus_rows():
    skin = develop_mesh(*shapes.torus(inner=True))
    return {
        "area": (skin.area_formed, 1e-3),
        "integrated Gaussian curvature": (curvature(lambda n: shapes.torus(2 * n, n, inner=True), 24, 48), 5e-3),
        "spine (inner equator) distortion, stretch-only": (strip_strain(torus_grid(True)), 2e-3),
    }


def saddle_rows():
    skin = develop_mesh(*shapes.saddle())
    x = np.linspace(-100, 100, 161)
    X, Y = np.meshgrid(x, x[::-1], indexing="ij")
    # The spine development of the table lays every ruling x = constant straight and square to the x axis.
    vertices, faces = shapes.saddle(240)
    flat = np.column_stack([vertices[:, 0], vertices[:, 1] * np.sqrt(1 + (vertices[:, 0] / 200) ** 2)])
    p, q = vertices[faces], flat[faces]
    blank = np.stack([q[:, 1] - q[:, 0], q[:, 2] - q[:, 0]], axis=2)
    solid = np.stack([p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]], axis=2)
    strain = np.log(np.linalg.svd(solid @ np.linalg.inv(blank), compute_uv=False))
    middle = p.mean(axis=1)
    corner = np.argmin(np.linalg.norm(np.abs(middle[:, :2]) - 100, axis=1))
    side = np.argmin(np.hypot(middle[:, 0], np.abs(middle[:, 1]) - 100))
    disc = disc_from(
        *shapes.patch(
            64,
            64,
            lambda u, v: (200 * u - 100, 200 * v - 100, (200 * u - 100) * (200 * v - 100) / 200),
            alternate=False,
        )
    )
    centre = int(np.argmin(np.linalg.norm(disc.vertices, axis=1)))
    around = disc.area[(disc.faces == centre).any(axis=1)].sum() / 3
    edge = np.stack([X, Y, X * Y / 200], axis=-1)[0]
    return {
        "area": (skin.area_formed, 1e-3),
        "integrated Gaussian curvature": (curvature(shapes.saddle, 24, 48), 5e-3),
        "edge length (straight)": (np.linalg.norm(np.diff(edge, axis=0), axis=1).sum(), 1e-9),
        "Gaussian curvature at centre": (disc.defect[centre] / around, 5e-3),
        "spine development (x, y sqrt(1+x^2/c^2)): major strain at the corner": (strain[corner, 0], 0.02),
        "same, minor strain at the corner": (strain[corner, 1] + 1.0, 1.0 * 0.001),
        "same, major strain at (0,100)": (strain[side, 0], 0.02),
    }


def ellipsoid_rows():
    skin = develop_mesh(*shapes.ellipsoid_quarter())
    vertices = shapes.ellipsoid_quarter(96, 96)[0].reshape(97, 97, 3)
    girth = np.linalg.norm(np.diff(vertices, axis=1), axis=2).sum(axis=1)
    return {
        "area": (skin.area_formed, 2e-3),
        "integrated Gaussian curvature": (curvature(lambda n: shapes.ellipsoid_quarter(2 * n, n), 30, 60), 6e-3),
        "girth at x=0": (girth[48], 1e-3),
        "girth at |x|=200": (girth[0], 1e-3),
    }


ROWS = {
    **{f"S{degrees}": lambda degrees=degrees: cap_rows(degrees) for degrees in (10, 15, 20, 30, 40, 45, 50, 60)},
    "E1": spheroid_rows,
    "T1": torus_rows,
    "T2": inner_torus_rows,
    "H1": saddle_rows,
    "E2": ellipsoid_rows,
}


@pytest.mark.parametrize("case", ROWS)
def test_every_row_of_a_crowned_shape(case):
    """What the table says of the shape, and nothing of it left out."""
    found = ROWS[case]()
    told = {quantity: value for row, _, quantity, value in rows() if row == case}
    assert set(told) == set(found)
    for quantity, value in told.items():
        got, error = found[quantity]
        # A row of nought is compared as 1 + 0.
        assert got == pytest.approx(value if value else 1.0, rel=error), (case, quantity)


@pytest.mark.parametrize("chords", [12, 16, 24, 48, 96])
def test_shop_triangulation_of_the_oblique_cone(chords):
    """D4t: angle and area with N chords, to the last digit."""
    apex, base = unroll.oblique_cone(chords + 1)
    told = {q: v for case, how, q, v in rows() if case == "D4t" and how.endswith(f"N={chords}")}
    assert len(told) == 2
    assert unroll.opening(base, apex[0]) == pytest.approx(told["total developed angle"], abs=1e-9)
    assert unroll.area(apex, base) == pytest.approx(told["area"], abs=1e-6)


def test_bounds_of_a_frustum_of_more_than_half_a_turn():
    """D3: height and width of the blank, symmetric about the x axis."""
    t = np.linspace(0, 2 * np.pi, 20_001)
    inner, outer = unroll_strip(unroll.circle(40, t, 80.0), unroll.circle(100, t))
    a, b, c = outer[0], outer[10_000], outer[-1]
    ax, ay = a - b, c - b
    cross = 2 * (ax[0] * ay[1] - ax[1] * ay[0])
    apex = b + np.array([ay[1] * (ax @ ax) - ax[1] * (ay @ ay), ax[0] * (ay @ ay) - ay[0] * (ax @ ax)]) / cross
    axis = (b - apex) / np.linalg.norm(b - apex)
    both = np.concatenate([inner, outer]) - apex
    along, across = both @ axis, both @ [-axis[1], axis[0]]
    assert np.ptp(along) == pytest.approx(published("D3", "bounding height"), abs=1e-4)
    assert np.ptp(across) == pytest.approx(published("D3", "bounding width"), abs=1e-4)


def test_a_turn_of_the_helix_tangents_and_an_oval_tube_and_cone():
    """D5 area, D6 whole girth, D7 edge length: what the other tests of these shapes leave."""
    t = np.linspace(0, 2 * np.pi, 20_001)
    edge = unroll.circle(30, t, 20 * t)
    tangent = np.column_stack([-30 * np.sin(t), 30 * np.cos(t), np.full_like(t, 20)]) / np.hypot(30, 20)
    assert unroll.area(*unroll_strip(edge, edge + 80 * tangent)) == pytest.approx(published("D5", "area"), rel=1e-4)
    oval = np.column_stack([125 * np.cos(t), 90 * np.sin(t), 0 * t])
    low, _ = unroll_strip(oval, oval + [0, 0, 50.0])
    assert unroll.along(low) == pytest.approx(published("D6", "perimeter"), abs=1e-4)
    base = np.column_stack([120 * np.cos(t), 70 * np.sin(t), 0 * t])
    _, rail = unroll_strip(np.broadcast_to([0.0, 0.0, 90.0], base.shape), base)
    assert unroll.along(rail) == pytest.approx(published("D7", "base edge length"), abs=1e-4)


def test_pipe_into_pipe():
    """D10: a 40 mm pipe into a 60 mm one at right angles: its cut end and the hole, both laid flat."""
    t = np.linspace(0, 2 * np.pi, 20_001)
    height = np.sqrt(60**2 - (40 * np.sin(t)) ** 2)
    base, cut = unroll_strip(unroll.circle(40, t, 0 * t), unroll.circle(40, t, height))
    rise = np.linalg.norm(cut - base, axis=1)
    assert np.ptp(rise) == pytest.approx(published("D10", "saddle cut depth"), abs=1e-6)
    assert rise[2_500] == pytest.approx(published("D10", "cut height at phi=45"), abs=1e-9)
    assert unroll.along(cut) == pytest.approx(published("D10", "cut edge length"), abs=1e-4)
    reach = np.arcsin(40 * np.sin(t) / 60)
    big = np.column_stack([40 * np.cos(t), 60 * np.sin(reach), 60 * np.cos(reach)])
    quarter = big[5_000:15_001]
    left, _ = unroll_strip(quarter, quarter * [0, 1, 1] + [-200.0, 0, 0])
    across = np.linalg.norm(left[-1] - left[0])
    assert across == pytest.approx(published("D10", "hole width across on flat big pipe"), abs=1e-4)


#: What test_unroll.py and the tests above hold of the developables; the rest of the table is held whole.
DEVELOPABLES = {"D1": 3, "D2": 4, "D3": 7, "D4": 7, "D4t": 10, "D5": 6, "D6": 7, "D7": 4, "D8": 1, "D9": 1, "D10": 4}


def test_no_row_is_left_out():
    """176 rows: as many of each developable as are tested, and every crowned shape whole."""
    found = [case for case, *_ in rows()]
    assert len(found) == 176
    for case in dict.fromkeys(found):
        assert case in ROWS or found.count(case) == DEVELOPABLES[case]
