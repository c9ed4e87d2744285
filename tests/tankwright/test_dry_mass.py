"""What the empty tank weighs: the metal of its blanks less what is trimmed off, nothing else."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest

from tankwright.baffles import density_of
from tankwright.job import load_job, work_out
from tankwright.work import Work

EXAMPLES = Path(__file__).parents[2] / "examples"


@cache
def work(example: str) -> Work:
    return work_out(load_job(EXAMPLES / example))


def kg(of: Work, *, laps: bool) -> float:
    """Net areas of all blanks, and laps as width times length of seam, at thickness and density."""
    whole = sum(b.net.area * b.thickness * density_of(of.job, b) for b in of.blanks)
    beside = sum(j.carries.allowance * j.length for j in of.seams if j.kind == "lap" and j.carries is not None)
    return (whole + laps * beside * of.job.thickness * of.job.metal.density) / 1e9


@pytest.mark.parametrize("example", ["peanut-2gal", "scrambler"])
def test_it_is_the_metal_of_the_blanks_less_the_trim(example: str) -> None:
    """Blank by blank, area x thickness x density: net and laps make it to 0.3 %; it is less than what is cut."""
    of = work(example)
    cut = sum(b.outline.area * b.thickness * density_of(of.job, b) for b in of.blanks) / 1e9
    assert of.capacity.dry_mass_kg == pytest.approx(kg(of, laps=True), rel=3e-3)
    assert of.capacity.dry_mass_kg < cut - 0.2


def test_a_lap_counts() -> None:
    """The peanut's floors lap over its tunnel: 3/8 in x 15 1/4 in, twice, of 9.5 kg/m2."""
    of = work("peanut-2gal")
    assert of.capacity.dry_mass_kg - kg(of, laps=False) == pytest.approx(0.0703, abs=0.004)


@pytest.mark.parametrize("example", ["peanut-2gal", "scrambler"])
def test_the_papers_say_what_is_in_it(example: str) -> None:
    said = dict(work(example).assumptions)["mass"]
    assert all(word in said for word in ("laps", "lips", "doublers", "baffles", "trimmed", "no weld", "no fittings"))
