"""What a blank shows of its lips: folds, marks, what each edge adds to the flat, and words.

The vocabulary is that of ``panels.lips``.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely

from .blank import Bend, Edge, Fold, Mark
from .choose_k import KFactor
from .findings import Show, in_mm
from .lips import Lip, PlainRun, least_lip

__all__ = ["lip_bends", "lip_edges", "lip_folds", "lip_marks", "lip_notes", "plain_notes"]

#: A straight fold from notch to notch may stray this far from the curve it stands for, mm; common practice, no source.
TAB_STRAY_MM = 0.5
#: A lip that changes by less than this along its free edge is dressed without notches; common practice, no source.
DRESSED = 0.02
#: A run left plain that is shorter than this is not told of, mm: nobody sees it.
SEEN_MM = 0.5


def lip_folds(lips: Sequence[Lip], inside_radius: float, k_factor: KFactor) -> tuple[Fold, ...]:
    """The straight folds, turned away from the outside face."""
    found = []
    for lip in lips:
        if lip.straight:
            middle = (lip.begins + lip.ends) / 2
            lines = np.array([[line[0], line[-1]] for line in (lip.begins, lip.ends)])
            turn = sum(lip.turn) / 2
            found.append(
                Fold(
                    middle[0],
                    middle[-1],
                    lines,
                    turn,
                    inside_radius,
                    False,
                    float(k_factor),
                    k_factor.source,
                    lip.letter,
                )
            )
    return tuple(found)


def lip_bends(lips: Sequence[Lip], inside_radius: float, k_factor: KFactor) -> tuple[Bend, ...]:
    """Where each lip's bend lies and how it is bent, straight or curved."""
    how = inside_radius, False, float(k_factor), k_factor.source
    return tuple(Bend(lip.letter, lip.width, lip.begins, lip.ends, lip.turn, *how, lip.straight) for lip in lips)


def lip_marks(lips: Sequence[Lip]) -> tuple[Mark, ...]:
    """The two lines between which a curved lip is bent; the words of both stand at the first, at the piece's side."""
    return tuple(
        Mark("bend", line, f"lip {lip.letter}: bend {_turned(lip)}\u00b0 down between these two lines" if first else "")
        for lip in lips
        if not lip.straight
        for line, first in ((lip.begins, True), (lip.ends, False))
    )


def _turned(lip: Lip) -> str:
    """How far it is turned, degrees: ``90.0``, or ``62 to 95`` where that changes along it."""
    low, high = lip.turn
    return f"{(low + high) / 2:.1f}" if high - low < 1 else f"{low:.0f} to {high:.0f}"


def lip_edges(edges: Sequence[Edge], lips: Sequence[Lip]) -> tuple[Edge, ...]:
    """The edges with what their lips really add to the flat, mm on the mean, as their allowance; an edge that was to
    be turned and is not is a butt, cut to its net edge."""
    turned = [k for k, edge in enumerate(edges) if edge.joint == "fold"]
    lines = {k: shapely.LineString(edges[k].points) for k in turned}
    added: dict[int, list[float]] = {k: [] for k in turned}
    for lip in lips:
        mine = [k for k in turned if edges[k].letter == lip.letter]
        middle = shapely.LineString(lip.begins).interpolate(0.5, normalized=True)
        k = min(mine, key=lambda k: lines[k].distance(middle))
        net = shapely.union_all([lines[k] for k in mine])
        added[k].append(float(shapely.distance(net, shapely.points(lip.free)).mean()))
    return tuple(
        edge
        if k not in added
        else replace(edge, allowance=float(np.mean(added[k])))
        if added[k]
        else replace(edge, joint="butt", allowance=0.0)
        for k, edge in enumerate(edges)
    )


def lip_notes(lips: Sequence[Lip], thickness: float, inside_radius: float, *, show: Show = in_mm) -> tuple[str, ...]:
    """What the lips ask for, in words: once for all that ask for the same, as a left and a right one do."""
    said = []
    for lip in lips:
        text = f"{show(lip.width)} wide outside, "
        text += f"turned {_turned(lip)} degrees away from the drawn face"
        least = least_lip(thickness, inside_radius)
        if lip.width < least:
            text += f"; narrower than {show(least)}, the least that can be held (radius and 4 thicknesses, "
            text += "common practice)"
        if not lip.straight:
            text += "; " + _asks(lip, show)
        said.append((lip.letter, text))
    return tuple(f"lip along {_edges(letters)}: {text}" for text, letters in _together(said))


def _together(said: Sequence[tuple[str, str]]) -> list[tuple[str, list[str]]]:
    """Each text once, with the letters of all the edges it is said of."""
    found: dict[str, list[str]] = {}
    for letter, text in said:
        letters = found.setdefault(text, [])
        if letter not in letters:
            letters.append(letter)
    return list(found.items())


def _edges(letters: Sequence[str]) -> str:
    """``edge A``, ``edges A and B``, ``edges A, B and C``."""
    if len(letters) == 1:
        return f"edge {letters[0]}"
    return f"edges {', '.join(letters[:-1])} and {letters[-1]}"


def _asks(lip: Lip, show: Show) -> str:
    change = math.expm1(lip.strain)
    word = "shrinks" if change < 0 else "stretches"
    text = f"along a curve its free edge {word} {100 * abs(change):.1f} % where it is worst"
    if abs(change) < DRESSED or not math.isfinite(lip.radius):
        return text
    pitch = math.sqrt(8 * lip.radius * TAB_STRAY_MM)
    gap = pitch * abs(change)
    if change < 0:
        where = f"every {show(pitch)} there, {show(gap)} wide at the free edge"
        return f"{text}; or cut V notches {where}, up to the bend"
    return f"{text}; or slit it every {show(pitch)} there up to the bend: each slit opens {show(gap)}"


def plain_notes(
    plain: Sequence[PlainRun], thickness: float, inside_radius: float, *, show: Show = in_mm
) -> tuple[str, ...]:
    """What of the edges to be turned is left plain, and why, in words."""
    said = []
    for run in plain:
        if run.length < SEEN_MM:
            continue
        bends = "" if run.room == run.length else f", of which the bends beside it leave {show(run.room)}"
        said.append((run.letter, f"{show(run.length)}{bends}"))
    least = show(least_lip(thickness, inside_radius))
    return tuple(
        f"{_edges(letters)} {'is' if len(letters) == 1 else 'are'} not turned over {text}: a lip takes {least} to be "
        "held (radius and 4 thicknesses, common practice); net edge there, a plain butt"
        for text, letters in _together(said)
    )
