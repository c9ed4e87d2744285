"""The neck relief: a round cut about the steering axis through everything it meets, and its wall.

Words used here
    axis      the steering axis, in the centre plane; leans back from the upright by ``axis_deg``
    behind    distance from the axis rearwards, square to it in the side view, mm; negative ahead of it
    ruling    a line on the wall along the axis
    facet     the flat between two rulings

The wall is a prism whose facets miss the true cylinder by no more than `SAGITTA_MM`. Every vertex of the
wall lies in a facet and no edge of it crosses a ruling, so it unrolls without any strain. Ahead of the axis
the wall runs on straight: the cut is as wide there as it is at the axis.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from .cutting_mesh import FlaggedMesh, cut_along
from .errors import TrimError
from .openings import NECK, RULES
from .patterns import NeckRelief, Patterns

__all__ = ["Neck", "neck_of", "trim_by_neck"]

#: Most that a facet may miss the cylinder by, mm.
SAGITTA_MM = 0.03


@dataclass(frozen=True)
class Neck:
    """The relief as a shape."""

    pattern: NeckRelief

    @cached_property
    def turns(self) -> np.ndarray:
        """Angle of each ruling about the axis (n + 1,), radians: 0 in the centre plane, then out to the side."""
        widest = 2 * np.arccos(max(1 - SAGITTA_MM / self.pattern.radius, 0.9))
        return np.linspace(0.0, np.pi / 2, max(6, int(np.ceil(np.pi / 2 / widest))) + 1)

    @cached_property
    def rulings(self) -> np.ndarray:
        """Where each ruling runs, (n + 1, 2): behind the axis, and out from the centre plane, mm."""
        at = self.pattern.radius * np.column_stack([np.cos(self.turns), np.sin(self.turns)])
        at[0, 1] = at[-1, 0] = 0.0
        return at

    @property
    def directions(self) -> np.ndarray:
        """Unit vectors (2, 2) of the side view: rearwards of the axis, and up along it."""
        lean = np.radians(self.pattern.axis_deg)
        return np.array([[np.cos(lean), -np.sin(lean)], [np.sin(lean), np.cos(lean)]])

    def behind(self, x: np.ndarray, z: np.ndarray) -> np.ndarray:
        """How far points (x, z) of the side view lie behind the axis, mm."""
        along, _ = self.directions
        return (x - self.pattern.at[0]) * along[0] + (z - self.pattern.at[1]) * along[1]

    def side_view(self, behind: np.ndarray, up: np.ndarray) -> np.ndarray:
        """Points (n, 2) of the side view that far behind the axis and up along it."""
        along, rise = self.directions
        return self.pattern.at + np.multiply.outer(behind, along) + np.multiply.outer(up, rise)

    def half(self, x: np.ndarray, z: np.ndarray) -> np.ndarray:
        """Half width of the cut at points (x, z) of the side view, mm; 0 where there is none."""
        behind, out = self.rulings[::-1].T
        return np.interp(self.behind(x, z), behind, out)

    def excess(self, p: np.ndarray) -> np.ndarray:
        """How far points (n, 3), y >= 0, lie outside the facet they face; 0 on the wall, negative in the cut."""
        behind, out = self.behind(p[:, 0], p[:, 2]), p[:, 1]
        step = self.turns[1]
        k = np.clip(np.arctan2(out, behind) // step, 0, len(self.turns) - 2)
        middle = (k + 0.5) * step
        facet = behind * np.cos(middle) + out * np.sin(middle) - self.pattern.radius * np.cos(step / 2)
        return np.where(behind >= 0, facet, (out - self.pattern.radius) * np.cos(step / 2))


def neck_of(patterns: Patterns) -> Neck | None:
    """The neck relief, or None where the job has none."""
    return None if patterns.neck is None else Neck(patterns.neck)


def _refuse(neck: Neck, mesh: FlaggedMesh) -> None:
    """Reliefs that leave no tank to close."""
    x, y, z = mesh.vertices.T
    behind, radius = neck.behind(x, z), neck.pattern.radius
    if behind.min() >= radius - 0.01:
        raise TrimError(
            "The neck relief does not touch the tank.\n"
            f"  nearest point of the tank  {behind.min():.1f} mm behind the steering axis\n"
            f"  radius of the relief       {radius:.1f} mm\n"
            "hint: check the point on the axis and its lean, or leave the relief out",
            nearest=float(behind.min()),
            radius=radius,
        )
    reached = behind < radius
    if reached.all():
        raise TrimError(
            "The neck relief would cut away the whole tank.\n"
            f"  rearmost point of the tank  {behind.max():.1f} mm behind the steering axis\n"
            f"  radius of the relief        {radius:.1f} mm\n"
            "hint: the axis belongs at the front of the tank; check its x and its lean",
            rearmost=float(behind.max()),
            radius=radius,
        )
    wide = y[reached].max()
    if behind.min() < 0 and wide <= radius:
        raise TrimError(
            "The neck relief swallows the whole width of the tank.\n"
            f"  tank in front of the relief's rear  {2 * wide:.1f} mm wide at most\n"
            f"  relief                              {2 * radius:.1f} mm wide\n"
            "hint: a smaller radius, or carry the axis forward to where the tank begins",
            width=2 * float(wide),
            relief=2 * radius,
        )


def _refuse_rear(neck: Neck, rear: np.ndarray) -> None:
    behind = neck.behind(rear[:, 0], rear[:, 2])
    if len(behind) and behind.min() < neck.pattern.radius:
        raise TrimError(
            "The neck relief reaches the rear end of the tank.\n"
            f"  nearest point of the rear end  {behind.min():.1f} mm behind the steering axis\n"
            f"  radius of the relief           {neck.pattern.radius:.1f} mm\n"
            "hint: the axis belongs at the front of the tank; check its x and its lean",
            nearest=float(behind.min()),
            radius=neck.pattern.radius,
        )


def trim_by_neck(mesh: FlaggedMesh, neck: Neck, rear: np.ndarray) -> FlaggedMesh:
    """The skin without the part that would lie inside the relief, its new edge flagged.

    ``rear`` (n, 3) are the points of the rear edge, which the relief may not reach.

    Raises
    ------
    TrimError
        Where the relief misses the tank, swallows its width, or reaches its rear end.
    """
    _refuse(neck, mesh)
    _refuse_rear(neck, rear)
    mesh = _ruled(mesh, neck)
    mesh, value, _ = cut_along(mesh, neck.excess(mesh.vertices), NECK)
    keep = value[mesh.faces].sum(axis=1) > 0
    used, faces = np.unique(mesh.faces[keep], return_inverse=True)
    flags = np.where(mesh.flags & NECK > 0, mesh.flags, mesh.flags & ~(RULES[0] | RULES[1]))
    return FlaggedMesh(mesh.vertices[used], faces.reshape(-1, 3), flags[used])


def _ruled(mesh: FlaggedMesh, neck: Neck) -> FlaggedMesh:
    """The skin cut near the wall by the planes of its rulings through the axis: no edge of it that the
    wall will cut spans two facets."""
    radius = neck.pattern.radius

    def near(m: FlaggedMesh, reach: float) -> np.ndarray:
        behind = neck.behind(m.vertices[:, 0], m.vertices[:, 2])
        return (np.abs(np.hypot(np.maximum(behind, 0), m.vertices[:, 1]) - radius) < reach) & (behind > -reach)

    edges = mesh.edges()
    length = np.linalg.norm(mesh.vertices[edges[:, 0]] - mesh.vertices[edges[:, 1]], axis=1)
    reach = 1.5 * float(length[near(mesh, 2 * radius)[edges].any(axis=1)].max(initial=1.0))
    mine = near(mesh, reach)[mesh.faces].any(axis=1)
    rest, part = mesh.faces[~mine], FlaggedMesh(mesh.vertices, mesh.faces[mine], mesh.flags)
    for k, turn in enumerate(neck.turns[1:]):
        behind = neck.behind(part.vertices[:, 0], part.vertices[:, 2])
        value = part.vertices[:, 1] * np.cos(turn) - behind * np.sin(turn)
        if k == len(neck.turns) - 2:
            value = -behind
        part, _, _ = cut_along(part, value, RULES[k % 2], only=near(part, reach))
    return FlaggedMesh(part.vertices, np.vstack([rest, part.faces]), part.flags)
