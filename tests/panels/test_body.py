"""The body is closed, holds what closed forms and other libraries say, and lies on its patterns."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import trimesh

from panels.body import build_body, measure_capacity
from panels.divide import SCHEMES
from panels.fit import clearance_gap, knee_found, misses
from panels.measure import volume, volume_below
from panels.patterns import Clearance, Division, KneeRelief, Outlet, SeamLine, TunnelPattern
from tests.panels import bodies

WITHIN = 0.002  # a fifth of what the shop is promised: capacity to 1 %


def as_trimesh(body, surface="outer"):
    return trimesh.Trimesh(getattr(body, surface), body.faces, process=False)


def test_elliptic_cylinder_holds_its_closed_form():
    """Volume pi a b L, Euclid XII / any handbook; its mesh agrees with trimesh, a general mesh library."""
    body = build_body(bodies.elliptic_cylinder(400, 220, 160), Division("halves"), thickness=0.0)
    exact = np.pi * 110 * 80 * 400
    assert body.capacity_mm3 == pytest.approx(exact, rel=WITHIN)
    mesh = as_trimesh(body)
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert body.capacity_mm3 == pytest.approx(mesh.volume, rel=1e-9)


def test_half_ellipsoid_holds_its_closed_form():
    """Volume 2/3 pi a b c (CRC Standard Mathematical Tables), with both ends closing to a point."""
    body = build_body(bodies.half_ellipsoid(250, 120, 140), Division("halves"), thickness=0.0)
    assert as_trimesh(body).is_watertight
    assert body.capacity_mm3 == pytest.approx(2 / 3 * np.pi * 250 * 120 * 140, rel=WITHIN)


def test_box_with_tunnel_holds_what_its_inner_sizes_say():
    """A box of sheet with a square tunnel: every wall inside by the thickness, in closed form."""
    t = 2.0
    tunnel = TunnelPattern(40, 40, 15, 10)  # clear 70 wide, its top at z = 60
    body = build_body(bodies.box(400, 200, 150, tunnel), Division("halves"), thickness=t)
    assert as_trimesh(body, "inner").is_watertight
    inner = (400 - 2 * t) * ((200 - 2 * t) * (150 - 2 * t) - (70 + 2 * t) * 60)
    # The fold line of the crown's square corner is a conic of fullness just under 1.
    assert body.capacity_mm3 == pytest.approx(inner, rel=WITHIN)


def test_tunnel_is_what_boolean_subtraction_leaves():
    """Body with tunnel against manifold3d, a general solid library: body without it, less a prism."""
    manifold3d = pytest.importorskip("manifold3d")
    patterns = bodies.saddle_tank()
    whole = build_body(replace(patterns, tunnel=None), thickness=0.0)
    body = build_body(patterns, thickness=0.0)

    def solid(vertices, faces):
        return manifold3d.Manifold(manifold3d.Mesh(np.asarray(vertices, np.float32), np.asarray(faces, np.uint32)))

    x = np.array([-50.0, 700.0])
    frame = patterns.side.lines["frame"].points
    slope = (frame[1, 1] - frame[0, 1]) / (frame[1, 0] - frame[0, 0])
    top = frame[0, 1] + slope * (x - frame[0, 0]) + 10
    ring = np.array(
        [[a, s * 38.0, z] for a, h in zip(x, top, strict=True) for s, z in ((-1, -90), (1, -90), (1, h), (-1, h))]
    )
    quads = [(0, 1, 2, 3), (4, 7, 6, 5), (0, 4, 5, 1), (1, 5, 6, 2), (2, 6, 7, 3), (3, 7, 4, 0)]
    faces = np.array([f for a, b, c, d in quads for f in ((a, b, c), (a, c, d))])
    prism = solid(ring, faces)
    if prism.volume() < 0:
        prism = solid(ring, faces[:, ::-1])
    left = (solid(whole.outer, whole.faces) - prism).volume()
    assert body.capacity_mm3 == pytest.approx(left, rel=WITHIN)


@pytest.mark.parametrize("seed", range(24))
def test_random_tanks_are_closed_on_all_three_surfaces(seed):
    """Every tank of a family, under every division, is watertight inside, outside and in the middle."""
    scheme = SCHEMES[seed % len(SCHEMES)]
    body = build_body(bodies.saddle_tank(seed + 1), Division(scheme), thickness=1.6)
    for surface in ("outer", "neutral", "inner"):
        mesh = as_trimesh(body, surface)
        assert mesh.is_watertight
        assert mesh.is_winding_consistent
    assert 0 < volume(body.inner, body.faces) < volume(body.neutral, body.faces) < volume(body.outer, body.faces)


@pytest.mark.parametrize("seed", range(6))
def test_every_pattern_lies_on_the_surface(seed):
    """No pattern is missed by more than 0.3 mm, well inside a pencil line."""
    body = build_body(bodies.saddle_tank(seed + 40), thickness=1.6)
    off = misses(body)
    assert set(off) >= {"side pattern, top run", "side pattern, bottom run", "plan"}
    assert max(off.values()) < 0.3


def test_capacity_is_right_wherever_it_is_cut():
    """Fuel below a level of a half ellipsoid: V(h) = pi a b h (1 - h^2 / (3 c^2)), by integration."""
    body = build_body(bodies.half_ellipsoid(250, 120, 140), thickness=0.0)
    for h in (20.0, 70.0, 120.0):
        exact = np.pi * 250 * 120 * h * (1 - h * h / (3 * 140**2))
        assert volume_below(body.inner, body.faces, h) == pytest.approx(exact, rel=WITHIN)


def test_widening_the_tunnel_never_raises_capacity():
    """Each millimetre of side room costs what the papers say it costs."""
    patterns = bodies.saddle_tank()
    held = []
    for room in (15.0, 19.0, 20.0, 25.0):
        wider = replace(patterns, tunnel=TunnelPattern(38, 38, room, 10))
        held.append(build_body(wider, thickness=1.6))
    brim = [body.capacity_mm3 for body in held]
    assert sorted(brim, reverse=True) == brim
    told = measure_capacity(held[1], density=2730).litres_per_mm_width
    assert (brim[1] - brim[2]) / 1e6 == pytest.approx(told, rel=0.05)


def test_mass_is_area_times_thickness_times_density():
    """The elliptic barrel's sheet: girth from the complete elliptic integral, NIST DLMF 19.30(i)."""
    from scipy.special import ellipe

    body = build_body(bodies.elliptic_cylinder(400, 220, 160), Division("halves"), thickness=1e-6, k_factor=0.5)
    girth = 4 * 110 * ellipe(1 - (80 / 110) ** 2)
    area = girth * 400 + 2 * np.pi * 110 * 80
    kept = measure_capacity(body, density=2730)
    assert kept.shell_area_mm2 == pytest.approx(area, rel=WITHIN)
    assert kept.dry_mass_kg == pytest.approx(area * 1e-6 * 2730 / 1e9, rel=WITHIN)
    assert kept.centre == pytest.approx((200, 0, 80), abs=0.5)


def test_a_side_without_an_outlet_keeps_all_below_the_tunnel():
    """One tap on one side of a saddle tank leaves the other lobe full up to the tunnel's top."""
    patterns = bodies.saddle_tank()
    both = replace(patterns, outlets=(Outlet(300, 60, both_sides=True),))
    one = replace(patterns, outlets=(Outlet(300, 60, both_sides=False),))
    kept = [measure_capacity(build_body(p, thickness=1.6), density=2730) for p in (both, one)]
    assert kept[1].below_outlet_l > kept[0].below_outlet_l + 1.0
    assert kept[1].usable_l < kept[0].usable_l


def test_patterns_of_the_inside_make_a_larger_tank():
    """Patterns that show the inside hold more than the same ones read as the outside."""
    patterns = bodies.saddle_tank()
    outside = build_body(patterns, thickness=1.6)
    inside = build_body(patterns, thickness=1.6, inside=True)
    assert inside.capacity_mm3 > outside.capacity_mm3 + 1.6 * 0.8 * 2 * 120_000
    assert as_trimesh(inside).is_watertight


def test_drawn_seams_part_the_skin_where_they_run():
    """A seam across the tank at x = 90 makes a nose piece whose edge lies on it."""
    from panels.curves import curve_through

    nose = SeamLine("nose", "side", curve_through("nose", [[90, -20], [90, 260]], straight=True))
    body = build_body(bodies.saddle_tank(), Division("halves", seams=(nose,)), thickness=1.6)
    assert {"skin 1 right", "skin 2 right", "skin 1 left", "skin 2 left"} <= set(body.pieces)
    front = body.outer[np.unique(body.faces_of("skin 1 right"))]
    assert front[:, 0].max() == pytest.approx(90, abs=0.05)
    assert as_trimesh(body).is_watertight


def test_seam_drawn_on_the_plan_parts_the_skin_there():
    """A line on the plan 60 mm out: the crown's edges lie on it all along."""
    from panels.curves import curve_through

    line = SeamLine("shoulder", "plan", curve_through("shoulder", [[60, 60], [480, 60]], straight=True))
    body = build_body(bodies.saddle_tank(), Division("drawn", seams=(line,)), thickness=1.6)
    assert as_trimesh(body).is_watertight
    flags = body.shell.flags
    on = body.shell.vertices[(flags >> 8) > 0]
    assert len(on) > 40
    assert np.abs(np.abs(on[:, 1]) - 60).max() < 0.05


def test_gap_to_a_bar_is_the_distance_between_them():
    """A bar along y beside a box: the gap is plain arithmetic; through the box it is negative."""
    body = build_body(bodies.box(400, 200, 150), Division("halves"), thickness=1.0)
    clear = Clearance("bar", (-40, -300, 75), (-40, 300, 75), 10, 5)
    assert clearance_gap(body, clear)[0] == pytest.approx(30, abs=0.5)
    through = Clearance("bar", (100, -300, 75), (100, 300, 75), 10, 5)
    assert clearance_gap(body, through)[0] < 0


def test_knee_relief_only_takes_away():
    """Inside its outline the side sinks, by its depth in the middle; outside nothing moves; litres are told."""
    patterns = bodies.saddle_tank()
    knee = KneeRelief(np.array([[300.0, 20], [420, 24], [430, 70], [310, 74]]), depth=10.0, blend=15.0)
    plain = build_body(patterns, thickness=1.6)
    body = build_body(replace(patterns, knee=knee), thickness=1.6)
    lost = plain.capacity_mm3 - body.capacity_mm3
    assert lost > 0
    sunk = body.surface.drawn[..., 1] - body.surface.grid[..., 1]
    assert sunk.min() >= 0
    assert sunk.max() == pytest.approx(10.0, abs=0.05)
    x, z = body.surface.grid[..., 0], body.surface.grid[..., 2]
    outside = (x < 290) | (x > 440) | (z > 90)
    assert np.all(sunk[outside] == 0)
    note = next(f for f in knee_found(body) if f.strength == "note")
    assert f"{lost / 1e6:.2f} L" in note.says
    assert max(misses(body).values()) < 0.3, "the patterns show the tank without the relief"


def test_knee_relief_into_the_tunnel_stops_the_job():
    """A hollow deeper than the metal beside the tunnel is told with the room left."""
    knee = KneeRelief(np.array([[300.0, 10], [420, 14], [430, 70], [310, 74]]), depth=100.0, blend=15.0)
    body = build_body(replace(bodies.saddle_tank(), tunnel=None, knee=knee), thickness=1.6)
    assert knee_found(body)[0].strength == "note"
    body = replace(body, patterns=replace(body.patterns, tunnel=bodies.saddle_tank().tunnel))
    assert knee_found(body)[-1].strength == "stop"
