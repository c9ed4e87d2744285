"""The command line's words about money: quote, took, both."""

from __future__ import annotations

from pathlib import Path

import click

__all__ = ["both", "quote", "took"]


@click.command()
@click.argument("job", type=click.Path(path_type=Path))
@click.option("--customer", is_flag=True, help="As the customer gets it, without rates, overhead and margin.")
def quote(job: Path, customer: bool) -> None:
    """What to charge for a JOB, every line opened; make writes it with the papers."""
    from .job import load_job, work_out
    from .papers.quotetext import customer_text, worked_text
    from .quotecount import quote_of

    work = work_out(load_job(job))
    found = quote_of(work)
    click.echo(customer_text(work, found) if customer else worked_text(work, found), nl=False)


@click.command()
@click.argument("job", type=click.Path(path_type=Path))
@click.argument("hours", nargs=-1, metavar="TRADE=HOURS ...")
def took(job: Path, hours: tuple[str, ...]) -> None:
    """Tell the hours that a finished JOB really took, such as: took my-tank buck=9 shaping=14.5

    Without hours: how estimates have compared so far. The next quote says so too.
    """
    from .job import load_job, work_out
    from .keeping import shop_folder
    from .quotecount import quote_of
    from .quotehours import HOURS_FILE, TRADES, past_of, read_hours, record
    from .rackjob import job_key

    told = read_hours(hours)
    loaded = load_job(job)
    folder = shop_folder(loaded.folder, loaded.shop.keep_in)
    if told:
        found = quote_of(work_out(loaded, progress=_say))
        estimated = {trade: found.hours_of(trade) for trade in told}
        again = record(folder, job_key(loaded), told, estimated)
        for trade, value in told.items():
            click.echo(f"  {trade:<12} {value:6.1f} h taken, {estimated[trade]:6.1f} h in the quote")
        click.echo(f"{'told again' if again else 'told'} for {loaded.name}, in {folder / HOURS_FILE}")
    past = past_of(folder)
    if not past:
        click.echo(f"No hours told yet. Trades: {', '.join(TRADES)}.")
    for one in past:
        click.echo(
            f"  {one.trade:<12} {one.jobs} job{'s' if one.jobs > 1 else ''}: {one.taken:.1f} h taken for "
            f"{one.estimated:.1f} h estimated, {one.ratio:.2f} times"
        )


@click.command()
@click.argument("job", type=click.Path(path_type=Path))
def both(job: Path) -> None:
    """Lay a JOB out for the shear, for profile cutting and mixed: sheets, money, yield, cuts in one table."""
    from .job import load_job
    from .ways import compare, table

    loaded = load_job(job)
    click.echo(table(compare(loaded, progress=_say), loaded.shop.currency), nl=False)


def _say(step: str) -> None:
    click.echo(f"... {step}", err=True)
