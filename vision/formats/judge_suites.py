"""The suites that come with the judge of marks: candidates of faces that no judge is fitted on, with their truth."""

import io
from collections.abc import Sequence
from functools import cache
from importlib.resources import as_file, files
from pathlib import Path
from zipfile import BadZipFile

import numpy as np

from vision.errors import Unusable
from vision.formats.atomic_write import write_atomic
from vision.records import JudgeSuite

_SHIPPED = "judge_suites.npz"


def write_suites(suites: Sequence[JudgeSuite], path: Path) -> None:
    """Write suites; features are kept in single precision.

    Parameters
    ----------
    suites
        Any.
    path
        An `.npz` file; an old one of this name is replaced.

    Raises
    ------
    Unusable
        Where it can't be written.
    """
    kept: dict[str, np.ndarray] = {}
    for one in suites:
        kept[f"{one.name}/{one.model}/features"] = one.features.astype(np.float32)
        kept[f"{one.name}/{one.model}/real"] = one.real
    memory = io.BytesIO()
    np.savez_compressed(memory, **kept)  # type: ignore[arg-type]
    write_atomic(path, memory.getvalue())


def read_suites(path: Path) -> tuple[JudgeSuite, ...]:
    """Read suites.

    Parameters
    ----------
    path
        As `write_suites` writes it.

    Returns
    -------
    tuple[JudgeSuite, ...]
        In the order written.

    Raises
    ------
    Unusable
        It can't be read.
    """
    try:
        with np.load(path, allow_pickle=False) as kept:
            return tuple(
                JudgeSuite(
                    key.split("/")[0],
                    "lines" if key.split("/")[1] == "lines" else "spots",
                    kept[key].astype(np.float64),
                    kept[key.replace("/features", "/real")].astype(bool),
                )
                for key in kept.files
                if key.endswith("/features")
            )
    except (OSError, KeyError, ValueError, BadZipFile) as fault:
        raise Unusable(path, "", "the suites of the judge of marks expected; install again", str(fault)) from None


@cache
def shipped_suites() -> tuple[JudgeSuite, ...]:
    """The suites that come with the program.

    Returns
    -------
    tuple[JudgeSuite, ...]
        For each name one of lines and one of spots.

    Raises
    ------
    Unusable
        Where the installation is damaged.
    """
    with as_file(files("vision") / _SHIPPED) as path:
        return read_suites(path)
