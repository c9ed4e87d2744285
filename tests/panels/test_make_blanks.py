"""Blanks: closed forms, true mirror pairs, and what every blank must be."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from scipy.special import ellipe

from panels.assemble import tunnel_of
from panels.errors import NotADisc
from panels.fold import FoldLine, fold_flat
from tests.panels.sewn import MARGIN, TANKS, THICKNESS, blanks, laid, sewn, shifted

ALL = pytest.mark.parametrize("tank", TANKS)


def test_rolled_tube_is_as_long_as_its_middle():
    """A tube of outside diameter d rolled from sheet t needs pi (d - t): the neutral surface in the middle
    (K = 0.5) of a true cylinder. Machinery's Handbook and FAA-H-8083-31 ch. 4 put it there for large radii."""
    for thickness in (0.8, 1.6, 3.0):
        half = blanks("tube", "halves", thickness)["skin right"]
        assert half.kind == "rolled"
        girth = 2 * half.net.area / (400 - thickness)
        assert girth == pytest.approx(np.pi * (200 - thickness), abs=0.15)


def test_elliptic_barrel_unrolls_to_a_rectangle_of_half_its_girth():
    """Girth 4 a E(m), m = 1 - (b/a)^2 (NIST DLMF 19.30(i)), of the middle of the metal: a parallel curve
    t/2 inside is shorter by 2 pi t/2 (Steiner's formula, exact for a convex curve)."""
    half = blanks("barrel", "halves")["skin right"]
    girth = 4 * 110 * ellipe(1 - (80 / 110) ** 2) - np.pi * THICKNESS
    assert half.net.area == pytest.approx(girth / 2 * (400 - THICKNESS), rel=5e-4)
    assert half.net.minimum_rotated_rectangle.area == pytest.approx(half.net.area, rel=1e-4)
    sides = sorted(edge.length_blank for edge in half.edges)
    assert sides == pytest.approx([girth / 2] * 2 + [400 - THICKNESS] * 2, abs=0.15)


def test_end_of_an_elliptic_barrel_is_the_ellipse():
    """A flat end: pi a b of the middle of the shell's metal, one true size, centred on its centre line."""
    end = blanks("barrel", "halves")["rear end"]
    assert end.kind == "flat"
    assert end.net.area == pytest.approx(np.pi * 109.2 * 79.2, rel=1e-3)
    assert end.net.bounds == pytest.approx((-79.2, -109.2, 79.2, 109.2), abs=0.1)


def test_tube_without_a_seam_is_refused():
    """A skin that closes on itself cannot be cut in one piece: the message says what to do."""
    with pytest.raises(NotADisc, match="halves") as fault:
        blanks("tube", "drawn")
    assert fault.value.piece == "skin"


@ALL
def test_developable_blanks_are_as_large_as_their_surface(tank):
    """What only rolls, folds or stays flat neither gains nor loses area, by the fold's allowance at most."""
    for blank in blanks(*tank).values():
        if blank.kind in ("rolled", "flat"):
            assert blank.net.area == pytest.approx(blank.area_formed, rel=2e-5), blank.name
            assert blank.stretch == blank.shrink == 0
            assert blank.flat is None
        elif blank.kind == "formed":
            assert max(blank.stretch, blank.shrink) > 0


@ALL
def test_pairs_are_true_mirror_images(tank):
    """A left-hand blank is its right-hand one turned over: outline, trim line, marks, margins, letters."""
    made = blanks(*tank)
    pairs = [(blank, made[blank.mirrors]) for blank in made.values() if blank.mirrors]
    assert len(pairs) == sum(blank.hand == "right" for blank in made.values())

    def turned(shape):
        return shapely.transform(shape, lambda p: p * [1.0, -1.0])

    for left, right in pairs:
        assert (left.hand, right.hand) == ("left", "right")
        assert turned(left.outline).normalize().equals_exact(right.outline.normalize(), 1e-9)
        assert turned(left.net).normalize().equals_exact(right.net.normalize(), 1e-9)
        assert left.outline.exterior.is_ccw
        assert right.outline.exterior.is_ccw
        assert (left.kind, left.thickness, left.stretch, left.shrink) == (
            right.kind,
            right.thickness,
            right.stretch,
            right.shrink,
        )
        letters = sorted(edge.letter.rstrip("LR") for edge in left.edges)
        assert letters == sorted(edge.letter.rstrip("LR") for edge in right.edges)
        assert all("R" not in edge.letter[1:] for edge in left.edges)
        for one, two in zip(left.marks, right.marks, strict=True):
            assert (one.kind, one.label) == (two.kind, two.label)
            assert one.points * [1, -1] == pytest.approx(two.points)


@ALL
def test_left_blank_is_what_the_left_side_itself_lays_out(tank):
    """The left-hand pieces of the body, laid flat themselves, are the mirror images that were given."""
    from panels.develop import develop_mesh

    body = sewn(*tank).body
    for blank in blanks(*tank).values():
        if blank.hand != "left" or blank.kind == "formed":
            continue
        used, faces = np.unique(body.faces_of(blank.name), return_inverse=True)
        dev = develop_mesh(body.neutral[used], faces.reshape(-1, 3), along=(1.0, 0, 0))
        ring = shapely.Polygon(dev.points[dev.loops[0]])
        shift = np.array(blank.net.centroid.coords[0]) - np.array(ring.centroid.coords[0])
        ring = shapely.transform(ring, lambda p, shift=shift: p + shift)
        assert ring.hausdorff_distance(blank.net) < 0.05, blank.name


@ALL
def test_every_blank_can_be_cut(tank):
    """No outline crosses itself; the trim line lies inside the cut line, by the margin of each edge."""
    for blank in blanks(*tank).values():
        assert blank.outline.is_valid
        assert blank.net.is_valid
        assert blank.outline.buffer(0.01).covers(blank.net), blank.name
        assert not any(note.startswith("stop") for note in blank.notes)
        margin = MARGIN.get(blank.kind, 0.0)
        assert all(edge.allowance == margin for edge in blank.edges)
        if margin == 0:
            assert blank.outline.area == pytest.approx(blank.net.area, rel=1e-6)
        else:
            around = blank.net.length
            assert blank.outline.area > blank.net.area + 0.8 * margin * around
        assert blank.hand == next((h for h in ("right", "left") if h in blank.name.split()), "centre")


@ALL
def test_edges_cover_the_trim_line(tank):
    """Edge after edge, the whole trim line is named; on the folded tunnel all but the ends of its folds."""
    for blank in blanks(*tank).values():
        lines = shapely.union_all([shapely.LineString(edge.points) for edge in blank.edges])
        bare = blank.net.exterior.difference(lines.buffer(0.3)).length
        folds = sum(np.linalg.norm(f.tangents[0] - f.tangents[1], axis=1).sum() for f in blank.folds)
        assert bare <= folds + 0.5, blank.name


@ALL
def test_grain_says_what_matters(tank):
    """Formed pieces have the grain along the tank, the tunnel across its folds, flat ones any way."""
    wanted = {"formed": 0.0, "folded": 90.0, "rolled": None, "flat": None}
    for blank in blanks(*tank).values():
        assert blank.grain_deg == wanted[blank.kind]


def x_along(blank, edge, seam, body):
    """Distance along an edge and x on the outside of the tank, at each vertex of its seam: both pieces run round their
    own edge anticlockwise, so one of them meets the seam backwards."""
    chain = seam.chain if blank.name == min(seam.pieces, key=body.pieces.index) else seam.chain[::-1]
    return shifted(edge, body.neutral[chain], body), body.outer[chain, 0]


@ALL
def test_stations_end_on_the_edges_where_they_should(tank):
    """Where a station mark meets an edge, that place of the seam on the body has the station's x."""
    body = sewn(*tank).body
    by_letter = {seam.letter: seam for seam in sewn(*tank).seams}
    met = 0
    for blank in blanks(*tank).values():
        if blank.kind == "folded":
            continue
        for mark in (m for m in blank.marks if m.kind == "station"):
            wanted = float(mark.label.split()[-1])
            assert mark.label.startswith(f"S{round(wanted / 50)} ")
            assert blank.net.buffer(0.05).covers(shapely.LineString(mark.points))
            for end in mark.points[[0, -1]]:
                edge = min(blank.edges, key=lambda e: shapely.LineString(e.points).distance(shapely.Point(end)))
                line = shapely.LineString(edge.points)
                if line.distance(shapely.Point(end)) > 0.02:
                    continue  # the mark ends at the tunnel's corner inside a fold
                along = shapely.line_locate_point(shapely.LineString(edge.points), shapely.Point(end))
                x = np.interp(along, *x_along(blank, edge, by_letter[edge.letter], body))
                assert x == pytest.approx(wanted, abs=0.3)
                met += 1
    assert met > 20


@ALL
def test_centre_line_runs_along_the_middle_of_a_centre_piece(tank):
    """A piece across the centre plane is laid with its centre line straight along x, and alike both sides."""
    body = sewn(*tank).body
    for name, blank in blanks(*tank).items():
        if blank.hand != "centre":
            continue
        centre = [m for m in blank.marks if m.kind == "centre"]
        assert centre, name
        assert all(np.abs(m.points[:, 1]).max() < 0.05 for m in centre), name
        low, high = blank.net.bounds[1::2]
        assert low == pytest.approx(-high, abs=0.1)
    assert "rear end" not in body.pieces or "rear end" in blanks(*tank)


@pytest.mark.parametrize("tank", [t for t in TANKS if t[0] != "kinked"])
def test_tunnel_folds_back_into_the_body(tank):
    """The blank with its own fold lines, angle, radius and K, folded by ``panels.fold``, which knows nothing
    of how it was laid out, lies within 0.2 mm and 0.5 degrees of the tunnel of the body."""
    body, blank = sewn(*tank).body, blanks(*tank)["tunnel"]
    folds = [
        FoldLine(tuple(f.start), tuple(f.end), f.angle, f.inside_radius, "up" if f.up else "down") for f in blank.folds
    ]
    base = np.mean([[f.start, f.end] for f in blank.folds], axis=(0, 1))
    sheet = fold_flat(blank.net, folds, thickness=blank.thickness, k_factor=blank.folds[0].k_factor, base=tuple(base))
    by_letter = {seam.letter: seam for seam in sewn(*tank).seams}
    tunnel = tunnel_of(body.patterns)
    flat, wanted = [], []
    for edge in blank.edges:
        at = body.neutral[by_letter[edge.letter].chain]
        x = at[:, 0]
        clear = np.hypot(np.abs(at[:, 1]) - tunnel.half(x), at[:, 2] - tunnel.top(x)) > 8  # the metal is not round
        points = laid(edge, at, body)
        inside = np.array([blank.net.distance(shapely.Point(p)) < 0.009 for p in points])
        flat.append(points[clear & inside])
        wanted.append(at[clear & inside])
    flat, wanted = np.vstack(flat), np.vstack(wanted)
    assert len(wanted) > 40
    folded = sheet.points(flat, blank.thickness / 2)  # the body's neutral surface is the middle
    turn, shift = rigid(folded, wanted)
    miss = np.linalg.norm(folded @ turn.T + shift - wanted, axis=1)
    assert miss.max() < 0.2
    legs = [np.array([p.x, p.y]) for p in (part.polygon.representative_point() for part in sheet.faces)]
    for point, normal in zip(legs, sheet.normals(np.array(legs)) @ turn.T, strict=True):
        piece = "tunnel top" if abs(point[1]) < 5 else "tunnel right" if abs(normal[1]) > 0.5 else ""
        v = body.outer[body.faces_of(piece)]
        area = np.cross(v[:, 1] - v[:, 0], v[:, 2] - v[:, 0]).sum(axis=0)
        true = area / np.linalg.norm(area) * [1, np.sign(normal[1] * area[1]) if piece != "tunnel top" else 1, 1]
        assert np.degrees(np.arccos(np.clip(abs(normal @ true), 0, 1))) < 0.5


def rigid(a, b):
    """Turn and shift that lay points a on b best: W. Kabsch, Acta Cryst. A32 (1976) 922."""
    u, _, vt = np.linalg.svd((a - a.mean(0)).T @ (b - b.mean(0)))
    sign = np.diag([1, 1, np.sign(np.linalg.det(vt.T @ u.T))])
    turn = vt.T @ sign @ u.T
    return turn, b.mean(0) - turn @ a.mean(0)


@ALL
def test_strain_along_and_across_is_the_strain_turned(tank):
    """Whatever way it is read, the change of area is the same; turned over, along and across stay what they are."""
    made = blanks(*tank)
    for blank in made.values():
        if blank.flat is None:
            continue
        told, own = blank.flat.along_across, blank.flat.strain
        assert told.sum(axis=1) == pytest.approx(own.sum(axis=1), abs=1e-12)
        assert (told <= own[:, :1] + 1e-12).all()
        assert (told >= own[:, 1:] - 1e-12).all()
        assert np.einsum("mki,mli->mkl", blank.flat.directions, blank.flat.directions) == pytest.approx(
            np.broadcast_to(np.eye(2), (len(own), 2, 2)), abs=1e-12
        )
        if blank.mirrors:
            assert told == pytest.approx(made[blank.mirrors].flat.along_across, abs=1e-12)
