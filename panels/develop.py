"""Lay a curved skin out flat with as little strain as its shape allows.

Words used here
    blank        the flat piece the skin starts from
    forming      blank to finished surface; every strain is meant in this direction
    strain       natural logarithm of length after over length before; positive where metal is stretched, negative where
                 it is shrunk. Two principal strains per triangle, at right angles
    distortion   largest strain anywhere less smallest strain anywhere; it does not change when the blank is scaled
    developable  bends in one direction only, like a tube or a cone, and lies flat without any strain

Which way up: a triangle whose corners run anticlockwise seen from outside the tank runs anticlockwise on the
blank too, so the blank is seen from the outside face of the sheet and nothing comes out mirrored. If the faces
run the other way, the blank shows the inside.

Where: the centroid of the blank's area is at (0, 0). Turned so that ``along``, a direction in space, points along
+x as nearly as it can; without ``along``, so that the longest extent lies along x.

Everything is in millimetres and at the surface given: hand over the neutral surface, not the outside.
Method, derivation and what was turned down: notes/decisions/0003-developing-skins.md and 0010.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property, partial
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from panels._develop_bound import lower_bound
from panels._develop_energy import Kept, Strains, cosh_cost, descend, even_cost, strains_of
from panels._develop_mesh import Disc, disc_from
from panels._develop_sparse import Pattern, fill_order, pattern_for
from panels._develop_start import conformal, embedded, unfolded
from panels._develop_worst import level
from panels.errors import BlankOverlap, DevelopError, DevelopStalled

__all__ = ["Development", "develop_mesh"]

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

AIMS = ("even", "least_worst")
EVEN_UNTIL = 1e-6  # of the summed squares; the strains have then settled to a few parts in 10 000
SETTLED = 0.1  # of the largest strain: a step that changes none by more is the last
FLAT_ENOUGH = 1e-7  # strain below which a panel counts as a developable laid exactly
COST_STEP = 4.0  # a dear shrink is reached in factors of this: from far away the one-sided weights make steps short
TOO_FAR = 0.5  # strain from which the squares are no longer convex and the start is brought in by another cost


@dataclass(frozen=True, eq=False)
class Development:
    """A skin laid flat, and what forming it back will take."""

    points: Floats = field(repr=False)  #: (n, 2) mm, every vertex on the blank
    faces: Ints = field(repr=False)  #: (m, 3) anticlockwise, as used
    loops: tuple[Ints, ...] = field(repr=False)  #: vertex numbers round the outer edge, anticlockwise, then round holes
    strain: Floats = field(repr=False)  #: (m, 2) principal natural strains, largest first
    directions: Floats = field(repr=False)  #: (m, 2, 2) unit vectors on the blank, one for each strain
    aim: str
    shrink_cost: float
    distortion: float  #: largest less smallest strain over the panel
    rms: float  #: root of the mean of (e1^2 + e2^2) / 2 over the finished area
    area_flat: float  #: mm2
    area_formed: float  #: mm2
    flipped: int  #: triangles that came out turned over: 0
    overlaps: int  #: places where the outline crosses itself: 0
    developable: bool  #: laid flat exactly, without strain
    mesh_floor: float | None  #: least worst only: limit for this very mesh, first order in strain
    _bound: Callable[[], tuple[float, str]] = field(repr=False)

    @cached_property
    def limit(self) -> tuple[float, str]:
        """Distortion that no blank of this shape can beat, and where that limit comes from; worked out when asked."""
        return (0.0, "a developable") if self.developable else self._bound()

    @property
    def lower_bound(self) -> float:
        """Distortion that no blank of this shape can beat, from its curvature alone."""
        return self.limit[0]

    @property
    def bound_from(self) -> str:
        """The disc or strip of the panel that the limit comes from."""
        return self.limit[1]

    @property
    def max_stretch(self) -> float:
        """Largest strain, natural."""
        return float(self.strain.max())

    @property
    def max_shrink(self) -> float:
        """Smallest strain, natural; negative where metal must be shrunk."""
        return float(self.strain.min())

    @property
    def thickening(self) -> Floats:
        """(m,) natural strain through the thickness at constant volume: positive where the sheet gets thicker."""
        return -self.strain.sum(axis=1)


def develop_mesh(
    vertices: ArrayLike,
    faces: ArrayLike,
    *,
    aim: Literal["even", "least_worst"] = "even",
    shrink_cost: float = 1.0,
    along: ArrayLike | None = None,
    gap: float = 2e-3,
    allow_overlap: bool = False,
) -> Development:
    """Lay a triangulated skin flat with least strain.

    Parameters
    ----------
    vertices : array_like, shape (n, 3)
        mm.
    faces : array_like, shape (m, 3)
        Vertex numbers, anticlockwise seen from outside. Triangles that disagree with the first are turned.
        One piece with one outer edge; holes are allowed.
    aim : {"even", "least_worst"}
        "even" takes the least sum of squared strain over the finished area; "least_worst" the least distortion.
    shrink_cost : float
        How much dearer it is to shrink than to stretch by as much. Very large gives a blank that needs stretching
        only, very small one that needs shrinking only. Common practice, no source: 1, or 2 to 3 where the shop has
        hammer and dolly but no shrinker.
    along : array_like, shape (3,), optional
        Direction in space that shall lie along +x on the blank.
    gap : float
        "least_worst" stops within this fraction of the least worst strain that this mesh allows.
    allow_overlap : bool
        Return a blank that lies over itself instead of raising.

    Returns
    -------
    Development
        Strains are those of the triangles given: a coarse mesh adds its own, about 1 % of the strain at 2000 triangles.

    Raises
    ------
    NotADisc, BadTriangle
        See ``panels.errors``; each names the vertex or triangle.
    BlankOverlap
        Free of folds but lying over itself, so it cannot be cut from one sheet; carries ``.development``.
    DevelopStalled
        No layout without folded triangles was found.
    DevelopError
        An option that does not exist or a number out of range.

    Notes
    -----
    A spherical cap of angular radius a cannot have a distortion below ln(a / sin a): J. Milnor, "A problem in
    cartography", American Mathematical Monthly 76 (1969) 1101-1112.

    Examples
    --------
    >>> skin = develop_mesh([[0, 0, 0], [30, 0, 40], [30, 20, 40], [0, 20, 0]], [[0, 1, 2], [0, 2, 3]], along=[1, 0, 0])
    >>> skin.points.round(3).tolist()
    [[-25.0, -10.0], [25.0, -10.0], [25.0, 10.0], [-25.0, 10.0]]
    """
    _check_options(aim, shrink_cost, gap)
    disc = disc_from(vertices, faces)
    points, st, exact, floor = _laid_out(disc, aim, float(shrink_cost), gap)
    points, st = _placed(disc, points, st, along)
    result = _development(disc, points, st, aim, float(shrink_cost), exact, floor)
    if result.overlaps and not allow_overlap:
        raise BlankOverlap(
            f"The blank would lie over itself: its outline crosses itself in {result.overlaps} places.\n\n"
            "hint: divide the skin with a seam, or cut it open where it closes on itself.",
            development=result,
            overlaps=result.overlaps,
        )
    return result


def _check_options(aim: str, shrink_cost: float, gap: float) -> None:
    if aim not in AIMS:
        raise DevelopError(f"There is no aim {aim!r}; choose one of {', '.join(AIMS)}.", aim=aim)
    if not (np.isfinite(shrink_cost) and shrink_cost > 0):
        raise DevelopError(f"shrink_cost is {shrink_cost}, it must be above 0.", shrink_cost=shrink_cost)
    if not 1e-8 <= gap < 1:
        raise DevelopError(f"gap is {gap}, it must be from 1e-8 to below 1.", gap=gap)


def _laid_out(disc: Disc, aim: str, shrink_cost: float, gap: float) -> tuple[Floats, Strains, bool, float | None]:
    """Layout, strains, whether exact, floor for this mesh."""
    flat = unfolded(disc)
    st = None if flat is None else strains_of(disc, flat)
    if flat is not None and st is not None and np.abs(st.e).max() < FLAT_ENOUGH:
        return flat, st, True, 0.0
    rank = fill_order(disc.faces, len(disc.vertices))
    pattern = pattern_for(disc.faces, rank, 2)
    points = _unfolded_start(disc, pattern, rank)
    if aim == "even":
        points, st = _even(disc, pattern, points, shrink_cost)
        return points, st, False, None
    points, _, _ = descend(disc, pattern, points, even_cost(1.0), until=1e-3, most=50)
    points, st, floor = level(disc, pattern, points, gap=gap)
    # Whatever shrinking costs, the least range is the same: only the size of the blank changes (notes, section 6).
    shift = np.ptp(st.e) / 2 * (shrink_cost - 1) / (shrink_cost + 1)
    points = points * np.exp(-shift)
    return points, Strains(st.e + shift, st.s * np.exp(-shift), st.u, st.v), False, min(floor, float(np.ptp(st.e)))


def _unfolded_start(disc: Disc, pattern: Pattern, rank: Ints) -> Floats:
    """A layout without folds, near enough to true size for least squares."""
    points = conformal(disc, rank)
    st = strains_of(disc, points)
    if st is None:
        points = embedded(disc)
        st = strains_of(disc, points)
    if st is None:
        raise DevelopStalled(
            "No flat layout free of folded triangles was found: some triangles are too thin to be told from lines.\n\n"
            "hint: remesh the panel with rounder triangles."
        )
    if np.abs(st.e).max() > TOO_FAR:
        points, st, _ = descend(disc, pattern, points, cosh_cost, until=1e-4, most=200)
    return points


def _even(disc: Disc, pattern: Pattern, points: Floats, shrink_cost: float) -> tuple[Floats, Strains]:
    costs, kept = [1.0], Kept()
    ratio = COST_STEP if shrink_cost > 1 else 1 / COST_STEP
    while abs(np.log(shrink_cost / costs[-1])) > np.log(COST_STEP):
        costs.append(costs[-1] * ratio)
    for cost in costs if shrink_cost != 1 else []:
        points, _, _ = descend(disc, pattern, points, even_cost(cost), until=1e-3, most=20, kept=kept)
    # One full step is enough to know the panel's rms strain to a few percent.
    points, st, _ = descend(disc, pattern, points, even_cost(shrink_cost), until=1.0, most=60, kept=kept)
    about = float(np.sqrt(np.average((st.e**2).mean(axis=1), weights=disc.area)))
    last = even_cost(shrink_cost, about)
    points, st, _ = descend(disc, pattern, points, last, until=EVEN_UNTIL, most=60, kept=kept, settled=SETTLED)
    return points, st


def _placed(disc: Disc, points: Floats, st: Strains, along: ArrayLike | None) -> tuple[Floats, Strains]:
    """Centroid at the origin, turned as promised."""
    corners = points[disc.faces]
    share = disc.area * st.s[:, 0] * st.s[:, 1]
    points = points - (share[:, None] * corners.mean(axis=1)).sum(axis=0) / share.sum()
    x, y = _long_axis(disc, points, share) if along is None else _image(disc, st, along)
    size = np.hypot(x, y)
    c, s = x / size, y / size
    turn = np.array([[c, -s], [s, c]])
    return points @ turn, Strains(st.e, st.s, st.u @ turn, st.v)


def _image(disc: Disc, st: Strains, along: ArrayLike) -> tuple[float, float]:
    """Mean direction on the blank of a direction in space, each triangle by its area."""
    space = np.asarray(along, dtype=float)
    if space.shape != (3,) or not np.isfinite(space).all() or not space.any():
        raise DevelopError(f"along is {along!r}, not a direction in space (x, y, z).")
    space = space / np.linalg.norm(space)
    a, b = disc.u_axis @ space, disc.v_axis @ space
    c, s = st.v[:, 0] * a + st.v[:, 1] * b, st.v[:, 0] * b - st.v[:, 1] * a
    x, y = c * st.u[:, 0] - s * st.u[:, 1], c * st.u[:, 1] + s * st.u[:, 0]
    x, y = float((disc.area * x).sum()), float((disc.area * y).sum())
    if np.hypot(x, y) < 1e-6 * disc.area.sum():
        raise DevelopError(
            f"The panel stands square to the direction {np.round(space, 3).tolist()}.\n\n"
            "hint: give a direction that lies in the panel.",
            along=space,
        )
    return x, y


def _long_axis(disc: Disc, points: Floats, share: Floats) -> tuple[float, float]:
    """Long axis of the blank; of its two ends, the one that later vertices lie towards.

    A round blank has no long axis: it is turned so that its first edge vertex lies on +x.
    """
    middles = points[disc.faces].mean(axis=1)
    second = (share[:, None, None] * middles[:, :, None] * middles[:, None, :]).sum(axis=0)
    (small, large), axes = np.linalg.eigh(second)
    if large - small < 1e-3 * large:
        x, y = points[disc.loops[0].min()]
        return float(x), float(y)
    axis = axes[:, 1]
    order = np.arange(len(points)) - (len(points) - 1) / 2
    if order @ (points @ axis) < 0:
        axis = -axis
    return float(axis[0]), float(axis[1])


def _development(
    disc: Disc,
    points: Floats,
    st: Strains,
    aim: str,
    shrink_cost: float,
    exact: bool,
    floor: float | None,
) -> Development:
    strain = np.ascontiguousarray(st.e[:, ::-1])
    across = np.column_stack([-st.u[:, 1], st.u[:, 0]])
    total = float(disc.area.sum())
    p = points[disc.faces]
    e1, e2 = p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]
    doubled = e1[:, 0] * e2[:, 1] - e1[:, 1] * e2[:, 0]
    for array in (points, strain):
        array.flags.writeable = False
    return Development(
        points=points,
        faces=disc.faces,
        loops=disc.loops,
        strain=strain,
        directions=np.stack([across, st.u], axis=1),
        aim=aim,
        shrink_cost=shrink_cost,
        distortion=float(np.ptp(strain)),
        rms=float(np.sqrt((disc.area * (strain**2).sum(axis=1)).sum() / 2 / total)),
        area_flat=float(doubled.sum() / 2),
        area_formed=total,
        flipped=int(np.count_nonzero(doubled <= 0)),
        overlaps=_crossings(points, disc.loops),
        developable=exact,
        mesh_floor=floor,
        _bound=partial(lower_bound, disc, points, st),
    )


def _crossings(points: Floats, loops: tuple[Ints, ...]) -> int:
    """How often the outline crosses itself. Without folds and crossings a layout lies nowhere over itself."""
    import shapely

    ends = np.concatenate([np.stack([points[loop], points[np.roll(loop, -1)]], axis=1) for loop in loops])
    sides = np.asarray(shapely.linestrings(ends))
    return shapely.STRtree(sides).query(sides, predicate="crosses").shape[1] // 2
