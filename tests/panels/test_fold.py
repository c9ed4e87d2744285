"""Folding a flat into space, against closed forms: tubes, boxes, channels, and lengths kept."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panels.bend import bend_allowance, inside_setback, setback
from panels.errors import BendError, FoldError
from panels.fold import FoldLine, fold_flat
from panels.fold_mesh import folded_mesh

T, K = 1.6, 0.42


def strip(length, width=40.0):
    return [[0, 0], [length, 0], [length, width], [0, width]]


def test_channel_folds_to_its_outside_legs():
    """A 1 x 2 x 1 in channel, flat 0.8 + 1.6 + 0.8 in and two bends, stands 1 in high and 2 wide.

    FAA-H-8083-31 ch. 4, 0.040 in sheet, inside radius 0.160 in (rows FAA-1 and FAA-2).
    """
    t, r = 0.040, 0.160
    width = bend_allowance(t, r, 90, 0.4475)
    first, second = 0.8 + width / 2, 0.8 + width + 1.6 + width / 2
    folds = [FoldLine((x, 0), (x, 3), 90, r, "up") for x in (first, second)]
    flat = strip(3.2 + 2 * width, 3)
    sheet = fold_flat(flat, folds, thickness=t, k_factor=0.4475, base=(1.8, 1.5))
    outside = sheet.points(flat, height=0)
    assert np.ptp(outside[:, 0]) == pytest.approx(2.0, abs=1e-9)
    assert np.ptp([*outside[:, 2], sheet.points([[1.8, 1]], height=0)[0, 2]]) == pytest.approx(1.0, abs=1e-9)


@pytest.mark.parametrize("direction", ["up", "down"])
def test_a_full_turn_closes_a_tube(direction):
    """A sheet as long as the mean girth rolls into a closed tube: pi (ID + t) at K = 0.5."""
    girth = math.pi * (80 + T)
    flat = np.array(strip(girth + 20))
    line = FoldLine((10 + girth / 2, 0), (10 + girth / 2, 40), 360, 40, direction)
    sheet = fold_flat(flat, [line], thickness=T, k_factor=0.5, base=(5, 20))
    ends = sheet.points([[10, 20], [10 + girth, 20]], height=T / 2)
    assert ends[0] == pytest.approx(ends[1], abs=1e-9)
    inner = 0.0 if direction == "down" else T
    quarter = np.linspace(10, 10 + girth, 9)[:-1]
    round_it = sheet.points(np.column_stack([quarter, np.full(8, 20.0)]), height=inner)
    centre = np.array([10, 20, T + 40 if direction == "up" else -40])
    assert np.linalg.norm(round_it - centre, axis=1) == pytest.approx(40, abs=1e-9)


def box_flat(length, width, height, r):
    """A tray with its four walls, corners left out, and its four folds."""
    a = bend_allowance(T, r, 90, K)
    wall = height - setback(T, r, 90)
    inner_x, inner_y = length - 2 * setback(T, r, 90), width - 2 * setback(T, r, 90)
    x = [0, wall + a, wall + a + inner_x, 2 * (wall + a) + inner_x]
    y = [0, wall + a, wall + a + inner_y, 2 * (wall + a) + inner_y]
    outline = [(x[1], y[0]), (x[2], y[0]), (x[2], y[1]), (x[3], y[1]), (x[3], y[2]), (x[2], y[2])]
    outline += [(x[2], y[3]), (x[1], y[3]), (x[1], y[2]), (x[0], y[2]), (x[0], y[1]), (x[1], y[1])]
    half = a / 2
    folds = [
        FoldLine((x[1], y[1] - half), (x[2], y[1] - half), 90, r, "up", name="front"),
        FoldLine((x[1], y[2] + half), (x[2], y[2] + half), 90, r, "up", name="rear"),
        FoldLine((x[1] - half, y[1]), (x[1] - half, y[2]), 90, r, "up", name="left"),
        FoldLine((x[2] + half, y[1]), (x[2] + half, y[2]), 90, r, "up", name="right"),
    ]
    return np.array(outline, dtype=float), folds


def test_a_tray_with_four_walls_has_its_outside_sizes():
    """Four walls folded up stand square, at the outside length, width and height asked for."""
    outline, folds = box_flat(120, 80, 30, r=2.0)
    sheet = fold_flat(outline, folds, thickness=T, k_factor=K)
    outside = sheet.points(outline, height=0)
    assert np.ptp(outside[:, 0]) == pytest.approx(120, abs=1e-9)
    assert np.ptp(outside[:, 1]) == pytest.approx(80, abs=1e-9)
    assert outside[:, 2].max() == pytest.approx(30, abs=1e-9)
    assert len(sheet.faces) == 5
    vertices, faces = folded_mesh(sheet, height=(1 - K) * T)
    edges = vertices[faces[:, 1:]] - vertices[faces[:, :1]]
    area = np.linalg.norm(np.cross(edges[:, 0], edges[:, 1]), axis=1).sum() / 2
    assert area == pytest.approx(sheet.outline.area, rel=0.002)


def test_volume_of_a_bend_by_pappus():
    """Metal in a bend = area of its cross-section swept: flat area times thickness at K = 0.5."""
    r, angle = 5.0, 100.0
    width = bend_allowance(T, r, angle, 0.5)
    sector = math.radians(angle) / 2 * ((r + T) ** 2 - r**2)
    assert width * T == pytest.approx(sector, rel=1e-12)


angles = st.floats(1, 170)
radii = st.floats(0.2, 20)


@settings(deadline=None)
@given(angle=angles, radius=radii, k=st.floats(0.05, 0.5), up=st.booleans(), tilt=st.floats(-25, 25))
def test_the_neutral_surface_keeps_every_short_length(angle, radius, k, up, tilt):
    """Folding stretches nothing at the neutral surface, wherever the fold lies and however slanted."""
    lean = math.tan(math.radians(tilt)) * 30
    line = FoldLine((100 - lean, 0), (100 + lean, 60), angle, radius, "up" if up else "down")
    flat = [[0, 0], [220, 0], [220, 60], [0, 60]]
    sheet = fold_flat(flat, [line], thickness=T, k_factor=k, base=(1, 30))
    neutral = T * (1 - k) if up else T * k
    rng = np.random.default_rng(1)
    here = rng.uniform([5, 5], [215, 55], (200, 2))
    step = 1e-4
    there = here + step * np.array([[math.cos(a), math.sin(a)] for a in rng.uniform(0, 7, 200)])
    gap = np.linalg.norm(sheet.points(there, neutral) - sheet.points(here, neutral), axis=1)
    assert gap == pytest.approx(step, abs=2e-8)


@settings(deadline=None)
@given(angle=angles, radius=radii)
def test_up_and_down_are_mirror_images(angle, radius):
    """Folding down is folding up, seen in a mirror lying on the sheet's middle."""
    flat = np.array(strip(150))
    up, down = (
        fold_flat(
            flat, [FoldLine((70, 0), (70, 40), angle, radius, way)], thickness=T, k_factor=K, base=(1, 1)
        )
        for way in ("up", "down")
    )
    above, below = up.points(flat, height=T), down.points(flat, height=0)
    assert above * [1, 1, -1] + [0, 0, T] == pytest.approx(below, abs=1e-9)
    assert up.normals(flat)[1] * [-1, 1, 1] == pytest.approx(down.normals(flat)[1], abs=1e-12)


@settings(deadline=None)
@given(angle=st.floats(5, 120), radius=st.floats(1, 6))
def test_folding_and_unfolding_are_inverse(angle, radius):
    """A fold and the same fold the other way, on metal without thickness, leave a plain step.

    With t near 0 the second fold undoes the turn of the first: the far end lies parallel again
    and its length is kept.
    """
    a = bend_allowance(1e-9, radius, angle, 0.5)
    folds = [
        FoldLine((50, 0), (50, 40), angle, radius, "up"),
        FoldLine((50 + a + 30, 0), (50 + a + 30, 40), angle, radius, "down"),
    ]
    flat = np.array(strip(200))
    sheet = fold_flat(flat, folds, thickness=1e-9, k_factor=0.5, base=(1, 1))
    assert sheet.normals([[199, 20]])[0] == pytest.approx([0, 0, 1], abs=1e-12)
    far = sheet.points([[50 + 1.5 * a + 30, 20], [200, 20]])
    assert far[1] - far[0] == pytest.approx([200 - 50 - 1.5 * a - 30, 0, 0], abs=1e-9)
    # The riser: twice the inside mould line set in, plus the straight, at the bend angle.
    rise = 2 * radius * (1 - math.cos(math.radians(angle))) + (30) * math.sin(math.radians(angle))
    assert far[0, 2] == pytest.approx(rise, abs=1e-6)


def test_leg_split_in_two_tabs_folds_both():
    """A slot up to the bend leaves two tabs; both turn with the one fold."""
    flat = [[0, 0], [100, 0], [100, 18], [60, 18], [60, 22], [100, 22], [100, 40], [0, 40]]
    line = FoldLine((40, 0), (40, 40), 90, 2, "down")
    sheet = fold_flat(flat, [line], thickness=T, k_factor=K, base=(5, 5))
    assert len(sheet.faces) == 2
    flat[3][0] = flat[4][0] = 40 + line.radius
    sheet = fold_flat(flat, [line], thickness=T, k_factor=K, base=(5, 5))
    assert sheet.normals([[90, 5], [90, 35]]) == pytest.approx(np.array([[1, 0, 0], [1, 0, 0]]), abs=1e-12)


def test_a_dead_sharp_fold_still_folds():
    """Radius 0 at K 0: the inside faces meet in a line, within a micron."""
    line = FoldLine((50, 0), (50, 40), 90, 0, "up")
    sheet = fold_flat(strip(100), [line], thickness=T, k_factor=0, base=(5, 5))
    assert sheet.points([[100, 20]], height=T)[0] == pytest.approx([50, 20, T + 50], abs=2e-4)
    assert inside_setback(0, 90) == 0


@pytest.mark.parametrize(
    "flat, folds, said",
    [
        (strip(100), [FoldLine((150, 0), (150, 40), 90, 2, "up", name="A")], "Fold A .* lies off the flat"),
        (
            strip(100),
            [FoldLine((50, 0), (50, 40), 90, 2, "up"), FoldLine((20, 20), (80, 20), 90, 2, "up")],
            "Folds 1 and 2 overlap",
        ),
        ([[0, 0], [10, 10], [10, 0], [0, 10]], [], "crosses itself"),
        ([[0, 0], [10, math.nan], [10, 0]], [], "numbers in pairs"),
    ],
)
def test_what_cannot_be_folded_says_why(flat, folds, said):
    """A fold off the metal, folds that cross and a tangled outline are refused."""
    with pytest.raises(FoldError, match=said):
        fold_flat(flat, folds, thickness=T, k_factor=K)


def test_nonsense_fold_lines_are_refused():
    """No length, an unknown direction, an impossible angle; a point or base off the sheet."""
    with pytest.raises(FoldError, match="must differ"):
        FoldLine((1, 1), (1, 1), 90, 2, "up")
    with pytest.raises(FoldError, match="sideways"):
        FoldLine((0, 0), (1, 1), 90, 2, "sideways")
    with pytest.raises(BendError, match="angle"):
        FoldLine((0, 0), (1, 1), -90, 2, "up")
    sheet = fold_flat(strip(100), [], thickness=T, k_factor=K)
    with pytest.raises(FoldError, match=r"5\.00 mm off the flat") as caught:
        sheet.points([[50, 20], [105, 20]])
    assert caught.value.distance == pytest.approx(5)
    with pytest.raises(FoldError, match="base point"):
        fold_flat(strip(100), [], thickness=T, k_factor=K, base=(500, 0))


def test_a_closed_ring_cannot_be_folded():
    """Two folds that close a ring of metal round a hole would tear it."""
    from shapely.geometry import Polygon

    ring = Polygon(strip(100, 100), holes=[[[30, 30], [70, 30], [70, 70], [30, 70]]])
    folds = [FoldLine((50, 0), (50, 30), 90, 2, "up"), FoldLine((50, 70), (50, 100), 90, 2, "up")]
    with pytest.raises(FoldError, match="hang together"):
        fold_flat(ring, folds, thickness=T, k_factor=K)
