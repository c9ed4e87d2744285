"""The job's keys for the neck relief and the tunnel's closed ends reach the patterns, or are refused in words."""

from __future__ import annotations

import re
from importlib import resources

import pytest

from tankwright.errors import JobError
from tankwright.job import work_out
from tankwright.load import load_job

STARTER = resources.files("tankwright").joinpath("templates/job.toml").read_text(encoding="utf-8")


def job_in(folder, text: str):
    (folder / "job.toml").write_text(text, encoding="utf-8")
    return load_job(folder)


def uncommented(section: str) -> str:
    """The starter job with one commented section brought to life."""
    lines = STARTER.splitlines()
    start = lines.index(f"# [{section}]")
    for k in range(start, len(lines)):
        if not lines[k].startswith("# "):
            break
        lines[k] = lines[k][2:]
    return "\n".join(lines)


def test_the_starters_neck_relief_is_read(tmp_path):
    neck = job_in(tmp_path, uncommented("neck")).patterns.neck
    assert neck is not None
    assert (neck.at, neck.axis_deg, neck.radius) == ((-6.0, 100.0), 24.0, 40.0)


def test_a_relief_in_inches_is_turned_to_millimetres(tmp_path):
    text = uncommented("neck").replace("radius = 40 ", 'radius = "1 5/8 in" ')
    neck = job_in(tmp_path, text).patterns.neck
    assert neck is not None
    assert neck.radius == pytest.approx(1.625 * 25.4)


def test_a_closed_tunnel_is_read(tmp_path):
    text = STARTER.replace("# closed_rear = 430 ", "closed_front = 60\nclosed_rear = 430 ")
    tunnel = job_in(tmp_path, text).patterns.tunnel
    assert tunnel is not None
    assert (tunnel.closed_front_x, tunnel.closed_rear_x) == (60, 430)


def test_a_job_without_them_has_neither(tmp_path):
    patterns = job_in(tmp_path, STARTER).patterns
    assert patterns.neck is None
    assert patterns.tunnel is not None
    assert patterns.tunnel.closed_front_x is None
    assert patterns.tunnel.closed_rear_x is None


@pytest.mark.parametrize(
    "old, new, says",
    [
        ("radius = 40  ", "radius = -40  ", "[Nn]eck.*radius"),
        ("radius = 40  ", "# ", "[Nn]eck.*radius"),
        ("lean = 24", "lean = 240", "[Nn]eck.*lean"),
        ("lean = 24", "leen = 24", "did you mean lean"),
        ("at = [-6, 100]", "at = [-6]", "[Nn]eck"),
    ],
)
def test_mistakes_in_the_relief_are_named(tmp_path, old, new, says):
    with pytest.raises(JobError) as caught:
        job_in(tmp_path, uncommented("neck").replace(old, new, 1))
    assert re.search(says, str(caught.value), re.S), str(caught.value)


@pytest.mark.parametrize(("word", "ends"), [("rear", ("rear",)), ("both", ("front", "rear")), ("neither", ())])
def test_caps_in_halves_are_read(tmp_path, word, ends):
    assert job_in(tmp_path, f'{STARTER}\n[ends]\nhalves = "{word}"\n').division.halved_ends == ends


def test_halves_of_no_cap_are_told(tmp_path):
    """The starter's front closes on the centre plane: there is nothing to part, and a note says so."""
    work = work_out(job_in(tmp_path, f'{STARTER}\n[ends]\nhalves = "both"\n'))
    assert {"rear end right", "rear end left"} <= {blank.name for blank in work.blanks}
    (note,) = [f for f in work.findings if "two halves" in f.says]
    assert (note.strength, note.pattern) == ("note", "front end")
