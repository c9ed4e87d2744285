"""Fittings: where they sit, where they are scribed on the flat, and what is said of their places."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely

from panels.assemble import tunnel_of
from panels.body import build_body, measure_capacity
from panels.choose_k import KFactor
from panels.fittings import Fitting, place_fittings
from panels.fittings_found import fittings_found
from panels.make_blanks import make_blanks
from panels.measure import volume_below
from panels.outlets import kept_back, outlet_levels
from panels.patterns import Division, Outlet
from panels.seams import seams_of
from tests.panels import bodies
from tests.panels.sewn import at_edge, sewn, vault


def fitted(sewn_body, *fittings):
    made = make_blanks(sewn_body, at_edge, inside_radius=3, k_factor=KFactor(0.42, "a test"), fittings=fittings)
    return {blank.name: blank for blank in made}


def rims(blank, label):
    return [m.points for m in blank.marks if m.kind == "fitting" and m.label == label and len(m.points) > 40]


def test_place_on_the_elliptic_barrel_is_the_ellipse():
    """A filler 30 mm out on an elliptic barrel stands at z = 80 + 80 sqrt(1 - (30/110)^2), on both hands."""
    for out in (30.0, -30.0):
        (one,) = place_fittings(sewn("barrel", "halves").body, [Fitting("filler", "top", 150, out, 40)])
        assert one.at == pytest.approx([150, out, 80 + 80 * np.sqrt(1 - (30 / 110) ** 2)], abs=0.06)
        assert one.piece == ("skin right" if out > 0 else "skin left")
        normal = np.array([0, out / 110**2, (one.at[2] - 80) / 80**2])
        assert one.frame[2] @ normal / np.linalg.norm(normal) == pytest.approx(1, abs=2e-4)
        assert np.linalg.norm(one.at - one.inside) == pytest.approx(1.6, abs=0.01)


def test_outlet_and_marks_are_looked_for_where_they_belong():
    """Outlets on the lowest metal, mounts on the tunnel's leg, marks on the side; outside it, nowhere."""
    body = sewn("vault", "widest line").body
    found = place_fittings(
        body,
        [
            Fitting("tap", "bottom", 300, -60, 20),
            Fitting("mount", "tunnel", 100, 30, hand="left"),
            Fitting("mount over the tunnel", "tunnel", 100, 100, hand="left"),
            Fitting("badge", "side", 200, 80),
            Fitting("off", "top", 500, 0, 20),
        ],
    )
    assert [p.piece for p in found] == ["floor left", "tunnel left", "top skin", "top skin", ""]
    assert found[0].at == pytest.approx([300, -60, 0])
    assert found[1].at == pytest.approx([100, -35, 30])
    assert found[2].at[1] < 0
    assert found[3].at[1] > 0


def test_flat_floor_shows_the_true_circle_at_the_true_place():
    """On a flat floor nothing moves: a 20 mm circle round, 60 mm out, 100 mm from the rear wall's middle."""
    blank = fitted(sewn("vault", "widest line"), Fitting("tap", "bottom", 300, 60, 20))["floor right"]
    (rim,) = rims(blank, "tap 20")
    middle = rim[:-1].mean(axis=0)
    assert np.linalg.norm(rim - middle, axis=1) == pytest.approx(np.full(len(rim), 10.0), abs=1e-6)
    rear = next(e for e in blank.edges if e.meets == "rear end")
    assert shapely.LineString(rear.points).distance(shapely.Point(middle)) == pytest.approx(100 - 0.8, abs=1e-6)
    leg = next(e for e in blank.edges if e.meets.startswith("tunnel"))
    assert shapely.LineString(leg.points).distance(shapely.Point(middle)) == pytest.approx(25 - 0.8, abs=1e-6)
    arms = [m for m in blank.marks if m.kind == "fitting" and len(m.points) < 40]
    assert len(arms) == 2
    assert all(m.points.mean(axis=0) == pytest.approx(middle, abs=1e-6) for m in arms)


def test_mount_on_the_tunnel_lies_down_the_leg():
    """30 mm up a leg 60 mm deep, 100 mm from the front: that far from the floor's edge, on both legs."""
    mounts = [Fitting("mount", "tunnel", 100, 30, hand=hand) for hand in ("right", "left")]
    blank = fitted(sewn("vault", "widest line"), *mounts)["tunnel"]
    labels = [m for m in blank.marks if m.kind == "fitting" and m.label == "mount"]
    assert len(labels) == 2
    for mark, side in zip(labels, ("right", "left"), strict=True):
        edge = next(e for e in blank.edges if e.meets == f"floor {side}")
        at = mark.points.mean(axis=0)
        assert shapely.LineString(edge.points).distance(shapely.Point(at)) == pytest.approx(30 - 0.8, abs=0.01)
        front = min(edge.points, key=lambda p: p[0])
        assert at[0] - front[0] == pytest.approx(100 - 0.8, abs=0.01)


def test_crowned_skin_is_scribed_by_the_same_triangles():
    """On a formed crown each point of the rim keeps its triangle: formed back, the rim is round again."""
    made = sewn("saddle", "crown and sides")
    filler = Fitting("filler", "top", 180, 0, 56)
    blank = fitted(made, filler)["crown"]
    (rim,) = rims(blank, "filler 56")
    body = made.body
    used, faces = np.unique(body.faces_of("crown"), return_inverse=True)
    tri = blank.flat.points[faces.reshape(-1, 3)]
    back = []
    for p in rim[:-1]:  # by areas of triangles, found afresh
        w = areas(tri, p)
        k = int(np.argmax(w.min(axis=1)))
        back.append(w[k] @ body.neutral[used][faces.reshape(-1, 3)[k]])
    back = np.array(back)
    (placed,) = place_fittings(body, [filler])
    local = (back - placed.at) @ placed.frame.T
    assert np.hypot(local[:, 0], local[:, 1]) == pytest.approx(np.full(len(back), 28.0), abs=1e-3)
    assert placed.at[:2] == pytest.approx([180, 0], abs=1e-9)


def areas(tri, p):
    """Shares of point p in triangles (m, 3, 2), by the areas opposite each corner."""

    def area(a, b, c):
        return (b[..., 0] - a[..., 0]) * (c[..., 1] - a[..., 1]) - (b[..., 1] - a[..., 1]) * (c[..., 0] - a[..., 0])

    a, b, c = tri[:, 0], tri[:, 1], tri[:, 2]
    return np.stack([area(p, b, c), area(a, p, c), area(a, b, p)], axis=1) / area(a, b, c)[:, None]


def test_hole_is_cut_only_where_the_job_asks():
    """Scribed is not cut; ``cut`` makes a hole of the circle's area in cut line and trim line alike."""
    made = sewn("vault", "widest line")
    tap = Fitting("tap", "bottom", 300, 60, 20)
    scribed, cut = (fitted(made, replace(tap, cut=how)) for how in (False, True))
    assert not scribed["floor right"].outline.interiors
    assert len(cut["floor right"].outline.interiors) == len(cut["floor right"].net.interiors) == 1
    lost = scribed["floor right"].outline.area - cut["floor right"].outline.area
    assert lost == pytest.approx(np.pi * 100, rel=2e-3)
    assert not cut["floor left"].outline.interiors
    assert cut["floor left"].mirrors == ""  # no longer its mirror image
    assert scribed["floor left"].mirrors == "floor right"


def test_filler_on_a_seam_is_drawn_on_both_and_told():
    """Halves meet under a filler on the centre line: half a circle on each blank, nothing cut, a finding."""
    made = sewn("barrel", "halves")
    filler = Fitting("filler", "top", 200, 0, 56, cut=True)
    blanks = fitted(made, filler)
    for name in ("skin right", "skin left"):
        (arc,) = rims_any(blanks[name], "filler 56")
        assert 30 < len(arc) < 45
        assert not blanks[name].outline.interiors
        assert shapely.LineString(arc).length == pytest.approx(np.pi * 28, rel=0.06)
    found = fittings_found(made, place_fittings(made.body, [filler]))
    assert any("falls across seam" in f.says and f.strength == "look" for f in found)
    remedy = next(f.remedy for f in found if "falls across seam" in f.says)
    assert "to the left or right" in remedy
    assert "inwards" not in remedy


def rims_any(blank, label):
    return [m.points for m in blank.marks if m.kind == "fitting" and m.label == label]


def test_filler_below_the_top_says_how_much_air_stays():
    """100 mm along a half ellipsoid's nose the filler is below the top; the air is a cap in closed form:
    V = pi a b h^2 (3c - h) / (3 c^2), by integration of the ellipse cut at each height. It stays above the
    highest place of the hole's rim, which lies up the slope from its centre."""
    a, b, c = 250.0, 120.0, 140.0
    made = seams_of(build_body(bodies.half_ellipsoid(a, b, c), Division("halves"), thickness=0.0))
    x = 100.0
    slope = c / a * (a - x) / np.sqrt(a**2 - (x - a) ** 2)
    edge = x + 5.0 / np.hypot(1, slope)  # of a hole of 10 mm in the plane that touches there
    z = c * np.sqrt(1 - ((edge - a) / a) ** 2)
    h = c - z
    air = np.pi * a * b * h * h * (3 * c - h) / (3 * c * c) / 1e6
    found = fittings_found(made, place_fittings(made.body, [Fitting("filler", "top", x, 0, 10)]))
    (said,) = [f for f in found if "highest point" in f.says]
    assert float(said.says.split(": ")[1].split(" L")[0]) == pytest.approx(air, abs=0.012)
    assert said.strength == "look"
    assert float(said.found.split()[2]) == pytest.approx(z, abs=0.2)
    assert float(said.says.split("lies ")[1].split()[0]) == pytest.approx(h, abs=0.2)
    plain = fittings_found(made, place_fittings(made.body, [Fitting("vent", "top", x, 0)]))
    (vent,) = [f for f in plain if "highest point" in f.says]
    assert f"z = {c * np.sqrt(1 - ((x - a) / a) ** 2):.1f} mm" in vent.found
    assert "140.0 mm" in said.allowed
    at_the_top = fittings_found(made, place_fittings(made.body, [Fitting("filler", "top", a, 0, 10)]))
    assert not [f for f in at_the_top if "highest point" in f.says]


def test_each_side_keeps_back_what_lies_below_its_outlet():
    """One tap at x = 480 of the saddle tank: the right side keeps the fuel below it, the left all below the
    tunnel's top; together what the capacity table takes off."""
    patterns = replace(bodies.saddle_tank(), outlets=(Outlet(480, 60, both_sides=False),))
    body = build_body(patterns, thickness=1.6)
    kept = kept_back(body.inner, body.faces, patterns.outlets)
    low = outlet_levels(body.inner, body.faces, patterns.outlets)["right"]
    assert low == pytest.approx(float(patterns.side.bottom.second_at(480)) + 1.6, abs=0.1)
    spill = tunnel_of(patterns).top(np.array([tunnel_of(patterns).x_rear]))[0] + 1.6
    assert kept["right"] == pytest.approx(volume_below(body.inner, body.faces, low) / 2)
    assert kept["left"] == pytest.approx(volume_below(body.inner, body.faces, spill) / 2, rel=0.02)
    held = measure_capacity(body, density=2730)
    assert held.below_outlet_l == pytest.approx(sum(kept.values()) / 1e6)
    tap = Fitting("tap", "bottom", 480, 60, 20)
    found = fittings_found(seams_of(body), place_fittings(body, [tap]))
    right = next(f for f in found if f.says.startswith("the right side"))
    left = next(f for f in found if f.says.startswith("the left side"))
    assert f"{kept['right'] / 1e6:.2f} L" in right.says
    assert f"{low:.1f} mm" in right.found
    assert f"{kept['left'] / 1e6:.2f} L" in left.says
    assert left.strength == "look"


def test_fuel_runs_round_the_end_of_a_tunnel_that_stops_inside_the_tank():
    """A saddle tank with its tunnel stopped at x = 400 is one room behind it: the side without an outlet keeps
    only what lies lower than the floor there, far less than up to the tunnel's top."""
    open_ = replace(bodies.saddle_tank(), outlets=(Outlet(250, 60, both_sides=False),))
    closed = replace(open_, tunnel=replace(open_.tunnel, closed_rear_x=400.0))
    kept = {}
    for name, patterns in (("open", open_), ("closed", closed)):
        body = build_body(patterns, thickness=1.6)
        kept[name] = kept_back(body.inner, body.faces, patterns.outlets)["left"] / 1e6
    behind = float(closed.side.bottom.dense[closed.side.bottom.dense[:, 0] > 402, 1].min()) + 1.6
    body = build_body(closed, thickness=1.6)
    assert kept["closed"] == pytest.approx(volume_below(body.inner, body.faces, behind) / 2e6, abs=0.02)
    assert kept["closed"] < 0.5 * kept["open"]


def test_level_of_an_outlet_is_the_inside_of_the_metal_there():
    """On a flat floor the thickness over it, plus the standpipe; beside the tank, the tank's lowest point."""
    body = sewn("vault", "widest line").body
    taps = (Outlet(300, 60, both_sides=False), Outlet(200, -70, 12.0, both_sides=False))
    assert outlet_levels(body.inner, body.faces, taps) == pytest.approx({"right": 1.6, "left": 13.6})
    assert outlet_levels(body.inner, body.faces, (Outlet(900, 60),)) == pytest.approx({"right": 1.6, "left": 1.6})


@pytest.mark.parametrize("name", ["tap outlet", "drain bung", "vent", "filler"])
@pytest.mark.parametrize(("out", "gap"), [(94.7, 5.3), (50.3, 15.3), (49.0, 14.0), (84.9, 15.1)])
def test_an_opening_without_a_diameter_is_told_from_its_centre(name, out, gap):
    """The vault's floor is flat from the leg at 35 to the seam at 100: so far from its nearest edge is each place."""
    made = seams_of(build_body(vault(), Division("widest line"), thickness=1.6))
    asked = [Fitting(name, "bottom", 200, out), Fitting("badge", "bottom", 250, out)]
    near = [f for f in fittings_found(made, place_fittings(made.body, asked)) if "seams and folds" in f.allowed]
    if gap > 15.0:
        assert not near
        return
    (found,) = near  # a mark for something that is not welded all round is not held to it
    assert (found.pattern, found.strength) == (name, "look")
    assert found.found == f"{gap:.1f} mm from it"
    assert "from its centre, for the job gives it no diameter" in found.says
    assert ("floor right and tunnel right" if out < 60 else "top skin and floor right") in found.says
    way = "outwards" if out < 60 else "inwards"
    assert f"move it {15.0 - gap + 0.05:.1f} mm {way}, and by half its diameter more" in found.remedy


def test_an_opening_on_a_seam_is_told_to_move_off_it():
    """A vent on the centre line of a tank in halves sits on their seam: 15 mm to either side clears it."""
    made = sewn("barrel", "halves")
    found = fittings_found(made, place_fittings(made.body, [Fitting("vent", "top", 200, 0)]))
    (said,) = [f for f in found if "seams and folds" in f.allowed]
    assert "the vent sits on seam" in said.says
    assert said.found == "0.0 mm from it"
    assert said.remedy.startswith("move it 15.1 mm to the left or right")


def test_places_that_cannot_be_are_told():
    """Off the tank, or too near a seam: both numbers and a remedy; a register mark may lie outside."""
    made = seams_of(build_body(vault(), Division("widest line"), thickness=1.6))
    asked = [
        Fitting("vent", "top", 500, 0, 10),
        Fitting("register_rear", "side", 460, 0),
        Fitting("tap", "bottom", 300, 80, 20),
    ]
    found = fittings_found(made, place_fittings(made.body, asked))
    assert [f.pattern for f in found] == ["vent", "tap"]
    assert found[1].found == "10.0 mm from it"  # 20 mm from the floor's outer edge, less the radius
    assert all(f.remedy and f.allowed for f in found)
