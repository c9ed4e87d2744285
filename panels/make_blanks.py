"""Make the flat blanks of a body: develop each piece, name its edges, add margins, draw its marks.

The right-hand blanks are developed and the left-hand ones are their mirror images, so that a pair is a
true pair. Every edge takes its letter from the two pieces that meet there; the same letter stands on
both blanks, with R or L where the seam belongs to one side.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.geometry.polygon import orient

from .assemble import WIDEST
from .blank import Aim, AimOf, AtEdge, Blank, Mark
from .body import Body
from .bump_out import with_rims
from .choose_k import KFactor
from .crease import Crease, eased
from .curves import polyline_length
from .cutting_mesh import area_vectors, boundary_chains, boundary_edges, contour_chains
from .develop import Development, develop_mesh
from .edges import shared_edges
from .errors import BadTriangle, NotADisc, PanelsError, TunnelError
from .felt import felt
from .findings import Show, in_mm, lengths_shown
from .fittings import CROSS_MM, Fitting, Placed, marks_on, place_fittings
from .fold_tunnel import TUNNEL_PIECES, folded_tunnel
from .margins import with_holes, with_margins
from .net_edges import LaidPiece, net_edges
from .roll import mirrored_roll, roll_zones, sharp_note
from .round_corner import RoundCorner
from .seams import Sewn, family
from .stations import station_label, stations_between
from .thin_faces import develop_in_plane, develop_merged, is_planar
from .turned import lipped

__all__ = ["make_blanks", "mirrored"]

#: A piece whose mean normal has more than this share along the tank looks to its front or rear.
LOOKS_ALONG = 0.8
#: A skin with less strain than this everywhere is rolled, not formed: 0.04 mm over a tank's length.
FORMED_FROM = 1e-4
#: A triangle smaller than this has no area, mm2.
NO_AREA_MM2 = 1e-6
#: A skin whose second edge is longer than this share of its first is a tube, not a panel with a hole.
TUBE_SHARE = 0.5


@dataclass(frozen=True)
class _Flat:
    """One piece laid flat: its vertices' numbers in the body, and where each lies."""

    name: str
    used: np.ndarray  # (n,) vertex numbers in the body
    faces: np.ndarray  # (m, 3) into ``used``
    solid: np.ndarray  # (n, 3) what was laid flat: the neutral surface, a crease as long as its bend
    development: Development
    crease: Crease | None = None

    @property
    def points(self) -> np.ndarray:
        return self.development.points


def _lay_flat(body: Body, name: str, aim: Aim, inside_radius: float = 0.0, k_factor: float | None = None) -> _Flat:
    """The piece's neutral surface laid flat, outside face up: the tank's length along x, or its height
    where the piece looks to the front or rear."""
    used, faces = np.unique(body.faces_of(name), return_inverse=True)
    faces = faces.reshape(-1, 3)
    _refuse_tube(name, body.neutral[used], faces)
    solid, crease = body.neutral[used], None
    if family(name) == "skin":
        k = body.k_factor if k_factor is None else k_factor
        solid, crease = eased(body, used, faces, radius=inside_radius, k_factor=k)
    facing = area_vectors(body.neutral[used], faces)
    looks = facing.sum(axis=0)
    upright = abs(looks[0]) > LOOKS_ALONG * np.linalg.norm(looks)
    along = (0.0, 0.0, 1.0) if upright else (1.0, 0.0, 0.0)
    planar = is_planar(solid)
    if planar and (np.any(facing @ looks < 0) or np.linalg.norm(facing, axis=1).min() < NO_AREA_MM2):
        # Where the middle of the metal has triangles pressed over one another at an edge, laying them out one beside
        # the other would make the piece too large; triangles without area cannot be laid out at all.
        dev = develop_in_plane(solid, faces, along)
    else:
        dev = _developed(solid, faces, aim=aim.aim, shrink_cost=aim.shrink_cost, along=along, allow_overlap=True)
    points, outer = dev.points, body.outer[used]
    if outer[:, 1].min() < -1 and outer[:, 1].max() > 1:
        points, turn = _centred(np.column_stack([points, outer[:, 2 if upright else 0]]), faces, body.neutral[used, 1])
        dev = replace(dev, points=points, directions=dev.directions @ turn.T)
    return _Flat(name, used, faces, solid, dev, crease)


def _developed(solid: np.ndarray, faces: np.ndarray, **how: Any) -> Development:
    """The mesh laid flat; one with points that all but coincide as if they did."""
    try:
        return develop_mesh(solid, faces, **how)
    except BadTriangle:
        return develop_merged(solid, faces, **how)


def _centred(points: np.ndarray, faces: np.ndarray, out: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Flat points, given as (x, y, rise), turned and shifted so that the centre line, where ``out`` (n,) is 0,
    runs along y = 0 the way that the rise grows; and the turn (2, 2) of a column."""
    line = np.vstack(contour_chains(points, faces, out))
    line = line[np.argsort(line[:, 2], kind="stable")]
    flat, along = points[:, :2], line[-1, :2] - line[0, :2]
    size = np.linalg.norm(along)
    if size < 1e-6:
        return flat, np.eye(2)
    along = along / size
    turn = np.array([[along[0], along[1]], [-along[1], along[0]]])
    turned = (flat - line[0, :2]) @ turn.T
    return turned + [flat[:, 0].mean() - turned[:, 0].mean(), 0.0], turn


def _blank_of(
    sewn: Sewn,
    flat: _Flat,
    at_edge: AtEdge,
    inside_radius: float,
    k_factor: KFactor,
    show: Show,
    rounds: Sequence[RoundCorner] = (),
) -> Blank:
    body = sewn.body
    dev = flat.development
    formed = bool(np.abs(dev.strain).max() > FORMED_FROM)
    kind = "formed" if formed else ("flat" if is_planar(body.neutral[flat.used]) else "rolled")
    own = LaidPiece(flat.name, kind, flat.used, dev.points, flat.solid, tuple(dev.loops))
    net = net_edges(sewn, own, at_edge, rounds=rounds)
    (edge, margins), *holes = net.rings
    blank = Blank(
        name=flat.name,
        hand=_hand(flat.name),
        kind=kind,
        outline=with_margins(edge, margins, holes, stays=net.stays),
        net=with_margins(edge, 0 * margins, [(hole, 0 * left) for hole, left in holes]),
        edges=net.edges,
        folds=(),
        marks=_marks(body, flat),
        grain_deg=0.0 if formed else None,
        thickness=body.thickness,
        area_formed=dev.area_formed + net.gussets,
        flat=felt(dev, flat.solid) if formed else None,
        notes=_notes(body, flat, show),
    )
    if kind == "rolled":
        blank = _with_rolls(blank, body, flat, inside_radius)
    return lipped(blank, edge, net.turned, inside_radius=inside_radius, k_factor=k_factor, show=show)


def _with_rolls(blank: Blank, body: Body, flat: _Flat, inside_radius: float) -> Blank:
    """A rolled piece with how it bends; sharp corners at the radius of folds, a style line at that of its crease."""
    t, k, crease = body.thickness, body.k_factor, flat.crease
    radius = inside_radius if crease is None else crease.radius
    lines = blank.outline
    rolls = roll_zones(flat.solid, flat.faces, flat.points, lines, thickness=t, k_factor=k, sharp_radius=radius)
    return replace(blank, rolls=rolls, notes=(*blank.notes, *(sharp_note(rolls, t, k) if crease is None else ())))


def _notes(body: Body, flat: _Flat, show: Show) -> tuple[str, ...]:
    dev = flat.development
    bend = () if flat.crease is None else (flat.crease.words(show),)
    if not dev.overlaps:
        return bend
    if _turns_back(body, flat):
        return (
            *bend,
            f"stop: a bend of this piece is tighter than its metal is thick, {show(body.thickness)}, so that the "
            "middle of the metal would turn back on itself; a smaller crown_fullness or side_fullness, or a section "
            "drawn with a corner there, can be laid out",
        )
    return (
        *bend,
        f"stop: the blank lies over itself in {dev.overlaps} places and cannot be cut in one piece; "
        "divide this skin with a seam",
    )


def _turns_back(body: Body, flat: _Flat) -> bool:
    """Whether triangles of the piece's middle face the other way than its outside."""
    outside, middle = (area_vectors(points[flat.used], flat.faces) for points in (body.outer, body.neutral))
    return bool(np.any(np.einsum("ni,ni->n", outside, middle) < 0))


def _refuse_tube(name: str, points: np.ndarray, faces: np.ndarray) -> None:
    """A piece with two edges of like length closes on itself; a short one is a hole."""
    around = sorted(polyline_length(points[loop]) for loop in boundary_chains(boundary_edges(faces)))[::-1]
    if len(around) > 1 and around[1] > TUBE_SHARE * around[0]:
        raise NotADisc(
            f"The {name} closes on itself like a tube and cannot be cut in one piece.\n"
            f"  its two edges  {around[0]:.1f} and {around[1]:.1f} mm round\n"
            "hint: draw a seam along it, or choose another scheme, such as halves",
            piece=name,
        )


def _hand(name: str) -> str:
    return next((side for side in ("right", "left") if name.endswith(side)), "centre")


def _marks(body: Body, flat: _Flat) -> tuple[Mark, ...]:
    """Centre line, widest line and numbered stations where they run inside the piece."""
    outer = body.outer[flat.used]
    marks = []
    if outer[:, 1].min() < -1 and outer[:, 1].max() > 1:
        marks += [Mark("centre", line, "CL") for line in _contours(flat, body.neutral[flat.used, 1])]
    flags = body.shell.flags[flat.used]
    pairs = shared_edges(flat.faces)[0]
    on = pairs[(flags[pairs[:, 0]] & flags[pairs[:, 1]] & WIDEST) > 0]
    if len(on) and family(flat.name) == "skin":
        marks += [Mark("style", flat.points[c], "widest line") for c in _rearwards(on, outer)]
    for x in stations_between(outer[:, 0].min(), outer[:, 0].max()):
        marks += [Mark("station", line, station_label(x)) for line in _contours(flat, outer[:, 0] - x)]
    return tuple(marks)


def _rearwards(edges: np.ndarray, outer: np.ndarray) -> list[np.ndarray]:
    """Edges (e, 2) joined into chains running rearwards."""
    forwards = (outer[edges[:, 0], 0] <= outer[edges[:, 1], 0])[:, None]
    return boundary_chains(np.where(forwards, edges, edges[:, ::-1]))


def _contours(flat: _Flat, g: np.ndarray) -> list[np.ndarray]:
    lines = contour_chains(flat.points, flat.faces, g)
    return [line for line in lines if polyline_length(line) > 8.0]


def mirrored(blank: Blank, name: str) -> Blank:
    """The blank of the other hand: turned over about the tank's length, so y becomes -y."""

    def flip(p: np.ndarray) -> np.ndarray:
        return p * [1.0, -1.0]

    def other(text: str) -> str:
        return text.replace("right", "\0").replace("left", "right").replace("\0", "left")

    def letter(text: str) -> str:
        return text[:-1] + {"R": "L", "L": "R"}[text[-1]] if len(text) > 1 and text[-1] in "RL" else text

    letters = {e.letter: letter(e.letter) for e in blank.edges if letter(e.letter) != e.letter}

    def told(text: str) -> str:
        return re.sub(r"\b[A-Z]+\b", lambda found: letters.get(found[0], found[0]), text)

    flat = blank.flat
    return replace(
        blank,
        name=name,
        hand=other(blank.hand),
        outline=orient(shapely.transform(blank.outline, flip)),
        net=orient(shapely.transform(blank.net, flip)),
        edges=tuple(
            replace(
                e,
                letter=letter(e.letter),
                meets=other(e.meets),
                points=flip(e.points[::-1]),
                formed_at=None if e.formed_at is None else e.length_surface - e.formed_at[::-1],
            )
            for e in blank.edges[::-1]
        ),
        folds=tuple(
            replace(f, start=flip(f.start), end=flip(f.end), tangents=flip(f.tangents), lip=letter(f.lip))
            for f in blank.folds
        ),
        lips=tuple(replace(b, begins=flip(b.begins), ends=flip(b.ends), letter=letter(b.letter)) for b in blank.lips),
        marks=tuple(
            replace(m, points=flip(m.points), label=told(m.label) if m.kind == "bend" else m.label) for m in blank.marks
        ),
        notes=tuple(map(told, blank.notes)),
        flat=None
        if flat is None
        else replace(
            flat,
            points=flip(flat.points),
            faces=flat.faces[:, ::-1],
            directions=flip(flat.directions),
            formed=None if flat.formed is None else flat.formed * [1.0, -1.0, 1.0],
        ),
        mirrors=blank.name,
        rolls=tuple(mirrored_roll(roll, flip) for roll in blank.rolls),
    )


def _fitted(blank: Blank, body: Body, piece: str, at: np.ndarray, flat: np.ndarray, placed: Sequence[Placed]) -> Blank:
    """The blank with fittings scribed on it, and cut where asked; ``at`` (n,) vertices lie at ``flat`` (n, 2)."""
    everywhere = np.full((len(body.outer), 2), np.nan)
    everywhere[at] = flat
    near = [one for one in placed if _may_touch(body.neutral[at], one, body.thickness)]
    if not near:
        return blank
    marks, holes = marks_on(body, body.faces_of(piece), everywhere, near)
    cut = [hole for hole in holes if blank.net.contains(Polygon(hole))]
    return replace(
        blank,
        outline=with_holes(blank.outline, cut),
        net=with_holes(blank.net, cut),
        marks=(*blank.marks, *marks),
    )


def _may_touch(points: np.ndarray, placed: Placed, thickness: float) -> bool:
    """Whether a fitting's rim or cross may reach a piece at all: its place against the box about the piece."""
    reach = 2 * max(placed.fitting.diameter / 2, 2 * CROSS_MM) + thickness
    low, high = points.min(axis=0) - reach, points.max(axis=0) + reach
    return bool(((placed.at > low) & (placed.at < high)).all())  # a fitting that lies nowhere has no place: False


def _pair(blank: Blank, body: Body, flat: _Flat, placed: Sequence[Placed]) -> list[Blank]:
    """The blank, and its mirror image where the body has a left-hand twin; each with its own fittings."""
    made = [_fitted(blank, body, flat.name, flat.used, flat.points, placed)]
    twin = flat.name.removesuffix("right") + "left"
    if _mirror_image(body, twin) == flat.name:
        other = body.shell.mirror[flat.used]
        left = _fitted(mirrored(blank, twin), body, twin, other, flat.points * [1.0, -1.0], placed)
        alike = len(left.outline.interiors) == len(made[0].outline.interiors)
        made.append(left if alike else replace(left, mirrors=""))
    return made


def _mirror_image(body: Body, name: str) -> str:
    """The right-hand piece that a left-hand one is the mirror image of, "" if there is none: a bump-out on one
    side only makes the two different."""
    twin = name.removesuffix("left") + "right"
    if not name.endswith("left") or name not in body.pieces or twin not in body.pieces:
        return ""
    one, two = np.unique(body.faces_of(name)), np.unique(body.faces_of(twin))
    return twin if np.array_equal(one, np.sort(body.shell.mirror[two])) else ""


def make_blanks(
    sewn: Sewn,
    at_edge: AtEdge,
    *,
    inside_radius: float,
    k_factor: KFactor,
    fittings: Sequence[Fitting] = (),
    aim_of: AimOf = lambda piece: Aim(),
    show: Show = in_mm,
) -> tuple[Blank, ...]:
    """Flat blanks of every piece, right-hand ones before their left-hand images.

    Parameters
    ----------
    at_edge
        What the shop leaves on each edge and how it is joined.
    inside_radius, k_factor
        Of the tunnel's folds, mm. A tunnel whose frame line is curved comes in three pieces.
    fittings
        To be scribed on the blanks where they sit, or cut where they ask for it.
    aim_of
        What each crowned piece is laid out for; a left-hand piece follows its right-hand twin.
    show
        Puts the lengths in notes into words.

    Raises
    ------
    NotADisc
        Where a skin closes on itself like a tube.
    PanelsError
        Where a piece cannot be laid out otherwise; lengths in its message are put into words by ``show`` too.
    """
    try:
        return _made(sewn, at_edge, inside_radius, k_factor, fittings, aim_of, show)
    except PanelsError as fault:
        fault.args = (lengths_shown(str(fault), show), *fault.args[1:])
        raise


def _made(
    sewn: Sewn,
    at_edge: AtEdge,
    inside_radius: float,
    k_factor: KFactor,
    fittings: Sequence[Fitting],
    aim_of: AimOf,
    show: Show,
) -> tuple[Blank, ...]:
    body = sewn.body
    placed = place_fittings(body, fittings)
    tunnel: tuple[Blank, ...] = ()
    rounds: tuple[RoundCorner, ...] = ()
    why = ""
    legs = any(name.startswith("tunnel") and name.endswith("right") for name in body.pieces)
    if legs and "tunnel top" in body.pieces:
        try:
            tunnel, rounds = folded_tunnel(
                sewn, at_edge, inside_radius=inside_radius, k_factor=k_factor, placed=placed, show=show
            )
        except TunnelError as fault:
            told = lengths_shown(str(fault).splitlines()[0], show)
            why = f"the tunnel comes in three pieces, welded along its corners: {told}"
    blanks: list[Blank] = []
    for name in body.pieces:
        if _mirror_image(body, name) or (tunnel and name in TUNNEL_PIECES):
            continue
        flat = _lay_flat(body, name, aim_of(name), inside_radius, float(k_factor))
        blank = _blank_of(sewn, flat, at_edge, inside_radius, k_factor, show, rounds)
        if name in TUNNEL_PIECES:
            blank = replace(blank, notes=(*blank.notes, why))
        blanks += _pair(blank, body, flat, placed)
    return (*blanks, *(with_rims(blank) for blank in tunnel))
