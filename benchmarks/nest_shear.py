"""Our shear nesting beside rectpack's best and the published or proven values, as one table.

    python benchmarks/nest_shear.py [--seconds 20] [--only bp_*] [--write]

``--write`` puts the table between its markers in benchmarks/README.md. Times are wall clock of ``nest`` or
``shortest_length`` in one process; ``--seconds`` is what each was given. A row is never edited by hand.
"""

from __future__ import annotations

import argparse
import fnmatch
import json
import math
import os
import platform
import sys
import time
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")
HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parent))

import numpy  # noqa: E402
from shapely.geometry import Polygon, box  # noqa: E402

from nesting import Part, Sheet, nest, shortest_length  # noqa: E402
from nesting.quick import quick_plan  # noqa: E402
from nesting.shear_job import make_job  # noqa: E402
from nesting.shear_plan import cost_of  # noqa: E402

HEAD = ("instance", "pieces", "question", "published or proven", "rectpack", "ours", "bound", "proven", "s")


def parts_of(data: dict, copies: int = 1) -> list[Part]:
    """Items as rectangular parts; blanks as their bounding rectangles rounded up to 1 mm, as their targets were set."""
    parts = []
    for item in data["items"]:
        if "polygon" in item:
            x0, y0, x1, y1 = Polygon(item["polygon"]).bounds
            w, h, count = math.ceil(x1 - x0 - 1e-6), math.ceil(y1 - y0 - 1e-6), item["demand"]
        else:
            w, h, count = item["w"], item["h"], item.get("copies") or copies
        parts.append(Part(str(item["id"]), box(0, 0, w, h), count, priority=item.get("value", 0)))
    return parts


def rectpack_cost(parts: list[Part], sheets: list[Sheet], gap: float, turns: tuple[int, ...]) -> float | None:
    """Cost of rectpack's best of 48 layouts that can be cut edge to edge; None if none could or pieces were left."""
    job = make_job(tuple(parts), tuple(sheets), gap_mm=gap, edge_mm=0.0, rotations=turns)
    plan = quick_plan(job, tries=48)
    return None if plan is None or plan.left else cost_of(job, plan)


def sheets_row(data: dict, seconds: float) -> list[tuple]:
    """bin and multi_sheet_cost."""
    known, gap = data["known"], data.get("gap", 0)
    if data["problem"] == "bin":
        sheets, turns = [Sheet("sheet", data["sheet"]["w"], data["sheet"]["h"], 1.0, grain=None)], (0, 90)
        target = known.get("optimum_sheets") or known["best_bins_guillotine3_rotation"]
        question = "sheets"
    else:
        sheets = [Sheet(str(s["id"]), s["w"], s["h"], s["cost"], grain=None) for s in data["sheets"]]
        turns, target, question = (0,), f"{known['best_cost_free_oriented']} free", "cost, no turns"
    parts = parts_of(data)
    other = rectpack_cost(parts, sheets, gap, turns)
    start = time.perf_counter()
    layout = nest(parts, sheets, gap_mm=gap, rotations=turns, seconds=seconds)
    took = time.perf_counter() - start
    return [(question, target, other, layout.cost, layout.bound, layout.proven, took)]


def strip_row(data: dict, seconds: float) -> list[tuple]:
    """strip, and blanks on a 1220 mm wide sheet."""
    known, gap = data["known"], data.get("gap", 0)
    width = data.get("strip_width", 1220)
    if "strip_width" in data:
        proven = known["optimum_height"] if known.get("guillotine_zero_waste") else None
        target = known.get("guillotine_rotation_optimum_height") or proven or f">= {known['optimum_height']}"
    else:
        target = known["guillotine_bounding_rect_optimum_length_on_1220"]
    parts = parts_of(data)
    start = time.perf_counter()
    found = shortest_length(parts, width, gap_mm=gap, seconds=seconds, grain=None)
    took = time.perf_counter() - start
    low = round(found.length_mm)
    other = next(
        (
            h
            for h in range(low, 3 * low)
            if rectpack_cost(parts, [Sheet("s", width, h, 1, grain=None)], gap, (0, 90)) == 1
        ),
        None,
    )
    return [("length", target, other, found.length_mm, found.bound_mm, found.proven, took)]


def value_rows(data: dict, seconds: float) -> list[tuple]:
    """knapsack, with and without limits, in one orientation and with turns where a value is known."""
    w, h = data["sheet"]["w"], data["sheet"]["h"]
    rows = []
    for turns, key, words in (
        ((0,), "guillotine_oriented_optimum", "value, no turns"),
        ((0, 90), "guillotine_rotation_optimum", "value"),
    ):
        if key not in data["known"]:
            continue
        parts = [
            Part(p.name, p.outline, min(p.quantity, int(w * h // p.outline.area)), priority=p.priority)
            for p in parts_of(data, copies=10**6)
        ]
        start = time.perf_counter()
        layout = nest(parts, [Sheet("sheet", w, h, 1, quantity=1, grain=None)], rotations=turns, seconds=seconds)
        took = time.perf_counter() - start
        value = sum(item.part.priority for item in layout.placed)
        rows.append((words, data["known"][key], None, value, value if layout.proven else None, layout.proven, took))
    return rows


def rows_of(path: Path, seconds: float) -> list[tuple]:
    """All table rows of one instance file."""
    data = json.loads(path.read_text())
    problem = data.get("problem", "strip")
    solve = {"strip": strip_row, "bin": sheets_row, "multi_sheet_cost": sheets_row}.get(problem, value_rows)
    count = sum(item.get("demand") or item.get("copies") or 1 for item in data["items"])
    return [(path.stem, count, *row) for row in solve(data, seconds)]


def show(value: object) -> str:
    """One cell."""
    if value is None:
        return "-"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.2f}" if value != round(value, 2) or value < 1 else f"{value:g}"
    return str(value)


def table(rows: list[tuple]) -> str:
    """Markdown."""
    lines = ["| " + " | ".join(HEAD) + " |", "|" + "---|" * len(HEAD)]
    lines += ["| " + " | ".join([*map(show, row[:-1]), f"{row[-1]:.1f}"]) + " |" for row in rows]
    return "\n".join(lines)


def write(text: str) -> None:
    """Put the table between its markers in the README beside this file."""
    readme = HERE / "README.md"
    start, end = "<!-- nest_shear: begin -->", "<!-- nest_shear: end -->"
    old = readme.read_text()
    head, rest = old.split(start)
    readme.write_text(f"{head}{start}\n{text}\n{end}{rest.split(end)[1]}")


def main() -> None:
    """Run what was asked for and print it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=20.0)
    parser.add_argument("--only", default="*")
    parser.add_argument("--write", action="store_true")
    chosen = parser.parse_args()
    files = [*sorted((HERE / "nesting" / "rect").glob("*.json")), *sorted((HERE / "nesting" / "tank").glob("*.json"))]
    rows = []
    for path in files:
        if fnmatch.fnmatch(path.stem, chosen.only):
            rows += rows_of(path, chosen.seconds)
            print(show(rows[-1][0]), *map(show, rows[-1][1:]), sep="  ", file=sys.stderr, flush=True)
    conditions = (
        f"{chosen.seconds:g} s asked for each, 1 process, {os.cpu_count()} cores, Python {platform.python_version()}, "
        f"numpy {numpy.__version__}, {time.strftime('%Y-%m-%d')}."
    )
    text = f"{conditions}\n\n{table(rows)}"
    print(text)
    if chosen.write:
        write(text)


if __name__ == "__main__":
    main()
