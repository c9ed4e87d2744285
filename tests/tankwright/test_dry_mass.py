"""What the empty tank weighs: the metal of its blanks less what is trimmed off, nothing else."""

from __future__ import annotations

import shutil
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


@pytest.mark.parametrize("example", ["saddle-12l", "peanut-2gal", "scrambler"])
def test_it_is_the_metal_of_the_blanks_less_the_trim(example: str) -> None:
    """Blank by blank, area x thickness x density: net and laps make it to 0.3 %; it is less than what is cut."""
    of = work(example)
    cut = sum(b.outline.area * b.thickness * density_of(of.job, b) for b in of.blanks) / 1e9
    assert of.capacity.dry_mass_kg == pytest.approx(kg(of, laps=True), rel=3e-3)
    assert of.capacity.dry_mass_kg < cut - 0.2


def test_a_lap_counts(tmp_path: Path) -> None:
    """The crown laps over the scrambler's sides: 12 mm of 1 mm steel along both its long edges."""
    folder = tmp_path / "job"
    shutil.copytree(EXAMPLES / "scrambler", folder)
    rule = '\n[[allowances.seam]]\nbetween = ["crown", "side"]\njoint = "lap"\nwidth = 12\non = "crown"\n'
    with (folder / "job.toml").open("a", encoding="utf-8") as file:
        file.write(rule)
    of = work_out(load_job(folder))
    long = sum(joint.length for joint in of.seams if joint.kind == "lap")
    assert long > 1000
    assert of.capacity.dry_mass_kg - kg(of, laps=False) == pytest.approx(long * 12 * 7850e-9, rel=0.06)


@pytest.mark.parametrize("example", ["peanut-2gal", "scrambler"])
def test_the_papers_say_what_is_in_it(example: str) -> None:
    said = dict(work(example).assumptions)["mass"]
    assert all(word in said for word in ("laps", "lips", "doublers", "baffles", "trimmed", "no weld", "no fittings"))
