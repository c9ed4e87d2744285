"""The figures of the fittings, for `results.figures`: where each sits, its hole, flange and doubler."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from panels.fittings import place_fittings
from panels.fittings_found import below_top

from .rounding import mm

if TYPE_CHECKING:
    from panels.fittings import Placed

    from ..work import Work

__all__ = ["fitting_figures"]


def fitting_figures(work: Work) -> list[dict[str, Any]]:
    """One dict a place of a fitting; keys in `results_fields.FIELDS`."""
    doublers = iter([k for k, blank in enumerate(work.blanks, 1) if any(e.joint == "fillet" for e in blank.edges)])
    return [_fitting(work, one, doublers) for one in place_fittings(work.body, work.job.fittings)]


def _fitting(work: Work, one: Placed, doublers: Any) -> dict[str, Any]:
    fitting = one.fitting
    level = below_top(work.body, one) if one.piece and fitting.purpose in ("filler", "vent") else None
    hand = "centre" if one.piece and abs(one.at[1]) < 1e-3 else "right" if one.at[1] > 0 else "left"
    return {
        "name": fitting.name,
        "kind": fitting.purpose,
        "on": one.piece,
        "piece": [k for k, blank in enumerate(work.blanks, 1) if f"{one.piece} ".startswith(f"{blank.name} ")]
        or [k for k, blank in enumerate(work.blanks, 1) if blank.kind == "folded" and one.piece.startswith("tunnel")],
        "hand": hand if one.piece else fitting.hand,
        "at_mm": [mm(value) for value in one.at] if one.piece else None,
        "hole_mm": mm(fitting.diameter),
        "flange_mm": mm(fitting.flange),
        "flange_weld_mm": mm(math.pi * fitting.flange),
        "cut": fitting.cut,
        "doubler": next(doublers, None) if fitting.doubler is not None and one.piece else None,
        "below_top_mm": None if level is None else mm(level[0]),
        "not_filled_l": None if level is None else float(level[1]),
    }
