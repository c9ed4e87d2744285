"""Every edge of every piece meets a neighbour, is lettered alike on both, and is as long on both."""

from __future__ import annotations

from collections import Counter, defaultdict

import numpy as np
import pytest

from panels.cutting_mesh import boundary_edges
from tests.panels.sewn import TANKS, blanks, sewn

TUNNEL = ("tunnel right", "tunnel left", "tunnel top")


def pairs(edges):
    return Counter(map(tuple, np.sort(edges, axis=1).tolist()))


@pytest.mark.parametrize("tank", TANKS)
def test_every_edge_of_every_piece_is_in_one_seam(tank):
    """The edges of a piece, found from its own faces alone, are those of its seams: none left, none twice."""
    made = sewn(*tank)
    for name in made.body.pieces:
        own = pairs(boundary_edges(made.body.faces_of(name)))
        seams = Counter()
        for seam in made.seams:
            if name in seam.pieces:
                seams += pairs(np.column_stack([seam.chain[:-1], seam.chain[1:]]))
        assert seams == own, name


@pytest.mark.parametrize("tank", TANKS)
def test_seam_lengths_add_up_to_the_edges_of_the_pieces(tank):
    """Each millimetre of a piece's edge is counted in two pieces: twice the weld is the sum of all edges."""
    made = sewn(*tank)
    at = made.body.neutral
    around = 0.0
    for name in made.body.pieces:
        e = boundary_edges(made.body.faces_of(name))
        around += np.linalg.norm(at[e[:, 0]] - at[e[:, 1]], axis=1).sum()
    assert 2 * sum(seam.length for seam in made.seams) == pytest.approx(around, rel=1e-9)


@pytest.mark.parametrize("tank", TANKS)
def test_letters_name_one_seam_and_are_alike_left_and_right(tank):
    """A letter stands for one seam; ..R and ..L join the same pieces of either side and are as long."""
    made = sewn(*tank)
    by_letter = {seam.letter: seam for seam in made.seams}
    assert len(by_letter) == len(made.seams)
    other = {"R": "L", "L": "R"}
    swap = {"right": "left", "left": "right"}
    for letter, seam in by_letter.items():
        if letter[-1] not in other:
            assert abs(made.body.outer[seam.chain][:, 1].mean()) < 1e-3
            continue
        twin = by_letter[letter[:-1] + other[letter[-1]]]
        mirrored = {" ".join(swap.get(word, word) for word in name.split()) for name in seam.pieces}
        assert set(twin.pieces) == mirrored
        assert twin.length == pytest.approx(seam.length, abs=1e-9)
        side = made.body.outer[seam.chain][:, 1].mean()
        assert (side > 0) == (letter[-1] == "R")


def test_closed_form_seams_of_a_barrel():
    """An elliptic barrel of halves: two straight seams less the end walls, four half girths."""
    lengths = Counter(round(seam.length, 1) for seam in sewn("barrel", "halves").seams)
    assert lengths[398.4] == 2  # 400 mm, each end wall's middle 0.8 mm in
    assert sorted(lengths.values()) == [2, 4]


@pytest.mark.parametrize("tank", TANKS)
def test_both_blanks_of_a_seam_have_its_letter_and_name_each_other(tank):
    """Each seam that is not a fold stands on exactly two blanks, and each names the other. On a tunnel with
    pie cuts it may be in parts; a cut is a seam of its own, closed against itself."""
    made, flat = sewn(*tank), blanks(*tank)
    tunnel = "tunnel" if "tunnel" in flat else None
    found = defaultdict(lambda: defaultdict(list))
    for blank in flat.values():
        for edge in blank.edges:
            found[edge.letter][blank.name].append(edge)
    for seam in made.seams:
        if tunnel and set(seam.pieces) <= set(TUNNEL):
            assert seam.letter not in found  # folded, not welded
            continue
        sides = found.pop(seam.letter)
        assert set(sides) == {tunnel if tunnel and p in TUNNEL else p for p in seam.pieces}
        meets = [{edge.meets for edge in edges} for edges in sides.values()]
        assert all(len(names) == 1 and names <= set(seam.pieces) for names in meets)
        assert meets[0] != meets[1]
    for sides in found.values():
        ((name, (one, two)),) = sides.items()
        assert name == "tunnel"
        assert one.meets == two.meets == "tunnel"
        assert one.length_blank == pytest.approx(two.length_blank, abs=0.1)


def corner_seams(made):
    """Letters of the seams along the tunnel's ends that begin or end at one of its folds."""
    folds = [seam for seam in made.seams if all(p in TUNNEL for p in seam.pieces)]
    ends = {int(v) for seam in folds for v in seam.chain[[0, -1]]}
    return {
        seam.letter
        for seam in made.seams
        if any(p in TUNNEL for p in seam.pieces) and seam not in folds and ends & set(seam.chain[[0, -1]].tolist())
    }


@pytest.mark.parametrize("tank", TANKS)
def test_both_blanks_are_as_long_where_they_meet(tank):
    """On pieces that are only rolled or folded the flat edge is the seam's length within 0.5 mm; on a
    formed piece the edge says what it has to gain. Both edges are as long as one another once formed."""
    made = sewn(*tank)
    length = {seam.letter: seam.length for seam in made.seams}
    told, sides, at_corner = 0.0, defaultdict(list), corner_seams(made)
    for blank in blanks(*tank).values():
        parts = Counter()
        for edge in blank.edges:
            parts[edge.letter] += edge.length_surface
        for letter in parts.keys() & length.keys():
            # A style line that a skin runs over is round, the body's sharp; 0.3 mm is what a seam may differ by.
            bent = any("the widest line is a bend" in note for note in blank.notes)
            near = 0.5 if blank.kind == "folded" else 0.3 if bent else 1e-6
            saved = length[letter] - parts[letter]
            if letter in at_corner:  # round too; by how much, see tests/panels/test_round_corner.py
                assert 0 < saved < 2.5
            else:
                assert saved == pytest.approx(0, abs=near)
            sides[letter].append(parts[letter])
        for edge in blank.edges:
            assert edge.length_blank == pytest.approx(np.linalg.norm(np.diff(edge.points, axis=0), axis=1).sum())
            assert edge.length_blank + edge.gain == pytest.approx(edge.length_surface, abs=1e-9)
            if blank.kind != "formed":
                assert abs(edge.gain) < 0.5, (blank.name, edge.letter)
            told = max(told, abs(edge.gain))
    assert all(np.ptp(both) < (0.05 if letter in at_corner else 0.5) for letter, both in sides.items())
    if any(blank.kind == "formed" for blank in blanks(*tank).values()):
        assert told > 1.0  # a crowned skin always has something to say
