"""The commented job that ``tankwright start`` writes: it works as it stands, in both units, and shows every key."""

from __future__ import annotations

import re

import pytest
from click.testing import CliRunner

from tankwright import reading
from tankwright.cli import main
from tankwright.errors import CannotStart, FolderInUse
from tankwright.job import check
from tankwright.jobfile import SCHEMES, JobFile
from tankwright.load import load_job
from tankwright.start import STARTER_FILES, start_folder, starter_text

STARTER = starter_text("job.toml")


pytestmark = pytest.mark.usefixtures("no_shop_from_outside")


def test_start_writes_once_and_never_over(tmp_path):
    """A new folder gets both files; a second time nothing is touched."""
    folder = tmp_path / "new" / "job"
    written = start_folder(folder)
    assert [path.name for path in written] == list(STARTER_FILES)
    load_job(folder)
    (folder / "job.toml").write_text("mine", encoding="utf-8")
    with pytest.raises(FolderInUse) as error:
        start_folder(folder)
    assert error.value.path.name == "job.toml"
    assert (folder / "job.toml").read_text(encoding="utf-8") == "mine"


def test_start_writes_nothing_beside_a_shop_file(tmp_path):
    """One file in the way, and neither is written."""
    (tmp_path / "shop.toml").write_text("mine", encoding="utf-8")
    with pytest.raises(FileExistsError):
        start_folder(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["shop.toml"]


def test_start_says_why_it_cannot(tmp_path):
    """A file where a folder belongs, or a name that cannot be, is an error of ours."""
    (tmp_path / "file").write_text("", encoding="utf-8")
    for place in (tmp_path / "file" / "job", tmp_path / "a\x00b"):
        with pytest.raises(CannotStart):
            start_folder(place)


@pytest.mark.parametrize("unit", ["mm", "in"])
def test_the_starter_checks_without_a_stop_or_a_look(tmp_path, unit):
    """In millimetres and in inches with fractions the starter is the same sound tank."""
    start_folder(tmp_path, unit)
    job = load_job(tmp_path)
    checked = check(job)
    assert job.unit == unit
    assert {f.strength for f in checked.findings} == {"note"}
    assert checked.capacity is not None
    assert checked.capacity.brim_l == pytest.approx(9.1, abs=0.1)


@pytest.mark.parametrize("name", STARTER_FILES)
def test_both_starters_say_the_same(name):
    """Every heading, key and remark of the metric starter stands in the inch starter, in the same order."""
    metric, inches = (_keys_and_remarks(starter_text(name, unit)) for unit in ("mm", "in"))
    assert len(metric) > 30
    assert inches == metric


def _keys_and_remarks(text: str) -> list[tuple[str, str]]:
    """Headings and keys, commented out or not, each with its remark less any number."""
    found = []
    for line in text.splitlines():
        key = re.match(r"(# ?)?(\[\[?[\w.]+\]\]?|\w+(?= = ))", line)
        if key and (_opened(line) != line or not line.startswith("#")):
            remark = line.partition("#")[2] if not line.startswith("#") else line[1:].partition("#")[2]
            found.append((key[0], " ".join(re.sub(r"[\d/]+", "", remark).split())))
    return found


def test_start_as_typed_writes_inches(tmp_path):
    """`tankwright start FOLDER --unit in` writes fractions; another unit is refused before anything is written."""
    typed = CliRunner().invoke(main, ["start", str(tmp_path / "job"), "--unit", "in"])
    assert typed.exit_code == 0, typed.output
    assert '"4 3/4"' in (tmp_path / "job" / "job.toml").read_text(encoding="utf-8")
    with pytest.raises(ValueError, match="cubit"):
        start_folder(tmp_path / "other", "cubit")
    assert not (tmp_path / "other").exists()


def test_the_starter_explains_its_words():
    """The words a stranger stumbled over are told where they are first met."""
    for text in (STARTER + starter_text("shop.toml"), starter_text("job.toml", "in") + starter_text("shop.toml", "in")):
        for words in ("rider's right", "Fullness is", "Lean is", "draw-in: what", "ullage is", "Brim is", "WITHOUT it"):
            assert words in text, words


@pytest.mark.parametrize("unit", ["mm", "in"])
@pytest.mark.parametrize("name", STARTER_FILES)
def test_what_the_starter_comments_out_can_be_used(tmp_path, name, unit):
    """Every commented example in the starter files works once its # is taken away."""
    start_folder(tmp_path, unit)
    lines = (tmp_path / name).read_text(encoding="utf-8").splitlines()
    opened = [_opened(line) for line in lines]
    assert sum(line != was for line, was in zip(opened, lines, strict=True)) > 10
    text = "\n".join(opened)
    if name == "job.toml":
        half = "[[0, 0], [60, 80], [500, 0]]" if unit == "mm" else "[[0, 0], [2, 3], [19.7, 0]]"
        text = text.replace('line = "bottom"\nhalf = [...]', f'line = "bottom"\nhalf = {half}')
    (tmp_path / name).write_text(text, encoding="utf-8")
    job = load_job(tmp_path)
    assert job.shop.sheets or name == "job.toml"
    if name == "job.toml":
        assert (len(job.patterns.plans), len(job.patterns.sections)) == (2, 1)
        assert job.patterns.knee is not None
        assert job.division.seams[0].name == "belly seam"
        assert job.allowances.formed == pytest.approx(20 if unit == "mm" else 19.05)


def _opened(line: str) -> str:
    """A commented example without its #; sentences stay remarks."""
    body = line.removeprefix("# ")
    example = (
        line.startswith("# ") and not body.startswith(" ") and (body.startswith("[") or " = " in body.split("#")[0])
    )
    sentence = body.split("=")[0].strip().count(" ") > 0
    return body if example and not (sentence and not body.startswith("[")) else line


def test_the_starter_shows_every_section_and_key():
    """Nothing that may stand in a job is missing from the starter and its shop file."""
    text = STARTER + starter_text("shop.toml")
    skipped = {"front", "rear", "reference", "foot_x", "head_x", "shape"}
    for key, field in JobFile.model_fields.items():
        for inner in reading._models_in(field.annotation):
            assert f"[{key}" in text, key
            for name in set(reading._keys(inner)) - skipped:
                assert name in text, f"{key}.{name}"
    for scheme in SCHEMES:
        assert f'"{scheme}"' in text
