"""What to say of a tank's bump-outs: the fuel room each takes or gives, and whether it clears what it is there for."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from .body import Body
from .bump_out import bump_out_hands, bump_out_pieces, bump_out_shift, bump_out_title
from .cutting_mesh import boundary_edges
from .findings import Finding, Show, in_mm
from .fit import clearance_gap
from .measure import signed_volume

__all__ = ["bump_out_volume", "bump_outs_found"]


def _patch(body: Body, number: int, hand: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Faces of a bump-out and of its wall, and for each vertex of the face the one it was moved off (n,): the rim's
    own, or itself where it has none."""
    begins, ends = bump_out_pieces(body.patterns, number, hand)
    face = body.faces_of(f"{begins} face{ends}")
    wall = np.vstack([body.faces_of(n) for n in body.pieces if n.startswith(f"{begins} wall") and n.endswith(ends)])
    off = np.arange(len(body.outer))
    edge = np.unique(boundary_edges(face))
    rim = np.setdiff1d(wall, edge)
    shift = bump_out_shift(body.patterns.bump_outs[number], hand)
    apart = np.linalg.norm(body.shell.vertices[edge][:, None] - shift - body.shell.vertices[rim], axis=2)
    off[edge] = rim[np.argmin(apart, axis=1)]
    return face, wall, off


def bump_out_volume(body: Body, number: int) -> float:
    """Fuel room that a bump-out takes, mm3, both hands together; negative where it gives room."""
    bump, taken = body.patterns.bump_outs[number], 0.0
    for hand in bump_out_hands(bump):
        face, wall, off = _patch(body, number, hand)
        before = body.inner.copy()
        inner = face[off[face] == face]
        before[inner] -= bump_out_shift(bump, hand)
        taken += signed_volume(before, off[face]) - signed_volume(body.inner, np.vstack([face, wall]))
    return taken


def _without(body: Body, number: int) -> Body:
    """The body with a bump-out pressed flat again."""
    bump, outer = body.patterns.bump_outs[number], body.outer.copy()
    for hand in bump_out_hands(bump):
        face, _, _ = _patch(body, number, hand)
        used = np.unique(face)
        outer[used] -= bump_out_shift(bump, hand)
    return replace(body, outer=outer)


def bump_outs_found(body: Body, *, show: Show = in_mm) -> tuple[Finding, ...]:
    """A note of what each bump-out costs; a look where one that is there for something does not clear it."""
    told: list[Finding] = []
    things = {thing.name: thing for thing in body.patterns.clearances}
    for number, bump in enumerate(body.patterns.bump_outs):
        litres, title = bump_out_volume(body, number) / 1e6, bump_out_title(bump)
        what = f"takes {litres:.2f} L" if litres >= 0 else f"gives {-litres:.2f} L"
        way = "into" if bump.depth > 0 else "out of"
        sides = {"both": ", on both sides", "": ""}.get(bump.hand, f", on the {bump.hand}")
        sides = "" if bump_out_hands(bump) == ("",) else sides
        x = float(bump.outline[:, 0].mean())
        says = f"{title}: {show(abs(bump.depth))} {way} the tank{sides}, {what}"
        thing = things.get(bump.clears)
        if thing is None:
            told.append(Finding("note", title, says, at_mm=x))
            continue
        gap, before = clearance_gap(body, thing)[0], clearance_gap(_without(body, number), thing)[0]
        bare = f"{show(before)} from it" if before >= 0 else f"{show(-before)} into it"
        here = (
            f"{show(gap)} from {thing.name} where it comes nearest, {bare} without the bump-out, where that comes "
            "nearest: two places, so that the depth is not their sum"
        )
        if gap >= thing.gap:
            told.append(Finding("note", title, f"{says}; {here}", at_mm=x))
        else:
            told.append(
                Finding(
                    "look",
                    title,
                    f"{title} does not clear {thing.name}",
                    here,
                    f"{show(thing.gap)} wanted",
                    x,
                    f"make it {show(thing.gap - gap)} deeper or more, or larger where the gap is smallest",
                )
            )
    return tuple(told)
