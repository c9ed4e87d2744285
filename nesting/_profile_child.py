"""The other side of ``_profile_engine``: runs the strip packing library, in a process of its own.

    python -c "import runpy, sys; runpy.run_path(sys.argv[1])['main']()" _profile_child.py

Imports nothing of its package, so that it starts at once. Reads one JSON job from standard input and writes one JSON
line for each shorter strip it finds. Being apart, a panic of the library, or a run that will not stop, costs this
process and nothing else.
"""

from __future__ import annotations

import bisect
import json
import os
import sys
import threading
import time
from typing import Any

__all__ = ["main"]

FEASIBLE = (0, 3, 4)  # report kinds that carry a layout without overlaps
# Work of what led to a report, by how many reports there have been since the last shorter strip (0, up to 2, 6, 14,
# more; for many parts in proportion more), and of a failed attempt; more where outlines have many sides in all, and
# less a run with two workers. Measured, see the decision note.
STREAKS, COSTS = (0, 2, 6, 14), (7e-3, 4e-3, 30e-3, 0.1, 0.15)
FAILED, FAILED_COST = 1, 0.72
MANY_COPIES, MANY_SIDES, TWO_WORKERS = 24, 360, 0.6
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
    to stop at is weighed by what led to each report. A solve cannot be called off, so the process has to end with it.
    """
    best, done, streak, since = float("inf"), 0.0, 0, 0.0
    thread, queue = _solve(job)
    alive, enough, limit = True, job.get("enough", 0.0), job["work"]
    slow, share = _measure(job)
    ended = False
    while alive and not ended:
        alive = thread.is_alive() and not _orphaned()
        for kind, solution in queue.drain():
            streak = 0 if int(kind) == 0 else streak + 1
            cost = FAILED_COST if int(kind) == FAILED else COSTS[bisect.bisect_left(STREAKS, streak / slow)]
            done, since = done + share * cost, since + share * cost
            if int(kind) in FEASIBLE and solution.width < best - 1e-9:
                best, since = solution.width, 0.0
                _tell(best, solution)
            # stuck: afresh, while there is time to come as far again
            ended = best <= enough or done >= limit or since >= job["patience"] <= limit - done
            if ended:
                break
        time.sleep(0.005)
    sys.stdout.write(json.dumps({"done": max(done, limit / 50)}) + "\n")


def _measure(job: dict[str, Any]) -> tuple[float, float]:
    """How many times more reports a job sends between two shorter strips than a small one, and what one costs."""
    copies = sum(item["demand"] for item in job["items"])
    sides = sum(item["demand"] * len(item["points"]) for item in job["items"])
    share = TWO_WORKERS if job["workers"] > 1 else 1.0
    return max(1.0, copies / MANY_COPIES), share * max(1.0, sides / MANY_SIDES) ** 0.75


def _orphaned() -> bool:
    """Whether the process that asked is gone."""
    return os.getppid() != PARENT
