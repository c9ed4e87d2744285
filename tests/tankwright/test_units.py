"""Lengths and thicknesses as they are written on a bench."""

from __future__ import annotations

import doctest
import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tankwright import units
from tankwright.units import length_mm, show_inches, show_length, show_size, show_thickness, thickness_mm

# One inch is 25.4 mm exactly: international yard and pound agreement, 1959 (from memory).


@pytest.mark.parametrize(
    "text, unit, mm",
    [
        ("1 7/16", "in", 36.5125),
        ("1-7/16", "in", 36.5125),
        ("1 - 7/16 in", "mm", 36.5125),
        ('1-7/16"', "mm", 36.5125),
        ("1 7/16″", "mm", 36.5125),
        ("1½", "in", 38.1),
        ("36.5mm", "in", 36.5),
        ("36.5 mm", "in", 36.5),
        ("0.063 in", "mm", 1.6002),
        (".063", "in", 1.6002),
        ("3/64", "in", 1.190625),
        ("3/64 inch", "mm", 1.190625),
        ("2 ft", "mm", 609.6),
        ("2'", "mm", 609.6),
        ("2' 6 1/2\"", "mm", 774.7),
        ("2 ft 6 in", "mm", 762.0),
        ('-3/8"', "mm", -9.525),
        ("−3/8 in", "mm", -9.525),
        ("+12", "mm", 12.0),
        ("12.", "mm", 12.0),
        ("4.5 cm", "in", 45.0),
        ("0.5 m", "in", 500.0),
        ("1 IN", "mm", 25.4),
        ("1 in.", "mm", 25.4),
        (7, "mm", 7.0),
        (7, "in", 177.8),
        (-0.5, "in", -12.7),
    ],
)
def test_every_way_a_shop_writes_a_length_is_read_exactly(text, unit, mm):
    """Fractions, decimals, marks and words give the millimetres they mean, to the last bit."""
    assert length_mm(text, unit) == mm


@pytest.mark.parametrize(
    "rubbish",
    [
        *(True, False, None, [], [1], {}, {"mm": 1}, math.nan, math.inf, -math.inf, 10**400, 1e300),
        *("", "  ", "abc", "1/0", "1 1/0 in", "0/0", "1/", "/2", "1//2", "1 2", "1 2 3/4", "1.5.2"),
        *("1.5 1/2", "²", "٣/٤ in x"),
        *("36,5", "1,250 mm", "--1", "1-", "-", "nan", "inf", "1e5", "18 ga", "12 px", "12 mm mm", "mm", '"'),
        *("9" * 50, "9" * 39, "1 7/16 lb", "0x10", "१२ in x", "5' 6' 7\""),
    ],
)
def test_what_is_not_a_length_is_refused_in_words(rubbish):
    """Nothing but a ValueError with a sentence comes out, whatever goes in."""
    with pytest.raises(ValueError) as refusal:
        length_mm(rubbish, "mm")
    assert len(str(refusal.value)) > 10
    assert "Fraction" not in str(refusal.value)


def test_a_decimal_comma_gets_the_point_to_write():
    """The commonest slip on a metric bench is answered with the number to write."""
    with pytest.raises(ValueError, match=r"36\.5"):
        length_mm("36,5")


ANYTHING = st.one_of(st.text(max_size=60), st.floats(), st.integers(), st.booleans(), st.none(), st.binary())


@given(ANYTHING)
def test_any_value_gives_a_finite_length_or_a_value_error(value):
    """The reader never lets another exception or a not-finite number through."""
    try:
        mm = length_mm(value, "in")
    except ValueError:
        return
    assert math.isfinite(mm)


@given(
    st.integers(0, 200),
    st.integers(0, 63),
    st.sampled_from(["-", " "]),
    st.sampled_from(["in", '"', " inch"]),
)
def test_fractions_round_trip(whole, over, joint, mark):
    """A whole number and sixty-fourths, written in any of the usual ways, is exact."""
    text = f"{whole}{joint}{over}/64{mark}"
    assert length_mm(text) == float((whole + Fraction(over, 64)) * Fraction(254, 10))


@given(st.floats(-3000, 3000))
def test_printed_lengths_are_read_back(mm):
    """What is printed beside a line, read back, is within 0.1 mm of it, in either unit."""
    assert length_mm(show_inches(mm), "in") == pytest.approx(mm, abs=0.1)
    assert length_mm(show_length(mm)) == pytest.approx(mm, abs=0.0501)


@pytest.mark.parametrize(
    "text, kind, inches",
    # Printed on two published sheet gauge charts; the systems' definitions give the same.
    [
        ("18 ga", "steel", 0.0478),
        ("18 gauge", "stainless", 0.0500),
        ("18ga", "aluminium", 0.0403),
        ("#16 ga", "steel", 0.0598),
        ("20 GA.", "galvanized", 0.0396),
    ],
)
def test_a_gauge_depends_on_the_metal(text, kind, inches):
    """The same gauge number is another thickness in another kind of metal."""
    assert thickness_mm(text, "in", kind) == pytest.approx(inches * 25.4, abs=0.002)


def test_a_thickness_may_be_a_length():
    """Where no gauge is named the thickness is read like any length."""
    assert thickness_mm(1.6) == 1.6
    assert thickness_mm("0.063 in") == pytest.approx(1.6002)


@pytest.mark.parametrize("value, kind", [("18 ga", None), ("99 ga", "steel"), (0, None), (-1.6, None), ("1/0", None)])
def test_a_thickness_that_means_nothing_is_refused(value, kind):
    """A gauge without its metal, a gauge not listed, and a sheet of nought are refused in words."""
    with pytest.raises(ValueError):
        thickness_mm(value, "mm", kind)


@pytest.mark.parametrize(
    "shown, text",
    [
        (show_length(36.5125, "in"), "1 7/16 in (36.5 mm)"),
        (show_length(36.9, "in"), "1.453 in (36.9 mm)"),
        (show_length(0.0), "0.0 mm"),
        (show_length(-0.01), "0.0 mm"),
        (show_length(0.0, "in"), "0 in (0.0 mm)"),
        (show_length(-9.525, "in"), "-3/8 in (-9.5 mm)"),
        (show_size(1219.2, 2438.4, "in"), "48 x 96 in (1219.2 x 2438.4 mm)"),
        (show_size(1000, 2000), "1000 x 2000 mm"),
        (show_thickness(1.6), "1.6 mm"),
        (show_thickness(1.21412, "in"), "0.048 in (1.21 mm)"),
    ],
)
def test_lengths_are_printed_as_the_job_writes_them(shown, text):
    """Millimetres always; inches first, as a rule shows them, where the job is in inches."""
    assert shown == text


def test_examples_in_the_docstrings_hold():
    """Every example in the module runs as printed."""
    assert doctest.testmod(units).failed == 0


@given(st.integers(-30_000, 30_000), st.floats(-0.0499, 0.0499))
def test_inches_follow_from_the_millimetres_beside_them(tenths, hair):
    """Lengths that print the same millimetres print the same inches, whatever hair's breadth lies between them."""
    assert show_inches(tenths / 10 + hair) == show_inches(tenths / 10)
    assert show_length(tenths / 10, "in") == f"{show_inches(tenths / 10)} in ({tenths / 10:.1f} mm)".replace(
        "(-0.0", "(0.0"
    )
