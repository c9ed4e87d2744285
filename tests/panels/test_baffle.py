"""Baffles: the section less its clearance, openings and holes, in closed form and on real tanks."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
import shapely

from panels.assemble import tunnel_of
from panels.baffle import BafflePlan, baffle_blanks, section_inside
from panels.body import build_body
from panels.errors import BaffleError
from panels.patterns import Division, TunnelPattern
from tests.panels import bodies
from tests.panels.sewn import sewn

T = 2.0
BARE = BafflePlan(clearance=0.0, opening=0.0, hole=0.0)


@cache
def box_body():
    """A box of 400 x 200 x 150 of 2 mm sheet over a tunnel 70 wide and 60 deep."""
    return build_body(bodies.box(400, 200, 150, TunnelPattern(40, 40, 15, 10)), Division("halves"), thickness=T)


def test_section_of_a_box_is_what_its_inner_sizes_say():
    """(200 - 2t)(150 - 2t) less the tunnel with its own metal outside it, (70 + 2t) x 60."""
    (section,) = section_inside(box_body(), 200.0)
    assert section.area == pytest.approx((200 - 2 * T) * (150 - 2 * T) - (70 + 2 * T) * 60, rel=1e-3)
    (plate,) = baffle_blanks(box_body(), 200.0, BARE)
    assert plate.net.area == pytest.approx(section.area, rel=1e-9)


def test_elliptic_section_is_the_parallel_curve_of_its_ellipse():
    """Inside an elliptic barrel: area pi a b - L t + pi t^2 (Steiner, for the curve t inside), L = 4 a E(m),
    NIST DLMF 19.30(i). The clearance takes off as much again, in the same way."""
    from scipy.special import ellipe

    body = sewn("barrel", "halves").body
    girth, area = 4 * 110 * ellipe(1 - (80 / 110) ** 2), np.pi * 110 * 80
    (section,) = section_inside(body, 200.0)
    assert section.area == pytest.approx(area - girth * 1.6 + np.pi * 1.6**2, rel=1e-3)
    (plate,) = baffle_blanks(body, 200.0, replace(BARE, clearance=4.0))
    d = 1.6 + 4.0
    assert plate.net.area == pytest.approx(area - girth * d + np.pi * d * d, rel=2e-3)


def test_clearance_is_left_all_round():
    """No point of the plate comes nearer to the tank's inside than the clearance, and none stays further off."""
    body = sewn("saddle", "crown and sides").body
    (section,) = section_inside(body, 270.0)
    (plate,) = baffle_blanks(body, 270.0, replace(BARE, clearance=3.0))
    at = plate.net.bounds[1] - section.bounds[1] - 3.0
    there = shapely.transform(plate.net, lambda p: p - [0.0, at])
    assert there.distance(section.exterior) == pytest.approx(3.0, abs=0.02)
    assert section.buffer(-2.98, join_style="mitre").covers(there)
    assert there.area == pytest.approx(section.buffer(-3.0, join_style="mitre").area, rel=1e-6)


def test_openings_are_bites_at_top_and_bottom_corners():
    """A box has six: two at its flat top, two at the ends of each floor. Each takes off the part of a
    quarter circle that lies clear of both walls: r^2 (pi/4 - s) - c (r cos s - c), sin s = c / r."""
    r, c = 20.0, 3.0
    whole, open_ = (baffle_blanks(box_body(), 200.0, BafflePlan(c, o, 0.0))[0].net.area for o in (0.0, r))
    s = np.arcsin(c / r)
    bite = r * r * (np.pi / 4 - s) - c * (r * np.cos(s) - c)
    # The crown's corners are next to square (the pattern's conic), the four below are square.
    assert whole - open_ == pytest.approx(6 * bite, rel=0.02)


def test_saddle_plate_is_notched_for_the_tunnel_and_open_where_it_must_be():
    """Over a tunnel: it straddles it, air passes at the top of the crown, fuel at both ends of each floor."""
    body = sewn("saddle", "crown and sides").body
    x, plan = 270.0, BafflePlan()
    (plate,) = baffle_blanks(body, x, plan)
    (section,) = section_inside(body, x)
    tunnel = tunnel_of(body.patterns)
    shift = np.array([0.0, section.bounds[1] + plan.clearance - plate.net.bounds[1]])
    at = shapely.transform(plate.net, lambda p: p + shift)
    top, half = float(tunnel.top(np.array([x]))[0]), float(tunnel.half(np.array([x]))[0])
    channel = shapely.box(-half - 1.6 - plan.clearance + 0.05, 0, half + 1.6 + plan.clearance - 0.05, top + 4.55)
    assert not at.intersects(channel)
    assert at.bounds[0] < -half < half < at.bounds[2]
    assert not at.intersects(shapely.Point(0, section.bounds[3]).buffer(plan.opening - 0.2))
    low = [p for p in section.exterior.coords if p[1] < section.bounds[1] + 0.1]
    for out in (max(p[0] for p in low), min(p[0] for p in low)):
        assert not at.intersects(shapely.Point(out, section.bounds[1]).buffer(plan.opening - 1.0))
    assert len(at.interiors) == 2
    areas = [shapely.Polygon(hole).area for hole in at.interiors]
    assert areas == pytest.approx([np.pi * 20**2] * 2, rel=3e-3)
    centre = [m for m in plate.marks if m.kind == "centre"]
    assert centre
    assert all(np.abs(m.points[:, 0]).max() < 1e-9 for m in centre)
    mirrored = shapely.transform(plate.net, lambda p: p * [-1, 1])
    assert mirrored.symmetric_difference(plate.net).area < 0.01 * plate.net.area


def test_halves_are_mirror_images_that_leave_room_between_them():
    """Two plates, right and left, alike; each clear of the centre plane, so that they never touch."""
    body = sewn("saddle", "crown and sides").body
    made = {b.name: b for b in baffle_blanks(body, 270.0, BafflePlan(halves=True))}
    assert {n: b.hand for n, b in made.items()} == {"baffle right": "right", "baffle left": "left"}
    right, left = made["baffle right"].net, made["baffle left"].net
    assert right.area == pytest.approx(left.area, rel=1e-4)
    assert shapely.transform(left, lambda p: p * [-1, 1]).symmetric_difference(right).area < 0.01 * right.area
    whole = baffle_blanks(body, 270.0, replace(BARE, clearance=3.0))[0].net
    halves = baffle_blanks(body, 270.0, replace(BARE, clearance=3.0, halves=True))
    # Each is 3 mm off the centre plane, over the metal between tunnel and crown.
    assert sum(b.net.area for b in halves) < whole.area - 6 * 60


@pytest.mark.parametrize("seed", range(1, 7))
@pytest.mark.parametrize("x_share", [0.2, 0.5, 0.85])
def test_every_plate_can_be_cut(seed, x_share):
    """Whole or halves, anywhere along a tank: valid outlines within the section, edges that close them."""
    body = tank(seed)
    x = x_share * body.inner[:, 0].max()
    room = sum(s.area for s in section_inside(body, x))
    for halves in (False, True):
        plates = baffle_blanks(body, x, BafflePlan(halves=halves))
        assert len({p.name for p in plates}) == len(plates)
        assert 0.4 * room < sum(p.net.area for p in plates) < 0.95 * room
        for plate in plates:
            assert plate.net.is_valid
            assert plate.outline.equals(plate.net)
            assert plate.kind == "flat"
            assert plate.area_formed == pytest.approx(plate.net.area)
            (edge,) = plate.edges
            assert edge.gain == 0
            assert edge.length_blank == pytest.approx(plate.net.exterior.length)
            assert f"{x:.1f} mm" in plate.notes[0]


@cache
def tank(seed):
    return build_body(bodies.saddle_tank(seed), thickness=1.6, step_mm=12.0)


@pytest.mark.parametrize("x, words", [(-50.0, "does not cross"), (900.0, "does not cross"), (3.0, "too small")])
def test_place_without_a_plate_is_refused(x, words):
    """Past the tank, or in its very tip: the place, what there is, and what to do."""
    with pytest.raises(BaffleError, match=words) as fault:
        baffle_blanks(sewn("saddle", "crown and sides").body, x, BafflePlan())
    assert "hint: " in str(fault.value)
    assert fault.value.x == x
