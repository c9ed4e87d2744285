"""What must not be cut yet, which edges are trimmed later, and the test strip that is cut first.

Words used here
    hold    a part waits: its flat size hangs on a bend test that is still to be done
    open    findings of strength "look": decided by the shop before cutting
    stays   metal outside the net outline that is on the finished tank: a lap, a flange, a lip
    strip   a piece of the same sheet, folded once to read the K-factor off it
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from panels.ledge import LEDGE

from ..strip import SIZE_MM
from . import words

if TYPE_CHECKING:
    from nesting.model import Offcut
    from panels.blank import Blank, Edge, Fold
    from panels.findings import Finding

    from ..work import Work

__all__ = [
    "BEND_HOLD",
    "STRIP_EXACT",
    "as_carried",
    "edge_words",
    "finished_edges",
    "hold_words",
    "is_strip",
    "looks_open",
    "open_parts",
    "stays_area",
    "strip_source",
    "strips_of",
    "waits",
]

BEND_HOLD = "wait until the shop says the bend test is done"
MEASURED = "the shop's own measurement"  # how a K-factor from the shop's strips gives its source
STRIP = "test strip"
#: How exact a strip is cut: common practice, no source.
STRIP_EXACT = "length within 0.5 mm (common practice, no source), both ends square"
NEAR_DEG = 5.0  # a grain this near to square with the fold is drawn square: no K-factor tells them apart
NET_MM = 0.05  # an edge with less left on it is net
STAYS = {"lap": "lap", "fold": "flange or lip", LEDGE: "ledge"}


# --------------------------------------------------------------------------------------------- holds


def waits(blank: Blank) -> bool:
    """Whether a blank is to be held back until the bend test is done: its folds set its size.

    Not where the shop has measured a strip like it already.
    """
    return not is_strip(blank) and any(not fold.k_source.startswith(MEASURED) for fold in blank.folds)


def looks_open(work: Work) -> tuple[Finding, ...]:
    """The findings that are to be decided before cutting."""
    return tuple(finding for finding in work.findings if finding.strength == "look")


def open_parts(work: Work, finding: Finding) -> tuple[Blank, ...]:
    """The blanks that a finding may change: named, or their seam or a fitting on them; none where unknown."""
    named = "; ".join((finding.pattern, *re.findall(r"\(([^)]*)\)", finding.says)))

    def concerned(blank: Blank) -> bool:
        if re.search(rf"(?<![\w-]){re.escape(blank.name)}(?![\w-])", named):
            return True
        labels = [mark.label for mark in blank.marks if mark.kind == "fitting"]
        return any(re.match(rf"{re.escape(finding.pattern)}(?![\w-])", label) for label in labels)

    return tuple(blank for blank in work.blanks if concerned(blank))


def hold_words(work: Work, blanks: Iterable[Blank]) -> list[str]:
    """The lines that a cutting file of these blanks begins with: HOLD, and what is still open on any of them."""
    blanks = list(blanks)
    held = [blank for blank in blanks if waits(blank)]
    lines = []
    if held:
        names = "" if len(blanks) == 1 else f" ({', '.join(blank.name for blank in held)})"
        lines.append(f"HOLD{names}: {BEND_HOLD}.")
    for finding in looks_open(work):
        parts = [blank.name for blank in open_parts(work, finding) if blank in blanks]
        if parts:
            names = "" if len(blanks) == 1 else f" ({', '.join(parts)})"
            lines.append(f"OPEN{names}: {finding.says}. Ask the shop whether that is decided.")
    return lines


# --------------------------------------------------------------------------------------------- edges


def as_carried(work: Work, blank: Blank) -> Blank:
    """The blank with a lap's edge called a butt where the piece it meets carries the lap: its own metal is trimmed."""
    trimmed = {
        joint.letter
        for joint in work.seams
        if joint.kind == "lap" and (carrier := joint.carries) is not None
        for side in joint.sides
        if side is not carrier and blank.name in side.blank.split(", ") and blank.name not in carrier.blank.split(", ")
    }
    if not any(edge.letter in trimmed and edge.joint == "lap" for edge in blank.edges):
        return blank
    edges = (replace(e, joint="butt") if e.letter in trimmed and e.joint == "lap" else e for e in blank.edges)
    return replace(blank, edges=tuple(edges))


def finished_edges(blank: Blank) -> tuple[Edge, ...]:
    """Edges on which nothing is left: the cut makes the finished edge."""
    return tuple(edge for edge in blank.edges if edge.allowance < NET_MM)


def edge_words(blank: Blank, unit: str = "mm", unlettered: Collection[str] = ()) -> str:
    """Which edges are trimmed later, which metal stays, which edges are net, by their letters.

    Of those ``unlettered``, which found no room for theirs, it says so: nobody looks for it.
    """
    kinds: dict[str, dict[str, list[str]]] = {"trimmed later": {}, "STAYS ON": {}, "net": {}}
    for number, edge in enumerate(blank.edges, 1):
        name = edge.letter or f"edge {number}"
        name += f" (its letter has no room: {words.length(edge.length_blank, unit)} long)" * (name in unlettered)
        if edge.allowance < NET_MM:
            kinds["net"].setdefault("", []).append(name)
            continue
        size = words.length(edge.allowance, unit)
        if edge.joint in STAYS:
            kinds["STAYS ON"].setdefault(f"{STAYS[edge.joint]} {size}", []).append(name)
        else:
            kinds["trimmed later"].setdefault(f"{size} left on", []).append(name)
    found = [(kind, size, names) for kind, sizes in kinds.items() for size, names in sizes.items()]
    if len(found) == 1:
        kind, size, _ = found[0]
        return f"all edges {kind}{f', {size}' if size else ''}"
    return "; ".join(f"{kind}: {', '.join(names)}{f', {size}' if size else ''}" for kind, size, names in found)


def stays_area(blank: Blank) -> float:
    """Area in mm2 of what stays of a blank once it is trimmed: inside the net outline, with laps, flanges and lips."""
    from shapely.geometry import LineString
    from shapely.ops import unary_union

    staying = [edge for edge in blank.edges if edge.joint in STAYS and edge.allowance >= NET_MM]
    if not staying:
        return float(blank.net.area)
    strips = [LineString(edge.points).buffer(edge.allowance + 0.5, cap_style="flat") for edge in staying]
    beyond = blank.outline.difference(blank.net)  # what is turned over lies inside the net outline already
    return float(blank.net.area + beyond.intersection(unary_union(strips)).area)


# --------------------------------------------------------------------------------------------- strip


def is_strip(blank: Blank) -> bool:
    """Whether a blank is a test strip of this module's."""
    return blank.name.startswith(STRIP)


def strips_of(work: Work) -> tuple[Blank, ...]:
    """A test strip for each kind of fold, as the job sheet asks for it: folded in the middle, grain as on the piece."""
    kinds: dict[tuple[float, float, float], tuple[Blank, Fold]] = {}
    for blank in work.blanks:
        for fold in blank.folds:
            kinds.setdefault((blank.thickness, fold.inside_radius, fold.k_factor), (blank, fold))
    several, size = len(kinds) > 1, SIZE_MM[work.job.unit]
    return tuple(
        _strip(f"{STRIP} {number}" if several else STRIP, size, *kinds[kind])
        for number, kind in enumerate(sorted(kinds), 1)
    )


def _strip(name: str, size: tuple[float, float], blank: Blank, fold: Fold) -> Blank:
    from shapely.geometry import box

    from panels.blank import Blank as Flat

    long, wide = size
    middle, shape = long / 2, box(0.0, 0.0, long, wide)
    run = (fold.end - fold.start) / max(1e-9, float(np.hypot(*(fold.end - fold.start))))
    off = fold.tangents.reshape(-1, 2) - fold.start
    half = float(np.abs(run[0] * off[:, 1] - run[1] * off[:, 0]).max(initial=0.0))
    lines = [np.array([[middle + x, 0.0], [middle + x, wide]]) for x in (-half, 0.0, half)]
    turned = None
    if blank.grain_deg is not None:
        turned = (blank.grain_deg - float(np.degrees(np.arctan2(run[1], run[0]))) + 90.0) % 180
        turned = next((square for square in (0.0, 90.0) if abs((turned - square + 90) % 180 - 90) < NEAR_DEG), turned)
    bent = replace(fold, start=lines[1][0], end=lines[1][1], tangents=np.array([lines[0], lines[2]]), angle=90.0)
    return Flat(
        name, "centre", "folded", shape, shape, (), (bent,), (), turned, blank.thickness, shape.area, None
    )  # fmt: skip


def strip_source(work: Work, strip: Blank) -> str:
    """What the strip is cut from: any spare of the same metal; where there is none, a kept offcut that is free early.

    On a sheet for the shear the offcut is one that comes off before the size of a held part is fixed.
    """
    from .shearhold import freeing_cuts, held_cuts

    size = words.size(*_spans(strip), work.job.unit)
    spare = "cut it from any spare of the same sheet metal"
    shear = work.layout.cutting == "shear"
    ways = []
    for number, offcut in enumerate(work.layout.offcuts, 1):
        turn = _turn_in(work, offcut, strip)
        if turn is not None:
            cuts = freeing_cuts(work, offcut.piece) if shear else ()
            late = sorted(set(cuts) & set(held_cuts(work, offcut.sheet)))
            ways.append((bool(late), offcut.area, number, offcut, cuts, late, turn))
    if not ways:
        return f"{spare}, the grain as its arrow: no kept offcut holds it ({size})"
    _, _, number, offcut, cuts, late, turn = min(ways, key=lambda way: way[:3])
    which = f"K{number} of sheet {offcut.sheet + 1}, {words.size(*offcut.size, work.job.unit)}"
    if late:
        how = f"by hand out of what becomes {which}, before cut {late[0]}"
    elif cuts:
        how = f"from {which}, which {_runs(cuts)} set{'s' * (len(cuts) == 1)} free before a folded part has its size"
    else:
        how = f"out of what becomes {which}"
    lies = "as its file has it" if turn == 0 else f"turned {words.fixed(turn, 1).removesuffix('.0')} deg from its file"
    grain = "" if strip.grain_deg is None or _grain_of(work, offcut) is None else ", for the grain"
    return f"{spare}, the grain as its arrow; if there is none, {how}, {lies}{grain} (less of it is then kept)"


def _runs(numbers: Sequence[int]) -> str:
    """Numbers of cuts in words.

    >>> _runs([1, 2, 3, 14]), _runs([2])
    ('cuts 1 to 3 and 14', 'cut 2')
    """
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    told = []
    for run in runs:
        told += [f"{run[0]} to {run[-1]}"] if len(run) > 2 else [str(number) for number in run]
    return f"cut{'s' * (len(numbers) > 1)} {', '.join(told[:-1])}{' and ' if told[:-1] else ''}{told[-1]}"


def _spans(shape: Blank) -> tuple[float, float]:
    x0, y0, x1, y1 = shape.outline.bounds
    return x1 - x0, y1 - y0


def _grain_of(work: Work, offcut: Offcut) -> float | None:
    return work.layout.sheets[offcut.sheet].sheet.grain_deg


def _turn_in(work: Work, offcut: Offcut, strip: Blank) -> float | None:
    """How far to turn the strip in a corner of an offcut, degrees, the grain running as it must; None: no room."""
    from shapely import affinity

    x0, y0, x1, y1 = offcut.outline.bounds
    room = offcut.outline.buffer(1e-6)
    for turn in _turns(_grain_of(work, offcut), strip.grain_deg):
        turned = affinity.rotate(strip.outline, turn, origin=(0, 0))
        a, b, c, d = turned.bounds
        for x in (x0 - a, x1 - c):
            for y in (y0 - b, y1 - d):
                if room.covers(affinity.translate(turned, x, y)):
                    return round(turn % 180, 6) % 180
    return None


def _turns(sheet_grain: float | None, grain: float | None) -> Iterator[float]:
    """Turns of a part on the sheet that bring the two grains together."""
    if sheet_grain is None or grain is None:
        yield from (0.0, 90.0)
    else:
        yield sheet_grain - grain
