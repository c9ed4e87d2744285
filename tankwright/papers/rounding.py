"""How figures are rounded in ``results.json``: lengths 0.1 mm, areas 1 mm2, percent 0.1, never minus zero."""

from __future__ import annotations

__all__ = ["mm", "mm2", "percent", "rounded"]


def rounded(value: float, places: int) -> float:
    """A plain float, rounded, never minus zero."""
    return round(float(value), places) + 0.0


def mm(value: float) -> float:
    """A length, mm."""
    return rounded(value, 1)


def mm2(value: float) -> int:
    """An area, mm2."""
    return round(float(value))


def percent(share: float) -> float:
    """A share in percent."""
    return rounded(share * 100, 1)
