"""Whether a side pattern is one outline: its four runs meet, its lines lie on it, its unit can be right.

Only what must hold for the pattern to be a pattern; whether it agrees with the other patterns is for
``panels`` to say.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Protocol

import numpy as np

from panels.curves import Curve, curve_through

from .fields import LONGEST_TANK_MM, SHORTEST_TANK_MM, Fault, Setting, unit_hint
from .sources import PointSet
from .units import show_length

__all__ = ["run_curve", "short_lines", "side_faults", "side_runs"]

#: How far apart two runs may be read where they meet, mm: about a pencil line on card.
#: Common practice, no source.
MEET_MM = 1.5
#: How far the widest line may be read outside the outline, mm. Common practice, no source.
OUTSIDE_MM = 3.0
#: A line that stops shorter of an end than this, mm, reaches it. Common practice, no source.
SHORT_MM = 1.0


class _Side(Protocol):
    """The parts of a side section that are looked at here."""

    @property
    def top(self) -> PointSet: ...
    @property
    def bottom(self) -> PointSet: ...
    @property
    def front(self) -> PointSet | None: ...
    @property
    def rear(self) -> PointSet | None: ...
    @property
    def lines(self) -> Mapping[str, PointSet]: ...


def run_curve(name: str, p: PointSet) -> Curve:
    """The curve of a run or line."""
    return curve_through(name, p.points, corners=p.corners)


def side_runs(side: _Side) -> dict[str, Curve]:
    """The four runs as curves, end runs moved onto the ends of top and bottom, straight where not given."""
    top, bottom = run_curve("top", side.top), run_curve("bottom", side.bottom)
    runs = {"top": top, "bottom": bottom}
    for name, given, end in (("front", side.front, 0), ("rear", side.rear, -1)):
        foot, head = bottom.points[end], top.points[end]
        if given is None:
            runs[name] = curve_through(name, [foot, head])
        else:
            points = np.vstack([foot, given.points[1:-1], head])
            runs[name] = curve_through(name, points, corners=given.corners)
    return runs


def side_faults(side: _Side, setting: Setting) -> list[Fault]:
    """Everything that keeps a side pattern from being one outline; no faults, no trouble."""
    faults = _length_faults(side, setting) + _end_faults(side, setting)
    if faults:
        return faults
    faults = _over_faults(side, setting)
    if faults:
        return faults
    runs = side_runs(side)
    for name, points in side.lines.items():
        faults += _line_faults(name, points, runs, setting)
    return faults


def _length_faults(side: _Side, setting: Setting) -> list[Fault]:
    """The tank is as long as a tank can be."""
    x = np.concatenate([side.top.points[:, 0], side.bottom.points[:, 0]])
    long = float(np.ptp(x))
    if SHORTEST_TANK_MM <= long <= LONGEST_TANK_MM or not setting.sure:
        return []
    found = f"{show_length(long, setting.unit)}, read as {'mm' if setting.unit == 'mm' else 'inches'}"
    hint = unit_hint(long, setting.unit, SHORTEST_TANK_MM, LONGEST_TANK_MM) or "check the points of top and bottom"
    size = "short" if long < SHORTEST_TANK_MM else "long"
    allowed = f"{SHORTEST_TANK_MM:g} to {LONGEST_TANK_MM:g} mm"
    return [Fault(f"the tank is too {size}", found, allowed, hint, at=("top",))]


def _end_faults(side: _Side, setting: Setting) -> list[Fault]:
    """The end runs begin on the bottom and end on the top."""
    faults = []
    for name, given, end in (("front", side.front, 0), ("rear", side.rear, -1)):
        if given is None:
            continue
        for run, mine, index in ((side.bottom, 0, 0), (side.top, -1, len(given.points) - 1)):
            apart = float(np.linalg.norm(given.points[mine] - run.points[end]))
            if apart > MEET_MM:
                which = "bottom" if run is side.bottom else "top"
                here, there = _pair(given.points[mine], setting), _pair(run.points[end], setting)
                place = given.fault(
                    index,
                    f"the {name} run does not meet the {which}",
                    f"{here}; the {which} ends at {there}, {show_length(apart, setting.unit)} away",
                    f"within {MEET_MM:g} mm",
                    f"let the {name} run go from the end of the bottom up to the end of the top",
                )
                faults.append(Fault(**{**vars(place), "at": (name, *place.at)}))
    return faults


def _pair(point: np.ndarray, setting: Setting) -> str:
    return ", ".join(f"{name} = {show_length(float(v), setting.unit)}" for name, v in zip("xz", point, strict=True))


def _overlap(a: np.ndarray, b: np.ndarray) -> tuple[float, float]:
    """The x that two runs share."""
    return float(max(a[:, 0].min(), b[:, 0].min())), float(min(a[:, 0].max(), b[:, 0].max()))


def _over_faults(side: _Side, setting: Setting) -> list[Fault]:
    """The top runs over the bottom all the way, and the ends do not pass one another."""
    top, bottom = run_curve("top", side.top), run_curve("bottom", side.bottom)
    low, high = _overlap(top.dense, bottom.dense)
    whole = float(np.ptp(np.concatenate([top.dense[:, 0], bottom.dense[:, 0]])))
    if high - low < 0.25 * whole:
        a, b = (_span(curve.points, setting) for curve in (top, bottom))
        says = "top and bottom do not lie over one another"
        hint = "read both from the same register mark"
        return [Fault(says, f"top from {a}; bottom from {b}", "the same stretch of x", hint, at=("bottom",))]
    x = np.linspace(low, high, 402)[1:-1]
    gap = top.second_at(x) - bottom.second_at(x)
    if np.all(gap > 0):
        return _ends_apart(side, setting)
    worst = int(gap.argmin())
    at, over, under = (
        show_length(float(x[worst]), setting.unit),
        *(_z(c, x[worst], setting) for c in (top, bottom)),
    )
    found = f"at x = {at} the top is at z = {over}, the bottom at {under}"
    if np.all(gap < 0):
        says, hint = "top and bottom are exchanged", "exchange the two, or measure z upwards"
    else:
        says, hint = "top and bottom cross one another", "check the points near there; z is measured upwards"
    return [Fault(says, found, "the top over the bottom all the way", hint, at=("top",))]


def _z(curve: Curve, x: float, setting: Setting) -> str:
    return show_length(float(curve.second_at(x)), setting.unit)


def _span(points: np.ndarray, setting: Setting) -> str:
    first, last = (show_length(float(v), setting.unit) for v in (points[0, 0], points[-1, 0]))
    return f"{first} to {last}"


def _ends_apart(side: _Side, setting: Setting) -> list[Fault]:
    runs = side_runs(side)
    front, rear = float(runs["front"].dense[:, 0].max()), float(runs["rear"].dense[:, 0].min())
    if front < rear:
        return []
    found = f"front reaches x = {show_length(front, setting.unit)}, rear x = {show_length(rear, setting.unit)}"
    hint = "check the ends of top and bottom, and the front and rear runs if given"
    return [Fault("front and rear pass one another", found, "the front before the rear", hint, at=("top",))]


def short_lines(
    side: _Side, most_mm: float, unit: str, closed: tuple[float | None, float | None] = (None, None)
) -> list[str]:
    """What is to be said of the frame and widest lines that stop short of an end and are carried on straight.

    ``closed`` are the x beyond which no frame line is needed. A widest line more than ``most_mm`` short is left
    to the check of the patterns, which stops there.
    """
    runs, notes = side_runs(side), []
    for name in (line for line in ("frame", "widest") if line in side.lines):
        points = side.lines[name].points
        for end, run, sign, stop in ((0, "front", 1.0, closed[0]), (-1, "rear", -1.0, closed[1])):
            x, z = (float(v) for v in points[end])
            d = runs[run].dense
            short = sign * (x - float(np.interp(z, d[:, 1], d[:, 0])))
            needed = name == "widest" or stop is None or sign * (x - stop) > 0
            if needed and short > SHORT_MM and (name == "frame" or short <= most_mm):
                notes.append(
                    f"side pattern, line {name}: it stops {show_length(short, unit)} short of the {run} run "
                    f"at x = {show_length(x, unit)} and was carried on straight"
                )
    return notes


def _line_faults(name: str, p: PointSet, runs: dict[str, Curve], setting: Setting) -> list[Fault]:
    """A line runs between bottom and top; the widest line also ends on the ends."""
    line = run_curve(name, p)
    low, high = _overlap(runs["top"].dense, runs["bottom"].dense)
    x = np.linspace(max(low, p.points[0, 0]), min(high, p.points[-1, 0]), 401)
    if x[-1] < x[0]:
        return [_beside_the_tank(name, p, (low, high), setting)]
    faults = []
    for run, sign in (("top", 1.0), ("bottom", -1.0)):
        over = sign * (line.second_at(x) - runs[run].second_at(x))
        worst = int(over.argmax())
        if over[worst] > OUTSIDE_MM:
            at, z = float(x[worst]), float(line.second_at(x[worst]))
            found = (
                f"z = {show_length(z, setting.unit)} at x = {show_length(at, setting.unit)}, where the {run} "
                f"is at {_z(runs[run], at, setting)}"
            )
            side = "over the top" if sign > 0 else "under the bottom"
            hint = "check the points near there; z is measured up from the register line"
            faults.append(Fault(f"the line runs {side}", found, "between bottom and top", hint, ("lines", name)))
    if name == "widest" and not faults:
        faults += _widest_faults(p, runs, setting)
    return faults


def _beside_the_tank(name: str, p: PointSet, span: tuple[float, float], setting: Setting) -> Fault:
    low, high = (show_length(v, setting.unit) for v in span)
    hint = "x is measured rearwards from the front register mark"
    says, found = "the line lies beside the tank", f"x from {_span(p.points, setting)}"
    return Fault(says, found, f"x between {low} and {high}", hint, ("lines", name))


def _widest_faults(p: PointSet, runs: dict[str, Curve], setting: Setting) -> list[Fault]:
    """The widest line reaches from the front run to the rear run, and no further."""
    faults = []
    for end, run, sign in ((0, "front", -1.0), (-1, "rear", 1.0)):
        x, z = (float(v) for v in p.points[end])
        d = runs[run].dense
        outside = sign * (x - float(np.interp(z, d[:, 1], d[:, 0])))
        if outside > OUTSIDE_MM:
            found = f"x = {show_length(x, setting.unit)}, {show_length(outside, setting.unit)} beyond the {run}"
            hint = f"let the widest line end on the {run} run"
            index = 0 if end == 0 else len(p.points) - 1
            says = f"the widest line runs out of the {run}"
            allowed = f"within {OUTSIDE_MM:g} mm of the {run} run"
            faults.append(Fault(says, found, allowed, hint, ("lines", "widest", index)))
    return faults
