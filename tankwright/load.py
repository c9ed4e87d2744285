"""From a job folder to a `Job`: read, checked, in millimetres, nothing made yet."""

from __future__ import annotations

import datetime
import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from panels.choose_k import KFactor
from panels.curves import Curve, curve_through
from panels.fittings import Fitting
from panels.metal import Metal, gauge_thickness, lookup_metal
from panels.patterns import (
    BumpOut,
    Clearance,
    Division,
    KneeRelief,
    NeckRelief,
    Outlet,
    Patterns,
    PlanPattern,
    SeamLine,
    SectionPattern,
    SectionShape,
    SidePattern,
    TunnelPattern,
)

from .across import across_faults
from .errors import Finding, JobError
from .fields import UNIT_QUESTION, Setting, Trouble, nearest, shown
from .files import read_text
from .fitted import fittings_of
from .jobfile import JobFile, SectionSection, ShapeSection, TunnelSection, setting_for
from .merge import merge, merge_faults
from .outline import run_curve, short_lines, side_runs
from .reading import Document, finding, parse, validate
from .shop import Allowances, SeamRule, Shop
from .shopfile import ShopFile, find_shop
from .sources import PointSet
from .units import MM_PER_INCH, is_gauge

__all__ = ["Filler", "Job", "load_job", "shop_of"]

#: What a lip of an end cap lies against: all but the tunnel, for which the cap is notched.
LIPPED = ("crown", "shoulder", "side", "skin", "floor")

#: So many sizes out of reach in one job are taken for one wrong unit.
MANY_FAR = 3


@dataclass(frozen=True)
class Filler:
    """The filler neck: x from the front, out from the centre plane, diameter of its hole, mm."""

    x: float
    out: float
    diameter: float
    cut: bool = False
    flange: float = 0.0


@dataclass(frozen=True)
class Job:
    """One tank to make. Everything is in mm; ``unit`` is what the papers print."""

    folder: Path
    name: str
    reference: str
    revision: str
    pattern_date: datetime.date | None
    unit: str  # "mm" or "in"
    surface: str  # "outside" or "inside": what face of the finished tank the patterns show
    metal: Metal
    thickness: float
    gauge: str  # as asked for, "18 ga"; "" where the thickness is a length
    fold_radius: float  # inside
    k: KFactor
    patterns: Patterns
    division: Division
    marks: Mapping[str, tuple[float, float]]  # (x, z) on the side pattern
    outlet_names: tuple[str, ...]  # one for each of ``patterns.outlets``
    filler: Filler | None
    fittings: tuple[Fitting, ...]  # filler, outlets and marks, as they go on the blanks
    allowances: Allowances
    shop: Shop
    notes: tuple[str, ...]  # what was read in a way worth saying
    files: tuple[str, ...]  # all that was read, job file first
    source_text_digest: str  # SHA-256 of them all


def load_job(path: str | Path) -> Job:
    """The job in a folder, or in the job file itself.

    Parameters
    ----------
    path : str or Path
        A folder that holds ``job.toml``, or a job file.

    Raises
    ------
    JobError
        With every mistake found as ``.findings``. Nothing is ever written.
    """
    job_path, name = _job_file(Path(path))
    document = _document(job_path, name)
    setting = setting_for(document.data, Setting(folder=job_path.parent))
    model, findings = validate(JobFile, document, setting)
    shop_model, shop_file, shop_text, shop_findings = _shop(job_path.parent)
    findings += shop_findings
    if model is not None:
        faults = across_faults(model, setting)
        if not shop_findings:
            faults += merge_faults(shop_model, model)
        findings += [finding(fault, document) for fault in faults]
    if findings or model is None:
        raise JobError(_one_wrong_unit(findings))
    shop = _with_kept(merge(shop_model, model, shop_file), job_path.parent, model)
    files = _files(model)
    texts = [document.text, shop_text, *(read_text(job_path.parent / file, file) for file in files)]
    sources = (name, *([shop_file] if shop_file else []), *files)
    return _job(model, document, shop, job_path.parent, sources, texts)


def shop_of(folder: Path) -> tuple[str, str]:
    """Where the shop of a folder keeps its files, from its shop file's own ("" where it does not say), and its unit.

    Where there is no shop file the unit is that of the job in the folder, else mm.

    Raises
    ------
    JobError
        If the shop file cannot be read as it stands.
    """
    model, _, _, findings = _shop(folder)
    if findings:
        raise JobError(findings)
    if model is not None:
        return model.shop.keep_in, model.shop.unit
    job = folder / "job.toml"
    head = _document(job, job.name).data.get("job") if job.is_file() else None
    unit = head.get("unit") if isinstance(head, dict) else "mm"
    return "", "in" if unit == "in" else "mm"


def _with_kept(shop: Shop, folder: Path, model: JobFile) -> Shop:
    """The shop with what it keeps from job to job: its offcut rack, and how its estimates have compared."""
    from .keeping import shop_folder
    from .quotehours import past_of
    from .rack import stock_of
    from .rackjob import job_key, rack_for

    place = shop_folder(folder, shop.keep_in)
    pieces, committed = rack_for(place, job_key(model.job))
    return replace(shop, rack=stock_of(pieces), committed=committed, past=past_of(place))


def _one_wrong_unit(findings: list[Finding]) -> list[Finding]:
    """Sizes out of reach all over a file are one slip, the unit: say it once."""
    far = [f for f in findings if f.remedy.startswith(UNIT_QUESTION)]
    if len(far) < MANY_FAR:
        return findings
    first = far[0]
    where = f"{len(far)} sizes are out of all reach; the first is {first.where[:1].lower()}{first.where[1:]}"
    one = replace(first, where=where)
    return [one, *(f for f in findings if f not in far)]


def _job_file(path: Path) -> tuple[Path, str]:
    """The job file that a path means."""
    try:
        if path.is_dir():
            path = path / "job.toml"
            if not path.is_file():
                raise JobError([_no_job(path.parent)])
        elif path.suffix != ".toml" and path.name and not path.exists():
            raise JobError([_no_folder(path)])
        return path, path.name or "job.toml"
    except (OSError, ValueError) as fault:  # a name too long, or with a character no name may have
        if isinstance(fault, JobError):
            raise
        where = "This is not the path of a job."
        raise JobError([Finding("stop", where, found=str(path)[:80], remedy="name a job folder")]) from fault


def _no_job(folder: Path) -> Finding:
    there = sorted(item.name for item in folder.iterdir() if not item.name.startswith("."))[:6]
    where = f"There is no job.toml in {folder.name or 'this folder'}."
    hint = f"tankwright start {folder.name or 'FOLDER'} writes one to fill in"
    return Finding("stop", where, found=", ".join(there) or "an empty folder", allowed="job.toml", remedy=hint)


def _no_folder(path: Path) -> Finding:
    """A job folder that is not there: the nearest that is, or how to begin one."""
    try:
        there = sorted(item.parent.name for item in path.parent.glob("*/job.toml"))
    except OSError:
        there = []
    near, name = nearest(path.name, there), shown(path.name)[1:-1]
    hint = f"did you mean {near}?" if near else f"tankwright start {name} writes a job to fill in"
    found = "job folders beside it: " + ", ".join(there[:6]) if there else "no job folder beside it"
    return Finding("stop", f"There is no folder {name}.", found=found, allowed="a job folder", remedy=hint)


def _document(path: Path, name: str) -> Document:
    try:
        return parse(name, read_text(path, name))
    except Trouble as trouble:
        raise JobError(finding(fault, None) for fault in trouble.faults) from trouble


def _shop(folder: Path) -> tuple[ShopFile | None, str, str, list[Finding]]:
    """The shop file's model, name, text and mistakes; no model where there is no file."""
    place = find_shop(folder)
    if place is None:
        return None, "", "", []
    path, name = place
    try:
        document = parse(name, read_text(path, name))
    except Trouble as trouble:
        return None, name, "", [finding(fault, None) for fault in trouble.faults]
    house = document.data.get("shop")
    unit = house.get("unit", "mm") if isinstance(house, dict) else "mm"
    sure = unit in ("mm", "in")
    model, findings = validate(ShopFile, document, Setting(unit if sure else "mm", folder, sure))
    return model, name, document.text, findings


def _point_sets(model: JobFile) -> dict[str, PointSet]:
    """Every pattern's points, by its name in messages."""
    side = model.side
    sets = {f"side pattern, {run}": getattr(side, run) for run in ("top", "bottom", "front", "rear")}
    sets |= {f"side pattern, line {name}": points for name, points in side.lines.items()}
    sets |= {_plan_name(plan, k): plan.half for k, plan in enumerate(model.plan)}
    sets |= {_section_name(section, k): section.half for k, section in enumerate(model.section)}
    if model.knee is not None:
        sets["knee relief"] = model.knee.outline
    sets |= {f"seam {seam.name}": seam.points for seam in model.division.seam}
    return {name: points for name, points in sets.items() if points is not None}


def _plan_name(plan: Any, index: int) -> str:
    return plan.name or f"plan at the {plan.line} line"


def _section_name(section: Any, index: int) -> str:
    return section.name or f"section {index + 1}"


def _files(model: JobFile) -> list[str]:
    """Pattern files, each once, in order of use."""
    return list(dict.fromkeys(points.file for points in _point_sets(model).values() if points.file))


def _job(model: JobFile, document: Document, shop: Shop, folder: Path, files: tuple[str, ...], texts: list[str]) -> Job:
    """The values of a checked model."""
    m, head = model.metal, model.job
    metal = lookup_metal(m.alloy)
    notes = [f"{name}: {note}" for name, points in _point_sets(model).items() for note in points.notes]
    notes += short_lines(model.side, shop.agree_mm, head.unit, _closed_ends(model))
    gauge = _gauge(document)
    if gauge:
        notes.append(_gauge_note(gauge, metal, m.thickness))
    radius = m.fold_radius
    if radius is None:
        radius = m.thickness
        notes.append("no fold radius is given: the sheet's thickness is taken, common practice, no source")
    return Job(
        folder=folder,
        name=head.name,
        reference=head.reference,
        revision=head.revision,
        pattern_date=head.pattern_date,
        unit=head.unit,
        surface=head.surface,
        metal=metal,
        thickness=m.thickness,
        gauge=gauge,
        fold_radius=radius,
        k=_k_factor(m, metal, radius, shop),
        patterns=_patterns(model),
        division=_division(model),
        marks=dict(model.side.marks),
        outlet_names=tuple(outlet.name for outlet in model.outlet),
        filler=Filler(**model.filler.model_dump()) if model.filler else None,
        fittings=tuple(fittings_of(model)),
        allowances=_allowances(model, shop.allowances),
        shop=shop,
        notes=tuple(notes),
        files=files,
        source_text_digest=hashlib.sha256("\x00".join(texts).encode()).hexdigest(),
    )


def _gauge(document: Document) -> str:
    """The gauge that the job asks for, as ``18 ga``; "" where it gives a length."""
    written = document.data["metal"]["thickness"]
    return f"{''.join(c for c in written if c.isdigit())} ga" if is_gauge(written) else ""


def _closed_ends(model: JobFile) -> tuple[float | None, float | None]:
    """The x between which the frame line is needed, where the tunnel stops inside the tank."""
    tunnel = model.tunnel
    return (tunnel.closed_front, tunnel.closed_rear) if tunnel is not None else (None, None)


def _gauge_note(gauge: str, metal: Metal, mm: float) -> str:
    """What a gauge is in the job's metal, and in the metal it is most often confused with."""
    own = metal.gauge_system
    other = "steel" if own == "aluminium" else "aluminium"
    text = f"{gauge} {own} is {mm:.2f} mm ({mm / MM_PER_INCH:.3f} in)"
    try:
        return f"{text}; in {other} {gauge} is {gauge_thickness(int(gauge.split()[0]), other):.2f} mm"
    except LookupError:
        return f"{text}; in {other} {gauge} is not listed"


def _k_factor(m: Any, metal: Metal, radius: float, shop: Shop) -> KFactor:
    """The job's own K-factor, else the one the shop's strips, tables and standards give."""
    if m.k_factor is not None:
        return KFactor(m.k_factor, m.k_source or "the job file")
    return shop.bend.choose(metal, m.thickness, radius)


def _patterns(model: JobFile) -> Patterns:
    side, knee, neck = model.side, model.knee, model.neck
    lines = {name: run_curve(name, points) for name, points in side.lines.items()}
    return Patterns(
        side=SidePattern(**side_runs(side), lines=lines),
        plans=tuple(
            PlanPattern(_plan_name(plan, k), plan.line, _half(_plan_name(plan, k), plan.half, 1))
            for k, plan in enumerate(model.plan)
        ),
        tunnel=_tunnel(model.tunnel) if model.tunnel else None,
        sections=tuple(_section(section, k, model.shape) for k, section in enumerate(model.section)),
        shape=_shape(model.shape),
        knee=KneeRelief(knee.outline.points, knee.depth, knee.blend) if knee else None,
        clearances=tuple(
            Clearance(c.name, c.start, c.end or c.start, c.radius, c.gap, c.both_sides) for c in model.clear
        ),
        outlets=tuple(Outlet(o.x, o.out, o.standpipe, o.both_sides) for o in model.outlet),
        neck=NeckRelief(neck.at, neck.lean, neck.radius) if neck else None,
        bump_outs=tuple(
            BumpOut(b.name, b.on, b.outline.points, b.depth, b.corner_radius, b.hand, b.clears) for b in model.bump_out
        ),
    )


def _allowances(model: JobFile, shop: Allowances) -> Allowances:
    """The shop's allowances with the flanges and lips that the job asks for: its own seam rules outrank those, and
    those outrank the shop's."""
    ends = model.ends
    wanted = [
        ("tunnel", "floor", model.tunnel.flange if model.tunnel is not None else 0.0),
        *(("front end", word, ends.lip_front) for word in LIPPED),
        *(("rear end", word, ends.lip_rear) for word in LIPPED),
    ]
    rules = tuple(
        SeamRule((one, other), "fold", width, one, but="tunnel end" if one == "tunnel" else "")
        for one, other, width in wanted
        if width > 0
    )
    own = "seam" in model.allowances.model_fields_set  # then the shop's are not there: see ``merge``
    return replace(shop, seams=(*shop.seams, *rules) if own else (*rules, *shop.seams))


def _tunnel(tunnel: TunnelSection) -> TunnelPattern:
    sizes = tunnel.model_dump(exclude={"closed_front", "closed_rear", "flange"})
    return TunnelPattern(**sizes, closed_front_x=tunnel.closed_front, closed_rear_x=tunnel.closed_rear)


def _half(name: str, points: PointSet, axis: int) -> Curve:
    """A half outline that runs smoothly across the centre plane where it has no corner there."""
    return curve_through(name, points.points, corners=points.corners, mirror_axis=axis)


def _section(section: SectionSection, index: int, default: ShapeSection) -> SectionPattern:
    name = _section_name(section, index)
    foot, head = (section.at if given is None else given for given in (section.foot_x, section.head_x))
    half = _half(name, section.half, 0) if section.half is not None else None
    shape = None
    if section.shape is not None:  # numbers left away are those of the job's own [shape]
        given = {key: getattr(section.shape, key) for key in section.shape.model_fields_set}
        shape = _shape(default.model_copy(update=given))
    return SectionPattern(name, float(foot or 0.0), float(head or 0.0), half, shape)


def _shape(s: ShapeSection) -> SectionShape:
    return SectionShape(s.crown_fullness, s.side_fullness, s.crown_lean, s.side_lean, s.lower_lean, s.lower_share)


def _division(model: JobFile) -> Division:
    d = model.division
    seams = tuple(SeamLine(seam.name, seam.view, run_curve(seam.name, seam.points)) for seam in d.seam)
    halves = {"neither": (), "both": ("front", "rear")}.get(model.ends.halves, (model.ends.halves,))
    return Division(d.scheme, d.shoulder, seams, halves)
