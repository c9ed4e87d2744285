"""Bodies with their seams and blanks, made once for all tests that look at them."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

from panels.body import build_body
from panels.choose_k import KFactor
from panels.curves import curve_through
from panels.make_blanks import make_blanks
from panels.patterns import Division, NeckRelief, SectionShape, TunnelPattern
from panels.seams import seams_of
from tests.panels import bodies

MARGIN = {"formed": 12.0, "rolled": 3.0}
THICKNESS = 1.6


def at_edge(kind, piece, meets):
    """12 mm outside formed pieces, 3 outside rolled ones, nothing else; all butts."""
    return ("butt" if meets else "free", MARGIN.get(kind, 0.0))


def vault():
    """A long vault over a flat floor with a square tunnel: every piece of it is developable."""
    tunnel = TunnelPattern(40, 40, 15, 10)
    return replace(bodies.box(400, 200, 150, tunnel), shape=SectionShape(crown_fullness=0.45, lower_share=1.0))


def kinked():
    """A saddle tank over a frame with a kink: its tunnel comes in three pieces."""
    tank = bodies.saddle_tank()
    frame = curve_through("frame", [[0, 61], [250, 70], [540, 51]], straight=True)
    return replace(tank, side=replace(tank.side, lines={**tank.side.lines, "frame": frame}))


def closed_rear():
    """A saddle tank whose tunnel stops inside it."""
    tank = bodies.saddle_tank(5)
    return replace(tank, tunnel=replace(tank.tunnel, closed_rear_x=400.0))


PATTERNS = {
    "saddle": bodies.saddle_tank,
    "seed 3": lambda: bodies.saddle_tank(3),
    "seed 11": lambda: bodies.saddle_tank(11),
    "kinked": kinked,
    "closed rear": closed_rear,
    "necked": lambda: replace(bodies.saddle_tank(), neck=NeckRelief((-5, 40), 25, 26)),
    "vault": vault,
    "barrel": lambda: bodies.elliptic_cylinder(400, 220, 160),
    "tube": lambda: bodies.elliptic_cylinder(400, 200, 200),
}


@cache
def sewn(name: str, scheme: str = "crown and sides", thickness: float = THICKNESS):
    step = None if name in ("vault", "barrel", "tube") else 10.0  # closed forms want a fine mesh
    return seams_of(build_body(PATTERNS[name](), Division(scheme), thickness=thickness, step_mm=step))


@cache
def blanks(name: str, scheme: str = "crown and sides", thickness: float = THICKNESS):
    """Blanks by name."""
    made = make_blanks(sewn(name, scheme, thickness), at_edge, inside_radius=3, k_factor=KFactor(0.42, "a test"))
    return {blank.name: blank for blank in made}


TANKS = (
    ("saddle", "crown and sides"),
    ("saddle", "crown, shoulders and sides"),
    ("seed 3", "halves"),
    ("seed 11", "widest line"),
    ("vault", "widest line"),
    ("kinked", "crown and sides"),
    ("closed rear", "widest line"),
    ("necked", "halves"),
)
