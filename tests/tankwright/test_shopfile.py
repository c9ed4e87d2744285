"""The shop file: where it is found, what it says by itself, and what a job says over it."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from tankwright.errors import JobError
from tankwright.load import Job, load_job
from tankwright.merge import merge
from tankwright.shop import STANDARD_SHEETS, Allowances, SeamRule
from tankwright.shopfile import ShopFile, ShopSections
from tankwright.start import starter_text

STARTER = starter_text("job.toml")


@pytest.fixture(autouse=True)
def elsewhere(monkeypatch: pytest.MonkeyPatch, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder for settings of the test's own, empty."""
    home = tmp_path_factory.mktemp("home")
    monkeypatch.delenv("TANKWRIGHT_SHOP", raising=False)
    for name in ("XDG_CONFIG_HOME", "APPDATA", "HOME"):
        monkeypatch.setenv(name, str(home))
    return home


def load(folder: Path, shop: str | None = None, job: str = "") -> Job:
    """The starter job with sections added at its end, beside a shop file."""
    (folder / "job.toml").write_text(STARTER + job, encoding="utf-8")
    if shop is not None:
        (folder / "shop.toml").write_text(shop, encoding="utf-8")
    return load_job(folder)


def test_the_starter_shop_says_what_is_taken_anyway():
    """Every value in the starter shop file is the default, so that leaving one away changes nothing."""
    data = tomllib.loads(starter_text("shop.toml"))
    assert merge(ShopFile.model_validate(data), ShopSections()) == merge(None, ShopSections())


def test_a_shop_is_looked_for_in_three_places(tmp_path, elsewhere, monkeypatch):
    """Beside the job first, then where the variable points, then in the settings folder."""
    import click

    settings = Path(click.get_app_dir("tankwright"))
    assert elsewhere in settings.parents
    settings.mkdir(parents=True)
    named = elsewhere / "other.toml"
    assert load(tmp_path).shop.file == ""
    (settings / "shop.toml").write_text("[nesting]\ngap = 1\n", encoding="utf-8")
    assert load(tmp_path).shop.nesting.gap == 1
    named.write_text("[nesting]\ngap = 2\n", encoding="utf-8")
    monkeypatch.setenv("TANKWRIGHT_SHOP", str(named))
    assert load(tmp_path).shop.nesting.gap == 2
    assert load(tmp_path, "[nesting]\ngap = 3\n").shop.nesting.gap == 3


def test_a_named_shop_that_is_not_there_is_said(tmp_path, monkeypatch):
    """A slip in the variable is not passed over in silence, and no path of the machine is printed."""
    monkeypatch.setenv("TANKWRIGHT_SHOP", str(tmp_path / "gone.toml"))
    with pytest.raises(JobError, match="TANKWRIGHT_SHOP") as error:
        load(tmp_path)
    assert str(tmp_path) not in str(error.value)


def test_the_job_wins_value_by_value(tmp_path):
    """What the job says in a section wins; what it leaves away stays as the shop has it."""
    shop = "[nesting]\ngap = 5\nedge = 7\n[allowances]\nformed = 20\nlap = 9\n[capacity]\nullage = 6\n"
    job = load(tmp_path, shop, "\n[nesting]\nedge = 11\n[allowances]\nformed = 30\n")
    assert (job.shop.nesting.gap, job.shop.nesting.edge) == (5, 11)
    assert (job.allowances.formed, job.allowances.lap, job.allowances.rolled) == (30, 9, 3)
    assert job.shop.ullage_percent == 6


def test_a_list_in_the_job_replaces_the_shops(tmp_path):
    """A job with sheets of its own uses those and no others."""
    sheet = "[[sheet]]\nname = '{}'\nwidth = 1000\nheight = {}\n"
    job = load(tmp_path, sheet.format("a", 2000) + sheet.format("b", 1500), "\n" + sheet.format("c", 900))
    assert [s.name for s in job.shop.sheets] == ["c"]


def test_each_file_has_its_own_unit(tmp_path):
    """Plain numbers in a shop file in inches are inches, though the job is in millimetres."""
    job = load(tmp_path, "[shop]\nunit = 'in'\n[nesting]\ngap = '3/8'\n[[sheet]]\nwidth = 48\nheight = '8 ft'\n")
    assert job.shop.nesting.gap == 9.525
    assert (job.shop.sheets[0].width, job.shop.sheets[0].height) == (1219.2, 2438.4)


def test_mistakes_in_both_files_are_said_at_once(tmp_path):
    """Each finding names the file it is about."""
    with pytest.raises(JobError) as error:
        load(tmp_path, "[nesting]\ngapp = 5\ncutting = 'laser'\n", "\n[checks]\nagree = 0\n")
    said = [(f.file, f.line) for f in error.value.findings]
    assert said[0][0] == "job.toml"
    assert said[1:] == [("shop.toml", 2), ("shop.toml", 3)]


def test_levels_of_difficulty_rise_over_both_files(tmp_path):
    """A level in the job that overtakes one in the shop is a mistake."""
    with pytest.raises(JobError, match="rise"):
        load(tmp_path, "[difficulty]\nordinary = 6\n", "\n[difficulty]\neasy = 7\n")


# ---------------------------------------------------------------------------------------- sheets


def test_sheets_are_chosen_by_metal_and_thickness(tmp_path):
    """Only sheets of the job's metal and thickness serve, and those for which none is named."""
    shop = """
[[sheet]]
name = "right"
width = 1000
height = 2000
metal = "aluminium 3003 H14"
thickness = "14 ga"
price = 50
[[sheet]]
name = "wrong metal"
width = 1000
height = 2000
metal = "DC01"
thickness = 1.6
[[sheet]]
name = "wrong thickness"
width = 1000
height = 2000
metal = "3003-H14"
thickness = 1.0
[[sheet]]
width = 610
height = 1220
grain = "width"
quantity = 1
"""
    job = load(tmp_path, shop)
    sheets, note = job.shop.sheets_for(job.metal.name, job.thickness)
    # 14 ga aluminium is 1.628 mm (two published charts): sold and ordered as 1.6 mm.
    assert [s.name for s in sheets] == ["right", "610 x 1220 mm"]
    assert (sheets[1].grain, sheets[1].quantity, sheets[1].price) == ("x", 1, None)
    assert note == ""


def test_standard_sheets_are_taken_and_said_where_none_serve(tmp_path):
    """Without a fitting sheet the standard sizes are taken, without prices, and it is said why."""
    job = load(tmp_path, "[[sheet]]\nwidth = 1000\nheight = 2000\nmetal = 'DC01'\nthickness = 1\n")
    sheets, note = job.shop.sheets_for(job.metal.name, job.thickness)
    assert [(s.width, s.height) for s in sheets] == [(s.width, s.height) for s in STANDARD_SHEETS]
    assert all(s.price is None and "common practice" in s.note for s in sheets)
    assert "DC01 1.00 mm" in note
    assert "no stock sheets are given" in load(tmp_path, "# none\n").shop.sheets_for("DC01", 1.0)[1]


# ------------------------------------------------------------------------------------ allowances


def test_every_edge_gets_its_joint_and_metal():
    """Plain edges are butts with their kind's margin; a rule's lap lies on the panel that carries it."""
    lap = SeamRule(("floor", "tunnel"), "lap", 10.0, "floor")
    rules = Allowances(12.0, 3.0, 0.0, 1.0, 12.0, (lap,))
    assert rules.at_edge("formed", "crown", "side left") == ("butt", 12.0)
    assert rules.at_edge("folded", "tunnel top", "floor right") == ("lap", 0.0)
    assert rules.at_edge("rolled", "floor right", "tunnel right") == ("lap", 10.0)
    assert rules.at_edge("flat", "rear end", "") == ("free", 1.0)


def test_a_lap_between_two_halves_lies_on_one_of_them():
    """Where both panels go by the same name, one and only one carries the lap."""
    rules = Allowances(12.0, 3.0, 0.0, 0.0, 12.0, (SeamRule(("skin", "skin"), "lap", 10.0, "skin"),))
    both = [rules.at_edge("formed", a, b)[1] for a, b in (("skin left", "skin right"), ("skin right", "skin left"))]
    assert sorted(both) == [10.0, 12.0]


def test_a_lap_takes_the_shops_width_unless_told(tmp_path):
    """A seam without a width laps by [allowances] lap; it lies on the first panel named."""
    seam = "[[allowances.seam]]\nbetween = ['floor', 'tunnel']\njoint = 'lap'\n"
    job = load(tmp_path, "[allowances]\nlap = 8\n" + seam)
    assert job.allowances.seams == (SeamRule(("floor", "tunnel"), "lap", 8.0, "floor"),)


# ------------------------------------------------------------------------------------------ bends


def test_k_comes_from_job_then_strip_then_shop_then_table(tmp_path):
    """The job's own K wins; then a fitting strip, then the shop's K, then table or standard."""
    strip = "[[bend.strip]]\nmetal = '3003-H14'\nthickness = 1.6\ninside_radius = 3\nk_factor = 0.42\n"
    thin = strip.replace("1.6", "1.0")
    plain = "[bend]\nk_factor = 0.33\n"
    assert load(tmp_path, "# none\n").k.basis == "table"
    assert (load(tmp_path, plain).k.value, load(tmp_path, plain + thin).k.value) == (0.33, 0.33)
    assert load(tmp_path, plain + strip).k.value == 0.42
    own = STARTER.replace("# k_factor = 0.42 ", "k_factor = 0.38 ")
    (tmp_path / "job.toml").write_text(own, encoding="utf-8")
    assert load_job(tmp_path).k.value == 0.38


def test_shear_leaves_no_gap_unless_asked(tmp_path):
    """A shear takes no metal: blanks lie edge to edge; profile cutting keeps 8 mm, and a wish is a wish."""
    assert load(tmp_path).shop.nesting.gap == 0
    assert load(tmp_path, "[nesting]\ncutting = 'profile'\n").shop.nesting.gap == 8
    assert load(tmp_path, "[nesting]\ngap = 3\n").shop.nesting.gap == 3
