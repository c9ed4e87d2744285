"""A skin that runs over a style line: its bend allowance, against the handbook's bend deduction."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from panels.assemble import WIDEST
from panels.bend import bend_deduction
from panels.body import build_body
from panels.choose_k import KFactor
from panels.crease import crease_turns, eased
from panels.cutting_mesh import area_vectors
from panels.develop import develop_mesh
from panels.make_blanks import make_blanks
from panels.patterns import Division
from panels.seams import seams_of
from tests.panels import bodies
from tests.panels.sewn import THICKNESS, at_edge

LONG, WALL, ROOF = 400.0, 60.0, 130.0


def house(turn_deg, thickness, surface_k=0.5):
    """A wall and a roof that leans in by ``turn_deg``, as the part of a body that a skin over a crease is.

    Its neutral surface is the outside moved inwards square to wall and roof, both carried on until they meet.
    """
    a, inset = np.radians(turn_deg), (1 - surface_k) * thickness
    x = np.linspace(0, LONG, 41)
    up, along = np.linspace(0, WALL, 7), np.linspace(0, ROOF, 14)[1:]
    lean = np.array([-np.sin(a), np.cos(a)])
    section = np.vstack([np.column_stack([np.full(7, 100.0), up]), [100.0, WALL] + along[:, None] * lean])
    inwards = np.vstack([np.tile([-1.0, 0.0], (7, 1)), np.tile([-np.cos(a), -np.sin(a)], (13, 1))])
    inwards[6] = np.array([-1.0, -np.tan(a / 2)])  # the bisector, as far as both sides are moved
    lines = [section, section + inset * inwards]
    grids = [
        np.stack([np.broadcast_to(x[:, None], (41, 20)), *np.broadcast_to(line.T[:, None], (2, 41, 20))], axis=-1)
        for line in lines
    ]
    at = np.arange(41 * 20).reshape(41, 20)
    q = [at[:-1, :-1].ravel(), at[1:, :-1].ravel(), at[1:, 1:].ravel(), at[:-1, 1:].ravel()]
    faces = np.vstack([np.column_stack(q[:3]), np.column_stack([q[0], q[2], q[3]])])
    outer, neutral = (grid.reshape(-1, 3) for grid in grids)
    if area_vectors(outer, faces)[:, 1].sum() < 0:
        faces = faces[:, ::-1]
    flags = np.zeros((41, 20), dtype=int)
    flags[:, 6] = WIDEST
    body = SimpleNamespace(
        outer=outer,
        neutral=neutral,
        thickness=thickness,
        k_factor=surface_k,
        shell=SimpleNamespace(flags=flags.ravel()),
        surface=SimpleNamespace(grid=grids[0], widest=6),
    )
    return body, faces


@pytest.mark.parametrize("turn", [14.0, 48.0, 90.0])
def test_turn_of_the_outside_is_read_at_the_crease(turn):
    """Roof and wall meet at the angle that they were drawn with."""
    body, _ = house(turn, 1.6)
    assert np.degrees(crease_turns(body.surface)[1]) == pytest.approx(np.full(41, turn), abs=1e-6)


@pytest.mark.parametrize("turn", [14.0, 30.0, 48.0, 75.0])
@pytest.mark.parametrize("thickness, radius, k", [(1.6, 3.0, 0.42), (1.0, 1.0, 0.33), (2.0, 12.0, 0.5)])
def test_a_skin_over_a_crease_is_shorter_by_the_bend_deduction(turn, thickness, radius, k):
    """Outside lengths of both sides less the bend deduction (Machinery's Handbook; FAA-H-8083-31 ch. 4)."""
    body, faces = house(turn, thickness)
    points, crease = eased(body, np.arange(len(body.outer)), faces, radius=radius, k_factor=k)
    skin = develop_mesh(points, faces, along=[1, 0, 0])
    assert skin.developable
    net = WALL + ROOF - bend_deduction(thickness, radius, turn, k)
    # Moving one line shortens both sides to second order in what is taken off over their length.
    assert np.ptp(skin.points, axis=0) == pytest.approx([LONG, net], abs=0.01)
    assert f"bend of {turn:.0f}°" in crease.words()
    sharp = WALL + ROOF - 2 * (1 - body.k_factor) * thickness * np.tan(np.radians(turn / 2))
    assert crease.takes == pytest.approx(sharp - net, abs=1e-9)


def test_a_crease_in_a_real_skin_is_said_and_taken_off():
    """A tank whose crown leans in by 35 degrees, its sides running over the style line: said on the blank."""
    tank = bodies.saddle_tank()
    tank = replace(tank, shape=replace(tank.shape, crown_lean_deg=35.0))
    sewn = seams_of(build_body(tank, Division("crown and sides"), thickness=THICKNESS))
    blanks = [
        {b.name: b for b in make_blanks(sewn, at_edge, inside_radius=radius, k_factor=KFactor(0.42, "a test"))}
        for radius in (0.5, 12.0)
    ]
    sharp, round_ = (made["side right"] for made in blanks)
    assert any("widest line is a bend" in note for note in round_.notes)
    assert not any("bend" in note for note in blanks[1]["crown"].notes)
    lost = sharp.net.area - round_.net.area
    longest = max(edge.length_blank for edge in sharp.edges)
    assert 0.02 * longest < lost < 1.0 * longest
    assert blanks[1]["side left"].net.area == pytest.approx(round_.net.area, rel=1e-12)


def test_a_smooth_skin_has_no_bend():
    """An elliptic barrel runs on through its widest line: no note, no millimetre off its girth."""
    body = build_body(bodies.elliptic_cylinder(), Division("halves"), thickness=1.6)
    made = make_blanks(seams_of(body), at_edge, inside_radius=9.0, k_factor=KFactor(0.42, "a test"))
    skin = next(blank for blank in made if blank.name == "skin right")
    assert not any("bend" in note for note in skin.notes)


@pytest.mark.parametrize("diameter, thickness", [(200.0, 0.8), (200.0, 1.6), (120.0, 3.0)])
def test_rolled_cylinder_of_outside_diameter_d(diameter, thickness):
    """pi (d - t) at K = 0.5, the middle of the sheet: Machinery's Handbook, rolled rings of large radius."""
    tube = bodies.elliptic_cylinder(400, diameter, diameter)
    body = build_body(tube, Division("halves"), thickness=thickness)
    made = make_blanks(seams_of(body), at_edge, inside_radius=3.0, k_factor=KFactor(0.5, "a test"))
    skin = next(blank for blank in made if blank.name == "skin right")
    assert 2 * skin.net.area / (400 - thickness) == pytest.approx(np.pi * (diameter - thickness), rel=5e-4)
