"""Keeping libraries in C from writing to stderr past Python: what goes wrong is told by us, in a line."""

import os
import threading
from collections.abc import Iterator
from contextlib import contextmanager

_turns = threading.Lock()


@contextmanager
def silenced() -> Iterator[None]:
    """Send what is written to file descriptor 2 nowhere; of several threads one at a time, for it is the process's."""
    with _turns:
        try:
            kept = os.dup(2)
        except OSError:  # a process without stderr has nothing to keep silent
            yield
            return
        nowhere = os.open(os.devnull, os.O_WRONLY)
        try:
            os.dup2(nowhere, 2)
            yield
        finally:
            os.dup2(kept, 2)
            os.close(kept)
            os.close(nowhere)
