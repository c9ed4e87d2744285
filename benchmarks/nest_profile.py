"""True-shape nesting beside published bests: one table.

    python benchmarks/nest_profile.py [--seconds 20] [--seed 0] [--patient] [--write] [tank16 fu ...]

Instances and their sources: tests/published/nesting/true-shape.source.md. "Guide" is what the strip packing library
gave by itself in 15 to 20 s on two quiet cores (tank files in mm of a 1220 sheet, strips in percent of the strip
filled), "best known" the published record, "short by" how far ours is from what is to be reached: the guide for the
tank files, a point below it for the strips. Every layout is checked with plain geometry before it is counted.
"Took" is wall clock, "cpu" processor time of this process and the library's; "load" is the mean number of runnable
processes over the last minute, our two among them.

A search has an amount of work to do for its seconds, and the clock ends it some seconds late where the machine cannot
do it. With ``--patient`` the clock does not: on a busy machine the figures are then those of one that has its
cores to itself and does the work in the time, and "took" is longer. ``--write`` puts the table between its markers in
benchmarks/README.md; a row is never edited by hand.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import sys
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")
HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent))

import numpy  # noqa: E402
from shapely.geometry import Polygon  # noqa: E402

from nesting import Layout, Part, Sheet, Strip, nest, pack_strip, profile  # noqa: E402
from nesting._profile_check import faults_on_sheet  # noqa: E402

PUBLISHED = HERE.parent / "tests" / "published" / "nesting"
HEAD = ("instance", "how", "ours", "guide", "short by", "best known", "first layout s", "took s", "cpu s", "load")
TURNS, ALONG, ACROSS = "four turns", "grain along", "grain across"
GUIDE_MM = {"tank08": ("897", "953-1017"), "tank12": ("1061", "1081"), "tank16": ("1111", "1139")}
GUIDE_PERCENT = {"albano": 87.4, "fu": 91.3, "jakobs1": 89.0, "shapes0": 65.8, "swim": 73.5, "trousers": 89.9}
WITHIN = 1.0  # points of a strip's guide

Row = tuple[str, ...]


def load() -> str:
    """Runnable processes over the last minute, where the system tells."""
    return f"{os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else "?"


def read(path: Path) -> tuple[dict, list[Part]]:
    """An instance and its parts."""
    data = json.loads(path.read_text())
    return data, [Part(str(item["id"]), Polygon(item["polygon"]), item["demand"]) for item in data["items"]]


def sound(outlines: list[Polygon], sheet: Sheet, gap: float) -> None:
    """End the run if a layout breaks a rule."""
    wrong = faults_on_sheet(outlines, sheet, gap=gap, edge=0.0)
    if wrong:
        raise SystemExit(f"faulty layout: {wrong}")


def timed(solve: Callable[..., Layout | Strip]) -> tuple[Layout | Strip, list[str]]:
    """What ``solve`` gives, and the last four cells of its row."""
    first: list[float] = []
    spent, begun = os.times(), time.perf_counter()
    found = solve(on_better=lambda _: first.append(time.perf_counter() - begun))
    took, now = time.perf_counter() - begun, os.times()
    cpu = sum(now[:4]) - sum(spent[:4])
    return found, [f"{first[0]:.2f}", f"{took:.1f}", f"{cpu:.1f}", load()]


def tank_rows(path: Path, seconds: float, seed: int) -> list[Row]:
    """Length on a 1220 sheet with four turns, with the grain along it and across it; how many 610 x 1220 sheets."""
    data, parts = read(path)
    name, gap = data["name"], data["gap"]
    free = {str(item["id"]): item["rotations"] for item in data["items"]}
    grain = {str(item["id"]): item["grain_rotations"] for item in data["items"]}
    across = {part: [turn + 90 for turn in turns] for part, turns in grain.items()}
    rectangles = f"{data['known']['guillotine_bounding_rect_optimum_length_on_1220']} mm (rectangles)"

    def nested(sheet: Sheet, turns: dict) -> tuple[Layout, list[str]]:
        found, rest = timed(partial(
            nest, parts, [sheet], cutting="profile", gap_mm=gap, seconds=seconds, seed=seed, rotations=turns
        ))  # fmt: skip
        assert isinstance(found, Layout)
        if found.unplaced:
            raise SystemExit(f"left out: {found.unplaced}")
        for used in found.sheets:
            sound([item.outline for item in found.placed if item.sheet == used.index], used.sheet, gap)
        return found, rest

    rows: list[Row] = []
    for label, turns in ((TURNS, free), (ALONG, grain), (ACROSS, across)):
        found, rest = nested(Sheet("1220", 2440, 1220, price=1), turns)
        length, guide = max(item.outline.bounds[2] for item in found.placed), GUIDE_MM[name][label != TURNS]
        most = float(guide.split("-")[-1])
        short = f"{length - most:.1f} mm" if length > most + 0.5 else "-"
        rows.append((name, label, f"{length:.1f} mm", f"{guide} mm", short, rectangles, *rest))
    found, rest = nested(Sheet("610", 610, 1220, price=1), free)
    count = len(found.sheets)
    rows.append((name, "610 x 1220 sheets", f"{count}", "2", str(count - 2) if count > 2 else "-",
                 f"{found.bound:.0f} (bound)", *rest))  # fmt: skip
    return rows


def strip_rows(path: Path, seconds: float, seed: int) -> list[Row]:
    """Percent of the strip filled."""
    data, parts = read(path)
    turns = {str(item["id"]): item["rotations"] for item in data["items"]}
    guide, best = GUIDE_PERCENT[data["name"]], data["best_known"]["density_pct"]
    rows: list[Row] = []
    for label, library in (("with library", True), ("own search", False)):
        found, rest = timed(partial(
            pack_strip, parts, data["strip_height"], seconds=seconds, seed=seed, rotations=turns, library=library
        ))  # fmt: skip
        assert isinstance(found, Strip)
        sound([item.outline for item in found.placed], Sheet("strip", found.length, found.height), 0.0)
        density = 100 * found.density
        short = f"{guide - WITHIN - density:.1f}" if density < guide - WITHIN else "-"
        rows.append((data["name"], label, f"{density:.2f} %", f"{guide} %", short, f"{best:.2f} %", *rest))
    return rows


def write(text: str) -> None:
    """Put the table between its markers in the README beside this file."""
    readme = HERE / "README.md"
    start, end = "<!-- nest_profile: begin -->", "<!-- nest_profile: end -->"
    head, rest = readme.read_text().split(start)
    readme.write_text(f"{head}{start}\n{text}\n{end}{rest.split(end)[1]}")


def line(cells: Row) -> str:
    """One line of the table."""
    return f"| {' | '.join(cells)} |"


def main() -> None:
    """Run what was asked for and print the table."""
    asked = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    asked.add_argument("names", nargs="*", help="instances; all of them by default")
    asked.add_argument("--seconds", type=float, default=20.0)
    asked.add_argument("--seed", type=int, default=0)
    asked.add_argument("--write", action="store_true", help="put the table into benchmarks/README.md")
    asked.add_argument("--patient", action="store_true", help="let each search do its work, however busy the machine")
    given = asked.parse_args()
    if given.patient:
        profile.SLACK = 1e5
    how = "the work of them done however long it took" if given.patient else "ended by the clock where late"
    conditions = (
        f"{given.seconds:g} s asked for each, {how}, seed {given.seed}, {os.cpu_count()} cores, "
        f"Python {platform.python_version()}, numpy {numpy.__version__}, {time.strftime('%Y-%m-%d')}."
    )
    lines = [conditions, "", line(HEAD), "|" + "---|" * len(HEAD)]
    print("\n".join(lines), flush=True)
    for folder, rows in (("tank", tank_rows), ("irregular", strip_rows)):
        for path in sorted((PUBLISHED / folder).glob("*.json")):
            if not given.names or path.stem in given.names:
                for row in rows(path, given.seconds, given.seed):
                    lines.append(line(row))
                    print(lines[-1], flush=True)
    if given.write:
        write("\n".join(lines))


if __name__ == "__main__":
    main()
