"""One blank made ready for drawing: its lines fitted, its marks cut to the metal, its zones smoothed.

Words used here
    face      everything of a blank that is drawn, worked out once and drawn at any scale
    tick      a short stroke across an edge at a half or a quarter of its length, the same on both mating edges
    ends      front, rear, top and the like: which way round the blank lies on the tank
    zone line what parts one zone from the next inside the trim line

All in the blank's own mm, good face up.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from panels.ledge import LEDGE

from . import words
from .cutting import HAIR_MM, piece_numbers, runs_inside
from .ends import Ends, ends_of, left_is_metal, runs_from_start
from .outline import Path, fit_line, fit_outline
from .zones import Zone, strain_zones

if TYPE_CHECKING:
    from shapely.geometry import Polygon

    from panels.blank import Blank, Edge, Fold, Mark

    from ..work import Work

__all__ = ["Face", "Tick", "along_edge", "face_of", "named", "seam_ticks"]

SMOOTH_MM = 4.0  # zone lines follow the mesh; finer than this they say nothing to a hammer


@dataclass(frozen=True)
class Tick:
    """A stroke across an edge at a share of its formed length, counted from where the seam begins.

    ``ends`` (2, 2): the outer one first.
    """

    edge: Edge
    share: float
    at: float  # the share of the flat length, from the edge's first point
    ends: np.ndarray


@dataclass(frozen=True)
class Face:
    """A blank ready for drawing."""

    work: Work
    blank: Blank
    cuts: tuple[Path, ...]  # holes first, then the outline
    trims: tuple[tuple[str, Path], ...]  # pen and line
    marks: tuple[tuple[Mark, tuple[np.ndarray, ...]], ...]  # the runs of each mark on the metal
    folds: tuple[tuple[Fold, tuple[np.ndarray, ...], tuple[np.ndarray, ...]], ...]  # centre runs, tangent runs
    ticks: tuple[Tick, ...]
    zones: tuple[Zone, ...]
    zone_lines: tuple[np.ndarray, ...]
    ends: Ends


def named(work: Work, name: str) -> str:
    """A piece by its number on the cut list and its name: ``3 side left``."""
    number = piece_numbers(work).get(name, "")
    return f"{number} {name}".strip()


def face_of(work: Work, blank: Blank) -> Face:
    """Work out everything of a blank that is drawn."""
    from shapely import prepare

    prepare([blank.net, blank.outline])  # asked often, of single points
    outer, holes = fit_outline(blank.outline)
    metal = blank.outline.buffer(HAIR_MM)
    trims = tuple(
        ("stays" if edge.joint in ("lap", LEDGE) else "trim", fit_line(edge.points))
        for edge in blank.edges
        if edge.allowance > 0.05 and edge.joint != "fold"  # a lip has its bend's two lines instead
    )
    marks = tuple((mark, tuple(runs_inside(mark.points, metal))) for mark in blank.marks if mark.kind != "grid")
    folds = tuple(
        (
            fold,
            tuple(runs_inside(np.array([fold.start, fold.end]), metal)),
            tuple(run for tangent in fold.tangents for run in runs_inside(tangent, metal)),
        )
        for fold in blank.folds
    )
    zones = () if blank.flat is None else strain_zones(blank.flat, words.difficulty_limits(work.job))
    return Face(
        work,
        blank,
        (*holes, outer),
        trims,
        marks,
        folds,
        tuple(seam_ticks(work, blank)),
        zones,
        _zone_lines(zones, blank.net),
        ends_of(work, blank),
    )


def _zone_lines(zones: tuple[Zone, ...], net: Polygon) -> tuple[np.ndarray, ...]:
    """Lines round the zones of each kind and level, smoothed, kept off the trim line."""
    from shapely import unary_union
    from shapely.ops import linemerge

    inner = net.simplify(0.1).buffer(-1.5)
    lines: list[Any] = []
    for kind, level in sorted({(zone.kind, zone.level) for zone in zones if zone.kind != "leave"}):
        shapes = [z.shape.simplify(0.2).buffer(0.3, quad_segs=2) for z in zones if z.kind == kind and z.level >= level]
        whole = unary_union(shapes).buffer(SMOOTH_MM, quad_segs=4)
        smooth = whole.buffer(-2 * SMOOTH_MM, quad_segs=4).buffer(SMOOTH_MM - 0.3, quad_segs=4)
        edge: Any = smooth.boundary.intersection(inner)
        edge = linemerge(edge) if edge.geom_type == "MultiLineString" else edge
        lines += [g.simplify(0.2) for g in getattr(edge, "geoms", [edge]) if g.geom_type == "LineString"]
    return tuple(np.asarray(g.coords) for g in lines if g.length > 15)


def seam_ticks(work: Work, blank: Blank) -> list[Tick]:
    """Strokes across the edges at quarters and halves of their formed length.

    Only where the two mating edges are alike to 0.5 mm when formed, and no register marks were given for the
    seam: then a half of one meets a half of the other, and a quarter, counted from where the seam begins, a quarter.
    """
    given = {mark.label.split()[0] for mark in blank.marks if mark.kind == "register" and mark.label.strip()}
    result = []
    for edge in blank.edges:
        if not edge.letter or edge.letter in given or edge.length_blank < 60:
            continue
        mates = [(other.name, e) for other in work.blanks for e in other.edges if e.letter == edge.letter]
        lengths = [e.length_surface for _, e in mates]
        if len(mates) != 2 or abs(lengths[0] - lengths[1]) > 0.5:
            continue
        forward = runs_from_start(work, blank, edge)
        for share in (0.25, 0.5, 0.75):
            on_flat = edge.blank_share(share if forward else 1 - share)
            at, _, inward = along_edge(edge, blank.net, on_flat)
            reach = 5.0 if share == 0.5 else 3.0
            ends = np.array([at - inward * max(edge.allowance, 0.0), at + inward * reach])
            result.append(Tick(edge, share, on_flat, ends))
    return result


def along_edge(edge: Edge, net: Polygon, share: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Point, unit direction and unit inward normal at a share of an edge's length."""
    steps = np.diff(edge.points, axis=0)
    run = np.concatenate([[0.0], np.cumsum(np.hypot(steps[:, 0], steps[:, 1]))])
    target, reach = run[-1] * share, min(8.0, run[-1] / 4)
    at = np.clip([target - reach, target, target + reach], 0.0, run[-1])
    near, point, far = np.column_stack([np.interp(at, run, column) for column in edge.points.T])
    along = far - near
    along /= max(1e-9, float(np.hypot(*along)))
    left = np.array([-along[1], along[0]])
    inward = left if left_is_metal(edge, net, point, left) else -left
    return point, along, inward
