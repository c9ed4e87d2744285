"""True-shape nesting beside published bests: one table.

    .venv/bin/python benchmarks/nest_profile.py            every instance, 20 s each
    .venv/bin/python benchmarks/nest_profile.py --seconds 5 tank16 fu

Instances and their sources: tests/published/nesting/true-shape.source.md. "Guide" is what the strip packing library
gave by itself in 15 to 20 s on two quiet cores (tank files in mm of a 1220 sheet, strips in percent of the strip
filled), "best known" the published record. Every layout is checked with plain geometry before it is counted. Say
what the machine was and what else it was doing when you quote a figure from here: "load" is the mean number of
runnable processes.
"""

from __future__ import annotations

import argparse
import json
import os
import time
from pathlib import Path

from shapely.geometry import Polygon

from nesting._profile_check import faults_on_sheet
from nesting.model import Part, Placement, Sheet
from nesting.profile import place_profile
from nesting.strip import pack_strip

PUBLISHED = Path(__file__).resolve().parent.parent / "tests" / "published" / "nesting"
GUIDE_MM = {"tank08": ("897", "953-1017"), "tank12": ("1061", "1081"), "tank16": ("1111", "1139")}
GUIDE_PERCENT = {"albano": 87.4, "fu": 91.3, "jakobs1": 89.0, "shapes0": 65.8, "swim": 73.5, "trousers": 89.9}


def load() -> str:
    """Runnable processes over the last minute, where the system tells."""
    return f"{os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else "?"


def read(path: Path) -> tuple[dict, list[Part]]:
    """An instance and its parts."""
    data = json.loads(path.read_text())
    return data, [Part(str(item["id"]), Polygon(item["polygon"]), item["demand"]) for item in data["items"]]


def sound(found: Placement, gap: float) -> None:
    """Raise if a layout breaks a rule."""
    for number, sheet in enumerate(found.used):
        outlines = [item.outline for item in found.placed if item.sheet == number]
        wrong = faults_on_sheet(outlines, sheet, gap=gap, edge=0.0)
        if wrong or found.unplaced:
            raise SystemExit(f"faulty layout: {wrong or found.unplaced}")


def run_tank(path: Path, seconds: float, seed: int) -> None:
    """Length on a 1220 sheet with four turns, with the grain along it and across it, and how many 610 x 1220 sheets."""
    data, parts = read(path)
    free = {str(item["id"]): item["rotations"] for item in data["items"]}
    grain = {str(item["id"]): item["grain_rotations"] for item in data["items"]}
    across = {name: [turn + 90 for turn in turns] for name, turns in grain.items()}
    for label, turns, guide in (("four turns", free, 0), ("grain along", grain, 1), ("grain across", across, 1)):
        first: list[float] = []
        begun = time.perf_counter()
        found = place_profile(
            parts, [Sheet("1220", 2440, 1220, price=1)], gap_mm=data["gap"], seconds=seconds, seed=seed,
            rotations=turns,
            on_better=lambda _, told=first, since=begun: told.append(time.perf_counter() - since),
        )  # fmt: skip
        took = time.perf_counter() - begun
        sound(found, data["gap"])
        length = max(item.outline.bounds[2] for item in found.placed)
        rectangles = data["known"]["guillotine_bounding_rect_optimum_length_on_1220"]
        print(f"| {data['name']} | {label} | {length:.1f} mm | {GUIDE_MM[data['name']][guide]} mm | "
              f"{rectangles} mm (rectangles) | {first[0]:.2f} s | "
              f"{took:.1f} s | {load()} |", flush=True)  # fmt: skip
    begun = time.perf_counter()
    found = place_profile(
        parts, [Sheet("610", 610, 1220, price=1)], gap_mm=data["gap"], seconds=seconds, seed=seed, rotations=free
    )
    sound(found, data["gap"])
    took = time.perf_counter() - begun
    print(f"| {data['name']} | 610 x 1220 sheets | {len(found.used)} | 2 | {found.bound:.0f} (bound) | | {took:.1f} s "
          f"| {load()} |", flush=True)  # fmt: skip


def run_strip(path: Path, seconds: float, seed: int) -> None:
    """Percent of the strip filled."""
    data, parts = read(path)
    turns = {str(item["id"]): item["rotations"] for item in data["items"]}
    for label, library in (("with library", True), ("own search", False)):
        begun = time.perf_counter()
        found = pack_strip(parts, data["strip_height"], seconds=seconds, seed=seed, rotations=turns, library=library)
        took = time.perf_counter() - begun
        sheet = Sheet("strip", found.length, found.height)
        wrong = faults_on_sheet([item.outline for item in found.placed], sheet, gap=0.0, edge=0.0)
        if wrong:
            raise SystemExit(f"faulty layout: {wrong}")
        print(f"| {data['name']} | {label} | {100 * found.density:.2f} % | {GUIDE_PERCENT[data['name']]} % | "
              f"{data['best_known']['density_pct']:.2f} % | | {took:.1f} s | {load()} |", flush=True)  # fmt: skip


def main() -> None:
    """Run what was asked for and print the table."""
    asked = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    asked.add_argument("names", nargs="*", help="instances; all of them by default")
    asked.add_argument("--seconds", type=float, default=20.0)
    asked.add_argument("--seed", type=int, default=0)
    given = asked.parse_args()
    print("| instance | how | ours | guide | best known | first layout | took | load |")
    print("|---|---|---|---|---|---|---|---|", flush=True)
    for folder, run in (("tank", run_tank), ("irregular", run_strip)):
        for path in sorted((PUBLISHED / folder).glob("*.json")):
            if not given.names or path.stem in given.names:
                run(path, given.seconds, given.seed)


if __name__ == "__main__":
    main()
