"""Messages of the geometry give lengths in the job's unit, millimetres beside them: 1 in = 25.4 mm exactly
(international yard and pound agreement, 1959)."""

from __future__ import annotations

import re
from functools import partial

import pytest

from panels.choose_k import KFactor
from panels.errors import LipError, NotADisc
from panels.findings import in_mm, lengths_shown
from panels.make_blanks import make_blanks
from tankwright.units import show_length
from tests.panels.sewn import at_edge, sewn

INCHES = partial(show_length, unit="in")


def decimal(mm):
    return f"{mm / 25.4:.3f} in ({mm:.1f} mm)"


def test_a_job_in_millimetres_reads_as_it_did():
    text = "It is 0.25 mm off, 12.00 mm2 large, (3 mm) and 1 7/16 in (36.5 mm); 3 to 8 mm are allowed."
    assert lengths_shown(text, in_mm) == text


def test_every_length_has_inches_and_keeps_its_figure_in_mm():
    """One alone, two of one kind, one in brackets; areas, degrees and what has its inches already stay."""
    text = "A 0.25 mm gap (50.8 mm), 3 to 8 mm, 12.00 mm2, 90 degrees, -4 mm, 1 7/16 in (36.5 mm)."
    assert lengths_shown(text, decimal) == (
        "A 0.010 in (0.25 mm) gap (2.000 in (50.8 mm)), 0.118 in (3 mm) to 0.315 in (8 mm), 12.00 mm2, 90 degrees, "
        "-0.157 in (-4 mm), 1 7/16 in (36.5 mm)."
    )
    assert lengths_shown(lengths_shown(text, decimal), decimal) == lengths_shown(text, decimal)


def bare(text):
    """Lengths in mm that do not stand in brackets after their inches."""
    return re.findall(r"(?<!in \()(?<![\d.])-?[\d.]+ mm(?![\w²])", text)


def test_what_stops_the_blanks_is_told_in_inches():
    made = sewn("tube", "drawn")
    with pytest.raises(NotADisc) as told:
        make_blanks(made, at_edge, inside_radius=3, k_factor=KFactor(0.42, "a test"), show=INCHES)
    assert " in (" in str(told.value)
    assert not bare(str(told.value))
    assert told.value.piece == "skin"


def test_a_tunnel_that_cannot_be_folded_says_why_in_inches():
    """A fold radius wider than the tunnel: the note on its three pieces."""
    made = sewn("vault", "widest line")
    flat = make_blanks(made, at_edge, inside_radius=60, k_factor=KFactor(0.42, "a test"), show=INCHES)
    notes = [note for blank in flat for note in blank.notes if "three pieces" in note]
    assert notes
    assert all(" in (" in note and not bare(note) for note in notes)


def test_a_lip_that_cannot_be_turned_says_why_in_inches():
    """Narrower than its bend alone."""

    def lips(kind, piece, meets):
        return ("fold", 4.0) if piece == "rear end" and not meets.startswith("tunnel") else at_edge(kind, piece, meets)

    made = sewn("saddle", "crown and sides")
    with pytest.raises(LipError) as told:
        make_blanks(made, lips, inside_radius=3, k_factor=KFactor(0.42, "a test"), show=INCHES)
    assert " in (" in str(told.value)
    assert not bare(str(told.value))
