"""Numbers put into shop words, the same way on every paper.

Millimetres always; where the job is in inches they stand beside the inches, and govern. Lengths to 0.1 mm,
litres and kilograms to 0.1, or 0.01 where they are small.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from panels.joints import joint_name
from panels.ledge import LEDGE

from ..units import LITRES_PER_US_GALLON, show_length, show_size, show_thickness

if TYPE_CHECKING:
    from collections.abc import Iterable

    from panels.blank import Blank, Edge
    from panels.joints import Joint

__all__ = [
    "AS_IT_IS",
    "angles",
    "area",
    "changes",
    "difficulty",
    "difficulty_limits",
    "edge_change",
    "edge_metal",
    "face",
    "fixed",
    "gauge",
    "grain",
    "hand",
    "joint_of",
    "joint_word",
    "length",
    "limit_of",
    "litres",
    "mass",
    "metal_words",
    "percent",
    "piece_part",
    "size",
    "turned",
]

KG_PER_POUND = 0.45359237  # exact, by definition

#: Change of length in percent up to which a panel is easy, ordinary and hard for a hand shop; above, split
#: it. Common practice, no source: labels of difficulty, not limits.
DIFFICULTY_PERCENT = (3.0, 8.0, 15.0)

#: An edge of a piece that is not formed is left as it is below this, mm: the width of a scribed line's doubt.
NOT_FORMED_MM = 0.5  # common practice, no source

#: What an edge is to do whose change is not worth telling.
AS_IT_IS = "as it is"


def fixed(value: float, places: int = 1) -> str:
    """The number with that many decimals, and never ``-0.0``.

    >>> fixed(-0.04), fixed(1250.0, 0)
    ('0.0', '1250')
    """
    text = f"{value:.{places}f}"
    return text.lstrip("-") if float(text) == 0 else text


def length(mm: float, unit: str = "mm", places: int = 1) -> str:
    """``36.5 mm``, or ``1 7/16 in (36.5 mm)`` where the job is in inches."""
    return show_length(mm, unit, places=places)


def size(width: float, height: float, unit: str = "mm") -> str:
    """``1250 x 1000 mm``, or ``48 x 96 in (1219.2 x 2438.4 mm)`` where the job is in inches."""
    return show_size(width, height, unit)


def litres(value: float, unit: str = "mm", places: int = 1) -> str:
    """``12.3 L``, with US gallons behind where the job is in inches; ``value`` unrounded: each figure is rounded once.

    >>> litres(5.849, "in"), litres(5.849, "in", 2)
    ('5.8 L (1.55 US gal)', '5.85 L (1.545 US gal)')
    """
    text = f"{fixed(value, places)} L"
    return f"{text} ({fixed(value / LITRES_PER_US_GALLON, places + 1)} US gal)" if unit == "in" else text


def mass(kg: float, unit: str = "mm", places: int = 1) -> str:
    """``3.4 kg``, with pounds behind where the job is in inches."""
    text = f"{fixed(kg, places)} kg"
    return f"{text} ({fixed(kg / KG_PER_POUND, places)} lb)" if unit == "in" else text


def area(mm2: float) -> str:
    """``0.142 m²``."""
    return f"{fixed(mm2 / 1e6, 3)} m²"


def limit_of(strength: str, allowed: str) -> tuple[str, str]:
    """What a finding's figure is held against, a limit, a wish or another paper: its name and the figure.

    >>> limit_of("note", "8.0 mm wanted"), limit_of("note", "464.9 mm"), limit_of("look", "6.0 mm")
    (('wanted', '8.0 mm'), ('held against', '464.9 mm'), ('allowed', '6.0 mm'))
    """
    for wish in ("wanted", "asked for"):
        if allowed.endswith(f" {wish}"):
            return wish, allowed.removesuffix(f" {wish}")
    if strength == "note":
        return ("wanted" if allowed.startswith(("at least", "at most")) else "held against"), allowed
    return "allowed", allowed


def percent(share: float) -> str:
    """A share as ``2.1 %``."""
    return f"{fixed(share * 100)} %"


def difficulty_limits(job: Any) -> tuple[float, float, float]:
    """Easy, ordinary and hard, in percent: the shop's own figures where its file gives them."""
    given = getattr(getattr(job, "shop", None), "difficulty", None)
    if given is None:
        return DIFFICULTY_PERCENT
    return float(given.easy), float(given.ordinary), float(given.hard)


def difficulty(share: float, limits: tuple[float, float, float] = DIFFICULTY_PERCENT) -> str:
    """How hard such a change of length is by hand: ``easy``, ``ordinary``, ``hard``, ``split the piece``."""
    level = sum(abs(share) * 100 > limit for limit in limits)
    return ("easy", "ordinary", "hard", "split the piece")[level]


def hand(blank: Blank) -> str:
    """Which side of the tank, and which blank it mirrors."""
    return f"{blank.hand}, mirror of {blank.mirrors}" if blank.mirrors else blank.hand


def face(blank: Blank) -> str:
    """Which face is up as drawn. Every blank is drawn good face up."""
    return "good face (outside of the tank) up as drawn"


def grain(blank: Blank) -> str:
    """Direction of the grain on the blank as drawn: along or across its longer side, where it is one of the two."""
    if blank.grain_deg is None:
        return "any way"
    x0, y0, x1, y1 = blank.outline.bounds
    turn = blank.grain_deg % 180
    if min(turn, 180 - turn) < 0.05:
        return f"{'along' if x1 - x0 >= y1 - y0 else 'across'} its length (arrow)"
    if abs(turn - 90) < 0.05:
        return f"{'across' if x1 - x0 >= y1 - y0 else 'along'} its length (arrow)"
    return f"aslant (arrow), {fixed(turn)}° anticlockwise from the base line"


def turned(degrees: float) -> str:
    """How a blank lies on its sheet against its own drawing; empty where it lies as drawn.

    >>> turned(90), turned(180), turned(0)
    ('a quarter turn anticlockwise', 'half a turn', '')
    """
    turn = degrees % 360
    plain = {90: "a quarter turn anticlockwise", 180: "half a turn", 270: "a quarter turn clockwise"}
    for quarter, name in plain.items():
        if abs(turn - quarter) < 0.05:
            return name
    return "" if min(turn, 360 - turn) < 0.05 else f"turned {fixed(turn)}° anticlockwise"


def piece_part(name: str, blanks: Iterable[str]) -> str:
    """A part of a folded blank, told from a blank of its own.

    >>> piece_part("tunnel left", ["crown", "tunnel"]), piece_part("side left", ["side left"])
    ('tunnel (left leg)', 'side left')
    """
    known = tuple(blanks)
    owner = next((blank for blank in known if name.startswith(f"{blank} ")), "")
    if name in known or not owner:
        return name
    part = name[len(owner) + 1 :]
    return f"{owner} ({part} leg)" if part in ("left", "right") else f"{owner} ({part})"


def changes(gain: float, kind: str) -> bool:
    """Whether a gain in mm of an edge of a blank of that kind is worth telling."""
    return abs(gain) >= (0.05 if kind == "formed" else NOT_FORMED_MM)


def edge_change(edge: Edge, kind: str, unit: str = "mm") -> str:
    """What an edge of a blank of that kind is to do: ``lose 3.2 mm (0.9 %)``, ``gain 1.0 mm (0.3 %)``, ``as it is``."""
    if not changes(edge.gain, kind):
        return AS_IT_IS
    word = "gain" if edge.gain > 0 else "lose"
    share = abs(edge.gain) / edge.length_blank if edge.length_blank else 0.0
    return f"{word} {length(abs(edge.gain), unit)} ({percent(share)})"


def joint_of(edge: Edge, seams: Iterable[Joint]) -> tuple[str, str]:
    """What the joint along an edge is called, by its seam, so that both its edges have one name; and whether this edge
    lies outside or inside in it, "" where neither does."""
    seam = next((joint for joint in seams if edge.letter and joint.letter == edge.letter), None)
    if seam is None:
        return joint_name(edge), ""
    lies = "" if not seam.outside else "inside" if seam.outside == edge.meets else "outside"
    return seam.kind, lies


def joint_word(edge: Edge, seams: Iterable[Joint]) -> str:
    """``butt``, or ``flange, lies inside``: the joint along an edge, and where this edge lies in it."""
    kind, lies = joint_of(edge, seams)
    kind = {"none": edge.joint or "\u2013"}.get(kind, kind)
    return f"{kind}, lies {lies}" if lies else kind


def angles(low: float, high: float) -> str:
    """``90.0\u00b0``, or ``62\u00b0 to 95\u00b0`` where it changes along the way."""
    if high - low < 1:
        return f"{fixed((low + high) / 2)}\u00b0"
    return f"{fixed(low, 0)}\u00b0 to {fixed(high, 0)}\u00b0"


def edge_metal(edge: Edge, unit: str = "mm") -> str:
    """What stands outside the trim line along the edge: net, trim, lap, flange or ledge, with its width.

    A butt or free edge with metal left on it is trimmed back to the line; the others keep their metal.
    """
    if edge.allowance < 0.05:
        return "net"
    word = {"lap": "lap", "fold": "flange", LEDGE: "ledge"}.get(edge.joint)
    return f"{word or 'trim'} {length(edge.allowance, unit)}{', stays on' if word else ''}"


def gauge(thickness: float, job: Any, other: str = "") -> str:
    """The gauge in words: the one asked for, or the nearest with how far off it is; ``other`` metal than the job's."""
    from panels.metal import lookup_metal, nearest_gauge

    asked = getattr(job, "gauge", None)
    if asked and not other:
        return str(asked)
    near = nearest_gauge(thickness, lookup_metal(other).kind if other else job.metal.kind)
    if abs(near.difference) < 0.005:
        return f"{near.gauge} ga {near.system}"
    return f"nearest {near.gauge} ga {near.system}, {fixed(near.thickness, 2)} mm"


def metal_words(job: Any, thickness: float | None = None, other: str = "") -> str:
    """``3003-H14 aluminium, 1.6 mm``; of ``other`` metal where a blank is not cut from the job's own."""
    from panels.metal import lookup_metal

    metal = lookup_metal(other) if other else job.metal
    kind = "" if metal.kind in metal.name else f" {metal.kind}"
    t = job.thickness if thickness is None else thickness
    asked = (getattr(job, "gauge", None) or "") if thickness is None else ""
    return f"{metal.name}{kind}, {show_thickness(t, job.unit, gauge=str(asked))}"
