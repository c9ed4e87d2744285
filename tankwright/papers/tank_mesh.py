"""The tank's outer surface packed for the page's viewer: whole numbers, base 64, small enough to mail.

Packed as: points as three 16-bit whole numbers each over the bounding box; faces as three indexes each, 16 bits
where they fit and 32 where not, sorted by group; groups as how many faces each has. Little end first.
"""

from __future__ import annotations

import base64
from typing import TYPE_CHECKING, Any

import numpy as np

from .svg import HATCHES

if TYPE_CHECKING:
    from collections.abc import Sequence

    from panels.body import Body

    from .tank_svg import Group

__all__ = ["packed_tank"]

#: Most faces that go into the page; finer meshes are thinned, which the eye does not see and no figure uses.
MOST_FACES = 24_000


def packed_tank(body: Body, groups: Sequence[Group]) -> dict[str, Any]:
    """What the viewer reads: base 64 of points and faces, bounds, and each group's label, faces and hatch."""
    order = np.concatenate([group.faces for group in groups])
    label = np.repeat(np.arange(len(groups)), [len(group.faces) for group in groups])
    points, faces, label = _thinned(body.outer, body.faces[order], label)
    used, index = np.unique(faces.ravel(), return_inverse=True)
    points = points[used]
    low = points.min(axis=0)
    span = np.maximum(np.ptp(points, axis=0), 1e-6)
    whole = np.round((points - low) / span * 65535).astype("<u2")
    wide = "<u2" if len(points) < 65536 else "<u4"
    return {
        "low": [round(float(v), 3) for v in low],
        "span": [round(float(v), 3) for v in span],
        "points": base64.b64encode(whole.tobytes()).decode("ascii"),
        "faces": base64.b64encode(index.reshape(-1, 3).astype(wide).tobytes()).decode("ascii"),
        "wide": wide == "<u4",
        "groups": [
            {"label": group.label, "faces": int((label == k).sum()), "hatch": list(HATCHES[k % len(HATCHES)])}
            for k, group in enumerate(groups)
        ],
    }


def _thinned(points: np.ndarray, faces: np.ndarray, label: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The mesh with points drawn together on a grid, coarser until it has few enough faces."""
    cell = float(np.ptp(points, axis=0).max()) / 400
    made, kept, groups = points, faces, label
    while len(kept) > MOST_FACES:
        key = np.round(points / cell).astype(np.int64)
        _, first, inverse = np.unique(key, axis=0, return_index=True, return_inverse=True)
        made = points[first]
        kept = inverse.reshape(-1)[faces]
        full = (kept[:, 0] != kept[:, 1]) & (kept[:, 1] != kept[:, 2]) & (kept[:, 2] != kept[:, 0])
        kept, groups = kept[full], label[full]
        cell *= 1.25
    return made, kept, groups
