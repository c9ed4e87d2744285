"""Hold the tunnel pattern against the side pattern, the plan and the backbone."""

from __future__ import annotations

import numpy as np

from .errors import TunnelError
from .findings import Finding, Show, in_mm
from .half_section import line_height, plan_half_width
from .openings import Tunnel, tunnel_of
from .patterns import Patterns, SectionPattern

__all__ = ["tunnel_agrees"]

#: Room between tunnel and crown that a hand can still weld and planish in, mm; common practice, no source.
CROWN_ROOM_MM = 15.0
#: Least and comfortable room at each side of the backbone, mm; common practice, no source.
LEAST_SIDE_MM, GOOD_SIDE_MM = 12.7, 19.0
#: Least room over the backbone, mm; common practice, no source.
LEAST_TOP_MM = 6.0


def _lower_half(patterns: Patterns, share: np.ndarray) -> np.ndarray:
    """Half width of the lower edge at shares of the length, mm, as far as the papers tell."""
    low = patterns.plan_on("bottom")
    if low is not None:
        return plan_half_width(low, share)
    widest = patterns.plan_on("widest")
    if widest is None:
        return 0 * share
    shares = [_lower_share(section, patterns) for section in patterns.sections] or [patterns.shape.lower_share]
    return min(shares) * plan_half_width(widest, share)


def _lower_share(section: SectionPattern, patterns: Patterns) -> float:
    """Lower half width of one section over its widest, drawn or stated."""
    if section.half is None:
        return (section.shape or patterns.shape).lower_share
    return float(abs(section.half.points[-1, 0]) / max(np.abs(section.half.points[:, 0]).max(), 1e-9))


def _between_closed_ends(width: np.ndarray, need: np.ndarray) -> np.ndarray:
    """Stations that must be wide enough: all but those next to an end that closes on the centre plane."""
    ok = width > need
    must = np.ones(len(width), dtype=bool)
    if ok.any():
        first, last = int(np.argmax(ok)), len(ok) - 1 - int(np.argmax(ok[::-1]))
        must[:first] = False
        must[last + 1 :] = False
    return must


def tunnel_agrees(patterns: Patterns, *, thickness: float, show: Show = in_mm) -> list[Finding]:
    """Room over, beside and below the tunnel, as far as the papers tell."""
    tunnel = tunnel_of(patterns)
    if tunnel is None:
        return []
    cannot = _cannot_be_rolled(tunnel)
    if cannot:
        return cannot
    side = patterns.side
    x = np.linspace(tunnel.x_front, tunnel.x_rear, 241)
    crown = line_height(side.top, x) - tunnel.top(x)
    depth = tunnel.top(x) - line_height(side.bottom, x)
    inside = (x > side.top.points[0, 0] + 1) & (x < side.top.points[-1, 0] - 1)
    front, rear = float(side.front.points[:, 0].min()), float(side.rear.points[:, 0].max())
    stops = _tunnel_ends(tunnel, front, rear, show) + _past_neck(patterns, show)
    if stops:
        return stops
    share = (x - front) / (rear - front)
    lower = _lower_half(patterns, share)
    widest = patterns.plan_on("widest")
    widest_half = plan_half_width(widest, share) if widest else lower
    found = _tunnel_sizes(tunnel, show) + _corner_room(tunnel, show) + _ledges(tunnel, show)
    found += _crown_room(crown, x, inside & (widest_half > tunnel.half(x)), thickness, show)
    shallow = np.where((x > side.bottom.points[0, 0] + 1) & (x < side.bottom.points[-1, 0] - 1), depth, np.inf)
    k = int(np.argmin(shallow))
    if shallow[k] < 3 * thickness:
        found.append(
            Finding(
                "stop",
                "tunnel",
                "the tunnel's top comes down to the lower edge of the side pattern",
                f"{show(float(shallow[k]))} deep",
                f"more than {show(3 * thickness)}",
                float(x[k]),
                "raise the frame line or the top room, or lower the bottom run",
            )
        )
    found += _legs_left(tunnel, patterns, x, thickness, show)
    need = tunnel.half(x) + 2 * thickness
    must = _between_closed_ends(lower, need)
    found += _wide_at_open_ends(tunnel, x, lower, need, widest_half, show)
    short = np.where(must, lower - need, np.inf)
    k = int(np.argmin(short))
    if short[k] < 0 or not np.any(lower > need):
        k = int(np.argmax(lower - need)) if not np.any(lower > need) else k
        found.append(
            Finding(
                "stop",
                "tunnel",
                "the tank is not wider at its lower edge than the tunnel",
                f"lower edge {show(float(lower[k]))} out from the centre",
                f"more than {show(float(need[k]))}: half the tunnel and both metals",
                float(x[k]),
                "less side room, a wider lower edge, or a shorter tunnel",
            )
        )
    return found


def _cannot_be_rolled(tunnel: Tunnel) -> list[Finding]:
    """A stop where a rounded top cannot be made over this frame line or at this width."""
    try:
        _ = tunnel.rounded
    except TunnelError as fault:
        says, _, remedy = str(fault).partition("\nhint: ")
        return [Finding("stop", "tunnel", says.rstrip(".\n"), at_mm=fault.facts.get("at"), remedy=remedy)]
    return []


def _legs_left(tunnel: Tunnel, patterns: Patterns, x: np.ndarray, thickness: float, show: Show) -> list[Finding]:
    """A rounded top whose springs come down to the lower edge: its legs end there."""
    if tunnel.rounded is None:
        return []
    bottom = patterns.side.bottom
    deep = tunnel.corner(x) - line_height(bottom, x)
    front, rear = tunnel.reach
    within = (x > max(bottom.points[0, 0] + 1, front)) & (x < min(bottom.points[-1, 0] - 1, rear))
    deep = np.where(within, deep, np.inf)
    k = int(np.argmin(deep))
    if deep[k] >= 3 * thickness:
        return []
    return [
        Finding(
            "look",
            "tunnel",
            "the springs of the rounded top come down to the lower edge: no leg is left under them there",
            f"legs {show(max(0.0, float(deep[k])))} deep",
            f"more than {show(3 * thickness)}",
            float(x[k]),
            "an arch, or one with less rise, a higher frame line, or a flat top",
        )
    ]


def _corner_room(tunnel: Tunnel, show: Show) -> list[Finding]:
    """What room a rounded top leaves to the top corners of a square backbone; a round one has top_room all round."""
    rooms = tunnel.corner_room
    if rooms is None:
        return []
    room = min(rooms)
    at = tunnel.x_front if room == rooms[0] else tunnel.x_rear
    if room >= LEAST_TOP_MM:
        says = f"{show(room)} of room from the backbone's top corners to the rounded top"
        return [Finding("note", "tunnel", says, show(room), f"at least {show(LEAST_TOP_MM)}", at)]
    return [
        Finding(
            "look",
            "tunnel",
            "the rounded top runs into the top corners of the backbone"
            if room <= 0
            else "little room from the top corners of the backbone to the rounded top",
            f"{show(room)} at the corners, {show(tunnel.pattern.top_room)} in the middle",
            f"at least {show(LEAST_TOP_MM)} (common practice)",
            at,
            'more top_room or side_room, an arch with less rise, or backbone = "round" where it is a round tube',
        )
    ]


def _wide_at_open_ends(
    tunnel: Tunnel, x: np.ndarray, lower: np.ndarray, need: np.ndarray, widest: np.ndarray, show: Show
) -> list[Finding]:
    """An end that is square in plan, where the tunnel is wider than the tank's lower edge."""
    found = []
    for end, k, shut in (("front", 0, tunnel.pattern.closed_front_x), ("rear", -1, tunnel.pattern.closed_rear_x)):
        if shut is None and widest[k] > 1 and lower[k] < need[k]:
            found.append(
                Finding(
                    "look",
                    "tunnel",
                    f"at the {end} the tunnel is wider than the tank's lower edge: its legs cut the skin away there",
                    f"lower edge {show(float(lower[k]))} out from the centre",
                    f"more than {show(float(need[k]))}: half the tunnel and both metals",
                    float(x[k]),
                    f"less side room or a narrower backbone at the {end}, or a wider lower edge there",
                )
            )
    return found


def _tunnel_ends(tunnel: Tunnel, front: float, rear: float, show: Show) -> list[Finding]:
    """A tunnel that is closed inside the tank must begin and end there, front before rear."""
    found = []
    for end, x in (("front", tunnel.pattern.closed_front_x), ("rear", tunnel.pattern.closed_rear_x)):
        if x is not None and not (max(front, tunnel.reach[0] - 1) < x < min(rear, tunnel.reach[1] + 1)):
            found.append(
                Finding(
                    "stop",
                    "tunnel",
                    f"the tunnel's closed {end} does not lie inside the tank",
                    f"at x = {show(x)}",
                    f"between {show(max(front, tunnel.reach[0]))} and {show(min(rear, tunnel.reach[1]))}",
                    x,
                    f"leave closed_{end} out for a tunnel that is open there, or check its x",
                )
            )
    return found


def _past_neck(patterns: Patterns, show: Show) -> list[Finding]:
    """Metal that would run on into the neck relief."""
    if patterns.neck is None or patterns.tunnel is None or not patterns.tunnel.past_front:
        return []
    return [
        Finding(
            "stop",
            "tunnel",
            "the tunnel runs on past the front, into the room that the neck relief makes",
            f"past_front = {show(patterns.tunnel.past_front)}",
            "none with a neck relief",
            None,
            "leave past_front out, or the neck relief",
        )
    ]


def _ledges(tunnel: Tunnel, show: Show) -> list[Finding]:
    """What stands out past the tank is not part of the body that is held against the motorcycle."""
    return [
        Finding(
            "look" if past > half else "note",
            "tunnel",
            f"the tunnel runs {show(past)} on past the {end}; this ledge is on its blank, not in the body: what comes "
            "near it there is not checked",
            show(past),
            f"up to half the tunnel's width, {show(half)}; a lip or wider lap of its own there takes its place",
            None,
            "" if past <= half else f"check past_{end}: it is more than half as wide as the tunnel",
        )
        for end, past, half in (
            ("front", tunnel.pattern.past_front, tunnel.pattern.half_front),
            ("rear", tunnel.pattern.past_rear, tunnel.pattern.half_rear),
        )
        if past
    ]


def _crown_room(crown: np.ndarray, x: np.ndarray, where: np.ndarray, thickness: float, show: Show) -> list[Finding]:
    if not where.any():
        return []
    room = np.where(where, crown - 2 * thickness, np.inf)
    k = int(np.argmin(room))
    if room[k] >= CROWN_ROOM_MM:
        return []
    strength = "stop" if room[k] <= 0 else "look"
    return [
        Finding(
            strength,
            "tunnel",
            "the tunnel's top comes through the crown"
            if strength == "stop"
            else "little room between tunnel and crown",
            f"{show(float(room[k]))} between the two metals",
            "above 0" if strength == "stop" else f"{show(CROWN_ROOM_MM)} to weld and planish in",
            float(x[k]),
            "lower the frame line or the top room, or raise the top run there",
        )
    ]


def _tunnel_sizes(tunnel: Tunnel, show: Show) -> list[Finding]:
    pattern = tunnel.pattern
    room = pattern.side_room - pattern.draw_in
    found = []
    if room <= 0:
        found.append(
            Finding(
                "stop",
                "tunnel",
                "the tunnel is no wider than the backbone once the welds have drawn it in",
                f"{show(room)} ({show(pattern.side_room)} less {show(pattern.draw_in)} drawn in) at each side",
                f"above 0; at least {show(LEAST_SIDE_MM)} (common practice)",
                None,
                "more room at each side (side_room); in a job in mm an inch is 25.4",
            )
        )
    elif room < GOOD_SIDE_MM:
        strength = "look" if room < LEAST_SIDE_MM else "note"
        found.append(
            Finding(
                strength,
                "tunnel",
                f"{show(room)} of room at each side of the backbone after weld draw-in",
                f"{show(room)} ({show(pattern.side_room)} less {show(pattern.draw_in)} drawn in)",
                f"at least {show(LEAST_SIDE_MM)}, {show(GOOD_SIDE_MM)} is comfortable (common practice)",
                None,
                "more room at each side (side_room); mounts and wiring share this space",
            )
        )
    if pattern.top_room < LEAST_TOP_MM:
        found.append(
            Finding(
                "look",
                "tunnel",
                f"{show(pattern.top_room)} of room over the backbone",
                show(pattern.top_room),
                f"at least {show(LEAST_TOP_MM)} (common practice)",
                None,
                "more top_room; the mounts settle and the wiring wants space",
            )
        )
    return found
