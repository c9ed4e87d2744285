"""A rolled tunnel top asked for in a job file: what may stand there, and what the papers say of it."""

from __future__ import annotations

import shutil
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest

from tankwright.errors import JobError
from tankwright.job import work_out
from tankwright.load import load_job
from tankwright.papers.results import figures
from tankwright.papers.words import edge_metal

EXAMPLES = Path(__file__).parents[2] / "examples"
TOPS = {
    "flat": "",
    "round": 'top = "round"\nbackbone = "round"\n',
    "arch": 'top = "arch"\narch_rise = "10 mm"\n',
    "flanged round": 'top = "round"\nflange = "10 mm"\n',
}


def job_with(place, example, keys):
    folder = Path(place) / example
    shutil.copytree(EXAMPLES / example, folder)
    path = folder / "job.toml"
    text = path.read_text(encoding="utf-8")
    assert "[tunnel]\n" in text
    path.write_text(text.replace("[tunnel]\n", f"[tunnel]\n{keys}"), encoding="utf-8")
    return load_job(folder)


@cache
def worked(example, top):
    with TemporaryDirectory() as place:
        return work_out(job_with(place, example, TOPS[top]))


CASES = [("saddle-12l", top) for top in ("round", "arch", "flanged round")] + [("peanut-2gal", "round")]


@pytest.mark.parametrize("example, top", CASES)
def test_examples_make_with_a_rolled_top(example, top):
    """One blank for the tunnel with its roll between its legs; every seam has both its edges; more fuel than flat."""
    work, flat = worked(example, top), worked(example, "flat")
    tunnel = next(blank for blank in work.blanks if blank.name == "tunnel")
    assert [roll.kind for roll in tunnel.rolls] == ["flat", "rolled", "flat"]
    assert work.capacity.brim_l > flat.capacity.brim_l + 0.05
    assert all(len(joint.sides) == 2 and all(side.piece for side in joint.sides) for joint in work.seams)
    assert not [note for blank in work.blanks for note in blank.notes if "three pieces" in note]


def test_results_tell_the_top():
    """Radius of a half round: half the clear width, 38 mm; of an arch (w^2 + r^2) / 2 r, square to the frame line."""
    got = figures(worked("saddle-12l", "round"))["tunnel"]
    assert (got["top"], got["roll_radius_front_mm"], got["roll_radius_rear_mm"]) == ("round", 38.0, 38.0)
    assert got["arch_rise_mm"] is None
    assert got["corner_room_mm"] is None  # a round tube has no corners
    assert got["touches_first"] == "over the frame line"
    got = figures(worked("saddle-12l", "flanged round"))["tunnel"]
    slope = np.hypot(1, 18 / 540)
    corner = 38 - np.hypot(19, 38 - 10 / slope)
    assert got["corner_room_mm"] == pytest.approx(corner, abs=0.06)
    assert got["touches_first"] == "at the backbone's top corners"
    got = figures(worked("saddle-12l", "arch"))["tunnel"]
    rise = 10 / slope
    assert got["roll_radius_front_mm"] == pytest.approx((38**2 + rise**2) / 2 / rise, abs=0.06)
    assert got["arch_rise_mm"] == 10.0
    got = figures(worked("saddle-12l", "flat"))["tunnel"]
    assert (got["top"], got["roll_radius_front_mm"], got["corner_room_mm"]) == ("flat", None, None)
    depth = figures(worked("saddle-12l", "round"))["tunnel"]["clear_depth_middle_mm"]
    assert depth == pytest.approx(got["clear_depth_middle_mm"], abs=0.15)


def test_the_quote_counts_the_roll():
    from tankwright.quotecount import counts_of

    rolled = [counts_of(worked("saddle-12l", top)).rolled for top in ("flat", "round")]
    assert rolled[1] == rolled[0] + 1


@pytest.mark.parametrize(
    "keys, says, found",
    [
        ('top = "arch"\n', "needs a rise", "0.0 mm"),
        ('top = "arch"\narch_rise = 38\n', "needs a rise", "38.0 mm"),
        ("arch_rise = 10\n", "only an arch", 'top = "flat"'),
        ('top = "round"\narch_rise = 10\n', "only an arch", 'top = "round"'),
        ('top = "domed"\n', "", "domed"),
        ('backbone = "oval"\n', "", "oval"),
        ("past_rear = 8\nclosed_rear = 400\n", "does not run on", "past_rear = 8.0 mm"),
    ],
)
def test_keys_that_do_not_fit_are_one_clear_message(tmp_path, keys, says, found):
    with pytest.raises(JobError) as fault:
        job_with(tmp_path, "saddle-12l", keys)
    (one,) = fault.value.findings
    assert says in one.where
    assert found in one.found
    assert one.allowed
    assert one.remedy


def test_a_ledge_stays_on_and_is_weighed(tmp_path):
    """8 mm at the front and 10 at the rear of the saddle tank's tunnel: 18 mm of its girth, 1.6 thick, 2730 kg/m3."""
    work, plain = (
        work_out(job_with(tmp_path, "saddle-12l", "past_front = 8\npast_rear = 10\n")),
        worked("saddle-12l", "flat"),
    )
    tunnel = next(blank for blank in work.blanks if blank.name == "tunnel")
    girth = sum(edge.length_blank for edge in tunnel.edges if edge.meets == "rear end")
    more = work.capacity.dry_mass_kg - plain.capacity.dry_mass_kg
    assert more == pytest.approx(18 * girth * 1.6 * 2730e-9, rel=0.06)  # at the front it is a little less round
    told = {edge_metal(edge) for edge in tunnel.edges if edge.meets == "rear end"}
    assert told == {"ledge 10.0 mm, stays on"}
    assert [finding.strength for finding in work.findings if "runs 8.0 mm on past the front" in finding.says] == [
        "note"
    ]


def test_a_bent_frame_line_stops_the_job_with_one_message(tmp_path):
    folder = tmp_path / "bent"
    shutil.copytree(EXAMPLES / "saddle-12l", folder)
    path = folder / "job.toml"
    text = path.read_text(encoding="utf-8").replace("[tunnel]\n", '[tunnel]\ntop = "round"\n')
    line = "frame = [[0, 70], [540, 52]]"
    assert line in text
    path.write_text(text.replace(line, 'frame = [[0, 62], [270, 72, "corner"], [540, 52]]'), encoding="utf-8")
    with pytest.raises(JobError) as fault:
        work_out(load_job(folder))
    (one,) = fault.value.findings
    assert "15.0 mm from straight" in one.where
    assert "flat" in one.remedy
