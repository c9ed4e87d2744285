"""One place for looks: paper, lines, letters, colours, and the wording every paper shares.

Words used here
    live area   the part of a page that any printer reaches, on A4 and on letter alike
    ink         black; every paper must read in black and white, colour only repeats what form already says
    pencil      the grey of grids, stations and small print
    red, blue   the two coloured pencils of the bench: red stops and stretches, blue folds and shrinks

Lengths in mm, letter sizes in mm of body height (1 mm = 2.83 points), colours as 0..1 red, green, blue.
"""

from __future__ import annotations

from typing import NamedTuple

__all__ = [
    "A4",
    "BLUE",
    "CHECK_MM",
    "FAINT",
    "FONT",
    "FONT_BOLD",
    "GRID_MM",
    "INK",
    "LAYERS",
    "LETTER",
    "PENCIL",
    "PENS",
    "RED",
    "SIZES",
    "STATION_OFFSETS_MM",
    "TILE",
    "WORDS",
    "Layer",
    "Pen",
    "Tile",
]

Colour = tuple[float, float, float]

A4 = (210.0, 297.0)
LETTER = (215.9, 279.4)


class Tile(NamedTuple):
    """A page that prints on A4 and letter at 100 %: as wide as A4, as high as letter."""

    page: tuple[float, float]
    live: tuple[float, float]
    overlap: float  # shared by neighbouring tiles, mm
    foot: float  # strip of the live area kept for bars and words, mm


TILE = Tile((A4[0], LETTER[1]), (190.0, 259.0), 10.0, 26.0)

FONT = "TankwrightSans"
FONT_BOLD = "TankwrightSans-Bold"
SIZES = {"title": 6.0, "head": 4.2, "body": 3.0, "small": 2.4, "fine": 2.0}

INK: Colour = (0.0, 0.0, 0.0)
PENCIL: Colour = (0.42, 0.42, 0.42)
FAINT: Colour = (0.72, 0.72, 0.72)
RED: Colour = (0.70, 0.13, 0.10)
BLUE: Colour = (0.08, 0.28, 0.55)


class Pen(NamedTuple):
    """Width in mm, dash lengths in mm (empty for a full line), colour."""

    width: float
    dash: tuple[float, ...] = ()
    colour: Colour = INK


#: Cut lines are at most 0.25 mm wide so that a blade can halve them; dashes are coarse for poor printers.
PENS = {
    "cut": Pen(0.25),
    "trim": Pen(0.18, (4.0, 1.6)),
    "fold": Pen(0.25, (8.0, 1.5, 1.5, 1.5)),
    "tangent": Pen(0.13, (1.2, 1.2), PENCIL),
    "roll": Pen(0.15, (7.0, 1.2, 1.2, 1.2, 1.2, 1.2)),
    "centre": Pen(0.15, (10.0, 1.5, 1.5, 1.5)),
    "station": Pen(0.13),
    "style": Pen(0.20, (1.2, 0.9)),
    "stays": Pen(0.20, (3.0, 1.0, 0.6, 1.0)),
    "bend": Pen(0.20, (3.0, 1.0, 0.6, 1.0)),
    "register": Pen(0.20),
    "fitting": Pen(0.18),
    "grid": Pen(0.08, (), FAINT),
    "frame": Pen(0.18),
    "rule": Pen(0.13, (), PENCIL),
    "zone": Pen(0.13, (0.6, 1.4), PENCIL),
    "bar": Pen(0.20),
    "match": Pen(0.20),
    "sheet": Pen(0.35),
    "offcut": Pen(0.20, (3.0, 2.0)),
    "shear": Pen(0.30, (6.0, 2.0)),
}

CHECK_MM = 100.0  # length of every check bar and check line
GRID_MM = 50.0  # grid on templates
STATION_OFFSETS_MM = 25.0  # spacing of offsets in the shop drawings


class Layer(NamedTuple):
    """A layer of the cutting files: its name, colour number (DXF) and colour (SVG), whether metal is cut there."""

    name: str
    colour: int
    web: str
    cut: bool
    what: str


#: Colours are told from one another on white and on black alike; 7 turns over with the background.
LAYERS = {
    "cut": Layer("CUT", 1, "#e00000", True, "cut here: holes first, then outlines"),
    "later": Layer("CUT_LATER", 54, "#818100", False, "parts that wait for the bend test (HOLD): not to be cut yet"),
    "part": Layer("PART_EDGE", 190, "#7f00ff", False, "outline of a part on a sheet laid out for the shear"),
    "trim": Layer("TRIM_LINE", 8, "#808080", False, "net edge, trimmed to after forming"),
    "up": Layer("FOLD_UP", 160, "#003fff", False, "fold towards you as drawn"),
    "down": Layer("FOLD_DOWN", 94, "#007f00", False, "fold away from you as drawn"),
    "scribe": Layer("SCRIBE", 134, "#007f7f", False, "lines to scribe or draw"),
    "mark": Layer("MARK", 6, "#d000d0", False, "number, name and seam letters in single strokes, to etch if you can"),
    "text": Layer("TEXT", 7, "#000000", False, "words, never cut"),
    "sheet": Layer("SHEET_EDGE", 252, "#666666", False, "edge of the stock sheet"),
    "offcut": Layer("KEEP", 32, "#a55200", False, "edge of a piece worth keeping"),
    "shear": Layer("SHEAR_LINE", 142, "#007ca5", False, "edge-to-edge cuts for the shear, numbered"),
    "check": Layer("CHECK_LINE", 200, "#bf00ff", False, "100 mm check line"),
}

#: Wording that more than one paper carries.
WORDS = {
    "scale": "Print at 100 %, never \u201cfit to page\u201d. Measure both bars before cutting.",
    "net": "Net geometry: no kerf, no lead-ins. Set kerf at the machine.",
    "face": "Drawn good face up. Good face = outside of the finished tank.",
    "face_mixed": "Good face up, but for parts marked GOOD FACE DOWN. Good face = outside of the tank.",
    "check": "Check line: 100.0 mm. Measure it before cutting.",
    "tester": "Leak test and approval are the maker\u2019s, not these papers\u2019: see the cautions.",
    "edges": "Cut edges are sharp: gloves, and file every edge before forming.",
    "fumes": "Never heat, weld or grind a tank that has held fuel until someone trained for it has made it "
    "free of vapour. Ventilate.",
    "code": "Follow the local code; use a licensed person where the law asks for one.",
}
