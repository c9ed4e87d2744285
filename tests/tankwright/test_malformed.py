"""Spoiled jobs: every one ends in a clear message, none in another exception.

A spoiled job is put through ``read`` and, fewer of them, through ``check_as_typed`` or
``make_as_typed``; each may be handed to ``in_folder``, as may anything else that takes a folder.
"""

from __future__ import annotations

import tempfile
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from tankwright.errors import Finding, JobError
from tankwright.load import Job, load_job
from tankwright.start import starter_text
from tests.tankwright.strategies import (
    CURVES,
    at,
    nudged,
    numbers_changed,
    put,
    spoiled,
    starter,
    tables,
    take,
    toml_text,
    wrecked,
)


def patient(examples: int) -> settings:
    """So many examples, however long one takes."""
    checks = [HealthCheck.too_slow, HealthCheck.data_too_large]
    return settings(max_examples=examples, deadline=None, suppress_health_check=checks)


def read(folder: Path) -> tuple[Finding, ...]:
    """The findings that reading a job ends in; none if it can be read."""
    try:
        job = load_job(folder)
    except JobError as error:
        return error.findings or (Finding("stop", "nothing said"),)
    assert isinstance(job, Job)
    return ()


def check_as_typed(folder: Path) -> str:
    """What `tankwright check` says of a job; exit status 0 or 2, never a fault of ours."""
    from tankwright.cli import main

    result = CliRunner().invoke(main, ["check", str(folder)])
    assert result.exit_code in (0, 2), result.output
    assert result.exception is None or isinstance(result.exception, SystemExit), result.output
    assert "Traceback" not in result.output
    return result.output


def in_folder(files: dict[str, bytes], run: Callable[[Path], object]) -> object:
    """Run something on a new folder that holds these files, and nothing else afterwards."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "job"
        folder.mkdir()
        for name, content in files.items():
            (folder / name).write_bytes(content)
        came_of_it = run(folder)
        assert sorted(path.name for path in folder.iterdir()) == sorted(files)
        return came_of_it


def clear(finding: Finding) -> None:
    """A finding names the thing, fits a screen and speaks no programmer's language."""
    text = str(finding)
    assert finding.strength == "stop"
    assert finding.where.endswith(".")
    assert finding.found or finding.allowed or finding.remedy
    assert len(text) < 1200
    for word in ("Traceback", "pydantic", "validat", "<class", "Input should", "NoneType", "dict", "ndarray"):
        assert word not in text, text


@patient(200)
@given(spoiled())
def test_a_spoiled_job_is_refused_in_words_or_read(data):
    """Keys left out, wrong types, points reversed or repeated, wrong units: a message or a sound job."""
    for finding in in_folder({"job.toml": toml_text(data).encode()}, read):
        clear(finding)


@patient(100)
@given(wrecked())
@example(b"\xff\xfe[\x00j\x00")
@example(b"a = " + b"9" * 5000)
@example(b"a = 2026-13-45")
@example(b"[job]\nname = 'a\x00b'")
def test_a_wrecked_file_is_refused_in_words(content):
    """Cut short, wrong encoding, noise, empty, giant: a message that names the file."""
    for finding in in_folder({"job.toml": content}, read):
        clear(finding)


@patient(100)
@given(tables())
@example(b"")
@example(b"PK\x03\x04")
@example("x,z\n0,126\n512,121\n".encode("utf-16"))
@example(b"x,z\n" + b"1,2\n" * 3000)
@example(b'x,z\n"0,126\n')
def test_a_pattern_file_is_refused_in_words_or_read(content):
    """Wrong columns, cells and encodings in a table of points: a message that names the file."""
    job = put(starter(), CURVES[0], {"file": "top.csv"})
    files = {"job.toml": toml_text(job).encode(), "top.csv": content}
    for finding in in_folder(files, read):
        clear(finding)


@patient(60)
@given(spoiled(job=tomllib.loads(starter_text("shop.toml"))))
def test_a_spoiled_shop_file_is_refused_in_words_or_read(shop):
    """What is wrong in the shop file is said of the shop file."""
    files = {"job.toml": toml_text(starter()).encode(), "shop.toml": toml_text(shop).encode()}
    for finding in in_folder(files, read):
        clear(finding)
        assert finding.file == "shop.toml"


@patient(25)
@given(st.one_of(nudged(), spoiled()))
def test_check_as_typed_never_fails_by_itself(data):
    """`tankwright check` on a spoiled job ends with status 0 or 2 and writes nothing."""
    in_folder({"job.toml": toml_text(data).encode()}, check_as_typed)


#: Starter jobs with one slip each: seen on reading, on holding patterns together, and only once blanks are nested.
UNMAKEABLE: dict[str, Callable[[dict[str, Any]], dict[str, Any]]] = {
    "no plan": lambda job: take(job, ("plan",)),
    "no alloy": lambda job: take(job, ("metal", "alloy")),
    "negative room": lambda job: put(job, ("tunnel", "side_room"), -19),
    "text for points": lambda job: put(job, ("side", "top"), "top"),
    "points backwards": lambda job: put(job, ("side", "top"), at(job, ("side", "top"))[::-1]),
    "a point twice": lambda job: put(job, ("side", "bottom"), at(job, ("side", "bottom"))[:1] * 2),
    "no such file": lambda job: put(job, ("side", "top"), {"file": "nowhere.csv"}),
    "crossing": lambda job: put(job, ("side", "bottom"), [[0, 140], [500, 20]]),
    "wrong unit": lambda job: put(job, ("job", "unit"), "in"),
    "filler too wide": lambda job: put(job, ("filler", "diameter"), 250),
    "plan too short": lambda job: put(job, ("plan", 0, "half"), [[0, 0], [60, 90], [300, 90], [400, 0]]),
    "widest line short": lambda job: put(job, ("side", "lines", "widest"), [[40, 75], [250, 80], [496, 70]]),
    "tunnel over the top": lambda job: put(job, ("tunnel", "top_room"), 120),
    "sheets too small": lambda job: {**job, "sheet": [{"name": "scrap", "width": 90, "height": 90}]},
}


def make_as_typed(folder: Path) -> str:
    """What `tankwright make` says of a job that cannot be made; status 2, and nothing left beside the job."""
    from tankwright.cli import main

    result = CliRunner().invoke(main, ["make", "-q", str(folder)])
    assert result.exit_code == 2, result.output
    assert "Traceback" not in result.output
    assert [path.name for path in folder.parent.iterdir()] == [folder.name]
    return result.output


@pytest.mark.parametrize("slip", UNMAKEABLE)
def test_make_leaves_nothing_behind_a_spoiled_job(slip):
    """`tankwright make` on a job it cannot make leaves neither papers nor a folder of its own work behind."""
    files = {"job.toml": toml_text(UNMAKEABLE[slip](starter())).encode()}
    said = str(in_folder(files, make_as_typed))
    assert len(said.splitlines()) >= 2, said


@pytest.mark.parametrize("curve", CURVES)
@pytest.mark.parametrize("factor", [25.4, 1 / 25.4])
def test_a_curve_in_the_wrong_unit_is_asked_about(curve, factor):
    """A curve 25.4 times too large or small is never silently a tank: reading or `check` stops at it."""
    data = starter()
    spoiled_job = put(data, curve, numbers_changed(at(data, curve), lambda value: value * factor))
    files = {"job.toml": toml_text(spoiled_job).encode()}
    findings = in_folder(files, read)
    if not findings:
        assert "stop" in str(in_folder(files, check_as_typed))
