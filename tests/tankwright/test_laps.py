"""Laps a job asks for, held against the angle at which its sheets meet."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

from panels.seams import seams_of
from tankwright.checked import begin
from tankwright.idle import idle_found
from tankwright.load import load_job

EXAMPLES = Path(__file__).parents[2] / "examples"
FLOOR = '\n[[allowances.seam]]\nbetween = ["floor", "tunnel"]\njoint = "{joint}"\nwidth = {width}\non = "floor"\n'
CROWN = '\n[[allowances.seam]]\nbetween = ["crown", "side"]\njoint = "{joint}"\nwidth = {width}\non = "side"\n'


def told(place, example, rule, joint, width):
    """What is said of an example's seams with one rule of its own, its legs not turned."""
    folder = place / example
    shutil.copytree(EXAMPLES / example, folder)
    path = folder / "job.toml"
    plain = re.sub(r"\nflange = .*", "", path.read_text(encoding="utf-8"))
    plain = re.sub(r"\n\[\[allowances\.seam\]\]\n(?:[^\[\n].*\n?)+", "\n", plain)
    path.write_text(plain + rule.format(joint=joint, width=width), encoding="utf-8")
    job = load_job(folder)
    _, body = begin(job)
    return [found for found in idle_found(job, seams_of(body)) if found.pattern == "seams"]


@pytest.mark.parametrize(("example", "width"), [("peanut-2gal", '"3/8"'), ("scrambler", "10")])
def test_a_floor_lapped_on_an_upright_leg_is_told(tmp_path, example, width):
    """Level floor, upright leg: square to one another, on every example drawn so."""
    (found,) = told(tmp_path, example, FLOOR, "lap", width)
    assert found.strength == "look"
    assert found.says.startswith("floor right is to lap tunnel right along seam ")
    assert found.found.startswith("90° out of one plane, all along its ")
    assert "within 30°" in found.allowed
    assert 'joint = "fold" in the seam rule, a flange on floor right' in found.remedy
    assert ("in (" in found.found) == (example == "peanut-2gal")  # in the job's unit


@pytest.mark.parametrize(
    ("example", "rule", "joint"),
    [("scrambler", CROWN, "lap"), ("scrambler", FLOOR, "fold"), ("scrambler", FLOOR, "butt")],
)
def test_what_lies_flat_or_is_turned_or_butted_draws_no_word(tmp_path, example, rule, joint):
    assert told(tmp_path, example, rule, joint, "10") == []
