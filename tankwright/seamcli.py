"""The command line's words about where the seams of the skin might go."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from panels.seam_choice import PanelStrain, SeamChoice, SeamWish

    from .load import Job

__all__ = ["division_lines", "seams"]

_LIMIT = click.FloatRange(0, 60, min_open=True)


@click.command()
@click.argument("job", type=click.Path(path_type=Path))
@click.option("--shrink", type=_LIMIT, metavar="PERCENT", help="No skin may ask for more shrink than this.")
@click.option("--stretch", type=_LIMIT, metavar="PERCENT", help="No skin may ask for more stretch than this.")
@click.option(
    "--skins", type=click.IntRange(1, 20), metavar="COUNT", help="No more skins than this, both sides counted."
)
@click.option("--list", "most", type=click.IntRange(1, 4), default=4, show_default=True, help="Ways to list at most.")
def seams(job: Path, shrink: float | None, stretch: float | None, skins: int | None, most: int) -> None:
    """How hard a JOB's skins are as it divides them, and other ways to divide them.

    Say what you wish: the least to weld that keeps it stands first. Each way was built and laid flat; copy the
    [division] of the one you choose into job.toml. Nothing is written.
    """
    from panels.errors import PanelsError
    from panels.seam_choice import SeamWish, division_strain, propose_seams

    from .job import SKIN_K
    from .load import load_job

    loaded = load_job(job)
    _refuse_stops(loaded)
    wish = SeamWish(None if shrink is None else shrink / 100, None if stretch is None else stretch / 100, skins)
    how: dict[str, Any] = {
        "thickness": loaded.thickness,
        "k_factor": SKIN_K,
        "inside": loaded.surface == "inside",
        "aim_of": loaded.shop.forming.of,
    }
    click.echo(f"{loaded.name}: {_wished(wish)}\n\nAs the job divides it now")
    try:
        _tell(division_strain(loaded.patterns, loaded.division, wish=wish, **how), loaded, wish)
    except PanelsError as fault:
        click.echo(f"  {str(fault).splitlines()[0]}")
    for number, choice in enumerate(propose_seams(loaded.patterns, wish, most=most, **how), 1):
        click.echo(f"\n{number}")
        _tell(choice, loaded, wish)
        click.echo("".join(f"    {line}\n" for line in division_lines(choice, loaded.unit)), nl=False)
    click.echo("\nThe choice is yours: a seam that saves strain may still run where a knee, a strap or a weld shows.")


def _refuse_stops(job: Job) -> None:
    """Patterns that do not agree are refused as everywhere."""
    from panels.agree import agree

    from .errors import Finding, JobError
    from .units import show_length

    show = partial(show_length, unit=job.unit)
    found = agree(job.patterns, thickness=job.thickness, tolerance=job.shop.agree_mm, show=show)
    stops = [f for f in found if f.strength == "stop"]
    if stops:
        raise JobError([Finding("stop", f.says, None, f.found, f.allowed, f.remedy) for f in stops])


def _wished(wish: SeamWish) -> str:
    limits = [
        f"at most {limit * 100:g} % {word}"
        for limit, word in ((wish.shrink, "shrink"), (wish.stretch, "stretch"))
        if limit is not None
    ]
    limits += [] if wish.skins is None else [f"at most {wish.skins} skin{'s' if wish.skins > 1 else ''}"]
    return "wished for: " + ", ".join(limits) if limits else "nothing wished for, the least strain first"


def _tell(choice: SeamChoice, job: Job, wish: SeamWish) -> None:
    from .papers.words import area, fixed
    from .units import show_length

    length = partial(show_length, unit=job.unit, places=0)
    crease = (
        f", and {length(choice.weld_crease)} along the style line, which does not count" if choice.weld_crease else ""
    )
    shoulder = "" if choice.division.scheme in ("halves", "widest line", "drawn") else f", {choice.division.shoulder:g}"
    more = "".join(f"; {seam.name}" for seam in choice.division.seams)
    click.echo(f"  {choice.division.scheme}{shoulder}{more}")
    if wish.shrink is not None or wish.stretch is not None or wish.skins is not None:
        click.echo(f"  {'keeps the wish' if choice.meets else 'does not keep the wish: ' + _missed(choice, wish)}")
    click.echo(f"  {choice.skins} skins, {length(choice.weld)} to weld{crease}")
    share = fixed(100 * choice.area_flat / choice.area_boxes, 0)
    click.echo(f"  blanks {area(choice.area_flat)}, {share} % of the rectangles about them")
    for panel in choice.panels:
        click.echo(f"    {_panel(panel, job)}")


def _missed(choice: SeamChoice, wish: SeamWish) -> str:
    told = [
        f"{word} {found * 100:.1f} %"
        for found, limit, word in (
            (choice.shrink, wish.shrink, "shrink"),
            (choice.stretch, wish.stretch, "stretch"),
        )
        if limit is not None and found > limit
    ]
    told += [f"{choice.skins} skins"] if wish.skins is not None and choice.skins > wish.skins else []
    return ", ".join(told)


def _panel(panel: PanelStrain, job: Job) -> str:
    from .papers.words import difficulty, difficulty_limits

    work = difficulty(max(panel.stretch, panel.shrink), difficulty_limits(job))
    name = panel.name if panel.count == 1 else f"{panel.name} and left"
    strain = f"stretch {panel.stretch * 100:4.1f} %   shrink {panel.shrink * 100:4.1f} %"
    return f"{name:<24} {strain}   {work}"


def division_lines(choice: SeamChoice, unit: str) -> list[str]:
    """The [division] of a way to divide the skin, as lines for job.toml in the job's unit."""
    scale, places = (1.0, 1) if unit == "mm" else (1 / 25.4, 3)
    lines = ["[division]", f'scheme = "{choice.division.scheme}"', f"shoulder = {choice.division.shoulder:g}"]
    for seam in choice.division.seams:
        points = ", ".join(f"[{x * scale:.{places}f}, {z * scale:.{places}f}]" for x, z in seam.path.points.tolist())
        lines += ["[[division.seam]]", f'name = "{seam.name}"', f'view = "{seam.view}"', f"points = [{points}]"]
    return lines
