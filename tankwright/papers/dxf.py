"""Cutting files as DXF: R2010 with arcs in closed light polylines, and R12 for readers of the old kind.

Units are millimetres. R2010 says so in its header; R12 has no place for it, so its name and its
words do. No splines, no blocks, no hatches; the clock and random ids are kept out, so the same job
gives the same bytes.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import numpy as np

from .cutting import Drawing, Line, Words, cutting_drawings
from .look import LAYERS
from .names import plain

if TYPE_CHECKING:
    from ..work import Work

__all__ = ["dxf_files", "to_dxf"]

VERSIONS = ("R2010", "R12")


def dxf_files(work: Work, *, kerf_mm: float = 0.0, lead_in_mm: float = 0.0) -> dict[str, bytes]:
    """Every cutting file of the work by name: sheets, then blanks, each in both versions.

    Parameters
    ----------
    work : Work
    kerf_mm : float
        0 leaves net geometry. Otherwise the paths are offset by half of it, away from the part.
    lead_in_mm : float
        0 leaves closed outlines. Otherwise each path starts this far off, in the scrap, where there is room.

    Raises
    ------
    ValueError
        If the kerf would close a hole.
    """
    drawings = cutting_drawings(work, kerf_mm=kerf_mm, lead_in_mm=lead_in_mm)
    files = {}
    for name, drawing in drawings.items():
        files[f"cutting/{name}-mm.dxf"] = to_dxf(drawing, "R2010")
        files[f"cutting/r12/{name}-mm-r12.dxf"] = to_dxf(drawing, "R12")
    return files


def to_dxf(drawing: Drawing, version: str = "R2010") -> bytes:
    """The drawing as a DXF file of that version, "R2010" or "R12"."""
    if version not in VERSIONS:
        raise ValueError(f"DXF version {version!r} is not written here; one of {', '.join(VERSIONS)}.")
    with _quiet_clock():
        import ezdxf
        from ezdxf import units

        doc: Any = ezdxf.new(version)
        doc.units = units.MM if version != "R12" else 0  # R12 has no place for a unit
        if version != "R12":
            doc.units = units.MM
            doc.header["$MEASUREMENT"] = 1
            doc.header["$LUNITS"] = 2
        used = {item.layer for item in drawing.items}
        for key, layer in LAYERS.items():
            if key in used:  # an empty layer only raises questions
                doc.layers.add(layer.name, color=layer.colour)
        space = doc.modelspace()
        for item in drawing.items:
            if isinstance(item, Line):
                _add_line(space, item, old=version == "R12")
            else:
                _add_words(space, item)
        low, high = _extents(drawing)
        space.reset_extents((*low, 0.0), (*high, 0.0))  # the library writes the header's from these
        doc.header["$EXTMIN"], doc.header["$EXTMAX"] = (*low, 0.0), (*high, 0.0)
        stream = io.StringIO()
        doc.write(stream)
        return stream.getvalue().encode(doc.output_encoding, errors="dxfreplace")


@contextmanager
def _quiet_clock() -> Iterator[None]:
    """Have the library write fixed dates and ids, not the clock's, and keep still about R12's units."""
    import logging

    import ezdxf

    log = logging.getLogger("ezdxf")
    before, level = ezdxf.options.write_fixed_meta_data_for_testing, log.level
    ezdxf.options.write_fixed_meta_data_for_testing = True
    log.setLevel(logging.ERROR)
    try:
        yield
    finally:
        ezdxf.options.write_fixed_meta_data_for_testing = before
        log.setLevel(level)


def _add_line(space: Any, item: Line, *, old: bool) -> None:
    """A path as one polyline, or as a plain line where it is one."""
    path, attributes = item.path, {"layer": LAYERS[item.layer].name}
    points = np.round(path.points, 6).tolist()
    if not path.closed and len(points) == 2 and path.bulges[0] == 0:
        space.add_line(*points, dxfattribs=attributes)
        return
    rows = [(*point, float(bulge)) for point, bulge in zip(points, path.bulges, strict=True)]
    add = space.add_polyline2d if old else space.add_lwpolyline
    add(rows, format="xyb", close=path.closed, dxfattribs=attributes)


def _add_words(space: Any, item: Words) -> None:
    from ezdxf.enums import TextEntityAlignment

    align = TextEntityAlignment.MIDDLE_CENTER if item.middle else TextEntityAlignment.LEFT
    attributes = {"layer": LAYERS[item.layer].name, "height": round(item.height, 3), "rotation": item.turn}
    text = space.add_text(plain(item.text), dxfattribs=attributes)
    text.set_placement((round(item.at[0], 4), round(item.at[1], 4)), align=align)


def _extents(drawing: Drawing) -> tuple[tuple[float, float], tuple[float, float]]:
    """Lower left and upper right corner of all paths, mm."""
    corners = [item.path.dense(0.05) for item in drawing.items if isinstance(item, Line)]
    low = np.min([c.min(axis=0) for c in corners], axis=0).round(3)
    high = np.max([c.max(axis=0) for c in corners], axis=0).round(3)
    return (float(low[0]), float(low[1])), (float(high[0]), float(high[1]))
