"""Locks on open files, which go with the process that holds them, whatever system it runs on."""

import sys
from contextlib import suppress

import portalocker
from portalocker import LockFlags
from portalocker.exceptions import AlreadyLocked, LockException


def take_lock(descriptor: int, *, shared: bool = False, wait: bool = False) -> bool:
    """Lock an open file, for this process alone or shared with others that share it; in place of a lock held before.

    Nobody reads or writes the file itself while it is locked: not every system lets them.

    Parameters
    ----------
    descriptor
        The number of an open file.
    shared
        Whether others may share it.
    wait
        Whether to wait until it can be had.

    Returns
    -------
    bool
        Whether it was had: False where others hold it, or the disk knows no locks.
    """
    if sys.platform == "win32":  # where one lock does not become the other
        with suppress(LockException):
            portalocker.unlock(descriptor)
    flags = LockFlags.SHARED if shared else LockFlags.EXCLUSIVE
    try:
        portalocker.lock(descriptor, flags if wait else flags | LockFlags.NON_BLOCKING)
    except (AlreadyLocked, LockException):
        return False
    return True
