"""results.json: every figure once, documented, tied, and the same every time."""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
import trimesh

from nesting import nest
from nesting.model import Sheet, Unplaced
from panels.blank import Bend
from panels.fittings import Fitting
from panels.patterns import TunnelPattern
from tankwright.papers.jobsheet import job_sheet
from tankwright.papers.results import figures, results
from tankwright.papers.results_fields import FIELDS
from tankwright.papers.zones import strain_figures, strain_zones

from .fixture import BALL_MM, FILLER_MM, THICKNESS, small_work


def _paths(value: object, path: str = "") -> set[str]:
    """Every path in a nested value, items of lists as ``[]``."""
    if isinstance(value, dict):
        return {p for key, item in value.items() for p in _paths(item, f"{path}.{key}" if path else key)}
    if isinstance(value, list):
        return {p for item in value for p in _paths(item, f"{path}[]")}
    return {path}


@pytest.mark.parametrize("cutting", ["profile", "shear"])
@pytest.mark.parametrize("unit", ["mm", "in"])
def test_every_key_is_explained_and_every_explanation_is_used(cutting: str, unit: str) -> None:
    """No figure without its unit and meaning; no explanation of a figure that is not there."""
    work = small_work(cutting, unit)
    tunnel = TunnelPattern(38.0, 34.0, 19.0, 10.0)
    job = SimpleNamespace(**{**vars(work.job), "patterns": SimpleNamespace(tunnel=tunnel)})
    job.fittings = (Fitting("filler", "top", 200.0, 0.0, FILLER_MM),)
    line = np.array([[0.0, 5.0], [40.0, 5.0]])
    lip = Bend("C", 12.0, line, line - [0, 4], (90.0, 90.0), 3.0, False, 0.4, "common practice", True)
    work = replace(work, blanks=(replace(work.blanks[0], lips=(lip,)), *work.blanks[1:]))
    found = _paths(figures(replace(work, job=job, layout=replace(work.layout, notes=("a note",)))))
    if cutting == "profile":  # no shear cuts there
        found = {p for p in found if not p.startswith("cuts")} | {p for p in FIELDS if p.startswith("cuts")}
    # A list of two coordinates may also be null.
    found = {p if p in FIELDS else p + "[]" for p in found}
    parents = {p for p in FIELDS if any(q.startswith(p + ".") for q in FIELDS)}
    assert found - set(FIELDS) == set()
    assert set(FIELDS) - parents - found == set()


def _flat(value: object, path: str = "") -> dict[str, object]:
    """Every leaf by its path."""
    if isinstance(value, dict | list):
        items = value.items() if isinstance(value, dict) else enumerate(value)
        return {key: leaf for name, inner in items for key, leaf in _flat(inner, f"{path}.{name}").items()} or {
            path: ""
        }
    return {path: value}


def test_litres_and_kilograms_are_rounded_once_on_every_paper() -> None:
    """5.8499 L is 5.8 L and 5.85 L; 1.28499 kg is 1.28 kg, not 1.285 rounded again."""
    work = small_work(unit="in")
    work = replace(work, capacity=replace(work.capacity, brim_l=5.8499, usable_l=5.7501, dry_mass_kg=1.28499))
    sheet = job_sheet(work)
    for words in ("5.8 L (1.55 US gal)", "5.85 L (1.545 US gal)", "5.8 L (1.52 US gal)", "1.28 kg"):
        assert words in sheet, words
    told = json.loads(results(work))["capacity"]
    assert (told["brim_l"], told["usable_l"], told["dry_mass_kg"]) == (5.85, 5.75, 1.285)
    total = figures(work)["totals"]
    kg = work.job.thickness * work.job.metal.density * 1e-9
    assert total["mass_scrap_kg"] == pytest.approx(kg * sum(u.skeleton_area for u in work.layout.sheets), rel=1e-12)


def test_it_reads_back_as_what_was_written_and_is_the_same_every_time() -> None:
    """JSON a strict reader takes, no NaN, the same bytes from the same work."""
    work = small_work()
    text = results(work)

    def refuse(name: str) -> None:
        raise AssertionError(f"{name} is not JSON")

    back = json.loads(text, parse_constant=refuse)
    assert _flat(back) == pytest.approx(_flat(figures(work)), abs=0.00501)  # litres and kilograms are rounded
    assert text == results(work)
    assert "Kovács Łukasz" in text.decode("utf-8")
    assert "-0.0" not in re.findall(r"-?\d+\.\d+", text.decode("utf-8"))


def test_a_disc_weighs_what_the_handbook_says() -> None:
    """Mass, area and cut length of the top skin by hand: a rectangle with a lip and a round hole."""
    got = next(b for b in figures(small_work())["blanks"] if b["name"] == "top skin")
    length, wide = got["width_mm"] - 8.0, got["height_mm"]
    hole = math.pi * FILLER_MM**2 / 4
    area = (length + 8) * wide - hole
    assert got["cut_area_mm2"] == pytest.approx(area, abs=10)
    assert got["net_area_mm2"] == pytest.approx(length * wide - hole, abs=10)
    assert got["mass_kg"] == pytest.approx(area * THICKNESS * 2730 * 1e-9, abs=0.0006)
    assert got["cut_length_mm"] == pytest.approx(2 * (length + 8 + wide) + math.pi * FILLER_MM, abs=0.3)
    assert got["pierces"] == 2


def test_capacity_is_what_a_mesh_library_finds() -> None:
    """Brim litres against trimesh's volume of the inner surface."""
    work = small_work()
    mesh = trimesh.Trimesh(work.body.inner, work.body.faces, process=False)
    assert figures(work)["capacity"]["brim_l"] == pytest.approx(mesh.volume / 1e6, abs=0.006)


def test_areas_and_masses_tie() -> None:
    """Parts, kept offcuts and skeleton make up the sheets within 0.1 %, sheet by sheet and in all."""
    got = figures(small_work())
    for sheet in got["sheets"]:
        parts = sheet["parts_area_mm2"] + sheet["offcuts_area_mm2"] + sheet["skeleton_area_mm2"]
        assert parts == pytest.approx(sheet["sheet_area_mm2"], abs=2)
        assert sheet["sheet_area_mm2"] == pytest.approx(sheet["width_mm"] * sheet["height_mm"], abs=1)
    total = got["totals"]
    assert sum(b["cut_area_mm2"] for b in got["blanks"]) == pytest.approx(total["parts_area_mm2"], rel=1e-3)
    assert abs(total["tie_mm2"]) <= 1e-3 * total["sheet_area_mm2"]
    masses = total["mass_in_parts_kg"] + total["mass_kept_kg"] + total["mass_scrap_kg"]
    assert masses == pytest.approx(total["mass_used_kg"], abs=0.003)
    assert sum(b["mass_kg"] for b in got["blanks"]) == pytest.approx(total["mass_in_parts_kg"], abs=0.004)


def test_every_half_under_the_shear_is_told() -> None:
    """Each blank is named once, with a rectangle that holds it; each offcut once; the rest is cut again or scrap."""
    work = small_work()
    parts = [placed.part for placed in work.layout.placed][:3]
    layout = nest(parts, [Sheet("stock", 1250.0, 2500.0, price=50.0)], cutting="shear", gap_mm=2.0, seconds=0.5)
    cuts = figures(replace(work, layout=layout))["cuts"]
    assert cuts[0]["piece"] == "sheet 1"
    told = [what for cut in cuts for what in cut["becomes"]]
    number = {blank.name: k for k, blank in enumerate(work.blanks, 1)}
    for placed in layout.placed:
        named = [what for what in told if what.startswith(f"piece {number[placed.part.name]} {placed.part.name},")]
        assert len(named) == 1
        x0, y0, x1, y1 = placed.outline.bounds
        wide, high = (float(v) for v in re.search(r"([\d.]+) x ([\d.]+) mm", named[0]).groups())
        assert x1 - x0 - 0.06 <= wide <= x1 - x0 + 2.06
        assert y1 - y0 - 0.06 <= high <= y1 - y0 + 2.06
    assert sorted(w for w in told if w.startswith("K")) == [f"K{k}, keep" for k in range(1, len(layout.offcuts) + 1)]
    others = [w for w in told if not w.startswith(("piece", "K"))]
    assert all(w == "scrap" or w.startswith("cut again, cut ") for w in others)
    assert sum(w.startswith("cut again") for w in others) == len(cuts) - 1


def test_the_rack_offcut_is_not_bought() -> None:
    """Only the priced sheet is on the order, in the supplier's words."""
    got = figures(small_work())
    assert [b["words"] for b in got["buy"]] == ["1 sheet 3003-H14 aluminium, 14 ga (1.6 mm), 1250 x 1000 mm"]
    assert got["totals"]["mass_bought_kg"] == pytest.approx(1.25 * 1.0 * 1.6 * 2.73, abs=0.001)
    inch = figures(small_work(unit="in"))["buy"][0]["words"]
    assert inch.endswith("14 ga (0.063 in, 1.6 mm), 49.213 x 39.37 in (1250 x 1000 mm)")


def test_the_tunnel_says_where_it_touches_first() -> None:
    """Clear widths are backbone and both side rooms; draw-in comes off each side; the lesser room is named."""
    work = small_work()
    for top, first in ((10.0, "over the frame line"), (25.0, "at the sides")):
        tunnel = TunnelPattern(38.0, 34.0, 19.0, top, draw_in=1.5)
        job = SimpleNamespace(**{**vars(work.job), "patterns": SimpleNamespace(tunnel=tunnel)})
        got = figures(replace(work, job=job))["tunnel"]
        assert (got["clear_width_front_mm"], got["clear_width_rear_mm"]) == (76.0, 72.0)
        assert got["side_room_left_mm"] == 17.5
        assert got["touches_first"] == first
    assert figures(work)["tunnel"] is None


def test_a_test_strip_reads_back_its_own_k() -> None:
    """Legs of a 150 mm strip, 1.6 mm, inside radius 3 mm, K 0.4, by hand.

    Closed form: two outside setbacks of (3 + 1.6) mm less the arc pi/2 (3 + 0.4 * 1.6) mm.
    """
    strip = figures(small_work())["test_strips"][0]
    assert strip["legs_mm"] == pytest.approx(150 + 2 * 4.6 - math.pi / 2 * 3.64, abs=0.005)
    assert [row["k_factor"] for row in strip["read_k"]] == [0.30, 0.35, 0.40, 0.45, 0.50]
    legs = [row["legs_mm"] for row in strip["read_k"]]
    assert legs == sorted(legs, reverse=True)
    assert legs[2] == strip["legs_mm"]


def test_a_blank_without_a_sheet_is_the_first_stop() -> None:
    """A piece that fits nowhere is never silent."""
    work = small_work()
    part = work.layout.placed[0].part
    left = (Unplaced(part, "too long for every sheet"),)
    short = replace(work.layout, unplaced=left, placed=work.layout.placed[1:])
    got = figures(replace(work, layout=short))
    assert got["findings"][0]["strength"] == "stop"
    assert "too long for every sheet" in got["findings"][0]["says"]
    assert got["found"]["stop"] == sum(f["strength"] == "stop" for f in got["findings"])


# Laid flat with radii kept, a ball's skin shrinks around by sin(t)/t, t = radius/ball: closed form
# (azimuthal equidistant map; Snyder, Map Projections: A Working Manual, USGS Professional Paper 1395, 1987,
# equation 25-2, k' = c / sin c, from memory).
def _shrink(radius: float) -> float:
    t = radius / BALL_MM
    return 1 - math.sin(t) / t


def test_zones_of_a_ball_skin_are_rings_of_the_right_size() -> None:
    """The zone that is left be ends where sin(t)/t says, and worst is never milder than mean."""
    flat = small_work().blanks[1].flat
    assert flat is not None
    zones = strain_zones(flat)
    assert {z.kind for z in zones} == {"leave", "shrink"}
    reach = np.abs(np.array(zones[-1].shape.exterior.coords)).max()
    bound = next(r for r in np.arange(1.0, 400.0, 0.5) if _shrink(r) > 0.005)
    assert zones[-1].kind == "leave"
    assert reach == pytest.approx(bound, abs=30)  # the fixture's rings are about 30 mm apart
    for zone in zones:
        if zone.kind == "shrink":
            assert zone.worst <= zone.mean < 0
    assert math.fsum(z.area for z in zones) == pytest.approx(
        math.fsum(_area(flat.points[f]) for f in flat.faces), rel=1e-4
    )


def test_strain_figures_of_a_ball_skin() -> None:
    """No stretch; worst shrink as in closed form at the farthest corner."""
    flat = small_work().blanks[1].flat
    assert flat is not None
    got = strain_figures(flat)
    far = max(np.hypot(*flat.points[f].mean(axis=0)) for f in flat.faces)
    assert got.stretch_worst == pytest.approx(0, abs=1e-9)
    assert got.shrink_worst == pytest.approx(_shrink(far), abs=1e-4)


def test_the_grid_of_a_ball_skin_lies_on_the_ball() -> None:
    """Lines of the template's grid: on the ball, and as long there as rays laid straight at true length say."""
    work = small_work()
    y0 = work.blanks[1].outline.bounds[1]
    grid = figures(work)["blanks"][1]["grid"]
    assert {(line["line"], line["at_mm"]) for line in grid} >= {("x", 50.0), ("x", 400.0), ("y", 50.0), ("y", 100.0)}
    for line in grid:
        assert np.linalg.norm(line["tank_mm"], axis=1) == pytest.approx(BALL_MM, rel=4e-3)  # rings 30 mm apart
        if line["flat_mm"] == 400.0:  # over the whole width, which the pole halves
            y, x = y0 + line["at_mm"], np.linspace(-200, 200, 2001)
            t, way = np.hypot(x, y) / BALL_MM, np.arctan2(y, x)
            ball = BALL_MM * np.column_stack([np.sin(t) * np.cos(way), np.sin(t) * np.sin(way), np.cos(t)])
            along = np.linalg.norm(np.diff(ball, axis=0), axis=1).sum()
            assert line["formed_mm"] == pytest.approx(along, rel=1e-3)


def _area(p: np.ndarray) -> float:
    (ux, uy), (vx, vy) = p[1] - p[0], p[2] - p[0]
    return abs(ux * vy - uy * vx) / 2
