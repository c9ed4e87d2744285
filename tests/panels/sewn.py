"""Bodies with their seams and blanks, made once for all tests that look at them."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np

from panels.body import build_body
from panels.choose_k import KFactor
from panels.curves import curve_through
from panels.make_blanks import make_blanks
from panels.openings import tunnel_of
from panels.patterns import Division, NeckRelief, SectionShape, TunnelPattern
from panels.seams import seams_of
from tests.panels import bodies

MARGIN = {"formed": 12.0, "rolled": 3.0}
THICKNESS = 1.6


def paced(line):
    """Distance along a line (n, d) at each of its points."""
    return np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])


def shifted(edge, chain, body):
    """Distance along a flat edge of each vertex of its seam (k, 3), which runs the same way. Where the seam ends in a
    corner of the tunnel the edge follows the fold's round there and is shorter: it is measured from its other end,
    between two such corners from the middle."""
    flat, true = paced(edge.points), paced(chain)
    formed = flat * edge.length_surface / flat[-1] if edge.formed_at is None else edge.formed_at
    tunnel = tunnel_of(body.patterns)
    first = last = False
    if tunnel is not None:
        ends = chain[[0, -1]]
        first, last = np.hypot(np.abs(ends[:, 1]) - tunnel.half(ends[:, 0]), ends[:, 2] - tunnel.corner(ends[:, 0])) < 3
    true += (formed[-1] - true[-1]) * (0.5 if first and last else float(first))
    return np.interp(true, formed, flat)


def laid(edge, chain, body):
    """Where the vertices of a seam (k, 3) lie on its flat edge (k, 2); those on a round lie somewhere near."""
    s, own = shifted(edge, chain, body), paced(edge.points)
    return np.column_stack([np.interp(s, own, column) for column in edge.points.T])


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
