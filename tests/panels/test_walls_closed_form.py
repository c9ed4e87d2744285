"""End walls, neck walls and a cone's skin of whole tanks, laid flat, against closed forms.

Rows of tests/published/development-checks.csv (its sources beside it): D1 circular cylinder, D2 cylinder cut by a
tilted plane, D3 cone frustum, D6 elliptic cylinder (arcs by E(phi | m), NIST Digital Library of Mathematical
Functions, chapter 19), D8 parabola. Each tank is made so that the neutral surface of its wall is the row's shape. Walls
are made of flats between rulings, so what is laid flat is a little short of the curve: 0.1 mm is held here.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from panels.body import build_body
from panels.choose_k import KFactor
from panels.curves import curve_through
from panels.make_blanks import make_blanks
from panels.patterns import Division, NeckRelief, Patterns, SectionShape
from panels.seams import seams_of
from tests.panels import bodies
from tests.panels.develop_shapes import published

NEAR_MM = 0.1


def bare(kind, piece, meets):
    return ("butt" if meets else "free"), 0.0


def blanks_of(patterns: Patterns, scheme: str = "widest line", *, thickness: float = 0.0, step: float = 3.0):
    sewn = seams_of(build_body(patterns, Division(scheme), thickness=thickness, step_mm=step))
    made = make_blanks(sewn, bare, inside_radius=3.0, k_factor=KFactor(0.5, "a test"))
    return sewn, {blank.name: blank for blank in made}


def box(length: float, width: float, height: float, run: np.ndarray | None = None, *, crown: float = 1.0) -> Patterns:
    """A box with flat floor and sides under a crown of that height; its rear run bulges out along ``run`` (n, 2),
    told from the corner at the floor."""
    low = height - crown
    widest = curve_through("widest", [[0, low], [length, low]], straight=True)
    plain = bodies.box(length, width, height)
    ended = plain.side.rear if run is None else curve_through("rear", run + [length, 0.0])
    side = replace(plain.side, rear=ended, lines={"widest": widest})
    return replace(plain, side=side, shape=SectionShape(crown_fullness=0.9, lower_lean_deg=0.0, lower_share=1.0))


def half_ellipse(a: float, b: float, points: int = 73) -> np.ndarray:
    """From floor to top, b up to the middle and a out."""
    turn = np.linspace(-np.pi / 2, np.pi / 2, points)
    run = np.column_stack([a * np.cos(turn), b + b * np.sin(turn)])
    run[[0, -1], 0] = 0.0
    return run


def sizes(blank) -> tuple[float, float]:
    """Length of an end's centre line, and its width."""
    (line,) = [mark.points for mark in blank.marks if mark.kind == "centre"]
    left, low, right, high = blank.net.bounds
    assert right - left == pytest.approx(np.ptp(line[:, 0]), abs=1e-6)  # the centre line runs along it
    return float(np.ptp(line[:, 0])), high - low


@pytest.mark.parametrize(("thickness", "crown"), [(0.0, 1.0), (1.6, 40.0)])
def test_round_end_is_half_of_d1(thickness, crown):
    """A rear end round in the side view: neutral radius 50, 120 wide. It opens pi R long, half of the tube of D1."""
    outer = 50.0 + thickness / 2
    tank = box(200.0, 120.0 + thickness, 2 * outer, half_ellipse(outer, outer), crown=crown)
    _, flat = blanks_of(tank, thickness=thickness)
    end = flat["rear end"]
    assert end.kind == "rolled"
    long, wide = sizes(end)
    assert 2 * long == pytest.approx(published("D1", "flat width"), abs=2 * NEAR_MM)
    assert wide == pytest.approx(120.0, abs=0.01)
    if crown == 1.0:  # less its rounding
        assert 2 * end.net.area == pytest.approx(published("D1", "area"), rel=2e-3)
    assert np.hypot(2 * long, wide) == pytest.approx(published("D1", "flat diagonal"), abs=2 * NEAR_MM)


def test_elliptic_end_is_half_of_d6():
    """Half axes 125 out and 90 up: half the perimeter of D6, and its arcs on the way."""
    sewn, flat = blanks_of(box(200.0, 120.0, 180.0, half_ellipse(125.0, 90.0)))
    long, wide = sizes(flat["rear end"])
    assert 2 * long == pytest.approx(published("D6", "perimeter"), abs=2 * NEAR_MM)
    assert wide == pytest.approx(120.0, abs=0.01)
    # On the blank's own edge: where each corner of the mesh lies, against the arc to its eccentric angle.
    edge = next(e for e in flat["rear end"].edges if e.meets == "side right")
    seam = next(s for s in sewn.seams if s.letter == edge.letter)
    at, along = sewn.body.neutral[seam.chain], edge.points[:, 0]
    if np.sign(along[-1] - along[0]) != np.sign(at[-1, 2] - at[0, 2]):
        along = along[::-1]
    angle = np.degrees(np.arctan2((at[:, 2] - 90.0) / 90.0, (at[:, 0] - 200.0) / 125.0))
    order = np.argsort(angle)
    for degrees in (15, 30, 45, 60, 75):
        arc = published("D6", f"arc from (a,0) to eccentric angle {degrees} deg")
        for sign in (1, -1):
            there, middle = (np.interp(v, angle[order], along[order]) for v in (sign * degrees, 0.0))
            assert sign * (there - middle) == pytest.approx(arc, abs=NEAR_MM)


def test_parabolic_end_is_d8():
    """An end 80 high that bulges 60 as a parabola: x sqrt(1 + k2 x2) + asinh(k x) / k."""
    z = np.linspace(0.0, 80.0, 61)
    run = np.column_stack([60.0 * (1 - ((z - 40.0) / 40.0) ** 2), z])
    _, flat = blanks_of(box(200.0, 100.0, 80.0, run, crown=20.0))
    long, wide = sizes(flat["rear end"])
    assert long == pytest.approx(published("D8", "developed width"), abs=NEAR_MM)
    assert wide == pytest.approx(100.0, abs=0.01)


def test_a_cones_skin_is_half_of_d3():
    """A tank that is a cone frustum of 100 and 40 mm radius, 80 long, in halves: each half of the sector of D3."""
    shape = SectionShape(lower_lean_deg=90.0, lower_share=0.0)
    tank = Patterns(
        bodies.side([[0, 200], [80, 140]], [[0, 0], [80, 60]], [[0, 100], [80, 100]], straight=True),
        (bodies.plan([[0, 0], [0, 100], [80, 40], [80, 0]], straight=True),),
        shape=shape,
    )
    _, flat = blanks_of(tank, "halves", step=2.0)
    skin = flat["skin right"]
    assert skin.kind == "rolled"
    assert 2 * skin.net.area == pytest.approx(published("D3", "area"), rel=1e-3)
    straight = [e for e in skin.edges if e.meets == "skin left"]
    assert [e.length_blank for e in straight] == pytest.approx([published("D3", "slant")] * 2, abs=NEAR_MM)
    # The two straight edges meet at the tip of the cone, and so say radii and angle.
    lines = [(e.points[0], e.points[-1] - e.points[0]) for e in straight]
    (p, d), (q, e) = lines
    tip = p + d * np.linalg.solve(np.column_stack([d, -e]), q - p)[0]
    far = [np.linalg.norm(edge.points[[0, -1]] - tip, axis=1) for edge in straight]
    for ends in far:
        assert ends.max() == pytest.approx(published("D3", "outer flat radius"), abs=3 * NEAR_MM)
        assert ends.min() == pytest.approx(published("D3", "inner flat radius"), abs=3 * NEAR_MM)
    ways = [edge.points.mean(axis=0) - tip for edge in straight]
    turn = np.degrees(np.arccos(ways[0] @ ways[1] / np.prod([np.linalg.norm(w) for w in ways])))
    assert 2 * turn == pytest.approx(published("D3", "sector angle"), abs=0.2)
    for edge in skin.edges:
        if edge.meets != "skin left":  # round about the tip
            r = np.linalg.norm(edge.points - tip, axis=1)
            assert np.ptp(r) < 3 * NEAR_MM


def test_neck_wall_is_half_of_d2():
    """A neck of neutral radius 50 whose axis leans 30 degrees, cut by a flat floor: the round part of that edge opens
    into the sine curve R tan b cos(s / R), half as long as the cut edge of D2 and with its heights."""
    lean, radius, thick = 30.0, 50.0, 1.6
    tank = replace(box(400.0, 220.0, 150.0), neck=NeckRelief((60.0, 75.0), lean, radius - thick / 2))
    sewn, flat = blanks_of(tank, "halves", thickness=thick, step=6.0)
    wall = flat["neck wall"]
    assert wall.kind == "rolled"
    (edge,) = [e for e in wall.edges if e.meets.startswith("floor")]
    seam = next(s for s in sewn.seams if s.letter == edge.letter)
    at, points = sewn.body.neutral[seam.chain], edge.points
    steps, flat_steps = (np.linalg.norm(np.diff(line, axis=0), axis=1) for line in (at, points))
    if np.abs(steps - flat_steps).max() > 1e-6:
        points = points[::-1]
    cos, sin = np.cos(np.radians(lean)), np.sin(np.radians(lean))
    behind = (at[:, 0] - 60.0) * cos - (at[:, 2] - 75.0) * sin
    turn = np.arctan2(at[:, 1], behind)
    on = np.abs(turn) <= np.pi / 2 + 1e-3
    assert np.hypot(behind, at[:, 1])[on] == pytest.approx(np.full(on.sum(), radius), abs=0.05)
    round_part, order = points[on], np.argsort(turn)
    so_far = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    cut = abs(np.ptp(np.interp([-np.pi / 2, np.pi / 2], turn[order], so_far[order])))
    assert 2 * cut == pytest.approx(published("D2", "cut edge length"), abs=2 * NEAR_MM)
    # Laid on the curve of the closed form by the best turn and shift, every point of it lies there.
    curve = np.column_stack([radius * turn[on], radius * np.tan(np.radians(lean)) * np.cos(turn[on])])
    a, b = round_part - round_part.mean(axis=0), curve - curve.mean(axis=0)
    u, _, v = np.linalg.svd(a.T @ b)
    assert a @ (u @ v) == pytest.approx(b, abs=NEAR_MM)
    laid = a @ (u @ v) + curve.mean(axis=0)
    height = np.interp(np.pi / 4, turn[on][np.argsort(turn[on])], laid[np.argsort(turn[on]), 1])
    expected = published("D2", "height at s=R*pi/4 from the high generator")
    assert 100 + height == pytest.approx(expected, abs=NEAR_MM)  # the row's plane stands 100 up
    assert 100 + laid[:, 1].max() == pytest.approx(published("D2", "max edge height"), abs=NEAR_MM)
