"""Patterns of simple bodies whose volume is known in closed form, and a tank with everything on it."""

from __future__ import annotations

import numpy as np

from panels.curves import curve_through
from panels.patterns import Patterns, PlanPattern, SectionShape, SidePattern, TunnelPattern


def side(top, bottom, widest, frame=None, **corners) -> SidePattern:
    """A side pattern from point lists; end runs are straight. Keywords: ``straight=True`` for polylines."""
    straight = corners.get("straight", False)
    lines = {"widest": curve_through("widest", widest, straight=straight)}
    if frame is not None:
        lines["frame"] = curve_through("frame", frame, straight=True)
    return SidePattern(
        curve_through("top", top, straight=straight),
        curve_through("bottom", bottom, straight=straight),
        curve_through("front", [bottom[0], top[0]], straight=True),
        curve_through("rear", [bottom[-1], top[-1]], straight=True),
        lines,
    )


def plan(half, line="widest", **how) -> PlanPattern:
    return PlanPattern("plan", line, curve_through("plan", half, mirror_axis=1, **how))


def box(length=400.0, width=200.0, height=150.0, tunnel: TunnelPattern | None = None, frame_z=50.0) -> Patterns:
    """A square box, its lower edge its widest line, with or without a tunnel along the floor."""
    ends = ([[0, height], [length, height]], [[0, 0], [length, 0]])
    shape = SectionShape(crown_fullness=1 - 1e-9, lower_share=1.0)
    return Patterns(
        side(*ends, [[0, 0], [length, 0]], [[0, frame_z], [length, frame_z]], straight=True),
        (plan([[0, 0], [0, width / 2], [length, width / 2], [length, 0]], straight=True),),
        tunnel,
        shape=shape,
    )


def elliptic_cylinder(length=400.0, width=220.0, height=160.0) -> Patterns:
    """An elliptic barrel along x, closed by flat ends."""
    middle = height / 2
    shape = SectionShape(lower_lean_deg=90.0, lower_share=0.0)
    return Patterns(
        side([[0, height], [length, height]], [[0, 0], [length, 0]], [[0, middle], [length, middle]], straight=True),
        (plan([[0, 0], [0, width / 2], [length, width / 2], [length, 0]], straight=True),),
        shape=shape,
    )


def half_ellipsoid(a=250.0, b=120.0, c=140.0, points=61) -> Patterns:
    """The upper half of an ellipsoid with half axes a along, b out, c up, standing on its flat."""
    t = np.linspace(0, np.pi, points)
    arc = np.column_stack([a - a * np.cos(t), c * np.sin(t)])
    half = np.column_stack([a - a * np.cos(t), b * np.sin(t)])
    for curve in (arc, half):
        curve[[0, -1], 1] = 0.0
    floor = [[0, 0], [2 * a, 0]]
    pattern = SidePattern(
        curve_through("top", arc, mirror_axis=1),
        curve_through("bottom", floor),
        curve_through("front", [[0, 0], [0, 0]], straight=True),
        curve_through("rear", [[2 * a, 0], [2 * a, 0]], straight=True),
        {"widest": curve_through("widest", floor)},
    )
    return Patterns(pattern, (plan(half),), shape=SectionShape(lower_share=1.0))


def saddle_tank(seed: int | None = None) -> Patterns:
    """A tank with round nose, raked square tail and tunnel; with a seed, one of many of that kind."""
    r = np.random.default_rng(0 if seed is None else seed)
    grow = (lambda low, high: 1.0) if seed is None else (lambda low, high: r.uniform(low, high))
    long, high, wide = 540 * grow(0.8, 1.2), 170 * grow(0.85, 1.2), 133 * grow(0.8, 1.15)
    rake = -28 * grow(-0.5, 1.5)
    top = [
        [0, 0.45],
        [0.008, 0.61],
        [0.035, 0.75],
        [0.1, 0.88],
        [0.26, 0.985],
        [0.46, 1.02],
        [0.64, 0.97],
        [0.83, 0.85],
    ]
    top = [[x * long, z * high] for x, z in top] + [[long + rake, 0.71 * high]]
    bottom = [[0.01 * long, 26], [0.2 * long, 10], [0.46 * long, 3], [0.74 * long, 9], [long, 27]]
    rear_x = long + rake * (0.43 * high - 27) / (0.71 * high - 27)
    widest = [[0, 0.45 * high], [0.26 * long, 0.49 * high], [0.52 * long, 0.48 * high], [rear_x, 0.43 * high]]
    pattern = side(top, bottom, widest, [[0, 0.36 * high], [long, 0.3 * high]])
    run = pattern.lines["widest"].length
    half = [[0, 0], [0.008, 0.22], [0.034, 0.47], [0.13, 0.78], [0.25, 0.93], [0.4, 1], [0.57, 0.97], [0.74, 0.86]]
    half = [[s * run, y * wide] for s, y in half] + [[run, 0.62 * wide], [run, 0]]
    shape = SectionShape(0.46, 0.45, crown_lean_deg=14 * grow(0, 1), lower_lean_deg=50, lower_share=0.8)
    tunnel = TunnelPattern(38, 38 * grow(0.7, 1.0), 19, 10)
    return Patterns(pattern, (plan(half, corners=[8, 9]),), tunnel, shape=shape)
