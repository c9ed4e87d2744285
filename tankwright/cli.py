"""The command line: start a job, check it, make its papers."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from .quotecli import both, quote, took
from .rackcli import rack
from .seamcli import seams

if TYPE_CHECKING:
    from .job import Checked

__all__ = ["main"]

STRENGTH = {"stop": "red", "look": "yellow", "note": None}


class _Counter(click.Group):
    """Turns what the packages say no with into a message and exit status 2."""

    def invoke(self, ctx: click.Context) -> Any:
        from .errors import TankwrightError

        try:
            return super().invoke(ctx)
        except TankwrightError as fault:
            click.echo(str(fault), err=True)
            ctx.exit(2)
        except (click.exceptions.Exit, click.exceptions.Abort, click.ClickException, BrokenPipeError):
            raise
        except Exception as fault:
            from panels.errors import PanelsError

            if isinstance(fault, PanelsError):
                click.echo(str(fault), err=True)
                ctx.exit(2)
            _our_fault(fault)
            ctx.exit(1)


def _our_fault(fault: Exception) -> None:
    """A fault of ours: say so plainly, and where it happened for whoever mends it."""
    import traceback

    place = traceback.extract_tb(fault.__traceback__)[-1]
    where = f"{Path(place.filename).parent.name}/{Path(place.filename).name}, line {place.lineno}"
    click.echo(
        f"This is a fault of Tankwright's, not of your patterns: {type(fault).__name__}: {fault}\n"
        f"  {where}\n"
        "Please send this message with the job folder to whoever looks after the tool.",
        err=True,
    )


@click.group(cls=_Counter, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(package_name="tankwright", message="tankwright %(version)s")
def main() -> None:
    """From a customer's paper patterns to papers a sheet-metal shop can cut a tank from.

    A JOB is a folder with a job.toml in it. Begin with: tankwright start FOLDER
    """


@main.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.option(
    "--unit", type=click.Choice(["mm", "in"]), default="mm", show_default=True, help="Of its numbers: mm or inches."
)
def start(folder: Path, unit: str) -> None:
    """Write a commented job to fill in, into a new FOLDER."""
    from .start import start_folder

    for path in start_folder(folder, unit):
        click.echo(f"wrote {path}")
    click.echo(f"Next: fill in {folder / 'job.toml'}, then: tankwright check {folder}")


@main.command()
@click.argument("job", type=click.Path(path_type=Path))
@click.option("-q", "--quiet", is_flag=True, help="Only what stops the job or needs a look.")
@click.option("--json", "as_json", is_flag=True, help="Print the findings and figures as JSON.")
def check(job: Path, quiet: bool, as_json: bool) -> None:
    """Do the patterns agree, and what does the tank hold? Nothing is written."""
    from .job import check as run
    from .job import load_job

    loaded = load_job(job)
    checked = run(loaded)
    if as_json:
        import json

        click.echo(json.dumps(_as_json(loaded, checked), indent=2))
    else:
        _print_checked(loaded, checked, quiet)
    if checked.stops:
        click.get_current_context().exit(2)


def _as_json(job: Any, checked: Checked) -> dict[str, Any]:
    from dataclasses import asdict

    return {
        "job": job.name,
        "revision": job.revision,
        "findings": [asdict(f) for f in checked.findings],
        "capacity": None if checked.capacity is None else asdict(checked.capacity),
        "misses_mm": {name: round(miss, 3) for name, miss in checked.misses.items()},
    }


def _print_checked(job: Any, checked: Checked, quiet: bool) -> None:
    from functools import partial

    from .units import show_length, show_volume

    click.echo(f"{job.name}, revision {job.revision or 'none'}, patterns of {job.pattern_date or 'no date'}")
    for finding in checked.findings:
        if quiet and finding.strength == "note":
            continue
        place = "" if finding.at_mm is None else f" (x = {show_length(finding.at_mm, job.unit)})"
        click.echo(click.style(f"{finding.strength:<5}", fg=STRENGTH[finding.strength]) + f" {finding.says}{place}")
        if finding.strength != "note":
            for name, text in (("found", finding.found), ("wanted", finding.allowed), ("hint", finding.remedy)):
                if text:
                    click.echo(f"      {name:<7} {text}")
    if checked.capacity is None:
        click.echo("No body was built: mend what stops the job first.")
        return
    held, length = checked.capacity, partial(show_length, unit=job.unit)
    kept = f" and {held.below_outlet_l:.1f} L below the outlets" if job.patterns.outlets else ""
    rows = [
        ("brim full", f"{show_volume(held.brim_l, job.unit)}, give or take {held.tolerance_l:.1f} L"),
        ("usable", f"{show_volume(held.usable_l, job.unit)}, after {held.ullage_l:.1f} L left for expansion{kept}"),
        ("bare metal", f"{held.dry_mass_kg:.1f} kg; laps and lips come with the papers"),
    ]
    if job.patterns.tunnel is not None:
        costs = f"{held.litres_per_mm_width:.2f} L for each mm wider a side, {held.litres_per_mm_depth:.2f} L deeper"
        rows.insert(2, ("tunnel", costs))
    for name, text in rows:
        click.echo(f"  {name:<18} {text}")
    if not quiet and checked.misses:
        name, miss = max(checked.misses.items(), key=lambda item: item[1])
        click.echo(f"  largest miss       {length(miss)}, {name}")


@main.command()
@click.argument("job", type=click.Path(path_type=Path))
@click.option(
    "--out", type=click.Path(path_type=Path), help="Folder for the papers; the job's own papers/ if left out."
)
@click.option("-q", "--quiet", is_flag=True, help="No progress, only where the papers are.")
@click.option("--commit-offcuts", is_flag=True, help="Change the offcut rack as the layout proposes.")
def make(job: Path, out: Path | None, quiet: bool, commit_offcuts: bool) -> None:
    """Make every paper of a JOB: cut list, templates, cutting files, job sheet, quote."""
    from . import rackcli
    from .job import make as run

    made = run(job, out, progress=(lambda step: None) if quiet else _say)
    work = made.work
    for finding in work.findings:
        if finding.strength != "note":
            click.echo(f"{finding.strength:<5} {finding.says}")
    if not quiet:
        held = work.capacity
        click.echo(
            f"{work.job.name}: {held.brim_l:.1f} L brim full, {len(work.blanks)} blanks on "
            f"{_count(len(work.layout.sheets), 'sheet')}, {held.dry_mass_kg:.1f} kg"
        )
        rackcli.tell_proposal(made)
    click.echo(f"{len(made.papers)} papers in {made.folder}{'' if quiet else ':'}")
    for name in () if quiet else made.papers:
        click.echo(f"  {name}")
    if commit_offcuts:
        rackcli.commit_offcuts(made)


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


@main.command()
@click.argument("job", required=False, type=click.Path(path_type=Path))
@click.option("--metal", help="Such as 3003-H14; the job's own if left out.")
@click.option("--thickness", help="Of the sheet, a length or a gauge.")
@click.option("--radius", help="Inside radius of the fold.")
@click.option("--tooling", help="What it is folded on, such as 'bar folder'.")
@click.option("--unit", type=click.Choice(["mm", "in"]), help="Of plain numbers here.")
@click.option("--out", type=click.Path(path_type=Path), help="Write the card into a new file as well.")
@click.option(
    "--read",
    "readings",
    nargs=3,
    multiple=True,
    metavar="FLAT LEG_A LEG_B",
    help="Lengths of a bent strip; once for each strip.",
)
@click.option("--angle", type=float, default=90.0, show_default=True, help="Degrees the strips were bent by.")
@click.option("--note", default="", help="Kept with the reading, such as a date.")
@click.option("--save", is_flag=True, help="Put the reading into the shop file.")
@click.option(
    "--shop", type=click.Path(path_type=Path), help="That shop file; the one that serves the job if left out."
)
def strip(job: Path | None, readings: tuple[tuple[str, str, str], ...], angle: float, note: str, **how: Any) -> None:
    """A test strip's card for the folds of a JOB, or with --read the K-factor that bent strips show."""
    from . import strip as test_strip
    from .job import load_job

    out, save, shop = how.pop("out"), how.pop("save"), how.pop("shop")
    loaded = load_job(job) if job else None
    setup = test_strip.setup(loaded, **how)
    if not readings:
        if save:
            raise click.UsageError("--save needs a reading: give --read FLAT LEG_A LEG_B as well")
        text = test_strip.card(setup, f"tankwright strip {job or '...'}")
        if out is not None:
            test_strip.write_new(out, text)
            click.echo(f"wrote {out}")
        else:
            click.echo(text, nl=False)
        return
    strips = test_strip.read_strips(setup, readings, angle)
    click.echo(test_strip.result(strips))
    lines = test_strip.toml_lines(strips, note)
    if save:
        path = shop or test_strip.shop_file_of(job)
        test_strip.save_strip(path, lines)
        click.echo(f"put into {path}:\n\n{lines}", nl=False)
    else:
        click.echo(f"For shop.toml (or give --save):\n\n{lines}", nl=False)


for _command in (quote, took, both, rack, seams):
    main.add_command(_command)


def _say(step: str) -> None:
    click.echo(f"... {step}", err=not sys.stdout.isatty())


if __name__ == "__main__":
    main()
