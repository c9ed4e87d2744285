"""The test strip: a card that says what to cut, bend and measure, and the K-factor that the reading gives.

Words used here
    strip     a piece of the job's own sheet, bent once on the shop's own tooling
    flat      its length before bending
    leg       from the strip's end to the outside of the other leg, measured on the outside
    reading   flat and both legs of one strip

A reading becomes a [[bend.strip]] of the shop file, which comes before every table. Nothing is written
unless asked for, and then whole or not at all.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from .errors import TankwrightError
from .units import MM_PER_INCH, length_mm, show_length, show_thickness, thickness_mm

if TYPE_CHECKING:
    from panels.metal import Metal

    from .load import Job

__all__ = [
    "SIZE_MM",
    "NotSaved",
    "Setup",
    "StripUnclear",
    "Strips",
    "card",
    "read_strips",
    "result",
    "save_strip",
    "setup",
    "shop_file_of",
    "toml_lines",
    "write_new",
]

#: Length and width of the strip, mm, in metric and inch shops: each leg holds a caliper well, narrower curls at its
#: edges. Common practice, no source.
SIZE_MM = {"mm": (150.0, 30.0), "in": (152.4, 31.75)}
#: Readings of like strips further apart than this say that one was measured badly.
SPREAD_K = 0.05


class StripUnclear(TankwrightError, ValueError):
    """What the strip is of, or what was read off it, does not make sense."""


class NotSaved(TankwrightError, OSError):
    """The strip could not be put into the shop file, which is as it was before."""


@dataclass(frozen=True)
class Setup:
    """What a strip is bent from and on: lengths in mm, ``unit`` is what the card prints."""

    metal: Metal
    thickness: float
    inside_radius: float
    tooling: str
    unit: str
    job: str = ""


@dataclass(frozen=True)
class Strips:
    """What came of one strip or several: K of each, and the value to go by."""

    setup: Setup
    each: tuple[float, ...]
    k_factor: float

    @property
    def spread(self) -> float:
        """Largest less smallest K."""
        return max(self.each) - min(self.each)


def setup(
    job: Job | None,
    *,
    metal: str | None = None,
    thickness: str | None = None,
    radius: str | None = None,
    tooling: str | None = None,
    unit: str | None = None,
) -> Setup:
    """What the strip is of, from a job, from what is said besides, or both; what is said comes first.

    Raises
    ------
    StripUnclear
        Where metal, thickness or radius is neither given nor in a job, or cannot be read.
    """
    from panels.metal import lookup_metal

    unit = unit or (job.unit if job else "mm")
    if job is None and not (metal and thickness and radius):
        given = [("--metal", metal), ("--thickness", thickness), ("--radius", radius)]
        missing = ", ".join(name for name, value in given if not value)
        raise StripUnclear(
            f"It is not said what to bend: {missing} missing.\n"
            "hint: name a job folder, or write for example  --metal 3003-H14 --thickness 1.6 --radius 3"
        )
    try:
        found = lookup_metal(metal) if metal else job.metal  # type: ignore[union-attr]
        sheet = thickness_mm(thickness, unit, found.gauge_system) if thickness else job.thickness  # type: ignore[union-attr]
        inside = length_mm(radius, unit) if radius else job.fold_radius  # type: ignore[union-attr]
    except (ValueError, LookupError) as fault:
        raise StripUnclear(str(fault)) from fault
    if inside < 0:
        raise StripUnclear(f"An inside radius of {inside:g} mm is none.\nhint: measure it with a radius gauge")
    tool = tooling if tooling is not None else (job.shop.bend.tooling if job else "")
    return Setup(found, sheet, inside, tool, unit, job.name if job else "")


def _gain(s: Setup, k_factor: float) -> float:
    """How much longer the two legs are together than the flat, mm: the bend deduction."""
    from panels.bend import bend_deduction

    return bend_deduction(s.thickness, s.inside_radius, 90, k_factor)


def card(s: Setup, command: str = "tankwright strip") -> str:
    """The card as text: what to cut, bend and measure, and a table that gives K without any sums."""
    from panels.choose_k import choose_k

    flat, wide = SIZE_MM[s.unit]

    def show(mm: float) -> str:
        return show_length(mm, s.unit)

    def fine(mm: float) -> str:
        return f"{mm:.2f} mm" if s.unit == "mm" else f"{mm / MM_PER_INCH:.3f} in ({mm:.2f} mm)"

    now = choose_k(s.metal, s.thickness, s.inside_radius, tooling=s.tooling)
    per_tenth = 0.1 / (1.5707963 * s.thickness)
    rows = [f"        {fine(flat + _gain(s, k)):<26} K {k:.2f}" for k in (0.2, 0.25, 0.3, 0.35, 0.4, 0.45)]
    lines = [
        "TEST STRIP",
        "",
        f"  metal          {s.metal.name}",
        f"  thickness      {show_thickness(s.thickness, s.unit)}",
        f"  inside radius  {show(s.inside_radius)}",
        f"  bent on        {s.tooling or '________________'}",
        *([f"  for            {s.job}"] if s.job else []),
        "",
        f"CUT     Three strips, {show(flat)} long and {show(wide)} wide, from the sheet the tank is cut",
        "        from. Their length runs with the grain, so that it crosses the fold as on the tunnel. File",
        "        the burr off; wear gloves.",
        "        Number them 1, 2, 3. Measure each to 0.05 mm with a calliper and write it down: FLAT.",
        "BEND    Each once, square across its middle, 90 degrees on a try square, on the tooling and with the",
        "        setting that the tunnel will be folded with. Bend a little over and let it spring back.",
        "MEASURE Inside radius with a radius gauge: if it is not the one above, say so with --radius.",
        "        LEG A and LEG B, each from its end to the outside of the other leg, by calliper or against a",
        "        square. Thickness with a micrometer, beside the fold.",
        "",
        f"READ    LEG A + LEG B of a strip of exactly {fine(flat)}:",
        *rows,
        f"        0.1 mm more or less in A + B moves K by {per_tenth:.3f}.",
        "",
        "        strip    FLAT           LEG A          LEG B          inside radius",
        *(f"          {n}      ____________   ____________   ____________   ____________" for n in (1, 2, 3)),
        "",
        f"THEN    {command} --read FLAT LEG_A LEG_B, once for each strip.",
        f"        Without a strip this fold is worked out with K {now.value:.3f}, from {now.source}.",
        "",
    ]
    return "\n".join(lines)


def read_strips(s: Setup, readings: Sequence[tuple[str, str, str]], angle: float = 90.0) -> Strips:
    """K from the flat length and both legs of one strip or several, bent by ``angle`` degrees.

    Raises
    ------
    StripUnclear
        Where a length cannot be read, or the lengths cannot belong to one strip.
    """
    from panels.bend import k_from_test_strip
    from panels.errors import BendError

    found = []
    for number, reading in enumerate(readings, 1):
        which = f"Strip {number}: " if len(readings) > 1 else ""
        try:
            flat, leg_a, leg_b = (length_mm(value, s.unit) for value in reading)
            found.append(k_from_test_strip(s.thickness, s.inside_radius, angle, leg_a, leg_b, flat))
        except (ValueError, BendError) as fault:
            raise StripUnclear(f"{which}{fault}") from fault
    return Strips(s, tuple(found), sum(found) / len(found))


def result(strips: Strips) -> str:
    """What the strips have shown, in words."""
    from panels.choose_k import choose_k

    s = strips.setup
    lines = [f"  strip {number}   K {k:.3f}" for number, k in enumerate(strips.each, 1)] if len(strips.each) > 1 else []
    lines.append(
        f"K-factor {strips.k_factor:.3f} for {s.metal.name} {s.thickness:.2f} mm at {s.inside_radius:.1f} mm radius."
    )
    if strips.spread > SPREAD_K:
        lines.append(
            f"look: the strips are {strips.spread:.3f} apart, more than {SPREAD_K:g}; measure the odd one again, "
            "its thickness and inside radius too."
        )
    if len(strips.each) == 1:
        lines.append("One strip alone cannot show a slip of measuring; three are better.")
    table = choose_k(s.metal, s.thickness, s.inside_radius)
    lines.append(f"Without it: K {table.value:.3f}, from {table.source}.")
    off = abs(_gain(s, strips.k_factor) - _gain(s, table.value))
    lines.append(f"The difference is {off:.2f} mm of flat length at each 90 degree fold.")
    return "\n".join(lines)


def shop_file_of(job: Path | None) -> Path:
    """The shop file that serves a job, or this folder; one that is to be made beside the job if there is none."""
    from .shopfile import find_shop

    folder = Path() if job is None else job if job.is_dir() else job.parent
    found = find_shop(folder)
    if found is not None:
        return found[0]
    if job is None:
        raise NotSaved(
            "There is no shop file here.\nhint: name one with --shop, or name the job folder it shall stand in"
        )
    return folder / "shop.toml"


def write_new(path: Path, text: str) -> None:
    """The card in a file of its own, which must not exist yet."""
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError as fault:
        raise NotSaved(
            f"{path.name} is already there, and nothing is ever overwritten.\nhint: name another file"
        ) from fault
    except OSError as fault:
        raise NotSaved(f"{path.name} could not be written: {fault.strerror}.\nhint: name another folder") from fault


def toml_lines(strips: Strips, note: str = "") -> str:
    """The [[bend.strip]] of a shop file; lengths name their unit, so that it stands in any shop file."""
    s = strips.setup

    def text(value: str) -> str:
        inside = value.replace("\\", "\\\\").replace('"', '\\"')
        return '"' + "".join(c if c.isprintable() else " " for c in inside) + '"'

    rows = [
        ("metal", text(s.metal.name)),
        ("thickness", text(f"{s.thickness:.4g} mm")),
        ("inside_radius", text(f"{s.inside_radius:.4g} mm")),
        ("k_factor", f"{strips.k_factor:.3f}"),
        *([("tooling", text(s.tooling))] if s.tooling else []),
        *([("note", text(note))] if note else []),
    ]
    return "[[bend.strip]]\n" + "".join(f"{name} = {value}\n" for name, value in rows)


def save_strip(path: Path, lines: str) -> None:
    """Put the lines at the end of a shop file, or into a new one; whole or not at all.

    The file as it would be is read first, by the same rules as every shop file. What stood in it is kept
    letter for letter.

    Raises
    ------
    NotSaved
        Where it cannot be read as it is, would not be readable after, or cannot be written.
    """
    from .files import replace_text

    before = _text_of(path)
    line = "\r\n" if "\r\n" in before else "\n"
    gap = "" if not before or before.endswith(2 * line) else line if before.endswith("\n") else 2 * line
    lines = lines.replace("\n", line)
    after = before + gap + lines
    _must_read(path, after)
    try:
        replace_text(path, after)
    except OSError as fault:
        raise NotSaved(
            f"{path.name} could not be written: {fault.strerror or fault}. It is as it was before.\n"
            "hint: put the lines in by hand, or name another file with --shop"
        ) from fault


def _text_of(path: Path) -> str:
    """The shop file's own text, "" where there is none yet."""
    from .fields import Trouble
    from .files import read_text

    if not path.exists():
        return ""
    try:
        read_text(path, path.name)
        return path.read_bytes().decode("utf-8")
    except Trouble as trouble:
        fault = trouble.faults[0]
        raise NotSaved(f"{fault.says}: nothing was written to it.\nhint: {fault.remedy}") from trouble
    except OSError as fault:
        raise NotSaved(f"{path.name} cannot be read: {fault.strerror}. Nothing was written to it.") from fault


def _must_read(path: Path, text: str) -> None:
    from .fields import Setting, Trouble
    from .reading import finding, parse, validate
    from .shopfile import ShopFile

    plain = text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
    try:
        document = parse(path.name, plain)
        house = document.data.get("shop")
        unit = house.get("unit", "mm") if isinstance(house, dict) else "mm"
        _, findings = validate(ShopFile, document, Setting(unit if unit in ("mm", "in") else "mm", path.parent))
    except Trouble as trouble:
        findings = [finding(fault, None) for fault in trouble.faults]
    if findings:
        raise NotSaved(
            f"{path.name} would not be readable with the strip in it; it was left as it is.\n\n{findings[0]}\n\n"
            "hint: mend that first, or put the lines in by hand; beside  strip = [...]  no [[bend.strip]] may stand"
        )
