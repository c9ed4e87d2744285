"""A strip packing library as a second engine, kept at arm's length in a child process.

It packs one rectangle of given height as short as it can. It knows no holes, no damage, no flipping and no
second sheet; it takes a part as tall as the strip badly, and keeps its gap at the strip's edges too: so the strip
handed over is taller by two gaps and a hair, and what comes back is made exact and checked like everything else
(``settle``, ``faults``).
Where the library is not installed, ``available`` is False and the search of our own works alone.
"""

from __future__ import annotations

import importlib.util
import json
import math
import subprocess
import sys
import threading
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from shapely import affinity

from ._profile_grid import Bench, Spot
from ._profile_shapes import Variant, Variants

__all__ = ["Run", "available", "start", "strip_job"]

CHILD = str(Path(__file__).with_name("_profile_child.py"))  # run as a file: the package would load the array library
HAIR = 1e-5  # of the strip's height, added to it so that a part may be as tall as the strip


def available() -> bool:
    """Whether the library can be used here."""
    return importlib.util.find_spec("spyrrow") is not None and bool(sys.executable)


@dataclass(eq=False)
class Run:
    """Children at work, one after another; the layouts found, each as the child told it."""

    job: dict[str, Any]
    items: list[tuple[int, list[Variant]]]
    bench: Bench
    gap: float
    found: list[dict[str, Any]] = field(default_factory=list)
    process: subprocess.Popen[str] | None = None
    reader: threading.Thread | None = None
    stopped: bool = False
    done: float = 0.0  # work

    def start(self) -> None:
        """Begin, on a thread."""
        self.reader = threading.Thread(target=self._all_seeds, daemon=True)
        self.reader.start()

    def wait(self, seconds: float | None) -> bool:
        """Wait for the work to end by itself; False, and it is ended, when it does not in time."""
        ended = self.ended(seconds)
        self.stop()
        return ended

    def ended(self, seconds: float | None) -> bool:
        """Whether it has ended by itself within so many seconds."""
        assert self.reader is not None
        self.reader.join(seconds)
        return not self.reader.is_alive()

    def stop(self) -> None:
        """End the child, whatever it is doing."""
        self.stopped = True
        if self.process is not None and self.process.poll() is None:
            self.process.kill()
        if self.reader is not None:
            self.reader.join()

    def _all_seeds(self) -> None:
        """One seed after another until the work is used up."""
        left, seed = float(self.job["work"]), int(self.job["seed"])
        while not self.stopped:
            done = self._one_seed({**self.job, "seed": seed, "work": left})
            self.done += done
            left, seed = left - done, seed + 1
            if done <= 0 or left <= 0 or self._has_enough():
                break

    def _has_enough(self) -> bool:
        return any(told["length"] <= self.job.get("enough", 0.0) for told in self.found)

    def _one_seed(self, job: dict[str, Any]) -> float:
        """Run one child to its end; the work it did, 0 where it failed."""
        try:
            self.process = _child(job)
        except OSError:
            return 0.0
        done = 0.0
        with self.process as process:
            assert process.stdout is not None
            if self.stopped:
                process.kill()
            for line in process.stdout:
                try:
                    told = json.loads(line)
                except ValueError:
                    continue
                done = float(told.get("done", done))
                if math.isfinite(told.get("length", math.inf)):
                    self.found.append({**told, "seed": job["seed"]})
        return done

    def layouts(self, copies: Sequence[int], sheet: int, most: int = 3) -> list[tuple[float, list[Spot]]]:
        """The shortest layout of each seed, shortest first: its length, and places on sheet number ``sheet``.

        In the order of ``copies`` (part numbers); at most ``most`` of them.
        """
        by_seed: dict[int, dict[str, Any]] = {}
        for told in self.found:
            if told["length"] < by_seed.get(told["seed"], {"length": math.inf})["length"]:
                by_seed[told["seed"]] = told
        ranked = sorted(by_seed.values(), key=lambda told: (told["length"], told["seed"]))[:most]
        found = [(told["length"], self._places(told, copies, sheet)) for told in ranked]
        return [(length, spots) for length, spots in found if spots is not None]

    def _places(self, told: dict[str, Any], copies: Sequence[int], sheet: int) -> list[Spot] | None:
        at: dict[int, list[Spot]] = {}
        for item, turn, u, v in told["placed"]:
            part, choices = self.items[item]
            variant = min(choices, key=lambda c: _apart(c.turn - choices[0].turn, turn))
            at.setdefault(part, []).append(self._spot(choices[0], variant, turn, u, v, sheet))
        if Counter(copies) != Counter({part: len(spots) for part, spots in at.items()}):
            return None
        return [at[part].pop() for part in copies]

    def _spot(self, first: Variant, variant: Variant, turn: float, u: float, v: float, sheet: int) -> Spot:
        """From the strip's frame, turned as the library says, to the sheet's."""
        shape = affinity.translate(affinity.rotate(_along(first, self.bench.axis), turn, origin=(0, 0)), u, v)
        low_u, low_v = shape.bounds[0] - self.gap, shape.bounds[1] - self.gap
        high_v = shape.bounds[3] - self.gap
        x0, y0 = self.bench.low
        if self.bench.axis == 0:
            return Spot(sheet, variant, x0 + low_u, y0 + low_v)
        # the strip's length runs up the sheet; its height runs to the left
        return Spot(sheet, variant, self.bench.high[0] - high_v, y0 + low_u)


def _along(variant: Variant, axis: int) -> Any:
    """The outline turned so that the sheet's axis runs along the strip."""
    return variant.outline if axis == 0 else affinity.rotate(variant.outline, -90, origin=(0, 0))


def _apart(one: float, two: float) -> float:
    return abs((one - two + 180.0) % 360.0 - 180.0)


def strip_job(
    variants: Variants, copies: Sequence[int], bench: Bench, gap: float, seed: int
) -> tuple[dict[str, Any], list[tuple[int, list[Variant]]]] | None:
    """The job for one plain rectangle, and which part and variants each item stands for; None if it cannot be put."""
    if bench.walls:
        return None
    items, rows = [], []
    across = bench.high[1 - bench.axis] - bench.low[1 - bench.axis]
    for part, demand in sorted(Counter(copies).items()):
        choices = [v for v in variants.on(part, bench.stock) if not v.flipped]
        if not choices:
            return None
        points = shapely.get_coordinates(_along(choices[0], bench.axis).exterior)[:-1]
        turns = [(v.turn - choices[0].turn) % 360.0 for v in choices]
        rows.append({"points": np.round(points, 9).tolist(), "demand": demand, "turns": turns})
        items.append((part, choices))
    return {"items": rows, "height": across * (1 + HAIR) + 2 * gap, "gap": gap, "seed": seed}, items


def start(job: dict[str, Any], items: list[tuple[int, list[Variant]]], bench: Bench, gap: float) -> Run:
    """Set the library to work on a job; its "work" weighs reports, and it ends at a strip as short as "enough"."""
    run = Run(job, items, bench, gap)
    run.start()
    return run


def _child(job: dict[str, Any]) -> subprocess.Popen[str]:
    """A child that has been given its job."""
    process = subprocess.Popen(
        [sys.executable, "-c", "import runpy, sys; runpy.run_path(sys.argv[1])['main']()", CHILD],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
        start_new_session=True,
    )
    assert process.stdin is not None
    try:
        json.dump(job, process.stdin)
        process.stdin.close()
    except OSError:
        process.kill()
    process.stdin = None
    return process
