"""Tunnels that stop inside the tank: closed bodies, volumes against a general solid library, named pieces."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from panels.agree import agree
from panels.body import build_body, measure_capacity
from panels.choose_k import KFactor
from panels.divide import SCHEMES
from panels.errors import TrimError
from panels.fold import FoldLine, fold_flat
from panels.make_blanks import make_blanks
from panels.patterns import Division, NeckRelief, TunnelPattern
from panels.seams import seams_of
from tests.panels import bodies
from tests.panels.test_neck import WITHIN, closed, random_neck, square_front

ENDS = {"rear": (None, 430.0), "front": (75.0, None), "both": (90.0, 400.0), "nose": (25.0, None), "far": (380.0, None)}


def shut(patterns, front, rear):
    return replace(patterns, tunnel=replace(patterns.tunnel, closed_front_x=front, closed_rear_x=rear))


def prism(patterns):
    """The tunnel as a solid of its own, in manifold3d, from the pattern's numbers alone."""
    manifold3d = pytest.importorskip("manifold3d")
    tunnel, frame = patterns.tunnel, patterns.side.lines["frame"].points
    x0 = patterns.side.front.points[:, 0].min() if tunnel.closed_front_x is None else tunnel.closed_front_x
    x1 = patterns.side.rear.points[:, 0].max() if tunnel.closed_rear_x is None else tunnel.closed_rear_x
    ends = [
        x0 if tunnel.closed_front_x is not None else -60.0,
        x1 if tunnel.closed_rear_x is not None else x1 + 60,
    ]
    slope = (frame[-1, 1] - frame[0, 1]) / (frame[-1, 0] - frame[0, 0])
    ring = []
    for x in ends:
        half = tunnel.half_front + (x - x0) / (x1 - x0) * (tunnel.half_rear - tunnel.half_front)
        top = frame[0, 1] + slope * (x - frame[0, 0]) + tunnel.top_room
        ring += [(x, y, z) for y, z in ((-half, -90), (half, -90), (half, top), (-half, top))]
    return manifold3d.Manifold.hull_points(np.array(ring))


def solid(body):
    manifold3d = pytest.importorskip("manifold3d")
    return manifold3d.Manifold(manifold3d.Mesh(np.asarray(body.outer, np.float32), np.asarray(body.faces, np.uint32)))


@pytest.mark.parametrize("shape", ["round nose", "flat front", "tapered"])
@pytest.mark.parametrize("ends", ENDS)
def test_a_tunnel_closed_inside_is_closed_and_holds_what_a_boolean_leaves(shape, ends):
    """Against manifold3d: the tank without tunnel, less a prism that stops where the tunnel does."""
    base = square_front() if shape == "flat front" else bodies.saddle_tank()
    if shape == "tapered":
        base = replace(base, tunnel=TunnelPattern(44, 26, 19, 10))
    patterns = shut(base, *ENDS[ends])
    body = build_body(patterns, thickness=0.0)
    whole = build_body(replace(patterns, tunnel=None), thickness=0.0)
    left = (solid(whole) - prism(patterns)).volume()
    assert body.capacity_mm3 == pytest.approx(left, rel=WITHIN)
    walls = {name for name in body.pieces if name.startswith("tunnel end")}
    assert walls == {f"tunnel end {end}" for end, x in zip(("front", "rear"), ENDS[ends], strict=True) if x}
    assert "floor" in body.pieces  # it runs across where there is no tunnel
    closed(build_body(patterns, thickness=1.6))


def test_the_end_wall_stands_upright_at_its_x():
    """A rectangle, tunnel wide and as high as from the bottom run to the tunnel's top."""
    patterns = shut(bodies.saddle_tank(), None, 430.0)
    body = build_body(patterns, thickness=1.6)
    p = body.outer[np.unique(body.faces_of("tunnel end rear"))]
    assert np.abs(p[:, 0] - 430).max() < 1e-6
    assert np.ptp(p[:, 1]) == pytest.approx(2 * patterns.tunnel.half_rear, abs=1e-6)
    frame = patterns.side.lines["frame"].points
    top = np.interp(430, frame[:, 0], frame[:, 1]) + 10
    assert p[:, 2].max() == pytest.approx(top, abs=1e-6)
    assert p[:, 2].min() == pytest.approx(float(patterns.side.bottom.second_at(430)), abs=0.02)


def test_the_inner_wall_lies_a_thickness_behind():
    """Fuel side of the end wall: metal thickness rearwards of its frame side."""
    body = build_body(shut(bodies.saddle_tank(), None, 430.0), thickness=2.0)
    used = np.unique(body.faces_of("tunnel end rear"))
    assert body.inner[used, 0] == pytest.approx(432, abs=1e-6)
    inside = build_body(shut(bodies.saddle_tank(), None, 430.0), thickness=2.0, inside=True)
    used = np.unique(inside.faces_of("tunnel end rear"))
    assert inside.outer[used, 0] == pytest.approx(430, abs=1e-6)


@pytest.mark.parametrize("seed", range(20))
def test_random_tanks_with_shut_tunnels_and_necks_are_closed(seed):
    """Closed ends and neck reliefs together, in any place, under every division."""
    r = np.random.default_rng(seed)
    patterns = bodies.saddle_tank(seed + 300)
    if seed % 3:
        patterns = replace(patterns, neck=random_neck(seed, patterns))
    long = patterns.side.bottom.points[-1, 0]
    front = None if r.random() < 0.5 else r.uniform(0.08, 0.4) * long
    rear = r.uniform(0.55, 0.92) * long
    body = build_body(shut(patterns, front, rear), Division(SCHEMES[seed % 5]), thickness=1.6, step_mm=25)
    closed(body)
    assert "tunnel end rear" in body.pieces


def test_a_shorter_tunnel_leaves_more_fuel():
    held = [
        measure_capacity(build_body(shut(bodies.saddle_tank(), None, x), thickness=1.6), density=2730).brim_l
        for x in (300.0, 380.0, 460.0)
    ]
    assert sorted(held, reverse=True) == held


def test_blanks_of_a_shut_tunnel_pair_every_edge():
    """All pieces develop, the end wall is flat, its edges meet tunnel top, legs and floor; the tunnel folds."""
    body = build_body(shut(bodies.saddle_tank(), None, 430.0), thickness=1.6, step_mm=20)
    sewn = seams_of(body)
    blanks = make_blanks(sewn, lambda *_: ("butt", 3.0), inside_radius=3.0, k_factor=KFactor(0.42, "a test"))
    wall = next(blank for blank in blanks if blank.name == "tunnel end rear")
    assert wall.kind == "flat"
    assert {edge.meets for edge in wall.edges} == {"tunnel top", "tunnel right", "tunnel left", "floor"}
    tunnel = next(blank for blank in blanks if blank.name == "tunnel")
    assert len(tunnel.folds) == 2
    letters = [edge.letter for blank in blanks for edge in blank.edges]
    assert all(letters.count(letter) == 2 for letter in set(letters))
    lines = [
        FoldLine(tuple(f.start), tuple(f.end), angle_deg=f.angle, radius=f.inside_radius, direction="up", name=str(k))
        for k, f in enumerate(tunnel.folds)
    ]
    fold_flat(tunnel.net, lines, thickness=1.6, k_factor=0.42)


@pytest.mark.parametrize(
    "front, rear, says", [(None, 900.0, "rear"), (-40.0, None, "front"), (300.0, 200.0, "front"), (None, -5.0, "rear")]
)
def test_ends_outside_the_tank_stop_the_job(front, rear, says):
    found = agree(shut(bodies.saddle_tank(), front, rear), thickness=1.6)
    stops = [f for f in found if f.strength == "stop"]
    assert any(f"closed {says}" in f.says for f in stops)
    assert all(f.remedy for f in stops)


def test_patterns_with_shut_ends_agree():
    found = agree(shut(bodies.saddle_tank(), 90.0, 400.0), thickness=1.6)
    assert not [f for f in found if f.strength == "stop"]


def test_a_crown_below_the_tunnels_top_is_refused():
    """The tunnel would part left from right: told, not drawn."""
    patterns = bodies.saddle_tank()
    with pytest.raises(TrimError, match=r"parts|do not close"):
        build_body(replace(patterns, tunnel=TunnelPattern(38, 38, 19, 140)), thickness=1.6)


def test_a_neck_narrower_than_the_tunnel_leaves_strips_of_its_top():
    """The tunnel's top stays one piece that reaches forward on both sides of the neck."""
    patterns = replace(bodies.saddle_tank(), neck=NeckRelief((20, 100), 24, 28))
    body = build_body(patterns, thickness=1.6)
    top = body.outer[np.unique(body.faces_of("tunnel top"))]
    ahead = top[top[:, 0] < 5]
    assert len(ahead)
    assert np.abs(ahead[:, 1]).min() > 27.9
