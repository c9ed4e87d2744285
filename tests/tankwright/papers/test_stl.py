"""The body as STL: watertight, true to size, the same every time, in millimetres."""

from __future__ import annotations

import io
import struct

import numpy as np
import pytest

from tankwright.papers.stl import stl

from .fixture import small_work

BODY = small_work().body


def _volume(vertices: np.ndarray, faces: np.ndarray) -> float:
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    return float((a * np.cross(b, c)).sum() / 6)


def test_a_general_reader_finds_it_closed_and_of_the_same_volume():
    """Read back by trimesh: watertight, turned outwards, volume within 0.001 % of the body's outer mesh."""
    trimesh = pytest.importorskip("trimesh")
    mesh = trimesh.load(io.BytesIO(stl(BODY)), file_type="stl")
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert len(mesh.faces) == len(BODY.faces)
    assert mesh.volume == pytest.approx(_volume(*BODY.mesh), rel=1e-5)
    assert mesh.extents == pytest.approx(np.ptp(BODY.outer, axis=0), abs=1e-3)


def test_file_is_laid_out_as_the_format_says():
    """80 bytes that do not start with solid, the count, then 50 bytes a triangle; the head says mm."""
    content = stl(BODY, "saddle, revision B")
    (count,) = struct.unpack("<I", content[80:84])
    assert count == len(BODY.faces)
    assert len(content) == 84 + 50 * count
    head = content[:80].decode("ascii")
    assert not head.lower().startswith("solid")
    assert "mm" in head
    assert "revision B" in head


def test_normals_are_of_unit_length_and_point_outwards():
    """Each stored normal is the one its corners turn about."""
    content = stl(BODY)
    rows = np.frombuffer(content[84:], dtype=[("n", "<f4", 3), ("c", "<f4", (3, 3)), ("x", "<u2")])
    assert np.linalg.norm(rows["n"], axis=1) == pytest.approx(1.0, abs=1e-5)
    corners = rows["c"].astype(float)
    turn = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    assert ((turn * rows["n"]).sum(axis=1) > 0).all()
    assert not rows["x"].any()


def test_same_body_gives_the_same_bytes():
    """Nothing but the body and its title is in the file."""
    assert stl(BODY, "a") == stl(BODY, "a")


def test_a_long_or_foreign_title_does_no_harm():
    """The head stays 80 bytes of plain letters."""
    content = stl(BODY, "Ő" * 300)
    assert content[:80].isascii()
    assert struct.unpack("<I", content[80:84])[0] == len(BODY.faces)
