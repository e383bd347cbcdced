"""The commands as a shell calls them, in this process; the fixture `run` of `tests/conftest.py` does it."""

from collections.abc import Callable
from typing import NamedTuple


class Ran(NamedTuple):
    """How a command ended and what it printed."""

    code: int
    out: str
    err: str


Run = Callable[..., Ran]
