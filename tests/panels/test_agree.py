"""Papers that disagree are found, with both numbers, the place and a remedy; papers that agree are not."""

from __future__ import annotations

from dataclasses import replace

import pytest

from panels.agree import agree
from panels.curves import curve_through
from panels.patterns import PlanPattern, SectionPattern, TunnelPattern
from tests.panels import bodies


def found(patterns, **how):
    return agree(patterns, thickness=1.6, **how)


def only(findings, strength):
    return [f for f in findings if f.strength == strength]


def test_a_tunnel_narrower_than_the_backbone_stops():
    """0.75, meant in inches: 0.75 less 1.5 drawn in."""
    tank = bodies.saddle_tank()
    found = agree(replace(tank, tunnel=replace(tank.tunnel, side_room=0.75)), thickness=1.6)
    (stop,) = (f for f in found if f.strength == "stop")
    assert "no wider than the backbone" in stop.says
    assert "-0.8 mm" in (stop.found or "")


def test_papers_that_agree_are_left_alone():
    """A tank whose papers fit has no stop and no look; what was not given is said."""
    findings = found(bodies.saddle_tank())
    assert not only(findings, "stop")
    assert not only(findings, "look")
    said = " ".join(f.says for f in findings)
    assert "clearance at full lock not checked" in said
    assert "no outlet given" in said


@pytest.mark.parametrize("extra", [-9.0, 9.0])
def test_plan_of_another_length_is_a_stop_with_both_lengths(extra):
    """Along the widest line: the line's length, the paper's, and the difference."""
    patterns = bodies.saddle_tank()
    line = patterns.side.lines["widest"].length
    points = patterns.plans[0].half.points * [(line + extra) / line, 1]
    plan = PlanPattern("plan", "widest", curve_through("plan", points, corners=[8, 9], mirror_axis=1))
    (stop,) = only(found(replace(patterns, plans=(plan,))), "stop")
    assert f"{line:.1f} mm" in stop.says
    assert f"{line + extra:.1f} mm" in stop.says
    assert "9.0 mm " + ("longer" if extra > 0 else "shorter") in stop.says
    assert stop.remedy


def test_plan_measured_level_is_recognised():
    """A raked line makes the paper longer than the tank: measured level, the hint says so."""
    patterns = bodies.elliptic_cylinder(400, 220, 160)
    raked = curve_through("widest", [[0, 20], [400, 140]], straight=True)
    side = replace(patterns.side, lines={"widest": raked})
    (stop,) = only(found(replace(patterns, side=side)), "stop")
    assert "417.6 mm" in stop.says, "hypotenuse of 400 and 120"
    assert "measured level" in stop.remedy


def test_plan_in_the_wrong_unit_is_recognised():
    """A plan read in inches beside a side pattern in millimetres."""
    patterns = bodies.saddle_tank()
    plan = PlanPattern("plan", "widest", curve_through("plan", patterns.plans[0].half.points / 25.4, corners=[8, 9]))
    stop = only(found(replace(patterns, plans=(plan,))), "stop")[0]
    assert "inches" in stop.remedy


def test_tunnel_through_the_crown_says_where():
    """The place is where the room is least."""
    patterns = bodies.saddle_tank()
    frame = curve_through("frame", [[0, 60], [540, 140]], straight=True)
    side = replace(patterns.side, lines={**patterns.side.lines, "frame": frame})
    stop = next(f for f in only(found(replace(patterns, side=side)), "stop") if "crown" in f.says)
    assert stop.at_mm == pytest.approx(505, abs=20)


def test_tunnel_wider_than_the_tank_is_a_stop():
    """Half the tunnel and both metals against the lower edge."""
    patterns = replace(bodies.saddle_tank(), tunnel=TunnelPattern(180, 180, 19, 10))
    stop = next(f for f in only(found(patterns), "stop") if "not wider at its lower edge" in f.says)
    assert "112.2 mm" in stop.allowed, "90 + 19 + 2 x 1.6"


def test_tunnel_wider_than_a_square_tail_is_told():
    """The tail is 0.62 x 133 out at the widest, 0.8 of that at its lower edge: a 150 mm backbone is wider."""
    patterns = replace(bodies.saddle_tank(), tunnel=TunnelPattern(38, 150, 19, 10))
    look = next(f for f in only(found(patterns), "look") if "at the rear" in f.says)
    assert f"{0.62 * 133 * 0.8:.1f} mm" in look.found
    assert "97.2 mm" in look.allowed, "75 + 19 + 2 x 1.6"


def test_tight_side_room_is_told_after_draw_in():
    """12.7 mm is the least, common practice; 13 mm less 1.5 drawn in is under it."""
    patterns = replace(bodies.saddle_tank(), tunnel=TunnelPattern(38, 38, 13, 10))
    look = next(f for f in only(found(patterns), "look") if "each side" in f.says)
    assert "11.5 mm" in look.found


def test_section_that_does_not_fit_is_told_with_both_widths():
    """A section 10 mm wider than the plan at its station."""
    patterns = bodies.saddle_tank()
    x = 250.0
    top = float(patterns.side.top.second_at(x))
    low = float(patterns.side.bottom.second_at(x))
    half = curve_through("half", [[0, top], [90, top - 15], [141, 80], [100, low]], mirror_axis=0)
    section = SectionPattern("mid", x, x, half)
    findings = found(replace(patterns, sections=(section,)))
    assert any("width at the widest line" in f.says and f.at_mm == x for f in findings if f.strength != "note")


def test_outline_that_crosses_itself_is_a_stop():
    """Bottom above top over a stretch: the place of the crossing is given."""
    patterns = bodies.saddle_tank()
    bottom = curve_through("bottom", [[5, 26], [200, 10], [300, 230], [400, 10], [540, 27]], straight=True)
    stop = only(found(replace(patterns, side=replace(patterns.side, bottom=bottom))), "stop")[0]
    assert "crosses itself" in stop.says
    assert stop.at_mm is not None
