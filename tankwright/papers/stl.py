"""The body's outer surface as a binary STL: little-endian, 80 bytes of words, a count, 50 bytes a triangle.

STL has no place for a unit: the words at its head say mm. Layout as in the 1989 interface specification of
the format, from memory.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from .names import plain

if TYPE_CHECKING:
    from panels.body import Body

__all__ = ["stl"]

HEAD_BYTES = 80
_TRIANGLE = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("extra", "<u2")])


def stl(body: Body, title: str = "") -> bytes:
    """Vertices (n, 3) mm and faces (m, 3) of the outer surface, as bytes; the same body gives the same bytes.

    Normals point away from the fuel. ``title`` follows the words "outer surface, mm" at the head, cut to fit.
    """
    vertices, faces = body.mesh
    # Rounded to what the file holds first, so that a corner is the same number in every triangle it is in.
    corners = np.asarray(vertices, dtype="<f4")[np.asarray(faces)]
    wide = corners.astype(float)
    normal = np.cross(wide[:, 1] - wide[:, 0], wide[:, 2] - wide[:, 0])
    length = np.linalg.norm(normal, axis=1, keepdims=True)
    normal = np.divide(normal, length, out=np.zeros_like(normal), where=length > 0)
    rows = np.zeros(len(corners), dtype=_TRIANGLE)
    rows["normal"], rows["corners"] = normal, corners
    head = plain(f"Tankwright body, outer surface, mm {title}").encode("ascii")[:HEAD_BYTES]
    return head.ljust(HEAD_BYTES) + np.array(len(rows), dtype="<u4").tobytes() + rows.tobytes()
