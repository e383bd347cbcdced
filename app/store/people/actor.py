"""Who did something that is kept for ever, how sure that is, and why."""

from dataclasses import dataclass
from typing import Literal

Known = Literal["declared", "account", "login"]
"""By the name alone that was given, by the account on this machine, or signed in."""


@dataclass(frozen=True, slots=True)
class Acted:
    """Somebody's act."""

    by: str
    known: Known
    why: str
