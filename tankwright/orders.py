"""The way a pattern's points must run, and the pydantic fields that hold them to it.

front to rear   x rises from point to point: top, bottom and the lines of the side pattern
bottom to top   z rises: the front and rear runs
plan            a half outline from front to rear; where it is left open it is closed square
section         a half outline from the top at the centre plane down to the lower edge
outline         all the way round; the first point need not be repeated
path            any way: a seam
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Annotated

import numpy as np
from pydantic import PlainValidator, ValidationInfo

from .fields import LONGEST_TANK_MM, Fault, Setting, Trouble, setting_of, unit_hint
from .sources import MOST_FAULTS, Columns, PointSet, read_points
from .units import show_length

__all__ = [
    "ORDERS",
    "EndPoints",
    "OutlinePoints",
    "PlanPoints",
    "RunPoints",
    "SectionPoints",
    "points_field",
]

#: Two points nearer than this, mm, are one point written twice.
SAME_MM = 0.01


def _rising(p: PointSet, setting: Setting, axis: int, way: str) -> list[Fault]:
    """Faults where a coordinate does not rise from point to point."""
    step = np.diff(p.points[:, axis])
    wrong = np.flatnonzero(step <= 0)
    name = p.columns[axis]
    if len(wrong) == len(step) and len(step) > 1:
        first, last = (show_length(v, setting.unit) for v in p.points[[0, -1], axis])
        return [
            Fault(
                f"the points run backwards, {name} falls throughout",
                f"{name} from {first} to {last}",
                f"{name} rising {way}",
                "turn the order of the points round",
                file=p.file,
            )
        ]
    return [
        p.fault(
            int(k) + 1,
            f"{name} runs backwards" if step[k] < 0 else f"{name} stands still",
            f"{name} = {show_length(p.points[k + 1, axis], setting.unit)} after "
            f"{name} = {show_length(p.points[k, axis], setting.unit)}",
            f"{name} rising {way}",
            f"check the order of the points; {way.split()[1]} comes first",
        )
        for k in wrong[:MOST_FAULTS]
    ]


def _run(p: PointSet, setting: Setting) -> tuple[PointSet, list[Fault]]:
    return p, _rising(p, setting, 0, "from front to rear")


def _end_run(p: PointSet, setting: Setting) -> tuple[PointSet, list[Fault]]:
    return p, _rising(p, setting, 1, "from bottom to top")


def _one_side(p: PointSet, axis: int) -> tuple[PointSet, list[Fault]]:
    """A half pattern lies on one side of the centre plane; the left one is turned over."""
    out = p.points[:, axis]
    if np.all(out >= 0):
        return p, []
    if np.all(out <= 0):
        turned = p.points.copy()
        turned[:, axis] = np.abs(out)
        note = f"all of {p.columns[axis]} is negative: read as the other side and mirrored"
        return replace(p, points=turned, notes=(*p.notes, note)), []
    index = int(np.flatnonzero(out < 0)[0])
    fault = p.fault(
        index,
        "the half pattern crosses the centre plane",
        f"{p.columns[axis]} = {show_length(float(out[index]))}",
        f"{p.columns[axis]} of one sign throughout",
        "a half pattern shows one side only; the other is its mirror image",
    )
    return p, [fault]


def _plan(p: PointSet, setting: Setting) -> tuple[PointSet, list[Fault]]:
    """A half outline from front to rear, closed square to the centre plane where it is left open."""
    p, faults = _one_side(p, 1)
    step = np.diff(p.points[:, 0])
    if len(step) > 1 and np.all(step <= 0):
        return p, faults + _rising(p, setting, 0, "from front to rear")
    back = np.flatnonzero(step < 0)
    for k in back[:MOST_FAULTS]:
        after, before = (show_length(float(p.points[j, 0]), setting.unit) for j in (k + 1, k))
        faults.append(
            p.fault(
                int(k) + 1,
                "along runs backwards",
                f"along = {after} after along = {before}",
                "along rising, or standing still at a square end",
                "check the order of the points; front comes first",
            )
        )
    if not faults and len(p.points) > 1:
        p = _closed(p)
    return p, faults


def _closed(p: PointSet) -> PointSet:
    """The half outline with its open ends run straight in to the centre plane."""
    points, corners, lines, notes = p.points, set(p.corners), list(p.lines), list(p.notes)
    if points[0, 1] > 0:
        points = np.vstack([[points[0, 0], 0.0], points])
        corners = {0, 1} | {k + 1 for k in corners}
        lines.insert(0, None)
        notes.append("open at the front: closed square to the centre plane")
    if points[-1, 1] > 0:
        points = np.vstack([points, [points[-1, 0], 0.0]])
        corners |= {len(points) - 2, len(points) - 1}
        lines.append(None)
        notes.append("open at the rear: closed square to the centre plane")
    return replace(p, points=points, corners=tuple(sorted(corners)), lines=tuple(lines), notes=tuple(notes))


def _section(p: PointSet, setting: Setting) -> tuple[PointSet, list[Fault]]:
    """A half outline from the top at the centre plane to the lower edge."""
    p, faults = _one_side(p, 0)
    if faults or len(p.points) < 2:
        return p, faults
    first, last = p.points[0], p.points[-1]
    if last[1] >= first[1]:
        found = f"up from {show_length(first[1], setting.unit)} to {show_length(last[1], setting.unit)}"
        allowed = "from the top at the centre plane down to the lower edge"
        hint = "turn the order of the points round"
        return p, [Fault("the section is drawn from below", found, allowed, hint, file=p.file)]
    if first[0] > SAME_MM:
        found = f"out = {show_length(float(first[0]), setting.unit)}"
        hint = "begin on the centre plane, at the top of the crown"
        return p, [p.fault(0, "the section does not begin on the centre plane", found, "out = 0", hint)]
    points = p.points.copy()
    points[0, 0] = 0.0
    return replace(p, points=points), []


def _outline(p: PointSet, setting: Setting) -> tuple[PointSet, list[Fault]]:
    """A closed outline; its first point need not be repeated at the end."""
    if len(p.points) > 2 and np.linalg.norm(p.points[0] - p.points[-1]) < SAME_MM:
        p = replace(p, points=p.points[:-1], corners=tuple(k for k in p.corners if k < len(p.points) - 1))
    if len(p.points) < 3:
        found = f"{len(p.points)} points"
        return p, [
            Fault("this is no outline", found, "at least 3 points", "go all the way round", file=p.file)
        ]
    return p, []


def _path(p: PointSet, setting: Setting) -> tuple[PointSet, list[Fault]]:
    return p, []


#: The ways a pattern's points may run: each returns the points, put in order, and what is wrong with them.
ORDERS: dict[str, Callable[[PointSet, Setting], tuple[PointSet, list[Fault]]]] = {
    "front to rear": _run,
    "bottom to top": _end_run,
    "plan": _plan,
    "section": _section,
    "outline": _outline,
    "path": _path,
}


def _common(p: PointSet, setting: Setting) -> list[Fault]:
    """What is wrong with points whichever way they run: too few, written twice, out of reach."""
    if len(p.points) < 2:
        count = "no points" if len(p.points) == 0 else "1 point"
        return [
            Fault("a curve needs at least 2 points", count, "2 or more", "read off more points", file=p.file)
        ]
    far = np.abs(p.points).max(axis=1)
    if setting.sure and far.max() > LONGEST_TANK_MM:
        worst = int(far.argmax())
        axis = int(np.abs(p.points[worst]).argmax())
        value = float(p.points[worst, axis])
        hint = unit_hint(value, setting.unit, 1.0, LONGEST_TANK_MM) or "check the point"
        name = p.columns[axis]
        return [
            p.fault(
                worst,
                f"{name} is longer than any tank",
                f"{name} = {show_length(value)}",
                f"up to {LONGEST_TANK_MM:g} mm",
                hint,
            )
        ]
    apart = np.linalg.norm(np.diff(p.points, axis=0), axis=1)
    return [
        p.fault(
            int(k) + 1,
            "this point is written twice",
            f"point {k + 1} and point {k + 2} both at {_pair(p, int(k), setting)}",
            "each point once",
            "take one of them out",
        )
        for k in np.flatnonzero(apart < SAME_MM)[:MOST_FAULTS]
    ]


def _pair(p: PointSet, index: int, setting: Setting) -> str:
    return ", ".join(
        f"{name} = {show_length(float(v), setting.unit)}"
        for name, v in zip(p.columns, p.points[index], strict=True)
    )


def points_field(columns: Columns, order: str) -> PlainValidator:
    """A pydantic reader for a pattern with those columns, its points running in that order."""

    def read(value: object, info: ValidationInfo) -> PointSet:
        setting = setting_of(info)
        p = read_points(value, columns, setting)
        faults = _common(p, setting)
        if faults:
            raise Trouble(*faults)
        p, faults = ORDERS[order](p, setting)
        if faults:
            raise Trouble(*faults[:MOST_FAULTS])
        return p

    return PlainValidator(read)


RunPoints = Annotated[PointSet, points_field(("x", "z"), "front to rear")]
EndPoints = Annotated[PointSet, points_field(("x", "z"), "bottom to top")]
PlanPoints = Annotated[PointSet, points_field(("along", "out"), "plan")]
SectionPoints = Annotated[PointSet, points_field(("out", "up"), "section")]
OutlinePoints = Annotated[PointSet, points_field(("x", "z"), "outline")]
