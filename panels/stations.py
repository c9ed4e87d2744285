"""Numbered stations: the same upright planes across the tank on the buck, the blanks and the body."""

from __future__ import annotations

import numpy as np

__all__ = ["STATION_MM", "station_label", "stations_between"]

#: Stations lie this far apart, mm; common practice, no source.
STATION_MM = 50.0


def stations_between(front: float, rear: float) -> list[float]:
    """x, mm, of the stations from ``front`` to ``rear``: whole multiples of `STATION_MM`."""
    return [k * STATION_MM for k in range(int(np.ceil(front / STATION_MM)), int(np.floor(rear / STATION_MM)) + 1)]


def station_label(x: float) -> str:
    """The station's number and place: "S4 x 200"."""
    return f"S{round(x / STATION_MM)} x {x:.0f}"
