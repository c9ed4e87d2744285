"""Every figure the papers show, once: a plain value, and the same as ``results.json``.

Words used here
    figures   the nested dict that the cut list and the job sheet are written from; lengths 0.1 mm, areas
              1 mm2, percent 0.1; litres and kilograms unrounded, since papers show them to different places and
              round them once. Keys and their order are always the same.
    piece     the number of a blank, from 1, in the order of the cut list; used on every paper

Each key is explained in `tankwright.papers.results_fields.FIELDS`.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import numpy as np

from panels.doublers import fillet_length
from panels.joints import weld_lengths

from .names import date_words
from .quotefigures import quote_figures, rack_figures
from .results_blanks import blank_figures, strip_figures
from .results_fittings import fitting_figures
from .results_sheets import cut_figures, offcut_figures, sheet_figures, to_buy
from .rounding import mm, mm2, percent, rounded
from .words import gauge, metal_words

if TYPE_CHECKING:
    from panels.patterns import TunnelPattern

    from ..work import Work

__all__ = ["FORMAT", "figures", "results"]

FORMAT = "tankwright results 1"
STRENGTHS = ("stop", "look", "note")


def results(work: Work, got: dict[str, Any] | None = None) -> bytes:
    """``results.json``: `figures` (``got``, where at hand) as UTF-8 text; litres 0.01, kg 0.001; same bytes."""
    told = _told(got or figures(work))
    return (json.dumps(told, ensure_ascii=False, indent=1, allow_nan=False) + "\n").encode("utf-8")


#: Decimals of what `figures` leaves unrounded, by the end of its key.
_PLACES = {"_l": 2, "_kg": 3, "litres_per_mm_width": 4, "litres_per_mm_depth": 4}


def _told(value: Any, key: str = "") -> Any:
    """Figures as the file has them: litres and kilograms rounded."""
    if isinstance(value, dict):
        return {name: _told(inner, name) for name, inner in value.items()}
    if isinstance(value, list):
        return [_told(inner, key) for inner in value]
    if isinstance(value, float):
        places = next((n for end, n in _PLACES.items() if key.endswith(end)), None)
        return value if places is None else rounded(value, places)
    return value


def figures(work: Work) -> dict[str, Any]:
    """Every figure the papers show, as dicts, lists, text and numbers; keys in `results_fields.FIELDS`."""
    blanks = blank_figures(work)
    sheets = [sheet_figures(work, used, blanks) for used in work.layout.sheets]
    seams = _seams(work)
    return {
        "format": FORMAT,
        "job": _job(work),
        "metal": _metal(work),
        "findings": _findings(work),
        "found": {s: sum(f.strength == s for f in work.findings) + _left_out(work, s) for s in STRENGTHS},
        "capacity": _capacity(work),
        "tank": _tank(work),
        "tunnel": _tunnel(work),
        "misses": [{"pattern": name, "miss_mm": rounded(miss, 2)} for name, miss in work.misses.items()],
        "blanks": blanks,
        "sheets": sheets,
        "offcuts": offcut_figures(work.layout),
        "cuts": cut_figures(work, blanks),
        "buy": to_buy(work, sheets),
        "totals": _totals(work, blanks, sheets),
        "test_strips": strip_figures(work),
        "seams": seams,
        "fittings": fitting_figures(work),
        "quote": quote_figures(work),
        "rack": rack_figures(work),
        "assumptions": [{"name": name, "value": value} for name, value in work.assumptions],
        "cautions": list(work.cautions),
    }


def _job(work: Work) -> dict[str, Any]:
    job = work.job
    return {
        "name": job.name,
        "reference": job.reference or "",
        "revision": str(job.revision),
        "pattern_date": date_words(job.pattern_date),
        "unit": job.unit,
        "surface": job.surface,
    }


def _metal(work: Work) -> dict[str, Any]:
    job = work.job
    return {
        "name": job.metal.name,
        "kind": job.metal.kind,
        "words": metal_words(job),
        "thickness_mm": rounded(job.thickness, 3),
        "thickness_in": rounded(job.thickness / 25.4, 4),
        "gauge": gauge(job.thickness, job),
        "density_kg_m3": rounded(job.metal.density, 1),
        "fold_radius_mm": rounded(job.fold_radius, 2),
    }


def _findings(work: Work) -> list[dict[str, Any]]:
    """Stop, look, note, in that order; a blank that lies on no sheet is a stop of its own."""
    missing = [
        {
            "strength": "stop",
            "pattern": item.part.name,
            "says": f"{item.part.name} lies on no sheet: {item.why}",
            "found": f"{item.count} not placed",
            "allowed": "",
            "at_mm": None,
            "remedy": "Give a larger sheet, more sheets, or part the piece with a seam.",
        }
        for item in work.layout.unplaced
    ]
    given = [
        {
            "strength": f.strength,
            "pattern": f.pattern,
            "says": f.says,
            "found": f.found,
            "allowed": f.allowed,
            "at_mm": None if f.at_mm is None else mm(f.at_mm),
            "remedy": f.remedy,
        }
        for f in work.findings
    ]
    return sorted([*missing, *given], key=lambda f: STRENGTHS.index(str(f["strength"])))


def _left_out(work: Work, strength: str) -> int:
    return len(work.layout.unplaced) if strength == "stop" else 0


def _capacity(work: Work) -> dict[str, Any]:
    c = work.capacity
    return {
        "brim_l": float(c.brim_l),
        "tolerance_l": float(c.tolerance_l),
        "ullage_l": float(c.ullage_l),
        "ullage_percent": percent(c.ullage_l / c.brim_l) if c.brim_l else 0.0,
        "below_outlet_l": float(c.below_outlet_l),
        "usable_l": float(c.usable_l),
        "litres_per_mm_width": float(c.litres_per_mm_width),
        "litres_per_mm_depth": float(c.litres_per_mm_depth),
        "centre_mm": [mm(value) for value in c.centre],
        "dry_mass_kg": float(c.dry_mass_kg),
        "shell_area_mm2": mm2(c.shell_area_mm2),
    }


def _tank(work: Work) -> dict[str, Any]:
    low, high = work.body.outer.min(axis=0), work.body.outer.max(axis=0)
    names = ("length_mm", "width_mm", "height_mm")
    return {name: mm(value) for name, value in zip(names, high - low, strict=True)} | {"pieces": list(work.body.pieces)}


def _tunnel(work: Work) -> dict[str, Any] | None:
    """Room about the backbone; null without a tunnel. The least room is where it touches first."""
    tunnel = getattr(getattr(work.job, "patterns", None), "tunnel", None)
    if tunnel is None:
        return None
    side = tunnel.side_room - tunnel.draw_in
    return {
        "clear_width_front_mm": mm(2 * tunnel.half_front),
        "clear_width_rear_mm": mm(2 * tunnel.half_rear),
        "backbone_front_mm": mm(tunnel.backbone_front),
        "backbone_rear_mm": mm(tunnel.backbone_rear),
        "side_room_mm": mm(tunnel.side_room),
        "draw_in_mm": mm(tunnel.draw_in),
        "side_room_left_mm": mm(side),
        "top_room_mm": mm(tunnel.top_room),
        **_tunnel_top(work, tunnel),
        **_tunnel_depths(work),
        "touches_first": _touches_first(work, tunnel),
    }


def _tunnel_top(work: Work, tunnel: TunnelPattern) -> dict[str, Any]:
    """The shape of the top, and what a rounded one is rolled to and leaves to a square backbone's corners."""
    from panels.openings import tunnel_of

    shape = None if tunnel.top == "flat" else tunnel_of(work.job.patterns)
    told: dict[str, Any] = {
        "top": tunnel.top,
        "arch_rise_mm": mm(tunnel.arch_rise) if tunnel.top == "arch" else None,
        "roll_radius_front_mm": None,
        "roll_radius_rear_mm": None,
        "corner_room_mm": None,
    }
    if shape is not None and shape.rounded is not None:
        told["roll_radius_front_mm"] = mm(shape.rounded.radius_at(shape.x_front))
        told["roll_radius_rear_mm"] = mm(shape.rounded.radius_at(shape.x_rear))
        told["corner_room_mm"] = None if shape.corner_room is None else mm(min(shape.corner_room))
    return told


def _touches_first(work: Work, tunnel: TunnelPattern) -> str:
    """Where the least room about the backbone is."""
    corner, side = _tunnel_top(work, tunnel)["corner_room_mm"], tunnel.side_room - tunnel.draw_in
    if corner is not None and corner < min(side, tunnel.top_room):
        return "at the backbone's top corners"
    return "over the frame line" if tunnel.top_room < side else "at the sides"


def _tunnel_depths(work: Work) -> dict[str, float | None]:
    """Height of the tunnel's top over the lower edge of its leg, outside faces, at three places along it: of its
    corner, or of the middle of a rounded one.

    Null where the body has no such legs. Front and rear: the ends of the run where both lines are there.
    """
    from panels.openings import tunnel_of

    body, names = work.body, ("front", "middle", "rear")
    none: dict[str, float | None] = {f"clear_depth_{name}_mm": None for name in names}
    used = {name: np.unique(body.faces[body.piece == k]) for k, name in enumerate(body.pieces)}
    legs = used.get("tunnel right")
    floors = [points for name, points in used.items() if name.startswith("floor") and not name.endswith("left")]
    if legs is None or "tunnel top" not in used or not floors:
        return none
    corner = body.outer[np.intersect1d(legs, used["tunnel top"])]
    shape = tunnel_of(work.job.patterns)
    if shape is not None and shape.rounded is not None:  # its middle, not the springs
        corner = np.column_stack([corner[:, :2], shape.top(corner[:, 0])])
    lower = body.outer[np.intersect1d(legs, np.unique(np.concatenate(floors)))]
    if len(corner) < 2 or len(lower) < 2:
        return none
    corner, lower = (line[np.argsort(line[:, 0])] for line in (corner, lower))
    first, last = max(corner[0, 0], lower[0, 0]), min(corner[-1, 0], lower[-1, 0])
    x = np.array([first, (first + last) / 2, last])
    depth = np.interp(x, corner[:, 0], corner[:, 2]) - np.interp(x, lower[:, 0], lower[:, 2])
    return {f"clear_depth_{name}_mm": mm(value) for name, value in zip(names, depth, strict=True)}


def _seams(work: Work) -> list[dict[str, Any]]:
    """Each joint: what meets, how, how long, and how far apart the formed lengths of its two edges are."""
    number = {blank.name: k for k, blank in enumerate(work.blanks, 1)}
    made = []
    for joint in work.seams:
        (one, other), carrier = joint.sides, joint.carries
        made.append(
            {
                "letter": joint.letter,
                "one": one.piece,
                "other": other.piece,
                "one_piece": [number[name] for name in one.blank.split(", ") if name in number],
                "other_piece": [number[name] for name in other.blank.split(", ") if name in number],
                "joint": joint.kind,
                "allowance_mm": 0.0 if carrier is None else mm(carrier.allowance),
                "allowance_on": "" if carrier is None else carrier.piece,
                "outside": joint.outside,
                "length_mm": mm(joint.length),
                "edges_differ_mm": None if joint.differ is None else mm(joint.differ),
            }
        )
    return made


def _totals(work: Work, blanks: list[dict[str, Any]], sheets: list[dict[str, Any]]) -> dict[str, Any]:
    layout, job, welds = work.layout, work.job, weld_lengths(work.seams)
    kg = job.thickness * job.metal.density * 1e-9
    bought = sum(sheet["sheet_area_mm2"] for sheet in sheets if sheet["from"] == "bought")
    kept = sum(used.offcuts_area for used in layout.sheets)
    skeleton = sum(used.skeleton_area for used in layout.sheets)
    area = layout.sheet_area or 1.0
    return {
        "blanks": len(blanks),
        "sheets": len(sheets),
        "sheets_to_buy": sum(sheet["from"] == "bought" for sheet in sheets),
        "sheet_area_mm2": mm2(layout.sheet_area),
        "parts_area_mm2": mm2(layout.parts_area),
        "offcuts_area_mm2": mm2(kept),
        "skeleton_area_mm2": mm2(skeleton),
        "tie_mm2": mm2(layout.sheet_area - layout.parts_area - kept - skeleton),
        "mass_bought_kg": float(bought * kg),
        "mass_used_kg": float(layout.sheet_area * kg),
        "mass_in_parts_kg": float(layout.parts_area * kg),
        "mass_kept_kg": float(kept * kg),
        "mass_scrap_kg": float(skeleton * kg),
        "yield_whole_percent": percent(layout.parts_area / area),
        "yield_with_offcuts_percent": percent((layout.parts_area + kept) / area),
        "cutting": layout.cutting,
        "cut_length_mm": mm(layout.cut_length),
        "pierces": layout.pierces,
        "gap_mm": mm(layout.gap_mm),
        "edge_mm": mm(layout.edge_mm),
        "price": rounded(layout.cost, 2),
        "currency": str(getattr(job.shop, "currency", "") or ""),
        "bound": rounded(layout.bound, 2),
        "bound_of": layout.bound_of,
        "proven": layout.proven,
        "seam_length_mm": mm(sum(welds.values())),
        **{f"seam_{joint}_mm": mm(length) for joint, length in welds.items()},
        "fillet_length_mm": mm(fillet_length(work.blanks)),
        "other_stock_area_mm2": mm2(sum(blank.outline.area for blank in work.blanks if blank.metal)),
        "fold_length_mm": mm(sum(joint.length for joint in work.seams if joint.kind == "fold")),
        "nest_notes": list(layout.notes),
    }
