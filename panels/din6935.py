"""DIN 6935, cold bending of flat steel: its k, and the compensation value v.

The standard counts k in half thicknesses, so the K-factor used everywhere else is k / 2. Formulas,
ranges and worked example as printed on a German metalwork table-book page on DIN 6935; the
ranges and the sign rule also in an English summary. The standard itself was not seen.
"""

from __future__ import annotations

import math

from panels._bend_checks import check_angle, check_radius, check_thickness, is_number
from panels.errors import BendError

__all__ = ["din6935_correction", "din6935_k", "k_factor_din6935"]


def din6935_k(inside_radius: float, thickness: float) -> float:
    """The standard's own k: ``0.65 + 0.5 log10(r/s)``, 1 from r/s = 5 upward, never below 0.

    Inside radius r and thickness s in mm. k reaches 0 at r/s = 0.0501 and is held there.
    """
    check_radius(inside_radius)
    check_thickness(thickness)
    ratio = inside_radius / thickness
    if ratio >= 5:
        return 1.0
    if ratio <= 10**-1.3:
        return 0.0
    return 0.65 + 0.5 * math.log10(ratio)


def k_factor_din6935(inside_radius: float, thickness: float) -> float:
    """The K-factor (0 to 0.5, fraction of the thickness) that DIN 6935 gives: half its k.

    Examples
    --------
    >>> k_factor_din6935(inside_radius=2.0, thickness=2.0)
    0.325
    """
    return din6935_k(inside_radius, thickness) / 2


def din6935_correction(
    inside_radius: float, thickness: float, opening_angle: float, *, k: float | None = None
) -> float:
    """Compensation value v, mm, to SUBTRACT: developed length = a + b - v.

    Parameters
    ----------
    inside_radius, thickness : float
        r and s, mm.
    opening_angle : float
        Degrees between the legs, 0 to 180; the bend angle is 180 less this.
    k : float, optional
        The standard's k (0 to 1) where it was read off the chart; otherwise by formula.

    Notes
    -----
    Three ranges: 0 to 90 degrees, legs measured to the outermost tangent of the bend; over 90 to
    165, legs measured to the outside mould line; over 165 to 180, v is 0 (negligible). The first
    two meet at 90; the step to 0 at 165 is the standard's own. v is negative (add to the legs)
    only for sharply closed bends, never above 65.408 degrees. Older texts ADD u = -v.

    Examples
    --------
    >>> round(din6935_correction(6, 5, 60, k=0.7), 2)
    5.77
    """
    check_angle("Opening angle", opening_angle)
    if opening_angle > 180:
        raise BendError(
            f"Opening angle is {opening_angle:g} degrees; it must be 0 to 180 degrees.\n\n"
            "hint: the opening angle is 180 less the bend angle",
            quantity="Opening angle",
            value=opening_angle,
            allowed="0 to 180 degrees",
        )
    factor = din6935_k(inside_radius, thickness) if k is None else _checked_k(k)
    if opening_angle > 165:
        return 0.0
    turned = math.radians(180 - opening_angle)
    reach = 1.0 if opening_angle <= 90 else math.tan(turned / 2)
    return 2 * (inside_radius + thickness) * reach - turned * (inside_radius + factor * thickness / 2)


def _checked_k(k: float) -> float:
    if not is_number(k) or not 0 <= k <= 1:
        raise BendError(
            f"DIN 6935 k is {k!r}; it must be 0 to 1.\n\nhint: k is twice the K-factor",
            quantity="k",
            value=k,
            allowed="0 to 1",
        )
    return float(k)
