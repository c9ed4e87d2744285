"""What to say of where the fittings of a tank sit: levels, and room to seams, folds and one another.

Words used here
    room   the least distance from a rim to the nearest seam or fold of its piece, in the plane that touches the
           tank there; less than nothing where the rim runs over it
    way    which way and how far to move a fitting so that it has room, in the tank's own directions
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.affinity import translate
from shapely.geometry.base import BaseGeometry

from .body import Body
from .findings import Finding, Show, in_mm
from .fittings import Placed, rim_on
from .measure import volume_below
from .outlets import kept_back, outlet_levels
from .seams import Seam, Sewn, family

__all__ = ["below_top", "fittings_found"]

#: A fitting's rim keeps this far from folds and seams, mm; common practice, no source.
CLEAR_MM = 15.0
#: A doubler's edge keeps this far from them: room for its fillet; common practice, no source.
DOUBLER_CLEAR_MM = 5.0
#: Height that a filler or outlet may be off the best place without a word, mm.
LEVEL_MM = 2.0
#: What is welded in all round an opening: it is told of also where the job gives it no diameter.
WELDED_IN = ("filler", "vent", "outlet", "bung")
#: Fuel kept back under a side's outlet that is worth a decision, litres; common practice, no source.
FEW_LITRES = 0.25
#: Half the last place that is printed: nearer than this is as wanted, mm.
HAIR_MM = 0.05
#: How far along its piece room is looked for, for a bare point that has none where it is, mm.
BESIDE_MM = (10.0, 20.0, 30.0, 45.0, 60.0, 80.0)
#: Moves shorter than this are not told beside a longer one, mm.
STEP_MM = 0.3


def fittings_found(
    sewn: Sewn, placed: Sequence[Placed], *, inside_radius: float = 0.0, show: Show = in_mm
) -> tuple[Finding, ...]:
    """What to say of where the fittings sit: filler, vent and outlet levels, folds and seams under a rim.

    ``inside_radius`` of the tunnel's folds, mm: a rim keeps clear of the bend, not only of its corner.
    """
    body = sewn.body
    told: list[Finding] = []
    said = set()
    kinds = [(one.fitting.name, one.fitting.on, one.fitting.x, abs(one.fitting.across)) for one in placed]
    for k, (one, alike) in enumerate(zip(placed, kinds, strict=True)):
        fitting = one.fitting
        told += _over_one_another(one, placed[:k], show)
        if alike in said:
            continue  # its twin on the other side has told it
        said.add(alike)
        if not one.piece:
            told += _off_the_tank(one, show)
            continue
        if fitting.purpose in ("filler", "vent"):
            told += _below_the_top(body, one, show)
        told += _near_edges(sewn, one, inside_radius, show, twin=kinds.count(alike) > 1)
    return (*told, *_outlets(body, placed, show))


def _off_the_tank(one: Placed, show: Show) -> list[Finding]:
    fitting = one.fitting
    if fitting.name.startswith("register"):
        return []  # register marks lie beside the outline on purpose
    across = "out" if fitting.on in ("top", "bottom", "tunnel top") else "z"
    return [
        Finding(
            "look",
            fitting.name,
            f"{fitting.name} does not lie on the tank: it is on no blank",
            f"x {show(fitting.x)}, {across} {show(fitting.across)}",
            "a place within the outline",
            fitting.x,
            "check its numbers, and which line they are measured from",
        )
    ]


# ------------------------------------------------------------------------------ levels


def _opening_level(body: Body, one: Placed) -> float:
    """The highest place of a fitting's opening on the inside, z mm: air leaves there until fuel reaches it."""
    name = one.fitting.label
    ring = next((ring for label, ring in one.fitting.rims if label == name), None)
    runs = [] if ring is None else rim_on(body, body.faces_of(one.piece), one, body.inner, ring)
    return max([float(one.inside[2]), *(float(run[:, 2].max()) for run in runs)])


def below_top(body: Body, one: Placed) -> tuple[float, float]:
    """How far a fitting's opening lies below the highest point inside, mm, and the litres above it."""
    level = _opening_level(body, one)
    return float(body.inner[:, 2].max()) - level, _litres_above(body, level)


def _litres_above(body: Body, level: float) -> float:
    return max(body.capacity_mm3 - volume_below(body.inner, body.faces, level), 0.0) / 1e6


def _below_the_top(body: Body, one: Placed, show: Show) -> list[Finding]:
    """A filler or vent below the highest point leaves air over it that no fuel reaches."""
    fitting = one.fitting
    top = body.inner[int(np.argmax(body.inner[:, 2]))]
    level = _opening_level(body, one)
    lost = float(top[2]) - level
    if lost <= LEVEL_MM:
        return []
    air = _litres_above(body, level)
    strength = "look" if air > 0.01 * body.capacity_mm3 / 1e6 else "note"
    rest = "" if fitting.purpose == "vent" else "; a vent belongs at the highest point"
    return [
        Finding(
            strength,
            fitting.name,
            f"the {fitting.name} lies {show(lost)} below the highest point of the tank as it stands: {air:.2f} L "
            "above it cannot be filled",
            f"z = {show(level)} inside",
            f"z = {show(float(top[2]))} at x = {show(float(top[0]))}",
            fitting.x,
            f"move it to x = {show(float(top[0]))}, or count the air as room for the fuel to expand{rest}",
        )
    ]


def _outlets(body: Body, placed: Sequence[Placed], show: Show) -> list[Finding]:
    """What each side keeps back, and where its low point is."""
    levels, told = outlet_levels(body.inner, body.faces, body.patterns.outlets), []
    kept_by = kept_back(body.inner, body.faces, body.patterns.outlets)
    both = len(levels) == 2 and levels["left"] == levels["right"]
    for side, kept in sorted(kept_by.items(), reverse=True)[: 1 if both else 2]:
        sign = 1.0 if side == "right" else -1.0
        half = body.inner[body.inner[:, 1] * sign > 1e-6]
        low = half[int(np.argmin(half[:, 2]))]
        lowest = f"z = {show(float(low[2]))} at its low point, x = {show(float(low[0]))}"
        here = [p.fitting for p in placed if p.fitting.on == "bottom" and p.fitting.across * sign >= 0]
        here = [fitting for fitting in here if fitting.purpose in ("outlet", "")] or here
        litres = kept / 1e6
        if side not in levels:
            if body.patterns.tunnel is not None:
                says = f"the {side} side has no outlet and keeps {litres:.2f} L, all that does not run over the tunnel"
                remedy = "add an outlet, or a pipe that joins both sides, or count the fuel as lost"
                told.append(Finding("look", "outlet", says, "no outlet", f"one at {lowest}", float(low[0]), remedy))
        elif levels[side] - low[2] > LEVEL_MM:
            name = here[0].name if here else "outlet"
            told.append(
                Finding(
                    "note" if litres < FEW_LITRES else "look",
                    name,
                    f"{'each' if both else f'the {side}'} side keeps {litres:.2f} L back below its outlet",
                    f"z = {show(levels[side])} where the outlet takes fuel",
                    lowest,
                    here[0].x if here else None,
                    "you decide: the drawings show the outlet where the pattern puts it, and fuel below it stays in "
                    "the tank, a reserve only if something reaches it; to have less stay, move the outlet to x = "
                    f"{show(float(low[0]))} or shorten its standpipe",
                )
            )
    return told


# ------------------------------------------------------------------------------ room


@dataclass(frozen=True)
class _Room:
    """How near a rim comes to one seam: the gap, mm, and the way (2,) away from it in the fitting's plane."""

    gap: float
    away: np.ndarray
    seam: Seam
    fold: bool


def _rim(one: Placed) -> BaseGeometry:
    """All that a fitting covers, in its own plane; a point where it covers nothing."""
    rings = [shapely.Polygon(ring) for _, ring in one.fitting.rims]
    return shapely.union_all(rings) if rings else shapely.Point(0, 0)


def _rooms(sewn: Sewn, one: Placed, rim: BaseGeometry, inside_radius: float) -> list[_Room]:
    """The room to every seam of the fitting's piece, tightest first."""
    found, own = [], _one_sheet(sewn.body, one.piece)
    for seam in sewn.seams:
        if not own & set(seam.pieces) or own >= set(seam.pieces):
            continue
        fold = all(family(piece) == "tunnel" for piece in seam.pieces)
        line = shapely.LineString(((sewn.body.outer[seam.chain] - one.at) @ one.frame.T)[:, :2])
        gap, away = _gap(rim, line)
        found.append(_Room(gap - (inside_radius if fold else 0.0), away, seam, fold))
    return sorted(found, key=lambda room: room.gap)


def _one_sheet(body: Body, piece: str) -> set[str]:
    """A piece with those that it runs into without a fold: a half round tunnel's top goes on into its legs."""
    tunnel = body.patterns.tunnel
    if tunnel is None or tunnel.top != "round" or family(piece) != "tunnel" or "end" in piece.split():
        return {piece}
    return {name for name in body.pieces if family(name) == "tunnel" and "end" not in name.split()}


def _gap(rim: BaseGeometry, line: shapely.LineString) -> tuple[float, np.ndarray]:
    """Distance of a rim from a line, less than 0 by how far it runs over it, and the way off the line."""
    if rim.distance(line) > 1e-9:
        on_rim, on_line = np.array(shapely.shortest_line(rim, line).coords)
        gap = float(np.linalg.norm(on_rim - on_line))
        return gap, (on_rim - on_line) / gap
    if rim.geom_type == "Point":
        return 0.0, _square_to(line, rim)
    points = shapely.get_coordinates(rim)[:-1]
    middle = shapely.get_coordinates(rim.centroid)[0]
    rays = shapely.linestrings(np.stack([np.broadcast_to(middle, points.shape), points], axis=1))
    beyond = points[shapely.intersects(rays, line)]
    if len(beyond) == 0:
        return 0.0, np.zeros(2)
    depth = shapely.distance(shapely.points(beyond), line)
    worst = beyond[int(np.argmax(depth))]
    near = np.array(line.interpolate(line.project(shapely.Point(worst))).coords[0])
    deep = float(depth.max())
    return -deep, (near - worst) / deep if deep > 1e-9 else np.zeros(2)


def _square_to(line: shapely.LineString, point: BaseGeometry) -> np.ndarray:
    """The way (2,) square off a line at a point on it."""
    corners = shapely.get_coordinates(line)
    steps = shapely.linestrings(np.stack([corners[:-1], corners[1:]], axis=1))
    along = np.diff(corners, axis=0)[int(np.argmin(shapely.distance(steps, point)))]
    return np.array([-along[1], along[0]]) / max(float(np.linalg.norm(along)), 1e-12)


def _near_edges(sewn: Sewn, one: Placed, inside_radius: float, show: Show, *, twin: bool) -> list[Finding]:
    """The nearest seam or fold, where a rim crosses it or comes close; ``twin``: so does one on the other side."""
    fitting = one.fitting
    bare = not fitting.reach and fitting.purpose in WELDED_IN
    if not fitting.reach and not bare and fitting.on != "tunnel":
        return []
    plate = fitting.doubler is not None
    wanted = DOUBLER_CLEAR_MM if plate else CLEAR_MM
    rim = _rim(one)
    rooms = _rooms(sewn, one, rim, inside_radius)
    if not rooms or rooms[0].gap >= wanted - HAIR_MM:
        return []
    room, over = rooms[0], rooms[0].gap < 0
    what = f"seam {room.seam.letter} ({' and '.join(room.seam.pieces)})"
    what = "a corner of the tunnel" if room.fold else what
    name = f"doubler of the {fitting.name}" if plate else fitting.name
    on_it = bare and abs(room.gap) < HAIR_MM
    says = f"the {name} {'falls across' if over else 'sits on' if on_it else 'comes close to'} {what}"
    if plate and over:
        says += ": it does not lie wholly on one piece"
    elif fitting.cut and over:
        says += "; it is scribed, not cut: the seam is welded first"
    says += ", measured on the outside of the finished tank" if not over else ""
    says += ", from its centre, for the job gives it no diameter" if bare else ""
    says += "; its twin on the other side likewise" if twin and not over else ""
    strength = "stop" if plate and over else "look" if fitting.reach or bare else "note"
    remedy = _way(sewn, one, rim, rooms, wanted, inside_radius, show)
    return [
        Finding(
            strength,
            fitting.name,
            says,
            f"{show(abs(room.gap))} {'over it' if over else 'from it'}",
            f"at least {show(wanted)} from seams and folds (common practice)",
            fitting.x,
            remedy.removesuffix(": decide before cutting") if strength == "note" else remedy,
        )
    ]


def _way(
    sewn: Sewn,
    one: Placed,
    rim: BaseGeometry,
    rooms: Sequence[_Room],
    wanted: float,
    inside_radius: float,
    show: Show,
) -> str:
    """Which way to move a fitting and how far; a smaller one where every way leads too near another edge."""
    shift, tight = np.zeros(2), list(rooms)
    for start in (0.0, *(way * far for far in BESIDE_MM for way in (1.0, -1.0))):
        if start and one.fitting.reach:
            break  # what has a size is not sent away along the piece: a smaller one may do
        shift = np.array([start, 0.0])
        tight = _rooms(sewn, one, translate(rim, *shift), inside_radius) if start else list(rooms)
        for _ in range(6):
            if not tight or tight[0].gap >= wanted - HAIR_MM:
                break
            shift = shift + (wanted - tight[0].gap + HAIR_MM) * tight[0].away
            tight = _rooms(sewn, one, translate(rim, *shift), inside_radius)
        if tight and tight[0].gap >= wanted - HAIR_MM and abs(shift[0]) <= max(BESIDE_MM):
            break
    if tight[0].gap < wanted - HAIR_MM or np.linalg.norm(shift) < 1e-6:
        if not one.fitting.reach:
            return "there is no place so clear within reach of it: keep what is welded there clear of seam and fold"
        return "there is no room for it there at its size: a smaller one, or another place"
    move = shift @ one.frame[:2]
    flat = one.fitting.on in ("top", "bottom", "tunnel top")
    out = move[1] * (np.sign(one.at[1]) or 1.0)
    sides = ("outwards", "inwards") if abs(one.at[1]) > STEP_MM else ("to the left or right",) * 2
    ways = [(move[0], "rearwards", "forwards"), (out, *sides) if flat else (move[2], "up", "down")]
    least = min(STEP_MM, max(abs(by) for by, *_ in ways))
    told = [f"{show(abs(by))} {plus if by > 0 else minus}" for by, plus, minus in ways if abs(by) >= least]
    move_it = f"move it {' and '.join(told)}"
    drawn = "; it is drawn where the job puts it: decide before cutting"
    if one.fitting.reach == 0 and one.fitting.purpose in WELDED_IN:
        return f"{move_it}, and by half its diameter more; give the job its diameter, and its rim is measured{drawn}"
    if one.fitting.reach == 0:
        return f"{move_it}, or keep what is welded there clear of seam and fold{drawn}"
    heat = "" if one.fitting.doubler else ", or move the seam: heat from the second weld opens the first"
    return f"{move_it}{heat}{drawn}"


def _over_one_another(one: Placed, others: Sequence[Placed], show: Show) -> list[Finding]:
    """Fittings with rims that run into one another."""
    if not one.piece or not one.fitting.reach:
        return []
    told, mine = [], _rim(one)
    for other in others:
        if other.piece != one.piece or not other.fitting.reach:
            continue
        away = np.linalg.norm(other.at - one.at)
        if away > one.fitting.reach + other.fitting.reach:
            continue
        ring = shapely.get_coordinates(_rim(other))
        local = ((ring @ other.frame[:2] + other.at - one.at) @ one.frame.T)[:, :2]
        both = mine.intersection(shapely.Polygon(local))
        if both.area > 1.0:
            names = f"the {one.fitting.name} and the {other.fitting.name}"
            short = one.fitting.reach + other.fitting.reach - float(away)
            told.append(
                Finding(
                    "look",
                    one.fitting.name,
                    f"{names} lie over one another",
                    f"{show(float(away))} between their centres",
                    f"at least {show(float(away) + short)} for their rims to pass each other",
                    one.fitting.x,
                    f"move one of them {show(short)} away from the other",
                )
            )
    return told
