"""Bends: how much flat metal a fold takes up.

Words used here
    bend angle      how far the metal is turned, degrees: 90 for a square corner
    opening angle   what is left between the legs: 180 less the bend angle
    K-factor        where the neutral surface lies, as a fraction of the thickness from the
                    inside face: 0 at the inside face, 0.5 at mid-thickness
    bend allowance  length of the neutral surface round the bend
    mould line      where the faces of the two legs would cross if the bend were sharp:
                    outside faces for ``setback``, inside faces for ``inside_setback``
    setback         from the mould line to where the bend begins
    bend deduction  what to take off the sum of the outside legs to get the flat length

Everything in mm and degrees; the formulas hold in any unit of length. Bend allowance, setback
and deduction: US Navy and FAA-H-8083-31 ch. 4 give the same forms.
"""

from __future__ import annotations

import math
import re

from panels._bend_checks import check_angle, check_k_factor, check_length, check_radius, check_thickness
from panels.choose_k import (
    BENCH_TABLE,
    DEFAULT_K,
    KFactor,
    KTableRow,
    StripReading,
    choose_k,
)
from panels.din6935 import din6935_correction, din6935_k, k_factor_din6935
from panels.errors import BendError, KFactorOutOfRange
from panels.min_radius import MinimumRadius, minimum_inside_radius, minimum_radius

__all__ = [
    "BENCH_TABLE",
    "DEFAULT_K",
    "HANDBOOK_GROUPS",
    "KFactor",
    "KTableRow",
    "MinimumRadius",
    "StripReading",
    "bend_allowance",
    "bend_deduction",
    "choose_k",
    "din6935_correction",
    "din6935_k",
    "handbook_bend_length",
    "inside_setback",
    "k_factor_din6935",
    "k_from_test_strip",
    "minimum_inside_radius",
    "minimum_radius",
    "setback",
    "shop_constant_allowance",
]


def bend_allowance(thickness: float, inside_radius: float, bend_angle: float, k_factor: float) -> float:
    """Length of metal round the bend, mm: ``A (r + K t)`` with A in radians.

    Parameters
    ----------
    thickness, inside_radius : float
        t above 0 and r 0 or more, mm.
    bend_angle : float
        Degrees the metal is turned, 0 to 360 (a rolled tube is 360).
    k_factor : float
        0 to 0.5.

    Raises
    ------
    BendError, KFactorOutOfRange
        A number no bend can have; carries ``.quantity``, ``.value``, ``.allowed``.

    Examples
    --------
    >>> round(bend_allowance(thickness=1.5, inside_radius=3, bend_angle=90, k_factor=0.42), 5)
    5.70199
    """
    check_thickness(thickness)
    check_radius(inside_radius)
    check_angle("Bend angle", bend_angle)
    check_k_factor(k_factor)
    return math.radians(bend_angle) * (inside_radius + k_factor * thickness)


def setback(thickness: float, inside_radius: float, bend_angle: float) -> float:
    """From the outside mould line to where the bend begins, mm: ``(r + t) tan(A/2)``.

    Bend angle in degrees, 0 or more and under 180: at 180 the outside faces never cross.

    Examples
    --------
    >>> setback(thickness=0.040, inside_radius=0.160, bend_angle=90)
    0.2
    """
    check_thickness(thickness)
    check_radius(inside_radius)
    return (inside_radius + thickness) * _half_tangent(bend_angle)


def inside_setback(inside_radius: float, bend_angle: float) -> float:
    """From the inside mould line to where the bend begins, mm: ``r tan(A/2)``.

    For dimensions given on the hollow side of the fold, as a tunnel's are.
    """
    check_radius(inside_radius)
    return inside_radius * _half_tangent(bend_angle)


def bend_deduction(thickness: float, inside_radius: float, bend_angle: float, k_factor: float) -> float:
    """What to take off the sum of the outside legs, mm: twice the setback less the allowance.

    Legs run to the outside mould line, at any angle under 180. (DIN 6935 measures otherwise
    beyond 90: see ``din6935_correction``.)
    """
    twice = 2 * setback(thickness, inside_radius, bend_angle)
    return twice - bend_allowance(thickness, inside_radius, bend_angle, k_factor)


def _half_tangent(bend_angle: float) -> float:
    check_angle("Bend angle", bend_angle, below=180)
    return 1.0 if bend_angle == 90 else math.tan(math.radians(bend_angle) / 2)


# FAA-H-8083-31 ch. 4 and US Navy training texts: allowance per degree = a r + b t.
_SHOP_CONSTANTS = {"faa": (0.01743, 0.0078), "navy": (0.0173, 0.0078)}


def shop_constant_allowance(
    thickness: float, inside_radius: float, bend_angle: float, *, constants: str = "faa"
) -> float:
    """Bend allowance by printed shop constants: ``(0.01743 r + 0.0078 t) A``, A in degrees.

    ``constants`` is ``"faa"`` (equals K = 0.4475) or ``"navy"`` (0.0173 r, equals K = 0.4509).
    The rounded constants differ from ``bend_allowance`` by up to 0.8 % of the radius's share.
    """
    check_thickness(thickness)
    check_radius(inside_radius)
    check_angle("Bend angle", bend_angle)
    if constants not in _SHOP_CONSTANTS:
        raise BendError(
            f"There are no shop constants called {constants!r}; listed are {', '.join(_SHOP_CONSTANTS)}.",
            quantity="constants",
            value=constants,
            allowed=tuple(_SHOP_CONSTANTS),
        )
    per_radius, per_thickness = _SHOP_CONSTANTS[constants]
    return (per_radius * inside_radius + per_thickness * thickness) * bend_angle


# Machinery's Handbook, 31st ed., p. 1421, eqs 32-34: length at 90 degrees = c t + 1.57 r.
HANDBOOK_GROUPS: dict[float, tuple[str, ...]] = {
    0.55: ("soft brass", "soft copper"),
    0.64: ("half-hard copper", "half-hard brass", "soft steel", "aluminium"),
    0.71: ("bronze", "hard copper", "cold-rolled steel", "spring steel"),
}


def handbook_bend_length(
    thickness: float, inside_radius: float, bend_angle: float, group: str | float
) -> float:
    """Length of metal round a bend by the handbook's rule: ``(c t + 1.57 r) A / 90``, mm.

    Meant for parts bent on the bench or with simple tools.

    Parameters
    ----------
    thickness, inside_radius, bend_angle
        mm, mm, degrees really bent.
    group : str or float
        A metal of ``HANDBOOK_GROUPS``, such as ``"soft steel"``, or its constant 0.55, 0.64, 0.71.

    Notes
    -----
    Machinery's Handbook, 31st ed., p. 1421, eqs 32-34.

    Examples
    --------
    >>> round(handbook_bend_length(0.125, 0.625, 60, "soft steel"), 4)
    0.7075
    """
    check_thickness(thickness)
    check_radius(inside_radius)
    check_angle("Bend angle", bend_angle)
    return (_handbook_constant(group) * thickness + 1.57 * inside_radius) * bend_angle / 90


def _handbook_constant(group: str | float) -> float:
    if not isinstance(group, str):
        if group in HANDBOOK_GROUPS:
            return float(group)
    else:
        parts = [_plain(part) for part in re.split(r"[,/;]", group)]
        constants = {_HANDBOOK_BY_NAME.get(part) for part in parts}
        found = constants.pop()
        if found is not None and not constants:
            return found
    listed = "\n".join(f"  {c:.2f}   {', '.join(names)}" for c, names in HANDBOOK_GROUPS.items())
    raise BendError(
        f"The handbook's bend rule has no group {group!r}.\n\n{listed}\n\n"
        "hint: name one of the metals listed, or use a K-factor",
        quantity="group",
        value=group,
        allowed=tuple(name for names in HANDBOOK_GROUPS.values() for name in names),
    )


def _plain(name: str) -> str:
    return name.lower().replace("-", " ").replace("aluminum", "aluminium").strip()


_HANDBOOK_BY_NAME = {_plain(name): c for c, names in HANDBOOK_GROUPS.items() for name in names}


def k_from_test_strip(
    thickness: float, inside_radius: float, bend_angle: float, leg_a: float, leg_b: float, flat_length: float
) -> float:
    """The K-factor that a bent and measured strip shows.

    Parameters
    ----------
    thickness, inside_radius, bend_angle
        mm, mm, degrees as bent; over 0 and under 180.
    leg_a, leg_b : float
        Outside legs, mm, each from its end to the outside mould line. At 90 degrees that is
        what a square against the other leg reads.
    flat_length : float
        The strip's length before bending, mm.

    Raises
    ------
    KFactorOutOfRange
        The three lengths cannot belong together; the message says what flat length could.
    """
    for name, value in (("Leg a", leg_a), ("Leg b", leg_b), ("Flat length", flat_length)):
        check_length(name, value)
    back = setback(thickness, inside_radius, bend_angle)
    if bend_angle == 0:
        raise BendError(
            "Bend angle is 0 degrees: a strip that was not bent shows no K-factor.\n\n"
            "hint: bend it to about 90 degrees and measure again",
            quantity="Bend angle",
            value=bend_angle,
            allowed="more than 0 and less than 180 degrees",
        )
    turned = math.radians(bend_angle)
    allowance = flat_length - leg_a - leg_b + 2 * back
    k_factor = (allowance / turned - inside_radius) / thickness
    if not -_K_ROUNDING <= k_factor <= 0.5 + _K_ROUNDING:
        straights = leg_a + leg_b - 2 * back
        raise _strip_out_of_range(k_factor, straights, turned, thickness, inside_radius, flat_length)
    return min(max(k_factor, 0.0), 0.5)


_K_ROUNDING = 1e-6


def _strip_out_of_range(
    k_factor: float, straights: float, turned: float, thickness: float, inside_radius: float, flat: float
) -> KFactorOutOfRange:
    least = straights + turned * inside_radius
    most = least + turned * 0.5 * thickness
    per_tenth = 0.1 / (turned * thickness)
    return KFactorOutOfRange(
        f"The test strip gives a K-factor of {k_factor:.3f}; it must be 0 to 0.5.\n\n"
        f"  flat length   {flat:g} mm\n"
        f"  would fit     {least:.2f} to {most:.2f} mm for these legs, radius and angle\n"
        f"  sensitivity   0.1 mm of length moves K by {per_tenth:.3f}\n\n"
        "hint: measure legs to the outside, and the inside radius with a gauge; a second strip tells more",
        quantity="K-factor",
        value=k_factor,
        allowed="0 to 0.5",
        flat_length=flat,
        flat_length_range=(least, most),
    )
