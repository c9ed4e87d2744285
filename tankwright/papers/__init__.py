"""Every paper of a job, as bytes by name. Nothing here writes a file or reads the clock."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ..work import Work

__all__ = ["all_papers"]


def all_papers(work: Work) -> dict[str, bytes]:
    """Name -> content of every paper; names may hold folders. About half of them are made alongside."""
    from ..alongside import alongside
    from .blankface import face_of
    from .cutlist import cut_lists
    from .cutting_svg import svg_files
    from .cutting_words import for_the_cutter
    from .drawings import drawing_files
    from .dxf import dxf_files
    from .jobsheet import job_sheet
    from .quote import quote_files
    from .results import figures, results
    from .stl import stl
    from .templates import template_files

    faces, got = [face_of(work, blank) for blank in work.blanks], figures(work)
    with alongside(lambda: {**template_files(work, faces), **drawing_files(work, faces)}) as rest:
        papers = {
            "job-sheet.html": job_sheet(work, faces, got).encode("utf-8"),
            "results.json": results(work, got),
            **cut_lists(work, got),
            **quote_files(work),
            **for_the_cutter(work),
            **dxf_files(work),
            **svg_files(work),
            "body.stl": stl(work.body, f"{work.job.name}, revision {work.job.revision}"),
        }
        return {**papers, **rest()}
