"""Numbers and names of the parts of a sheet on its page: on the part, along it, or beside it with a line to it.

Words used here
    ring     the order of cutting, a letter in a circle before the number; a shear's rings, with figures, stand on its
             cuts instead
    taken    boxes (2, 2) on the page where words stand
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from .look import SIZES
from .pdf import circle, fit_size, line, pen, text, text_width

if TYPE_CHECKING:
    from nesting.model import Placed

    from .blankview import View

__all__ = ["BALLOON", "Page", "Told", "label_part", "ring"]

BALLOON = 1.9  # half the width of a ring, mm
LEAST = 1.7  # letters lower than this are not read at the bench, mm
CLEAR = 0.4  # round words, mm
TURNS = 24  # ways in which a place beside a part is looked for
WAYS = 40  # so many places are asked what the line to them would cross
FAR = np.arange(5.0, 62.0, 3.0)  # and how far off, mm


class Page(NamedTuple):
    """What a name beside a part keeps off: metal of parts, the sheet's edge, and what is past the room for it all."""

    metal: Any
    rim: Any
    low: np.ndarray
    high: np.ndarray


class Told(NamedTuple):
    """What is written of a part: its number and name, the letter of its place in the order or nothing, HOLD."""

    number: str
    name: str
    order: str
    held: bool = False
    down: bool = False

    @property
    def minds(self) -> str:
        """What must be minded with it, in capitals; mostly nothing."""
        return ", ".join(["HOLD"] * self.held + ["FACE DOWN"] * self.down)

    @property
    def says(self) -> str:
        """All of it in one line."""
        return f"{self.number} {self.name}" + (f", {self.minds}" if self.minds else "")

    @property
    def lead(self) -> float:
        """What the ring takes before the words, mm."""
        return 2 * BALLOON + 1.0 if self.order else 0.0


def ring(canvas: Any, x: float, y: float, order: str) -> None:
    """A letter or number in a circle."""
    pen(canvas, "sheet")
    circle(canvas, x, y, BALLOON, paper=True)
    size = SIZES["small"] if len(order) < 3 else SIZES["small"] * 0.8
    text(canvas, x, y - 0.36 * size, order, size, bold=True, align="middle")


def label_part(canvas: Any, placed: Placed, told: Told, view: View, page: Page, taken: list[np.ndarray]) -> None:
    """Number and name of a part, with its ring where it has one; ``taken`` grows by the box of what is written."""
    from shapely import maximum_inscribed_circle

    inscribed: Any = maximum_inscribed_circle(placed.outline, tolerance=2.0)
    (x, y), room = view.points(inscribed.coords[0]).tolist(), float(inscribed.length) * view.scale
    small = fit_size(placed.part.name, 1.8 * room, SIZES["small"], least=0.1)
    if small >= LEAST and room > 5.5:
        taken.append(_upright(canvas, told, (x, y), room, small))
        return
    on_page = _on_page(placed, view)
    for turn in (0.0, 90.0):
        box = _along(canvas, told, on_page, turn)
        if box is not None:
            taken.append(box)
            return
    taken.append(_beside(canvas, told, np.array([x, y]), page, taken))


def _on_page(placed: Placed, view: View) -> Any:
    from shapely import affinity

    return affinity.affine_transform(placed.outline, [view.scale, 0, 0, view.scale, *view.shift])


def _upright(canvas: Any, told: Told, at: tuple[float, float], room: float, small: float) -> np.ndarray:
    """Ring and number over the name, where a part is widest."""
    x, y = at
    high = min(SIZES["head"], room * 0.7)
    wide = text_width(told.number, high, bold=True) + told.lead
    if told.order:
        ring(canvas, x - wide / 2 + BALLOON, y + 0.4 + 0.36 * high, told.order)
    text(canvas, x - wide / 2 + told.lead, y + 0.4, told.number, high, bold=True, paper=True)
    text(canvas, x, y - 1.2 * small, told.name, small, align="middle", paper=True)
    if told.minds:
        text(canvas, x, y - 2.5 * small, told.minds, small, bold=True, align="middle", paper=True)
    half = max(text_width(told.name, small), wide) / 2
    return np.array([[x - half, y - (2.6 if told.minds else 1.4) * small], [x + half, y + 0.4 + high]])


def _along(canvas: Any, told: Told, metal: Any, turn: float) -> np.ndarray | None:
    """Ring, number and name in one line on the part's metal, level or standing; None where that has no room."""
    import shapely

    says, lead, order = told.says, told.lead, told.order
    x0, y0, x1, y1 = metal.bounds
    spots = np.array([(i, j) for j in (0.5, 0.35, 0.65, 0.2, 0.8) for i in (0.5, 0.4, 0.6, 0.3, 0.7)])
    middles = np.array([x0, y0]) + spots * [x1 - x0, y1 - y0]
    for size in (SIZES["small"], 2.0, LEAST):
        half = np.array([(text_width(says, size, bold=True) + lead) / 2, max(0.6 * size, BALLOON if order else 0.0)])
        half = half[::-1] if turn else half
        boxes = shapely.box(*(middles - half - CLEAR).T, *(middles + half + CLEAR).T)
        held = np.flatnonzero(shapely.contains(metal, boxes))
        if len(held):
            x, y = middles[held[0]]
            along = np.array([0.0, 1.0]) if turn else np.array([1.0, 0.0])
            up = np.array([-along[1], along[0]])
            start = np.array([x, y]) - along * max(half)
            if order:
                at = start + along * BALLOON
                ring(canvas, float(at[0]), float(at[1]), order)
            at = start + along * lead - up * 0.36 * size
            text(canvas, float(at[0]), float(at[1]), says, size, turn=turn, bold=True, paper=True)
            return np.array([[x, y] - half, [x, y] + half])
    return None


def _beside(
    canvas: Any,
    told: Told,
    at: np.ndarray,
    page: Page,
    taken: Sequence[np.ndarray],
) -> np.ndarray:
    """Ring, number and name off all parts, in the scrap or beside the sheet, and a line to the part."""
    import shapely

    says, lead, order, size = told.says, told.lead, told.order, SIZES["fine"]
    half = np.array([(text_width(says, size, bold=True) + lead) / 2, BALLOON if order else 0.6 * size])
    turns = np.arange(TURNS) * 2 * math.pi / TURNS
    ways = np.column_stack([np.cos(turns), np.sin(turns)])
    off = (FAR[:, None, None] * ways).reshape(-1, 2) + np.tile(ways * half, (len(FAR), 1))
    middles = at + off
    boxes = np.asarray(shapely.box(*(middles - half - CLEAR).T, *(middles + half + CLEAR).T))
    bad = shapely.intersects(page.metal, boxes)
    others = shapely.STRtree([shapely.box(*(b[0] - CLEAR), *(b[1] + CLEAR)) for b in taken])
    bad[others.query(boxes, predicate="intersects")[0]] = True
    cost = np.hypot(*off.T) + 1000.0 * bad + 500.0 * shapely.intersects(page.rim, boxes)
    cost += 2000.0 * ((middles - half < page.low) | (middles + half > page.high)).any(axis=1)
    near = np.argsort(cost.round(3), kind="stable")[:WAYS]
    leads = shapely.linestrings(np.stack([np.broadcast_to(at, (len(near), 2)), middles[near]], axis=1))
    crossed = 4.0 * shapely.length(shapely.intersection(leads, page.metal))
    crossed[np.unique(others.query(leads, predicate="intersects")[0])] += 300.0
    k = int(near[np.argmin((cost[near] + crossed).round(3))])
    x, y = middles[k].tolist()
    pen(canvas, "register")
    line(canvas, at, middles[k])
    circle(canvas, float(at[0]), float(at[1]), 0.3)
    left = x - half[0]
    text(canvas, left + lead, y - 0.36 * size, says, size, bold=True, paper=True)
    if order:
        ring(canvas, left + BALLOON, y, order)
    return np.array([middles[k] - half, middles[k] + half])
