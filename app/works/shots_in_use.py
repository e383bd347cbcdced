"""Whose turn it is with a works' shots: many judge and file them side by side, or one forgets some."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from app.store import take_lock
from app.works.folder import SHOTS_USE, Works
from vision.errors import Unusable
from vision.formats import not_written


@contextmanager
def shots_in_use(works: Works | None) -> Iterator[None]:
    """While shots are judged and their results filed: none is forgotten meanwhile. Waits for whoever forgets some.

    Parameters
    ----------
    works
        None for a store that stands alone.

    Yields
    ------
    None
        Nothing; the shots are kept until this ends.

    Raises
    ------
    Unusable
        The works folder can't be written.
    """
    if works is None:
        yield
        return
    with _opened(works.folder) as lock:
        take_lock(lock, shared=True, wait=True)  # a disk without locks stops no judging
        yield


@contextmanager
def shots_alone(works: Works) -> Iterator[None]:
    """While some are forgotten.

    Raises
    ------
    Unusable
        Shots are being judged or forgotten by somebody else, or nobody can tell.
    """
    with _opened(works.folder) as lock:
        if not take_lock(lock):
            expected = "shots that nobody judges, files or forgets just now; forget when that is done"
            raise Unusable(works.shots, "", expected, "somebody does, or nobody can tell")
        yield


@contextmanager
def _opened(folder: Path) -> Iterator[int]:
    try:
        lock = os.open(folder / SHOTS_USE, os.O_RDWR | os.O_CREAT, 0o666)
    except OSError as fault:
        raise not_written(folder, fault) from None
    try:
        yield lock
    finally:
        os.close(lock)
