"""Cutting files as SVG in true millimetres, for small cutters that read nothing else.

One group a layer, with the layer's plain name as its id; arcs are arcs; nothing but group CUT is to be
cut, and last what is kept. y is turned over, since SVG counts it downwards. Same job, same bytes.
"""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING

import numpy as np

from .cutting import Drawing, Line, Words, cutting_drawings
from .cutting_kerf import Asked
from .look import LAYERS
from .outline import Path, arc_centre

if TYPE_CHECKING:
    from ..work import Work

__all__ = ["svg_files", "to_svg"]

MARGIN_MM = 10.0
WIDE = 0.75  # most that a letter takes of a line, heights
CUT_NOTE = "Cut group CUT only"
SHEAR_NOTE = "For the shear: nothing here is for a torch or a laser."
MOST_BULGE = 0.5  # an arc of 106 degrees


def svg_files(work: Work, asked: Asked | None = None) -> dict[str, bytes]:
    """Every cutting file by name: sheets, then blanks; kerf and lead-ins as for DXF."""
    return {f"cutting/svg/{name}-mm.svg": to_svg(drawing) for name, drawing in cutting_drawings(work, asked).items()}


def to_svg(drawing: Drawing) -> bytes:
    """The drawing as an SVG file whose user unit is one millimetre."""
    low, high = _page(drawing)
    wide, deep = (high - low).tolist()
    rows = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{_n(wide)}mm" '
        f'height="{_n(deep)}mm" viewBox="{_n(low[0])} {_n(-high[1])} {_n(wide)} {_n(deep)}">',
        f"<title>{escape(drawing.title)}</title>",
        f"<desc>Millimetres, 1:1. {_what_is_cut(drawing)} {_where_zero_is(low, drawing)}</desc>",
    ]
    for key, layer in LAYERS.items():
        lines = [item for item in drawing.items if isinstance(item, Line) and item.layer == key]
        texts = [item for item in drawing.items if isinstance(item, Words) and item.layer == key]
        if not lines and not texts:
            continue
        rows.append(f'<g id="{layer.name}" fill="none" stroke="{layer.web}" stroke-width="0.1">')
        rows += [f'<path d="{_path(item.path)}"/>' for item in lines]
        rows += [_words(item, layer.web) for item in texts]
        rows.append("</g>")
    rows.append("</svg>")
    return ("\n".join(rows) + "\n").encode("utf-8")


def _what_is_cut(drawing: Drawing) -> str:
    if drawing.on("part"):
        return SHEAR_NOTE
    kept = f", last of all {LAYERS['offcut'].name}" if drawing.on("offcut") else ""
    later = f" {LAYERS['later'].name} is not to be cut yet (HOLD)." if drawing.on("later") else ""
    return f"{CUT_NOTE}{kept}.{later}"


def _where_zero_is(low: np.ndarray, drawing: Drawing) -> str:
    """Where 0,0 of the words lies on the page, which counts from its upper left and down."""
    of = "the sheet" if drawing.on("sheet") else "the part"
    return f"Zero, the lower left of {of}, is {_n(-low[0])} right of and {_n(-low[1])} above the page's lower left."


def _n(value: float) -> str:
    """A number to 0.0001 mm without empty decimals."""
    text = f"{float(value):.4f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _path(path: Path) -> str:
    """Path data, y turned over. Arcs near half a circle go in two: a radius alone fixes their middle poorly."""
    points = np.vstack([path.points, path.points[:1]]) if path.closed else path.points
    parts = [f"M{_n(points[0][0])} {_n(-points[0][1])}"]
    for k in range(len(points) - 1):
        a, b, bulge = points[k], points[k + 1], float(path.bulges[k])
        end = f"{_n(b[0])} {_n(-b[1])}"
        if bulge == 0:
            last = path.closed and k == len(points) - 2
            parts.append("" if last else f"L{end}")
            continue
        _, radius = arc_centre(a, b, bulge)
        if abs(bulge) > MOST_BULGE:
            chord = b - a
            middle = (a + b) / 2 + np.array([chord[1], -chord[0]]) * bulge / 2
            parts.append(_arc(radius, bulge, middle))
        parts.append(_arc(radius, bulge, b))
    return "".join(parts) + ("Z" if path.closed else "")


def _arc(radius: float, bulge: float, end: np.ndarray) -> str:
    """A small arc on to a point."""
    return f"A{_n(radius)} {_n(radius)} 0 0 {int(bulge < 0)} {_n(end[0])} {_n(-end[1])}"


def _words(item: Words, colour: str) -> str:
    x, y = item.at
    turn = f' transform="rotate({_n(-item.turn)} {_n(x)} {_n(-y)})"' if item.turn else ""
    anchor = ' text-anchor="middle" dominant-baseline="central"' if item.middle else ""
    return (
        f'<text x="{_n(x)}" y="{_n(-y)}" font-size="{_n(item.height * 1.3)}" font-family="sans-serif" '
        f'fill="{colour}" stroke="none"{anchor}{turn}>{escape(item.text)}</text>'
    )


def _page(drawing: Drawing) -> tuple[np.ndarray, np.ndarray]:
    """Lower left and upper right (2,) of all paths and words, with a margin."""
    words = [item for item in drawing.items if isinstance(item, Words)]
    feet = [item.at for item in words]
    flat = [(item.at[0] + WIDE * item.height * len(item.text), item.at[1]) for item in words if not item.turn]
    every = np.array([*drawing.extents, *feet, *flat])
    return every.min(axis=0) - MARGIN_MM, every.max(axis=0) + MARGIN_MM
