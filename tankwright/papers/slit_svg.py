"""The slit pattern of a crowned piece as a picture and in words: what a card slit between sections shows."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING, Any

import numpy as np

from .svg import number, ring, svg, words
from .words import length

if TYPE_CHECKING:
    from panels.blank import Blank
    from panels.slits import PanelSlits

__all__ = ["slit_edges", "slit_figures", "slit_section"]

#: Gaps smaller than this are not written on the picture, mm.
TOLD_MM = 0.3


def _turned(points: np.ndarray) -> np.ndarray:
    """Points of the pattern with the tank's length along x, as the blanks are drawn."""
    return np.asarray(points)[:, [1, 0]] * [1.0, -1.0]


def slit_figures(slits: PanelSlits) -> dict[str, Any]:
    """The figures: between which x, strips, and per joint the gap (+) or overlap (-) at both long edges, mm."""
    pattern = slits.pattern
    return {
        "from_x_mm": round(slits.front, 1),
        "to_x_mm": round(slits.rear, 1),
        "spine": slits.spine,
        "strips": len(pattern.strips),
        "edge_change_mm": [round(float(v), 1) for v in pattern.total_gain[[0, -1]]],
        "joints": [[round(float(joint.gap[0]), 2), round(float(joint.gap[-1]), 2)] for joint in pattern.joints],
    }


def slit_edges(blank: Blank) -> tuple[str, str]:
    """Seam letters of the two long edges, the upper one as drawn first: blank and card are drawn the same way up."""
    long = sorted(blank.edges, key=lambda edge: -edge.length_blank)[:2]
    middle = [(float(np.mean(np.asarray(edge.points)[:, 1])), edge.letter) for edge in long]
    upper, lower = sorted(middle, key=lambda pair: -pair[0]) if len(middle) == 2 else ((0.0, ""), (0.0, ""))
    return upper[1], lower[1]


def _picture(slits: PanelSlits, name: str, edges: tuple[str, str]) -> str:
    strips = [_turned(strip.outline) for strip in slits.pattern.strips]
    every = np.vstack(strips)
    low, high = every.min(axis=0), every.max(axis=0)
    size = float(high[0] - low[0]) / 42
    parts = [
        f'<path class="metal" d="{ring(strip)}"/><path class="pen-station" d="{ring(strip)}"/>' for strip in strips
    ]
    for joint in slits.pattern.joints:
        for end, side in ((0, 1.0), (-1, -1.0)):
            if abs(joint.gap[end]) >= TOLD_MM:
                at = (_turned(joint.left)[end] + _turned(joint.right)[end]) / 2
                parts.append(words(number(joint.gap[end]), at + [0, side * 0.9 * size], 0.8 * size, kind="halo"))
    middle = float(low[0] + high[0]) / 2
    for letter, end, side in ((edges[0], 0, 1.0), (edges[1], -1, -1.0)):
        if letter:
            rims = np.array([_turned(joint.left)[end] for joint in slits.pattern.joints] or [[middle, high[1]]])
            near = rims[np.abs(rims[:, 0] - middle).argmin()]
            parts.append(words(letter, near + [0, side * 2.5 * size], 1.1 * size, kind="halo letter"))
    for place, said in ((low[0] - 1.2 * size, "front"), (high[0] + 1.2 * size, "rear")):
        at = (place, float(low[1] + high[1]) / 2)
        parts.append(words(said, at, 0.9 * size, turn=90.0, kind="halo strong"))
    box = (low[0] - 2.4 * size, low[1] - 4 * size, high[0] + 2.4 * size, high[1] + 4 * size)
    figures = slit_figures(slits)
    told = f"{figures['strips']} strips; the edges change by {figures['edge_change_mm']} mm"
    return svg(box, parts, title="Slit pattern", describes=told, kind="flat", name=name)


def slit_section(slits: PanelSlits, name: str, edges: tuple[str, str] = ("", ""), unit: str = "mm") -> str:
    """Picture and words for the job sheet, which says once what a slit card is."""
    figures = slit_figures(slits)
    changes = " and ".join(
        f"at {letter or which} the gaps come to {length(abs(v), unit)}"
        if v < 0
        else f"at {letter or which} the strips lie {length(v, unit)} over one another in all"
        for v, letter, which in zip(figures["edge_change_mm"], edges, ("the upper edge", "the lower edge"), strict=True)
    )
    return (
        f"<figure>{_picture(slits, name, edges)}<figcaption>Slit card, from x "
        f"{escape(length(slits.front, unit))} to {escape(length(slits.rear, unit))}: {figures['strips']} "
        f"strips, hung together at {escape(slits.spine)}. "
        f"{escape(changes[:1].upper() + changes[1:])}. Work to the edge table."
        "</figcaption></figure>"
    )
