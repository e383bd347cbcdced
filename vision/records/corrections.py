"""Corrections: revisions by which a station's bias on a part is taken out of what it measures."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class CorrectedValue:
    """What a station measures too much of one measure of a part, in its unit, with its standard uncertainty."""

    measure: str
    zone: str | None
    off: float
    u: float


@dataclass(frozen=True, slots=True)
class Correction:
    """A revision of what a station measures too much of a part, to be taken out; one of no values withdraws the last.

    `by` and `why`: who asked for it, and their reason; `at` is ISO 8601.
    """

    part: str
    revision: int
    by: str
    why: str
    at: str
    values: tuple[CorrectedValue, ...]
