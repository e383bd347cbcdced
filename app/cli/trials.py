"""`brightbowl trials`: what trials make of trays, beside what stands."""

from collections.abc import Mapping
from contextlib import closing
from pathlib import Path

import click

_OTHER: Mapping[str, str] = {"part": "another drawing", "station": "another calibration", "limits": "other limits"}


@click.command()
@click.option(
    "--works", type=click.Path(exists=True, file_okay=False, path_type=Path), required=True, help="Works folder."
)
@click.option("--lot", help="Trays of this lot only.")
def command(works: Path, lot: str | None) -> None:
    """Compare each tray's newest trial with what stands: by what it was judged, and which pieces it judges otherwise.

    Trials come from `inspect --trial` and `import --trial`; no lot, line or study counts them.
    """
    from app.store import trials, verdict_counts
    from app.works import read_works

    with closing(read_works(works).open()) as store:
        found = trials(store, lot)
    for one in found:
        by = " and ".join(_OTHER[kind] for kind in one.differs) or "the same files"
        click.echo(f"tray {one.tray} of {one.lot or 'no lot'}, by {by} at {one.judged_at}: {verdict_counts(one.trial)}")
        click.echo(f"  what stands: {verdict_counts(one.stands) if one.stands else 'nothing'}")
        for number, (stands, trial) in one.changed.items():
            click.echo(f"  piece {number}: {stands or 'none'} -> {trial or 'none'}")
    changed = sum(len(one.changed) for one in found)
    click.echo(f"{len(found)} trays with a trial, {changed} pieces judged otherwise")
