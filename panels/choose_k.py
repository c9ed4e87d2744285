"""Which K-factor a fold is worked out with, and why, in words for the papers.

In this order: the shop's own measured strips; a table; DIN 6935 for steel; a plain default.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from panels._bend_checks import check_k_factor, check_radius, check_thickness
from panels.din6935 import k_factor_din6935
from panels.errors import UnknownMetal
from panels.metal import Metal, lookup_metal

__all__ = ["BENCH_TABLE", "DEFAULT_K", "KFactor", "KTableRow", "StripReading", "choose_k"]

# FAA-H-8083-31 ch. 4 shop constants (0.01743 r + 0.0078 t) per degree, which equal this K.
DEFAULT_K = 0.4475

# How far a measured strip may be from the fold at hand and still speak for it. Common practice,
# no source: 5 % of thickness is about the sheet's own tolerance, and K moves by about 0.02 when
# r/t changes by 15 % (DIN 6935 formula).
STRIP_THICKNESS_SLACK = 0.05
STRIP_RADIUS_SLACK = 0.15
STRIP_RADIUS_SLACK_MM = 0.25


@dataclass(frozen=True)
class KFactor:
    """A K-factor with where it is from and why it was taken."""

    value: float
    source: str
    why: str = ""
    basis: str = "given"  # given, strip, table, din6935 or default

    def __post_init__(self) -> None:
        check_k_factor(self.value)

    def __float__(self) -> float:
        return float(self.value)

    @property
    def words(self) -> str:
        """One line for the papers."""
        return f"K-factor {self.value:.3f} from {self.source}." + (f" {self.why}" if self.why else "")


@dataclass(frozen=True)
class StripReading:
    """One test strip of the shop's own: bent, measured, and what K came out."""

    metal: str
    thickness: float  # mm
    inside_radius: float  # mm
    k_factor: float
    tooling: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        check_thickness(self.thickness)
        check_radius(self.inside_radius)
        check_k_factor(self.k_factor)


@dataclass(frozen=True)
class KTableRow:
    """One row of a K table: a metal or kind of metal, a range of radius over thickness, and K."""

    metal: str  # a metal's name, or aluminium, steel, stainless
    k_factor: float
    source: str
    ratio_from: float = 0.0
    ratio_to: float = float("inf")

    def __post_init__(self) -> None:
        check_k_factor(self.k_factor)


# Steel is left to DIN 6935 on purpose: the handbook has one constant for every radius, the
# standard was written for steel and follows the radius.
BENCH_TABLE: tuple[KTableRow, ...] = (
    KTableRow(
        metal="aluminium",
        k_factor=0.407,
        source="Machinery's Handbook, 31st ed., p. 1421, eq. 33 (aluminium bent with simple tools)",
    ),
)


def choose_k(
    metal: str | Metal | None,
    thickness: float,
    inside_radius: float,
    *,
    tooling: str = "",
    strips: Iterable[StripReading] = (),
    table: Sequence[KTableRow] = BENCH_TABLE,
) -> KFactor:
    """The K-factor for a fold: own strips first, then a table, DIN 6935, a plain default.

    Parameters
    ----------
    metal : str, Metal or None
        ``None``, or a name that is not in the metals table, can still match a strip or a row
        spelled the same way; otherwise the plain default is taken.
    thickness, inside_radius : float
        mm.
    tooling : str
        What the fold is made on, such as ``"bar folder"``. A strip bent on other named tooling
        is not used.
    strips : iterable of StripReading
        Used where the metal is the same, the thickness within 5 % and the radius within 15 %
        (or 0.25 mm); the nearest wins, equally near ones are averaged.
    table : sequence of KTableRow
        First row that fits wins.

    Returns
    -------
    KFactor
        ``.value``, ``.source``, ``.why``, ``.basis`` and, for the papers, ``.words``.
    """
    check_thickness(thickness)
    check_radius(inside_radius)
    strips = tuple(strips)
    found = _known(metal)
    asked = found.name if found else str(metal or "the metal")
    fold = f"{asked} {thickness:g} mm at {inside_radius:g} mm radius"
    chosen = _from_strips(strips, asked, thickness, inside_radius, tooling)
    if chosen:
        return chosen
    missing = _no_strip(strips, asked, fold)
    ratio = inside_radius / thickness
    for row in table:
        if row.ratio_from <= ratio <= row.ratio_to and _row_fits(row.metal, found, asked):
            return KFactor(row.k_factor, row.source, missing, "table")
    if found and found.kind in ("steel", "stainless"):
        return _from_din(found, thickness, inside_radius, missing)
    return KFactor(
        DEFAULT_K,
        "the US shop constants of FAA-H-8083-31 ch. 4, used as a plain default",
        f"{missing} No table row and no standard speaks for {asked}.",
        "default",
    )


def _from_strips(
    strips: Sequence[StripReading], asked: str, thickness: float, inside_radius: float, tooling: str
) -> KFactor | None:
    fitting = [
        strip
        for strip in strips
        if _same_metal(strip.metal, asked)
        and abs(strip.thickness - thickness) <= STRIP_THICKNESS_SLACK * thickness
        and abs(strip.inside_radius - inside_radius)
        <= max(STRIP_RADIUS_SLACK * inside_radius, STRIP_RADIUS_SLACK_MM)
        and _same_tooling(strip.tooling, tooling)
    ]
    if not fitting:
        return None

    def distance(strip: StripReading) -> float:
        gap = abs(strip.inside_radius - inside_radius) + abs(strip.thickness - thickness)
        return round(gap / thickness, 6)

    nearest = min(map(distance, fitting))
    best = [strip for strip in fitting if distance(strip) == nearest]
    strip = best[0]
    count = "a test strip" if len(best) == 1 else f"{len(best)} test strips"
    source = (
        f"the shop's own measurement, {count} of {strip.metal} {strip.thickness:g} mm "
        f"at {strip.inside_radius:g} mm radius{_on(strip.tooling)}"
    )
    value = sum(strip.k_factor for strip in best) / len(best)
    return KFactor(value, source, "A measured strip comes before any table.", "strip")


def _from_din(metal: Metal, thickness: float, inside_radius: float, missing: str) -> KFactor:
    ratio = inside_radius / thickness
    why = f"{missing} The standard is written for cold-bent steel; r/t is {ratio:.2f}."
    if metal.kind == "stainless":
        why += " It does not speak of stainless by name: bend a strip."
    return KFactor(k_factor_din6935(inside_radius, thickness), "DIN 6935 (K is half its k)", why, "din6935")


def _no_strip(strips: Sequence[StripReading], asked: str, fold: str) -> str:
    same = [strip for strip in strips if _same_metal(strip.metal, asked)]
    if not same:
        return f"No measured strip for {fold}."
    have = "; ".join(
        f"{strip.thickness:g} mm at {strip.inside_radius:g} mm{_on(strip.tooling)}" for strip in same
    )
    return f"No measured strip for {fold} (strips of this metal: {have})."


def _on(tooling: str) -> str:
    return f" on {tooling}" if tooling else ""


def _known(metal: str | Metal | None) -> Metal | None:
    if metal is None:
        return None
    try:
        return lookup_metal(metal)
    except UnknownMetal:
        return None


def _same_metal(one: str, other: str) -> bool:
    known = _known(one)
    return (known.name if known else one).strip().lower() == other.strip().lower()


def _same_tooling(one: str, other: str) -> bool:
    return not one or not other or one.strip().lower() == other.strip().lower()


def _row_fits(row_metal: str, found: Metal | None, asked: str) -> bool:
    return (found is not None and row_metal.strip().lower() == found.kind) or _same_metal(row_metal, asked)
