"""A small invented tank, whole enough to write every paper from, with answers known in closed form.

    side left, side right   patch of a ball of radius `BALL_MM` laid flat about its middle with radii kept
                            (the azimuthal equidistant map): strain along the radius 0, around it ln(sin t / t)
                            with t = radius / `BALL_MM`, which is shrink everywhere off the middle
    top skin                a rolled sheet: no strain, a round hole of `FILLER_MM`, `ROLL_DEG` down over half its width
    tunnel                  a sheet with two folds, a slot with round ends, the front notched
    end cap front, rear     flat plates with arcs, notched for the tunnel
    body                    elliptic barrel with a square tunnel, one closed mesh

`small_work()` gives it cut as profiles, `small_work("shear")` edge to edge,
`small_work(unit="in")` for a job in inches.
"""

from __future__ import annotations

import datetime
import math
from copy import copy
from dataclasses import replace
from functools import cache
from types import SimpleNamespace

import numpy as np
from shapely import affinity
from shapely.geometry import LineString, Point, Polygon, box
from shapely.ops import unary_union

from nesting.model import Cut, Layout, Offcut, Part, Placed, Sheet, UsedSheet, place_outline
from panels.blank import Blank, Edge, FlatMesh, Fold, Mark, Roll
from panels.body import Body, Capacity
from panels.findings import Finding
from panels.joints import Joint, Side
from panels.metal import lookup_metal
from panels.slits import PanelSlits
from panels.strips import slit_pattern
from tankwright.jobfile import JobFile
from tankwright.merge import merge
from tankwright.quotefile import JobQuoteSection
from tankwright.quotehours import Past
from tankwright.shop import Shop
from tankwright.shopfile import ShopFile
from tankwright.work import Work

BALL_MM = 400.0
FILLER_MM = 57.0
THICKNESS = 1.6
K_FACTOR = 0.4
ROLL_DEG = 60.0


def _length(points: np.ndarray) -> float:
    return float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())


def _on_ball(flat: np.ndarray) -> np.ndarray:
    """Where flat points (n, 2) lie on the ball, (n, 3)."""
    r = np.hypot(*flat.T)
    t = r / BALL_MM
    out = np.where(r[:, None] > 0, flat / np.maximum(r, 1e-12)[:, None], 0.0) * (BALL_MM * np.sin(t))[:, None]
    return np.column_stack([out, BALL_MM * np.cos(t)])


def _slits() -> PanelSlits:
    """A patch of the ball slit between sections: the gaps at its edges are those of its parallels."""
    along, up = np.meshgrid(np.linspace(-0.5, 0.5, 9), np.linspace(-0.2, 0.2, 7), indexing="ij")
    grid = BALL_MM * np.stack([np.cos(up) * np.sin(along), np.cos(up) * np.cos(along), np.sin(up)], axis=-1)
    return PanelSlits(slit_pattern(grid), -192.0, 192.0, "the line half way between its long edges")


def _ring_between(ring: np.ndarray, start: tuple[float, float], end: tuple[float, float]) -> np.ndarray:
    """Points of a closed ring (n, 2), last not repeated, from nearest start to nearest end."""
    i, j = (int(np.argmin(np.hypot(*(ring - p).T))) for p in (start, end))
    return ring[i : j + 1] if i < j else np.vstack([ring[i:], ring[: j + 1]])


def _grown(net: Polygon, edges: tuple[Edge, ...]) -> Polygon:
    """Net outline plus each edge's own allowance."""
    strips = [LineString(e.points).buffer(e.allowance, quad_segs=64) for e in edges if e.allowance]
    whole = unary_union([net, *strips])
    return Polygon(whole.exterior, whole.interiors)


def _edges_of(
    net: Polygon, corners: list[tuple[float, float]], table: list[tuple], ball: bool = False
) -> tuple[Edge, ...]:
    ring = np.array(net.exterior.normalize().coords)[:-1]
    if not net.exterior.normalize().is_ccw:
        ring = ring[::-1]
    edges = []
    for k, (letter, meets, joint, allowance) in enumerate(table):
        points = _ring_between(ring, corners[k], corners[(k + 1) % len(corners)])
        flat = _length(points)
        edges.append(Edge(letter, meets, joint, allowance, points, _length(_on_ball(points)) if ball else flat, flat))
    return tuple(edges)


def _side(hand: str) -> Blank:
    sharp = box(-200, -88, 200, 90).intersection(Point(0, -330).buffer(415, quad_segs=512))
    net = sharp.buffer(-35, quad_segs=128).buffer(35, quad_segs=128)
    corners = [(-190, -78), (190, -78), (188, 40), (-188, 40)]
    seam = {"left": "A", "right": "B"}[hand]
    table = [
        ({"left": "C", "right": "D"}[hand], "tunnel", "butt", 10.0),
        ("F", "end cap rear", "butt", 10.0),
        (seam, "top skin", "lap", 12.0),
        ("E", "end cap front", "butt", 10.0),
    ]
    edges = _edges_of(net, corners, table, ball=True)
    spokes = np.array(net.exterior.segmentize(12).coords)[:-1]
    if not net.exterior.is_ccw:
        spokes = spokes[::-1]
    rings = np.linspace(0, 1, 7)[1:]
    points = np.vstack([[[0.0, 0.0]], *(spokes * s for s in rings)])
    n = len(spokes)
    turn = np.roll(np.arange(n), -1)
    fan = np.column_stack([np.zeros(n, int), 1 + np.arange(n), 1 + turn])
    quads = []
    for k in range(len(rings) - 1):
        a, b = 1 + k * n + np.arange(n), 1 + k * n + turn
        quads += [np.column_stack([a, a + n, b + n]), np.column_stack([a, b + n, b])]
    faces = np.vstack([fan, *quads])
    t = np.hypot(*points[faces].mean(axis=1).T) / BALL_MM
    strain = np.column_stack([np.zeros(len(t)), np.log(np.sin(t) / t)])
    out = points[faces].mean(axis=1)
    out = out / np.linalg.norm(out, axis=1)[:, None]
    ways = np.stack([out, np.column_stack([-out[:, 1], out[:, 0]])], axis=1)  # outwards, and round
    where = _on_ball(points)[faces]
    area = np.linalg.norm(np.cross(where[:, 1] - where[:, 0], where[:, 2] - where[:, 0]), axis=1).sum() / 2
    marks = [Mark("centre", np.array([[-200.0, 0.0], [200.0, 0.0]]), "widest line")]
    for k, x in enumerate((-150.0, -75.0, 0.0, 75.0, 150.0)):
        marks.append(Mark("station", np.array([[x, -88.0], [x, 80.0]]), str(k + 1)))
    marks.append(Mark("register", np.array([[-10.0, 30.0], [10.0, 30.0]]), "register"))
    marks.append(Mark("register", np.array([[0.0, 20.0], [0.0, 40.0]])))
    blank = Blank(
        f"side {hand}",
        hand,
        "formed",
        _grown(net, edges),
        net,
        edges,
        (),
        tuple(marks),
        0.0,
        THICKNESS,
        float(area),
        FlatMesh(points, faces, strain, ways, _on_ball(points)),
        ("Shrink the top edge first.",),
        "" if hand == "left" else "side left",
    )
    return blank if hand == "left" else _mirrored(blank)


def _joint(letter: str, one: str, other: str, far: float) -> Joint:
    """Crown seams lap by 12 mm, the sides' metal outside; the flanges of the caps stand behind; all else is butt."""
    kind = "lap" if letter in "AB" else "flange" if letter in "EF" else "butt"
    carrier = {"lap": other, "flange": one}.get(kind, "")
    sides = tuple(Side(name, name, 12.0 * (name == carrier), far) for name in (one, other))
    return Joint(letter, kind, sides, far, {"lap": other, "flange": other}.get(kind, ""))


def _mirrored(blank: Blank) -> Blank:
    """The same blank turned over: x becomes -x."""
    flip = np.array([-1.0, 1.0])
    turn = lambda shape: affinity.scale(shape, -1, 1, origin=(0, 0))  # noqa: E731
    edges = tuple(
        Edge(e.letter, e.meets, e.joint, e.allowance, (e.points * flip)[::-1], e.length_surface, e.length_blank)
        for e in reversed(blank.edges)
    )
    marks = tuple(Mark(m.kind, m.points * flip, m.label) for m in blank.marks)
    assert blank.flat is not None
    flat = FlatMesh(
        blank.flat.points * flip, blank.flat.faces[:, ::-1], blank.flat.strain, blank.flat.directions * flip
    )
    return Blank(
        blank.name,
        blank.hand,
        blank.kind,
        turn(blank.outline),
        turn(blank.net),
        edges,
        blank.folds,
        marks,
        blank.grain_deg,
        blank.thickness,
        blank.area_formed,
        flat,
        blank.notes,
        blank.mirrors,
    )


def _top_skin(length: float) -> Blank:
    wide = 150.0
    whole = box(0, 0, length, wide)
    net = Polygon(whole.exterior, [Point(110, wide / 2).buffer(FILLER_MM / 2, quad_segs=90).exterior.coords])
    table = [
        ("B", "side right", "lap", 0.0),
        ("F", "end cap rear", "butt", 0.0),
        ("A", "side left", "lap", 0.0),
        ("E", "end cap front", "fold", 8.0),
    ]
    edges = _edges_of(net, [(0, 0), (length, 0), (length, wide), (0, wide)], table)
    outline = Polygon(box(-8, 0, length, wide).exterior, net.interiors)
    marks = (
        Mark("centre", np.array([[0, wide / 2], [length, wide / 2]]), "centre line"),
        Mark("fitting", np.array([[80.0, wide / 2], [140.0, wide / 2]]), "filler"),
        *(
            Mark("station", np.array([[x, 0.0], [x, wide]]), str(k + 1))
            for k, x in enumerate((50.0, 125.0, 200.0, 275.0, 350.0))
        ),
    )
    area = float(net.area)
    blank = Blank("top skin", "centre", "rolled", outline, net, edges, (), marks, 90.0, THICKNESS, area, None)
    return replace(blank, rolls=_top_rolls(length, wide))


def _top_rolls(length: float, wide: float) -> tuple[Roll, ...]:
    """Flat, `ROLL_DEG` down over half the width, flat: rolled about its length, the neutral line in the middle."""
    inside = wide / 2 / math.radians(ROLL_DEG) - THICKNESS / 2
    none, some = (math.inf, math.inf), (inside, inside)
    lines = [np.array([[-8.0, y], [length, y]]) for y in (0.0, wide / 4, 3 * wide / 4, wide)]
    return (
        Roll("flat", lines[0], lines[1], 0.0, False, math.inf, none, none),
        Roll("rolled", lines[1], lines[2], ROLL_DEG, False, inside, some, some),
        Roll("flat", lines[2], lines[3], 0.0, False, math.inf, none, none),
    )


def _tunnel() -> Blank:
    leg, top, long = 92.0, 76.0, 402.0
    allowance = math.pi / 2 * (3.0 + K_FACTOR * THICKNESS)
    slot = LineString([(180, leg + allowance + top / 2), (230, leg + allowance + top / 2)]).buffer(9, quad_segs=60)
    wide = 2 * leg + 2 * allowance + top
    sharp = Polygon([(0, 12), (60, 0), (long, 0), (long, wide), (60, wide), (0, wide - 12)])
    net = Polygon(sharp.exterior, [slot.exterior.coords])
    table = [
        ("D", "side right", "butt", 0.0),
        ("H", "end cap rear", "butt", 0.0),
        ("C", "side left", "butt", 0.0),
        ("G", "end cap front", "butt", 6.0),
    ]
    edges = _edges_of(net, [(0, 12), (long, 0), (long, wide), (0, wide - 12)], table)
    folds = []
    for y in (leg + allowance / 2, leg + 1.5 * allowance + top):
        line = np.array([[0.0, y], [long, y]])
        tangents = np.array([line - [0, allowance / 2], line + [0, allowance / 2]])
        folds.append(Fold(line[0], line[1], tangents, 90.0, 3.0, True, K_FACTOR, "common practice, no source"))
    marks = (
        Mark("centre", np.array([[0, wide / 2], [long, wide / 2]]), "centre line"),
        *(
            Mark("station", np.array([[x, 0.0], [x, wide]]), str(k + 1))
            for k, x in enumerate((50.0, 125.0, 200.0, 275.0, 350.0))
        ),
    )
    return Blank(
        "tunnel",
        "centre",
        "folded",
        _grown(net, edges),
        net,
        edges,
        tuple(folds),
        marks,
        0.0,
        THICKNESS,
        float(net.area),
        None,
        ("Fold the legs towards the good face.",),
    )


def _end_cap(where: str) -> Blank:
    half, high, notch_w, notch_h = (118.0, 140.0, 79.2, 93.6) if where == "front" else (84.0, 118.0, 79.2, 88.0)
    dome = affinity.scale(Point(0, 0).buffer(1, quad_segs=180), half, half).intersection(box(-200, 0, 200, 200))
    dome = unary_union([affinity.translate(dome, 0, high - half), box(-half, 0, half, high - half)])
    net = dome.difference(box(-notch_w / 2, -1, notch_w / 2, notch_h).buffer(6, quad_segs=60).buffer(-6, quad_segs=60))
    net = Polygon(net.exterior)
    letter, tunnel = ("E", "G") if where == "front" else ("F", "H")
    table = [
        ("", "", "free", 0.0),
        (letter, "top skin, sides", "butt", 3.0),
        ("", "", "free", 0.0),
        (tunnel, "tunnel", "butt", 3.0),
    ]
    edges = _edges_of(net, [(notch_w / 2, 0), (half, 0), (-half, 0), (-notch_w / 2, 0)], table)
    marks = (Mark("centre", np.array([[0.0, notch_h], [0.0, high]]), "centre line"),)
    return Blank(
        f"end cap {where}",
        "centre",
        "flat",
        _grown(net, edges),
        net,
        edges,
        (),
        marks,
        None,
        THICKNESS,
        float(net.area),
        None,
    )


def _body() -> tuple[Body, float]:
    """An elliptic barrel 402 mm long with a square tunnel, and its metal's area."""
    half_w, half_h, floor, long = 120.0, 110.0, 40.0, 402.0
    around = np.linspace(-0.33, math.pi + 0.33, 57)
    skin = np.column_stack([half_w * np.cos(around), floor + half_h * np.sin(around)])
    low = skin[0, 1]
    leg, roof = 38.0, low + 90.0
    share = np.linspace(0, 1, 57)
    path = np.array([[leg, low], [leg, roof], [-leg, roof], [-leg, low]])
    knots = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(path, axis=0), axis=1))])
    at = np.sort(np.concatenate([share[1:-1][: 57 - 4] * knots[-1], knots]))
    inner = np.column_stack([np.interp(at, knots, path[:, k]) for k in (0, 1)])
    n, xs = len(skin), np.linspace(0, long, 14)
    section = np.vstack([skin, inner[::-1]])  # anticlockwise seen from the rear? settled by the volume's sign below
    m = len(section)

    def rows(offset: float) -> np.ndarray:
        ring = Polygon(section).buffer(0)
        sign = 1.0 if Polygon(section).exterior.is_ccw else -1.0
        before, after = section - np.roll(section, 1, 0), np.roll(section, -1, 0) - section
        unit = before / np.linalg.norm(before, axis=1)[:, None] + after / np.linalg.norm(after, axis=1)[:, None]
        unit /= np.linalg.norm(unit, axis=1)[:, None]
        half = (unit * before / np.linalg.norm(before, axis=1)[:, None]).sum(axis=1)
        moved = section + sign * offset * np.column_stack([-unit[:, 1], unit[:, 0]]) / half[:, None]
        assert ring.area > 0
        ends = np.clip(xs, offset, long - offset)
        return np.vstack([np.column_stack([np.full(m, x), moved[:, 0], moved[:, 1]]) for x in ends])

    faces, piece = [], []
    for k in range(len(xs) - 1):
        for i in range(m):
            j = (i + 1) % m
            a, b, c, d = k * m + i, k * m + j, (k + 1) * m + j, (k + 1) * m + i
            name = 3 if i >= n - 1 else 0 if 18 <= i < 38 else 2 if i < 18 else 1
            faces += [[a, b, c], [a, c, d]]
            piece += [name, name]
    for end, base, turn in ((4, 0, False), (5, (len(xs) - 1) * m, True)):
        for i in range(n - 1):
            p, q, r, s = i, i + 1, m - 2 - i, m - 1 - i
            for face in ([p, q, r], [p, r, s]):
                faces.append([base + v for v in (face if turn else face[::-1])])
                piece.append(end)
    f = np.array(faces)
    outer, neutral, inside = (rows(o) for o in (0.0, THICKNESS * (1 - K_FACTOR), THICKNESS))

    def volume(v: np.ndarray) -> float:
        return float(np.einsum("ij,ij->i", v[f[:, 0]], np.cross(v[f[:, 1]], v[f[:, 2]])).sum() / 6)

    if volume(outer) < 0:
        f = f[:, ::-1]
    area = float(
        np.linalg.norm(np.cross(neutral[f[:, 1]] - neutral[f[:, 0]], neutral[f[:, 2]] - neutral[f[:, 0]]), axis=1).sum()
        / 2
    )
    pieces = ("top skin", "side left", "side right", "tunnel", "end cap front", "end cap rear")
    return Body(
        outer, neutral, inside, f, np.array(piece), pieces, volume(inside), THICKNESS, K_FACTOR, None, None, None
    ), area


def _used(index: int, sheet: Sheet, placed: list[Placed], offcuts: list[Offcut]) -> UsedSheet:
    parts = math.fsum(p.outline.area for p in placed if p.sheet == index)
    kept = math.fsum(o.area for o in offcuts if o.sheet == index)
    rings = [r for p in placed if p.sheet == index for r in (p.outline.exterior, *p.outline.interiors)]
    return UsedSheet(
        index, sheet, parts, kept, sheet.area - parts - kept, math.fsum(r.length for r in rings), len(rings)
    )


def _layout(blanks: tuple[Blank, ...], cutting: str) -> Layout:
    """Two sheets laid by hand: rows from the lower left, and a rack offcut for the end caps."""
    by = {b.name: Part(b.name, b.outline, grain=b.grain_deg) for b in blanks}
    large, rack = (
        Sheet("1250 x 1000", 1250.0, 1000.0, price=62.0),
        Sheet("rack offcut 600 x 300", 600.0, 300.0, quantity=1, grain="x", origin="rack"),
    )
    turns = {"top skin": 90.0}
    rows = [["side left", "side right"], ["top skin", "tunnel"]]
    placed, y, tops = [], 15.0, []
    for row in rows:
        x, high = 15.0, 0.0
        for name in row:
            lain = place_outline(by[name], turns.get(name, 0.0), corner=(x, y))
            placed.append(Placed(by[name], 0, lain, turns.get(name, 0.0)))
            x, high = lain.bounds[2] + 10, max(high, lain.bounds[3] - y)
        tops.append((y + high + 5, x))
        y += high + 10
    x = 15.0
    for name in ("end cap front", "end cap rear"):
        lain = place_outline(by[name], 0.0, corner=(x, 15.0))
        placed.append(Placed(by[name], 1, lain))
        x = lain.bounds[2] + 10
    offcuts = [
        Offcut(0, box(0, math.ceil(tops[-1][0]), 1250, 1000)),
        Offcut(1, box(math.ceil(x), 0, 600, 300)),
    ]
    used = tuple(_used(i, s, placed, offcuts) for i, s in enumerate((large, rack)))
    whole = math.fsum(u.sheet.area for u in used)
    parts = math.fsum(u.parts_area for u in used)
    kept = math.fsum(o.area for o in offcuts)
    cuts: tuple[Cut, ...] = ()
    if cutting == "shear":
        a, b = tops[0][0], math.ceil(tops[-1][0])
        mid = placed[0].outline.bounds[2] + 5
        cuts = (
            Cut(1, 0, "1", "y", b, 1250.0, ((0.0, b), (1250.0, b)), ("1a", "1b"), "trim"),
            Cut(2, 0, "1a", "y", a, 1250.0, ((0.0, a), (1250.0, a)), ("1aa", "1ab"), "part"),
            Cut(3, 0, "1aa", "x", mid, a, ((mid, 0.0), (mid, a)), ("1aaa", "1aab"), "part"),
        )
    return Layout(
        cutting,
        tuple(placed),
        used,
        (),
        62.0,
        62.0,
        "cost",
        True,
        parts / whole,
        (parts + kept) / whole,
        tuple(offcuts),
        cuts,
        math.fsum(u.cut_length for u in used),
        sum(u.pierces for u in used),
        10.0,
        15.0,
    )


def _shop() -> Shop:
    """A shop that names a few prices, so that its quote has some of everything."""
    quote = {"rate": 60, "tax": 20, "deposit": 40, "date": "2026-04-01", "scrap_kg": 0.9}
    job = JobFile.model_construct(quote=JobQuoteSection.model_validate(quote))
    house = ShopFile.model_validate({"shop": {"name": "Fixture shop (invented)", "currency": "EUR"}})
    return replace(merge(house, job), past=(Past("buck", 2, 16.0, 20.0),))


@cache
def small_work(cutting: str = "profile", unit: str = "mm") -> Work:
    """The whole fixture. The same call gives the same object."""
    left = _side("left")
    seam = next(e for e in left.edges if e.letter == "A").length_surface
    blanks = (_top_skin(seam), left, _side("right"), _tunnel(), _end_cap("front"), _end_cap("rear"))
    body, area = _body()
    metal = lookup_metal("3003-H14")
    job = SimpleNamespace(
        folder=None,
        name="Fixture tank (invented)",
        reference="Kovács Łukasz, ref 12",
        revision="B",
        pattern_date=datetime.date(2026, 3, 14),
        unit=unit,
        surface="outside",
        metal=metal,
        thickness=THICKNESS,
        gauge="14 ga",
        fold_radius=3.0,
        k_factor=K_FACTOR,
        k_source="common practice, no source",
        fittings=(),
        outlet_names=(),
        marks={},
        shop=_shop(),
    )
    findings = (
        Finding(
            "stop",
            "plan at the widest line",
            "The plan pattern is longer than its line on the side pattern.",
            "557.0 mm",
            "548.0 mm, 1.5 mm apart at most",
            548.0,
            "Measure both between the same two marks.",
        ),
        Finding(
            "look",
            "tunnel",
            "The side room is less than is comfortable.",
            "12.0 mm",
            "19 mm",
            120.0,
            "Widen the tunnel pattern or draw the backbone in.",
        ),
        Finding("note", "side pattern", "No neck given: clearance at full lock not checked."),
    )
    litres = body.capacity_mm3 / 1e6
    capacity = Capacity(
        litres,
        0.2,
        0.04 * litres,
        0.35,
        0.96 * litres - 0.35,
        (201.0, 0.0, 82.0),
        area * THICKNESS * metal.density / 1e9,
        0.032,
        0.030,
        area,
    )
    seams = (
        ("A", "top skin", "side left", seam),
        ("B", "top skin", "side right", seam),
        ("C", "side left", "tunnel", 402.0),
        ("D", "side right", "tunnel", 402.0),
        ("E", "end cap front", "top skin", 330.0),
        ("F", "end cap rear", "top skin", 290.0),
        ("G", "end cap front", "tunnel", 256.0),
        ("H", "end cap rear", "tunnel", 252.0),
    )
    assumptions = (
        ("metal", "3003-H14, 1.6 mm"),
        ("patterns show", "the outside of the finished tank"),
        ("fold radius, inside", "3.0 mm"),
        ("K-factor", "0.40, common practice, no source"),
        ("trim on formed edges", "10 mm"),
        ("lap width", "12 mm"),
    )
    cautions = (
        "Leak test and approval are the maker's: follow the local code.",
        "Never heat or weld a tank that has held fuel.",
        "Cut edges are sharp: gloves and guards.",
    )
    return Work(
        job,
        findings,
        body,
        capacity,
        {"side pattern": 0.05, "plan at the widest line": 0.12},
        blanks,
        {"side right": _slits()},
        _layout(blanks, cutting),
        tuple(_joint(*seam) for seam in seams),
        assumptions,
        cautions,
    )


def job_changed(work: Work, **changes: object) -> Work:
    """The work, its job changed in some place."""
    job = copy(work.job)
    vars(job).update(changes)
    return replace(work, job=job)
