"""Fittings and baffles from the words of a job to its checks and blanks."""

from __future__ import annotations

import shutil
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from tankwright.errors import JobError
from tankwright.job import check, load_job, work_out

ROOT = Path(__file__).resolve().parents[2]


def job_with(folder: Path, *changes: tuple[str, str]):
    """The scrambler example with words of its job changed; what is "" is put at the end."""
    source = ROOT / "examples" / "scrambler"
    for file in source.iterdir():
        if file.suffix in (".toml", ".csv"):
            (folder / file.name).write_bytes(file.read_bytes())
    text = (folder / "job.toml").read_text(encoding="utf-8")
    if "[baffle]" in text:
        text = text[: text.index("[baffle]")]
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1) if old else text + new
    (folder / "job.toml").write_text(text, encoding="utf-8")
    return load_job(folder)


def test_fittings_are_read_with_their_hands(tmp_path):
    """Filler on top, an outlet at each side below, mounts on both legs; nothing is cut unless asked."""
    fittings = job_with(tmp_path).fittings
    assert next((f.name, f.on, f.diameter, f.cut) for f in fittings) == ("filler", "top", 56.0, False)
    taps = [f for f in fittings if f.on == "bottom"]
    assert {f.across for f in taps} == {54.0, -54.0}
    mounts = [f for f in fittings if f.on == "tunnel"]
    assert {(f.name, f.hand) for f in mounts} == {
        (n, h) for n in ("front mount", "rear mount") for h in ("right", "left")
    }
    assert not any(f.cut for f in fittings)


def test_no_filler_and_no_vent_are_told(tmp_path):
    """Each as a note of its own, and only where the job gives none."""

    def told(job):
        return [f.says for f in check(job).findings if f.pattern == "fittings" and f.strength == "note"]

    job = job_with(tmp_path)
    assert {"filler", "vent"} <= {f.purpose for f in job.fittings}
    assert told(job) == []
    none = tuple(f for f in job.fittings if f.purpose not in ("filler", "vent"))
    assert told(replace(job, fittings=none)) == [
        f"no {kind} given: none is drawn, placed or weighed" for kind in ("filler", "vent")
    ]


def test_cut_is_the_job_s_own_word(tmp_path):
    """diameter and cut at the outlet: a hole of that size in the floor, on both sides, and still a pair."""
    job = job_with(tmp_path, ('name = "petrol tap"', 'name = "petrol tap"\ndiameter = 20\ncut = true'))
    floors = [b for b in work_out(job).blanks if b.name.startswith("floor")]
    assert [len(b.outline.interiors) for b in floors] == [1, 1]
    for b in floors:
        (hole,) = b.outline.interiors
        left, low, right, high = hole.bounds
        assert (right - left, high - low) == pytest.approx((20, 20), abs=0.6)
    assert {b.mirrors for b in floors} == {"", "floor right"}


def plates(checked):
    return [b.name for b in checked.plates if "baffle" in b.name]


@pytest.mark.parametrize(
    "words, names",
    [
        ("", []),
        ("[baffle]\nover_litres = 9\n", ["baffle"]),
        ("[baffle]\nwanted = true\n", ["baffle"]),
        ("[baffle]\nover_litres = 9\nwanted = false\n", []),
        ("[baffle]\nwanted = true\nat = [150, 300]\n", ["baffle 1", "baffle 2"]),
        ('[baffle]\nwanted = true\npieces = "halves"\n', ["baffle right", "baffle left"]),
    ],
)
def test_size_or_word_decides_whether_there_is_a_baffle(tmp_path, words, names):
    """The shop's size decides; the job forces, forbids and places. Each plate is counted in the bare metal."""
    checked = check(job_with(tmp_path, ("", "\n" + words)))
    assert plates(checked) == names
    iron = sum(b.net.area for b in checked.plates if "baffle" in b.name) * 1.0 * 7850 / 1e9
    assert checked.capacity.dry_mass_kg == pytest.approx(bare() + iron, rel=2e-3)
    told = [f for f in checked.findings if f.pattern.startswith("baffle")]
    assert bool(told) == bool(names)


@cache
def bare():
    """The tank's own mass, without a baffle."""
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        return check(job_with(Path(folder), ("", "\n[baffle]\nwanted = false\n"))).capacity.dry_mass_kg


def test_baffle_past_the_tank_stops_the_job(tmp_path):
    """A place that the job names must do: the message names it, the tank's ends and a remedy."""
    job = job_with(tmp_path, ("", "\n[baffle]\nwanted = true\nat = [700]\n"))
    (stop,) = check(job).stops
    assert "700" in stop.says
    assert stop.remedy
    with pytest.raises(JobError, match="700"):
        work_out(job)


def test_words_of_a_baffle_are_checked_like_all_others(tmp_path):
    """An unknown word, a wrong kind: one message with the line."""
    with pytest.raises(JobError) as fault:
        job_with(tmp_path, ("", '\n[baffle]\nwanted = "yes"\nholes = 40\n'))
    assert "holes" in str(fault.value)
    assert "wanted" in str(fault.value).lower()


def shear_with(folder: Path, nesting: str):
    """The scrambler for a shear with its [nesting] table made of these lines."""
    return job_with(folder, ('cutting = "profile"', f'cutting = "shear"\n{nesting}'))


def test_the_shear_s_own_limits_reach_the_layout(tmp_path):
    """Squaring comes off before anything is measured; no cut is longer than the blade; tight strips are told."""
    work = work_out(shear_with(tmp_path, "squaring = 12\nlongest_cut = 1200\nsmallest_strip = 200"))
    cuts = work.layout.cuts
    assert {cut.purpose for cut in cuts} >= {"square", "part"}
    assert max(cut.length for cut in cuts) <= 1200
    for item in work.layout.placed:
        left, low, _, _ = item.outline.bounds
        assert min(left, low) >= 12 - 1e-6
    told = [f.says for f in work.findings if f.pattern == "sheets"]
    assert any("200" in says for says in told)


def test_a_blade_too_short_for_any_sheet_stops_the_job(tmp_path):
    with pytest.raises(JobError):
        work_out(shear_with(tmp_path, "longest_cut = 150"))


def test_a_seam_within_the_tunnels_bend_is_to_be_looked_at(tmp_path):
    """The saddle tank's shoulder seams meet its tunnel 3 mm below the corner: a bend of 5 mm takes more."""
    folder = tmp_path / "saddle"
    shutil.copytree(ROOT / "examples" / "saddle-12l", folder)
    path = folder / "job.toml"
    text = path.read_text(encoding="utf-8")
    assert not [f for f in work_out(load_job(folder)).findings if "within its fold" in f.says]
    path.write_text(text.replace("fold_radius = 3.0", "fold_radius = 5.0"), encoding="utf-8")
    (look,) = (f for f in work_out(load_job(folder)).findings if "within its fold" in f.says)
    assert look.strength == "look"
    assert "5.0 mm" in (look.found or "")
    assert "smaller fold radius" in look.remedy
