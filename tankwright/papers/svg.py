"""Small helpers that write SVG as text: paths, lines, words, hatches. Pens come from `look`.

Words used here
    sheet coordinates   mm, x right, y up, as everything else here is drawn; y is turned over at the last step
    hatch               a pattern fill that tells areas apart without colour
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

import numpy as np
from shapely.geometry.base import BaseGeometry

from .look import BLUE, PENS, RED

__all__ = [
    "HATCHES",
    "css_colour",
    "dimension",
    "line",
    "number",
    "pen_css",
    "ring",
    "shape_path",
    "svg",
    "words",
    "zone_hatches",
]


def number(value: float, places: int = 1) -> str:
    """The shortest text of the number at that many decimals.

    >>> number(12.0), number(-0.04), number(0.52)
    ('12', '0', '0.5')
    """
    text = f"{value:.{places}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text in ("-0", "") else text


def css_colour(colour: tuple[float, float, float]) -> str:
    """A colour of `look` as a page writes it."""
    return "#" + "".join(f"{round(255 * part):02x}" for part in colour)


def ring(points: np.ndarray, *, closed: bool = True, places: int = 1) -> str:
    """Path data of a polyline (n, 2), y turned over, repeats left out, relative to keep it short."""
    p = np.round(np.asarray(points, dtype=float)[:, :2] * [1, -1], places)
    p = p[np.concatenate([[True], (p[1:] != p[:-1]).any(axis=1)])]
    if closed and len(p) > 1 and (p[0] == p[-1]).all():
        p = p[:-1]
    start = f"M{number(p[0, 0], places)},{number(p[0, 1], places)}"
    steps = np.round(p[1:] - p[:-1], places) + 0.0
    # The shortest text of six figures is exact up to a kilometre at 0.1 mm, and one call writes them all.
    told = "l" + " ".join(["%g,%g"] * len(steps)) % tuple(steps.ravel().tolist()) if len(steps) else ""
    return f"{start}{told}{'z' if closed else ''}"


def shape_path(shape: BaseGeometry, *, simplify: float = 0.0, places: int = 1) -> str:
    """Path data of polygons with their holes."""
    import shapely

    if simplify > 0:
        shape = shapely.simplify(shape, simplify)
    data = []
    for part in shapely.get_parts(shape):
        if part.geom_type == "Polygon" and not part.is_empty:
            rings = (part.exterior, *part.interiors)
            data += [ring(np.asarray(r.coords), places=places) for r in rings]
    return "".join(data)


def line(points: np.ndarray, pen: str) -> str:
    """A polyline drawn with one of the pens of `look`."""
    return f'<path class="pen-{pen}" d="{ring(points, closed=False)}"/>'


def words(
    text: str,
    at: Sequence[float] | np.ndarray,
    size: float,
    *,
    turn: float = 0.0,
    anchor: str = "middle",
    kind: str = "",
) -> str:
    """A line of words, its middle height on the point; ``turn`` degrees anticlockwise."""
    x, y = number(at[0]), number(-at[1])
    spin = f' transform="rotate({number(-turn)} {x} {y})"' if abs(turn) > 0.05 else ""
    style = f' class="{kind}"' if kind else ""
    return (
        f'<text x="{x}" y="{y}" dy=".35em" font-size="{number(size)}" text-anchor="{anchor}"{style}{spin}>'
        f"{escape(text)}</text>"
    )


def dimension(start: np.ndarray, end: np.ndarray, text: str, size: float) -> str:
    """A dimension line with ticks between two points, its words in the middle on a gap."""
    start, end = np.asarray(start, dtype=float), np.asarray(end, dtype=float)
    along = (end - start) / max(float(np.hypot(*(end - start))), 1e-9)
    tick = np.array([-along[1], along[0]]) * size * 0.45
    slant = (along + np.array([-along[1], along[0]])) * size * 0.3
    turn = float(np.degrees(np.arctan2(along[1], along[0])))
    turn = (turn + 89.99) % 180 - 89.99  # upright, read from below or from the right
    data = "".join(
        ring(np.array([p, q]), closed=False)
        for p, q in (
            (start, end),
            (start - tick, start + tick),
            (end - tick, end + tick),
            (start - slant, start + slant),
            (end - slant, end + slant),
        )
    )
    label = words(text, (start + end) / 2, size, turn=turn, kind="dim")
    return f'<path class="pen-rule" d="{data}"/>{label}'


def svg(
    box: tuple[float, float, float, float],
    content: Iterable[str],
    *,
    title: str,
    describes: str,
    kind: str = "",
    name: str,
) -> str:
    """A whole picture; ``box`` is left, low, right, high in sheet coordinates. Read out by title and words."""
    x0, y0, x1, y1 = box
    view = " ".join(number(v) for v in (x0, -y1, x1 - x0, y1 - y0))
    style = f' class="{kind}"' if kind else ""
    head = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{view}" role="img" aria-labelledby="{name}"{style}>'
    told = f'<title id="{name}">{escape(title)}. {escape(describes)}</title>'
    return f"{head}{told}{''.join(content)}</svg>"


#: Pens are drawn that much wider on a screen than on full-size paper, where 0.25 mm is plenty. px per mm.
SCREEN_PX_PER_MM = 5.0


def pen_css() -> str:
    """Style rules for the pens of `look`, in widths that do not change with the size of the picture."""
    rules = []
    for name, pen in PENS.items():
        dash = " ".join(number(d * 2.6, 1) for d in pen.dash)
        extra = f";stroke-dasharray:{dash}" if dash else ""
        rules.append(
            f".pen-{name}{{fill:none;stroke:{css_colour(pen.colour)};"
            f"stroke-width:{number(pen.width * SCREEN_PX_PER_MM, 2)}px;vector-effect:non-scaling-stroke{extra}}}"
        )
    return "".join(rules)


#: Hatch of each piece in a picture of the whole tank: direction in degrees, and spacing in text heights.
HATCHES = ((45, 0.5), (-45, 0.5), (0, 0.5), (90, 0.5), (20, 0.34), (-20, 0.34), (70, 0.34), (-70, 0.34))

LEVEL_SPACING = {1: 1.5, 2: 0.95, 3: 0.6, 4: 0.4}


def zone_hatches(prefix: str, size: float) -> str:
    """Pattern fills for zones: plus signs where metal is stretched, minus signs where it is shrunk; denser is harder.

    Names are ``prefix`` + ``stretch1`` ... ``shrink4``; ``size`` is the height of the words on the picture.
    """
    made = []
    red, blue = css_colour(RED), css_colour(BLUE)
    for level, spacing in LEVEL_SPACING.items():
        step = number(spacing * size, 2)
        thin = number(0.055 * size, 2)
        arm, half = spacing * size * 0.22, spacing * size / 2
        minus = f"M{number(half - arm, 2)},{number(half, 2)}h{number(2 * arm, 2)}"
        plus = f"{minus}M{number(half, 2)},{number(half - arm, 2)}v{number(2 * arm, 2)}"
        box = f'width="{step}" height="{step}" patternUnits="userSpaceOnUse"'
        # Shrink lies along edges, in narrow bands: its rows stand closer, so that each band shows some.
        low = f'width="{step}" height="{number(half, 2)}" patternUnits="userSpaceOnUse"'
        dash = f"M{number(half - arm, 2)},{number(half / 2, 2)}h{number(2 * arm, 2)}"
        made.append(
            f'<pattern id="{prefix}stretch{level}" {box}>'
            f'<path d="{plus}" stroke="{red}" stroke-width="{thin}"/></pattern>'
            f'<pattern id="{prefix}shrink{level}" {low}>'
            f'<path d="{dash}" stroke="{blue}" stroke-width="{number(0.1 * size, 2)}"/></pattern>'
        )
    return f"<defs>{''.join(made)}</defs>"
