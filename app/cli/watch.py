"""`brightbowl watch`: trays judged as they come."""

from contextlib import closing
from pathlib import Path

import click

from app.cli.inspect import keep_to_one_core


@click.command()
@click.argument("inbox", metavar="INBOX", type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option(
    "--works",
    type=click.Path(file_okay=False, path_type=Path),
    required=True,
    help="Works folder: parts, stations and limits that judge, results, store.",
)
@click.option("--store", metavar="URL", help="File the results in this store instead of the works' own.")
@click.option("--no-pictures", is_flag=True, help="Write results only.")
@click.option("--jobs", type=click.IntRange(min=1), default=1, show_default=True, help="Trays judged side by side.")
def command(inbox: Path, works: Path, store: str | None, no_pictures: bool, jobs: int) -> None:
    """Judge each tray in INBOX as soon as it is complete, and file it, until told to stop.

    Each folder in INBOX is a tray shot. Nothing in INBOX is changed, moved or deleted. How it fares stands in
    WORKS/watch/health.json. Ctrl+C or SIGTERM end it at once, exit code 0; trays in
    hand are judged by the next one.
    """
    keep_to_one_core()
    from app.run import ended_by_signals
    from app.watch import Order, Watcher, alone, once_there
    from app.works import open_chosen, read_works, rights_words

    place = read_works(works)
    for line in rights_words(place):
        click.echo(f"brightbowl: {line}", err=True)
    with alone(place, inbox) as state, ended_by_signals(True, raising=False) as stop:
        opened = once_there(lambda: open_chosen(works, store)[0], stop)
        if opened is None:
            return
        with closing(opened):
            click.echo(f"watching {inbox}; how it fares stands in {state / 'health.json'}")
            Watcher(Order(inbox, place, state, jobs, not no_pictures), opened).run(stop)
