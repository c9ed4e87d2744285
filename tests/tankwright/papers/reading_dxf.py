"""Reading cutting files back: what a general DXF reader finds, as lines and arcs."""

from __future__ import annotations

import io

import numpy as np
from ezdxf import recover

from tankwright.papers.look import LAYERS
from tankwright.papers.outline import Path

CUT, LATER = LAYERS["cut"].name, LAYERS["later"].name


def read_dxf(content: bytes):
    doc, auditor = recover.read(io.BytesIO(content))
    return doc, auditor


def path_of(entity) -> Path:
    """Any of the polylines of a file as lines and arcs."""
    if entity.dxftype() == "LWPOLYLINE":
        rows = np.array(entity.get_points("xyb"))
    elif entity.dxftype() == "POLYLINE":
        rows = np.array([(v.dxf.location.x, v.dxf.location.y, v.dxf.get("bulge", 0.0)) for v in entity.vertices])
    else:
        rows = np.array([(p.x, p.y, 0.0) for p in (entity.dxf.start, entity.dxf.end)])
        return Path(rows[:, :2], rows[:, 2], False)
    return Path(rows[:, :2], rows[:, 2], bool(entity.is_closed))


def cut_paths(doc) -> list[Path]:
    """What is cut, at once or after the bend test."""
    return [path_of(e) for layer in (CUT, LATER) for e in doc.modelspace() if e.dxf.layer == layer]
