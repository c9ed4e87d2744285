"""The neck relief: closed bodies, volumes against a general solid library, a wall that unrolls exactly."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import trimesh

from panels.body import Body, build_body
from panels.choose_k import KFactor
from panels.cutting_mesh import boundary_edges
from panels.develop import develop_mesh
from panels.divide import SCHEMES
from panels.errors import TrimError
from panels.fit import neck_loss, neck_volume
from panels.make_blanks import make_blanks
from panels.measure import volume
from panels.patterns import Division, NeckRelief, Patterns, SectionShape, TunnelPattern
from panels.seams import seams_of
from tests.panels import bodies
from tests.panels.sewn import at_edge

WITHIN = 0.002  # of the body's volume


def closed(body: Body) -> None:
    """Watertight and turned outwards on all three surfaces, as trimesh sees it."""
    for surface in ("outer", "neutral", "inner"):
        mesh = trimesh.Trimesh(getattr(body, surface), body.faces, process=False)
        assert mesh.is_watertight, surface
        assert mesh.is_winding_consistent, surface
        assert mesh.body_count == 1


def square_front(rake: float = 0.0, tunnel: bool = True) -> Patterns:
    """A tank with a flat front end 180 wide, raked in the side view, its plan tapering to the rear."""
    pattern = bodies.side(
        [[rake, 150], [160, 176], [400, 150], [520, 110]],
        [[0, 10], [200, 2], [520, 12]],
        [[rake * 0.4, 66], [250, 70], [520, 60]],
        [[0, 60], [520, 50]],
    )
    run = pattern.lines["widest"].length
    half = [[0, 0], [0, 90], [0.3 * run, 125], [0.7 * run, 110], [run, 60], [run, 0]]
    shape = SectionShape(0.46, 0.45, crown_lean_deg=10, lower_share=0.8)
    patterns = Patterns(pattern, (bodies.plan(half, corners=[1, 4]),), shape=shape)
    return replace(patterns, tunnel=TunnelPattern(38, 32, 19, 10)) if tunnel else patterns


def random_neck(seed: int, patterns: Patterns) -> NeckRelief:
    r = np.random.default_rng(1000 + seed)
    high = patterns.side.top.points[:, 1].max()
    lean, radius = r.uniform(5, 32), r.uniform(22, 55)
    # The point of the axis at the height of the register line, and so well inside the tank's nose.
    nose = patterns.side.top.points[0]
    x = nose[0] + r.uniform(-0.4, 0.9) * radius
    z = r.uniform(0.2, 0.9) * high
    return NeckRelief((x + (z - nose[1]) * np.tan(np.radians(lean)), z), lean, radius)


def removed(patterns: Patterns):
    """Body without the relief and the solid to take from it, in manifold3d, from the pattern alone."""
    manifold3d = pytest.importorskip("manifold3d")
    neck = patterns.neck
    whole = build_body(replace(patterns, neck=None), thickness=0.0)
    mesh = manifold3d.Mesh(np.asarray(whole.outer, np.float32), np.asarray(whole.faces, np.uint32))
    round_ = manifold3d.Manifold.cylinder(2000, neck.radius, neck.radius, 720, True)
    ahead = manifold3d.Manifold.cube((1000, 2 * neck.radius, 2000), True).translate((-500, 0, 0))
    tool = (round_ + ahead).rotate((0, neck.axis_deg, 0)).translate((neck.at[0], 0, neck.at[1]))
    return manifold3d.Manifold(mesh), tool


@pytest.mark.parametrize("decade", range(10))
def test_a_hundred_random_tanks_with_a_neck_relief_are_closed(decade):
    """Any lean, any radius, wider and narrower than the tunnel, under every division."""
    for seed in range(10 * decade, 10 * decade + 10):
        patterns = bodies.saddle_tank(seed + 1)
        patterns = replace(patterns, neck=random_neck(seed, patterns))
        body = build_body(patterns, Division(SCHEMES[seed % len(SCHEMES)]), thickness=1.6, step_mm=30)
        closed(body)
        assert "neck wall" in body.pieces


@pytest.mark.parametrize(
    "rake, at, lean, radius", [(0, (0, 80), 0, 40), (-30, (-8, 60), 24, 35), (12, (20, 80), 18, 52)]
)
@pytest.mark.parametrize("tunnel", [True, False])
def test_a_flat_front_end_is_parted_by_the_relief(rake, at, lean, radius, tunnel):
    """The cut runs through the end: what is left of it stands at both sides."""
    body = build_body(replace(square_front(rake, tunnel), neck=NeckRelief(at, lean, radius)), thickness=1.6)
    closed(body)
    assert {"front end right", "front end left", "neck wall", "rear end"} <= set(body.pieces)


def test_a_relief_that_cuts_only_the_top_of_the_front_leaves_it_in_one_piece():
    """An axis that leans far back leaves the front end whole below it."""
    patterns = replace(square_front(0, tunnel=False), neck=NeckRelief((0, 130), 60, 30))
    body = build_body(patterns, thickness=1.6)
    closed(body)
    assert "front end" in body.pieces
    assert not any("front end " in name for name in body.pieces)


CASES = {
    "round nose": (bodies.saddle_tank(), NeckRelief((20, 100), 24, 42)),
    "narrower than the tunnel": (bodies.saddle_tank(), NeckRelief((12, 120), 20, 26)),
    "upright": (bodies.saddle_tank(), NeckRelief((10, 60), 0, 48)),
    "axis ahead of the tank": (bodies.saddle_tank(), NeckRelief((-25, 70), 12, 55)),
    "flat front": (square_front(), NeckRelief((0, 80), 18, 40)),
    "raked front without tunnel": (square_front(-25, tunnel=False), NeckRelief((5, 80), 26, 45)),
}


@pytest.mark.parametrize("case", CASES)
def test_volume_is_what_boolean_subtraction_leaves(case):
    """Against manifold3d, a general solid library: the tank without relief, less a cylinder open ahead."""
    patterns, neck = CASES[case]
    patterns = replace(patterns, neck=neck)
    body = build_body(patterns, thickness=0.0)
    whole, tool = removed(patterns)
    left = (whole - tool).volume()
    assert body.capacity_mm3 == pytest.approx(left, rel=WITHIN)
    lost = whole.volume() - left
    assert whole.volume() - body.capacity_mm3 == pytest.approx(lost, rel=0.02)


@pytest.mark.parametrize("case", CASES)
def test_the_wall_unrolls_without_strain(case):
    """No triangle changes any length; each vertex lies on the cylinder to the facets' sagitta."""
    patterns, neck = CASES[case]
    body = build_body(replace(patterns, neck=neck), thickness=1.6)
    used, faces = np.unique(body.faces_of("neck wall"), return_inverse=True)
    for surface in (body.outer, body.neutral):
        flat = develop_mesh(surface[used], faces.reshape(-1, 3), along=(0.0, 0.0, 1.0))
        assert np.abs(flat.strain).max() < 1e-6
        assert flat.developable
    p = body.outer[used]
    lean = np.radians(neck.axis_deg)
    behind = (p[:, 0] - neck.at[0]) * np.cos(lean) - (p[:, 2] - neck.at[1]) * np.sin(lean)
    apart = np.where(behind > 0, np.hypot(behind, p[:, 1]), np.abs(p[:, 1]))
    assert apart.max() < neck.radius + 1e-3
    assert apart.min() > neck.radius - 0.04


ROLLED = {
    **CASES,
    "short of a half turn": (bodies.saddle_tank(), NeckRelief((-15, 100), 24, 38)),
    "small, leaning little": (bodies.saddle_tank(), NeckRelief((-12, 90), 10, 30)),
    "large, leaning much": (bodies.saddle_tank(), NeckRelief((-20, 80), 30, 50)),
    "upright and shallow": (bodies.saddle_tank(), NeckRelief((-20, 60), 0, 45)),
    "far ahead": (bodies.saddle_tank(3), NeckRelief((-40, 80), 15, 60)),
}


@pytest.mark.parametrize("case", ROLLED)
def test_the_wall_is_rolled_as_the_cylinder_it_is(case):
    """One zone of the radius given, inside, since the good face is the hollow one; it turns by what the vertices laid
    flat span about the axis, no further than the half turn behind it, and a straight on either side is the other's
    mirror image."""
    patterns, neck = ROLLED[case]
    body = build_body(replace(patterns, neck=neck), thickness=1.6)
    made = make_blanks(seams_of(body), at_edge, inside_radius=3.0, k_factor=KFactor(0.42, "a test"))
    (wall,) = (blank for blank in made if blank.name == "neck wall")
    p = body.neutral[np.unique(body.faces_of("neck wall"))]
    lean = np.radians(neck.axis_deg)
    behind = (p[:, 0] - neck.at[0]) * np.cos(lean) - (p[:, 2] - neck.at[1]) * np.sin(lean)
    angle = np.degrees(np.arctan2(p[:, 1], np.maximum(behind, 0.0)))
    (rolled,) = (zone for zone in wall.rolls if zone.kind != "flat")
    assert rolled.up
    assert rolled.radius == pytest.approx(neck.radius, rel=0.01)
    assert rolled.along == pytest.approx((rolled.radius,) * 2)
    assert rolled.angle == pytest.approx(np.ptp(angle), abs=1.0)
    long = [float(np.linalg.norm((zone.end - zone.start).mean(axis=0))) for zone in wall.rolls]
    assert long == pytest.approx(long[::-1], abs=0.2)
    assert len(long) == (3 if behind.min() < -2.5 else 1)
    net = np.array(wall.net.exterior.coords)[:, 1]  # the roll direction lies across, the centre line along
    middle = (rolled.start.mean(axis=0) + rolled.end.mean(axis=0)) / 2
    assert middle[1] == pytest.approx((net.min() + net.max()) / 2, abs=0.2)


def test_girth_of_the_unrolled_wall_is_the_cylinders():
    """An upright axis behind an upright front end: half a turn, pi R, and the straight runs to the end."""
    radius, x = 40.0, 10.0
    body = build_body(replace(square_front(0, tunnel=False), neck=NeckRelief((x, 75), 0, radius)), thickness=0.0)
    used, faces = np.unique(body.faces_of("neck wall"), return_inverse=True)
    flat = develop_mesh(body.outer[used], faces.reshape(-1, 3), along=(0.0, 0.0, 1.0))
    assert float(np.ptp(flat.points[:, 1])) == pytest.approx(np.pi * radius + 2 * x, abs=0.1)


def test_a_square_box_loses_what_its_closed_form_says():
    """Half a cylinder and the straight run ahead of the axis: (pi R2 / 2 + 2 R x) times the height."""
    radius, x = 40.0, 10.0
    body = build_body(replace(bodies.box(400, 200, 150), neck=NeckRelief((x, 75), 0, radius)), thickness=0.0)
    closed(body)
    gone = 150 * (np.pi * radius**2 / 2 + 2 * radius * x)
    assert body.capacity_mm3 == pytest.approx(400 * 200 * 150 - gone, rel=WITHIN)


def test_patterns_of_the_inside_keep_the_clear_radius():
    """The frame side of the wall stands at the stated radius, whichever face the patterns show."""
    patterns = replace(bodies.saddle_tank(), neck=NeckRelief((20, 100), 24, 42))
    for inside in (False, True):
        body = build_body(patterns, thickness=2.0, inside=inside)
        closed(body)
        p = body.outer[np.unique(body.faces_of("neck wall"))]
        p = p[np.abs(p[:, 1]) < 30]
        lean = np.radians(24)
        behind = (p[:, 0] - 20) * np.cos(lean) - (p[:, 2] - 100) * np.sin(lean)
        middle = np.median(np.hypot(behind, p[:, 1]))
        assert middle == pytest.approx(42, abs=0.2)


@pytest.mark.parametrize(
    "neck, says",
    [
        (NeckRelief((-80, 100), 20, 30), ["does not touch", "radius of the relief       30.0 mm", "hint:"]),
        (NeckRelief((900, 100), 20, 30), ["reaches the rear end|cut away the whole tank", "hint:"]),
        (NeckRelief((150, 100), 0, 140), ["swallows the whole width", "280.0 mm wide", "hint:"]),
        (NeckRelief((500, 100), 20, 40), ["reaches the rear end", "hint:"]),
    ],
)
def test_a_relief_that_cannot_be_built_says_why(neck, says):
    """Each refusal gives the numbers and what would mend it."""
    with pytest.raises(TrimError) as caught:
        build_body(replace(bodies.saddle_tank(), neck=neck), thickness=1.6)
    for words in says:
        assert any(part in str(caught.value) for part in words.split("|"))


def test_every_edge_of_the_wall_meets_a_named_piece():
    """The wall's rim is shared, edge by edge, with skin, ends, floor or tunnel."""
    body = build_body(replace(bodies.saddle_tank(), neck=NeckRelief((20, 100), 24, 42)), thickness=1.6)
    rim = boundary_edges(body.faces_of("neck wall"))
    others = body.faces[body.piece != body.pieces.index("neck wall")]
    sides = others[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    size = len(body.outer)
    assert np.isin(rim[:, 1] * size + rim[:, 0], sides[:, 0] * size + sides[:, 1]).all()


def test_a_larger_relief_never_holds_more():
    held = [
        volume(b.inner, b.faces)
        for b in (
            build_body(replace(bodies.saddle_tank(), neck=NeckRelief((20, 100), 24, r)), thickness=1.6, step_mm=20)
            for r in (25.0, 35.0, 38.0, 45.0, 55.0)
        )
    ]
    assert sorted(held, reverse=True) == held


@pytest.mark.parametrize("case", CASES)
def test_the_fuel_room_told_as_lost_is_what_the_body_loses(case):
    """The note before the body is built against the difference of two bodies."""
    patterns, neck = CASES[case]
    with_neck = replace(patterns, neck=neck)
    held = [build_body(p, thickness=1.6).capacity_mm3 for p in (patterns, with_neck)]
    lost = neck_volume(with_neck, thickness=1.6)
    assert lost == pytest.approx(held[0] - held[1], rel=0.06)
    (note,) = neck_loss(with_neck, thickness=1.6)
    assert note.strength == "note"
    assert f"{lost / 1e6:.2f} L" in note.says
