"""Where the seams might go: what is proposed keeps its promises, measured again from the body itself.

Nothing published tells where a tank's seams must go; each promise is checked against blanks made the usual way
(``make_blanks``) and seams found the usual way (``seams_of``).
"""

from functools import cache
from itertools import pairwise

import pytest

from panels.body import build_body
from panels.choose_k import KFactor
from panels.curves import curve_through
from panels.errors import PanelsError
from panels.make_blanks import make_blanks
from panels.openings import WIDEST
from panels.patterns import Division, SeamLine
from panels.seam_choice import (
    SLIVER_MM,
    SLIVER_SHARE,
    SeamWish,
    division_strain,
    propose_seams,
)
from panels.seams import family, seams_of
from tests.panels import bodies
from tests.panels.sewn import PATTERNS, THICKNESS, at_edge

WISH = SeamWish(shrink=0.045)


@cache
def proposed():
    return propose_seams(bodies.saddle_tank(), WISH, thickness=THICKNESS)


def again(division):
    """Sewn body and blanks of a division, by the usual way."""
    sewn = seams_of(build_body(bodies.saddle_tank(), division, thickness=THICKNESS))
    made = make_blanks(sewn, at_edge, inside_radius=3, k_factor=KFactor(0.42, "a test"))
    return sewn, {blank.name: blank for blank in made if family(blank.name) == "skin"}


def test_the_wish_is_kept_and_the_least_weld_stands_first():
    """What keeps 4.5 % shrink stands first, by its weld; what does not, behind, by its strain."""
    found = proposed()
    kept = [choice for choice in found if choice.meets]
    assert kept
    assert found[: len(kept)] == tuple(kept)
    assert all(choice.shrink <= WISH.shrink for choice in kept)
    assert all(choice.shrink > WISH.shrink for choice in found[len(kept) :])
    welds = [choice.weld for choice in kept]
    assert all(a < b + 10 for a, b in pairwise(welds))
    assert len({(c.division.scheme, len(c.division.seams)) for c in found}) > 1


def test_figures_are_those_of_the_blanks():
    """Strain, area and weld of the first proposal, from blanks and seams made the usual way."""
    choice = proposed()[0]
    sewn, blanks = again(choice.division)
    assert choice.skins == len(blanks)
    assert choice.shrink == pytest.approx(max(blank.shrink for blank in blanks.values()), abs=1e-6)
    assert choice.stretch == pytest.approx(max(blank.stretch for blank in blanks.values()), abs=1e-6)
    # The net outline is the blank's own edge; arcs put in at corners by the drawing are none of it.
    assert choice.area_flat == pytest.approx(sum(blank.net.area for blank in blanks.values()), rel=1e-4)
    seams = [seam for seam in sewn.seams if all(family(piece) == "skin" for piece in seam.pieces)]
    assert choice.weld + choice.weld_crease == pytest.approx(sum(seam.length for seam in seams), rel=1e-9)
    flags = sewn.body.shell.flags
    on_crease = sum(seam.length for seam in seams if ((flags[seam.chain] & WIDEST) > 0).all())
    assert choice.weld_crease in (pytest.approx(on_crease), 0.0)


def test_never_a_sliver():
    """No skin below 50 mm mean width or 3 % of the whole."""
    for choice in proposed():
        for panel in choice.panels:
            assert panel.area_flat / max(panel.box) >= SLIVER_MM
            assert panel.area_flat >= SLIVER_SHARE * choice.area_flat


def test_a_crease_costs_nothing_and_a_smooth_skin_has_none():
    """The same tank, its crown leaning in at the widest line or running through: only the crease is free."""
    from dataclasses import replace

    tank = bodies.saddle_tank()
    welds = []
    for lean, side in ((0.0, 0.0), (20.0, 0.0)):
        shape = replace(tank.shape, crown_lean_deg=lean, side_lean_deg=side)
        one = division_strain(replace(tank, shape=shape), Division("widest line"), thickness=THICKNESS)
        welds.append((one.weld, one.weld_crease))
    assert welds[0][1] == 0.0
    assert welds[0][0] > 500
    assert welds[1][0] < 10  # where skins meet at the very nose
    assert welds[1][1] > 500


def test_most_skins_bring_the_least_strain_that_so_many_allow():
    """At most three skins: never more, the least worst strain first; each seam more would ease it."""
    found = propose_seams(bodies.saddle_tank(), SeamWish(skins=3), thickness=THICKNESS, most=2)
    assert all(choice.skins <= 3 for choice in found)
    worst = [max(choice.shrink, choice.stretch) for choice in found]
    assert worst == sorted(worst)
    assert max(proposed()[0].shrink, proposed()[0].stretch) < worst[0]


def test_a_cross_seam_eases_the_skin_it_parts():
    """Halves parted in the middle: four skins, less strain, the seam's length in the weld."""
    tank = bodies.saddle_tank()
    whole = division_strain(tank, Division("halves"), thickness=THICKNESS)
    seam = SeamLine("cross seam", "side", curve_through("cross seam", [[120, -50], [120, 250]]))
    parted = division_strain(tank, Division("halves", seams=(seam,)), thickness=THICKNESS, wish=SeamWish(skins=3))
    assert (whole.skins, parted.skins) == (2, 4)
    assert parted.shrink < whole.shrink
    assert parted.weld > whole.weld + 200
    assert not parted.meets
    assert parted.area_flat == pytest.approx(whole.area_flat, rel=5e-3)


def test_a_skin_that_closes_on_itself_is_refused_in_words():
    """One skin all round a tube: said, not drawn."""
    with pytest.raises(PanelsError, match="hint"):
        division_strain(PATTERNS["tube"](), Division("drawn"), thickness=THICKNESS)


def test_the_search_is_the_same_every_time():
    """Nothing is left to chance: the same list again, to the last digit."""
    first, second = proposed(), propose_seams(bodies.saddle_tank(), WISH, thickness=THICKNESS)
    assert [choice.weld for choice in first] == [choice.weld for choice in second]
    assert [choice.shrink for choice in first] == [choice.shrink for choice in second]
    assert [choice.division.shoulder for choice in first] == [choice.division.shoulder for choice in second]
