"""Lips: the metal turned over along an edge of a flat or rolled piece, so that it lies against its neighbour.

Words used here
    lip         the strip along an edge that is turned; it lies against the neighbour's inner face, so the
                neighbour's outside stays where the patterns put it
    width       of a lip on its outside, from the outside mould line to its free edge, mm
    turn        degrees the metal is turned along the edge
    mould line  where the outside faces of piece and lip would cross if the fold were sharp
    set-in      how far the mould line lies inside the net edge, which runs where the two metals' middles meet
    band        what the bend takes off the flat piece: from the net edge in to where the bend begins
    relief      the hole where two bends would run into one another; it keeps the corner from tearing
    notch       a V cut out of a lip that would have to shrink; a slit lets one open that would have to stretch
    run         an edge from corner to corner; one too short to be turned is left plain, at its net edge

A lip along a straight edge is a plain fold. Along a curved edge its free edge is longer or shorter when it is
folded than it is in the flat: the strain is measured, not guessed, from the free edge in space and in the flat.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry
from shapely.geometry.polygon import orient

from .bend import bend_allowance, setback
from .choose_k import KFactor
from .errors import LipError

__all__ = ["Lip", "PlainRun", "TurnedEdge", "lay_lips", "least_lip", "with_lips"]

Array = np.ndarray

#: An edge that turns by more than this at one point has a corner there: its lip is parted.
CORNER_DEG = 12.0
#: Two edges that meet at less than this run on as one line.
SMOOTH_DEG = 5.0
#: A fold line that strays less than this from straight is one fold, mm.
STRAIGHT_MM = 0.05
#: Turns that can be folded over a whole edge, degrees; common practice, no source.
LEAST_TURN_DEG, MOST_TURN_DEG = 15.0, 150.0
#: Strain and radius are read over this length of edge, mm; shorter shows the mesh, longer hides a tight corner.
OVER_MM = 24.0
#: Least width of a slit beside a lip that ends in mid-edge, and least diameter of a relief, mm: what a saw or a drill
#: leaves. Common practice, no source.
LEAST_RELIEF_MM = 3.0
#: How far along an outline its way is looked at beyond the end of a lip, mm.
BESIDE_MM = 1.5
#: Lips that run on into one another share a sliver at their join; more than this is a clash, mm2.
LEAST_OVERLAP_MM2 = 6.0
#: Strips are grown by this much, mm: neighbours then hang together.
HAIR_MM = 5e-4
FAR = 1e4
#: What helps where an edge cannot be turned.
PLAIN = "leave that edge a plain butt, by a seam rule of its own"


@dataclass(frozen=True, eq=False)
class TurnedEdge:
    """A run of a net outline to be turned, metal on its left; n points.

    ``flat`` (n, 2); ``turn`` (n,) degrees; ``set_in`` (n,) mm; ``mould`` (n, 3) the mould line in space and
    ``way`` (n, 3) the unit way the lip takes from it.
    """

    letter: str
    width: float
    flat: Array
    turn: Array
    set_in: Array
    mould: Array
    way: Array

    @property
    def reversed(self) -> TurnedEdge:
        """The edge the other way along."""
        rows = (getattr(self, name)[::-1] for name in ("flat", "turn", "set_in", "mould", "way"))
        return TurnedEdge(self.letter, self.width, *rows)

    def at(self, s: Array) -> TurnedEdge:
        """The edge at distances along it, in order; straight on beyond its ends."""
        own = _along(self.flat)

        def carried(value: Array) -> Array:
            flat = value.reshape(len(own), -1)
            found = np.stack([np.interp(s, own, column) for column in flat.T], axis=1)
            return found.reshape(len(s), *value.shape[1:])

        flat = carried(self.flat)
        for end, beyond in ((0, np.minimum(s, 0.0)), (-1, np.maximum(s - own[-1], 0.0))):
            flat = flat + beyond[:, None] * _ahead(self.flat, end)
        rest = (carried(getattr(self, name)) for name in ("turn", "set_in", "mould", "way"))
        return TurnedEdge(self.letter, self.width, flat, *rest)


@dataclass(frozen=True, eq=False)
class Lip:
    """One lip in the flat. Lines (k, 2) in mm: where its bend begins and ends, and its free edge.

    ``band`` comes off the piece, ``strip`` is added, ``relief`` is cut from both. ``strain`` is the natural
    strain at its free edge where it is worst; ``radius`` the tightest radius of the edge, infinite where
    straight; ``turn`` least and most, degrees.
    """

    letter: str
    width: float
    begins: Array
    ends: Array
    free: Array
    band: BaseGeometry
    strip: BaseGeometry
    relief: BaseGeometry
    turn: tuple[float, float]
    strain: float
    radius: float

    @property
    def straight(self) -> bool:
        """Whether one straight fold makes it."""
        middle = (self.begins + self.ends) / 2
        chord = middle[-1] - middle[0]
        stray = np.abs(_cross(middle - middle[0], chord)) / max(float(np.linalg.norm(chord)), 1e-9)
        return bool(stray.max() < STRAIGHT_MM and self.turn[1] - self.turn[0] < 1.0)


@dataclass(frozen=True)
class PlainRun:
    """A run of an edge left plain: ``length`` of it, and what the bends at its ends leave of that for a lip, mm."""

    letter: str
    length: float
    room: float


def least_lip(thickness: float, inside_radius: float) -> float:
    """Narrowest lip that can be held in a folder, on its outside, and the shortest, mm: radius and four thicknesses
    (common practice, no source)."""
    return inside_radius + 4 * thickness


def _along(line: Array) -> Array:
    return np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])


def _ahead(line: Array, end: int) -> Array:
    """Unit vector along the first (0) or last (-1) step of a line."""
    step = line[1] - line[0] if end == 0 else line[-1] - line[-2]
    return np.asarray(step / np.linalg.norm(step))


def _cross(a: Array, b: Array) -> Array:
    return np.asarray(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0])


def _outwards(line: Array, before: Array | None = None, after: Array | None = None) -> Array:
    """(n, 2): outwards at every point of a line with metal on its left, as long as keeps the offset even;
    ``before`` and ``after`` are the ways of lines that it runs on from and into."""
    step = np.diff(line, axis=0)
    step = step / np.linalg.norm(step, axis=1)[:, None]
    first = step[0] if before is None else before
    last = step[-1] if after is None else after
    step = np.vstack([first, step, last])
    normal = np.column_stack([step[:, 1], -step[:, 0]])
    both = normal[:-1] + normal[1:]
    return np.asarray(both * (2 / np.einsum("ni,ni->n", both, both))[:, None])


def _smooth_runs(edge: TurnedEdge) -> list[TurnedEdge]:
    """The edge parted at its corners, points that coincide left out."""
    keep = np.concatenate([[True], np.linalg.norm(np.diff(edge.flat, axis=0), axis=1) > 1e-6])
    parts = {name: getattr(edge, name)[keep] for name in ("flat", "turn", "set_in", "mould", "way")}
    step = np.diff(parts["flat"], axis=0)
    heading = np.arctan2(_cross(step[:-1], step[1:]), np.einsum("ni,ni->n", step[:-1], step[1:]))
    at = [0, *(np.flatnonzero(np.abs(heading) > math.radians(CORNER_DEG)) + 1), len(step)]
    return [
        TurnedEdge(edge.letter, edge.width, **{name: value[i : j + 1] for name, value in parts.items()})
        for i, j in pairwise(at)
        if j > i
    ]


@dataclass(frozen=True)
class _End:
    """What bounds a lip at one end: where it stops along its edge, and what is cut there."""

    stop: float
    reach: float  # how far the band runs on beyond the net edge's end
    clip: BaseGeometry | None = None
    relief: BaseGeometry | None = None
    runs_on: Array | None = None  # the way of the lip that this one runs on into


def lay_lips(
    ring: Array, edges: Sequence[TurnedEdge], *, thickness: float, inside_radius: float, k_factor: float | KFactor
) -> tuple[tuple[Lip, ...], tuple[PlainRun, ...]]:
    """The lips along some edges of a net outline, and the runs of them that are too short to be turned.

    Parameters
    ----------
    ring : (n, 2)
        The net outline, anticlockwise, mm.
    edges
        Runs of that outline to be turned.
    thickness, inside_radius, k_factor
        mm, mm, 0 to 0.5 or a ``KFactor``.

    Raises
    ------
    LipError
        A lip narrower than its own bend, an edge that turns too little or too far, or one that curves more
        tightly than the lip is wide; carries the numbers.

    Notes
    -----
    Across the edge the flat grows by the width less the bend deduction and the set-in: the same sum as for
    any outside flange, here from the net edge.
    """
    least, k = least_lip(thickness, inside_radius), float(k_factor)
    every = [run for edge in edges for run in _smooth_runs(edge)]
    long = [float(_along(run.flat)[-1]) for run in every]
    runs = [run for run, size in zip(every, long, strict=True) if size >= least]
    plain = [PlainRun(run.letter, size, size) for run, size in zip(every, long, strict=True) if size < least]
    outline = shapely.LinearRing(ring)
    while runs:
        sizes = [_sizes(run, thickness, inside_radius, k) for run in runs]
        ends = [
            (_end(outline, runs, sizes, number, 0, thickness), _end(outline, runs, sizes, number, -1, thickness))
            for number in range(len(runs))
        ]
        room = [last.stop - first.stop for first, last in ends]
        short = int(np.argmin(room))
        if room[short] >= least:
            lips = (_lip(run, *end, thickness, inside_radius, k) for run, end in zip(runs, ends, strict=True))
            return tuple(lips), tuple(plain)
        # Its neighbours end in another way where it is not turned: all ends are looked at anew.
        run = runs.pop(short)
        plain.append(PlainRun(run.letter, float(_along(run.flat)[-1]), max(room[short], 0.0)))
    return (), tuple(plain)


def _sizes(run: TurnedEdge, thickness: float, radius: float, k: float) -> tuple[Array, Array, Array]:
    """At every point: how far in the bend begins, how wide it is, and the flat width of the lip, mm (n,)."""
    low, high = float(run.turn.min()), float(run.turn.max())
    if low < LEAST_TURN_DEG or high > MOST_TURN_DEG:
        raise LipError(
            f"The lip along edge {run.letter} would be turned {low:.0f} to {high:.0f} degrees.\n"
            f"  allowed  {LEAST_TURN_DEG:.0f} to {MOST_TURN_DEG:.0f} degrees\n"
            f"hint: {PLAIN}",
            letter=run.letter,
            turn=(low, high),
        )
    back = np.array([setback(thickness, radius, a) for a in run.turn])
    width = np.array([bend_allowance(thickness, radius, a, k) for a in run.turn])
    flat = run.width - back
    if flat.min() <= 0:
        raise LipError(
            f"The lip along edge {run.letter} is {run.width:.1f} mm wide; its bend alone takes {back.max():.1f} mm.\n"
            f"hint: make it {least_lip(thickness, radius):.0f} mm or more, or take a smaller fold radius",
            letter=run.letter,
            width=run.width,
            needed=float(back.max()),
        )
    return run.set_in + back, np.maximum(width, 1e-4), flat


def _end(
    outline: shapely.LinearRing,
    runs: Sequence[TurnedEdge],
    sizes: Sequence[tuple[Array, Array, Array]],
    number: int,
    at: int,
    thickness: float,
) -> _End:
    """How a lip ends at the first (0) or last (-1) point of its edge."""
    run, back = runs[number], float(sizes[number][0][at])
    tip, own = run.flat[at], _ahead(run.flat, at)
    length = float(_along(run.flat)[-1])
    here, sign = (0.0, 1.0) if at == 0 else (length, -1.0)
    inwards = sign * own  # along the edge, into the lip
    other = _meeting(runs, number, at)
    s = outline.project(shapely.Point(tip))
    beside = outline.interpolate((s - sign * BESIDE_MM) % outline.length)
    way = np.array([beside.x, beside.y]) - tip
    way = way / max(float(np.linalg.norm(way)), 1e-9)  # along the neighbouring edge, away from the lip
    angle = math.degrees(math.atan2(sign * float(_cross(inwards, way)), float(inwards @ way))) % 360.0
    out = np.array([own[1], -own[0]])
    gap = max(thickness, LEAST_RELIEF_MM / 2)
    other_back = 0.0 if other is None else float(sizes[other][0][-1 if at == 0 else 0])
    if other is not None and abs(angle - 180) < CORNER_DEG:
        return _End(here, 0.0, runs_on=_ahead(runs[other].flat, -1 if at == 0 else 0))
    if other is not None or angle < 180 - SMOOTH_DEG:
        # Both bends begin where their tangent lines cross; so does each lip, square to its own.
        rad = math.radians(angle)
        along = (other_back + back * math.cos(rad)) / math.sin(rad) if abs(math.sin(rad)) > 1e-3 else 0.0
        crossing = tip + along * inwards - back * out
        hollow = angle > 180
        relief: BaseGeometry | None = None
        wedge: BaseGeometry | None = None
        if other is not None:
            relief = shapely.Point(crossing).buffer(max(2 * thickness, LEAST_RELIEF_MM) / 2, 8)
        if hollow:
            half = inwards + way
            half = half / max(float(np.linalg.norm(half)), 1e-9)
            aside = inwards - (inwards @ half) * half
            aside = aside / max(float(np.linalg.norm(aside)), 1e-9)
            wedge = _half_plane(crossing + aside * thickness / 2, aside)
        stop = max(along, 0.0) if not hollow else 0.0
        return _End(here + sign * stop, max(2 * back, 0.0) if not hollow else max(-along, 0.0), wedge, relief)
    # The edge runs on as a plain one, or turns outwards: a slit parts the lip from it.
    clip: BaseGeometry = _half_plane(tip + gap * inwards, inwards)
    if angle > 180 + SMOOTH_DEG:
        square = np.array([way[1], -way[0]])
        square = square if square @ inwards > 0 else -square
        clip = clip.intersection(_half_plane(tip + gap * square, square))
    return _End(here + sign * gap, 0.0, clip)


def _meeting(runs: Sequence[TurnedEdge], number: int, at: int) -> int | None:
    """The lip that begins where this one ends, or the other way round."""
    tip = runs[number].flat[at]
    for k, other in enumerate(runs):
        if np.linalg.norm(other.flat[-1 if at == 0 else 0] - tip) < 0.05:
            return k
    return None


def _half_plane(point: Array, inwards: Array) -> shapely.Polygon:
    across = np.array([-inwards[1], inwards[0]])
    return shapely.Polygon(
        [point - FAR * across, point + FAR * across, point + FAR * (across + inwards), point + FAR * (inwards - across)]
    )


def _between(one: Array, other: Array) -> BaseGeometry:
    """The quads between two lines point by point."""
    quads = np.stack([one[:-1], one[1:], other[1:], other[:-1]], axis=1)
    polygons = np.asarray(shapely.polygons(quads), dtype=object)
    return shapely.union_all([p if p.is_valid else p.buffer(0) for p in polygons], grid_size=1e-6)


def _lip(run: TurnedEdge, first: _End, last: _End, thickness: float, radius: float, k: float) -> Lip:
    length = _along(run.flat)
    inner = length[(length > first.stop + 1e-6) & (length < last.stop - 1e-6)]
    own = run.at(np.array([first.stop, *inner, last.stop]))
    back, width, flat = _sizes(own, thickness, radius, k)
    out = _outwards(own.flat, first.runs_on, last.runs_on)
    begins = own.flat - back[:, None] * out
    ends, free = begins + width[:, None] * out, begins + (width + flat)[:, None] * out
    over = np.einsum("ni,ni->n", np.diff(free, axis=0), np.diff(own.flat, axis=0))
    if np.any(over <= 0):
        raise LipError(
            f"Edge {run.letter} curves more tightly than its lip of {run.width:.1f} mm is wide.\n"
            f"hint: a narrower lip, or {PLAIN}",
            letter=run.letter,
            width=run.width,
        )
    reach = [*([-first.reach] * (first.reach > 1e-6)), *length, *([length[-1] + last.reach] * (last.reach > 1e-6))]
    whole = run.at(np.array(reach))
    whole_out = _outwards(whole.flat, first.runs_on, last.runs_on)
    whole_back = np.array([whole.set_in[i] + setback(thickness, radius, whole.turn[i]) for i in range(len(whole.turn))])
    inset = whole.flat - whole_back[:, None] * whole_out
    # A net edge carries rounding of its own: the band runs a hair beyond it.
    band = _between(whole.flat + 0.02 * whole_out, inset)
    strip: BaseGeometry = _between(begins - 1e-3 * out, free).buffer(HAIR_MM, join_style="mitre")
    reliefs = []
    for end in (first, last):
        strip = strip if end.clip is None else strip.intersection(end.clip)
        if end.relief is not None:
            reliefs.append(end.relief)
    strain, tightest = _asked(own, free)
    turn = (float(own.turn.min()), float(own.turn.max()))
    relief = shapely.union_all(reliefs) if reliefs else shapely.Polygon()
    return Lip(run.letter, run.width, begins, ends, free, band, strip, relief, turn, strain, tightest)


def _asked(run: TurnedEdge, free: Array) -> tuple[float, float]:
    """Natural strain at the free edge where it is worst, and the tightest radius of the edge, mm."""
    step = np.diff(run.mould, axis=0)
    size = np.linalg.norm(step, axis=1)
    ahead = step / np.maximum(size, 1e-12)[:, None]
    formed = size + run.width * np.einsum("ni,ni->n", np.diff(run.way, axis=0), ahead)
    laid = np.linalg.norm(np.diff(free, axis=0), axis=1)
    s = _along(run.flat)
    over = min(OVER_MM, s[-1])
    start = np.linspace(0.0, s[-1] - over, max(int((s[-1] - over) / (over / 8)), 1) + 1)
    sums = [np.concatenate([[0.0], np.cumsum(part)]) for part in (formed, laid)]
    (f0, f1), (l0, l1) = [(np.interp(start, s, total), np.interp(start + over, s, total)) for total in sums]
    strain = np.log(np.maximum(f1 - f0, 1e-9) / np.maximum(l1 - l0, 1e-9))
    flat = np.diff(run.flat, axis=0)
    heading = np.unwrap(np.arctan2(flat[:, 1], flat[:, 0]))
    middle = (s[:-1] + s[1:]) / 2
    turned = np.interp(start + over, middle, heading) - np.interp(start, middle, heading)
    most = float(np.abs(turned).max())
    return float(strain[np.argmax(np.abs(strain))]), over / most if most > 1e-4 else math.inf


def with_lips(shape: shapely.Polygon, lips: Sequence[Lip]) -> shapely.Polygon:
    """A net or cut outline with its lips; holes are kept.

    Raises
    ------
    LipError
        Where the lips would part the blank or lie over one another.
    """
    if not lips:
        return shape
    strips = [lip.strip for lip in lips]
    joined = shapely.union_all(strips, grid_size=1e-6)
    over = sum(strip.area for strip in strips) - joined.area
    if over > LEAST_OVERLAP_MM2:
        raise LipError(
            f"Two lips lie over one another in the flat by {over:.0f} mm2.\n"
            "hint: narrower lips, or one edge a plain butt",
            overlap=over,
        )
    whole = shape.difference(shapely.union_all([lip.band for lip in lips])).union(joined)
    whole = whole.difference(shapely.union_all([lip.relief for lip in lips]))
    parts = sorted((p for p in shapely.get_parts(whole) if p.geom_type == "Polygon"), key=lambda p: -p.area)
    if len(parts) > 1 and parts[1].area > 4.0:
        raise LipError(
            f"The lips leave the blank in {len(parts)} parts; the second has {parts[1].area:.0f} mm2.\n"
            f"hint: a narrower lip, or {PLAIN}",
            parts=len(parts),
        )
    return orient(parts[0].simplify(0.003))
