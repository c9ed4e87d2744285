"""Metals, gauges and tolerances against charts, definitions and standards.

Figures: tests/published/gauges.csv and materials.csv, each row with its source.
"""

import csv
import re
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from panels.errors import BendError, PanelsError, UnknownGauge, UnknownMetal
from panels.metal import (
    GAUGE_SYSTEMS,
    METALS,
    gauge_thickness,
    lookup_metal,
    nearest_gauge,
    sheet_mass,
    thickness_tolerance,
)

PUBLISHED = Path(__file__).parent.parent / "published"


def rows(name):
    with open(PUBLISHED / name, newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


SYSTEMS = {
    "steel_msg": "steel",
    "galvanized_gsg": "galvanized",
    "stainless_usg": "stainless",
    "aluminium_bs_awg": "aluminium",
}
GAUGES = rows("gauges.csv")


@pytest.mark.parametrize("row", GAUGES, ids=[f"{row['gauge']}-{row['system']}" for row in GAUGES])
def test_every_gauge_of_the_charts(row):
    """Each gauge is the printed decimal inch, in mm, and finds itself again as the nearest."""
    system = SYSTEMS[row["system"]]
    thickness = gauge_thickness(int(row["gauge"]), system)
    assert thickness == pytest.approx(float(row["thickness_in"]) * 25.4, abs=1e-9)
    assert thickness == pytest.approx(float(row["thickness_mm"]), abs=0.0006)
    assert nearest_gauge(thickness, system).gauge == int(row["gauge"])


# US standard gauge, exact fractions of an inch; the others follow from it or from a formula
# (definitions in bends-and-stock.source.md), each to the last printed digit.
USG = {10: "9/64", 11: "1/8", 12: "7/64", 13: "3/32", 14: "5/64", 15: "9/128", 16: "1/16", 17: "9/160"}
USG |= {18: "1/20", 19: "7/160", 20: "3/80", 21: "11/320", 22: "1/32", 23: "9/320", 24: "1/40"}
USG |= {25: "7/320", 26: "3/160", 28: "1/64", 30: "1/80"}


@pytest.mark.parametrize("gauge", USG)
def test_gauges_follow_from_their_definitions(gauge):
    """Fractions, weights over 41.82 and the geometric wire series reproduce the charts."""
    fraction = float(Fraction(USG[gauge]))
    by_definition = {
        "stainless": fraction,
        "steel": 40 * fraction / 41.82,
        "galvanized": (40 * fraction + 2.5 / 16) / 41.82,
        "aluminium": 0.005 * 92 ** ((36 - gauge) / 39),
    }
    for system, inch in by_definition.items():
        assert gauge_thickness(gauge, system) == pytest.approx(inch * 25.4, abs=0.0001 * 25.4)


def test_gauge_spellings():
    """``18 ga``, ``#18`` and 18 are one gauge; galvanised and aluminum are read too."""
    assert {gauge_thickness(g, "steel") for g in (18, "18", "18 ga", "18GA.", "#18", "18 gauge")} == {
        0.0478 * 25.4
    }
    assert gauge_thickness(18, "galvanised") == gauge_thickness(18, "Galvanized")
    assert gauge_thickness(16, "aluminum") == gauge_thickness(16, "aluminium")
    assert lookup_metal("3003-H14").gauge_system in GAUGE_SYSTEMS


@pytest.mark.parametrize("gauge", [9, 27, 29, 31, 0, -18, 18.5, "18 swg", "thick", None, True])
def test_an_unlisted_gauge_gets_the_list(gauge):
    """What is not on the chart is refused with what is."""
    with pytest.raises(UnknownGauge, match="28, 30") as caught:
        gauge_thickness(gauge, "steel")
    assert 18 in caught.value.known
    assert isinstance(caught.value, LookupError)
    assert isinstance(caught.value, PanelsError)


def test_an_unknown_gauge_system_gets_the_list():
    """A gauge says nothing without its system."""
    with pytest.raises(UnknownGauge, match="steel, galvanized, stainless, aluminium"):
        gauge_thickness(18, "brass")


@given(st.floats(0.2, 4), st.sampled_from(GAUGE_SYSTEMS))
def test_nearest_gauge_is_the_nearest(thickness, system):
    """No listed gauge is closer, and the difference is the true one."""
    found = nearest_gauge(thickness, system)
    assert found.thickness + found.difference == pytest.approx(thickness)
    others = [abs(gauge_thickness(g, system) - thickness) for g in (*range(10, 27), 28, 30)]
    assert abs(found.difference) == pytest.approx(min(others))


@pytest.mark.parametrize("thickness", [0, -1, float("nan"), float("inf"), "1"])
def test_nearest_gauge_refuses_nonsense(thickness):
    """A thickness must be a number above zero."""
    with pytest.raises(BendError, match="thickness"):
        nearest_gauge(thickness, "steel")


MATERIALS = {row["material"]: row for row in rows("materials.csv")}


def published(metal):
    return next(
        row
        for name, row in MATERIALS.items()
        if re.search(rf"\b{re.escape(metal.name)}( annealed \(minimum\)|\b(?! annealed| \(supply))", name)
    )


@pytest.mark.parametrize("metal", [m for m in METALS if m.name != "mild steel"], ids=lambda m: m.name)
def test_metals_carry_the_published_figures(metal):
    """Density, modulus, strength and elongation as in the table, with a source named."""
    row = published(metal)
    assert metal.density == float(row["density_kg_m3"])
    assert metal.youngs_modulus == float(row["E_GPa"])
    assert metal.yield_strength == float(row["yield_or_Rp02_MPa"].lstrip("<="))
    assert metal.elongation == float(row["total_elongation_pct"])
    if metal.name != "304":  # n of 304 is printed with the typical figures, one row further
        assert metal.n == (float(row["n"]) if row["n"] else None)
    assert metal.sources


def test_mild_steel_is_made_up_of_two_named_rows():
    """Generic low-carbon n (Callister) with DC01's limits; 304's n is Callister's too."""
    mild, dc01 = lookup_metal("mild steel"), lookup_metal("DC01")
    assert mild.n == float(MATERIALS["low-carbon steel, annealed (generic)"]["n"])
    assert (mild.elongation, mild.yield_strength) == (dc01.elongation, dc01.yield_strength)
    assert lookup_metal("304").n == float(MATERIALS["stainless 304 annealed (typical)"]["n"])


@pytest.mark.parametrize(
    "typed, name",
    [
        ("3003-H14", "3003-H14"),
        ("aluminium 3003 H14", "3003-H14"),
        ("Aluminum 3003-h14 sheet", "3003-H14"),
        ("EN AW-3003 H14", "3003-H14"),
        ("3003h14", "3003-H14"),
        ("1100-0", "1100-O"),
        ("5052 O", "5052-O"),
        ("DC04", "DC04"),
        ("steel dc 04", "DC04"),
        ("mild steel", "mild steel"),
        ("steel", "mild steel"),
        ("CR steel", "mild steel"),
        ("CRS", "mild steel"),
        ("cold-rolled steel", "mild steel"),
        ("low carbon steel", "mild steel"),
        ("304", "304"),
        ("stainless 304", "304"),
        ("AISI 304 annealed", "304"),
    ],
)
def test_names_a_shop_types(typed, name):
    """Usual spellings find their metal, and a metal finds itself."""
    metal = lookup_metal(typed)
    assert metal.name == name
    assert lookup_metal(metal) is metal


@pytest.mark.parametrize(
    "typed, suggested",
    [
        ("3003", ["3003-O", "3003-H14"]),
        ("3003-H22", ["3003-O", "3003-H14"]),
        ("5052-H34", ["5052-O", "5052-H32"]),
        ("DC4", ["DC04"]),
        ("304L", ["304"]),
        ("aluminium", ["3003-H14", "6061-T6"]),
        ("stainless steel", ["304"]),
        ("mild stel", ["mild steel"]),
    ],
)
def test_an_unknown_metal_gets_a_suggestion(typed, suggested):
    """A near miss is answered with the nearest names and the whole list."""
    with pytest.raises(UnknownMetal, match="did you mean") as caught:
        lookup_metal(typed)
    assert set(suggested) <= set(caught.value.suggestions)
    assert set(caught.value.known) == {metal.name for metal in METALS}
    assert typed in str(caught.value)


@pytest.mark.parametrize("typed", ["", "unobtainium", "7", None])
def test_nonsense_metals_get_the_list(typed):
    """Nothing near is still answered with what exists."""
    with pytest.raises(UnknownMetal, match="3003-H14"):
        lookup_metal(typed)


# Sheet weights recomputed by hand: 1.60 mm 3003 4.37 kg/m2 (2730 kg/m3), 18 ga steel 9.53.
def test_sheet_mass():
    """A square metre of 1.6 mm 3003 weighs 4.37 kg, of 18 ga steel 9.53 kg."""
    assert sheet_mass(1e6, 1.6, "3003-H14") == pytest.approx(4.37, abs=0.005)
    assert sheet_mass(1e6, gauge_thickness(18, "steel"), "mild steel") == pytest.approx(9.53, abs=0.005)


# EN 10131:2006 (Re < 260 MPa, normal class) and EN 485-4 groups I and II, as printed.
@pytest.mark.parametrize(
    "thickness, metal, width, tolerance",
    [
        (1.0, "DC04", 1200, 0.05),
        (1.0, "DC04", 1500, 0.06),
        (1.214, "mild steel", 1219, 0.09),
        (2.0, "DC01", 1000, 0.10),
        (1.6, "3003-H14", 1000, 0.06),
        (1.6, "3003-H14", 1219, 0.10),
        (1.6, "5052-H32", 1000, 0.08),
        (2.03, "5052-H32", 1250, 0.14),
        (1.27, "6061-T6", 1000, 0.07),
        (0.8, "3003-H14", 1000, None),
        (3.0, "DC01", 1000, None),
        (1.6, "3003-H14", 1500, None),
        (1.2, "304", 1000, None),
    ],
)
def test_thickness_tolerance(thickness, metal, width, tolerance):
    """The standards' figures in their ranges, and nothing where they were not read."""
    assert thickness_tolerance(thickness, metal, width) == tolerance
