"""A tank's patterns -> its flat blanks.

    body = build_body(patterns, Division("crown and sides"), thickness=1.6)
    body.capacity_mm3, body.mesh
    develop_mesh(vertices, faces).points

Knows metal and geometry, and nothing of sheets, prices and files. Each name is loaded from its own
module when it is first asked for, so that nobody waits for what is not used.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from .bend import (
        bend_allowance,
        bend_deduction,
        handbook_bend_length,
        inside_setback,
        k_from_test_strip,
        setback,
    )
    from .blank import Aim, Blank, Edge, FlatMesh, Fold, Mark
    from .body import Body, Capacity, build_body, measure_capacity
    from .choose_k import KFactor, StripReading, choose_k
    from .curves import Curve, curve_through
    from .develop import Development, develop_mesh
    from .din6935 import din6935_correction, k_factor_din6935
    from .divide import SCHEMES
    from .errors import PanelsError
    from .findings import Finding
    from .fit import clearances, misses
    from .fold import FoldLine, fold_flat
    from .make_blanks import make_blanks
    from .metal import Metal, gauge_thickness, lookup_metal, nearest_gauge
    from .min_radius import minimum_inside_radius
    from .patterns import (
        Clearance,
        Division,
        KneeRelief,
        Outlet,
        Patterns,
        PlanPattern,
        SeamLine,
        SectionPattern,
        SectionShape,
        SidePattern,
        TunnelPattern,
    )
    from .seam_choice import SeamChoice, SeamWish, division_strain, propose_seams
    from .seams import seams_of
    from .slits import panel_slits
    from .strips import slit_pattern
    from .tunnel_flat import TunnelFlat, develop_tunnel
    from .unroll import unroll_strip

_HOME = {
    "bend": "bend_allowance bend_deduction handbook_bend_length inside_setback k_from_test_strip setback",
    "blank": "Aim Blank Edge FlatMesh Fold Mark",
    "body": "Body Capacity build_body measure_capacity",
    "choose_k": "KFactor StripReading choose_k",
    "curves": "Curve curve_through",
    "develop": "Development develop_mesh",
    "din6935": "din6935_correction k_factor_din6935",
    "divide": "SCHEMES",
    "errors": "PanelsError",
    "findings": "Finding",
    "fit": "clearances misses",
    "fold": "FoldLine fold_flat",
    "make_blanks": "make_blanks",
    "metal": "Metal gauge_thickness lookup_metal nearest_gauge",
    "min_radius": "minimum_inside_radius",
    "patterns": "Clearance Division KneeRelief Outlet Patterns PlanPattern SeamLine SectionPattern SectionShape "
    "SidePattern TunnelPattern",
    "seam_choice": "SeamChoice SeamWish division_strain propose_seams",
    "seams": "seams_of",
    "slits": "panel_slits",
    "strips": "slit_pattern",
    "tunnel_flat": "TunnelFlat develop_tunnel",
    "unroll": "unroll_strip",
}
_MODULE_OF = {name: module for module, names in _HOME.items() for name in names.split()}

__all__ = [
    "SCHEMES",
    "Aim",
    "Blank",
    "Body",
    "Capacity",
    "Clearance",
    "Curve",
    "Development",
    "Division",
    "Edge",
    "Finding",
    "FlatMesh",
    "Fold",
    "FoldLine",
    "KFactor",
    "KneeRelief",
    "Mark",
    "Metal",
    "Outlet",
    "PanelsError",
    "Patterns",
    "PlanPattern",
    "SeamChoice",
    "SeamLine",
    "SeamWish",
    "SectionPattern",
    "SectionShape",
    "SidePattern",
    "StripReading",
    "TunnelFlat",
    "TunnelPattern",
    "bend_allowance",
    "bend_deduction",
    "build_body",
    "choose_k",
    "clearances",
    "curve_through",
    "develop_mesh",
    "develop_tunnel",
    "din6935_correction",
    "division_strain",
    "fold_flat",
    "gauge_thickness",
    "handbook_bend_length",
    "inside_setback",
    "k_factor_din6935",
    "k_from_test_strip",
    "lookup_metal",
    "make_blanks",
    "measure_capacity",
    "minimum_inside_radius",
    "misses",
    "nearest_gauge",
    "panel_slits",
    "propose_seams",
    "seams_of",
    "setback",
    "slit_pattern",
    "unroll_strip",
]


def __getattr__(name: str) -> Any:
    """A public name, from its own module; a module of that name stays a module."""
    if name not in _MODULE_OF:
        raise AttributeError(f"panels has no {name!r}; it has: {', '.join(__all__)}")
    value = getattr(import_module(f"{__name__}.{_MODULE_OF[name]}"), name)
    globals()[name] = value
    return value
