"""What a cutting file holds, before it is written in any format: paths and words on named layers.

Words used here
    drawing   the items of one file, in the order a machine meets them: holes, outlines,
              then what is not cut
    frame     how a part's own coordinates become its sheet's: turned, perhaps flipped, moved

Outlines run clockwise and holes anticlockwise, so that the part is on the right of the torch all the way
round: the square side of a plasma cut with the usual swirl ring (common practice, no source).
mm, x right, y up.
"""

from __future__ import annotations

import math
import weakref
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from .cutting_blank import HAIR_MM, Face, Frame, degrees, face_of, label_words, laid, name_beside, runs_inside
from .cutting_header import blank_words, sheet_words, strip_words
from .cutting_hold import as_carried, strips_of
from .cutting_items import Drawing, Item, Line, Words
from .cutting_keep import kept_lines, kept_names
from .cutting_kerf import NET, Asked, asked_of, kerfed, with_lead
from .cutting_later import later_on, sheet_order
from .cutting_order import nested
from .look import CHECK_MM, WORDS
from .names import plain, unique_slugs
from .outline import Path, fit_line, fit_outline

if TYPE_CHECKING:
    from shapely.geometry import Polygon
    from shapely.geometry.base import BaseGeometry

    from nesting import Layout
    from nesting.model import Placed
    from panels.blank import Blank

    from ..work import Work

__all__ = [
    "HAIR_MM",
    "Drawing",
    "Line",
    "Words",
    "blank_drawing",
    "cutting_drawings",
    "file_stems",
    "for_shear",
    "frame",
    "piece_numbers",
    "runs_inside",
    "sheet_drawing",
    "strip_stems",
    "unlettered",
]


def frame(placed: Placed) -> tuple[np.ndarray, np.ndarray]:
    """Matrix (2, 2) and shift (2,) with sheet = part @ matrix.T + shift, for a placed part."""
    from nesting.model import place_outline

    turn = math.radians(placed.turn_deg % 360)
    c, s = round(math.cos(turn), 15), round(math.sin(turn), 15)
    matrix = np.array([[c, -s], [s, c]]) @ np.diag([-1.0 if placed.flipped else 1.0, 1.0])
    lain = place_outline(placed.part, placed.turn_deg, placed.flipped)
    return matrix, np.array(placed.outline.bounds[:2]) - np.array(lain.bounds[:2])


def piece_numbers(work: Work) -> dict[str, str]:
    """The one number of every piece, by its name: its place on the cut list."""
    return {blank.name: str(k) for k, blank in enumerate(work.blanks, 1)}


def cutting_drawings(work: Work, asked: Asked | None = None) -> dict[str, Drawing]:
    """Every cutting drawing by file stem: ``sheet-1`` and on, then ``blank-NAME``, then ``test-strip``.

    The stem of a sheet laid out for the shear says so, and that of a file with kerf or lead-ins says that; they
    are those of the job where none are given here. Remembered for the work last asked for, since every format
    draws the same.

    Raises JobError, a ValueError, where the kerf closes a hole or a slot.
    """
    return dict(_all_drawn(work, asked)[0])


def unlettered(work: Work, asked: Asked | None = None) -> dict[str, frozenset[str]]:
    """By the name of a blank: letters of its edges that found no room in the cutting files."""
    return dict(_all_drawn(work, asked)[1])


_Drawn = tuple[dict[str, Drawing], dict[str, frozenset[str]]]
_last: tuple[weakref.ref[Work], Asked, _Drawn] | None = None


def _all_drawn(work: Work, asked: Asked | None) -> _Drawn:
    """Drawings and what has no letter, remembered for the work last asked for."""
    global _last
    asked = asked_of(work) if asked is None else asked
    if _last is None or _last[0]() is not work or _last[1] != asked:
        _last = (weakref.ref(work), asked, _drawings(work, asked))
    return _last[2]


def file_stems(work: Work, asked: Asked) -> tuple[list[str], list[str]]:
    """Stems of the files of the sheets, and of the blanks, in order."""
    count = len(work.layout.sheets)
    sheet = "-shear" if for_shear(work) else asked.tag
    slugs = unique_slugs([blank.name for blank in work.blanks])
    return [f"sheet-{k + 1}{sheet}" for k in range(count)], [f"blank-{slug}{asked.tag}" for slug in slugs]


def strip_stems(work: Work, asked: Asked) -> list[str]:
    """Stems of the files of the test strips, in the order of `cutting_hold.strips_of`."""
    return [f"{name}{asked.tag}" for name in unique_slugs([strip.name for strip in strips_of(work)])]


def for_shear(work: Work) -> bool:
    """Whether the sheets are laid out for edge-to-edge cuts: parts may touch, so that no torch may follow them."""
    return work.layout.cutting == "shear"


def _drawings(work: Work, asked: Asked) -> _Drawn:
    faces = _faces(work, asked)
    sheets, blanks = file_stems(work, asked)
    drawings = {
        **{stem: sheet_drawing(work, k, asked, faces=faces) for k, stem in enumerate(sheets)},
        **{
            stem: blank_drawing(work, blank, asked, faces=faces)
            for stem, blank in zip(blanks, work.blanks, strict=True)
        },
        **{
            stem: _strip_drawing(work, strip, asked)
            for stem, strip in zip(strip_stems(work, asked), strips_of(work), strict=True)
        },
    }
    return drawings, {name: face.unlettered for name, face in faces.items()}


def blank_drawing(work: Work, blank: Blank, asked: Asked = NET, *, faces: Mapping[str, Face] | None = None) -> Drawing:
    """One blank as it is drawn, its lower left corner at the origin; ``faces`` are made for what is asked."""
    number = piece_numbers(work).get(blank.name, "")
    face = faces[blank.name] if faces else _face(work, blank, number, asked)
    lies = Frame(np.eye(2), -np.array(blank.outline.bounds[:2]))
    items = _cuts([Laid(face, lies)], asked)
    words = blank_words(work, blank, number, asked, _without_lead(items), face.unlettered)
    items += laid(face, lies)
    items += name_beside(face, label_words(blank, number), lies)
    items += _foot(words)
    return Drawing(" ".join(f"{work.job.name}: {number} {blank.name}".split()), tuple(items))


def _strip_drawing(work: Work, strip: Blank, asked: Asked) -> Drawing:
    """A test strip, drawn like a blank."""
    face, lies = face_of(strip, "", asked.kerf), Frame(np.eye(2), np.zeros(2))
    items = _cuts([Laid(face, lies)], asked)
    words = strip_words(work, strip, asked, _without_lead(items))
    return Drawing(f"{work.job.name}: {strip.name}", (*items, *laid(face, lies), *_foot(words)))


def _face(work: Work, blank: Blank, number: str, asked: Asked) -> Face:
    """What is drawn of a blank, with the strokes that meet its neighbours'."""
    from .blankface import seam_ticks

    return face_of(as_carried(work, blank), number, asked.kerf, seam_ticks(work, blank))


def sheet_drawing(work: Work, index: int, asked: Asked = NET, *, faces: Mapping[str, Face] | None = None) -> Drawing:
    """One sheet of the nest, its corner at the origin; ``faces`` are made for what is asked.

    A sheet for the shear has its parts on a layer that is not cut: a torch would take its kerf from the neighbour.
    Parts that wait for the bend test are on a layer of their own, after all others.
    """
    from shapely import unary_union

    layout, used = work.layout, work.layout.sheets[index]
    order, later = sheet_order(work, index), later_on(work, index)
    if for_shear(work) and asked != NET:
        asked, faces = NET, None
    faces = faces or _faces(work, asked)
    placed = [Laid(faces[p.part.name], Frame(*frame(p), p.flipped)) for p in order]
    layers = ["part" if for_shear(work) else "later" if p.part.name in later else "cut" for p in order]
    whole = [deep > 0 for deep in nested(order)]
    free: BaseGeometry = used.sheet.metal  # where a lead may begin
    if asked.lead_in > 0:
        kept = [offcut.outline for offcut in layout.offcuts if offcut.sheet == index]
        free = free.difference(unary_union([*kept, *used.sheet.blocked]))
    items = _cuts(placed, asked, layers, whole, free)
    words = sheet_words(work, index, order, piece_numbers(work), asked, _without_lead(items))
    for (face, lies), layer in zip(placed, layers, strict=True):
        items += laid(face, lies, held=layer == "later")
    items.append(Line("sheet", fit_outline(used.sheet.metal)[0]))
    items += kept_lines(layout, index)
    names = kept_names(layout, index)
    items += names
    items += _shear_cuts(layout, index, names)
    scale = max(1.0, used.sheet.width / 600)  # read beside a large sheet, the words must be large too
    items += _foot(words, scale)
    return Drawing(f"{work.job.name}: sheet {index + 1}", tuple(items))


def _shear_cuts(layout: Layout, index: int, kept: Sequence[Words] = ()) -> list[Item]:
    """The shear's cuts on a sheet, each with its number beside it, off the parts where there is room."""
    from shapely import MultiPolygon, box

    from .cutting_notes import Wanted, place_notes

    cuts = [cut for cut in layout.cuts if cut.sheet == index]
    if not cuts:
        return []
    sheet = layout.sheets[index].sheet
    parts = MultiPolygon([placed.outline for placed in layout.on_sheet(index)])
    wanted = [Wanted(f"CUT {cut.order}", np.array(cut.line, dtype=float), must=True) for cut in cuts]
    names = [(word.at, 0.5 * word.height * len(word.text), word.height) for word in kept]
    signs = [box(x - wide, y - high, x + wide, y + high) for (x, y), wide, high in names]
    notes = place_notes(wanted, box(0, 0, sheet.width, sheet.height), parts, signs, heights=(5.0, 3.5))
    lines: list[Item] = [Line("shear", fit_line(np.array(cut.line))) for cut in cuts]
    return lines + [
        Words("text", n.text, (float(n.middle[0]), float(n.middle[1])), n.height, degrees(n.along), middle=True)
        for n in notes
    ]


def _faces(work: Work, asked: Asked) -> dict[str, Face]:
    numbers = piece_numbers(work)
    return {blank.name: _face(work, blank, numbers[blank.name], asked) for blank in work.blanks}


class Laid(NamedTuple):
    """What is drawn of a blank, and where it lies."""

    face: Face
    lies: Frame


def _cuts(
    placed: Sequence[Laid],
    asked: Asked,
    layers: Sequence[str] = ("cut",),
    whole: Sequence[bool] = (False,),
    free: BaseGeometry | None = None,
) -> list[Item]:
    """Cut paths of blanks where they lie, layer after layer; lead-ins only where asked for, on ``free``.

    On each layer those first that lie in holes of others, each ``whole``; then all holes, then all outlines.
    """
    shapes = [_lain(face.blank, lies, asked.kerf) for face, lies in placed] if asked.lead_in > 0 else []
    paths: dict[str, tuple[list[Path], list[Path], list[Path]]] = {}
    for k, (face, lies) in enumerate(placed):
        inner, outer = face.cuts(lies)
        if shapes:
            others = [*shapes[:k], *shapes[k + 1 :]]
            inner = tuple(with_lead(path, shapes[k], others, asked.lead_in, free) for path in inner)
            outer = with_lead(outer, shapes[k], others, asked.lead_in, free)
        inside, holes, outlines = paths.setdefault(layers[k], ([], [], []))
        if whole[k]:
            inside += [*inner, outer]
        else:
            holes += inner
            outlines.append(outer)
    return [Line(layer, path) for layer, (a, b, c) in paths.items() for path in (*a, *b, *c)]


def _without_lead(cuts: Sequence[Item]) -> int:
    """How many cut paths had no room for a lead-in."""
    return sum(isinstance(item, Line) and item.path.closed for item in cuts)


def _lain(blank: Blank, lies: Frame, kerf_mm: float) -> Polygon:
    """The kerfed outline of a blank where it lies."""
    from shapely import affinity

    return affinity.affine_transform(kerfed(blank.outline, kerf_mm), [*lies.matrix.ravel(), *lies.shift])


def _foot(lines: Sequence[str], scale: float = 1.0) -> list[Item]:
    """Check line and header block below the origin."""
    y = -25.0
    items: list[Item] = [
        Line("check", fit_line(np.array([[0.0, y], [CHECK_MM, y]]))),
        Words("text", plain(WORDS["check"]), (CHECK_MM + 4, y - 2), 4.0 * scale),
    ]
    for k, line in enumerate(lines):
        items.append(Words("text", plain(line), (0.0, y - (12 + 7.0 * k) * scale), 4.0 * scale))
    return items
