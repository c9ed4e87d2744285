"""Developing skins: strain and time, beside libigl's ARAP and SLIM in the same run.

    python benchmarks/develop.py            about 2000 triangles
    python benchmarks/develop.py --fine     about 20 000 as well
    python benchmarks/develop.py --fine --write

Prints one table; ``--write`` puts it between its markers in benchmarks/README.md. "bound" is what no blank of the
shape can beat (from its curvature), "floor" what no layout of this very mesh can beat to first order in strain, both
worked out by the tool. Times are processor time, which a busy machine changes little, the best of several, in ms,
from vertices and faces to a checked result; the bound is worked out when asked for and timed on its own. libigl
starts from a harmonic layout in a circle, which is part of its time; it has no aim like "least_worst", so its strains
are those of its own energies. Set OMP_NUM_THREADS=1 to keep libraries from starting threads. Figures go with the
machine: say which, how busy, what day.
"""

from __future__ import annotations

import argparse
import os
import platform
import sys
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from panels.develop import develop_mesh
from tests.panels import develop_shapes as shapes

SHAPES: dict[str, Callable[[int], tuple[np.ndarray, np.ndarray]]] = {
    "cap 15": lambda k: shapes.cap(15, 18 * k),
    "cap 30": lambda k: shapes.cap(30, 18 * k),
    "cap 45": lambda k: shapes.cap(45, 18 * k),
    "spheroid E1": lambda k: shapes.spheroid(18 * k),
    "torus T1": lambda k: shapes.torus(40 * k, 25 * k),
    "torus T2": lambda k: shapes.torus(40 * k, 25 * k, inner=True),
    "saddle H1": lambda k: shapes.saddle(32 * k),
    "ellipsoid E2": lambda k: shapes.ellipsoid_quarter(48 * k, 22 * k),
    "tank quarter": lambda k: shapes.tank_quarter(48 * k, 22 * k),
    "cone": lambda k: shapes.cone(40 * k, 25 * k),
}
ITERATIONS = 100  # of each libigl solver; more changed the distortion by less than 1 % on the caps


def best_of(times: int, work: Callable[[], Any]) -> tuple[float, Any]:
    """Least processor time of several runs, ms, and the last result."""
    least, result = np.inf, None
    for _ in range(times):
        start = time.process_time()
        result = work()
        least = min(least, time.process_time() - start)
    return least * 1e3, result


def strains(vertices: np.ndarray, faces: np.ndarray, points: np.ndarray) -> tuple[float, int]:
    """Distortion and number of folded triangles of any layout, by numpy's singular values."""
    p, q = vertices[faces], points[faces]
    e1, e2 = p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]
    u = e1 / np.linalg.norm(e1, axis=1)[:, None]
    v = np.cross(np.cross(e1, e2), u)
    v /= np.linalg.norm(v, axis=1)[:, None]
    solid = np.array([[(e1 * u).sum(1), (e2 * u).sum(1)], [(e1 * v).sum(1), (e2 * v).sum(1)]]).transpose(2, 0, 1)
    flat = np.stack([q[:, 1] - q[:, 0], q[:, 2] - q[:, 0]], axis=2)
    e = -np.log(np.linalg.svd(flat @ np.linalg.inv(solid), compute_uv=False))
    return float(np.ptp(e)), int((np.linalg.det(flat) * np.sign(np.linalg.det(flat).sum()) <= 0).sum())


def igl_start(vertices: np.ndarray, faces: np.ndarray) -> np.ndarray:
    import igl

    loop = igl.boundary_loop(faces.astype(np.int64))
    ring = igl.map_vertices_to_circle(np.asfortranarray(vertices), loop.astype(np.int32))
    flat = igl.harmonic(vertices, faces.astype(np.int64), loop.astype(np.int64), np.ascontiguousarray(ring), 1)
    area = np.linalg.norm(
        np.cross(vertices[faces[:, 1]] - vertices[faces[:, 0]], vertices[faces[:, 2]] - vertices[faces[:, 0]]), axis=1
    ).sum()
    return np.ascontiguousarray(flat * np.sqrt(area / 2 / np.pi))


def igl_arap(vertices: np.ndarray, faces: np.ndarray) -> np.ndarray:
    import igl

    start, data = igl_start(vertices, faces), igl.ARAPData()
    data.max_iter = ITERATIONS
    fixed = np.array([0], dtype=np.int32)  # one point, or the layout may drift
    igl.arap_precomputation(vertices, faces.astype(np.int64), 2, fixed, data)
    return igl.arap_solve(np.ascontiguousarray(start[:1]), data, start)


def igl_slim(vertices: np.ndarray, faces: np.ndarray) -> np.ndarray:
    import igl

    start = np.asfortranarray(igl_start(vertices, faces))
    none, nowhere = np.zeros(0, dtype=np.int32), np.zeros((0, 2), order="F")
    data = igl.slim_precompute(
        np.asfortranarray(vertices),
        np.asfortranarray(faces.astype(np.int32)),
        start,
        igl.MappingEnergyType.SYMMETRIC_DIRICHLET,
        none,
        nowhere,
        0.0,
    )
    return igl.slim_solve(data, ITERATIONS // 5)[:, :2]


def row(name: str, scale: int, times: int) -> list[str]:
    vertices, faces = SHAPES[name](scale)
    vertices = np.ascontiguousarray(vertices)
    even_ms, even = best_of(times, lambda: develop_mesh(vertices, faces))
    worst_ms, worst = best_of(times, lambda: develop_mesh(vertices, faces, aim="least_worst"))
    bound_ms, bound = best_of(1, lambda: worst.lower_bound)
    cells = [name, str(len(faces)), f"{bound:.5f}", f"{worst.mesh_floor:.5f}"]
    for ms, skin in ((even_ms, even), (worst_ms, worst)):
        over = f"{skin.distortion / bound:.3f}" if bound else "-"
        cells += [f"{skin.distortion:.5f}", over, f"{ms:.0f}"]
    cells.append(f"{bound_ms:.0f}")
    for solver in (igl_arap, igl_slim):
        try:
            ms, flat = best_of(1, partial(solver, vertices, faces))
        except ImportError:
            cells += ["-", "-"]
            continue
        distortion, folded = strains(vertices, faces, np.asarray(flat))
        over = f"{distortion / worst.distortion:.2f}" if worst.distortion > 1e-6 else f"D {distortion:.3f}"
        cells += [over + (f" {folded} folded" if folded else ""), f"{ms / even_ms:.1f}"]
    return cells


HEADS = [
    *("shape", "triangles", "bound", "floor", "even D", "/ bound", "ms", "least worst D", "/ bound", "ms", "bound ms"),
    *("ARAP D / least worst", "ms / even", "SLIM D / least worst", "ms / even"),
]


def main() -> None:
    options = argparse.ArgumentParser(description="Strain and time of developing skins, beside libigl.")
    options.add_argument("--fine", action="store_true", help="about 20 000 triangles as well")
    options.add_argument("--shapes", default="", help="comma-separated names; all without it")
    options.add_argument("--write", action="store_true", help="put the table into benchmarks/README.md")
    given = options.parse_args()
    names = [n for n in given.shapes.split(",") if n] or list(SHAPES)
    day = time.strftime("%Y-%m-%d")
    lines = [
        f"{platform.machine()}, {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}, "
        f"Python {platform.python_version()}, numpy {np.__version__}, {day}.\n",
        "| " + " | ".join(HEADS) + " |",
        "|---" * len(HEADS) + "|",
    ]
    print("\n".join(lines))
    _ = develop_mesh(*shapes.cap(30, 4), aim="least_worst").lower_bound  # imports are no part of the figures
    for scale, times in ((1, 5), (3, 2)) if given.fine else ((1, 5),):
        for name in names:
            lines.append("| " + " | ".join(row(name, scale, times)) + " |")
            print(lines[-1], flush=True)
    if given.write:
        write("\n".join(lines))


def write(text: str) -> None:
    """Put the table between its markers in benchmarks/README.md."""
    readme = Path(__file__).parent / "README.md"
    start, end = "<!-- develop: begin -->", "<!-- develop: end -->"
    head, rest = readme.read_text().split(start)
    readme.write_text(f"{head}{start}\n{text}\n{end}{rest.split(end)[1]}")


if __name__ == "__main__":
    main()
