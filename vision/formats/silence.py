"""Keeping libraries in C from writing to stderr past Python: what goes wrong is told by us, in a line."""

import os
import threading
import warnings
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


def quiet_libraries() -> None:
    """Let libraries' warnings go unsaid, as NumPy's over odd pictures; not where somebody made them errors."""
    if not any(one[0] == "error" for one in warnings.filters):
        warnings.simplefilter("ignore")
