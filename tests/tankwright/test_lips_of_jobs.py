"""Flanges and lips asked for in a job file: every example and the starter make with them, and turn no other edge.

A lip lies behind its neighbour, which is cut as if there were none: that a blank next to a lip is the very blank of the
job without lips holds a job against itself, by geometry alone.
"""

from __future__ import annotations

import io
import re
import shutil
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
import shapely

from panels.joints import joints_of
from panels.make_blanks import make_blanks
from panels.seams import seams_of
from tankwright.errors import JobError
from tankwright.job import check, work_out
from tankwright.load import load_job
from tankwright.start import start_folder

EXAMPLES = Path(__file__).parents[2] / "examples"
FLANGE = {"mm": "flange = 12", "in": 'flange = "1/2"'}
ENDS = {"mm": "\n[ends]\nlip_front = 10\nlip_rear = 10\n", "in": '\n[ends]\nlip_front = "3/8"\nlip_rear = "3/8"\n'}
#: The starter's own lines for lips and flanges, in comments.
OFFERED = re.compile(r"\n# (flange = .*legs|\[ends\]|lip_front|lip_rear)")
#: A rule of the job's own: its floor laps the tunnel.
LAP = '[[allowances.seam]]\nbetween = ["floor", "tunnel"]\njoint = "lap"\nwidth = "3/8"\non = "floor"\n'


def edited(place, example, *edits, more=""):
    """A copy of an example's job without its flange, with some of its text changed and some more at its end."""
    folder = place / example
    shutil.copytree(EXAMPLES / example, folder)
    path = folder / "job.toml"
    text = re.sub(r"\nflange = .*", "", path.read_text(encoding="utf-8"))
    for old, new in edits:
        assert old in text
        text = text.replace(old, new)
    path.write_text(text + more, encoding="utf-8")
    return load_job(folder)


def made(job):
    """Seams and blanks by name, without laying them on sheets."""
    found = check(job)
    assert not found.stops
    sewn = seams_of(found.body)
    flat = make_blanks(sewn, job.allowances.at_edge, inside_radius=job.fold_radius, k_factor=job.k)
    return sewn, {blank.name: blank for blank in flat}


@cache
def plain(example):
    with TemporaryDirectory() as place:
        return made(edited(Path(place), example))[1]


def turned(blanks):
    """The neighbours against which each blank has a lip."""
    found = {
        blank.name: {edge.meets.split()[0] for edge in blank.edges if edge.joint == "fold"} for blank in blanks.values()
    }
    return {name: against for name, against in found.items() if against}


def alike(one, other):
    return one.outline.symmetric_difference(other.outline).area < 1e-6


@pytest.mark.parametrize(
    ("example", "against"),
    [("saddle-12l", {"crown", "shoulder", "side", "floor"}), ("scrambler", {"crown", "side", "floor"})],
)
def test_every_edge_of_a_cap_but_those_at_the_tunnel_is_turned(tmp_path, example, against):
    """And no blank but the cap is another than without lips."""
    job = edited(tmp_path, example, more=ENDS["mm"])
    sewn, blanks = made(job)
    assert turned(blanks) == {"rear end": against}
    assert blanks["rear end"].outline.is_valid
    for name, blank in blanks.items():
        assert alike(blank, plain(example)[name]) == (name != "rear end"), name
    for joint in joints_of(sewn.seams, list(blanks.values()), outside=job.allowances.outside):
        lip = "rear end" in (side.piece for side in joint.sides) and "tunnel" not in "".join(
            s.piece for s in joint.sides
        )
        assert joint.kind == ("flange" if lip else joint.kind if joint.kind in ("lap", "fold") else "butt")
        if lip:
            assert joint.carries.piece == "rear end"
            assert joint.outside != "rear end"


@pytest.mark.parametrize("example", ["saddle-12l", "scrambler", "peanut-2gal"])
def test_the_legs_of_every_example_turn_out_under_its_floors(tmp_path, example):
    """The floor keeps its outline."""
    unit = "in" if example == "peanut-2gal" else "mm"
    _, blanks = made(edited(tmp_path, example, ("[tunnel]", f"[tunnel]\n{FLANGE[unit]}")))
    assert turned(blanks) == {"tunnel": {"floor"}}
    changed = {name for name, blank in blanks.items() if not alike(blank, plain(example)[name])}
    assert changed == {"tunnel"}


def test_an_example_has_a_flange_as_it_stands():
    assert turned(made(load_job(EXAMPLES / "scrambler"))[1]) == {"tunnel": {"floor"}}


@pytest.mark.parametrize("trim", [0, 12, 30])
def test_trim_left_on_the_neighbour_does_not_turn_it_too(tmp_path, trim):
    """However much is left outside rolled pieces: the floor meets the lipped cap with its own trim, plain."""
    job = edited(tmp_path, "saddle-12l", more=f"\n[allowances]\nrolled = {trim}\n{ENDS['mm']}")
    _, blanks = made(job)
    assert set(turned(blanks)) == {"rear end"}
    (edge,) = (edge for edge in blanks["floor right"].edges if edge.meets == "rear end")
    assert (edge.joint, edge.allowance) == ("butt", trim)


@pytest.mark.parametrize("unit", ["mm", "in"])
def test_the_starter_makes_with_its_own_lines_for_lips_and_flanges(tmp_path, unit):
    """As a maker would: the marks of a comment taken away before them, all the way to the sheets. The starter's floor
    is 10.6 mm wide at the cap: too short to be turned there, so it is left plain and said so."""
    start_folder(tmp_path, unit)
    path = tmp_path / "job.toml"
    text = path.read_text(encoding="utf-8")
    text, count = OFFERED.subn(r"\n\1", text)
    assert count == 4
    ends = text[text.index("\n[ends]") :].split("\n\n")[0]  # a section of its own: after [tunnel]
    path.write_text(text, encoding="utf-8")
    assert "lip_rear" in ends
    work = work_out(load_job(tmp_path))
    blanks = {blank.name: blank for blank in work.blanks}
    assert turned(blanks) == {"rear end": {"crown", "side"}, "tunnel": {"floor"}}
    cap = blanks["rear end"]
    short = [edge for edge in cap.edges if edge.meets.startswith("floor")]
    assert {edge.letter[-1] for edge in short} == {"L", "R"}
    for edge in short:
        assert edge.length_blank < 12
        assert (edge.joint, edge.allowance) == ("butt", 0.0)
        assert any(f"{edge.letter} " in note.split("not turned over")[0] for note in cap.notes if "not turned" in note)
        inner = edge.points[np.argmin(np.abs(edge.points[:, 1]))]  # its other end lies in the bend of the side's lip
        assert cap.net.exterior.distance(shapely.Point(inner)) < 0.05
    kinds = {joint.letter: joint.kind for joint in work.seams}
    assert {kinds[edge.letter] for edge in short} == {"butt"}


def test_a_flange_is_for_the_legs_and_not_for_the_wall_that_shuts_the_tunnel(tmp_path):
    """The wall meets the floor hollow side out, where a lip would stand in the open."""
    edits = [("[tunnel]", "[tunnel]\nclosed_rear = 420\nflange = 12")]
    _, blanks = made(edited(tmp_path, "saddle-12l", *edits))
    assert "tunnel end rear" in blanks
    assert turned(blanks) == {"tunnel": {"floor"}}


def test_a_seam_rule_of_the_job_outranks_its_lips(tmp_path):
    """What a message's hint asks for, "a seam rule of its own", can be done."""
    rule = '\n[[allowances.seam]]\nbetween = ["rear end", "floor"]\njoint = "butt"\n'
    _, blanks = made(edited(tmp_path, "scrambler", more=rule + ENDS["mm"]))
    assert turned(blanks) == {"rear end": {"crown", "side"}}


def test_a_lip_that_the_jobs_own_rules_leave_no_edge_is_told(tmp_path):
    """Where the floor laps its tunnel the flange asked for beside that is not made, and that is said."""
    flange = ("[tunnel]", f"[tunnel]\n{FLANGE['in']}")
    work = work_out(edited(tmp_path, "peanut-2gal", flange, ("[quote]", f"{LAP}\n[quote]"), more=ENDS["in"]))
    said = {found.pattern: found.says for found in work.findings if "a lip is asked for" in found.says}
    assert said.keys() == {"tunnel", "front end", "rear end"}  # its ends close on the centre plane
    assert "the job's own seam rules" in said["tunnel"]
    assert "no such edge" in said["rear end"]


def test_a_flange_outranks_the_shops_seam_rules(tmp_path):
    shutil.copytree(EXAMPLES / "scrambler", tmp_path / "job")
    shop = tmp_path / "job" / "shop.toml"
    rule = '\n[[allowances.seam]]\nbetween = ["tunnel", "floor"]\njoint = "lap"\n'
    shop.write_text(shop.read_text(encoding="utf-8") + rule, encoding="utf-8")
    rules = load_job(tmp_path / "job").allowances
    assert rules.at_edge("folded", "tunnel right", "floor right") == ("fold", 12.0)
    assert rules.at_edge("rolled", "floor right", "tunnel right")[0] == "butt"
    assert rules.at_edge("flat", "tunnel end rear", "floor right")[0] == "lap"


def test_a_lip_that_cannot_be_folded_stops_the_job_with_its_edge_and_what_helps(tmp_path):
    with pytest.raises(JobError, match=r"(?s)rear end: The lip along edge \w+ is 3.0 mm wide; .* 9 mm or more"):
        work_out(edited(tmp_path, "saddle-12l", more=ENDS["mm"].replace("10", "3")))


def test_a_run_of_no_length_at_a_corner_does_not_stop_a_lip():
    """What a knife edge leaves at the end of a run, 0.1 mm, is dropped; the rest of the edge is turned."""
    from panels.choose_k import KFactor
    from panels.lips import TurnedEdge, lay_lips

    ring = np.array([[0, 0], [200, 0], [200, 120], [0, 120.0]])
    line = np.array([[0, 0], [199.9, 0], [200, 0.1]])
    n = len(line)
    space = np.column_stack([line, np.zeros(n)])
    edge = TurnedEdge("A", 12.0, line, np.full(n, 90.0), np.zeros(n), space, np.tile([0, 0, -1.0], (n, 1)))
    lips, left = lay_lips(ring, [edge], thickness=1.6, inside_radius=3.0, k_factor=KFactor(0.42, "a test"))
    assert [lip.letter for lip in lips] == ["A"]
    assert [round(run.length, 2) for run in left] == [0.14]


def test_every_length_in_a_note_has_its_inches_where_the_job_is_in_inches(tmp_path):
    """Of lips, flange, pie cut, crease and baffle alike: no millimetres stand alone on a blank."""
    start_folder(tmp_path, "in")
    path = tmp_path / "job.toml"
    text = path.read_text(encoding="utf-8")
    text = OFFERED.sub(r"\n\1", text)
    assert "crown_lean = 0" in text
    text = text.replace("crown_lean = 0", "crown_lean = 25")
    frame = next(line for line in text.splitlines() if line.startswith("frame ="))
    text = text.replace(frame, 'frame = [[0, "1 3/8"], ["9 7/8", "2 1/8", "corner"], ["19 3/4", "1 3/4"]]')
    path.write_text(text + "\n[baffle]\nwanted = true\n", encoding="utf-8")
    notes = [note for blank in work_out(load_job(tmp_path)).blanks for note in blank.notes]
    for words in ("lip along edge", "not turned over", "pie cut in both legs", "is a bend of", "stands at x"):
        assert any(words in note for note in notes), words
    for note in notes:
        told = re.findall(r"\d mm\b", note)
        assert len(told) == len(re.findall(r"\d in \(-?[\d.]+ mm\)", note)), note


def test_the_drawing_of_a_lipped_cap_names_every_edge_and_fold_on_its_own_metal(tmp_path):
    """Read back with a general PDF reader: each letter stands beside the blank, and no word of a fold leaves it."""
    from pypdf import PdfReader

    from tankwright.papers import all_papers

    work = work_out(edited(tmp_path, "saddle-12l", more=ENDS["mm"]))
    pages = PdfReader(io.BytesIO(all_papers(work)["drawings.pdf"])).pages
    page = next(
        page for page in pages if page.extract_text()[:60].startswith("8 rear end") and "scale" in page.extract_text()
    )
    drawn: list[str] = []
    page.extract_text(visitor_text=lambda text, *_: drawn.extend(line.strip() for line in text.splitlines()))
    cap = next(blank for blank in work.blanks if blank.name == "rear end")
    for edge in cap.edges:
        assert drawn.count(edge.letter) == 2, (edge.letter, drawn)  # in its ring, and in the table
    # A fold of 25 mm at this scale has no room for its radius and K: they are in the table.
    assert [text for text in drawn if text.endswith("90.8\u00b0")] == ["\u2193 90.8\u00b0"] * 2
    assert any(text.startswith("flange") for text in drawn)
