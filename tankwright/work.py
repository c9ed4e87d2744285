"""Everything one job led to, as one frozen value: what the papers are written from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from nesting import Layout
    from panels.blank import Blank
    from panels.body import Body, Capacity
    from panels.findings import Finding
    from panels.joints import Joint
    from panels.slits import PanelSlits

    from .load import Job

__all__ = ["Work"]


@dataclass(frozen=True)
class Work:
    """A job and what came of it."""

    job: Job
    findings: tuple[Finding, ...]  # stop, look, note, in that order
    body: Body
    capacity: Capacity
    misses: Mapping[str, float]  # largest miss of each pattern on the finished surface, mm
    blanks: tuple[Blank, ...]  # one entry a physical blank; mirrored pairs are two
    slit_patterns: Mapping[str, PanelSlits]  # by blank name; right-hand and centre panels
    layout: Layout
    seams: tuple[Joint, ...]
    assumptions: tuple[tuple[str, str], ...]  # name, value in words
    cautions: tuple[str, ...]

    @property
    def own_blanks(self) -> tuple[Blank, ...]:
        """The blanks that are cut from the tank's own metal and laid on its sheets."""
        return tuple(blank for blank in self.blanks if not blank.metal)
