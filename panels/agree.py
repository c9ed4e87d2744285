"""Hold the papers against one another before anything is made of them.

Each check says what it found, what would do, where (mm from the front register mark) and what would mend
it, in three strengths: stop, look, note. What cannot be checked is said too.
"""

from __future__ import annotations

import numpy as np
import shapely

from .agree_tunnel import tunnel_agrees
from .curves import Curve, curve_through
from .findings import Finding, Show, in_mm, strongest_first
from .fit import neck_loss
from .half_section import line_height, plan_half_width
from .patterns import Patterns, PlanPattern

__all__ = ["AGREE_MM", "agree"]

#: Two papers that measure the same length may differ by this much, mm.
AGREE_MM = 1.5
#: A point this far off the curve of its neighbours is worth reading again, mm; tuned on the examples, whose
#: points stray by at most 8: smaller cries wolf at tight noses, larger lets a misread figure through.
ODD_MM = 12.0


def agree(
    patterns: Patterns, *, thickness: float, tolerance: float = AGREE_MM, show: Show = in_mm
) -> tuple[Finding, ...]:
    """Everything the papers say of one another, strongest first.

    ``thickness`` of the sheet and ``tolerance`` between two papers, mm; ``show`` puts a length in words.
    """
    found = _outline(patterns, show)
    if not any(f.strength == "stop" for f in found):
        found += _lines(patterns, tolerance, show)
    if not any(f.strength == "stop" for f in found):
        found += [f for plan in patterns.plans for f in _plan(patterns, plan, tolerance, show)]
        found += tunnel_agrees(patterns, thickness=thickness, show=show)
        found += _sections(patterns, tolerance, show)
        found += _odd_points(patterns, show)
    if not any(f.strength == "stop" for f in found):
        found += neck_loss(patterns, thickness=thickness, show=show)
    found += _unknowns(patterns)
    return strongest_first(found)


def _outline(patterns: Patterns, show: Show) -> list[Finding]:
    """The side pattern's outline: runs forwards, closed, not crossing itself."""
    side = patterns.side
    found = []
    for run in (side.top, side.bottom):
        back = np.flatnonzero(np.diff(run.dense[:, 0]) < -1e-6)
        if len(back):
            x = float(run.dense[back[0], 0])
            found.append(
                Finding(
                    "stop",
                    f"side pattern, {run.name} run",
                    f"the {run.name} run turns back on itself",
                    f"x falls again behind x = {show(x)}",
                    "x rising all the way from front to rear",
                    x,
                    "check the order of the points, or mark the point before the turn as a corner",
                )
            )
    ring = np.vstack([side.bottom.dense, side.rear.dense[1:], side.top.dense[::-1][1:], side.front.dense[::-1][1:-1]])
    if not found and not shapely.Polygon(ring).is_valid:
        reason = shapely.is_valid_reason(shapely.Polygon(ring))
        where = [float(v) for v in reason[reason.find("[") + 1 : reason.find("]")].split()] if "[" in reason else []
        found.append(
            Finding(
                "stop",
                "side pattern",
                "the outline crosses itself",
                f"at x {where[0]:.1f}, z {where[1]:.1f} mm" if where else reason,
                "one closed line that meets itself only where it began",
                where[0] if where else None,
                "look at that place on the paper; two runs may have been exchanged, or a point misread",
            )
        )
    return found


def _lines(patterns: Patterns, tolerance: float, show: Show) -> list[Finding]:
    """The widest line and the frame line: there, and from end to end."""
    side = patterns.side
    found = []
    wanted = ["widest"] + (["frame"] if patterns.tunnel is not None else [])
    for name in wanted:
        line = side.lines.get(name)
        if line is None:
            found.append(
                Finding(
                    "stop",
                    f"side pattern, {name} line",
                    f"the {name} line is not drawn on the side pattern",
                    ", ".join(sorted(side.lines)) or "no line at all",
                    name,
                    None,
                    f"add '{name}' to [side.lines], from the front run to the rear run",
                )
            )
    widest = side.lines.get("widest")
    if widest is not None:
        for run, at, end in ((side.front, widest.points[0], "front"), (side.rear, widest.points[-1], "rear")):
            gap = float(shapely.LineString(run.dense).distance(shapely.Point(at))) if run.length > 0 else 0.0
            if gap > tolerance:
                found.append(
                    Finding(
                        "stop",
                        "side pattern, widest line",
                        f"the widest line does not reach the {end} run",
                        f"its {end} end lies {show(gap)} from the {end} run",
                        show(tolerance),
                        float(at[0]),
                        f"carry the widest line on to the {end} run, or check the {end} ends of top and bottom",
                    )
                )
        x = widest.dense[:, 0]
        for run, sign in ((side.top, 1), (side.bottom, -1)):
            room = sign * (line_height(run, x) - widest.dense[:, 1])
            if room.min() < -tolerance:
                k = int(np.argmin(room))
                found.append(
                    Finding(
                        "stop",
                        "side pattern, widest line",
                        f"the widest line runs outside the {run.name} run",
                        f"z = {show(widest.dense[k, 1])} where the {run.name} run has {show(line_height(run, x)[k])}",
                        "between bottom and top",
                        float(x[k]),
                        "check the heights of both lines there",
                    )
                )
    return found


def _plan(patterns: Patterns, plan: PlanPattern, tolerance: float, show: Show) -> list[Finding]:
    """One plan pattern: in order, half, and as long as the line it lies on."""
    side = patterns.side
    try:
        line = side.line(plan.line)
    except KeyError:
        names = ["top", "bottom", *sorted(side.lines)]
        return [
            Finding(
                "stop",
                plan.name,
                f"{plan.name} lies on a line that is not on the side pattern",
                plan.line,
                ", ".join(names),
                None,
                "name one of the lines drawn on the side pattern",
            )
        ]
    found = []
    along = plan.half.dense[:, 0]
    back = np.flatnonzero(np.diff(along) < -1e-6)
    if len(back):
        at = float(along[back[0]])
        found.append(
            Finding(
                "stop",
                plan.name,
                f"{plan.name} turns back on itself",
                f"along the line it runs back behind {show(at)}",
                "distances rising from front to rear",
                at,
                "check the order of the points, or mark the point before the turn as a corner",
            )
        )
    paper = float(np.ptp(plan.half.points[:, 0]))
    drawn = line.length
    if abs(paper - drawn) > tolerance:
        longer = "longer" if paper > drawn else "shorter"
        chord = float(np.ptp(line.dense[:, 0]))
        hint = "measure both again between the same two marks"
        if abs(paper - chord) <= tolerance:
            hint = (
                f"the plan was measured level ({show(chord)}), not along the {plan.line} line; "
                "lay the paper along the line and measure again"
            )
        for unit, ratio in (("inches", 25.4), ("millimetres", 1 / 25.4)):
            if abs(paper * ratio / drawn - 1) < 0.05:
                hint = f"the plan looks as if it was read in {unit}: check the unit of its numbers"
        found.append(
            Finding(
                "stop",
                plan.name,
                f"along the {plan.line} line the side pattern gives {show(drawn)}, {plan.name} gives "
                f"{show(paper)}: the paper is {show(abs(paper - drawn))} {longer}",
                show(paper),
                f"{show(drawn)} within {show(tolerance)}",
                float(line.dense[-1, 0]),
                hint,
            )
        )
    elif abs(paper - drawn) > 0.05:
        found.append(
            Finding(
                "note",
                plan.name,
                f"the side pattern gives {show(drawn)} along the {plan.line} line, {plan.name} {show(paper)}; "
                f"the {show(abs(paper - drawn))} between them is spread over the length",
                show(paper),
                show(drawn),
                None,
                "",
            )
        )
    if plan.line not in ("widest",) and not found and (widest := patterns.plan_on("widest")) is not None:
        share = np.linspace(0.02, 0.98, 97)
        over = plan_half_width(plan, share) - plan_half_width(widest, share)
        if over.max() > tolerance:
            k = int(np.argmax(over))
            found.append(
                Finding(
                    "look",
                    plan.name,
                    f"{plan.name} is wider than the widest line",
                    f"{show(float(plan_half_width(plan, share)[k]))} out",
                    f"{show(float(plan_half_width(widest, share)[k]))} at most",
                    float(line.at(share[k] * line.length)[0]),
                    "check which line is the widest, and both widths there",
                )
            )
    return found


def _sections(patterns: Patterns, tolerance: float, show: Show) -> list[Finding]:
    """Each drawn section against the side pattern and the widest plan at its station."""
    side = patterns.side
    widest = patterns.plan_on("widest")
    found = []
    for section in patterns.sections:
        if section.half is None or widest is None or abs(section.foot_x - section.head_x) > 1e-9:
            continue
        x = section.foot_x
        d = section.half.dense
        line = side.line("widest")
        z = float(line_height(line, np.array([x]))[0])
        start, stop = line.along[0], line.along[-1]
        half = float(plan_half_width(widest, np.array([(float(line.along_at(x)) - start) / (stop - start)]))[0])
        pairs = (
            ("top", float(d[:, 1].max()), float(line_height(side.top, np.array([x]))[0]), "the top run has"),
            (
                "lower edge",
                float(d[-1, 1]),
                float(line_height(side.bottom, np.array([x]))[0]),
                "the bottom run has",
            ),
            ("width at the widest line", float(_out_at(d, z)), half, f"{widest.name} has"),
        )
        for what, paper, other, says in pairs:
            if abs(paper - other) > tolerance:
                found.append(
                    Finding(
                        "look" if abs(paper - other) <= 4 * tolerance else "stop",
                        section.title,
                        f"{section.title}: its {what} is {show(paper)}, {says} {show(other)}; "
                        f"{show(abs(paper - other))} apart",
                        show(paper),
                        f"{show(other)} within {show(tolerance)}",
                        x,
                        "measure both at the same place; the surface follows the side and plan patterns",
                    )
                )
        out = np.abs(d[:, 0]).max()
        if out > half + tolerance:
            found.append(
                Finding(
                    "look",
                    section.title,
                    f"{section.title} is widest away from the widest line",
                    f"{show(float(out))} out at z = {show(float(d[int(np.argmax(np.abs(d[:, 0]))), 1]))}",
                    f"{show(half)} at the widest line, z = {show(z)}",
                    x,
                    "move the widest line on the side pattern to where the tank is really widest",
                )
            )
    return found


def _out_at(half: np.ndarray, z: float) -> float:
    """Out of a section's points (k, 2), top first, where it first comes down to z."""
    below = np.flatnonzero(half[:, 1] <= z)
    if len(below) == 0 or below[0] == 0:
        return float("nan")
    a, b = half[below[0] - 1], half[below[0]]
    return abs(float(a[0] + (b[0] - a[0]) * (z - a[1]) / (b[1] - a[1])))


def _odd_points(patterns: Patterns, show: Show) -> list[Finding]:
    """Points that lie far off the curve which their neighbours make: most often a figure misread."""
    side = patterns.side
    named = [(f"side pattern, {name}", curve) for name, curve in (("top run", side.top), ("bottom run", side.bottom))]
    named += [(f"side pattern, {name} line", curve) for name, curve in side.lines.items()]
    named += [(plan.name, plan.half) for plan in patterns.plans]
    named += [(section.title, section.half) for section in patterns.sections if section.half is not None]
    found = []
    for name, curve in named:
        for index, off in _strays(curve):
            x, y = curve.points[index]
            found.append(
                Finding(
                    "look",
                    name,
                    f"{name}: point {index + 1} lies {show(off)} off the curve through its neighbours",
                    f"({show(float(x))}, {show(float(y))})",
                    f"within {show(ODD_MM)} of a fair curve, or marked as a corner",
                    None,
                    "read that point again on the paper; if the tank really turns there, mark it as a corner",
                )
            )
    return found


def _strays(curve: Curve) -> list[tuple[int, float]]:
    """Index and distance, mm, of each point that strays from the curve through the others."""
    p, corner = curve.points, curve.corner
    near_corner = corner | np.roll(corner, 1) | np.roll(corner, -1)
    if len(p) < 6:
        return []
    inner = [i for i in range(2, len(p) - 2) if not near_corner[i]]
    off = {}
    for i in inner:
        rest = curve_through(
            curve.name, np.delete(p, i, axis=0), corners=[int(k) for k in np.flatnonzero(np.delete(corner, i))]
        )
        off[i] = float(shapely.LineString(rest.dense).distance(shapely.Point(p[i])))
    return [(i, d) for i, d in off.items() if d > ODD_MM and d == max(off.get(k, 0.0) for k in range(i - 2, i + 3))]


def _unknowns(patterns: Patterns) -> list[Finding]:
    """What could not be checked, because it was not given."""
    found = []
    if not patterns.clearances:
        found.append(_unknown("clearances", "no neck, fork, bars or engine given: clearance at full lock not checked"))
    if patterns.tunnel is None:
        found.append(_unknown("tunnel", "no tunnel given: whether the tank goes over a backbone is not checked"))
    if not patterns.sections:
        found.append(_unknown("sections", "no section pattern given: the sections are curves of the stated fullness"))
    if not patterns.outlets:
        found.append(_unknown("outlet", "no outlet given: what stays below it is not taken off the usable fuel"))
    return found


def _unknown(pattern: str, says: str) -> Finding:
    return Finding("note", pattern, says)
