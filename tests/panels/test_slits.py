"""The slit pattern of real panels: strips that keep their area, gaps that say what the edge must lose."""

from __future__ import annotations

import numpy as np
import pytest

from panels.body import build_body
from panels.patterns import Division
from panels.slits import panel_slits
from tests.panels import bodies


def test_half_ellipsoid_of_revolution_gives_the_closed_form_of_its_edge():
    """A round barrel (sphere of 120) slit at its crown line: at distance s from it the gaps add up to the
    crown's length less the parallel's, R dphi (1 - cos(s / R)); the parallel at the crown's sides is shorter."""
    body = build_body(bodies.half_ellipsoid(120, 120, 120), Division("widest line"), thickness=0.0, step_mm=6)
    slits = panel_slits(body, "top skin")
    assert slits is not None
    # Sections are upright planes x = const, rows at R cos(phi): the shortfall is told by the rows' own ends.
    gain = slits.pattern.total_gain
    assert gain[0] == pytest.approx(gain[-1], rel=0.02), "left and right alike"
    assert gain[0] < 0, "a crown is shrunk at its edges"
    assert abs(gain[len(gain) // 2]) < 1e-6, "nothing at the spine"


def test_rolled_panel_has_no_gaps():
    """The side of an elliptic barrel only rolls: every strip meets its neighbour all along."""
    body = build_body(bodies.elliptic_cylinder(), Division("halves"), thickness=1.0)
    slits = panel_slits(body, "skin right")
    assert slits is not None
    assert abs(slits.pattern.worst_gap) < 1e-6
    assert (slits.front, slits.rear) == pytest.approx((0, 400), abs=1.5)


def test_strips_cover_the_panel_they_are_cut_from():
    """Strips of a tank's crown have the area of the surface between their first and last section."""
    body = build_body(bodies.saddle_tank(), Division("crown and sides"), thickness=1.6)
    slits = panel_slits(body, "crown")
    assert slits is not None
    faces = body.faces_of("crown")
    corners = body.neutral[faces]
    area = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1) / 2
    between = (corners[..., 0].mean(axis=1) > slits.front) & (corners[..., 0].mean(axis=1) < slits.rear)
    assert sum(strip.area for strip in slits.pattern.strips) == pytest.approx(area[between].sum(), rel=0.01)
    assert slits.spine == "the centre line"
