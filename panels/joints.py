"""How every edge of every blank is joined: each one paired with the edge it meets, and the weld that takes.

Words used here
    joint    where two edges meet, or where one blank turns over: ``butt`` edge to edge, ``lap`` one over the
             other, ``flange`` a lip of one behind the other, ``fold`` no joint to make; a free edge has none.
             A ``fillet`` runs round a plate that lies on a piece: it has no letter and no mate
    side     one of the two edges of a joint; pie cuts and kinks may part it in several runs on its blank
    outside  the piece whose metal lies on the outside of the tank, in a lap or over a lip
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from .blank import Blank, Edge
from .errors import SeamError
from .ledge import LEDGE
from .seams import Seam

__all__ = ["WELDED", "Joint", "Side", "joint_name", "joints_of", "weld_lengths"]

#: Joints that are welded along their length, in the order of the papers.
WELDED = ("butt", "lap", "flange")

Kind = Literal["butt", "lap", "flange", "fold", "fillet", "none"]

_NAMES: dict[str, Kind] = {
    **{"butt": "butt", "lap": "lap", "fold": "flange", "fillet": "fillet", "free": "none", "": "none"},
    LEDGE: "butt",
}

#: Of two edges one of which carries the metal of the joint, that one names it.
_STRONGEST: tuple[Kind, ...] = ("lap", "flange", "butt", "none")


def joint_name(edge: Edge) -> Kind:
    """What the joint along an edge is called; ``none`` for an edge that meets nothing."""
    return _NAMES[edge.joint]


@dataclass(frozen=True)
class Side:
    """One edge of a joint: its piece of the tank, its blank, what is left outside and its formed length, mm, and what
    its blank calls the joint: only the edge that is turned is a flange."""

    piece: str
    blank: str
    allowance: float
    length: float
    kind: Kind = "none"


@dataclass(frozen=True)
class Joint:
    """Two edges that meet. ``length`` in mm on the finished tank, the mean of its edges' two: the body's own seam runs
    on into the tunnel's corners, where the metal is round. ``outside`` "" where neither lies outside."""

    letter: str
    kind: Kind
    sides: tuple[Side, Side]
    length: float
    outside: str = ""

    @property
    def carries(self) -> Side | None:
        """The side that carries the metal of a lap or lip, None where there is none."""
        if self.kind not in ("lap", "flange"):
            return None
        return max(self.sides, key=lambda side: (side.kind == self.kind, side.allowance))

    @property
    def differ(self) -> float | None:
        """How far apart the formed lengths of its two edges are, mm; None in a fold."""
        return None if self.kind == "fold" else abs(self.sides[0].length - self.sides[1].length)


def joints_of(
    seams: Iterable[Seam], blanks: Sequence[Blank], *, outside: Callable[[str, str], str] = lambda one, other: ""
) -> tuple[Joint, ...]:
    """Every joint of a tank: its seams in their order, then those that only a blank knows, such as pie cuts.

    ``outside`` says which of two pieces lies outside where they lap; "" leaves it to the one that carries the lap.

    Raises
    ------
    SeamError
        Where an edge of a blank meets no other edge: says which.
    """
    at: dict[str, list[tuple[Blank, Edge]]] = {}
    for blank in blanks:
        for edge in blank.edges:
            if edge.letter:
                at.setdefault(edge.letter, []).append((blank, edge))
            elif joint_name(edge) not in ("none", "fillet"):
                raise _alone(blank.name, edge)
    made = []
    for seam in seams:
        here = at.pop(seam.letter, [])
        made.append(_joint(seam, here, outside) if here else _fold(seam, blanks))
    return (*made, *(_own_joint(letter, here) for letter, here in at.items()))


def _alone(blank: str, edge: Edge) -> SeamError:
    return SeamError(
        f"Edge {edge.letter or 'without a letter'} of {blank} meets no other edge.\n"
        f"  its joint  {joint_name(edge)}, {edge.length_surface:.1f} mm\n"
        "hint: this is a fault of the program, not of the patterns; take away the newest seam or bump-out",
        blank=blank,
        letter=edge.letter,
    )


def _side(piece: str, runs: Sequence[tuple[Blank, Edge]]) -> Side:
    names = ", ".join(dict.fromkeys(blank.name for blank, _ in runs))
    kind = _strongest({joint_name(edge) for _, edge in runs})
    return Side(piece, names, max(e.allowance for _, e in runs), sum(e.length_surface for _, e in runs), kind)


def _strongest(kinds: Iterable[Kind]) -> Kind:
    have = set(kinds)
    return next(kind for kind in _STRONGEST if kind in have)


def _joint(seam: Seam, here: Sequence[tuple[Blank, Edge]], outside: Callable[[str, str], str]) -> Joint:
    """A seam of the body with the edges of its letter, each of which says which piece it meets."""
    one, other = seam.pieces
    runs = [[(b, e) for b, e in here if e.meets == far] for far in (other, one)]
    if not all(runs) or len(runs[0]) + len(runs[1]) != len(here):
        raise _alone(here[0][0].name, here[0][1])
    sides = (_side(one, runs[0]), _side(other, runs[1]))
    kind = _strongest(side.kind for side in sides)
    length = (sides[0].length + sides[1].length) / 2
    joint = Joint(seam.letter, kind, sides, length)
    carrier = joint.carries
    if carrier is None:
        return joint
    behind = next(side.piece for side in sides if side is not carrier)
    over = behind if kind == "flange" else outside(one, other) or carrier.piece
    return Joint(seam.letter, joint.kind, sides, length, over)


def _fold(seam: Seam, blanks: Sequence[Blank]) -> Joint:
    """A seam whose two pieces are one blank."""
    one, other = (_side_in_fold(piece, blanks) for piece in seam.pieces)
    return Joint(seam.letter, "fold", (one, other), seam.length)


def _side_in_fold(piece: str, blanks: Sequence[Blank]) -> Side:
    owners = [b.name for b in blanks if b.name.split()[0] == piece.split()[0] and b.kind == "folded"]
    return Side(piece, ", ".join(owners), 0.0, 0.0)


def _own_joint(letter: str, here: Sequence[tuple[Blank, Edge]]) -> Joint:
    """A joint that the body does not have: a pie cut closed against itself, or one sheet welded to the next."""
    names = list(dict.fromkeys(blank.name for blank, _ in here))
    runs = [[(b, e) for b, e in here if b.name == name] for name in names]
    if len(runs) == 1:
        runs = [[run] for run in runs[0]]
    if len(runs) != 2:
        raise _alone(here[0][0].name, here[0][1])
    one, other = (_side(run[0][0].name, run) for run in runs)
    return Joint(letter, joint_name(here[0][1]), (one, other), (one.length + other.length) / 2)


def weld_lengths(joints: Iterable[Joint]) -> dict[str, float]:
    """Millimetres of weld by joint: every key of `WELDED`, folds and free edges left out."""
    found = dict.fromkeys(WELDED, 0.0)
    for joint in joints:
        if joint.kind in found:
            found[joint.kind] += joint.length
    return found
