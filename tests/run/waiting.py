"""Waiting for what comes by itself."""

import time
from collections.abc import Callable

SOON_S = 150.0
"""Long enough for a busy machine; nothing waits so long where all is well."""


def until(holds: Callable[[], bool], within_s: float = SOON_S) -> None:
    """Wait until something holds; fails when it does not come soon."""
    end = time.monotonic() + within_s
    while not holds():
        assert time.monotonic() < end, "it did not come"
        time.sleep(0.03)
