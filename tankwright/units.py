"""Lengths as they are written in a shop, to and from millimetres.

Words used here
    length     a number in the job's own unit, or text that may name its unit: ``36.5mm``, ``1 7/16 in``,
               ``1-7/16"``, ``3/64``, ``2 ft``, ``2' 6 1/2"``
    unit       "mm" or "in", what a length without a unit is read in
    thickness  a length, or a gauge: ``18 ga``, which means something else in each kind of metal

Everything is exact (fractions) until the last step. 1 in = 25.4 mm exactly (international yard and
pound agreement of 1959; from memory).
"""

from __future__ import annotations

import math
import re
from fractions import Fraction

__all__ = [
    "MM_PER_INCH",
    "UNITS",
    "inches_shown",
    "is_gauge",
    "length_mm",
    "show_inches",
    "show_length",
    "show_size",
    "show_thickness",
    "show_volume",
    "thickness_mm",
]

MM_PER_INCH = 25.4
UNITS = ("mm", "in")

#: Past this a length is a slip of the pen, and its digits would only fill the screen, mm.
LONGEST_MM = 1e7

_INCH = Fraction(254, 10)
_SIZES = {
    **dict.fromkeys(("mm", "millimetre", "millimetres", "millimeter", "millimeters"), Fraction(1)),
    "cm": Fraction(10),
    "m": Fraction(1000),
    **dict.fromkeys(("in", "inch", "inches", '"'), _INCH),
    **dict.fromkeys(("ft", "foot", "feet", "'"), 12 * _INCH),
}
_SPELLING = str.maketrans("”″“’′−–⁄\u00a0", '"""\'\'--/ ')
_VULGAR = {"½": "1/2", "¼": "1/4", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8"}

_NUMBER = r"(?:\d+[ ]*(?:[ ]|-)[ ]*\d+[ ]*/[ ]*\d+|\d+[ ]*/[ ]*\d+|\d+\.\d*|\.\d+|\d+)"
_ONE = re.compile(rf"({_NUMBER})\s*([a-z]+|[\"'])?\.?", re.IGNORECASE)
_FEET_AND_INCHES = re.compile(
    rf"(\d+)\s*(?:ft\.?|foot|feet|')\s*-?\s*({_NUMBER})\s*(?:inches|inch|in\.?|\")?", re.IGNORECASE
)
_GAUGE = re.compile(r"\s*#?\s*(\d{1,2})\s*(?:ga|gauge|gage|g)\.?\s*", re.IGNORECASE)


def length_mm(value: object, unit: str = "mm") -> float:
    """A length in mm, from a number in ``unit`` or from text that may name its own.

    Parameters
    ----------
    value : int, float or str
        ``36.5``, ``"36.5mm"``, ``"1 7/16"``, ``'1-7/16"'``, ``".063 in"``, ``"2 ft"``; may be negative.
    unit : "mm" or "in"
        What a bare number is in.

    Raises
    ------
    ValueError
        For anything that is not one finite length: true or false, not-a-number, "1/0", "36,5", "abc".
        The message says how to write it.

    Examples
    --------
    >>> length_mm("1-7/16 in"), length_mm('1 1/2"'), length_mm(2, "in"), length_mm("3/64", "in")
    (36.5125, 38.1, 50.8, 1.190625)
    """
    if unit not in UNITS:
        raise ValueError(f'unit {unit!r} is not known: write "mm" or "in"')
    if isinstance(value, bool):
        raise ValueError(f"{str(value).lower()} is not a length")
    if isinstance(value, int | float):
        size = 1.0 if unit == "mm" else MM_PER_INCH
        return _within_reach(_times(value, size), value)
    if isinstance(value, str):
        return _within_reach(_read(value, unit), value)
    kinds: dict[type, str] = {list: "a list", dict: "a group of values", type(None): "nothing"}
    kind = kinds.get(type(value), "a date or time")
    raise ValueError(f'{kind} stands where one length belongs: write a number, or text such as "1 7/16"')


def _times(value: float, size: float) -> float:
    """A number times its unit; infinite where it does not fit a float."""
    try:
        return float(value * Fraction(str(size))) if isinstance(value, int) else value * size
    except OverflowError:
        return math.inf


def _within_reach(mm: float, value: object) -> float:
    """``mm`` if it is a finite length that could be meant."""
    if not math.isfinite(mm):
        raise ValueError("not a finite number")
    if abs(mm) > LONGEST_MM:
        raise ValueError(f"{str(value)[:20]} is longer than anything made of sheet metal")
    return mm


def _read(text: str, unit: str) -> float:
    """A length in mm, from text. ValueError if it is not one."""
    for vulgar, spelled in _VULGAR.items():
        text = text.replace(vulgar, f" {spelled}")
    clean = " ".join(text.translate(_SPELLING).replace("''", '"').split())
    if not clean:
        raise ValueError("nothing is written where a length belongs")
    if len(clean) > 40:
        raise ValueError(f"“{clean[:20]}…” is too long for a length")
    sign = -1 if clean[0] == "-" else 1
    body = clean[1:].strip() if clean[0] in "+-" else clean
    if pair := _FEET_AND_INCHES.fullmatch(body):
        return float(sign * (12 * _INCH * int(pair[1]) + _INCH * _number(pair[2])))
    if one := _ONE.fullmatch(body):
        return float(sign * _number(one[1]) * _size(one[2], unit))
    raise ValueError(_advice(clean))


def _size(name: str | None, unit: str) -> Fraction:
    """Millimetres in the unit of that name, or in the job's own unit if none is named."""
    size = _SIZES.get((name or unit).lower())
    if size is None:
        raise ValueError(f"“{name}” is not a unit of length: write mm, cm, m, in or ft")
    return size


def _number(text: str) -> Fraction:
    """``1 7/16``, ``1-7/16``, ``7/16``, ``1.5`` as a fraction."""
    if "/" not in text:
        return Fraction(text if text[-1] != "." else text[:-1])
    first, _, under = text.partition("/")
    whole, _, over = first.strip().replace("-", " ").rpartition(" ")
    if int(under) == 0:
        raise ValueError(f"“{text}” divides by nought")
    return Fraction(int(over), int(under)) + int(whole or 0)


def _advice(text: str) -> str:
    """Why text was refused, in words that say how to write it."""
    if re.search(r"\d,\d", text):
        return f"“{text}” has a comma: write a point, {text.replace(',', '.')}"
    if _GAUGE.fullmatch(text):
        return f"“{text}” is a gauge, which only a thickness can be"
    if text.lower().lstrip("+-") in ("nan", "inf", "infinity"):
        return "not a finite number"
    return f"“{text}” cannot be read as a length: write 36.5, 36.5mm, 1 7/16 or 0.063 in"


def is_gauge(value: object) -> bool:
    """Whether a thickness was written as a gauge number."""
    return isinstance(value, str) and _GAUGE.fullmatch(value) is not None


def thickness_mm(value: object, unit: str = "mm", metal_kind: str | None = None) -> float:
    """A sheet's thickness in mm, from a length or a gauge.

    ``metal_kind`` is the gauge system: steel, galvanized, stainless or aluminium.

    Raises
    ------
    ValueError
        As `length_mm`; also for a gauge where the kind of metal is not known, a gauge that is not
        listed, and a thickness of nought or less.

    Examples
    --------
    >>> round(thickness_mm("18 ga", "in", "steel"), 3), round(thickness_mm("18 gauge", "in", "aluminium"), 3)
    (1.214, 1.024)
    """
    if is_gauge(value):
        from panels.metal import gauge_thickness

        number = int(_GAUGE.fullmatch(str(value))[1])  # type: ignore[index]
        if metal_kind is None:
            raise ValueError(f"{value} differs from metal to metal, and the metal is not known")
        try:
            return gauge_thickness(number, metal_kind)
        except LookupError as fault:
            known = ", ".join(str(gauge) for gauge in getattr(fault, "known", ()))
            raise ValueError(f"gauge {number} is not listed for {metal_kind}; listed are {known}") from fault
    mm = length_mm(value, unit)
    if mm <= 0:
        raise ValueError(f"a thickness of {_trim(mm, 3)} mm is no sheet")
    return mm


def _trim(value: float, places: int) -> str:
    """A number with at most so many decimals and no empty ones; never "-0"."""
    text = f"{value:.{places}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text


def show_inches(mm: float, *, places: int = 1, nearest: int = 32) -> str:
    """Inches as a rule shows them where that is near enough, else decimal: ``1 7/16``, ``1.452``.

    The one rule of every paper: they follow from the millimetres as printed beside them, to ``places``, so that
    a length reads the same wherever it stands. A fraction (nearest 1/32), else as few decimals, at most three, as
    lie within half of the last place of those millimetres: printing never moves a line.

    Examples
    --------
    >>> show_inches(36.5125), show_inches(36.9), show_inches(-9.525), show_inches(50.8)
    ('1 7/16', '1.453', '-3/8', '2')
    >>> show_inches(1.3 * 25.4), show_inches(617.64) == show_inches(617.6)
    ('1.3', True)
    """
    inches = abs(round(mm, places)) / MM_PER_INCH
    steps = round(inches * nearest)
    half = 0.5 * 10.0**-places / MM_PER_INCH
    sign = "-" if mm < 0 and inches else ""
    if (steps == 0 and inches >= 0.0005) or abs(steps / nearest - inches) > half:
        return sign + _trim(inches, next((n for n in (1, 2) if abs(round(inches, n) - inches) <= half), 3))
    part = Fraction(steps, nearest)
    whole, rest = divmod(part, 1)
    text = f"{whole} {rest}" if whole and rest else str(rest or whole)
    return sign + text if text != "0" else text


def inches_shown(mm: float, *, places: int = 1) -> float:
    """The inches that `show_inches` writes, as a number to 0.001: a column of decimals says what all else says.

    Examples
    --------
    >>> inches_shown(9.525), inches_shown(9.5), inches_shown(272.0)
    (0.375, 0.375, 10.71)
    """
    inches = length_mm(show_inches(mm, places=places), "in") / MM_PER_INCH
    return math.copysign(math.floor(abs(inches) * 1000 + 0.5001) / 1000, inches)  # a half upwards: 1/16 is 0.063


def show_length(mm: float, unit: str = "mm", *, places: int = 1) -> str:
    """A length as the job writes it: ``36.5 mm``, or ``1 7/16 in (36.5 mm)`` where the job is in inches.

    Examples
    --------
    >>> show_length(36.5125), show_length(36.5125, "in")
    ('36.5 mm', '1 7/16 in (36.5 mm)')
    """
    metric = f"{mm:.{places}f} mm"
    if metric.startswith("-") and not metric.strip("-0. m"):
        metric = metric[1:]
    return metric if unit == "mm" else f"{show_inches(mm, places=places)} in ({metric})"


def show_size(width_mm: float, height_mm: float, unit: str = "mm") -> str:
    """Two lengths as a size: ``640 x 602 mm``, or ``25.197 x 23.701 in (640 x 602 mm)``.

    Examples
    --------
    >>> show_size(1219.2, 2438.4, "in"), show_size(640, 602.5)
    ('48 x 96 in (1219.2 x 2438.4 mm)', '640 x 602.5 mm')
    """
    metric = f"{_trim(width_mm, 1)} x {_trim(height_mm, 1)} mm"
    return metric if unit == "mm" else f"{show_inches(width_mm)} x {show_inches(height_mm)} in ({metric})"


def show_thickness(mm: float, unit: str = "mm", *, gauge: str = "") -> str:
    """A sheet's thickness: ``1.6 mm``, ``0.048 in (1.21 mm)``, ``18 ga (0.048 in, 1.21 mm)``.

    Examples
    --------
    >>> show_thickness(1.6), show_thickness(1.21412, "in", gauge="18 ga")
    ('1.6 mm', '18 ga (0.048 in, 1.21 mm)')
    """
    metric, inches = f"{_trim(mm, 2)} mm", f"{_trim(mm / MM_PER_INCH, 3)} in"
    beside = [inches, metric] if unit == "in" else [metric]
    if gauge:
        return f"{gauge} ({', '.join(beside)})"
    return beside[0] if len(beside) == 1 else f"{inches} ({metric})"


#: Litres in a US gallon: 231 cubic inches of 25.4 mm each (NIST Handbook 44, appendix C).
LITRES_PER_US_GALLON = 231 * 25.4**3 / 1e6


def show_volume(litres: float, unit: str = "mm") -> str:
    """A volume in litres, with US gallons beside it where the job is in inches."""
    gallons = f" ({litres / LITRES_PER_US_GALLON:.2f} US gal)" if unit == "in" else ""
    return f"{litres:.1f} L{gallons}"
