"""The body file as trimesh, a general mesh library, reads it."""

from __future__ import annotations

import io

import pytest
import trimesh

from tankwright.papers.stl import stl_file
from tests.tankwright.papers.fixture import small_work


def test_body_comes_back_closed_and_as_large():
    """Closed, outwards, as many faces and as much volume as the body, to single precision."""
    work = small_work()
    mesh = trimesh.load(io.BytesIO(stl_file(work)["body.stl"]), file_type="stl")
    body = trimesh.Trimesh(work.body.outer, work.body.faces, process=False)
    assert mesh.is_watertight
    assert len(mesh.faces) == len(work.body.faces)
    assert mesh.volume == pytest.approx(body.volume, rel=1e-5)
    assert mesh.bounds == pytest.approx(body.bounds, abs=1e-3)


def test_body_file_is_the_same_every_time():
    """No clock, no order by chance."""
    assert stl_file(small_work()) == stl_file(small_work())
