"""`brightbowl person`: somebody of the works and what they may do."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from app.works import ROLES

if TYPE_CHECKING:
    from app.works import Role


@click.command()
@click.argument("name")
@click.option(
    "--role", "roles", type=click.Choice(ROLES), multiple=True, required=True, help="What they may do; may be repeated."
)
@click.option("--email", help="By what a sign-in knows them.")
@click.option("--account", help="Their account on this machine; by command they then act from it alone.")
@click.option(
    "--works",
    type=click.Path(exists=True, file_okay=False, path_type=Path),
    required=True,
    help="Works folder, with its list of people.",
)
def command(name: str, roles: tuple[Role, ...], email: str | None, account: str | None, works: Path) -> None:
    """List NAME among the people of a works, or give one who is listed these roles in place of the old ones.

    review: give verdicts. tune: draft limits, calibrate, begin blind rounds. release: limits and lots. read: look.
    """
    from app.works import WORKS_FILE, Person, add_person, read_works

    made = add_person(read_works(works), Person(name, roles, email, account))
    click.echo(f"{name}: {', '.join(roles)}; {len(made.people)} people in {made.folder / WORKS_FILE}")
