"""What the lines and signs on a blank mean, said beside it: only those that are on it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from .look import GRID_MM

if TYPE_CHECKING:
    from .blankface import Face

__all__ = ["legend"]


def legend(face: Face, *, full_size: bool = False) -> str:
    """Lines, then letters, then signs, as sentences; on templates with the grid, and the zones' table elsewhere."""
    blank = face.blank
    lines = {name for name, _ in face.trims}
    kinds = {mark.kind for mark, runs in face.marks if runs}
    said = ["Full line: cut."]
    if "trim" in lines:
        said.append("Dashed along it: trim line, cut after forming.")
    if "stays" in lines or "bend" in kinds:
        pair = "; two side by side: a lip's bend lies between" if "bend" in kinds else ""
        said.append(f"Short chain line: lap, lip or ledge, its metal STAYS ON{pair}.")
    if face.folds:
        said.append("Long chain line between fine dashes: fold, and where its bend begins and ends.")
    if blank.rolls:
        said.append("Chain line with two dots: a roll begins or ends.")
    if "style" in kinds:
        said.append("Short fine dashes: widest line of the tank, scribed, not cut.")
    if any(edge.letter for edge in blank.edges):
        said.append("Letters in a ring: seam, the same on the piece it meets.")
    if face.ticks:
        said.append(
            "Stroke across an edge, \u00bc \u00bd \u00be: match tick, meets the same one of the other piece, counted "
            "from the seam's front end, or its top, or its left; without words it is a quarter."
        )
    if "station" in kinds:
        said.append("S2 x 100: station line 2, 100 mm along the patterns.")
    if "fitting" in kinds:
        shaped = ", drawn as it lies on the flat: it comes to its size when shaped" * (blank.kind == "formed")
        said.append(f"Cross or ring with a name: place of a fitting, scribed, not cut now{shaped}.")
    if any(zone.kind != "leave" for zone in face.zones):
        where = "is in the table of its drawing" if full_size else "is in the table"
        said.append(
            "Plus signs: stretch there; minus signs: shrink; larger where it is harder; dotted lines part the zones. "
            f"Mean: all over a zone; worst: at its worst place. A number alone: that zone {where}."
        )
        said.append("A ring with a dot: the worst of all.")
    if full_size:
        said.append(f"Grid: {GRID_MM:.0f} mm.")
    return " ".join(said)
