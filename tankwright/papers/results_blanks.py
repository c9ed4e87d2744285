"""The figures of each blank, its edges and folds, and of the test strips for its folds, for `results.figures`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from ..baffles import density_of
from .look import GRID_MM
from .rollwords import numbered
from .rounding import mm, mm2, percent, rounded
from .slit_svg import slit_figures
from .words import AS_IT_IS, changes, difficulty, difficulty_limits, edge_metal, face, gauge, grain, joint_of
from .zones import Zone, strain_figures, strain_zones

if TYPE_CHECKING:
    from panels.blank import Bend, Blank, Edge, Fold, Roll

    from ..work import Work

__all__ = ["blank_figures", "strip_figures"]

STRIP_KS = (0.30, 0.35, 0.40, 0.45, 0.50)

Place = tuple[float, float]


def blank_figures(work: Work) -> list[dict[str, Any]]:
    """One dict a blank, in the order of the cut list."""
    on: dict[str, list[int]] = {}
    for placed in work.layout.placed:
        on.setdefault(placed.part.name, []).append(placed.sheet + 1)
    limits = difficulty_limits(work.job)
    return [_blank(work, k, blank, on.get(blank.name, []), limits) for k, blank in enumerate(work.blanks, 1)]


def _blank(work: Work, piece: int, blank: Blank, on: list[int], limits: tuple[float, float, float]) -> dict[str, Any]:
    x0, y0, x1, y1 = blank.outline.bounds
    rings = (blank.outline.exterior, *blank.outline.interiors)
    kg = blank.thickness * density_of(work.job, blank) * 1e-9
    slits = work.slit_patterns.get(blank.name)
    return {
        "piece": piece,
        "name": blank.name,
        "side": blank.hand,
        "mirrors": blank.mirrors,
        "kind": blank.kind,
        "quantity": 1,
        "metal": blank.metal or work.job.metal.name,
        "thickness_mm": rounded(blank.thickness, 3),
        "gauge": gauge(blank.thickness, work.job, blank.metal),
        "grain_deg": None if blank.grain_deg is None else rounded(blank.grain_deg, 1),
        "grain": grain(blank),
        "good_face": face(blank),
        "width_mm": mm(x1 - x0),
        "height_mm": mm(y1 - y0),
        "cut_area_mm2": mm2(blank.outline.area),
        "net_area_mm2": mm2(blank.net.area),
        "formed_area_mm2": mm2(blank.area_formed),
        "mass_kg": float(blank.outline.area * kg),
        "net_mass_kg": float(blank.net.area * kg),
        "cut_length_mm": mm(sum(ring.length for ring in rings)),
        "pierces": len(rings),
        "sheets": sorted(on),
        "other_stock": bool(blank.metal),
        "strain": _strain(work, blank, limits, (x0, y0)),
        "slits": slit_figures(slits) if slits is not None else None,
        "grid": _grid(blank, (x0, y0)),
        "edges": [_edge(edge, k, limits, work, blank.kind) for k, edge in enumerate(blank.edges, 1)],
        "rolls": [_roll(roll, number, (x0, y0)) for number, roll in numbered(blank)],
        "folds": [_fold(fold, k, (x0, y0)) for k, fold in enumerate(blank.folds, 1)],
        "lips": [_lip(lip, (x0, y0)) for lip in blank.lips],
        "notes": list(blank.notes),
    }


def _from(corner: Place, place: Any) -> list[float]:
    """A place on the flat, measured from the lower left corner of the blank's bounding box."""
    return [mm(place[0] - corner[0]), mm(place[1] - corner[1])]


def _strain(work: Work, blank: Blank, limits: tuple[float, float, float], corner: Place) -> dict[str, Any] | None:
    if blank.flat is None:
        return None
    s = strain_figures(blank.flat)
    zones = strain_zones(blank.flat, limits)
    whole = sum(zone.area for zone in zones) or 1.0
    return {
        "stretch_worst_percent": percent(s.stretch_worst),
        "stretch_worst_at_mm": _from(corner, s.stretch_at) if s.stretch_worst > 0.0005 else None,
        "shrink_worst_percent": percent(s.shrink_worst),
        "shrink_worst_at_mm": _from(corner, s.shrink_at) if s.shrink_worst > 0.0005 else None,
        "most_stretched_way_mean_percent": percent(s.stretch_mean),
        "most_shrunk_way_mean_percent": percent(-s.shrink_mean),
        "left_be_percent": percent(s.left_be),
        "difficulty": difficulty(max(s.stretch_worst, s.shrink_worst), limits),
        "zones": [_zone(zone, zone.area / whole, corner, limits) for zone in zones],
        "sheet": _sheet_load(work, blank),
    }


def _zone(zone: Zone, share: float, corner: Place, limits: tuple[float, float, float]) -> dict[str, Any]:
    return {
        "do": "leave be" if zone.kind == "leave" else zone.kind,
        "work": "" if zone.kind == "leave" else difficulty(zone.worst, limits),
        "worst_percent": percent(zone.worst),
        "worst_at_mm": _from(corner, zone.worst_at),
        "mean_percent": percent(zone.mean),
        "along_percent": percent(zone.along),
        "across_percent": percent(zone.across),
        "share_percent": percent(share),
        "at_mm": _from(corner, zone.at),
    }


def _grid(blank: Blank, corner: Place) -> list[dict[str, Any]]:
    """The lines of the template's grid on a crowned piece, and where the metal under them is on the finished tank."""
    from panels.formed_grid import grid_lines

    if blank.flat is None or blank.flat.formed is None:
        return []
    return [
        {
            "line": line.axis,
            "at_mm": mm(line.at - corner["xy".index(line.axis)]),
            "flat_mm": mm(line.length_flat),
            "formed_mm": mm(line.length_formed),
            "tank_mm": [[mm(v) for v in place] for place in line.places(GRID_MM, corner["yx".index(line.axis)])],
        }
        for line in grid_lines(blank.flat, pitch=GRID_MM, origin=corner)
    ]


def _sheet_load(work: Work, blank: Blank) -> dict[str, Any]:
    """The blank's strain beside what is published about its sheet."""
    from panels.forming import sheet_load

    assert blank.flat is not None
    load = sheet_load(blank.flat.strain, work.job.metal, blank.thickness)
    return {
        "words": load.words,
        "thickness": load.change,
        "thinnest_mm": rounded(load.thinnest, 2),
        "thickest_mm": rounded(load.thickest, 2),
        "elongation_percent": percent(load.elongation),
        "elongation_basis": load.elongation_basis,
        "forming_limit_percent": None if load.limit is None else percent(float(np.expm1(load.limit.plane_strain))),
        "forming_limit_from": "" if load.limit is None else load.limit.source,
        "limit_used_percent": None if load.used is None else percent(load.used),
    }


def _edge(edge: Edge, number: int, limits: tuple[float, float, float], work: Work, kind: str) -> dict[str, Any]:
    share = edge.gain / edge.length_blank if edge.length_blank else 0.0
    joint, lies = joint_of(edge, work.seams)
    return {
        "edge": number,
        "letter": edge.letter,
        "meets": edge.meets,
        "joint": joint,
        "lies": lies,
        "allowance_mm": mm(edge.allowance),
        "allowance": edge_metal(edge, work.job.unit),
        "blank_length_mm": mm(edge.length_blank),
        "formed_length_mm": mm(edge.length_surface),
        "gain_mm": mm(edge.gain),
        "gain_percent": percent(share),
        "difficulty": difficulty(share, limits) if changes(edge.gain, kind) else AS_IT_IS,
    }


def _roll(roll: Roll, number: str, corner: Place) -> dict[str, Any]:
    flat = roll.kind == "flat"

    def radius(value: float) -> float | None:
        return rounded(value, 2) if value < 1e5 else None

    return {
        "roll": int(number) if number else None,
        "kind": roll.kind,
        "from_mm": [_from(corner, end) for end in roll.start],
        "to_mm": [_from(corner, end) for end in roll.end],
        "angle_deg": rounded(roll.angle, 2),
        "direction": "" if flat else "up" if roll.up else "down",
        "inside_radius_mm": radius(roll.radius),
        "radius_at_start_mm": radius(roll.along[0]),
        "radius_at_end_mm": radius(roll.along[1]),
        "radius_at_edges_mm": [radius(value) for value in roll.across],
        "least_radius_mm": radius(roll.least),
        "miss_mm": rounded(roll.miss, 2),
    }


def _fold(fold: Fold, number: int, corner: Place) -> dict[str, Any]:
    return {
        "fold": number,
        "lip": fold.lip,
        "angle_deg": rounded(fold.angle, 1),
        "direction": "up" if fold.up else "down",
        "inside_radius_mm": rounded(fold.inside_radius, 2),
        "k_factor": rounded(fold.k_factor, 3),
        "k_source": fold.k_source,
        "length_mm": mm(np.hypot(*(np.asarray(fold.end) - fold.start))),
        "start_mm": _from(corner, fold.start),
        "end_mm": _from(corner, fold.end),
    }


def _lip(lip: Bend, corner: Place) -> dict[str, Any]:
    middle = lip.middle
    return {
        "letter": lip.letter,
        "width_mm": mm(lip.width),
        "angle_deg": [rounded(turn, 1) for turn in lip.turn],
        "direction": "up" if lip.up else "down",
        "inside_radius_mm": rounded(lip.inside_radius, 2),
        "k_factor": rounded(lip.k_factor, 3),
        "k_source": lip.k_source,
        "straight": lip.straight,
        "length_mm": mm(float(np.hypot(*np.diff(middle, axis=0).T).sum())),
        "start_mm": _from(corner, middle[0]),
        "end_mm": _from(corner, middle[-1]),
    }


def strip_figures(work: Work) -> list[dict[str, Any]]:
    """For each kind of fold, what the two legs of a test strip add up to if K is what it was taken for.

    Outside legs of a strip folded by 90°: their sum is its flat length plus the bend deduction.
    """
    from panels.bend import bend_deduction

    from ..strip import SIZE_MM

    kinds = sorted({(b.thickness, f.inside_radius, f.k_factor) for b in work.blanks for f in b.folds})
    long = SIZE_MM[work.job.unit][0]
    return [
        {
            "thickness_mm": rounded(t, 3),
            "inside_radius_mm": rounded(radius, 2),
            "angle_deg": 90.0,
            "strip_mm": long,
            "k_factor": rounded(k, 3),
            "legs_mm": rounded(long + bend_deduction(t, radius, 90.0, k), 2),
            "read_k": [
                {"k_factor": other, "legs_mm": rounded(long + bend_deduction(t, radius, 90.0, other), 2)}
                for other in STRIP_KS
            ],
        }
        for t, radius, k in kinds
    ]
