"""What a blank of the folded tunnel says in words: how it is folded or rolled, its pie cuts, where it does not fit."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from .blank import Roll
from .findings import Show
from .round_corner import RoundCorner
from .round_tunnel import roll_lines
from .tunnel_kinks import KinkedTunnel, Sheet

__all__ = ["fold_notes", "roll_notes", "sharp_end_note", "sharp_ends"]


def fold_notes(tunnel: KinkedTunnel, sheet: Sheet, name: str, show: Show) -> tuple[str, ...]:
    """How the sheet is folded, what each pie cut measures, and where it is parted."""
    notes = ["legs fold towards the frame side, the face drawn up; grain runs across these folds"]
    for cut in sheet.cuts[::2]:
        kink = cut.kink
        notes.append(
            f"pie cut in both legs at x {show(kink.at[0])}: {kink.dart:.1f} degrees, {show(cut.width)} wide at the "
            f"lower edge, {show(cut.depth)} deep; it closes when the top is folded {kink.turn:.1f} degrees across "
            "there, towards the frame side. Fold the top across first, then the legs; the open tip is filled in welding"
        )
    for k, kink in enumerate(tunnel.kinks):
        if not kink.crest and (k in sheet.parts or k + 1 in sheet.parts):
            notes.append(
                f"{name} ends at x {show(kink.at[0])}, where the frame line dips by {-kink.turn:.1f} degrees: a sheet "
                "folded there would have to be stretched, so the tunnel is parted and welded"
            )
    return tuple(notes)


def roll_notes(tunnel: KinkedTunnel, sheet: Sheet, rolls: tuple[Roll, ...], show: Show) -> tuple[str, ...]:
    """How the top is rolled, and how its legs are folded where it is an arch."""
    x0, x1 = tunnel.line[:, 0]
    right, left = roll_lines(tunnel)
    wide = np.linalg.norm(right - left, axis=1)
    front, rear = rolls[1].across
    if abs(front - rear) < 0.05:
        how = f"inside radius {show(front)}, {show(wide.mean())} of metal"
    else:
        how = (
            f"a cone: inside radius {show(front)}, {show(wide[0])} of metal, at x {show(x0)}; inside radius "
            f"{show(rear)}, {show(wide[1])} of metal, at x {show(x1)}"
        )
    notes = (f"roll the top between the two lines towards the frame side, the face drawn up: {how}",)
    if not sheet.folds:
        return (*notes, "the legs run on from the roll without a fold, flat and upright")
    return (
        *notes,
        f"then fold both legs {sheet.folds[0].angle_deg:.1f} degrees along the lines, towards the frame side too",
    )


def sharp_ends(tunnel: KinkedTunnel, rounds: Sequence[RoundCorner]) -> dict[int, float]:
    """Sheets at whose end the fold is round but what meets it is not, and x there: a seam of the skin lies within the
    bend. None where there is no fold."""
    if not tunnel.flats[0].folds:
        return {}
    known = {one.at_rear for one in rounds}
    ends = {False: (0, tunnel.line[0]), True: (len(tunnel.flats) - 1, tunnel.line[-1])}
    return {tunnel.sheet_of(part): float(at[0]) for rear, (part, at) in ends.items() if rear not in known}


def sharp_end_note(sharp: dict[int, float], sheet: int, radius: float, show: Show) -> tuple[str, ...]:
    """What the maker does where a neighbour could not be notched to the round."""
    if sheet not in sharp:
        return ()
    return (
        f"at x {show(sharp[sheet])} a seam of what meets the tunnel lies within its fold of {show(radius)}: those "
        "pieces are notched sharp there, trim and fill them to the folded corner; a smaller fold radius makes them fit",
    )
