"""A second process for work that is only worked out: no files, no clock, nothing changed."""

from __future__ import annotations

import os
import pickle
import signal
import sys
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from typing import BinaryIO, TypeVar

__all__ = ["alongside"]

Result = TypeVar("Result")


@contextmanager
def alongside(work: Callable[[], Result]) -> Iterator[Callable[[], Result]]:
    """Begin ``work`` in a copy of this process; what is yielded waits for its result.

    Where there is one processor or no safe copying of a process, and where the copy fails for whatever reason, the work
    is done here when its result is asked for: so faults are raised here, as if there had been no copy.
    """
    copied = _copy(work) if _two_can_run() else None
    if copied is None:
        yield work
        return
    child, pipe = copied

    def wait() -> Result:
        told = pipe.read()
        if told:
            with suppress(pickle.UnpicklingError, EOFError):
                result: Result = pickle.loads(told)
                return result
        return work()

    try:
        with pipe:
            yield wait
    finally:
        with suppress(ProcessLookupError):
            os.kill(child, signal.SIGKILL)  # it has told all, or nobody will hear it
        with suppress(ChildProcessError):
            os.waitpid(child, 0)


def _copy(work: Callable[[], Result]) -> tuple[int, BinaryIO] | None:
    """The number of a copy of this process at ``work`` and the pipe that it answers through; None if there is none."""
    read, write = os.pipe()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # of threads: those of the array library stand still here
        try:
            child = os.fork()
        except OSError:
            os.close(read)
            os.close(write)
            return None
    if child == 0:
        _answer(work, write)
    os.close(write)
    return child, os.fdopen(read, "rb")


def _two_can_run() -> bool:
    if not hasattr(os, "fork") or sys.platform == "darwin":
        return False
    count = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return count > 1


def _answer(work: Callable[[], Result], write: int) -> None:
    """In the copy: do the work, tell it, and end without any of this process's own tidying up."""
    try:
        told = pickle.dumps(work(), protocol=pickle.HIGHEST_PROTOCOL)
        with os.fdopen(write, "wb") as pipe:
            pipe.write(told)
    except BaseException:  # told by saying nothing; the other process meets it again
        pass
    finally:
        os._exit(0)
