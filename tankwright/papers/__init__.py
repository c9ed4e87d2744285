"""Every paper of a job, as bytes by name. Nothing here writes a file or reads the clock."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ..work import Work

__all__ = ["all_papers"]


def all_papers(work: Work) -> dict[str, bytes]:
    """Name -> content of every paper; names may hold folders."""
    from .cutlist import cut_lists
    from .drawings import drawing_files
    from .dxf import dxf_files
    from .jobsheet import job_sheet
    from .results import results
    from .stl import stl
    from .templates import template_files

    papers = {"job-sheet.html": job_sheet(work).encode("utf-8"), "results.json": results(work)}
    for more in (cut_lists, dxf_files, template_files, drawing_files):
        papers.update(more(work))
    papers["body.stl"] = stl(work.body, f"{work.job.name}, revision {work.job.revision}")
    return papers
