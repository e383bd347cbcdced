"""What a watcher needs around it: its own folder, which no other watcher has."""

import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from threading import Event

from app.store import Away, Store, take_lock
from app.watch.loop import FIRST_PAUSE_S, LONGEST_PAUSE_S
from app.works import Works
from vision.errors import Unusable
from vision.formats import as_text_name, not_written, write_atomic


@contextmanager
def alone(works: Works, inbox: Path) -> Iterator[Path]:
    """The watcher's own folder `WORKS/watch`, locked for as long as this process lives.

    Parameters
    ----------
    works
        The works.
    inbox
        Folder that shots come into.

    Yields
    ------
    Path
        The folder; it is free for another once this ends.

    Raises
    ------
    Unusable
        Another watcher has it, it can't be written, or the inbox holds the works' results or lies in them.
    """
    as_text_name(inbox.resolve())
    watched, results = inbox.resolve(), works.results.resolve()
    if watched.is_relative_to(results) or results.is_relative_to(watched):
        raise Unusable(inbox, "INBOX", f"a folder of tray shots beside {works.results} expected, as {works.shots}")
    state = works.folder / "watch"
    try:
        state.mkdir(exist_ok=True)
        lock = os.open(state / "lock", os.O_RDWR | os.O_CREAT, 0o644)
    except OSError as fault:
        raise not_written(state, fault) from None
    holder = state / "process"
    try:
        if not take_lock(lock):
            number = ""
            with suppress(OSError):
                number = holder.read_text("ascii", "replace").strip()
            expected = "one watcher for a works expected; stop the other one first"
            raise Unusable(works.folder, "", expected, f"process {number or 'unknown'}")
        write_atomic(holder, f"{os.getpid()}\n")
        yield state
    finally:
        os.close(lock)


def once_there(open_store: Callable[[], Store], stop: Event) -> Store | None:
    """Open a store, and wait for one that is away, with a line that says so; None where `stop` is set before.

    Parameters
    ----------
    open_store
        Opens it.
    stop
        Set from outside.

    Returns
    -------
    Store | None
        The open store; none where `stop` is set before.

    Raises
    ------
    Unusable
        It can't be used, and waiting would not help.
    """
    said, pause_s = "", FIRST_PAUSE_S
    while not stop.is_set():
        try:
            return open_store()
        except Away as fault:
            if str(fault) != said:
                said = str(fault)
                print(f"brightbowl: {said}; waiting for it", file=sys.stderr, flush=True)
            stop.wait(pause_s)
            pause_s = min(2.0 * pause_s, LONGEST_PAUSE_S)
    return None
