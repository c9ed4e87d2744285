"""What two sections of a job must agree on before the patterns mean anything.

Only names and places: that a line spoken of is drawn, that things lie within the tank's length. Whether
lengths, widths and clearances agree is for ``panels`` to say.
"""

from __future__ import annotations

import numpy as np

from panels.curves import curve_through

from .fields import Fault, Setting
from .jobfile import JobFile
from .outline import run_curve
from .sources import PointSet
from .units import show_length

__all__ = ["across_faults"]

#: How far beyond the tank's ends a mark or a clearance may lie, mm. Common practice, no source.
BEYOND_MM = 1000.0


def across_faults(job: JobFile, setting: Setting) -> list[Fault]:
    """Everything that sections of a job contradict one another in; ``at`` is the full path."""
    return [
        *_line_faults(job),
        *_name_faults(job),
        *_place_faults(job, setting),
        *_filler_faults(job, setting),
        *_bump_out_faults(job),
        *_fitting_faults(job),
        *_division_faults(job),
    ]


def _line_faults(job: JobFile) -> list[Fault]:
    """The lines that other sections stand on are drawn."""
    faults = []
    if "widest" not in job.side.lines:
        found = "lines: " + (", ".join(job.side.lines) or "none")
        hint = "draw it under [side.lines]: widest = [[...], ...], from the front run to the rear run"
        faults.append(Fault("the widest line is not drawn", found, "a line named widest", hint, at=("side", "lines")))
    elif not any(plan.line == "widest" for plan in job.plan):
        lines = ", ".join(plan.line for plan in job.plan)
        hint = 'write line = "widest" in the plan pattern that shows the tank at its widest'
        says = "no plan pattern lies on the widest line"
        faults.append(Fault(says, f"plan patterns on {lines}", "one on widest", hint, at=("plan",)))
    if job.tunnel is not None and "frame" not in job.side.lines:
        found = "lines: " + (", ".join(job.side.lines) or "none")
        hint = "draw the top of the backbone under [side.lines]: frame = [[...], [...]]"
        says = "there is a tunnel but no frame line"
        faults.append(Fault(says, found, "a line named frame", hint, at=("side", "lines")))
    return faults


def _name_faults(job: JobFile) -> list[Fault]:
    """Plan patterns lie on different lines; things that are named are named apart."""
    faults = []
    seen: dict[str, int] = {}
    for k, plan in enumerate(job.plan):
        if plan.line in seen:
            found = f"plan patterns {seen[plan.line] + 1} and {k + 1}"
            hint = "one plan pattern a line; take one away, or draw the line it lies on"
            says = f"two plan patterns lie on the line {plan.line}"
            faults.append(Fault(says, found, "one", hint, at=("plan", k, "line")))
        seen.setdefault(plan.line, k)
    groups = {
        "plan": job.plan,
        "section": job.section,
        "bump_out": job.bump_out,
        "fitting": job.fitting,
        "division": job.division.seam,
    }
    for group, items in groups.items():
        names = [item.name for item in items]  # type: ignore[attr-defined]
        for k, name in enumerate(names):
            if name and names.index(name) < k:
                at = ("division", "seam", k, "name") if group == "division" else (group, k, "name")
                hint = "give each a name of its own; it is printed on the papers"
                faults.append(Fault("this name is used twice", name, "each name once", hint, at=at))
    return faults


def _place_faults(job: JobFile, setting: Setting) -> list[Fault]:
    """Sections, outlets, filler and knee lie within the tank's length; marks not far beyond it."""
    x = np.concatenate([job.side.top.points[:, 0], job.side.bottom.points[:, 0]])
    low, high = float(x.min()), float(x.max())
    faults = []

    def inside(value: float, says: str, *at: str | int, beyond: float = 0.0) -> None:
        if not low - beyond <= value <= high + beyond:
            allowed = f"{show_length(low - beyond, setting.unit)} to {show_length(high + beyond, setting.unit)}"
            hint = "x is measured rearwards from the front register mark"
            faults.append(Fault(says, f"x = {show_length(value, setting.unit)}", allowed, hint, at=at))

    for k, section in enumerate(job.section):
        for key in ("at", "foot_x", "head_x"):
            if (value := getattr(section, key)) is not None:
                inside(value, "this section lies outside the tank", "section", k, key)
    for k, outlet in enumerate(job.outlet):
        inside(outlet.x, "this outlet lies outside the tank", "outlet", k, "x")
    if job.filler is not None:
        inside(job.filler.x, "the filler lies outside the tank", "filler", "x")
    for k, fitting in enumerate(job.fitting):
        if fitting.at is not None:
            inside(fitting.at[0], "this fitting lies outside the tank", "fitting", k, "at", 0)
    for k, bump in enumerate(job.bump_out):
        for n, value in enumerate(bump.outline.points[:, 0]):
            inside(float(value), "this bump-out runs out of the tank", "bump_out", k, "outline", n)
    if job.knee is not None:
        for k, value in enumerate(job.knee.outline.points[:, 0]):
            inside(float(value), "the knee relief runs out of the tank", "knee", "outline", k, beyond=50.0)
    for name, mark in job.side.marks.items():
        inside(mark[0], "this mark lies far outside the tank", "side", "marks", name, beyond=BEYOND_MM)
    return faults


def _bump_out_faults(job: JobFile) -> list[Fault]:
    """Bump-outs have a depth, a tunnel where they lie on it, and clear what the job says must be cleared."""
    things, faults = [thing.name for thing in job.clear], []
    for k, bump in enumerate(job.bump_out):
        if bump.depth == 0:
            hint = "how far the patch is set in, or out as a negative depth; or take the bump-out away"
            says = "this bump-out has no depth"
            faults.append(Fault(says, "0", "more or less than 0", hint, at=("bump_out", k, "depth")))
        if bump.on in ("leg", "top", "floor") and job.tunnel is None:
            hint = "lay it on the side, or give the tunnel"
            says = f"a bump-out lies on the {bump.on}, and this tank has no tunnel"
            faults.append(Fault(says, f'on = "{bump.on}"', 'on = "side"', hint, at=("bump_out", k, "on")))
        if bump.clears and bump.clears not in things:
            known = ", ".join(things) or "none"
            hint = "write the name of a [[clear]] just as it stands there, or leave clears away"
            says = "there is nothing of this name to clear"
            faults.append(Fault(says, bump.clears, known, hint, at=("bump_out", k, "clears")))
    return faults


def _fitting_faults(job: JobFile) -> list[Fault]:
    """Fittings lie on a tunnel that is there, at marks that are drawn."""
    faults = []
    for k, fitting in enumerate(job.fitting):
        if fitting.place.startswith("tunnel") and job.tunnel is None:
            hint = "lay it on the side, the floor or the top, or give the tunnel"
            says = "this fitting lies on the tunnel, and this tank has none"
            faults.append(Fault(says, f'on = "{fitting.place}"', 'on = "side"', hint, at=("fitting", k, "on")))
        if fitting.mark and fitting.mark not in job.side.marks:
            known = ", ".join(job.side.marks) or "none"
            hint = "write the name of a mark just as it stands under [side.marks]"
            says = "the side pattern has no mark of this name"
            faults.append(Fault(says, fitting.mark, known, hint, at=("fitting", k, "mark")))
    return faults


def _filler_faults(job: JobFile, setting: Setting) -> list[Fault]:
    """The filler's hole lies on the tank as the plan pattern at the widest line shows it."""
    plan = next((plan for plan in job.plan if plan.line == "widest"), None)
    if job.filler is None or plan is None or "widest" not in job.side.lines:
        return []
    out, diameter = abs(job.filler.out), job.filler.diameter
    half = _half_width(job, plan.half, job.filler.x)

    def size(mm: float) -> str:
        return show_length(mm, setting.unit)

    there = f"where the tank is {size(2 * half)} wide at the filler"
    if diameter >= 2 * half:
        hint = "diameter is that of the hole in the tank; check it, and x and out"
        says, found = "the filler is wider than the tank", f"diameter = {size(diameter)}, {there}"
        return [Fault(says, found, f"less than {size(2 * half)}", hint, at=("filler", "diameter"))]
    if out + diameter / 2 > half:
        found = f"out = {size(job.filler.out)}, which with half the diameter is {size(out + diameter / 2)}, {there}"
        hint = "out is measured from the centre plane; 0 is the middle of the tank"
        allowed = f"out up to {size(half - diameter / 2)}"
        return [Fault("the filler hangs over the side of the tank", found, allowed, hint, at=("filler", "out"))]
    return []


def _half_width(job: JobFile, half: PointSet, x: float) -> float:
    """Half width, mm, at x on the plan along the widest line; the greatest of all where the line is not at x."""
    line = run_curve("widest", job.side.lines["widest"]).dense
    if not line[0, 0] <= x <= line[-1, 0]:
        return float(half.points[:, 1].max())
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    share = float(np.interp(x, line[:, 0], along)) / float(along[-1])
    plan = curve_through("plan", half.points, corners=half.corners, mirror_axis=1).dense
    first, last = half.points[[0, -1], 0]
    return float(np.interp(first + share * (last - first), np.maximum.accumulate(plan[:, 0]), plan[:, 1]))


def _division_faults(job: JobFile) -> list[Fault]:
    """A division by drawn seams has seams drawn."""
    if job.division.scheme != "drawn" or job.division.seam:
        return []
    hint = "draw them as [[division.seam]], or choose another scheme"
    return [Fault("no seams are drawn", 'scheme = "drawn"', "at least one seam", hint, at=("division",))]
