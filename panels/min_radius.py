"""How tightly a sheet may be folded: published minimum inside radii for 90 degree cold bends.

Three tables, because the lists disagree:

    recommended     aluminium alloys, radius as a multiple of thickness. Aluminum Association
                    type table "Recommended minimum bend radii for 90 deg cold bends" (2005
                    print, p. VII-78, Table 3-1); 6061 from one design-book copy of it
    tool standard   radius in inches in 1/32 steps by sheet thickness, hence cautious on thin
                    sheet. One design book's sheet bend table (single source)
    aircraft        aluminium, stricter still. One forming tolerance table (single source)

Low-carbon and drawing steels are not in the first or last: their specification has them fold
flat on themselves (ASTM A1083/A1083M-12 abstract), and a radius of one thickness is the cautious
shop default (annealed sheet bends to a radius of about its thickness, FAA-H-8083-31 ch. 4).

A radius below these is a reason to look, not a proof that the sheet cracks.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from panels._bend_checks import check_thickness
from panels.errors import NoMinimumRadius, UnknownMetal
from panels.metal import MM_PER_INCH, lookup_metal

__all__ = ["MINIMUM_RADIUS_TABLES", "MinimumRadius", "minimum_inside_radius", "minimum_radius"]

MINIMUM_RADIUS_TABLES = ("recommended", "tool standard", "aircraft", "one thickness")

# A sheet sold as 1/16 in is 1.60 mm by its own label: a column serves sheet up to 3 % over its
# nominal thickness, about the thickness tolerance of EN 485-4, before the next one is taken.
COLUMN_SLACK = 1.03

_RECOMMENDED_INCHES = (1 / 64, 1 / 32, 1 / 16, 1 / 8, 3 / 16, 1 / 4, 3 / 8, 1 / 2)
_RECOMMENDED = {  # multiples of thickness
    "1100-O": (0, 0, 0, 0, 0.5, 1, 1, 1.5),
    "1100-H14": (0, 0, 0, 1, 1, 1.5, 2, 2.5),
    "3003-O": (0, 0, 0, 0, 0.5, 1, 1, 1.5),
    "3003-H14": (0, 0, 0, 1, 1, 1.5, 2, 2.5),
    "5052-O": (0, 0, 0, 0.5, 1, 1, 1.5, 1.5),
    "5052-H32": (0, 0, 1, 1.5, 1.5, 1.5, 1.5, 2),
    "6061-O": (0, 0, 0, 1, 1, 1, 1.5, 2),
    "6061-T4": (0, 0, 1, 1.5, 2.5, 3, 3.5, 4),
    "6061-T6": (1, 1, 1.5, 2.5, 3, 3.5, 4.5, 5),
}

_TOOL_INCHES = (0.020, 0.025, 0.028, 0.032, 0.040, 0.050, 0.063, 0.074, 0.080, 0.090, 0.100, 0.125)
_TOOL_O = (0.063, 0.031, 0.031, 0.031, 0.063, 0.063, 0.063, 0.094, 0.094, 0.094, 0.125, 0.125)
_TOOL_STANDARD: dict[str, tuple[float | None, ...]] = {  # inches; None: not recommended
    "6061-T6": (0.063, 0.094, 0.094, 0.094, 0.125, 0.156, 0.188, 0.250, 0.281, 0.312, 0.375, 0.500),
    "5052-H32": (0.063, 0.063, 0.063, 0.063, 0.063, 0.094, 0.094, 0.125, 0.125, 0.156, 0.156, 0.188),
    "1100-O": _TOOL_O,
    "3003-O": _TOOL_O,
    "5052-O": _TOOL_O,
    "6061-O": _TOOL_O,
    "low-carbon": (0.063, 0.063, 0.063, 0.063, 0.094, 0.094, 0.094, 0.125, 0.125, 0.125, 0.156, 0.188),
    "304": (0.063, 0.063, 0.063, 0.063, 0.094, 0.094, 0.125, 0.156, 0.156, 0.188, 0.250, None),
    "302": (0.063, 0.063, 0.094, 0.094, 0.125, 0.125, 0.188, 0.250, 0.250, 0.250, 0.281, None),
}

_AIRCRAFT_INCHES = (0.016, 0.020, 0.025, 0.032)
_AIRCRAFT = {  # inches
    "5052-O": (0.030, 0.030, 0.030, 0.030),
    "6061-O": (0.030, 0.030, 0.030, 0.030),
    "6061-T6": (0.060, 0.060, 0.090, 0.120),
}

_SOURCES = {
    "recommended": "Aluminum Association type table of recommended minimum bend radii, 90 deg cold bends",
    "tool standard": "a design book's sheet bend table, 90 deg, radii in 1/32 in steps (single source)",
    "aircraft": "an aircraft forming tolerance table (single source)",
    "one thickness": "annealed sheet bends to a radius of about its thickness, FAA-H-8083-31 ch. 4; "
    "the steel itself folds flat by ASTM A1083",
}


@dataclass(frozen=True)
class MinimumRadius:
    """A published minimum inside radius, mm, and the table it was read from."""

    radius: float
    thickness: float
    table: str
    source: str

    @property
    def in_thicknesses(self) -> float:
        """The same radius as a multiple of the sheet's thickness."""
        return self.radius / self.thickness


def minimum_inside_radius(
    metal: str, temper: str | None, thickness: float, *, table: str | None = None
) -> float:
    """Smallest published inside radius, mm, for a 90 degree cold bend; see ``minimum_radius``.

    Examples
    --------
    >>> minimum_inside_radius("3003", "H14", 1.6)
    0.0
    >>> minimum_inside_radius("5052", "H32", 1.6)
    1.6
    """
    return minimum_radius(metal, temper, thickness, table=table).radius


def minimum_radius(
    metal: str, temper: str | None, thickness: float, *, table: str | None = None
) -> MinimumRadius:
    """The published minimum inside radius with its table and source.

    Parameters
    ----------
    metal, temper : str
        ``"3003", "H14"``, or ``"3003-H14", None``.
    thickness : float
        mm. Between two columns of a table the thicker one is used.
    table : str, optional
        One of ``MINIMUM_RADIUS_TABLES``. Left out: ``recommended`` for aluminium, ``tool
        standard`` for stainless, ``one thickness`` for low-carbon steel.

    Raises
    ------
    NoMinimumRadius
        The table has no figure for this metal, temper or thickness, or says "not recommended".
    """
    check_thickness(thickness)
    key = _key(metal, temper)
    name = table or _usual_table(key)
    radius = _read(name, key, thickness)
    return MinimumRadius(radius, thickness, name, _SOURCES[name])


def _key(metal: str, temper: str | None) -> str:
    text = f"{metal} {temper or ''}"
    alloy = re.search(r"(?<!\d)\d{4}(?!\d)", text)
    if alloy and alloy.group() not in ("1020", "1025", "4130"):
        hard = re.search(r"\b(O|[HT]\d+)\b", text[alloy.end() :].upper())
        return f"{alloy.group()}-{hard.group(1)}" if hard else alloy.group()
    stainless = re.search(r"\b30[24]\b", text)
    if stainless:
        return stainless.group()
    if alloy or lookup_metal(metal).kind == "steel":
        return "low-carbon"
    raise UnknownMetal(f"Metal {metal!r} is not in the tables of minimum bend radii.", given=metal, known=())


def _usual_table(key: str) -> str:
    if key == "low-carbon":
        return "one thickness"
    return "tool standard" if key in ("302", "304") else "recommended"


def _read(table: str, key: str, thickness: float) -> float:
    if table == "one thickness":
        return thickness
    if table == "recommended":
        return float(_column(table, _RECOMMENDED, _RECOMMENDED_INCHES, key, thickness)) * thickness
    if table == "tool standard":
        return float(_column(table, _TOOL_STANDARD, _TOOL_INCHES, key, thickness)) * MM_PER_INCH
    if table == "aircraft":
        return float(_column(table, _AIRCRAFT, _AIRCRAFT_INCHES, key, thickness)) * MM_PER_INCH
    raise NoMinimumRadius(
        f"There is no table of bend radii called {table!r}.\n\n  listed   {', '.join(MINIMUM_RADIUS_TABLES)}",
        known=MINIMUM_RADIUS_TABLES,
    )


def _column(table: str, rows: dict, inches: tuple[float, ...], key: str, thickness: float) -> float:
    """The entry for ``key`` in the first column at or above ``thickness``."""
    if key not in rows:
        raise NoMinimumRadius(
            f"No minimum bend radius for {key} in the {table} table.\n\n  listed   {', '.join(rows)}\n\n"
            "hint: name alloy and temper, or bend a strip of the sheet and look for cracks",
            known=tuple(rows),
        )
    limit = inches[-1] * MM_PER_INCH * COLUMN_SLACK
    at = next((i for i, inch in enumerate(inches) if thickness <= inch * MM_PER_INCH * COLUMN_SLACK), None)
    if at is None or rows[key][at] is None:
        reach = f"listed up to {limit:.2f} mm" if at is None else "which the table marks as not recommended"
        raise NoMinimumRadius(
            f"No minimum bend radius for {key} at {thickness:g} mm, {reach}.\n\n"
            "hint: ask the metal's supplier, or bend a strip and look for cracks",
            known=tuple(rows),
            thickness=thickness,
            limit=limit,
        )
    return rows[key][at]
