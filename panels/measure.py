"""Volume, area and centre of closed triangle meshes, and how much of them lies below a level."""

from __future__ import annotations

import numpy as np

from .cutting_mesh import area_vectors

__all__ = ["area", "centre_of_volume", "signed_volume", "volume", "volume_below"]


def area(vertices: np.ndarray, faces: np.ndarray) -> float:
    """Area of a mesh, mm2."""
    return float(np.linalg.norm(area_vectors(vertices, faces), axis=1).sum())


def volume(vertices: np.ndarray, faces: np.ndarray) -> float:
    """Volume inside a closed mesh whose faces turn outwards, mm3 (signed tetrahedra from its middle)."""
    p = vertices[faces] - vertices.mean(axis=0)
    return float(np.einsum("mi,mi->m", p[:, 0], np.cross(p[:, 1], p[:, 2])).sum() / 6)


def signed_volume(vertices: np.ndarray, faces: np.ndarray) -> float:
    """Volume between faces and the origin, mm3: what they add to a closed mesh of which they are a part."""
    p = vertices[faces]
    return float(np.einsum("mi,mi->", p[:, 0], np.cross(p[:, 1], p[:, 2])) / 6)


def centre_of_volume(vertices: np.ndarray, faces: np.ndarray) -> np.ndarray:
    """Centre of mass (3,) of the volume inside a closed mesh."""
    middle = vertices.mean(axis=0)
    p = vertices[faces] - middle
    six = np.einsum("mi,mi->m", p[:, 0], np.cross(p[:, 1], p[:, 2]))
    return middle + (six[:, None] * p.sum(axis=1)).sum(axis=0) / (4 * six.sum())


def volume_below(vertices: np.ndarray, faces: np.ndarray, level: float) -> float:
    """Volume of the part of a closed mesh below z = level, mm3.

    By the divergence theorem with the field (0, 0, min(z - level, 0)): the sum over faces of the depth
    below the level times the face's upward area.
    """
    depth = np.sort(np.minimum(vertices[faces, 2] - level, 0), axis=1)
    z = np.sort(vertices[faces, 2] - level, axis=1)
    up = area_vectors(vertices, faces)[:, 2]
    mean = depth.mean(axis=1)
    # Faces that cross the level: the mean of min(z, 0) over a triangle, cut at one or two corners.
    one = (z[:, 0] < 0) & (z[:, 1] >= 0)
    two = (z[:, 1] < 0) & (z[:, 2] > 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        lone_low = z[:, 0] ** 3 / (3 * (z[:, 1] - z[:, 0]) * (z[:, 2] - z[:, 0]))
        lone_high = z[:, 2] ** 3 / (3 * (z[:, 2] - z[:, 0]) * (z[:, 2] - z[:, 1]))
    mean = np.where(one, lone_low, np.where(two, z.mean(axis=1) - lone_high, mean))
    return float((mean * up).sum())
