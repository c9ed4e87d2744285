"""The other side of ``_profile_engine``: runs the strip packing library, in a process of its own.

    python -c "import runpy, sys; runpy.run_path(sys.argv[1])['main']()" _profile_child.py

Imports nothing of its package, so that it starts at once. Reads one JSON job from standard input and writes one JSON
line for each shorter strip it finds. Being apart, a panic of the library, or a run that will not stop, costs this
process and nothing else.
"""

from __future__ import annotations

import json
import os
import sys
import threading
import time
from typing import Any

__all__ = ["main"]

FEASIBLE = (0, 3, 4)  # report kinds that carry a layout without overlaps
REPORT_COST = 15e-3  # work per report: about the same whatever the parts; measured, see the decision note
FOREVER = 10**6
PARENT = os.getppid()


def main() -> None:
    """Solve the job on standard input; ends the process."""
    job = json.load(sys.stdin)
    try:
        _by_work(job)
    finally:
        sys.stdout.flush()
        os._exit(0)


def _instance(job: dict[str, Any]) -> Any:
    import spyrrow

    items = [
        spyrrow.Item(str(number), [tuple(p) for p in item["points"]], item["demand"], item["turns"])
        for number, item in enumerate(job["items"])
    ]
    return spyrrow.StripPackingInstance("", job["height"], items)


def _solve(job: dict[str, Any]) -> tuple[Any, Any]:
    """Start a solve on a thread; the thread and its queue of reports."""
    import spyrrow

    config = spyrrow.StripPackingConfig(
        early_termination=True,
        min_items_separation=job["gap"] or None,
        total_computation_time=None,
        exploration_time=FOREVER,
        compression_time=FOREVER,
        num_workers=job["workers"],
        seed=job["seed"],
    )
    queue = spyrrow.ProgressQueue()
    instance = _instance(job)
    thread = threading.Thread(target=lambda: instance.solve(config, queue), daemon=True)
    thread.start()
    return thread, queue


def _tell(width: float, solution: Any) -> None:
    placed = [[int(p.id), p.rotation, *p.translation] for p in solution.placed_items]
    sys.stdout.write(json.dumps({"length": width, "placed": placed}) + "\n")
    sys.stdout.flush()


def _by_work(job: dict[str, Any]) -> None:
    """One seed until it is stuck or the work is used up: the same on every machine. Tells the work done at the end.

    With a stated number of workers and no time limit the library's reports are the same for the same seed, so what
    to stop at is counted in reports. A solve cannot be called off, so the process has to end with it.
    """
    best, done, streak = float("inf"), 0.0, 0
    thread, queue = _solve(job)
    alive = True
    enough = job.get("enough", 0.0)
    while alive and best > enough and done < job["work"] and streak < job["patience"]:
        alive = thread.is_alive() and not _orphaned()
        for kind, solution in queue.drain():
            streak = 0 if int(kind) == 0 else streak + 1
            done += REPORT_COST
            if int(kind) in FEASIBLE and solution.width < best - 1e-9:
                best = solution.width
                _tell(best, solution)
            if best <= enough or done >= job["work"] or streak >= job["patience"]:
                break
        time.sleep(0.005)
    sys.stdout.write(json.dumps({"done": max(done, job["work"] / 50)}) + "\n")


def _orphaned() -> bool:
    """Whether the process that asked is gone."""
    return os.getppid() != PARENT
