"""Strain beside what is published about the sheet.

Forming limit of steel: FLC0 = (23.3 + 14.13 t) n / 0.21 percent, t in mm; in inches 23.3 + 359 t. The inch and
millimetre forms are two printings of one equation and must agree; no printed worked value was found, so the values
below are the equation worked by hand. Thickness: constant volume.
"""

from dataclasses import replace

import numpy as np
import pytest

from panels.develop import develop_mesh
from panels.errors import DevelopError
from panels.forming import forming_limit, sheet_load
from panels.metal import lookup_metal
from tests.panels import develop_shapes as shapes

STEEL = replace(lookup_metal("DC04"), n=0.21)


@pytest.mark.parametrize(
    "mm, n, percent",
    [
        (1.0, 0.21, 37.43),
        (0.912, 0.21, 36.18),
        (1.214, 0.21, 40.45),
        (1.5, 0.21, 44.50),
        (1.0, 0.18, 32.08),
        (1.0, 0.15, 26.74),
    ],
)
def test_forming_limit_of_steel(mm, n, percent):
    """Thickness and hardening as in the equation, in millimetres and in inches."""
    limit = forming_limit(replace(STEEL, n=n), mm)
    assert 100 * np.expm1(limit.plane_strain) == pytest.approx(percent, abs=0.01)
    assert 100 * np.expm1(limit.plane_strain) == pytest.approx((23.3 + 359 * mm / 25.4) * n / 0.21, abs=0.01)


def test_limit_is_capped_and_named():
    """Past n = 0.21 and 3 mm the equation's range is unsettled: no more is claimed. Aluminium has no such equation."""
    assert forming_limit(replace(STEEL, n=0.3), 5.0) == forming_limit(STEEL, 3.0)
    soft = lookup_metal("1100-O")
    assert forming_limit(soft, 1.6).plane_strain == soft.n
    assert "memory" in forming_limit(soft, 1.6).source
    assert forming_limit(replace(soft, n=None), 1.6) is None
    with pytest.raises(DevelopError, match="0 mm thick"):
        forming_limit(soft, 0)


def test_limit_curve():
    """Left branch: constant thinning, so e1 + e2 stays the plane-strain value; right branch rises by 0.6."""
    limit = forming_limit(STEEL, 1.0)
    minor = np.array([-0.2, -0.1, 0.0])
    assert limit.at(minor) + minor == pytest.approx(np.full(3, limit.plane_strain))
    assert limit.at(0.1) - limit.plane_strain == pytest.approx(0.06)
    assert limit.at(0.5) == limit.at(0.2)


def test_stretch_only_cap_thins_at_the_pole():
    """Stretched over a 30 degree cap, the pole thins by twice the distortion: 8.8 %."""
    skin = develop_mesh(*shapes.cap(30), aim="least_worst", shrink_cost=1e6)
    load = sheet_load(skin.strain, STEEL, 1.0)
    assert load.thinnest == pytest.approx(np.exp(-2 * 0.0461175972), rel=0.003)
    assert load.used == pytest.approx(0.0461175972 / forming_limit(STEEL, 1.0).plane_strain, rel=0.02)  # at the rim
    assert "well below the published forming limit" in load.words
    assert f"{load.thinnest:.2f} mm at the thinnest" in load.change
    assert "shrunk" not in load.change


@pytest.mark.parametrize("major, word", [(0.05, "well below"), (0.25, "near"), (0.4, "past")])
def test_words(major, word):
    """A word for each, and never a promise."""
    load = sheet_load([[major, 0.0]], STEEL, 1.0)
    assert word in load.words
    assert not {"safe", "ok", "fine", "passes"} & set(load.words.lower().replace(",", " ").split())
    hard = lookup_metal("3003-H14")
    assert "elongation" in sheet_load([[major / 4, 0.0]], hard, 1.0).words


def test_shrunk_panel():
    """Only to be shrunk: nothing used, thicker everywhere."""
    load = sheet_load([[0.0, -0.05], [-0.01, -0.02]], STEEL, 1.2)
    assert load.used == 0.0
    assert load.thickest == pytest.approx(1.2 * np.exp(0.05))
    assert "thicker" in load.words
    with pytest.raises(DevelopError, match="rows of two"):
        sheet_load([0.1, 0.2], STEEL, 1.2)
