"""The tunnel's round folds where they end at another piece: that piece is notched to the round, not to a sharp corner.

Words used here
    corner     where leg and top of the tunnel would meet another piece if the fold were sharp
    round      the fold's own arc in its place: from where the leg begins to bend, up to where the top does
    middle     the neutral surface of the body, in which every seam of it is measured; the fold's arc has its
               radius there, inside radius and all, and so has the notch

Near its corner a piece is taken as swept: its edge along the leg carried along its edge on the top. For a wall
square to the centre plane, flat, raked or rounded, that is what it is; for a crowned skin it is within a hundredth of
a millimetre over the few that a fold takes. The same sum of two edges then holds in the flat and in space, so both
blanks of the seam have one and the same round.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from ._tunnel_frame import TunnelFrame
from .body import Body
from .round_tunnel import RoundFrame
from .seams import Seam, Sewn
from .tunnel_flat import SHARP_MM

__all__ = ["NotchedLine", "RoundCorner", "round_corners"]

#: Points along the round, an odd number: one stands in its middle, where the seams of leg and top part. The chord
#: error is a thousandth of a millimetre at 20 mm radius.
POINTS = 25
#: A corner this far off the two middles is none that was made by them, mm.
OFF_MM = 0.05


@dataclass(frozen=True, eq=False)
class RoundCorner:
    """One end of a fold, and the piece that is notched to it.

    ``leg`` (k,) and ``top`` (m,) are the seams' vertices from the corner on, down the leg and into the top. The
    round's points (n,), leg first: ``down`` and ``into`` say where along those two, in vertices and parts of
    one; ``u`` how far along the fold from its front corner, mm.
    """

    piece: str
    side: str  # of the tunnel: "right" or "left"
    at_rear: bool
    letters: tuple[str, str]  # of the seams along leg and top
    leg: np.ndarray
    top: np.ndarray
    down: np.ndarray
    into: np.ndarray
    u: np.ndarray

    @property
    def share(self) -> np.ndarray:
        """Share of the bend (n,) made at each point, from 0 at the leg."""
        return np.linspace(0.0, 1.0, POINTS)

    def swept(self, along_leg: np.ndarray, along_top: np.ndarray) -> np.ndarray:
        """The round (n, d) from what is known at the vertices of ``leg`` (k, d) and ``top`` (m, d)."""
        return _at(along_leg, self.down) + _at(along_top, self.into) - along_leg[0]

    def taken(self, letter: str) -> float:
        """How much of the seam of that letter the round takes, in vertices and parts of one."""
        return float(self.down[0] if letter == self.letters[0] else self.into[-1])

    def half(self, letter: str) -> slice:
        """Which of its points belong to the seam of that letter, from the corner's middle on if it is the top's."""
        middle = POINTS // 2
        return slice(None, middle + 1) if letter == self.letters[0] else slice(middle, None)


@dataclass(frozen=True, eq=False)
class NotchedLine:
    """A seam's chain (k,) of vertices, with the rounds at its ``first`` and ``last`` if it has such ends."""

    chain: np.ndarray
    letter: str
    first: RoundCorner | None
    last: RoundCorner | None

    @staticmethod
    def of(chain: np.ndarray, letter: str, rounds: Sequence[RoundCorner]) -> NotchedLine:
        """The line of the seam with that letter, along a chain either way."""
        mine = {int(one.leg[0]): one for one in rounds if letter in one.letters}
        return NotchedLine(chain, letter, mine.get(int(chain[0])), mine.get(int(chain[-1])))

    @property
    def _reach(self) -> tuple[float, float]:
        """Where its plain part begins and ends, in vertices and parts of one."""
        taken = [0.0 if one is None else one.taken(self.letter) for one in (self.first, self.last)]
        return taken[0], len(self.chain) - 1 - taken[1]

    @property
    def has_room(self) -> bool:
        """Whether the rounds at both ends leave something between them."""
        begin, end = self._reach
        return begin < end

    def whole(self, along: np.ndarray, swept: Callable[[RoundCorner], np.ndarray]) -> np.ndarray:
        """Rows (n, d) all along it, from those along the chain (k, d) and those of each round."""
        first = [] if self.first is None else [self.half(self.first, swept(self.first))[:-1]]
        last = [] if self.last is None else [self.half(self.last, swept(self.last))[1:]]
        return np.vstack([*first, self.cut(along), *last])

    def half(self, one: RoundCorner, points: np.ndarray) -> np.ndarray:
        """The half of a round's points that lies on this line, the way the line runs."""
        own = points[one.half(self.letter)]
        return own[::-1] if (self.letter == one.letters[0]) == (one is self.first) else own

    def cut(self, along: np.ndarray) -> np.ndarray:
        """Rows (n, d) of the part between its rounds, from those along the chain (k, d)."""
        begin, end = self._reach
        inner = np.arange(math.floor(begin) + 1, math.ceil(end), dtype=float)
        return _at(along, np.concatenate([[begin], inner, [end]]))


def _at(values: np.ndarray, index: np.ndarray) -> np.ndarray:
    """Rows (n, d) of ``values`` at whole and broken indices."""
    whole = np.arange(len(values), dtype=float)
    return np.column_stack([np.interp(index, whole, column) for column in values.T])


@dataclass(frozen=True, eq=False)
class _Section:
    """Square to the corner line: ``origin`` where the middles of leg and top cross, unit vectors ``ahead`` along it,
    ``inwards`` off the leg's middle and ``down`` in it; the round's points as (inwards, down) (n, 2)."""

    origin: np.ndarray
    ahead: np.ndarray
    inwards: np.ndarray
    down: np.ndarray
    arc: np.ndarray

    def seen(self, points: np.ndarray) -> np.ndarray:
        """(inwards, down, along) of points (n, 3)."""
        return np.asarray((points - self.origin) @ np.column_stack([self.inwards, self.down, self.ahead]))


def round_corners(
    sewn: Sewn, front: TunnelFrame, rear: TunnelFrame, *, inside_radius: float
) -> tuple[RoundCorner, ...]:
    """Every end of the tunnel's two folds that has room for its round: front and rear, right and left.

    ``front`` and ``rear`` are the frames of the tunnel's first and last part. Left out are corners that two pieces
    share, and those whose seams are shorter than the bend: they stay as sharp as the body has them.
    """
    body = sewn.body
    radius = inside_radius if inside_radius > SHARP_MM else 0.0
    middle = front.corner[0] + front.run / 2 if front is rear else (front.corner[0] + rear.corner[0] + rear.run) / 2
    found = []
    for corner, leg, top in _corners(sewn):
        at_rear = bool(body.outer[corner, 0] > middle)
        section = _section(body, rear if at_rear else front, radius)
        if section is not None:
            found += _both_sides(sewn, section, leg, top, at_rear)
    return _with_room(sewn, found)


def _with_room(sewn: Sewn, rounds: list[RoundCorner]) -> tuple[RoundCorner, ...]:
    """Those that share no seam too short for two."""
    tight = [s for s in sewn.seams if not NotchedLine.of(s.chain, s.letter, rounds).has_room]
    return tuple(one for one in rounds if not any(seam.letter in one.letters for seam in tight))


def _corners(sewn: Sewn) -> Iterator[tuple[int, np.ndarray, np.ndarray]]:
    """Right-hand corners: the vertex, and the seams' chains from there down the leg and into the top."""
    legs = [seam for seam in sewn.seams if "tunnel right" in seam.pieces and "tunnel top" not in seam.pieces]
    tops = [seam for seam in sewn.seams if "tunnel top" in seam.pieces and "tunnel right" not in seam.pieces]
    for leg in legs:
        piece = _other(leg)
        for top in tops:
            if _other(top) == piece:
                for end in (leg.chain, leg.chain[::-1]):
                    for start in (top.chain, top.chain[::-1]):
                        if end[0] == start[0]:
                            yield int(end[0]), end, start


def _other(seam: Seam) -> str:
    """The piece of a seam that is not the tunnel's leg or top."""
    return next((p for p in seam.pieces if p not in ("tunnel right", "tunnel left", "tunnel top")), "")


def _section(body: Body, frame: TunnelFrame, radius: float) -> _Section | None:
    """The section of the fold in the body's neutral surface; None where there is no fold."""
    angle = math.radians(frame.bend_angle)
    if angle < 1e-6:
        return None
    deep = (1 - body.k_factor) * body.thickness
    ahead = np.array([frame.run, frame.widening, frame.climb]) / frame.length
    inwards = np.array([frame.widening, -frame.run, 0.0]) / frame.leg_run
    down = np.cross(inwards, ahead)
    down *= -np.sign(down[2])
    bend = radius + deep
    if isinstance(frame, RoundFrame):
        back, above = frame.setback_at(radius, deep), frame.spring_drop(deep)
    else:
        back, above = bend * math.tan(angle / 2), deep * math.tan(angle / 2)
    phi = np.linspace(0.0, angle, POINTS)
    arc = np.column_stack([bend * (1 - np.cos(phi)), back - bend * np.sin(phi)])
    return _Section(np.array(frame.corner) - deep * inwards - above * down, ahead, inwards, down, arc)


def _both_sides(sewn: Sewn, section: _Section, leg: np.ndarray, top: np.ndarray, at_rear: bool) -> list[RoundCorner]:
    """The round at a corner and at its twin on the left, as far as there is room."""
    body = sewn.body
    along, across = section.seen(body.neutral[leg]), section.seen(body.neutral[top])
    if np.abs(along[0, :2]).max() > OFF_MM:
        return []
    inwards, deep = section.arc.T
    into = _index(across[:, 0], inwards)
    if into is None:
        return []
    over = _at(across, into)
    down = _index(along[:, 1], np.maximum(deep - over[:, 1] + across[0, 1], along[0, 1]))
    if down is None:
        return []
    u = _at(along, down)[:, 2] + over[:, 2] - along[0, 2]
    made = []
    for side, chains in (("right", (leg, top)), ("left", (body.shell.mirror[leg], body.shell.mirror[top]))):
        letters = [sewn.between.get((int(min(c[:2])), int(max(c[:2]))), "") for c in chains]
        owner = {_other(seam) for seam in sewn.seams if seam.letter in letters}
        if all(letters) and len(owner) == 1:
            both = letters[0], letters[1]
            made.append(RoundCorner(owner.pop(), side, at_rear, both, chains[0], chains[1], down, into, u))
    return made


def _index(rising: np.ndarray, wanted: np.ndarray) -> np.ndarray | None:
    """Where values lie along a chain whose own rise from its first; None if it turns back or ends before that."""
    reach = np.flatnonzero(rising >= wanted.max() - 1e-9)
    if not len(reach) or np.any(np.diff(rising[: reach[0] + 1]) <= 0):
        return None
    upto = rising[: reach[0] + 1]
    return np.interp(wanted, upto, np.arange(len(upto), dtype=float))
