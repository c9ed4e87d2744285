"""The slit pattern of a crowned piece as a picture and in words: what a card slit between sections shows."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING, Any

import numpy as np

from .svg import number, ring, svg, words

if TYPE_CHECKING:
    from panels.slits import PanelSlits

__all__ = ["slit_figures", "slit_section"]

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


def _picture(slits: PanelSlits, name: str) -> str:
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
    box = (low[0] - 2 * size, low[1] - 2.6 * size, high[0] + 2 * size, high[1] + 2.6 * size)
    figures = slit_figures(slits)
    told = f"{figures['strips']} strips; the edges change by {figures['edge_change_mm']} mm"
    return svg(box, parts, title="Slit pattern", describes=told, kind="flat", name=name)


def slit_section(slits: PanelSlits, name: str) -> str:
    """Picture and words for the job sheet."""
    figures = slit_figures(slits)
    changes = [f"{'lose' if v < 0 else 'gain'} {abs(v):.1f} mm" for v in figures["edge_change_mm"]]
    edges = changes[0] if changes[0] == changes[1] else f"{changes[0]} and {changes[1]}"
    return (
        f"<figure>{_picture(slits, name)}<figcaption>Slit card, from x {slits.front:.0f} to {slits.rear:.0f} mm: "
        f"{figures['strips']} strips between sections, each laid flat exactly and hung together at "
        f"{escape(slits.spine)}. Figures are the gaps in mm at each slit (minus: the strips lie over one another). "
        "A gap is metal that must be shrunk away, an overlap is metal that must be stretched in. Worked from the "
        f"spine alone the long edges {edges}; the blank above shares this out between edge and middle."
        "</figcaption></figure>"
    )
