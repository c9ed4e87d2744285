"""The outside of the finished tank as a binary STL, for a look or a printed model.

The format carries no unit; by custom the numbers are millimetres, and the header says so. Layout after the
StereoLithography Interface Specification, 3D Systems (1988): 80 bytes of header, a count, and for each face
its normal, its three corners and two spare bytes.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from .names import plain

if TYPE_CHECKING:
    from ..work import Work

__all__ = ["stl_file"]

_FACE = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("spare", "<u2")])


def stl_file(work: Work) -> dict[str, bytes]:
    """``body.stl``: the closed outer surface, x rearwards, y to the rider's right, z up, in mm."""
    corners = work.body.outer[work.body.faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    faces = np.zeros(len(corners), dtype=_FACE)
    faces["normal"] = normal / np.maximum(np.linalg.norm(normal, axis=1), 1e-30)[:, None]
    faces["corners"] = corners
    # A header that begins with "solid" would be taken for the text form of the format.
    head = f"mm; outside of {plain(work.job.name)}, revision {plain(work.job.revision) or 'none'}"
    return {"body.stl": head.encode("ascii")[:80].ljust(80) + np.uint32(len(faces)).tobytes() + faces.tobytes()}
