"""Curves through pattern points: against a general library and against closed forms."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from scipy.interpolate import CubicSpline, PchipInterpolator
from scipy.special import ellipe

from panels.curves import curve_through, monotone_between, polyline_length

PROFILE = np.array(
    [[0, 96], [5, 116], [22, 136], [60, 152], [140, 168], [240, 173], [340, 165], [440, 145], [512, 121.0]]
)


def test_smooth_run_is_scipys_natural_spline():
    """Natural cubic with centripetal parameter, as scipy's CubicSpline gives it, within the chord error."""
    t = np.concatenate([[0], np.cumsum(np.sqrt(np.linalg.norm(np.diff(PROFILE, axis=0), axis=1)))])
    exact = CubicSpline(t, PROFILE, bc_type="natural")(np.linspace(0, t[-1], 20001))
    dense = curve_through("top", PROFILE).dense
    assert shapely.distance(shapely.points(dense), shapely.LineString(exact)).max() < 1e-3
    assert shapely.distance(shapely.points(exact[::50]), shapely.LineString(dense)).max() < 0.011
    assert curve_through("top", PROFILE).length == pytest.approx(polyline_length(exact), abs=0.02)


@pytest.mark.parametrize("points, within", [(9, 0.2), (17, 0.02), (33, 0.005)])
def test_quarter_ellipse_has_its_length(points, within):
    """Quarter of an ellipse, a E(m), m = 1 - (b/a)^2 (NIST DLMF 19.30(i)); nearer the more points are read."""
    t = np.linspace(0, np.pi / 2, points)
    half = np.column_stack([150 - 150 * np.cos(t), 110 * np.sin(t)])
    half[0, 1] = 0.0
    curve = curve_through("half", half, mirror_axis=1)
    # The rear end of a quarter is not an end of the ellipse: reading it from both sides needs its mirror.
    curve = curve_through("half", np.vstack([half, (half * [-1, 1] + [300, 0])[-2::-1]]), mirror_axis=1)
    assert curve.length / 2 == pytest.approx(150 * ellipe(1 - (110 / 150) ** 2), abs=within)


def test_corners_break_the_curve_and_straight_lines_stay_straight():
    """Between corners nothing bends that is not asked to: lengths are plain Pythagoras."""
    square = [[0, 0], [0, 60], [80, 60], [80, 0]]
    curve = curve_through("end", square, straight=True)
    assert curve.length == pytest.approx(200, abs=1e-9)
    assert len(curve.dense) == 4
    bent = curve_through("run", [[0, 0], [100, 0], [200, 0], [200, 50]], corners=[2])
    assert bent.length == pytest.approx(250, abs=1e-6)


def test_curve_passes_through_every_point():
    """A pattern's points lie on its curve, corners or not."""
    curve = curve_through("top", PROFILE, corners=[4])
    apart = np.linalg.norm(curve.dense[:, None] - PROFILE[None], axis=2).min(axis=0)
    assert apart.max() < 1e-9


def test_half_outline_runs_smoothly_across_the_centre():
    """A round nose read as a half outline meets its mirror image square to the centre line."""
    t = np.linspace(0, np.pi / 2, 7)
    half = np.column_stack([80 - 80 * np.cos(t), 80 * np.sin(t)])
    half[0, 1] = 0.0
    start = curve_through("nose", half, mirror_axis=1).dense[:2]
    step = start[1] - start[0]
    assert abs(step[0]) / np.hypot(*step) < 0.02


@pytest.mark.parametrize("seed", range(5))
def test_monotone_interpolation_is_scipys(seed):
    """`monotone_between` is what scipy calls PCHIP, for any knots and several values at once."""
    r = np.random.default_rng(seed)
    knots = np.cumsum(r.uniform(0.1, 1, 2 + seed))
    values = r.normal(size=(len(knots), 3, 2))
    at = np.linspace(knots[0], knots[-1], 77)
    assert monotone_between(knots, values, at) == pytest.approx(PchipInterpolator(knots, values)(at), abs=1e-12)
