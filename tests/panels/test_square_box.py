"""A plain square box, every pattern straight with corners: it develops, and to the sizes of its faces."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from panels.body import build_body
from panels.choose_k import KFactor
from panels.curves import curve_through
from panels.make_blanks import make_blanks
from panels.patterns import Division, SectionPattern, SectionShape, TunnelPattern
from panels.seams import seams_of
from tests.panels import bodies
from tests.panels.sewn import at_edge

T = 1.6
TUNNEL = TunnelPattern(40, 40, 15, 10)
SCHEMES = ("widest line", "crown and sides", "halves", "crown, shoulders and sides")


def made(patterns, scheme="crown and sides"):
    body = build_body(patterns, Division(scheme), thickness=T, step_mm=10.0)
    flat = make_blanks(seams_of(body), at_edge, inside_radius=3, k_factor=KFactor(0.42, "a test"))
    return body, {blank.name: blank for blank in flat}


def no_stop(blanks):
    return not any(note.startswith("stop") for blank in blanks.values() for note in blank.notes)


@pytest.mark.parametrize("tunnel", [None, TUNNEL])
@pytest.mark.parametrize("scheme", SCHEMES)
def test_a_square_box_is_as_large_as_its_faces(scheme, tunnel):
    """In the middle of the metal every face is a rectangle, in closed form: ends less the tunnel's notch, which has a
    gusset of (1 - pi / 4) r^2 in each corner; the skin as wide as the girth."""
    body, blanks = made(bodies.box(400, 200, 150, tunnel), scheme)
    wide, high, long = 200 - T, 150 - T, 400 - T
    end = wide * high
    if tunnel is not None:
        end -= 2 * 35.8 * 60.0 - 2 * (1 - np.pi / 4) * 3.8**2
    for name in ("front end", "rear end"):
        assert blanks[name].kind == "flat"
        assert blanks[name].net.area == pytest.approx(end, rel=1e-5)
    skins = [b for n, b in blanks.items() if n.split()[0] not in ("front", "rear", "floor", "tunnel")]
    assert sum(b.net.area for b in skins) == pytest.approx(long * (wide + 2 * high), rel=1e-4)
    assert sum(len(b.net.interiors) for b in blanks.values()) == 0
    assert max((max(b.stretch, b.shrink) for b in skins), default=0) < 5e-4
    assert no_stop(blanks)
    assert np.linalg.norm(np.cross(*_sides(body)), axis=1).min() > 0


def _sides(body):
    p = body.outer[body.faces[body.piece == body.pieces.index("rear end")]]
    return p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]


def drawn_square(tunnel=TUNNEL):
    """The same box, widest half-way up, with a section drawn square: the crown lies flat across the tank."""
    box = bodies.box(400, 200, 150, tunnel)
    lines = {**box.side.lines, "widest": curve_through("widest", [[0, 75], [400, 75]], straight=True)}
    half = curve_through("middle", [[0, 150], [100, 150], [100, 0]], straight=True)
    section = SectionPattern("middle", 200.0, 200.0, half)
    return replace(box, side=replace(box.side, lines=lines), sections=(section,))


@pytest.mark.parametrize("scheme", SCHEMES)
def test_a_box_with_a_square_section_develops(scheme):
    """The crown's points lie in one line across both caps: no cap has a triangle without area, front and rear are
    alike, and their size is right but for the corner that the mesh cuts off, 3 mm a side at the most."""
    _, blanks = made(drawn_square(), scheme)
    wide, high = 200 - T, 150 - T
    end = wide * high - 2 * 35.8 * 60.0 + 2 * (1 - np.pi / 4) * 3.8**2
    assert blanks["front end"].net.area == pytest.approx(blanks["rear end"].net.area, rel=1e-9)
    assert end - 2 * 5.0 < blanks["rear end"].net.area < end + 1.0
    assert blanks["rear end"].kind == "flat"
    assert no_stop(blanks)


def test_a_widest_line_on_the_bottom_develops():
    """Its lower edge is a flange in the floor's plane: the caps' triangles there had no area."""
    box = replace(bodies.box(400, 200, 150, TUNNEL), shape=SectionShape())
    _, blanks = made(box)
    assert blanks["front end"].net.area == pytest.approx(blanks["rear end"].net.area, rel=1e-9)
    assert no_stop(blanks)


def test_a_gable_and_a_fullness_of_one_develop():
    for fullness in (0.0, 1.0):
        box = replace(bodies.box(400, 200, 150), shape=SectionShape(crown_fullness=fullness, lower_share=1.0))
        _, blanks = made(box)
        assert blanks["rear end"].kind == "flat"
        assert no_stop(blanks)


def test_a_bend_tighter_than_its_metal_says_so():
    """No blank can be laid out round it: what is too tight, how thick the metal is, and what helps."""
    box = bodies.box(400, 200, 150)
    lines = {**box.side.lines, "widest": curve_through("widest", [[0, 75], [400, 75]], straight=True)}
    shape = SectionShape(0.99, 0.99, lower_lean_deg=0.0, lower_share=1.0)
    _, blanks = made(replace(box, side=replace(box.side, lines=lines), shape=shape))
    told = [note for blank in blanks.values() for note in blank.notes if note.startswith("stop")]
    assert told
    assert all("tighter than its metal is thick, 1.6 mm" in note and "crown_fullness" in note for note in told)
