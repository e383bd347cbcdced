"""A number that a judge of marks weighs."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Feature:
    """A number that a judge weighs: `meaning` in words; `rises`: 1 where more of it can only speak for a mark, -1 where
    only against, 0 where either.
    """

    name: str
    meaning: str
    rises: int = 0
