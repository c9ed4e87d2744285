"""Refuse numbers that no bend can have, in words for the bench."""

from __future__ import annotations

import math
from numbers import Real

from panels.errors import BendError, KFactorOutOfRange

__all__ = ["check_angle", "check_k_factor", "check_length", "check_radius", "check_thickness", "is_number"]


def is_number(value: object) -> bool:
    """A finite real number; True and False are not."""
    return isinstance(value, Real) and not isinstance(value, bool) and math.isfinite(float(value))


def _refuse(quantity: str, value: object, unit: str, allowed: str, hint: str) -> BendError:
    return BendError(
        f"{quantity} is {value!r}{unit}; it must be {allowed}.\n\nhint: {hint}",
        quantity=quantity,
        value=value,
        allowed=allowed,
    )


def check_thickness(value: float) -> None:
    """Thickness must be a number above 0 mm."""
    if not is_number(value) or value <= 0:
        raise _refuse("Sheet thickness", value, " mm", "more than 0 mm", "give the sheet's thickness")


def check_radius(value: float) -> None:
    """An inside radius must be a number, 0 mm or more."""
    if not is_number(value) or value < 0:
        raise _refuse(
            "Inside fold radius", value, " mm", "0 mm or more", "measure it on the hollow side of the fold"
        )


def check_length(name: str, value: float) -> None:
    """A measured length must be a number above 0 mm."""
    if not is_number(value) or value <= 0:
        raise _refuse(name, value, " mm", "more than 0 mm", "measure it again, in mm")


def check_angle(name: str, value: float, below: float | None = None) -> None:
    """An angle must lie in 0 to 360 degrees, or under ``below`` where the formula ends there."""
    if below is None:
        if not is_number(value) or not 0 <= value <= 360:
            raise _refuse(name, value, " degrees", "0 to 360 degrees", "it is how far the metal is turned")
    elif not is_number(value) or not 0 <= value < below:
        raise _refuse(
            name,
            value,
            " degrees",
            f"0 or more and less than {below:g} degrees",
            "at 180 degrees the faces never cross and there is no mould line: "
            "add the straight lengths and the bend allowance instead",
        )


def check_k_factor(value: float) -> None:
    """K must lie between the inside face and mid-thickness."""
    if not is_number(value) or not 0 <= value <= 0.5:
        raise KFactorOutOfRange(
            f"K-factor is {value!r}; it must be 0 (inside face) to 0.5 (mid-thickness).\n\n"
            "hint: a DIN 6935 table prints k from 0 to 1, counted in half thicknesses: halve it",
            quantity="K-factor",
            value=value,
            allowed="0 to 0.5",
        )
