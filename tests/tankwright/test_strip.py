"""The test strip: its card, its reading against published bends, and the shop file it goes into."""

from __future__ import annotations

import csv
import os
import re
import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner

from tankwright.cli import main
from tankwright.load import load_job
from tankwright.strip import NotSaved, StripUnclear, card, read_strips, save_strip, setup, toml_lines

ROOT = Path(__file__).resolve().parents[2]
SADDLE = ROOT / "examples" / "saddle-12l"


def run(*args: object):
    return CliRunner().invoke(main, ["strip", *(str(a) for a in args)])


def of(metal="3003-H14", thickness="1.6", radius="3", **how):
    return setup(None, metal=metal, thickness=thickness, radius=radius, **how)


def printed(case):
    with open(ROOT / "tests" / "published" / "bend_allowance_checks.csv", encoding="utf-8") as file:
        return next(row for row in csv.DictReader(file) if row["id"] == case)


def test_strip_bent_as_the_standard_says_gives_its_k():
    """DIN 6935 by a German table-book page: r 1.6, s 1 bent 90 degrees, v = 2.0961, k 0.7521, so K 0.37605."""
    row = printed("DIN-6")
    v, k = float(row["expected"]), float(row["k_or_constant"])
    s = of("DC04", row["t"], row["r"])
    strips = read_strips(s, [(str(60 + 61 - v), "60", "61")])
    assert strips.k_factor == pytest.approx(k / 2, abs=5e-4)


def test_strip_bent_as_the_handbook_says_gives_its_k():
    """Machinery's Handbook, 31st ed., p. 1421, eq. 33: length 0.64 t + 1.57 r in the bend is K 0.407."""
    t, r = 0.0625, 0.125
    s = of("mild steel", str(t), str(r), unit="in")
    flat = (2 - r - t) + (2.5 - r - t) + 0.64 * t + 1.57 * r
    strips = read_strips(s, [(f"{flat:.6f}", "2", "2 1/2")])
    assert strips.k_factor == pytest.approx(0.407, abs=2e-3)  # 1.57 stands for pi / 2


def test_card_table_is_what_the_reading_gives():
    """Each line of the card's table, read back as a strip, gives the K that stands beside it, to its last digit."""
    s = of()
    rows = re.findall(r"^ +(\d+\.\d\d) mm +K (0\.\d\d)$", card(s), re.MULTILINE)
    assert len(rows) == 6
    for total, k in rows:
        got = read_strips(s, [("150", "75", str(float(total) - 75))]).k_factor
        assert got == pytest.approx(float(k), abs=0.005)


@pytest.mark.parametrize("job", ["saddle-12l", "peanut-2gal", "scrambler"])
def test_card_names_everything_that_is_to_be_bent(job):
    """Metal, thickness, radius and what is taken without a strip, with its source; inches beside mm."""
    loaded = load_job(ROOT / "examples" / job)
    text = card(setup(loaded))
    assert loaded.metal.name in text
    assert f"{loaded.fold_radius:.1f} mm" in text
    assert f"K {loaded.k.value:.3f}" in text
    assert ("6 in (152.4 mm)" in text) == (loaded.unit == "in")
    for word in ("CUT", "BEND", "MEASURE", "READ", "gloves"):
        assert word in text
    assert run(ROOT / "examples" / job).output.startswith("TEST STRIP")


def test_card_goes_into_a_new_file_only(tmp_path):
    """--out writes the card; a file that is there is left alone."""
    out = tmp_path / "card.txt"
    assert run(SADDLE, "--out", out).exit_code == 0
    assert out.read_text().startswith("TEST STRIP")
    out.write_text("mine")
    again = run(SADDLE, "--out", out)
    assert again.exit_code == 2
    assert out.read_text() == "mine"
    assert "Traceback" not in again.output


def test_reading_prints_lines_for_the_shop_file_and_writes_nothing(tmp_path):
    """Without --save only words: the lines read as TOML and hold what was bent."""
    ran = run("--metal", "3003-H14", "--thickness", "1.6", "--radius", "3", "--read", 120, 61.7, 61.73)
    assert ran.exit_code == 0, ran.output
    strip = tomllib.loads(ran.output[ran.output.index("[[bend.strip]]") :])["bend"]["strip"][0]
    assert strip["thickness"] == "1.6 mm"
    assert strip["inside_radius"] == "3 mm"
    assert 0.41 < strip["k_factor"] < 0.43
    assert list(tmp_path.iterdir()) == []


def test_mean_of_several_strips_and_a_word_where_they_differ():
    """K is the mean; strips far apart are told with the number."""
    s = of()
    strips = read_strips(s, [("120", "61.7", "61.8"), ("120", "61.7", "61.6")])
    assert strips.k_factor == pytest.approx(sum(strips.each) / 2)
    ran = run(
        "--metal", "3003-H14", "--thickness", 1.6, "--radius", 3, "--read", 120, 61.7, 61.8, "--read", 120, 61.7, 61.6
    )
    assert "look:" in ran.output
    assert f"{strips.spread:.3f}" in ran.output


@pytest.mark.parametrize(
    "args, words",
    [
        ([], "--metal, --thickness, --radius missing"),
        (["--metal", "unobtainium", "--thickness", "1", "--radius", "1"], "unobtainium"),
        (["--metal", "3003-H14", "--thickness", "thick", "--radius", "1"], "cannot be read"),
        (["--metal", "3003-H14", "--thickness", "1.6", "--radius", "-3"], "radius"),
        (["--metal", "3003-H14", "--thickness", "1.6", "--radius", "3", "--read", "120", "70", "70"], "K-factor"),
        (["--metal", "3003-H14", "--thickness", "1.6", "--radius", "3", "--read", "x", "70", "70"], "cannot be read"),
        (
            ["--metal", "3003-H14", "--thickness", "1.6", "--radius", "3", "--read", "120", "61", "62", "--angle", "0"],
            "not bent",
        ),
        (
            [
                "--metal",
                "3003-H14",
                "--thickness",
                "1.6",
                "--radius",
                "3",
                "--read",
                "120",
                "61",
                "62",
                "--angle",
                "nan",
            ],
            "angle",
        ),
        (["--metal", "3003-H14", "--thickness", "1.6", "--radius", "3", "--save"], "--save needs a reading"),
        (["no-such-folder"], "job"),
    ],
)
def test_what_cannot_be_is_one_clear_message(args, words):
    """Exit status 2, the thing named, no traceback."""
    ran = run(*args)
    assert ran.exit_code == 2, ran.output
    assert words in ran.output
    assert "Traceback" not in ran.output


# ------------------------------------------------------------------------------ into the shop file

LINES = toml_lines(read_strips(of(tooling='bar "folder"'), [("120", "61.7", "61.73")]), "12 March")


def test_saved_strip_is_what_the_next_job_folds_with(tmp_path):
    """--save beside a job: the job's own K-factor is then the strip's, and the papers name it."""
    for file in SADDLE.iterdir():
        if file.suffix in (".toml", ".csv"):
            (tmp_path / file.name).write_bytes(file.read_bytes())
    before = load_job(tmp_path)
    ran = run(tmp_path, "--read", "120", "61.7", "61.73", "--save")
    assert ran.exit_code == 0, ran.output
    after = load_job(tmp_path)
    assert before.k.basis == "table"
    assert after.k.basis == "strip"
    assert f"{after.k.value:.3f}" in ran.output
    assert "own measurement" in after.k.source


@pytest.mark.parametrize("end", ["\n", "\r\n", ""])
def test_everything_that_stood_in_the_file_is_kept(tmp_path, end):
    """Letter for letter, remarks and line ends too; the strip comes after, and every strip counts."""
    path = tmp_path / "shop.toml"
    line = end or "\n"
    old = line.join(["# my shop", "[shop]", 'unit = "in"', "[bend]", 'tooling = "bar folder"  # mine']) + end
    path.write_bytes(old.encode())
    path.chmod(0o640)
    save_strip(path, LINES)
    save_strip(path, LINES)
    raw = path.read_bytes().decode()
    assert raw.startswith(old)
    assert ("\r\n" in raw) == (end == "\r\n")
    assert raw.replace("\r\n", "").count("\r") == 0
    data = tomllib.loads(raw)
    assert len(data["bend"]["strip"]) == 2
    assert data["bend"]["strip"][0]["tooling"] == 'bar "folder"'
    assert path.stat().st_mode & 0o777 == 0o640
    assert [p.name for p in tmp_path.iterdir()] == ["shop.toml"]


def test_starter_shop_file_takes_a_strip(tmp_path):
    """The commented file that ``start`` writes takes one as it stands."""
    assert CliRunner().invoke(main, ["start", str(tmp_path / "job")]).exit_code == 0
    path = tmp_path / "job" / "shop.toml"
    save_strip(path, LINES)
    assert load_job(tmp_path / "job").shop.bend.strips[0].k_factor == pytest.approx(0.42, abs=0.02)


@pytest.mark.parametrize(
    "old",
    ["[shop\n", "[bend]\nstrip = []\n", "[bend]\nnonsense = 3\n", "\x00\x01", "[shop]\nunit = 'furlong'\n"],
)
def test_file_that_cannot_take_it_is_left_alone(tmp_path, old):
    """A file that does not read, or would not with the strip in it, is not touched; the message says why."""
    path = tmp_path / "shop.toml"
    path.write_text(old)
    with pytest.raises(NotSaved, match="hint"):
        save_strip(path, LINES)
    assert path.read_text() == old
    assert [p.name for p in tmp_path.iterdir()] == ["shop.toml"]


def test_write_that_fails_half_way_leaves_the_old_file(tmp_path, monkeypatch):
    """A disk that fills up while writing costs nothing: the old file stands, no scrap is left."""
    path = tmp_path / "shop.toml"
    path.write_text("[bend]\n")

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(NotSaved, match="No space left"):
        save_strip(path, LINES)
    assert path.read_text() == "[bend]\n"
    assert [p.name for p in tmp_path.iterdir()] == ["shop.toml"]


def test_nothing_is_guessed_about_where_to_save(tmp_path, monkeypatch):
    """Without a job, a shop file or --shop there is no place to save to: say so."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("TANKWRIGHT_SHOP", raising=False)
    monkeypatch.setattr("click.get_app_dir", lambda name: str(tmp_path / "none"))
    ran = run("--metal", "3003-H14", "--thickness", 1.6, "--radius", 3, "--read", 120, 61.7, 61.73, "--save")
    assert ran.exit_code == 2
    assert "--shop" in ran.output
    with pytest.raises(StripUnclear):
        setup(None, metal="3003-H14")
