"""`brightbowl disk`: how long a works' disk will do."""

from contextlib import closing
from pathlib import Path

import click

_GB = 1e9


@click.command()
@click.option(
    "--works", type=click.Path(exists=True, file_okay=False, path_type=Path), required=True, help="Works folder."
)
def command(works: Path) -> None:
    """Tell how long the disk of a works will do at the rate of the last 30 days, and what its rule changes in that."""
    from app.works import forecast, plan, read_works

    place = read_works(works)
    with closing(place.open()) as store:
        planned = None if place.keep is None else plan(store, place)
        found = forecast(store, place, planned)
    click.echo(f"{found.free / _GB:.1f} GB free of {found.total / _GB:.1f} GB")
    click.echo(
        f"filed in the last {found.days:.0f} days, GB a day: frames {found.frames_a_day / _GB:.3f}, "
        f"results {found.results_a_day / _GB:.3f}, store {found.store_a_day / _GB:.3f}"
    )
    click.echo(f"full in {_days(found.full_in_days)} at that rate")
    if planned is not None:
        click.echo(
            f"by the rule ({planned.keep.words}) {found.due / _GB:.3f} GB may go now, and {100 * planned.coming:.0f} % "
            f"of frames in time: full in {_days(found.full_in_days_by_rule)}"
        )


def _days(days: float | None) -> str:
    return "no time that can be told" if days is None else f"{days:.0f} days"
