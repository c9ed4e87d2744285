"""Doublers: flat plates welded on the outside under mounts and bungs, as blanks of their own.

Words used here
    doubler   a plate, round or with rounded corners, that spreads what hangs on a fitting over the metal
    fillet    the weld all round its edge, told apart from the seams of the tank
    stands off   how far the metal under it leaves the plate's plane: what the plate is dressed by

A doubler is as flat as it is cut; where the metal under it curves it is dressed to it, and the blank says by how much.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from shapely.geometry import Polygon
from shapely.geometry.polygon import orient

from .blank import Blank, Edge, Mark
from .body import Body
from .findings import Show, in_mm
from .fittings import CROSS_MM, RIM_POINTS, Doubler, Placed, rim_on
from .margins import with_holes

__all__ = ["doubler_blanks", "fillet_length"]

#: Metal that leaves a plate's plane by less than this needs no dressing, mm.
FLAT_MM = 0.3


def doubler_blanks(body: Body, placed: Sequence[Placed], *, show: Show = in_mm) -> tuple[Blank, ...]:
    """The plates that fittings ask for, in their order; none for a fitting that lies nowhere on the tank.

    ``show`` puts the lengths in notes into words.
    """
    wanted = [one for one in placed if one.fitting.doubler is not None and one.piece]
    names = [_name(one, wanted) for one in wanted]
    return tuple(_blank(body, one, name, show) for one, name in zip(wanted, names, strict=True))


def fillet_length(blanks: Sequence[Blank]) -> float:
    """Millimetres of fillet weld round the doublers among some blanks."""
    return sum(edge.length_surface for blank in blanks for edge in blank.edges if edge.joint == "fillet")


def _name(one: Placed, wanted: Sequence[Placed]) -> str:
    """``doubler front mount right``: the side where the fitting has a twin, a number where it has more."""
    mine = [other for other in wanted if other.fitting.name == one.fitting.name]
    side = f" {_hand(one)}" if len({_hand(other) for other in mine}) > 1 else ""
    peers = [other for other in mine if _hand(other) == _hand(one)]
    number = f" {peers.index(one) + 1}" if len(peers) > 1 else ""
    return f"doubler {one.fitting.name}{number}{side}"


def _hand(one: Placed) -> str:
    return "centre" if abs(one.at[1]) < 1e-3 else "right" if one.at[1] > 0 else "left"


def _blank(body: Body, one: Placed, name: str, show: Show) -> Blank:
    plate = one.fitting.doubler
    assert plate is not None
    ring = plate.outline
    holes = [_circle(plate.hole)] if plate.hole else []
    shape = with_holes(orient(Polygon(ring)), holes)
    around = float(shape.exterior.length)
    arm = np.array([[-CROSS_MM, 0.0], [CROSS_MM, 0.0]])
    cross = () if plate.hole else (Mark("fitting", arm, ""), Mark("fitting", arm[:, ::-1], ""))
    return Blank(
        name=name,
        hand=_hand(one),
        kind="flat",
        outline=shape,
        net=shape,
        edges=(Edge("", one.piece, "fillet", 0.0, np.array(shape.exterior.coords), around, around),),
        folds=(),
        marks=cross,
        grain_deg=None,
        thickness=plate.thickness,
        area_formed=shape.area,
        flat=None,
        notes=tuple(_notes(body, one, plate, show)),
        metal=plate.metal,
    )


def _circle(diameter: float) -> np.ndarray:
    turn = np.linspace(0, 2 * np.pi, RIM_POINTS, endpoint=False)
    return diameter / 2 * np.column_stack([np.cos(turn), np.sin(turn)])


def _notes(body: Body, one: Placed, plate: Doubler, show: Show) -> list[str]:
    x, y, z = one.at
    notes = [
        f"welded all round on the outside of {one.piece} under the {one.fitting.name}, its middle at x {show(x)}, "
        f"{show(abs(y))} out, z {show(z)}; its long way as scribed there"
    ]
    runs = rim_on(body, body.faces_of(one.piece), one, body.outer, plate.outline)
    off = max((float(np.abs((run - one.at) @ one.frame[2]).max()) for run in runs), default=0.0)
    if off > FLAT_MM:
        notes.append(f"the metal under it curves: dress the plate to it, {show(off)} at its edge")
    return notes
