"""Tunnels that run on past the tank: what is added is a plain rectangle, and nothing else changes."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from panels.agree import agree
from panels.body import build_body
from panels.choose_k import KFactor
from panels.curves import curve_through
from panels.joints import joints_of, weld_lengths
from panels.make_blanks import make_blanks
from panels.patterns import Division, NeckRelief, TunnelPattern
from panels.seams import seams_of
from tests.panels import bodies
from tests.panels.sewn import at_edge

RADIUS, K, T = 3.0, 0.42, 1.6


@cache
def made(kind: str, front: float, rear: float):
    """Sewn body and blanks by name of a tank whose tunnel runs on by so much at its ends."""
    if kind == "saddle":
        plain = bodies.saddle_tank(7)
        tunnel = plain.tunnel
        assert tunnel is not None
    else:
        tunnel = TunnelPattern(40, 40, 15, 10, top="round" if kind == "round" else "flat")
        plain = bodies.box(400, 200, 150, tunnel)
    tank = replace(plain, tunnel=replace(tunnel, past_front=front, past_rear=rear))
    sewn = seams_of(build_body(tank, Division("widest line"), thickness=T))
    blanks = make_blanks(sewn, at_edge, inside_radius=RADIUS, k_factor=KFactor(K, "a test"))
    return sewn, {blank.name: blank for blank in blanks}


@pytest.mark.parametrize("kind", ["flat", "round"])
def test_a_square_tanks_tunnel_is_longer_by_what_runs_on(kind):
    """A box 400 long: the blank is 400 + 8 + 11 long, as wide as it was, and larger by that rectangle."""
    without, blank = made(kind, 0, 0)[1]["tunnel"], made(kind, 8, 11)[1]["tunnel"]
    (x0, y0, x1, y1), (u0, v0, u1, v1) = without.outline.bounds, blank.outline.bounds
    assert (u0, u1) == pytest.approx((x0 - 8, x1 + 11), abs=0.05)
    assert (v0, v1) == pytest.approx((y0, y1), abs=0.01)
    assert blank.outline.area - without.outline.area == pytest.approx(19 * (y1 - y0), rel=0.005)
    for fold in blank.folds:
        assert (fold.start[0], fold.end[0]) == pytest.approx((u0, u1), abs=0.05)


@pytest.mark.parametrize("kind", ["saddle", "flat", "round"])
def test_nothing_else_changes(kind):
    """Body, net outlines, every other blank, and all welds are the same; only the mouth's edges carry metal."""
    (one, plain), (other, run_on) = made(kind, 0, 0), made(kind, 8, 11)
    assert np.array_equal(one.body.neutral, other.body.neutral)
    for name, blank in plain.items():
        assert blank.net.symmetric_difference(run_on[name].net).area < 1e-6
        if name != "tunnel":
            assert blank.outline.equals(run_on[name].outline)
    welds = [weld_lengths(joints_of(s.seams, list(b.values()))) for s, b in ((one, plain), (other, run_on))]
    assert welds[0] == pytest.approx(welds[1])
    ledges = {edge.meets.split()[0] for edge in run_on["tunnel"].edges if edge.joint == "ledge"}
    assert ledges
    assert "floor" not in ledges
    assert {edge.allowance for edge in run_on["tunnel"].edges if edge.joint == "ledge"} == {8, 11}
    assert not any(edge.joint == "ledge" for name, b in run_on.items() if name != "tunnel" for edge in b.edges)


def test_only_the_end_asked_for_runs_on():
    blank = made("saddle", 0, 9)[1]["tunnel"]
    assert {(edge.meets, edge.allowance) for edge in blank.edges if edge.joint == "ledge"} == {("rear end", 9)}
    assert blank.outline.bounds[0] == pytest.approx(blank.net.bounds[0])


@pytest.mark.parametrize("scheme", ["widest line", "crown, shoulders and sides", "halves"])
def test_ends_that_round_off_have_it_all_round(scheme):
    """Half an ellipsoid: the legs meet the skin on a slant, far along the tank; every edge but the floors' runs on."""
    tank = bodies.half_ellipsoid()
    frame = curve_through("frame", [[0, 50], [500, 50]], straight=True)
    side = replace(tank.side, lines={**tank.side.lines, "frame": frame})
    tunnel = TunnelPattern(40, 40, 15, 10, past_front=8, past_rear=9)
    sewn = seams_of(build_body(replace(tank, side=side, tunnel=tunnel), Division(scheme), thickness=T))
    blanks = make_blanks(sewn, at_edge, inside_radius=RADIUS, k_factor=KFactor(K, "a test"))
    (blank,) = (blank for blank in blanks if blank.name == "tunnel")
    for edge in blank.edges:
        wanted = 0 if edge.meets.startswith("floor") else 8 if edge.points[:, 0].mean() < 230 else 9
        assert edge.allowance == wanted, (edge.letter, edge.meets)


def test_it_is_told_and_not_led_into_a_neck_relief():
    tank = bodies.saddle_tank()
    assert tank.tunnel is not None
    tank = replace(tank, tunnel=replace(tank.tunnel, past_front=8.0))
    told = [f for f in agree(tank, thickness=T) if "past the front" in f.says]
    assert [f.strength for f in told] == ["note"]
    necked = replace(tank, neck=NeckRelief((-5, 40), 25, 26))
    assert [f.strength for f in agree(necked, thickness=T) if "past the front" in f.says] == ["stop"]


def test_a_lap_that_the_mate_carries_leaves_the_ledge_and_a_wider_one_of_its_own_takes_its_place():
    """The rear end laps the tunnel, or the tunnel the rear end, by 14 mm; the tunnel runs 9 on."""

    def lapped(carrier):
        def rule(kind, piece, meets):
            if {piece.split()[0], meets.split()[0]} == {"tunnel", "rear"}:
                return ("lap", 14.0 if piece.startswith(carrier) else 0.0)
            return at_edge(kind, piece, meets)

        sewn, _ = made("saddle", 0, 9)
        blanks = make_blanks(sewn, rule, inside_radius=RADIUS, k_factor=KFactor(K, "a test"))
        (tunnel,) = (blank for blank in blanks if blank.name == "tunnel")
        return {(edge.joint, edge.allowance) for edge in tunnel.edges if edge.meets == "rear end"}

    assert lapped("rear") == {("ledge", 9)}
    assert lapped("tunnel") == {("lap", 14)}


def test_a_rolled_top_is_rolled_to_the_end_of_its_ledge():
    blank = made("round", 8, 11)[1]["tunnel"]
    x0, _, x1, _ = blank.outline.bounds
    rolled = next(roll for roll in blank.rolls if roll.kind == "rolled")
    for line in (rolled.start, rolled.end):
        assert sorted(line[:, 0]) == pytest.approx([x0, x1], abs=0.1)


def test_a_very_long_ledge_is_asked_about():
    tank = bodies.saddle_tank()
    assert tank.tunnel is not None
    found = agree(replace(tank, tunnel=replace(tank.tunnel, past_rear=200.0)), thickness=T)
    (look,) = (f for f in found if "past the rear" in f.says)
    assert look.strength == "look"
    assert "200.0 mm" in (look.found or "")
    assert "38.0 mm" in (look.allowed or "")
