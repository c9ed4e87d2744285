"""The fittings of a job as places on the tank: filler, outlets, fittings and the marks of the side pattern."""

from __future__ import annotations

from collections.abc import Iterator

from panels.fittings import Doubler, Fitting

from .fittingfile import FittingSection
from .jobfile import JobFile
from .shop import SAME_SHEET_MM

__all__ = ["fittings_of"]


def fittings_of(model: JobFile) -> Iterator[Fitting]:
    """Filler, outlets and marks as places on the tank; mounts are looked for on the tunnel first."""
    if model.filler is not None:
        f = model.filler
        yield Fitting("filler", "top", f.x, f.out, f.diameter, cut=f.cut, kind="filler", flange=f.flange)
    for o in model.outlet:
        for out in (abs(o.out), -abs(o.out)) if o.both_sides and o.out else (o.out,):
            hand = "right" if out >= 0 else "left"
            yield Fitting(o.name, "bottom", o.x, out, o.diameter, hand, o.cut, "outlet", o.flange)
    for fitting in model.fitting:
        yield from _places(fitting, model)
    taken = {fitting.mark for fitting in model.fitting}
    for name, (x, z) in model.side.marks.items():
        mount = "mount" in name.lower()
        for hand in ("right", "left") if name not in taken else ():
            kind = "mount" if mount else "mark"
            yield Fitting(name.replace("_", " "), "tunnel" if mount else "side", x, z, hand=hand, kind=kind)


def _places(f: FittingSection, model: JobFile) -> Iterator[Fitting]:
    """A fitting at each side that it is wanted at: mounts and brackets at both, all others at one."""
    x, across = model.side.marks[f.mark] if f.at is None else f.at
    flat = f.place in ("top", "floor", "tunnel top")
    own = "left" if flat and across < 0 else "right"
    hand = f.hand or ("both" if f.kind in ("mount", "bracket") else own)
    for side in ("right", "left") if hand == "both" and (across or not flat) else (own if hand == "both" else hand,):
        there = abs(across) * (1 if side == "right" else -1) if flat else across
        on = "bottom" if f.place == "floor" else f.place
        yield Fitting(f.name, on, x, there, f.diameter, side, f.cut, f.kind, f.flange, _doubler(f, model))


def _doubler(f: FittingSection, model: JobFile) -> Doubler | None:
    """The fitting's doubler; its metal is left open where it is cut from the tank's own."""
    plate, metal = f.doubler, model.metal
    if plate is None:
        return None
    along, across = plate.size or (plate.diameter or 0.0,) * 2
    corner = along / 2 if plate.size is None else min(plate.corner_radius, along / 2, across / 2)
    thickness = metal.thickness if plate.thickness is None else plate.thickness
    own = plate.alloy in ("", metal.alloy) and abs(thickness - metal.thickness) <= SAME_SHEET_MM
    if own:
        return Doubler(along, across, corner, metal.thickness, "", plate.hole)
    return Doubler(along, across, corner, thickness, plate.alloy or metal.alloy, plate.hole)
