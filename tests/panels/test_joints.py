"""Every edge of every blank is paired with the one it meets, named, and as long: on the examples and random tanks.

No published figure: lengths are held against one another. 0.3 mm, a pencil line's width, is the project's own limit
where a skin is bent at its widest line; 0.6 mm where a folded corner is round and its neighbour is notched square.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from panels.body import build_body
from panels.choose_k import KFactor
from panels.curves import curve_through
from panels.errors import SeamError
from panels.joints import WELDED, joint_name, joints_of, weld_lengths
from panels.make_blanks import make_blanks
from panels.patterns import BumpOut, Division, NeckRelief
from panels.seams import seams_of
from tankwright.job import SKIN_K, load_job
from tests.panels import bodies
from tests.panels.sewn import TANKS, at_edge, blanks, sewn

EXAMPLES = Path(__file__).parents[2] / "examples"
#: A round of 3.8 mm cut square saves 2 * 3.8 - 3.8 * pi / 2 = 1.6 mm; cut on the slant it may save twice that.
MOST_SAVED_MM = 3.3
SCHEMES = ("crown and sides", "halves", "widest line", "crown, shoulders and sides")


def lapped(kind, piece, meets):
    """Floors lap the tunnel by 10 mm; all else is butt with 4 mm left outside."""
    if not meets:
        return "free", 0.0
    if {"floor", "tunnel"} == {piece.split()[0], meets.split()[0]}:
        return "lap", 10.0 if piece.startswith("floor") else 0.0
    return "butt", 4.0


def random_tank(seed):
    """A tank of that number: in turn plain, with a kinked frame line, a shut tunnel, a neck relief, a bump-out."""
    tank, kind = bodies.saddle_tank(seed), seed % 5
    x = tank.side.bottom.points[:, 0]
    low, high = float(x.min()), float(x.max())
    if kind == 1:
        frame = tank.side.line("frame").points
        z0, z1 = float(frame[0, 1]), float(frame[-1, 1])
        middle = [(low + high) / 2, (z0 + z1) / 2 + (9 if seed % 2 else -5)]
        line = curve_through("frame", [[low, z0], middle, [high, z1]], straight=True)
        return replace(tank, side=replace(tank.side, lines={**tank.side.lines, "frame": line}))
    if kind == 2:
        return replace(tank, tunnel=replace(tank.tunnel, closed_rear_x=low + 0.75 * (high - low)))
    if kind == 3:
        return replace(tank, neck=NeckRelief((low - 5, 40), 25, 26))
    if kind == 4:
        a, b = low + 0.4 * (high - low), low + 0.55 * (high - low)
        bump = BumpOut("bump", "side", np.array([[a, 40.0], [b, 40.0], [b, 70.0], [a, 70.0]]), 8.0, 10.0, "right")
        return replace(tank, bump_outs=(bump,))
    return tank


def check(seams, flat, joints):
    """Everything asked of the joints of a tank, from its blanks alone."""
    by_letter = {joint.letter: joint for joint in joints}
    assert len(by_letter) == len(joints)
    on = Counter()
    for blank in flat:
        for edge in blank.edges:
            if joint_name(edge) == "none":
                assert edge.meets == ""
                continue
            joint = by_letter[edge.letter]  # no edge without a joint
            mine = [side for side in joint.sides if blank.name in side.blank.split(", ")]
            assert mine, (blank.name, edge.letter)
            assert joint_name(edge) in (joint.kind, "butt")
            on[edge.letter] += edge.length_surface
    for joint in joints:
        assert joint.kind in (*WELDED, "fold")
        if joint.kind == "fold":
            assert joint.letter not in on
            assert joint.sides[0].blank == joint.sides[1].blank != ""
            continue
        assert joint.differ < 0.3, (joint.letter, joint.sides)
        assert on[joint.letter] == pytest.approx(2 * joint.length, rel=1e-9)
    # Every millimetre of weld is an edge of two blanks; what is not on blanks is folded.
    weld = weld_lengths(joints)
    own = sum(joint.length for joint in joints if joint.letter not in {s.letter for s in seams} and joint.kind in weld)
    folds = sum(joint.length for joint in joints if joint.kind == "fold")
    # The body's seams run on into the tunnel's four sharp corners, where the metal is round and the weld shorter.
    saved = sum(seam.length for seam in seams) - (sum(weld.values()) + folds - own)
    assert -0.3 < saved < 4 * MOST_SAVED_MM
    assert sum(weld.values()) == pytest.approx(sum(on.values()) / 2, rel=2e-3)


@pytest.mark.parametrize("example", ["saddle-12l", "peanut-2gal", "scrambler"])
def test_every_edge_of_the_examples_is_paired(example):
    job = load_job(EXAMPLES / example)
    body = build_body(
        job.patterns, job.division, thickness=job.thickness, k_factor=SKIN_K, inside=job.surface == "inside"
    )
    made = seams_of(body)
    flat = make_blanks(made, job.allowances.at_edge, inside_radius=job.fold_radius, k_factor=job.k)
    check(made.seams, flat, joints_of(made.seams, flat, outside=job.allowances.outside))


@pytest.mark.parametrize("seed", range(40, 60))
def test_every_edge_of_random_tanks_is_paired(seed):
    body = build_body(random_tank(seed), Division(SCHEMES[seed % 4]), thickness=1.5, step_mm=20.0)
    made = seams_of(body)
    flat = make_blanks(made, lapped, inside_radius=3, k_factor=KFactor(0.42, "a test"))
    joints = joints_of(made.seams, flat)
    check(made.seams, flat, joints)
    own = {joint.letter for joint in joints} - {seam.letter for seam in made.seams}
    assert bool(own) == (seed % 5 == 1)  # pie cuts, or a tunnel in two sheets
    laps = [joint for joint in joints if joint.kind == "lap"]
    assert laps
    for joint in laps:  # the floor carries the lap, and so lies outside
        assert joint.outside == joint.carries.piece
        assert joint.outside.startswith("floor")
        assert joint.carries.allowance == 10.0


@pytest.mark.parametrize("tank", TANKS)
def test_tanks_of_every_kind(tank):
    check(sewn(*tank).seams, blanks(*tank).values(), joints_of(sewn(*tank).seams, list(blanks(*tank).values())))


def test_a_lip_lies_behind_and_a_lap_where_the_shop_says():
    """A cap's lip is behind its skin; a lap is outside on the piece that the rule names."""
    made = sewn("saddle", "crown and sides")

    def asks(kind, piece, meets):
        if {"rear", "side"} == {piece.split()[0], meets.split()[0]}:
            return "fold", 10.0 if piece.startswith("rear") else 0.0
        return lapped(kind, piece, meets)

    flat = make_blanks(made, asks, inside_radius=3, k_factor=KFactor(0.42, "a test"))
    joints = joints_of(made.seams, flat, outside=lambda one, other: one if one.startswith("tunnel") else other)
    lips = [joint for joint in joints if joint.kind == "flange"]
    assert len(lips) == 2
    assert all(joint.outside.startswith("side") and joint.carries.piece == "rear end" for joint in lips)
    laps = [joint for joint in joints if joint.kind == "lap"]
    assert laps
    assert all(joint.outside.startswith("tunnel") and joint.carries.piece.startswith("floor") for joint in laps)
    check(made.seams, flat, joints)


def test_an_edge_that_meets_nothing_is_refused():
    """One blank left out: its neighbours' edges have no mate."""
    made, flat = sewn("saddle", "crown and sides"), list(blanks("saddle", "crown and sides").values())
    with pytest.raises(SeamError, match="meets no other edge") as caught:
        joints_of(made.seams, flat[1:])
    assert caught.value.letter
    lonely = SimpleNamespace(letter="A", pieces=("a", "b"), length=1.0)
    assert joints_of([lonely], [])[0].kind == "fold"  # no blank at all has nothing to pair
    assert at_edge("flat", "a", "") == ("free", 0.0)
