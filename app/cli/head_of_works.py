"""The option by which a report that is made of files bears the head of a works' chain."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from app.report import Stamp


def head_option(command: Callable[..., None]) -> Callable[..., None]:
    """Add the option `works`."""
    folder = click.Path(exists=True, file_okay=False, path_type=Path)
    return click.option("--works", type=folder, help="Works folder whose chain's head the report bears.")(command)


def head_of_works(folder: Path | None) -> Stamp | None:
    """The head of a works' chain as it is now, for a report; None without a works.

    Raises
    ------
    Unusable
        The works, its store or its key can't be used.
    """
    from app.report import stamp_of
    from app.works import read_works

    if folder is None:
        return None
    works = read_works(folder)
    with closing(works.open()) as store:
        return stamp_of(store, works.folder)
